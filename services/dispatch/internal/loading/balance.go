package loading

import "slices"

// mostTurned is up to how many parts of a load all ways to turn them are tried.
const mostTurned = 12

// balance turns parts of a load left for right so that the mass on either side of
// the middle of the deck is as equal as that makes it, at departure and after
// each drop. A part is what stands beside each other or too near to be parted by a
// gap; turned parts break no rule, nor do axle loads change. It is for two lanes.
func (d *Deck) balance(piles []pile, drops int) {
	if d.lanes != 2 {
		return
	}
	slices.SortStableFunc(piles, func(a, b pile) int { return a.from - b.from })
	parts := d.parts(piles)
	// aside is by how much each part tips the deck to the right, at each stage.
	var aside [][]int64
	var turned [][]pile
	for _, part := range parts {
		tips := make([]int64, drops)
		for i := range part {
			for stage := range min(part[i].drop, drops) {
				tips[stage] += part[i].mass * int64(d.aside2x(&part[i]))
			}
		}
		if slices.ContainsFunc(tips, func(t int64) bool { return t != 0 }) && len(turned) < mostTurned {
			aside, turned = append(aside, tips), append(turned, part)
		}
	}
	best := leastAside(aside, drops)
	for i, part := range turned {
		if best>>i&1 == 1 {
			d.turn(part)
		}
	}
}

// parts are the piles from the front, parted wherever a gap lies right across.
func (d *Deck) parts(piles []pile) [][]pile {
	var out [][]pile
	first, end := 0, 0
	for i := range piles {
		if i > first && piles[i].from >= end {
			out = append(out, piles[first:i])
			first = i
		}
		end = max(end, piles[i].from+piles[i].length+d.rules.PileGapMM)
	}
	return append(out, piles[first:])
}

// aside2x is twice how far right of the middle of the deck a pile stands.
func (d *Deck) aside2x(p *pile) int { return 2*p.left + p.width - d.truck.DeckWidthMM }

// turn puts a part's right to the left.
func (d *Deck) turn(part []pile) {
	for i := range part {
		p := &part[i]
		if aside := d.aside2x(p); aside < -1 || aside > 1 {
			p.left = d.truck.DeckWidthMM - p.width - p.left
			p.lane = 3 - p.lane
		}
	}
}

// leastAside says which parts to turn, a bit for each, so that the deck is tipped
// least at the stage when it is tipped most; the first part stays.
func leastAside(aside [][]int64, stages int) int {
	best, least := 0, int64(-1)
	for ways := 0; ways < 1<<len(aside); ways += 2 {
		worst := int64(0)
		for stage := range stages {
			sum := int64(0)
			for i := range aside {
				if ways>>i&1 == 1 {
					sum -= aside[i][stage]
				} else {
					sum += aside[i][stage]
				}
			}
			worst = max(worst, sum, -sum)
		}
		if least < 0 || worst < least {
			best, least = ways, worst
		}
	}
	return best
}
