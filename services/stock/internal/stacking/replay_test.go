package stacking

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// A plan in which something is changed must not pass as one with as few
// relocations, unless it is a plan all the same by brute force of its rules.
func TestReplaySeesWhatIsWrong(t *testing.T) {
	p := Problem{Stacks: [][]int{{0, 1}, {2, 3}, {}}, Rank: []int{1, 2, 3, 4}, Tiers: []int{2, 2, 1}, Rule: AboveNext}
	good := []Move{{1, 0, 2}, {0, 0, Out}, {1, 2, Out}, {3, 1, 0}, {2, 1, Out}, {3, 0, Out}}
	if n, err := Replay(p, good); err != nil || n != 2 {
		t.Fatalf("the plan: %d, %v", n, err)
	}
	for name, change := range map[string]func([]Move) []Move{
		"a move is missing":         func(m []Move) []Move { return m[1:] },
		"the last pick is missing":  func(m []Move) []Move { return m[:5] },
		"two moves change places":   func(m []Move) []Move { m[0], m[1] = m[1], m[0]; return m },
		"another piece":             func(m []Move) []Move { m[0].Piece = 0; return m },
		"onto a full stack":         func(m []Move) []Move { m[0].To = 1; return m },
		"onto its own stack":        func(m []Move) []Move { m[0].To = 0; return m },
		"onto no stack":             func(m []Move) []Move { m[0].To = 7; return m },
		"from no stack":             func(m []Move) []Move { m[0].From = -1; return m },
		"picked before its turn":    func(m []Move) []Move { m[0].To = Out; return m },
		"picked twice":              func(m []Move) []Move { return append(m, m[5]) },
		"moved although not in way": func(m []Move) []Move { return append([]Move{{3, 1, 2}, {3, 2, 1}}, m...) },
	} {
		if n, err := Replay(p, change(slices.Clone(good))); err == nil {
			t.Errorf("%s: taken, with %d relocations", name, n)
		}
	}
	p.Rests = func(piece, below int) bool { return false }
	p.Tiers = nil
	if _, err := Replay(p, append([]Move{{1, 0, 1}}, good[1:]...)); err == nil {
		t.Error("what may not lie on another piece: taken")
	}
}

func TestResortSeesWhatIsWrong(t *testing.T) {
	p := Problem{Stacks: [][]int{{0, 1}, {2}, {}}, Rank: []int{1, Stays, 3}, Rule: AnyTop}
	if n, err := Resort(p, []Move{{1, 0, 2}}); err != nil || n != 1 {
		t.Fatalf("%d, %v", n, err)
	}
	for name, moves := range map[string][]Move{
		"nothing done":   nil,
		"a pick":         {{1, 0, Out}},
		"still in way":   {{1, 0, 1}},
		"not on top":     {{0, 0, 2}},
		"not that stack": {{1, 1, 2}},
	} {
		if _, err := Resort(p, moves); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// Changing one number of one move of a best plan never makes it cheaper.
func TestReplayOfChangedPlans(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 8))
	for range 200 {
		p := randomProblem(r, 4, 10, 4)
		a, err := Solve(p, Budget{})
		if err != nil {
			continue
		}
		for i := range a.Moves {
			moves := slices.Clone(a.Moves)
			switch r.IntN(3) {
			case 0:
				moves[i].To = r.IntN(5) - 1
			case 1:
				moves[i].From = r.IntN(4)
			default:
				moves = slices.Delete(moves, i, i+1)
			}
			if slices.Equal(moves, a.Moves) {
				continue
			}
			if n, err := Replay(p, moves); err == nil && n < a.Relocations {
				t.Errorf("%d relocations after a change, %d before: %v", n, a.Relocations, moves)
			}
		}
	}
}
