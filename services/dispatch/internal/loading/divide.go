package loading

import "slices"

// divide makes piles of the beams of the groups from one on.
func (x *exact) divide(g int) bool {
	if g == len(x.groups) {
		return x.turn(x.pallets)
	}
	// The least that the group takes is given back while its piles are made.
	least := x.groups[g].least
	x.lane += least
	if x.divideClass(g, x.groups[g].first, len(x.made)) {
		return true
	}
	x.lane -= least
	return false
}

// divideClass makes piles of the beams of a group from a class on; the group's
// piles begin at first.
func (x *exact) divideClass(g, c, first int) bool {
	if c == x.groups[g].end {
		return x.divide(g + 1)
	}
	s := sharing{group: g, class: c, first: first, old: len(x.made)}
	return x.share(s, first, len(x.classes[c].units))
}

// sharing is a class that is being divided among the piles of its group: from
// first on, those before old have longer beams too.
type sharing struct{ group, class, first, old int }

// share gives the pile k, and those behind it, their part of the beams that
// are left of a class: first as many as it can take, so that the fewest and
// shortest piles come first.
func (x *exact) share(s sharing, k, left int) bool {
	if !x.step() {
		return false
	}
	if left == 0 {
		return x.divideClass(s.group, s.class+1, s.first)
	}
	c, g := &x.classes[s.class], &x.groups[s.group]
	most := min(left, g.holds)
	if k > s.first && x.alikeBut(k-1, k, s) {
		most = min(most, x.numberOf(k-1, s.class))
	}
	if k >= s.old {
		need := c.length + x.d.rules.PileGapMM
		if x.lane < need {
			return false
		}
		x.lane -= need
		x.made = append(x.made, kind{drop: c.drop, length: c.length})
		found := x.give(s, k, most, 1, left)
		if !found {
			x.made, x.lane = x.made[:k], x.lane+need
		}
		return found
	}
	h := &x.made[k]
	most = min(most, g.holds-h.beams)
	if c.length < shortestWith(h.length, x.d.rules.MaxOverhangMM) {
		most = 0
	}
	least := 0
	if k == s.old-1 && x.lane < c.length+x.d.rules.PileGapMM {
		// There is no room for another pile.
		least = left
	}
	return x.give(s, k, most, least, left)
}

// give gives a pile between most and least of the beams that are left.
func (x *exact) give(s sharing, k, most, least, left int) bool {
	width, tiers := x.classes[s.class].width, x.groups[s.group].tiers
	before := x.made[k]
	for n := most; n >= least; n-- {
		h := before
		if n > 0 {
			h.beams += n
			h.width = (h.beams + tiers - 1) / tiers * width
			h.parts = append(before.parts, part{s.class, n})
		}
		x.made[k] = h
		if x.share(s, k+1, left-n) {
			return true
		}
		if x.steps < 0 {
			break
		}
	}
	x.made[k] = before
	return false
}

// alikeBut tells whether two piles are alike but for the class that is being
// divided; the second has had nothing of it yet.
func (x *exact) alikeBut(i, k int, s sharing) bool {
	if k >= s.old {
		return i >= s.old
	}
	p, q := x.made[i].parts, x.made[k].parts
	if n := len(p); n > 0 && p[n-1].class == s.class {
		p = p[:n-1]
	}
	return slices.Equal(p, q)
}

// numberOf is how many beams of a class a pile has.
func (x *exact) numberOf(k, class int) int {
	for _, p := range x.made[k].parts {
		if p.class == class {
			return p.n
		}
	}
	return 0
}

// turn stands the pallets of the classes from one on along the deck or, some
// of them, across.
func (x *exact) turn(c int) bool {
	if c == len(x.classes) {
		return x.begin()
	}
	if !x.step() {
		return false
	}
	k := &x.classes[c]
	n, longer := len(k.units), k.length-k.width
	made, lane := len(x.made), x.lane
	for turned := 0; turned <= n; turned++ {
		along := n - turned
		if along > 0 && (k.length > x.d.limitMM || k.width > x.d.truck.DeckWidthMM) || along*longer > lane {
			continue
		}
		if turned > 0 && (longer == 0 || k.length > x.d.truck.DeckWidthMM || k.width > x.d.limitMM) {
			break
		}
		x.made = x.made[:made]
		if along > 0 {
			x.made = append(x.made, kind{drop: k.drop, length: k.length, width: k.width, parts: x.single[c : c+1 : c+1], count: along})
		}
		if turned > 0 {
			x.made = append(x.made, kind{drop: k.drop, length: k.width, width: k.length, parts: x.single[c : c+1 : c+1], count: turned})
		}
		x.lane = lane - along*longer
		if x.turn(c + 1) {
			return true
		}
	}
	x.made, x.lane = x.made[:made], lane
	return false
}
