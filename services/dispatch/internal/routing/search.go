package routing

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

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

// energy is the cost of a plan as one number in runs, smooth enough to walk
// along: late pieces cost more than a run of their own, and runs less the fuller
// they are.
func (w *world) energy(p *plan) float64 {
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

// largest is the greatest load of any truck.
func (w *world) largest() int64 {
	var most int64
	for _, t := range w.problem.Trucks {
		most = max(most, loading.CapacityG(t))
	}
	return most
}

// search looks for better plans by changing the trips of one under simulated
// annealing, in waves.
type search struct {
	world  *world
	random *rand.Rand
	best   plan
	cost   cost
	// bound on the runs of the best plan.
	bound bound
	wave  int
}

// newSearch makes the first plan, by simple rules or out of the runs that the
// problem begins with.
func newSearch(w *world) *search {
	s := &search{world: w, random: rand.New(rand.NewPCG(w.problem.Seed, 2)), wave: firstWave}
	s.keep(w.construct(nil))
	if trips := w.startTrips(); len(trips) > 0 {
		if p := w.construct(trips); costOf(&p).compare(s.cost) <= 0 {
			s.keep(p)
		}
	}
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

func (s *search) keep(p plan) {
	s.best, s.cost = p, costOf(&p)
	if s.bound.reason == "" || !slices.Equal(lateOf(&p), s.bound.late) {
		s.bound = s.world.boundOf(&p)
	}
}

// done says that nothing but the distance can be better.
func (s *search) done() bool {
	return s.cost.runs <= s.bound.runs && s.cost.unservedPieces == 0
}

// improve makes so many more attempts, fewer when it is stopped or done.
func (s *search) improve(attempts int, stop func() bool) {
	for attempts > 0 && len(s.best.runs) > 0 {
		n := min(s.wave, attempts)
		attempts -= n
		s.wave *= 2
		over := s.done()
		if !over && !s.anneal(n-int(polishing*float64(n)), stop) {
			return
		}
		if !s.polish(int(polishing*float64(n)), stop) || over {
			return
		}
		s.bound.prove(s.world, &s.best, n/attemptsPerProof, stop)
	}
}

// anneal looks for plans with fewer runs; false when it is stopped.
func (s *search) anneal(n int, stop func() bool) bool {
	now := s.best
	at := s.world.energy(&now)
	for i := range n {
		if stop != nil && stop() {
			return false
		}
		heat := hot * math.Pow(cold/hot, float64(i)/float64(n))
		p := s.world.construct(s.world.changed(now.trips, s.random))
		energy := s.world.energy(&p)
		if energy >= at-heat*math.Log(1-s.random.Float64()) || len(p.trips) == 0 {
			continue
		}
		now, at = p, energy
		if costOf(&p).compare(s.cost) < 0 {
			s.keep(p)
		}
		if s.done() {
			break
		}
	}
	return true
}

// polish looks for plans that are better in the order of cost; false when it
// is stopped.
func (s *search) polish(n int, stop func() bool) bool {
	for range n {
		if stop != nil && stop() {
			return false
		}
		p := s.world.construct(s.world.changed(s.best.trips, s.random))
		if c := costOf(&p).compare(s.cost); c < 0 {
			s.keep(p)
		} else if c == 0 {
			s.best = p
		}
	}
	return true
}
