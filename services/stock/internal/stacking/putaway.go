package stacking

import (
	"cmp"
	"fmt"
	"slices"
)

// Arrival asks where the pieces of a new batch go.
type Arrival struct {
	// Yard holds the stacks without the new pieces, and the ranks of all.
	Yard Problem
	// New lists the new pieces: those that lie in no stack.
	New []int
	// InOrder says that they come in the order of New; otherwise the plan
	// chooses the order.
	InOrder bool
}

// Put lays a new piece on top of a stack.
type Put struct {
	Piece, Stack int
}

// Advice is where new pieces go, in order.
type Advice struct {
	Puts []Put
	// After is the yard with all pieces, and Picks how it is picked then.
	After Problem
	Picks Answer
	// Bound: wherever the new pieces go, the picks need as many relocations.
	Bound int
}

// PutAway lays the pieces of a batch where later picks stay cheap: it carries
// the most promising placements from piece to piece, judged as the states of
// a plan are. Where the order is free, what leaves last is laid first.
func PutAway(a Arrival, b Budget) (Advice, error) {
	b = b.withDefaults()
	order, err := a.order()
	if err != nil {
		return Advice{}, err
	}
	st := newState(a.Yard, kindOf(a.Yard.Rule))
	// What lies above an earlier piece now has to move in any case.
	advice := Advice{Bound: st.bad}
	look, roll := newLooker(st), rollout{st: st}
	var now, then shelf
	now.add(st)
	var trail [][]link
	for _, piece := range order {
		var found []candidate
		for i := range now.begin {
			now.take(st, i)
			for s := range st.stacks {
				if !st.fits(uint16(piece), s) || st.high[s] == 0 && st.twin(s) {
					continue
				}
				st.push(s, uint16(piece))
				found = append(found, candidate{order: worth(st, look, &roll), parent: int32(i), to: int8(s), sum: st.sum})
				st.pop(s)
				st.where[piece] = -1
			}
		}
		if len(found) == 0 {
			return Advice{}, fmt.Errorf("piece %d: %w", piece, ErrNoRoom)
		}
		found = narrow(found, b.Width)
		then.reset()
		links := make([]link, len(found))
		for i, c := range found {
			now.take(st, int(c.parent))
			st.push(int(c.to), uint16(piece))
			then.add(st)
			links[i] = link{parent: c.parent, to: c.to}
		}
		trail = append(trail, links)
		now, then = then, now
	}
	advice.After = a.Yard
	advice.After.Stacks = make([][]int, len(a.Yard.Stacks))
	for s := range advice.After.Stacks {
		advice.After.Stacks[s] = slices.Clone(a.Yard.Stacks[s])
	}
	for i, c := range follow(trail, 0) {
		advice.Puts = append(advice.Puts, Put{order[i], int(c.to)})
		advice.After.Stacks[c.to] = append(advice.After.Stacks[c.to], order[i])
	}
	advice.Picks, err = Solve(advice.After, b)
	return advice, err
}

// order checks an arrival and returns its pieces in the order of laying.
func (a Arrival) order() ([]int, error) {
	all := a.Yard
	all.Stacks = append(slices.Clone(a.Yard.Stacks), a.New)
	if a.Yard.Tiers != nil {
		all.Tiers = append(slices.Clone(a.Yard.Tiers), 0)
	}
	if err := all.check(); err != nil {
		return nil, err
	}
	order := slices.Clone(a.New)
	if a.InOrder {
		return order, nil
	}
	slices.SortStableFunc(order, func(x, y int) int {
		// One less than Stays is the latest there is.
		return cmp.Compare(uint(a.Yard.Rank[y]-1), uint(a.Yard.Rank[x]-1))
	})
	return order, nil
}

// worth judges a yard before anything is picked; smaller is better.
func worth(st *state, look *looker, roll *rollout) int64 {
	st.findNext()
	next, left := st.next, st.left
	st.pickAll()
	w := int64(2*look.bound(st, farthest(st))+roll.run(farthest(st))) << 16
	st.unpick(len(st.log))
	st.next, st.left = next, left
	// Of equals the one that keeps the most room for late pieces.
	for s := range st.stacks {
		w += int64(st.last+1-min(st.lowest(s), st.last+1)) / int64(st.stacks)
	}
	return w
}

// narrow keeps the most promising of different candidates.
func narrow(found []candidate, width int) []candidate {
	slices.SortStableFunc(found, func(x, y candidate) int {
		return cmp.Or(cmp.Compare(x.order, y.order), cmp.Compare(x.sum, y.sum))
	})
	found = slices.CompactFunc(found, func(x, y candidate) bool { return x.order == y.order && x.sum == y.sum })
	return found[:min(len(found), width)]
}
