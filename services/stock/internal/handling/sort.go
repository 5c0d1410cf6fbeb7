package handling

import (
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/stacking"
	"spanyard.example/services/stock/internal/yard"
)

// Sorting is what is moved ahead of picks, so that less has to be moved aside
// when they come.
type Sorting struct {
	Moves []Move
	// Bound: no sorting of these beams does with fewer moves.
	Bound  int
	Proved bool
	// AsideBefore and AsideAfter are the moves aside that the picks need as the
	// yard is, and after the sorting.
	AsideBefore, AsideAfter int
}

// PlanSort plans moves that put on top what is wished for first. Nothing is
// planned when the picks need no moves aside as the yard is, and when a sorting
// would not make them fewer.
func PlanSort(s yard.State, wishes []Wish, b stacking.Budget) (Sorting, error) {
	now, err := PlanPicks(s, wishes, b)
	if err != nil {
		return Sorting{}, err
	}
	out := Sorting{AsideBefore: len(now.Moves), AsideAfter: len(now.Moves), Proved: len(now.Moves) == 0}
	if len(now.Moves) == 0 {
		return out, nil
	}
	g := newGround(s)
	g.stacksOf(wishes)
	rank := map[string]int{}
	for i, p := range now.Picks {
		rank[p.PieceID] = i + 1
	}
	c, ok := columnsOf(g, rank, stacking.AnyTop, true)
	if !ok {
		return out, fault.New(fault.Refused, "TOO_MANY_STACKS", "These picks touch more than %d stacks: sort for fewer of them at a time.", mostColumns)
	}
	answer, err := stacking.Sort(c.yard, b)
	if err != nil {
		return out, nil // there is too little room to sort: the picks are as they were
	}
	sorted, ok := c.carryOut(answer.Moves, nil)
	if !ok {
		return out, nil
	}
	after, err := carriedOut(s, sorted.Moves)
	if err != nil {
		return out, err
	}
	then, err := PlanPicks(after, wishes, b)
	if err != nil || len(then.Moves) >= len(now.Moves) {
		return out, err
	}
	for i := range sorted.Moves {
		sorted.Moves[i].BeforePick = 0
	}
	out.Moves, out.AsideAfter = sorted.Moves, len(then.Moves)
	// A sorting moves at least what lies in the way now, and not in vain.
	out.Bound = min(now.Bound, len(out.Moves))
	out.Proved = out.Bound == len(out.Moves)
	return out, nil
}

// carriedOut is the yard after moves.
func carriedOut(s yard.State, moves []Move) (yard.State, error) {
	var c yard.Relocate
	for _, m := range moves {
		c.Moves = append(c.Moves, yard.Relocation{PieceID: m.PieceID, StackID: m.ToID})
	}
	events, err := yard.Decide(s, c)
	if err != nil {
		return s, fault.New(fault.Internal, "PLAN_REFUSED", "The yard refuses a sorting that was planned for it.").Because(err)
	}
	return yard.EvolveAll(s, events), nil
}
