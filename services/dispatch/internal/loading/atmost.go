package loading

// AtMost returns how many of the units, from the first, could at best go on
// the deck beside what is there already. It counts masses, and for every pile
// the length of lane that it takes, as if lanes could be cut and joined at
// will: no arrangement of Load does better. It is quick, so a search for the
// longest stretch starts from it.
func (d *Deck) AtMost(there [][]Unit, units []Unit) int {
	roomG := d.capacityG
	// Lengths of lane in thousandths of a millimetre.
	room := int64(d.lanes) * int64(d.limitMM+d.rules.PileGapMM) * 1000
	for _, drop := range there {
		for i := range drop {
			roomG -= drop[i].Item.MassG
			room -= d.laneOf(&drop[i])
		}
	}
	for i := range units {
		roomG -= units[i].Item.MassG
		room -= d.laneOf(&units[i])
		if roomG < 0 || room < 0 {
			return i
		}
	}
	return len(units)
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
