package stacking

import (
	"math/rand/v2"
	"testing"
)

// A yard that is four fifths full is sorted even when there is hardly time,
// and more time never makes the plan longer.
func TestSortFindsAPlanForAFullYard(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 16))
	for i := range 3 {
		p := randomProblem(r, 16, 102, 8)
		if i%2 == 0 {
			p = share(r, p)
		}
		last := -1
		for _, nodes := range []int64{1, 200} {
			a, err := Sort(p, Budget{Nodes: nodes, Width: 32, TableBits: 12})
			if err != nil {
				t.Fatalf("yard %d, %d nodes: %v", i, nodes, err)
			}
			if n, err := Resort(p, a.Moves); err != nil || n != a.Relocations || a.Bound > n {
				t.Errorf("yard %d: resort %d, %v; answer %d, bound %d", i, n, err, a.Relocations, a.Bound)
			}
			if last >= 0 && a.Relocations > last {
				t.Errorf("yard %d: %d relocations with more nodes, %d with fewer", i, a.Relocations, last)
			}
			last = a.Relocations
		}
	}
}

// Three stacks without a free one: until one is in order a piece that has to
// move can only lie where it has to move again, and the latest piece needs
// the ground, which the earlier piece there has to leave.
func TestBoundSortingCountsWhatHasToBeCleared(t *testing.T) {
	for name, c := range map[string]struct {
		stacks [][]int // ranks from the ground up
		tiers  int
		least  int
	}{
		"every stack has one to move":      {[][]int{{1, 4}, {2, 5}, {3, 6}}, 3, 3 + 1 + 1},
		"the latest lies on no free place": {[][]int{{1, 9}, {4, 3}, {5, 2}}, 3, 1 + 1},
		"in order":                         {[][]int{{4, 1}, {5, 2}, {6, 3}}, 3, 0},
	} {
		var p Problem
		for _, ranks := range c.stacks {
			var stack []int
			for _, rank := range ranks {
				stack = append(stack, len(p.Rank))
				p.Rank = append(p.Rank, rank)
			}
			p.Stacks, p.Tiers = append(p.Stacks, stack), append(p.Tiers, c.tiers)
		}
		st := newState(p, sortOnly)
		if got := newLooker(st).bound(st, 100); got != c.least {
			t.Errorf("%s: bound %d, want %d", name, got, c.least)
		}
		if want := bruteForce(p, true); want < c.least {
			t.Errorf("%s: brute force needs only %d", name, want)
		}
	}
}
