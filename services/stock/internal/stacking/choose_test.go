package stacking

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// fewestOfAll tries every choice by brute force.
func fewestOfAll(r Request, chosen []int) int {
	if len(chosen) == len(r.Wanted) {
		return bruteForce(r.ranked(chosen), false)
	}
	best := -1
	for _, piece := range r.Wanted[len(chosen)] {
		if slices.Contains(chosen, piece) {
			continue
		}
		if n := fewestOfAll(r, append(slices.Clone(chosen), piece)); n >= 0 && (best < 0 || n < best) {
			best = n
		}
	}
	return best
}

func TestChooseEqualsBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	for range 250 {
		p := randomProblem(r, 2+r.IntN(2), 5+r.IntN(2), 4)
		p.Rule = []Rule{AboveNext, AnyTop}[r.IntN(2)]
		kinds := [2][]int{}
		for piece := range p.Rank {
			k := piece & 1
			kinds[k] = append(kinds[k], piece)
		}
		q := Request{Yard: p, Wanted: [][]int{kinds[0], kinds[1], kinds[0]}}
		want := fewestOfAll(q, nil)
		chosen, a, err := Choose(q, Budget{Nodes: 1_000_000, TableBits: 14})
		if want < 0 {
			if err == nil {
				t.Errorf("%+v: %v, but there is no plan", q, a)
			}
			continue
		}
		if err != nil || a.Bound > want || a.Relocations < want || a.Proved && a.Relocations != want {
			t.Errorf("%+v: %d relocations, bound %d, %v; brute force needs %d", q, a.Relocations, a.Bound, err, want)
			continue
		}
		if a.Relocations != want {
			t.Errorf("%+v: %d relocations, brute force needs %d", q, a.Relocations, want)
		}
		if n, err := Replay(q.ranked(chosen), a.Moves); err != nil || n != a.Relocations || !slices.Equal(a.Picked(), chosen) {
			t.Errorf("%+v: replay of %v: %d, %v", q, a.Moves, n, err)
		}
	}
}

func TestChooseTakesTheOldestWhereItCostsNothing(t *testing.T) {
	yard := Problem{Stacks: [][]int{{0}, {1}, {2, 3}}, Rank: make([]int, 4), Rule: AboveNext}
	chosen, a, err := Choose(Request{Yard: yard, Wanted: [][]int{{0, 1, 2}}, Age: []int{5, 2, 1, 9}}, Budget{})
	if err != nil || !slices.Equal(chosen, []int{1}) || a.Relocations != 0 || !a.Proved {
		t.Errorf("%v %v %v: the oldest that is free is piece 1", chosen, a, err)
	}
}

func TestChooseRefusesWhatIsNotThere(t *testing.T) {
	yard := Problem{Stacks: [][]int{{0}, {1}}, Rank: make([]int, 2), Rule: AboveNext}
	for name, q := range map[string]Request{
		"nothing will do": {Yard: yard, Wanted: [][]int{{}}},
		"unknown piece":   {Yard: yard, Wanted: [][]int{{2}}},
		"taken before":    {Yard: yard, Wanted: [][]int{{0}, {0}}},
		"ages":            {Yard: yard, Wanted: [][]int{{0}}, Age: []int{1}},
	} {
		if _, _, err := Choose(q, Budget{}); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

func TestPutAwayIsNearTheBestPlacement(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	sum, best := 0, 0
	for range 80 {
		p := randomProblem(r, 3, 7, 4)
		a := Arrival{Yard: p, InOrder: true}
		a.Yard.Stacks = make([][]int, 3)
		for s, stack := range p.Stacks {
			for _, piece := range stack {
				if piece < 3 {
					a.New = append(a.New, piece)
				} else {
					a.Yard.Stacks[s] = append(a.Yard.Stacks[s], piece)
				}
			}
		}
		want := cheapestPlacement(a.Yard, a.New)
		if want < 0 {
			continue
		}
		got, err := PutAway(a, Budget{})
		if err != nil {
			t.Errorf("%+v: %v", a, err)
			continue
		}
		if got.Picks.Relocations < want || got.Bound > want || len(got.Puts) != len(a.New) {
			t.Errorf("%+v: %+v; the best placement needs %d", a, got, want)
		}
		if n, err := Replay(got.After, got.Picks.Moves); err != nil || n != got.Picks.Relocations {
			t.Errorf("%+v: replay %d, %v", got, n, err)
		}
		sum, best = sum+got.Picks.Relocations, best+want
	}
	if sum*100 > best*103 {
		t.Errorf("%d relocations in all after the advice, %d after the best placements", sum, best)
	}
}

func cheapestPlacement(p Problem, left []int) int {
	if len(left) == 0 {
		return bruteForce(p, false)
	}
	best := -1
	for s := range p.Stacks {
		if len(p.Stacks[s]) >= p.Tiers[s] {
			continue
		}
		q := p
		q.Stacks = slices.Clone(p.Stacks)
		q.Stacks[s] = append(slices.Clone(p.Stacks[s]), left[0])
		if n := cheapestPlacement(q, left[1:]); n >= 0 && (best < 0 || n < best) {
			best = n
		}
	}
	return best
}

func TestPutAwayLaysWhatLeavesLastFirst(t *testing.T) {
	a := Arrival{Yard: Problem{Stacks: [][]int{nil, nil}, Rank: []int{1, 2, Stays, 3}, Tiers: []int{4, 1}, Rule: AboveNext}, New: []int{0, 1, 2, 3}}
	got, err := PutAway(a, Budget{})
	if err != nil || got.Picks.Relocations != 0 || got.Puts[0].Piece != 2 {
		t.Errorf("%+v %v", got, err)
	}
	a.Yard.Tiers = []int{2, 1}
	if _, err := PutAway(a, Budget{}); err == nil {
		t.Error("four pieces in three places")
	}
}
