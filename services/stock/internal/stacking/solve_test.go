package stacking

import (
	"errors"
	"math/rand/v2"
	"reflect"
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

// Pieces may lie on another one only when their lengths are close.
func TestSolveKeepsToWhatRests(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 600 {
		p := randomProblem(r, 2+r.IntN(3), 3+r.IntN(4), []int{3, 4, 0}[r.IntN(3)])
		length := make([]int, len(p.Rank))
		for i := range length {
			length[i] = r.IntN(4)
		}
		p.Rests = func(piece, below int) bool {
			d := length[piece] - length[below]
			return d >= -2 && d <= 1
		}
		for _, rule := range []Rule{AboveNext, AnyTop} {
			p.Rule = rule
			checkAgainstBruteForce(t, p, Solve, Replay, bruteForce(p, false))
		}
		checkAgainstBruteForce(t, p, Sort, Resort, bruteForce(p, true))
	}
}

// More freedom never costs relocations: any top, no limit, a stack more.
func TestMoreFreedomNeverCosts(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 9))
	for range 60 {
		p := randomProblem(r, 4, 14, 5)
		strict, err := Solve(p, Budget{})
		if err != nil {
			continue
		}
		free := p
		free.Rule = AnyTop
		wide := p
		wide.Stacks = append(append([][]int(nil), p.Stacks...), nil)
		wide.Tiers = append(append([]int(nil), p.Tiers...), 5)
		high := p
		high.Tiers = nil
		for name, q := range map[string]Problem{"any top": free, "one stack more": wide, "no limit": high} {
			a, err := Solve(q, Budget{})
			if err != nil || !a.Proved || !strict.Proved || a.Relocations > strict.Relocations {
				t.Errorf("%s: %d relocations (%v), without %d: %+v", name, a.Relocations, err, strict.Relocations, p)
			}
		}
	}
}

func TestTheSameBudgetGivesTheSameAnswer(t *testing.T) {
	p := randomProblem(rand.New(rand.NewPCG(3, 3)), 8, 48, 8)
	for _, rule := range []Rule{AboveNext, AnyTop} {
		p.Rule = rule
		one, err1 := Solve(p, Budget{Nodes: 30_000, Width: 40})
		two, err2 := Solve(p, Budget{Nodes: 30_000, Width: 40})
		if err1 != nil || err2 != nil || !reflect.DeepEqual(one, two) {
			t.Errorf("rule %d: %v %v, %v %v", rule, one, err1, two, err2)
		}
		if n, err := Replay(p, one.Moves); err != nil || n != one.Relocations || one.Bound > n {
			t.Errorf("rule %d: replay %d, %v; answer %d, bound %d", rule, n, err, one.Relocations, one.Bound)
		}
	}
}

func TestSolveStopsWhenTold(t *testing.T) {
	p := randomProblem(rand.New(rand.NewPCG(5, 3)), 10, 90, 11)
	asked := 0
	a, err := Solve(p, Budget{Nodes: 1 << 40, Stop: func() bool { asked++; return asked > 400 }})
	if err != nil || a.Bound > a.Relocations || asked > 500 {
		t.Errorf("%d relocations, bound %d, %v after asking %d times", a.Relocations, a.Bound, err, asked)
	}
	a, err = Solve(p, Budget{Stop: func() bool { return true }})
	if n, bad := Replay(p, a.Moves); err != nil || bad != nil || n != a.Relocations {
		t.Errorf("stopped at once: %d relocations, %v, %v", a.Relocations, err, bad)
	}
}

func TestSolveRefusesWhatIsNoYard(t *testing.T) {
	good := Problem{Stacks: [][]int{{0, 1}, {2}}, Rank: []int{1, 2, 3}, Rule: AnyTop}
	for name, change := range map[string]func(*Problem){
		"no rule":            func(p *Problem) { p.Rule = 0 },
		"piece in two":       func(p *Problem) { p.Stacks = [][]int{{0, 1}, {1}} },
		"piece in none":      func(p *Problem) { p.Stacks = [][]int{{0, 1}, nil} },
		"unknown piece":      func(p *Problem) { p.Stacks = [][]int{{0, 1}, {3}} },
		"negative rank":      func(p *Problem) { p.Rank = []int{1, -2, 3} },
		"limits not as many": func(p *Problem) { p.Tiers = []int{3} },
		"too many stacks":    func(p *Problem) { p.Stacks = append(p.Stacks, make([][]int, maxStacks)...) },
	} {
		p := good
		change(&p)
		if _, err := Solve(p, Budget{}); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if _, err := Solve(good, Budget{}); err != nil {
		t.Error(err)
	}
}

func BenchmarkSolve(b *testing.B) {
	for _, size := range []struct {
		name                  string
		stacks, pieces, tiers int
		rule                  Rule
	}{
		{"above-next-8x32", 8, 32, 6, AboveNext},
		{"any-top-8x32", 8, 32, 6, AnyTop},
		{"any-top-10x90", 10, 90, 12, AnyTop},
	} {
		b.Run(size.name, func(b *testing.B) {
			p := randomProblem(rand.New(rand.NewPCG(11, 3)), size.stacks, size.pieces, size.tiers)
			p.Rule = size.rule
			for b.Loop() {
				a, err := Solve(p, Budget{Nodes: 200_000, Width: 32})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(a.Relocations), "relocations")
				b.ReportMetric(float64(a.Bound), "bound")
			}
		})
	}
}

func BenchmarkBound(b *testing.B) {
	for name, rule := range map[string]Rule{"above-next": AboveNext, "any-top": AnyTop} {
		b.Run(name, func(b *testing.B) {
			p := randomProblem(rand.New(rand.NewPCG(11, 3)), 10, 90, 11)
			st := newState(p, kindOf(rule))
			l := newLooker(st)
			b.ReportAllocs()
			for b.Loop() {
				l.bound(st, 1000)
			}
		})
	}
}
