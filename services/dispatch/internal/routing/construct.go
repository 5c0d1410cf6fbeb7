package routing

import (
	"cmp"
	"slices"
)

// wish is a drop that a run is to make.
type wish struct {
	chain int
	// most units; 0 is whatever fits.
	most int
}

// trip is a run that a plan is to make: its drops in order, each with the next
// units of its chain.
type trip struct {
	truck int
	drops []wish
}

// plan is a plan that is being made.
type plan struct {
	runs []run
	// trips are what the runs came of, one for each: what was to be whatever
	// fits is so still.
	trips []trip
	// late are the stretches that no truck can bring in time.
	late []stretch
	// crewWaiting are the minutes in which crews wait for beams.
	crewWaiting int
	lateG       int64
	latePieces  int
}

// builder makes one plan from trips.
type builder struct {
	*world
	diary *diary
	// next unit of each chain.
	next []int
	plan plan
}

// construct makes a plan: the trips first, as far as they can be made, and then
// runs for what is left, the urgent chains first in each round.
func (w *world) construct(trips []trip) *plan {
	b := &builder{world: w, diary: w.newDiary(), next: make([]int, len(w.chains))}
	for i := range trips {
		b.travel(&trips[i])
	}
	chains := w.urgent()
	for left := true; left; {
		left = false
		for _, c := range chains {
			if b.next[c] < len(w.chains[c].units) {
				b.send(c)
				left = true
			}
		}
	}
	b.plan.crewWaiting = b.crewWaiting()
	return &b.plan
}

