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

// exactSteps is after how many steps looking at every way is given up.
const exactSteps = 4000

// exact tries every way to pile and to place a load, until one keeps every
// rule. Nothing is left out but what cannot help:
//
//   - Pieces of one drop and size are one class, whatever they weigh. Piles are
//     made of numbers of a class, and of equal numbers one order is tried. Which
//     piece goes into which pile is asked when all is placed (settle).
//   - A pile is as narrow as its tiers let it be: what stands beside a pile
//     stands beside a narrower one too. It is widened when all is placed.
//   - Piles that the lanes cannot hold (lanesHold) are not placed, nor those
//     with which a stage of the trip cannot be kept (stagesHold).
//   - Of piles alike, one order is tried; of two lanes, one way round.
//   - Piles are placed by the front end that they have when all stand as far
//     to the front as those before them let them; where they then stand is
//     worked out by settle.
type exact struct {
	d       *Deck
	classes []class
	// groups are the classes of beams of one drop and profile, the longest
	// first; pallets are the classes behind them.
	groups  []group
	pallets int
	// made are the piles that are made so far.
	made []kind
	// single has one piece of each class.
	single []part
	// lane is what is left of the lanes: less the piles made so far, and the
	// least that all the others take.
	lane   int
	stages []stage
	placing
	// piles is the load that was found.
	piles []pile
	steps int
	// cut says that something was left untried.
	cut bool
}

// class is the pieces of one drop and size, the heaviest first. heavy[n] is
// the mass of the n heaviest.
type class struct {
	drop          int
	length, width int
	units         []*Unit
	heavy         []int64
}

// light is the mass of the n lightest pieces.
func (c *class) light(n int) int64 {
	all := len(c.units)
	return c.heavy[all] - c.heavy[all-n]
}

// group is the classes that may share piles: from first to end, each pile with
// so many tiers and so many beams. least is the length of lane that they take
// at least.
type group struct{ first, end, tiers, holds, least int }

// kind is a pile of which it is known how many pieces of each class it has. Of
// piles alike, one is kept with their number.
type kind struct {
	drop, length, width int
	beams               int
	parts               []part
	count               int
	// density is its mass for its length, if its pieces are of middling mass.
	density int64
}

// part is a number of pieces of a class.
type part struct{ class, n int }

// every looks for a load among all there are in one or two lanes.
func (d *Deck) every(pallets []pile, batches []batchOf, drops int) ([]pile, Verdict) {
	x := &exact{d: d, steps: exactSteps, lane: d.lanesMM()}
	if !x.classify(pallets, batches) {
		return nil, Impossible
	}
	x.stages = d.stagesOf(pallets, batches, drops)
	switch {
	case x.lane >= 0 && x.divide(0):
		d.widen(x.piles)
		return x.piles, Built
	case x.cut:
		return nil, Undecided
	default:
		return nil, Impossible
	}
}

// classify counts the pieces by drop and size, and what they take of the lanes
// at least. It finds beams that no pile may have.
func (x *exact) classify(pallets []pile, batches []batchOf) bool {
	x.classes = make([]class, 0, 2*len(batches)+4)
	x.groups = make([]group, len(batches))
	for g, b := range batches {
		s, ok := x.d.shapeOf(b.beams[0].WidthMM, b.beams[0].HeightMM, true)
		if !ok || b.beams[0].LengthMM > x.d.limitMM {
			return false
		}
		x.groups[g] = group{first: len(x.classes), tiers: s.tiers, holds: s.across * s.tiers}
		for i := 0; i < len(b.beams); {
			u, first := b.beams[i], i
			for i < len(b.beams) && b.beams[i].LengthMM == u.LengthMM {
				i++
			}
			x.classes = append(x.classes, class{drop: b.drop, length: u.LengthMM, width: u.WidthMM, units: b.beams[first:i]})
		}
		x.groups[g].end = len(x.classes)
		for left := b.beams; len(left) > 0; {
			x.groups[g].least += left[0].LengthMM + x.d.rules.PileGapMM
			left = left[x.d.firstPile(left, s.across*s.tiers):]
		}
		x.lane -= x.groups[g].least
	}
	x.pallets = len(x.classes)
	for i := range pallets {
		x.pallet(pallets[i].drop, pallets[i].units[0])
	}
	x.single = make([]part, len(x.classes))
	for i := range x.single {
		x.single[i] = part{i, 1}
	}
	return true
}

// pallet puts a pallet into its class; length is the longer side.
func (x *exact) pallet(drop int, u *Unit) {
	length, width := max(u.LengthMM, u.WidthMM), min(u.LengthMM, u.WidthMM)
	x.lane -= width + x.d.rules.PileGapMM
	of := func(c class) bool { return c.drop == drop && c.length == length && c.width == width }
	i := slices.IndexFunc(x.classes[x.pallets:], of)
	if i < 0 {
		i = len(x.classes) - x.pallets
		x.classes = append(x.classes, class{drop: drop, length: length, width: width})
	}
	c := &x.classes[x.pallets+i]
	c.units = append(c.units, u)
}

// weigh puts the heaviest of each class first and sums the masses.
func (x *exact) weigh() {
	n := 0
	for i := range x.classes {
		n += len(x.classes[i].units) + 1
	}
	heavy := make([]int64, 0, n)
	for i := range x.classes {
		c := &x.classes[i]
		slices.SortStableFunc(c.units, func(a, b *Unit) int { return cmp.Compare(b.Item.MassG, a.Item.MassG) })
		first := len(heavy)
		heavy = append(heavy, 0)
		for _, u := range c.units {
			heavy = append(heavy, heavy[len(heavy)-1]+u.Item.MassG)
		}
		c.heavy = heavy[first:len(heavy):len(heavy)]
	}
}

// step counts a step and tells whether there is one left.
func (x *exact) step() bool {
	x.steps--
	x.cut = x.cut || x.steps < 0
	return x.steps >= 0
}
