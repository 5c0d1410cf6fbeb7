package stacking

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
)

// Request asks for pieces in a given order where several pieces will do.
type Request struct {
	// Yard is the yard; its ranks are not looked at.
	Yard Problem
	// Wanted holds for every pick, in order, the pieces of which any will
	// do: beams of equal profile, wires and length, say.
	Wanted [][]int
	// Age ranks the pieces; of choices that cost the same the one with the
	// smallest ages is taken. Nil: it does not matter.
	Age []int
}

// assignment is a choice for the first picks.
type assignment struct {
	pieces []int
	bound  int
	age    int
}

// chosenAtOnce is how many assignments are kept from pick to pick, and
// solvedAtMost how many whole ones are planned in full.
const (
	chosenAtOnce = 24
	solvedAtMost = 12
)

// Choose picks one piece for every wish so that as few as possible are put
// aside, and plans the picks. Chosen is in the order of the wishes. The bound
// of the answer holds for every choice.
//
// It assigns pieces pick by pick. What the picks so far cost at least is a
// bound for all that follow from them: a plan for all picks contains one for
// the first. Bounds of assignments that are dropped limit the bound of the
// answer.
func Choose(r Request, b Budget) (chosen []int, a Answer, err error) {
	b = b.withDefaults()
	if err := r.check(); err != nil {
		return nil, Answer{}, err
	}
	now := []assignment{{}}
	open := math.MaxInt // least bound of what was dropped
	for k := range r.Wanted {
		var then []assignment
		for _, have := range now {
			then = append(then, r.extend(have, k)...)
		}
		if len(then) == 0 {
			return nil, Answer{}, fmt.Errorf("pick %d: every piece that would do is taken by an earlier pick", k+1)
		}
		slices.SortStableFunc(then, func(x, y assignment) int {
			return cmp.Or(cmp.Compare(x.bound, y.bound), cmp.Compare(x.age, y.age), slices.Compare(x.pieces, y.pieces))
		})
		if len(then) > chosenAtOnce {
			open = min(open, then[chosenAtOnce].bound)
			then = then[:chosenAtOnce]
		}
		now = then
	}
	return r.best(now, open, b)
}

func (r Request) check() error {
	for k, any := range r.Wanted {
		if len(any) == 0 {
			return fmt.Errorf("pick %d: there is no piece that would do", k+1)
		}
		for _, piece := range any {
			if piece < 0 || piece >= len(r.Yard.Rank) {
				return fmt.Errorf("pick %d: unknown piece %d", k+1, piece)
			}
		}
	}
	if r.Age != nil && len(r.Age) != len(r.Yard.Rank) {
		return fmt.Errorf("%d ages for %d pieces", len(r.Age), len(r.Yard.Rank))
	}
	return r.ranked(nil).check()
}

// ranked is the yard with the ranks of some picks; all else stays.
func (r Request) ranked(pieces []int) Problem {
	p := r.Yard
	p.Rank = make([]int, len(r.Yard.Rank))
	for k, piece := range pieces {
		p.Rank[piece] = k + 1
	}
	return p
}

func (r Request) extend(have assignment, k int) []assignment {
	var out []assignment
	for _, piece := range r.Wanted[k] {
		if slices.Contains(have.pieces, piece) {
			continue
		}
		next := assignment{pieces: append(slices.Clone(have.pieces), piece), age: have.age}
		if r.Age != nil {
			next.age += r.Age[piece]
		}
		p := r.ranked(next.pieces)
		st := newState(p, kindOf(p.Rule))
		st.pickAll()
		next.bound = max(have.bound, newLooker(st).bound(st, math.MaxInt32))
		out = append(out, next)
	}
	return out
}

// best plans the assignments in turn and keeps the one with the fewest
// relocations, the first of equals.
func (r Request) best(all []assignment, open int, b Budget) (chosen []int, best Answer, err error) {
	found, nodes := false, int64(0)
	bound := open
	for i, c := range all {
		stopped := b.Stop != nil && b.Stop()
		if found && c.bound >= best.Relocations {
			break
		}
		if i >= solvedAtMost || i > 0 && stopped {
			bound = min(bound, c.bound)
			break
		}
		share := b
		share.Nodes = max(b.Nodes/int64(min(len(all), solvedAtMost)), 1)
		a, failed := Solve(r.ranked(c.pieces), share)
		nodes += a.Nodes
		if failed != nil {
			err = failed
			if !errors.Is(failed, ErrBlocked) {
				bound = min(bound, a.Bound)
			}
			continue
		}
		bound = min(bound, a.Bound)
		if !found || a.Relocations < best.Relocations {
			chosen, best, found = c.pieces, a, true
		}
	}
	if !found {
		return nil, Answer{Nodes: nodes}, err
	}
	best.Bound = max(min(bound, best.Relocations), 0)
	best.Proved = best.Bound == best.Relocations
	best.Nodes = nodes
	return chosen, best, nil
}
