// Package stacking plans the moves in a yard of stacks: which pieces are put
// aside so that others can be picked in a given order (the block relocation
// problem), how stacks are sorted ahead of a morning so that nothing has to be
// put aside then (pre-marshalling), which of several interchangeable pieces to
// pick, and where a new batch goes.
//
// Every answer comes with a lower bound: no plan can do with fewer moves. The
// answer is proved when the two are equal. The engine has neither clock nor
// chance: the same problem and the same budget give the same answer, and a
// caller that wants to stop earlier says so through Budget.Stop.
//
// Replay, Resort and the other checkers share nothing with the search, so that
// they can tell when it is wrong.
package stacking

import (
	"errors"
	"fmt"
)

// Rule says which pieces may be put aside.
type Rule int

const (
	// AboveNext allows to move only what lies above a piece that is next to
	// be picked. Nothing is touched that does not block at that moment.
	AboveNext Rule = iota + 1
	// AnyTop allows to move the topmost piece of any stack at any time.
	AnyTop
)

// Stays is the rank of a piece that nobody picks.
const Stays = 0

// Problem is a yard and what is asked of it. Pieces are numbered from 0 and
// each lies in exactly one stack.
type Problem struct {
	// Stacks holds the pieces of every stack from the ground up.
	Stacks [][]int
	// Rank holds for every piece when it is picked: all of rank 1 before
	// any of rank 2, in any order among themselves. Stays: never.
	Rank []int
	// Tiers is the most that a stack may hold, by stack; 0 is no limit, and
	// so is a nil slice. A stack may hold more at the start, then nothing
	// is put on it until it has sunk below its limit.
	Tiers []int
	Rule  Rule
	// Rests says whether a piece may lie directly on another one; nil: it
	// always may. Any piece may lie on the ground. It has to be a pure
	// function.
	Rests func(piece, below int) bool
}

// Out as the destination of a move means that the piece is picked.
const Out = -1

// Move takes the topmost piece of a stack to another stack, or out.
type Move struct {
	Piece, From, To int
}

// Budget limits a search. The zero value of a field takes the default.
type Budget struct {
	// Nodes is how many states the exact search may visit. Default 2,000,000.
	Nodes int64
	// Width is how many states the beam keeps after every move. Default 200.
	Width int
	// Stop is asked now and then; when it answers true, the best answer so
	// far is returned. It is asked by one goroutine.
	Stop func() bool
	// TableBits is the binary logarithm of the most entries, of eight bytes
	// each, in the table of visited states. Default 22.
	TableBits int
}

// Answer is a plan.
type Answer struct {
	// Moves in order, picks included.
	Moves []Move
	// Relocations counts the moves from stack to stack.
	Relocations int
	// Bound: no plan has fewer relocations.
	Bound int
	// Proved: no plan has fewer relocations than this one.
	Proved bool
	// Nodes is how many states the exact search visited.
	Nodes int64
}

// Picked returns the pieces in the order in which they leave.
func (a Answer) Picked() []int {
	var out []int
	for _, m := range a.Moves {
		if m.To == Out {
			out = append(out, m.Piece)
		}
	}
	return out
}

var (
	// ErrBlocked: no sequence of allowed moves does what is asked.
	ErrBlocked = errors.New("no sequence of allowed moves does it: there is too little free room in the stacks")
	// ErrNoRoom: a new piece fits on no stack.
	ErrNoRoom = errors.New("no stack takes it")
	// ErrGaveUp: the budget ended before a plan was found.
	ErrGaveUp = errors.New("no plan was found within the budget")
)

// maxStacks is the width of a set of stacks in the search, maxPieces that of
// a piece's number in a state.
const (
	maxStacks = 64
	maxPieces = 1 << 14
)

func (p Problem) check() error {
	if p.Rule != AboveNext && p.Rule != AnyTop {
		return fmt.Errorf("unknown rule %d", p.Rule)
	}
	if len(p.Stacks) > maxStacks {
		return fmt.Errorf("%d stacks are more than the %d that one plan can take", len(p.Stacks), maxStacks)
	}
	if len(p.Rank) > maxPieces {
		return fmt.Errorf("%d pieces are more than the %d that one plan can take", len(p.Rank), maxPieces)
	}
	if p.Tiers != nil && len(p.Tiers) != len(p.Stacks) {
		return fmt.Errorf("%d limits for %d stacks", len(p.Tiers), len(p.Stacks))
	}
	seen := make([]bool, len(p.Rank))
	n := 0
	for s, stack := range p.Stacks {
		for _, piece := range stack {
			if piece < 0 || piece >= len(p.Rank) {
				return fmt.Errorf("stack %d holds an unknown piece %d", s, piece)
			}
			if seen[piece] {
				return fmt.Errorf("piece %d lies in two places", piece)
			}
			seen[piece] = true
			n++
		}
	}
	if n != len(p.Rank) {
		return fmt.Errorf("%d of %d pieces lie in no stack", len(p.Rank)-n, len(p.Rank))
	}
	for piece, rank := range p.Rank {
		if rank < 0 {
			return fmt.Errorf("piece %d has the rank %d", piece, rank)
		}
	}
	return nil
}
