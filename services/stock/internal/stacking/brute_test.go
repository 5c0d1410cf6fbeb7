package stacking

import (
	"fmt"
	"slices"
)

// bruteForce returns the fewest relocations by visiting every state, nearest
// first; -1 when nothing leads to the end. It knows lists of pieces and the
// rules, nothing else.
func bruteForce(p Problem, sorting bool) int {
	start := make([][]int, len(p.Stacks))
	for s := range p.Stacks {
		start[s] = slices.Clone(p.Stacks[s])
	}
	if !sorting {
		start = prune(p, start)
	}
	seen := map[string]bool{fmt.Sprint(start): true}
	now := [][][]int{start}
	for depth := 0; len(now) > 0; depth++ {
		var then [][][]int
		for _, y := range now {
			if sorting && sorted(p, y) || !sorting && lowestRank(p, y) == 0 {
				return depth
			}
			for _, z := range neighbours(p, y, sorting) {
				if k := fmt.Sprint(z); !seen[k] {
					seen[k] = true
					then = append(then, z)
				}
			}
		}
		now = then
	}
	return -1
}

func lowestRank(p Problem, y [][]int) int {
	low := 0
	for _, s := range y {
		for _, piece := range s {
			if r := p.Rank[piece]; r > 0 && (low == 0 || r < low) {
				low = r
			}
		}
	}
	return low
}

// prune picks what is free.
func prune(p Problem, y [][]int) [][]int {
	for again := true; again; {
		again = false
		low := lowestRank(p, y)
		for s := range y {
			if n := len(y[s]); n > 0 && low > 0 && p.Rank[y[s][n-1]] == low {
				y[s] = y[s][:n-1]
				again = true
				break
			}
		}
	}
	return y
}

func sorted(p Problem, y [][]int) bool {
	for _, s := range y {
		for t := 1; t < len(s); t++ {
			if a, b := p.Rank[s[t-1]], p.Rank[s[t]]; a > 0 && (b == 0 || b > a) {
				return false
			}
		}
	}
	return true
}

func neighbours(p Problem, y [][]int, sorting bool) [][][]int {
	var out [][][]int
	low := lowestRank(p, y)
	for from := range y {
		if len(y[from]) == 0 {
			continue
		}
		above := slices.ContainsFunc(y[from], func(piece int) bool { return p.Rank[piece] == low })
		if !sorting && p.Rule == AboveNext && !above {
			continue
		}
		piece := y[from][len(y[from])-1]
		for to := range y {
			if to == from || p.Tiers != nil && p.Tiers[to] > 0 && len(y[to]) >= p.Tiers[to] {
				continue
			}
			if p.Rests != nil && len(y[to]) > 0 && !p.Rests(piece, y[to][len(y[to])-1]) {
				continue
			}
			z := make([][]int, len(y))
			for s := range y {
				z[s] = slices.Clone(y[s])
			}
			z[from] = z[from][:len(z[from])-1]
			z[to] = append(z[to], piece)
			if !sorting {
				z = prune(p, z)
			}
			out = append(out, z)
		}
	}
	return out
}