// urgent returns the chains, the earliest close of a window first.
func (w *world) urgent() []int {
	var out []int
	for i := range w.chains {
		if len(w.chains[i].units) > 0 {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int {
		x, y := w.chains[a].window[0], w.chains[b].window[0]
		return cmp.Or(cmp.Compare(x.ClosesMinute, y.ClosesMinute), cmp.Compare(x.OpensMinute, y.OpensMinute))
	})
	return out
}

// travel makes a trip with the drops of it that can be made.
func (b *builder) travel(t *trip) {
	var r run
	made := trip{truck: t.truck}
	for _, d := range t.drops {
		if b.next[d.chain] >= len(b.chains[d.chain].units) || visits(r.drops, d.chain) || !slices.Contains(b.chains[d.chain].trucks, t.truck) {
			continue
		}
		more, as, ok := b.withDrop(t.truck, &r, d)
		if ok {
			r = more
			made.drops = append(made.drops, as)
		}
	}
	if len(r.drops) > 0 {
		b.enter(&r, made)
	}
}

// tooLate is how many ever shorter stretches are tried when the longest one
// cannot come in time.
const tooLate = 3

// withDrop adds a drop to a run, and says as which wish.
func (b *builder) withDrop(truck int, r *run, d wish) (run, wish, bool) {
	start := b.next[d.chain]
	end := b.longest(truck, r.drops, d.chain, start)
	as := wish{chain: d.chain}
	drops := append(slices.Clone(r.drops), stretch{d.chain, start, end})
	at := &drops[len(drops)-1]
	if d.most > 0 && start+d.most < end {
		as.most = d.most
		for at.end = start + d.most; at.end > start && !b.load(truck, drops).ok; {
			at.end--
		}
	}
	for range tooLate {
		if at.end == start {
			break
		}
		if more, ok := b.schedule(b.diary, truck, drops); ok {
			return more, as, true
		}
		at.end = b.shorter(d.chain, start, at.end)
		as.most = at.end - start
	}
	return run{}, wish{}, false
}

// enter adds a run to the plan.
func (b *builder) enter(r *run, t trip) {
	b.diary.enter(r)
	for _, s := range r.drops {
		b.next[s.chain] = s.end
	}
	b.plan.runs = append(b.plan.runs, *r)
	b.plan.trips = append(b.plan.trips, t)
}

// send plans the next run for a chain, or gives up the rest of its order.
func (b *builder) send(chain int) {
	r, ok := b.bestFirst(chain)
	if !ok {
		c := &b.chains[chain]
		from, end := b.next[chain], c.orderEnd(b.next[chain])
		b.plan.late = append(b.plan.late, stretch{chain, from, end})
		b.plan.lateG += c.massG[end] - c.massG[from]
		b.plan.latePieces += end - from
		b.next[chain] = end
		return
	}
	for len(r.drops) < b.mostDrops(r.truck) {
		more, ok := b.bestMore(r)
		if !ok {
			break
		}
		r = more
	}
	t := trip{truck: r.truck}
	for _, s := range r.drops {
		t.drops = append(t.drops, wish{chain: s.chain})
	}
	b.enter(&r, t)
}

// offer is a run that may be sent; the least score is taken.
type offer struct {
	run   run
	score [4]int64
}

// bestFirst chooses truck and stretch for the first drop of a run: fewest runs
// for the rest of the chain, then the least truck that does.
func (b *builder) bestFirst(chain int) (run, bool) {
	var best offer
	found := false
	start := b.next[chain]
	for _, truck := range b.chains[chain].trucks {
		o, ok := b.offerFor(truck, chain, start)
		if ok && (!found || slices.Compare(o.score[:], best.score[:]) < 0) {
			best, found = o, true
		}
	}
	return best.run, found
}

// offerFor is what a truck can do for a chain from a unit on: the longest
// stretch that it can bring in time.
func (b *builder) offerFor(truck, chain, start int) (offer, bool) {
	if !b.hasGap(truck, chain) {
		return offer{}, false
	}
	c := &b.chains[chain]
	end := b.longest(truck, nil, chain, start)
	for end > start {
		r, ok := b.schedule(b.diary, truck, []stretch{{chain, start, end}})
		if ok {
			after := int64(b.runsFrom(chain, end))
			room := b.deckFor(truck, r.drops).CapacityG() - (c.massG[end] - c.massG[start])
			return offer{r, [4]int64{after, room, int64(r.stops[0].unload), int64(truck)}}, true
		}
		end = b.shorter(chain, start, end)
	}
	return offer{}, false
}

// hasGap tells whether a truck is free for as long as the least run to a chain's
// site takes.
func (b *builder) hasGap(truck, chain int) bool {
	least := b.problem.Rules.LoadingMinutes + b.roads.minutes[0][chain+1] + b.chains[chain].site.UnloadFixedMinutes + b.roads.minutes[chain+1][0]
	hours := b.problem.Trucks[truck].Hours
	from := max(hours.OpensMinute, b.problem.EarliestLoadingMinute)
	for _, busy := range b.diary.trucks[truck] {
		if busy.from-from >= least {
			return true
		}
		from = max(from, busy.to)
	}
	return hours.ClosesMinute-from >= least
}

// shorter is the next stretch worth trying when one takes too long: without
// its last order, then without a quarter of its pieces.
func (b *builder) shorter(chain, start, end int) int {
	c := &b.chains[chain]
	for i := len(c.ends) - 1; i >= 0; i-- {
		if e := c.ends[i]; e > start && e < end {
			return e
		}
	}
	return start + (end-start)*3/4
}

// bestMore adds a drop at another site to a run when that saves a run: the
// whole rest of that site's chain, or a part after which the rest needs fewer
// runs. Among several it takes the one with the least way round.
func (b *builder) bestMore(r run) (run, bool) {
	var best offer
	found := false
	for c := range b.chains {
		start := b.next[c]
		if start >= len(b.chains[c].units) || visits(r.drops, c) || !slices.Contains(b.chains[c].trucks, r.truck) {
			continue
		}
		end := b.longest(r.truck, r.drops, c, start)
		saved := b.runsFrom(c, start) - b.runsFrom(c, end)
		if end == start || saved < 1 {
			continue
		}
		for at := len(r.drops); at >= 0; at-- {
			drops := slices.Insert(slices.Clone(r.drops), at, stretch{c, start, end})
			m, ok := b.schedule(b.diary, r.truck, drops)
			if !ok {
				continue
			}
			o := offer{m, [4]int64{int64(m.metres - r.metres), int64(m.waiting), int64(c), int64(-at)}}
			if !found || slices.Compare(o.score[:], best.score[:]) < 0 {
				best, found = o, true
			}
		}
	}
	return best.run, found
}

func visits(drops []stretch, chain int) bool {
	return slices.ContainsFunc(drops, func(s stretch) bool { return s.chain == chain })
}
