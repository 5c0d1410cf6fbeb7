package loading

import (
	"cmp"
	"slices"

	"spanyard.example/services/dispatch/internal/morning"
)

// Unit is a beam or a pallet that is to be loaded, with its size.
type Unit struct {
	Item morning.Item
	// LengthMM and WidthMM along and across the deck; a pallet may be turned.
	LengthMM, WidthMM int
	HeightMM          int
	// StackID is where a pallet's blocks come from.
	StackID string
}

// pile is a stack on the deck while a load is being built.
type pile struct {
	drop   int
	length int
	width  int
	height int
	mass   int64
	// across is how many beams lie side by side in a full tier.
	across int
	// units, bottom first.
	units []*Unit
	// wide piles take the deck's whole width, the others one lane.
	wide       bool
	lane       int
	from, left int
}

// grouping is one way to divide a drop's beams into piles.
type grouping int

const (
	// even fills as few piles as can be, all about equally high.
	even grouping = iota
	// full fills each pile to the top before the next.
	full
	// short does so from the shortest beam up: as few piles, of other lengths.
	short
	// spare uses one pile more than needed, which leaves the axles more choice.
	spare
)

// shape is how beams of a profile stand on a deck.
type shape struct {
	across int
	tiers  int
	wide   bool
}

// tiersOf returns how many tiers of the height a pile may have.
func tiersOf(r morning.Rules, heightMM int) int {
	each := heightMM + r.BearerHeightMM
	if each <= 0 {
		return 0
	}
	return min(r.MaxTiers, r.MaxPileHeightMM/each)
}

// shapeOf returns how beams of the width and height stand on the deck, in one
// lane or across the whole of it.
func (d *Deck) shapeOf(widthMM, heightMM int, wide bool) (shape, bool) {
	if widthMM <= 0 {
		return shape{}, false
	}
	s := shape{tiers: tiersOf(d.rules, heightMM), wide: wide || d.lanes == 1}
	if !s.wide {
		s.across = d.laneMM / widthMM
	}
	if s.across == 0 {
		s.wide = true
		s.across = d.truck.DeckWidthMM / widthMM
	}
	return s, s.across > 0 && s.tiers > 0
}

// shortestWith returns the length of the shortest beam that may share a pile
// with one of the given length.
//
// The bearers of a pile stand one above the other, so all its beams lie on the
// same two lines, at a distance s from each other. A beam of length L hangs
// over by (L-s)/2 at each end, which has to lie between nothing and the
// smaller of the allowed overhang and L/5. Such an s exists exactly when the
// shortest beam reaches the lines that the longest one needs:
// Lmin >= Lmax - 2*min(overhang, Lmax/5).
func shortestWith(longestMM, maxOverhangMM int) int {
	// Counted in fifths of a millimetre, so that L/5 is exact.
	overhang5 := min(5*maxOverhangMM, longestMM)
	return longestMM - 2*overhang5/5
}

// batchOf is the beams of one drop and one profile, the longest first.
type batchOf struct {
	drop  int
	beams []*Unit
}

// beamPiles divides beams into piles.
//
// Order within a pile never limits the choice: whatever beams share a pile,
// laid from the last (bottom) to the first (top) they keep the rule that what
// is laid first lies on top. So only number and lengths matter, and filling
// from the longest beam down is best: by induction its k-th pile is never
// longer than the k-th longest pile of any other division, so it has the
// fewest piles and the least length of deck.
func (d *Deck) beamPiles(into []pile, b batchOf, s shape, g grouping) []pile {
	limit := s.across * s.tiers
	if g == even || g == spare {
		n := d.countPiles(b.beams, limit)
		if g == spare {
			n++
		}
		limit = min(limit, (len(b.beams)+n-1)/n)
		if g == even && d.countPiles(b.beams, limit) > n {
			limit = s.across * s.tiers
		}
	}
	for left := b.beams; len(left) > 0; {
		if g == short {
			n := d.lastPile(left, limit)
			into = append(into, d.beamPile(b.drop, left[n:], s))
			left = left[:n:n]
			continue
		}
		n := d.firstPile(left, limit)
		into = append(into, d.beamPile(b.drop, left[:n:n], s))
		left = left[n:]
	}
	return into
}

// firstPile returns how many of the beams, longest first, the next pile takes.
func (d *Deck) firstPile(byLength []*Unit, limit int) int {
	shortest := shortestWith(byLength[0].LengthMM, d.rules.MaxOverhangMM)
	n := 1
	for n < len(byLength) && n < limit && byLength[n].LengthMM >= shortest {
		n++
	}
	return n
}

