package stacking

import "fmt"

// Replay carries out a plan for a problem, move by move, and counts its
// relocations. It fails at the first move that the yard does not allow and
// when a piece that should be picked is still there at the end. It shares
// nothing with the search.
func Replay(p Problem, moves []Move) (relocations int, err error) {
	yard := newYard(p)
	for i, m := range moves {
		if err := yard.take(m); err != nil {
			return 0, fmt.Errorf("move %d: %w", i+1, err)
		}
		if m.To == Out {
			if next := yard.next(); p.Rank[m.Piece] == Stays || p.Rank[m.Piece] != next {
				return 0, fmt.Errorf("move %d: piece %d of rank %d is picked, but rank %d is next", i+1, m.Piece, p.Rank[m.Piece], next)
			}
			yard.gone[m.Piece] = true
			continue
		}
		if p.Rule == AboveNext && !yard.blocks(m.From) {
			return 0, fmt.Errorf("move %d: piece %d is not above a piece that is next", i+1, m.Piece)
		}
		if err := yard.put(m); err != nil {
			return 0, fmt.Errorf("move %d: %w", i+1, err)
		}
		relocations++
	}
	for piece, rank := range p.Rank {
		if rank != Stays && !yard.gone[piece] {
			return 0, fmt.Errorf("piece %d of rank %d was not picked", piece, rank)
		}
	}
	return relocations, nil
}

// Resort carries out a plan that sorts the stacks and picks nothing; it fails
// when a piece lies on an earlier one at the end.
func Resort(p Problem, moves []Move) (relocations int, err error) {
	yard := newYard(p)
	for i, m := range moves {
		if m.To == Out {
			return 0, fmt.Errorf("move %d: nothing is picked while stacks are sorted", i+1)
		}
		if err := yard.take(m); err != nil {
			return 0, fmt.Errorf("move %d: %w", i+1, err)
		}
		if err := yard.put(m); err != nil {
			return 0, fmt.Errorf("move %d: %w", i+1, err)
		}
	}
	for s, stack := range yard.stacks {
		for t := 1; t < len(stack); t++ {
			upper, lower := p.Rank[stack[t]], p.Rank[stack[t-1]]
			if lower != Stays && (upper == Stays || upper > lower) {
				return 0, fmt.Errorf("in stack %d piece %d lies on piece %d, which leaves earlier", s, stack[t], stack[t-1])
			}
		}
	}
	return len(moves), nil
}

// yardModel is the plainest model of a yard: lists of pieces.
type yardModel struct {
	p      Problem
	stacks [][]int
	gone   []bool
}

func newYard(p Problem) *yardModel {
	y := &yardModel{p: p, gone: make([]bool, len(p.Rank))}
	for _, stack := range p.Stacks {
		y.stacks = append(y.stacks, append([]int(nil), stack...))
	}
	return y
}

func (y *yardModel) take(m Move) error {
	if m.From < 0 || m.From >= len(y.stacks) {
		return fmt.Errorf("there is no stack %d", m.From)
	}
	stack := y.stacks[m.From]
	if len(stack) == 0 || stack[len(stack)-1] != m.Piece {
		return fmt.Errorf("piece %d is not on top of stack %d", m.Piece, m.From)
	}
	y.stacks[m.From] = stack[:len(stack)-1]
	return nil
}

func (y *yardModel) put(m Move) error {
	if m.To < 0 || m.To >= len(y.stacks) || m.To == m.From {
		return fmt.Errorf("piece %d cannot go from stack %d to stack %d", m.Piece, m.From, m.To)
	}
	stack := y.stacks[m.To]
	if y.p.Tiers != nil && y.p.Tiers[m.To] > 0 && len(stack) >= y.p.Tiers[m.To] {
		return fmt.Errorf("stack %d is full", m.To)
	}
	if y.p.Rests != nil && len(stack) > 0 && !y.p.Rests(m.Piece, stack[len(stack)-1]) {
		return fmt.Errorf("piece %d may not lie on piece %d", m.Piece, stack[len(stack)-1])
	}
	y.stacks[m.To] = append(stack, m.Piece)
	return nil
}

// next is the rank that is picked now, or Stays when nothing is left to pick.
func (y *yardModel) next() int {
	next := Stays
	for piece, rank := range y.p.Rank {
		if !y.gone[piece] && rank != Stays && (next == Stays || rank < next) {
			next = rank
		}
	}
	return next
}

// blocks says whether what has just been taken from the stack lay above a
// piece that is next.
func (y *yardModel) blocks(stack int) bool {
	next := y.next()
	for _, piece := range y.stacks[stack] {
		if next != Stays && y.p.Rank[piece] == next {
			return true
		}
	}
	return false
}
