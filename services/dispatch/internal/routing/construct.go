package routing

import (
	"cmp"
	"slices"
)

// taste is how a truck is chosen for a stretch.
type taste uint8

const (
	// tight: fewest runs for the rest of the chain, then the least truck
	// that does.
	tight taste = iota
	// roomy: the same, but the truck with the most room left for others.
	roomy
	// soon: the truck that can unload first.
	soon
	tastes
)

// turn is one step of making a plan: the next run starts with a chain.
type turn struct {
	chain int
	taste taste
	// alone forbids further drops.
	alone bool
}

// plan is a plan that is being made.
type plan struct {
	runs []run
	// late are the stretches that no truck can bring in time.
	late       []stretch
	lateG      int64
	latePieces int
}

// builder makes one plan from turns.
type builder struct {
	*world
	diary *diary
	// next unit of each chain.
	next []int
	plan plan
}

// construct makes a plan: each turn sends the next run of its chain, and when
// the turns are used up the chains follow in order of urgency.
func (w *world) construct(turns []turn) plan {
	b := &builder{world: w, diary: w.newDiary(), next: make([]int, len(w.chains))}
	for _, t := range turns {
		if b.next[t.chain] < len(w.chains[t.chain].units) {
			b.send(t)
		}
	}
	for _, c := range w.urgent() {
		for b.next[c] < len(w.chains[c].units) {
			b.send(turn{chain: c})
		}
	}
	return b.plan
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

// send plans the next run for a chain, or gives up the rest of its order.
func (b *builder) send(t turn) {
	r, ok := b.bestFirst(t)
	if !ok {
		c := &b.chains[t.chain]
		from, end := b.next[t.chain], c.orderEnd(b.next[t.chain])
		b.plan.late = append(b.plan.late, stretch{t.chain, from, end})
		b.plan.lateG += c.massG[end] - c.massG[from]
		b.plan.latePieces += end - from
		b.next[t.chain] = end
		return
	}
	for !t.alone && len(r.drops) < maxDrops {
		more, ok := b.bestMore(r)
		if !ok {
			break
		}
		r = more
	}
	b.diary.enter(&r)
	for _, s := range r.drops {
		b.next[s.chain] = s.end
	}
	b.plan.runs = append(b.plan.runs, r)
}

// offer is a run that a turn may take.
type offer struct {
	run   run
	score [4]int64
}

// bestFirst chooses truck and stretch for the first drop of a run.
func (b *builder) bestFirst(t turn) (run, bool) {
	var best offer
	found := false
	start := b.next[t.chain]
	for _, truck := range b.chains[t.chain].trucks {
		o, ok := b.offerFor(truck, t, start)
		if ok && (!found || slices.Compare(o.score[:], best.score[:]) < 0) {
			best, found = o, true
		}
	}
	return best.run, found
}

// offerFor is what a truck can do for a chain from a unit on: the longest
// stretch that it can bring in time.
func (b *builder) offerFor(truck int, t turn, start int) (offer, bool) {
	c := &b.chains[t.chain]
	end := b.longest(truck, nil, t.chain, start)
	for end > start {
		r, ok := b.schedule(b.diary, truck, []stretch{{t.chain, start, end}})
		if ok {
			after := int64(b.runsFrom(t.chain, end))
			room := b.deckFor(truck, r.drops).CapacityG() - (c.massG[end] - c.massG[start])
			when := int64(r.stops[0].unload)
			o := offer{run: r}
			switch t.taste {
			case tight:
				o.score = [4]int64{after, room, when, int64(truck)}
			case roomy:
				o.score = [4]int64{after, -room, when, int64(truck)}
			case soon:
				o.score = [4]int64{when, after, room, int64(truck)}
			}
			return o, true
		}
		end = b.shorter(t.chain, start, end)
	}
	return offer{}, false
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
