package handling

import "slices"

// bound returns how many moves aside are needed at least, whatever beams are
// chosen.
//
// For each kind of wish alone: the n beams that fill it come from the tops of
// the stacks down, so many from each; what lies above the lowest of them in a
// stack and fills no wish at all has to be moved. The cheapest division of the n
// beams among the stacks is found by dynamic programming. The largest over all
// kinds of wishes is a bound for all together.
func bound(g *ground, wishes []Wish) int {
	most := 0
	counted := map[Wish]int{}
	for _, key := range keysOf(wishes) {
		counted[key]++
	}
	dead := g.deadAbove(wishes)
	for key, n := range counted {
		// least[k] is the fewest moves for k beams from the stacks so far.
		least := make([]int, n+1)
		for k := 1; k <= n; k++ {
			least[k] = unreachable
		}
		for _, id := range g.ids {
			least = g.withStack(least, id, key, dead)
		}
		if least[n] < unreachable {
			most = max(most, least[n])
		}
	}
	return most
}

const unreachable = 1 << 30

// withStack returns the fewest moves when beams may come from one more stack.
func (g *ground) withStack(least []int, stackID string, key Wish, dead map[string]int) []int {
	out := slices.Clone(least)
	taken := 0
	for _, id := range slices.Backward(g.stacks[stackID]) {
		if !g.fills(g.piece(id), key) {
			continue
		}
		taken++
		for k := taken; k < len(least); k++ {
			out[k] = min(out[k], least[k-taken]+dead[id])
		}
	}
	return out
}

// deadAbove counts for every beam what lies in higher tiers and fills no wish.
func (g *ground) deadAbove(wishes []Wish) map[string]int {
	kinds := kindsOf(wishes)
	dead := map[string]int{}
	per := g.rules.BeamsPerStackTier
	for _, ids := range g.stacks {
		n := 0
		for from := (len(ids) - 1) / per * per; from >= 0 && len(ids) > 0; from -= per {
			tier := ids[from:min(from+per, len(ids))]
			for _, id := range tier {
				dead[id] = n
			}
			for _, id := range tier {
				if !g.wanted(g.piece(id), kinds) {
					n++
				}
			}
		}
	}
	return dead
}
