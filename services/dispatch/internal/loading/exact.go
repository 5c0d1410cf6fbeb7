package loading

import (
	"cmp"
	"slices"
)

// Verdict is what building a load came to.
type Verdict int

const (
	// Undecided: none was found, and not every way was tried.
	Undecided Verdict = iota
	// Built: here it is.
	Built
	// Impossible: no arrangement keeps the rules.
	Impossible
)

const (
	// exactUnits is up to how many beams and pallets every way is tried.
	exactUnits = 12
	// exactSteps is after how many steps that is given up.
	exactSteps = 4000
)

// exact tries every way to pile and to place a load, until one keeps every
// rule. Nothing is left out but what cannot help:
//
//   - A pile is as narrow as its tiers let it be: what stands beside a pile
//     stands beside a narrower one too. It is widened when all is placed.
//   - Of pieces alike, and of piles alike, one order is tried.
//   - Of two lanes, left and right, one way round is tried.
//   - Piles are placed by the front end that they have when all stand as far
//     to the front as those before them let them; where they then stand is
//     worked out by settle.
type exact struct {
	d *Deck
	// groups of beams of one drop and profile, the longest first.
	groups  []batchOf
	pallets []pile
	piles   []pile
	// in is the pile of each beam of the group that is being divided.
	in []int
	// stages are the limits of the axles at departure and after each drop.
	stages []stage
	order  []int
	stood  []bool
	steps  int
	// cut says that something was left untried.
	cut bool
}

// every looks for a load among all there are.
func (d *Deck) every(pallets []pile, batches []batchOf, drops int) ([]pile, Verdict) {
	if d.lanes > 2 {
		return nil, Undecided
	}
	x := &exact{d: d, groups: batches, pallets: slices.Clone(pallets), steps: exactSteps}
	x.stages = d.stagesOf(pallets, batches, drops)
	for _, b := range batches {
		slices.SortStableFunc(b.beams, func(a, b *Unit) int {
			return cmp.Or(cmp.Compare(b.LengthMM, a.LengthMM), cmp.Compare(b.Item.MassG, a.Item.MassG))
		})
	}
	slices.SortStableFunc(x.pallets, func(a, b pile) int {
		return cmp.Or(cmp.Compare(a.drop, b.drop), cmp.Compare(a.units[0].LengthMM, b.units[0].LengthMM),
			cmp.Compare(a.units[0].WidthMM, b.units[0].WidthMM), cmp.Compare(a.mass, b.mass))
	})
	switch {
	case x.divide(0, 0, 0):
		d.widen(x.piles)
		return x.piles, Built
	case x.cut:
		return nil, Undecided
	default:
		return nil, Impossible
	}
}

// step counts a step and tells whether there is one left.
func (x *exact) step() bool {
	x.steps--
	x.cut = x.cut || x.steps < 0
	return x.steps >= 0
}

// divide puts the beams of a group, from one on, into piles: those before
// first are of other groups.
func (x *exact) divide(group, beam, first int) bool {
	if !x.step() {
		return false
	}
	if group == len(x.groups) {
		return x.turn(0, 0)
	}
	b := &x.groups[group]
	if beam == len(b.beams) {
		in := x.in
		x.in = nil
		found := x.divide(group+1, 0, len(x.piles))
		x.in = in
		return found
	}
	u := b.beams[beam]
	s, _ := x.d.shapeOf(u.WidthMM, u.HeightMM, true)
	lowest := first
	if beam > 0 && u.LengthMM == b.beams[beam-1].LengthMM && u.Item.MassG == b.beams[beam-1].Item.MassG {
		lowest = x.in[beam-1]
	}
	for k := lowest; k <= len(x.piles); k++ {
		if k == len(x.piles) {
			x.piles = append(x.piles, pile{drop: b.drop, length: u.LengthMM})
		} else if len(x.piles[k].units) == s.across*s.tiers || u.LengthMM < shortestWith(x.piles[k].length, x.d.rules.MaxOverhangMM) {
			continue
		}
		before := x.piles[k]
		x.piles[k] = x.d.narrow(before, u, s.tiers)
		x.in = append(x.in, k)
		if x.d.mayStand(x.piles) && x.divide(group, beam+1, first) {
			return true
		}
		x.in = x.in[:beam]
		x.piles[k] = before
		if len(before.units) == 0 {
			x.piles = x.piles[:k]
			break
		}
	}
	return false
}

// narrow is a pile with one beam more, as narrow as it can be.
func (d *Deck) narrow(p pile, u *Unit, tiers int) pile {
	p.units = append(slices.Clone(p.units), u)
	p.mass += u.Item.MassG
	d.abreast(&p, (len(p.units)+tiers-1)/tiers)
	return p
}

// abreast makes a pile of beams so many of them wide.
func (d *Deck) abreast(p *pile, across int) {
	p.across = across
	p.width = across * p.units[0].WidthMM
	p.height = (len(p.units) + across - 1) / across * (p.units[0].HeightMM + d.rules.BearerHeightMM)
}

// turn stands the pallets from one on lengthways or across, those alike and
// across last.
func (x *exact) turn(pallet, way int) bool {
	if pallet == len(x.pallets) {
		return x.d.mayStand(x.piles) && x.begin()
	}
	if !x.step() {
		return false
	}
	p := x.pallets[pallet]
	u := p.units[0]
	if pallet == 0 || !alikePallets(&x.pallets[pallet-1], &p) {
		way = 0
	}
	n := len(x.piles)
	for ; way < 2; way++ {
		p.length, p.width = u.LengthMM, u.WidthMM
		if way == 1 {
			p.length, p.width = u.WidthMM, u.LengthMM
		}
		if p.width > x.d.truck.DeckWidthMM || way == 1 && p.length == p.width {
			continue
		}
		x.piles = append(x.piles[:n], p)
		if x.d.mayStand(x.piles) && x.turn(pallet+1, way) {
			return true
		}
	}
	x.piles = x.piles[:n]
	return false
}

func alikePallets(a, b *pile) bool {
	u, v := a.units[0], b.units[0]
	return a.drop == b.drop && a.mass == b.mass && u.LengthMM == v.LengthMM && u.WidthMM == v.WidthMM
}

// mayStand refuses what no arrangement holds: piles, thought longer by a gap,
// fill no more than the lanes; thought wider by a gap too, no more than the
// deck.
func (d *Deck) mayStand(piles []pile) bool {
	lane, area := d.lanes*(d.limitMM+d.rules.PileGapMM), (d.limitMM+d.rules.PileGapMM)*(d.truck.DeckWidthMM+d.rules.PileGapMM)
	for i := range piles {
		p := &piles[i]
		if p.length > d.limitMM {
			return false
		}
		lane -= p.length + d.rules.PileGapMM
		area -= (p.length + d.rules.PileGapMM) * (p.width + d.rules.PileGapMM)
	}
	return lane >= 0 && area >= 0
}
