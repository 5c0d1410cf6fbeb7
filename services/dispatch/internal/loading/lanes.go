package loading

import "spanyard.example/services/dispatch/internal/lanesums"

// lanesHold tells whether the lanes may hold the piles, whatever their masses.
//
// Piles are thought longer by a gap. Piles of which none stands beside another
// are no longer together than a lane; one beside which nothing can stand takes
// its length of both.
func (x *exact) lanesHold() bool {
	d, gap := x.d, x.d.rules.PileGapMM
	lane, across := d.limitMM+gap, d.truck.DeckWidthMM+gap
	narrowest := across
	for i := range x.kinds {
		narrowest = min(narrowest, x.kinds[i].width+gap)
	}
	sum, wide, alone, area := 0, 0, 0, 0
	for i := range x.kinds {
		k := &x.kinds[i]
		length, width := k.count*(k.length+gap), k.width+gap
		switch {
		case d.lanes == 1 || width+narrowest > across:
			alone += length
		case 2*width > across:
			wide += length
		}
		sum += length
		area += length * width
	}
	if alone+wide > lane || sum+alone > 2*lane || area > lane*across {
		return false
	}
	return sum <= lane || x.parted(lane, lane)
}

// parted tells whether what is not placed can be parted into two lots that are
// no longer, each pile with a gap, than what is left of the two lanes.
//
// No line across a deck of two lanes meets more than two piles, so they can be
// given two colours such that those of one follow each other. Lengths of piles
// are rounded down, which errs towards yes only.
func (x *exact) parted(one, other int) bool {
	const grain = lanesums.GrainMM
	words := one/grain/64 + 1
	if words > lanesums.Words {
		return true
	}
	some := lanesums.Set{1}
	whole := 0
	for i := range x.kinds {
		length := (x.kinds[i].length + x.d.rules.PileGapMM) / grain
		for range x.left[i] {
			some.Add(length, words)
			whole += length
		}
	}
	return some.From(whole-other/grain, one/grain) >= 0
}
