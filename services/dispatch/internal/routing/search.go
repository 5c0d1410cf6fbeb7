package routing

import (
	"cmp"
	"math/rand/v2"
	"slices"

	"spanyard.example/services/dispatch/internal/lns"
	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
)

// attempts is how many plans a search tries at most. It bounds the search so
// that the same morning gives the same plan on any machine that is not
// stopped first.
const attempts = 60_000

const (
	// attemptsPerProof is how many plans are tried for each time that a better
	// bound is looked for.
	attemptsPerProof = 20
	// lateFirst is how many times less is proved as long as pieces are left behind:
	// a plan that brings more is worth more than a better bound.
	lateFirst = 5
	// firstWave is how many plans the first wave tries; each further one tries
	// twice as many, so that a search that is stopped early has cooled down too.
	firstWave = 500
	// The temperature falls from hot to cold within a wave; the unit is a run.
	hot, cold = 0.1, 0.001
	// concentration is how much a plan is preferred that has full runs and
	// nearly empty ones to one with as many that are all half full: the empty
	// ones can go.
	concentration = 0.5
	// polishing is the part of a wave in which only whole plans count that are
	// better in the order of cost.
	polishing = 0.25
)

// cost is what is compared between plans: the lower, the better.
type cost struct {
	unservedG      int64
	unservedPieces int
	runs           int
	crewWaiting    int
	metres         int
	waiting        int
}

func (c cost) compare(o cost) int {
	return cmp.Or(
		cmp.Compare(c.unservedG, o.unservedG), cmp.Compare(c.unservedPieces, o.unservedPieces),
		cmp.Compare(c.runs, o.runs), cmp.Compare(c.crewWaiting, o.crewWaiting), cmp.Compare(c.metres, o.metres), cmp.Compare(c.waiting, o.waiting))
}

func costOf(p *plan) cost {
	c := cost{unservedG: p.lateG, unservedPieces: p.latePieces, runs: len(p.runs), crewWaiting: p.crewWaiting}
	for i := range p.runs {
		c.metres += p.runs[i].metres
		c.waiting += p.runs[i].waiting
	}
	return c
}

// largest is the greatest load of any truck.
func (w *world) largest() int64 {
	var most int64
	for _, t := range w.problem.Trucks {
		most = max(most, loading.CapacityG(t))
	}
	return most
}

// Change makes some moves with the trips of a plan, and a plan of them.
func (w *world) Change(p *plan, random *rand.Rand) *plan {
	return w.construct(w.changed(p.trips, random))
}

// Energy is the cost of a plan as one number in runs, smooth enough to walk
// along: late pieces cost more than a run of their own, and runs less the fuller
// they are.
func (w *world) Energy(p *plan) float64 {
	sum := 2*float64(p.latePieces) + float64(p.lateG)/1e6
	for i := range p.runs {
		var mass int64
		for _, s := range p.runs[i].drops {
			mass += w.chains[s.chain].massG[s.end] - w.chains[s.chain].massG[s.start]
		}
		full := float64(mass) / float64(max(1, w.largestG))
		sum += 1 - concentration*full*full + float64(p.runs[i].metres)/1e7
	}
	return sum
}

// Compare two plans in the order of cost.
func (w *world) Compare(a, b *plan) int { return costOf(a).compare(costOf(b)) }

// Drop has nothing to do: what a plan is made of is remembered elsewhere.
func (w *world) Drop(*plan) {}

// search looks for better plans by changing the trips of one, in waves.
type search struct {
	*lns.Search[*plan]
	world *world
	// bound on the runs of the best plan, and how many best plans there had been
	// when it was worked out.
	bound bound
	found int
	wave  int
}

// newSearch makes the first plan, by simple rules or out of the runs that the
// problem begins with.
func newSearch(w *world) *search {
	random := rand.New(rand.NewPCG(w.problem.Seed, 2))
	s := &search{Search: lns.New[*plan](w, w.construct(nil), random), world: w, wave: firstWave}
	if trips := w.startTrips(); len(trips) > 0 {
		s.Offer(w.construct(trips))
	}
	s.bound = w.boundOf(s.Best())
	return s
}

// startTrips are the runs that the search begins with, in the order of loading.
func (w *world) startTrips() []trip {
	runs := slices.Clone(w.problem.Start)
	slices.SortStableFunc(runs, func(a, b morning.Run) int { return cmp.Compare(a.LoadingMinute, b.LoadingMinute) })
	var out []trip
	for i := range runs {
		t := trip{truck: w.truckIndex(runs[i].TruckID)}
		for _, d := range runs[i].Drops {
			chain := slices.IndexFunc(w.chains, func(c chain) bool { return c.site.ID == d.SiteID })
			units := 0
			runs[i].Items(func(p *morning.Pile, _ *morning.Item) {
				if p.DropNumber == d.Number {
					units++
				}
			})
			if chain >= 0 {
				t.drops = append(t.drops, wish{chain: chain, most: units})
			}
		}
		if t.truck >= 0 && len(t.drops) > 0 {
			out = append(out, t)
		}
	}
	return out
}

// done says that nothing but the distance can be better.
func (s *search) done() bool {
	best := s.Best()
	if s.found != s.Found() {
		if s.found = s.Found(); !slices.Equal(lateOf(best), s.bound.late) {
			s.bound = s.world.boundOf(best)
		}
	}
	return len(best.runs) <= s.bound.runs && best.latePieces == 0
}

// improve makes so many more attempts, fewer when it is stopped or done.
func (s *search) improve(attempts int, stop func() bool) {
	for attempts > 0 && len(s.Best().runs) > 0 {
		n := min(s.wave, attempts)
		attempts -= n
		s.wave *= 2
		polished := int(polishing * float64(n))
		over := s.done()
		if !over {
			annealing := count(n-polished, stop)
			s.Anneal(lns.Wave{Hot: hot, Cold: cold}, func() float64 {
				if s.done() {
					return 1
				}
				return annealing.progress()
			})
			if annealing.stopped {
				return
			}
		}
		descent := count(polished, stop)
		s.Descend(descent.progress)
		s.done()
		if descent.stopped || over {
			return
		}
		proofs := n / attemptsPerProof
		if s.Best().latePieces > 0 {
			proofs /= lateFirst
		}
		s.bound.prove(s.world, s.Best(), proofs, stop)
	}
}

// counter says how many of some attempts are over.
type counter struct {
	attempts, of int
	stop         func() bool
	stopped      bool
}

func count(attempts int, stop func() bool) *counter { return &counter{of: attempts, stop: stop} }

func (c *counter) progress() float64 {
	if c.attempts >= c.of {
		return 1
	}
	if c.stop != nil && c.stop() {
		c.stopped = true
		return 1
	}
	done := float64(c.attempts) / float64(c.of)
	c.attempts++
	return done
}
