package stacking

import (
	"errors"
	"math/rand/v2"
	"testing"
)

// randomProblem makes a small yard. Some pieces stay, some share a rank.
func randomProblem(r *rand.Rand, stacks, pieces, tiers int) Problem {
	p := Problem{Stacks: make([][]int, stacks), Rank: make([]int, pieces), Rule: AboveNext}
	if tiers > 0 {
		p.Tiers = make([]int, stacks)
		for s := range p.Tiers {
			p.Tiers[s] = tiers
		}
	}
	for i, rank := range r.Perm(pieces) {
		p.Rank[i] = rank + 1
	}
	for piece := range pieces {
		for {
			s := r.IntN(stacks)
			if tiers == 0 || len(p.Stacks[s]) < tiers {
				p.Stacks[s] = append(p.Stacks[s], piece)
				break
			}
		}
	}
	return p
}

// share gives some pieces the rank of another one and lets some stay.
func share(r *rand.Rand, p Problem) Problem {
	p.Rank = append([]int(nil), p.Rank...)
	for i := range p.Rank {
		switch r.IntN(5) {
		case 0:
			p.Rank[i] = Stays
		case 1, 2:
			p.Rank[i] = (p.Rank[i] + 1) / 2
		}
	}
	return p
}

func TestSolveEqualsBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	for i := range 4000 {
		p := randomProblem(r, 2+r.IntN(3), 3+r.IntN(4), []int{3, 3, 4, 0}[r.IntN(4)])
		if len(p.Rank) < len(p.Stacks) || i%3 == 0 {
			p = share(r, p)
		}
		if i%7 == 0 {
			p.Tiers = make([]int, len(p.Stacks))
			for s := range p.Tiers {
				p.Tiers[s] = r.IntN(5)
			}
		}
		for _, rule := range []Rule{AboveNext, AnyTop} {
			p.Rule = rule
			checkAgainstBruteForce(t, p, Solve, Replay, bruteForce(p, false))
		}
		checkAgainstBruteForce(t, p, Sort, Resort, bruteForce(p, true))
		if t.Failed() {
			return
		}
	}
}

func checkAgainstBruteForce(t *testing.T, p Problem, solve func(Problem, Budget) (Answer, error), replay func(Problem, []Move) (int, error), want int) {
	t.Helper()
	a, err := solve(p, Budget{Nodes: 300_000, TableBits: 16})
	if want < 0 {
		if err == nil || !errors.Is(err, ErrBlocked) && !errors.Is(err, ErrGaveUp) {
			t.Errorf("%+v: %v, but there is no plan: %v", p, a, err)
		}
		return
	}
	if err != nil {
		t.Errorf("%+v: %v, want %d relocations", p, err, want)
		return
	}
	if a.Relocations != want || a.Bound != want || !a.Proved {
		t.Errorf("%+v: %d relocations, bound %d, proved %v; brute force needs %d", p, a.Relocations, a.Bound, a.Proved, want)
	}
	if n, err := replay(p, a.Moves); err != nil || n != want {
		t.Errorf("%+v: replay of %v: %d, %v", p, a.Moves, n, err)
	}
}
