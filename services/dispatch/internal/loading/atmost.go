package loading

// AtMost returns how many of the units, from the first, could at best go on
// the deck beside what is there already. It counts masses, the length of lane
// of whole piles, as if lanes could be cut and joined at will, and the area:
// no arrangement of Load does better. It is quick, so a search for the longest
// stretch starts from it.
func (d *Deck) AtMost(there [][]Unit, units []Unit) int {
	t := tally{d: d}
	b := d.newBudget()
	for i, drop := range there {
		for j := range drop {
			if !t.add(i, &drop[j]) {
				return 0
			}
			b.take(d, &drop[j])
		}
	}
	for i := range units {
		b.take(d, &units[i])
		// More than two lanes are only ever of one width.
		if b.roomG < 0 || b.area < 0 || d.lanes > 2 && b.lane < 0 {
			return i
		}
		if !t.add(len(there), &units[i]) || t.lane() > d.lanesMM() {
			return i
		}
	}
	return len(units)
}

// budget is what is left of a deck: mass, length of lanes of one width, and
// area, lengths in thousandths of a millimetre. Piles are thought longer, and
// for the area wider, by a gap.
type budget struct {
	roomG, lane, area int64
}

func (d *Deck) newBudget() budget {
	gap := d.rules.PileGapMM
	return budget{
		roomG: d.capacityG, lane: int64(d.lanesMM()) * 1000,
		area: int64(d.limitMM+gap) * int64(d.truck.DeckWidthMM+gap) * 1000,
	}
}

// take takes what a unit needs at least: a pallet its own, a beam its part of
// a full pile.
func (b *budget) take(d *Deck, u *Unit) {
	b.roomG -= u.Item.MassG
	b.area -= d.areaOf(u)
	if d.lanes > 2 {
		b.lane -= d.laneOf(u)
	}
}

// areaOf is the area that a unit takes at least, in thousandths.
func (d *Deck) areaOf(u *Unit) int64 {
	gap := int64(d.rules.PileGapMM)
	if u.Item.Pallet() {
		return (int64(u.LengthMM) + gap) * (int64(u.WidthMM) + gap) * 1000
	}
	s, ok := d.shapeOf(u.WidthMM, u.HeightMM, true)
	if !ok {
		return 0
	}
	// However many lie abreast, of the gap beside them each has at least its
	// part of the widest pile's.
	return (int64(u.LengthMM) + gap) * 1000 * (int64(s.across)*int64(u.WidthMM) + gap) / int64(s.across*s.tiers)
}

// laneOf is the length of lane, in thousandths of a millimetre, that a unit
// takes at least: a pallet its own, a beam its part of a full pile.
func (d *Deck) laneOf(u *Unit) int64 {
	if u.Item.Pallet() {
		p, ok := d.palletPile(0, u)
		if !ok {
			return int64(d.lanes) * int64(d.limitMM+d.rules.PileGapMM+1) * 1000
		}
		return d.laneOfPile(p.length, p.wide)
	}
	least := int64(-1)
	for _, wide := range [2]bool{true, false} {
		if s, ok := d.shapeOf(u.WidthMM, u.HeightMM, wide); ok {
			part := d.laneOfPile(u.LengthMM, s.wide) / int64(s.across*s.tiers)
			if least < 0 || part < least {
				least = part
			}
		}
	}
	return max(least, 0)
}

func (d *Deck) laneOfPile(lengthMM int, wide bool) int64 {
	lanes := int64(1)
	if wide {
		lanes = int64(d.lanes)
	}
	return lanes * int64(lengthMM+d.rules.PileGapMM) * 1000
}