// lastPile returns where the pile of the shortest beams begins.
func (d *Deck) lastPile(byLength []*Unit, limit int) int {
	shortest := byLength[len(byLength)-1].LengthMM
	n := len(byLength) - 1
	for n > 0 && len(byLength)-n < limit && shortestWith(byLength[n-1].LengthMM, d.rules.MaxOverhangMM) <= shortest {
		n--
	}
	return n
}

func (d *Deck) countPiles(byLength []*Unit, limit int) int {
	count := 0
	for len(byLength) > 0 {
		byLength = byLength[d.firstPile(byLength, limit):]
		count++
	}
	return count
}

// beamPile makes a pile of beams, the longest first.
func (d *Deck) beamPile(drop int, beams []*Unit, s shape) pile {
	p := pile{drop: drop, across: s.across, units: beams, wide: s.wide, length: beams[0].LengthMM}
	for _, u := range beams {
		p.mass += u.Item.MassG
	}
	p.width = min(len(beams), s.across) * beams[0].WidthMM
	tiers := (len(beams) + s.across - 1) / s.across
	p.height = tiers * (beams[0].HeightMM + d.rules.BearerHeightMM)
	return p
}

// stack puts the beams of every pile in order: the last to be laid at the
// bottom.
func stack(piles []pile) {
	for i := range piles {
		piles[i].units = slices.Clone(piles[i].units)
		slices.SortStableFunc(piles[i].units, func(a, b *Unit) int {
			return cmp.Compare(b.Item.LayingNumber, a.Item.LayingNumber)
		})
	}
}

// palletPile stands a pallet on the deck, turned the way that takes less of
// the deck's length: in a lane where it fits one, else across the whole deck.
func (d *Deck) palletPile(drop int, u *Unit) (pile, bool) {
	p := pile{drop: drop, across: 1, units: []*Unit{u}, height: u.HeightMM, mass: u.Item.MassG}
	if u.HeightMM > d.rules.MaxPileHeightMM {
		return p, false
	}
	for _, across := range []int{d.laneMM, d.truck.DeckWidthMM} {
		p.wide = across != d.laneMM || d.lanes == 1
		best := 0
		for _, way := range [2][2]int{{u.LengthMM, u.WidthMM}, {u.WidthMM, u.LengthMM}} {
			if way[1] <= across && (best == 0 || way[0] < best) {
				best, p.length, p.width = way[0], way[0], way[1]
			}
		}
		if best > 0 {
			return p, true
		}
	}
	return p, false
}

// usualPiles is how many piles of beams a load has at most, mostly.
const usualPiles = 6

// sort parts what is to be loaded into pallets, a pile each, and batches of
// beams that may share piles.
func (d *Deck) sort(drops [][]Unit) (pallets []pile, batches []batchOf, ok bool) {
	count := 0
	for _, units := range drops {
		for j := range units {
			if units[j].Item.Pallet() {
				count++
			}
		}
	}
	pallets = make([]pile, 0, count+usualPiles)
	for i, units := range drops {
		first := len(batches)
		for j := range units {
			u := &units[j]
			if u.Item.Pallet() {
				p, ok := d.palletPile(i+1, u)
				if !ok {
					return nil, nil, false
				}
				pallets = append(pallets, p)
				continue
			}
			b := first
			for b < len(batches) && batches[b].beams[0].Item.Beam.Profile != u.Item.Beam.Profile {
				b++
			}
			if b == len(batches) {
				batches = append(batches, batchOf{drop: i + 1, beams: make([]*Unit, 0, len(units)-j)})
			}
			batches[b].beams = append(batches[b].beams, u)
		}
	}
	for _, b := range batches {
		slices.SortStableFunc(b.beams, func(x, y *Unit) int { return cmp.Compare(y.LengthMM, x.LengthMM) })
	}
	return pallets, batches, true
}

// pilesOf adds piles of the batches to the pallets, one lane wide or across
// the whole deck.
func (d *Deck) pilesOf(pallets []pile, batches []batchOf, wide bool, g grouping) ([]pile, bool) {
	piles := pallets
	for _, b := range batches {
		s, ok := d.shapeOf(b.beams[0].WidthMM, b.beams[0].HeightMM, wide)
		if !ok {
			return nil, false
		}
		piles = d.beamPiles(piles, b, s, g)
	}
	return piles, true
}
