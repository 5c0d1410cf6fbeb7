package loading

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/morning"
)

// box is a pile as the enumeration sees it.
type box struct {
	drop, length, width int
	mass                float64
	from, left          int
}

// enumeration tries every division into piles, every way to turn pallets, both
// sides of the deck and every place on a grid along it. Of equal pieces that
// follow each other, the later one goes into no earlier pile, and of equal
// boxes that do, the later one stands at no earlier place. It shares nothing
// with the search but the types.
type enumeration struct {
	t     morning.Truck
	r     morning.Rules
	grid  int
	drops int
}

// any divides the units from the first on.
func (e *enumeration) any(units []Unit, drop []int, piles [][]int) bool {
	n := 0
	for _, p := range piles {
		n += len(p)
	}
	if e.tooLong(units, piles) {
		return false
	}
	if n == len(units) {
		return e.anyWay(units, drop, piles, nil)
	}
	first := 0
	if n > 0 && drop[n] == drop[n-1] && alikeUnits(&units[n], &units[n-1]) {
		first = slices.IndexFunc(piles, func(p []int) bool { return slices.Contains(p, n-1) })
	}
	for i, p := range piles {
		u, v := &units[n], &units[p[0]]
		if i < first || u.Item.Pallet() || v.Item.Pallet() || drop[n] != drop[p[0]] || u.Item.Beam.Profile != v.Item.Beam.Profile {
			continue
		}
		more := append([][]int(nil), piles...)
		more[i] = append(append([]int(nil), p...), n)
		if e.any(units, drop, more) {
			return true
		}
	}
	return e.any(units, drop, append(append([][]int(nil), piles...), []int{n}))
}

func alikeUnits(u, v *Unit) bool {
	return u.LengthMM == v.LengthMM && u.WidthMM == v.WidthMM && u.Item.MassG == v.Item.MassG && u.Item.Pallet() == v.Item.Pallet()
}

// tooLong tells whether piles are longer than all lanes together.
func (e *enumeration) tooLong(units []Unit, piles [][]int) bool {
	room := e.r.MaxLanes * (e.t.DeckLengthMM + e.r.PileGapMM)
	for _, p := range piles {
		u := &units[p[0]]
		length := u.LengthMM
		if u.Item.Pallet() {
			length = min(length, u.WidthMM)
		}
		room -= length + e.r.PileGapMM
	}
	return room < 0
}

// anyWay gives the piles their sizes.
func (e *enumeration) anyWay(units []Unit, drop []int, piles [][]int, boxes []box) bool {
	if len(boxes) == len(piles) {
		return e.anyPlace(boxes, 0)
	}
	p := piles[len(boxes)]
	first := &units[p[0]]
	b := box{drop: drop[p[0]]}
	longest, shortest := 0, 1<<30
	for _, i := range p {
		b.mass += float64(units[i].Item.MassG)
		longest, shortest = max(longest, units[i].LengthMM), min(shortest, units[i].LengthMM)
	}
	if first.Item.Pallet() {
		for _, way := range [][2]int{{first.LengthMM, first.WidthMM}, {first.WidthMM, first.LengthMM}} {
			b.length, b.width = way[0], way[1]
			if e.anyWay(units, drop, piles, append(boxes[:len(boxes):len(boxes)], b)) {
				return true
			}
		}
		return false
	}
	if 10*(longest-shortest) > 20*e.r.MaxOverhangMM || 5*(longest-shortest) > 2*longest {
		return false
	}
	b.length = longest
	for across := 1; across <= len(p); across++ {
		tiers := (len(p) + across - 1) / across
		if tiers <= e.r.MaxTiers && tiers*(first.HeightMM+e.r.BearerHeightMM) <= e.r.MaxPileHeightMM {
			b.width = across * first.WidthMM
			return e.anyWay(units, drop, piles, append(boxes[:len(boxes):len(boxes)], b))
		}
	}
	return false
}

// anyPlace places the boxes from one on.
func (e *enumeration) anyPlace(boxes []box, k int) bool {
	if k == len(boxes) {
		return e.axlesHold(boxes)
	}
	b := &boxes[k]
	first := 0
	if k > 0 && boxes[k-1].drop == b.drop && boxes[k-1].length == b.length && boxes[k-1].width == b.width && boxes[k-1].mass == b.mass {
		first = boxes[k-1].from
	}
	for _, left := range []int{0, e.t.DeckWidthMM - b.width} {
		for from := first; from+b.length <= e.t.DeckLengthMM; from += e.grid {
			b.from, b.left = from, left
			if b.width <= e.t.DeckWidthMM && e.free(boxes[:k], b) && e.anyPlace(boxes, k+1) {
				return true
			}
		}
	}
	return false
}

func (e *enumeration) free(others []box, b *box) bool {
	gap := e.r.PileGapMM
	for _, o := range others {
		along := b.from < o.from+o.length+gap && o.from < b.from+b.length+gap
		across := b.left < o.left+o.width+gap && o.left < b.left+b.width+gap
		if along && (across || e.r.MaxLanes == 1) {
			return false
		}
	}
	return true
}

func (e *enumeration) axlesHold(boxes []box) bool {
	for after := range e.drops {
		front, rear, aboard := float64(e.t.TareFrontKg), float64(e.t.TareRearKg), 0.0
		for _, b := range boxes {
			if b.drop > after {
				arm := (float64(e.t.DeckStartMM+b.from) + float64(b.length)/2) / float64(e.t.WheelbaseMM)
				front, rear, aboard = front+b.mass/1000*(1-arm), rear+b.mass/1000*arm, aboard+b.mass/1000
			}
		}
		if aboard > 0 && (front < 0 || front > float64(e.t.MaxFrontKg) || rear > float64(e.t.MaxRearKg)) {
			return false
		}
	}
	return true
}

// smallLoad is a few heavy pieces on a deck whose axles ask for care.
func smallLoad(t *rapid.T) (morning.Truck, morning.Rules, [][]Unit) {
	tr, r := truck, rules
	tr.DeckLengthMM = rapid.SampledFrom([]int{2900, 3900, 4900}).Draw(t, "deck")
	tr.DeckWidthMM = rapid.SampledFrom([]int{300, 1100, 2300, 2400}).Draw(t, "width")
	tr.MaxFrontKg = rapid.IntRange(4400, 7100).Draw(t, "front")
	tr.MaxRearKg = rapid.IntRange(4500, 9500).Draw(t, "rear")
	r.MaxLanes = rapid.IntRange(1, 2).Draw(t, "lanes")
	r.MaxTiers = rapid.IntRange(1, 3).Draw(t, "tiers")
	drops := make([][]Unit, rapid.IntRange(1, 3).Draw(t, "drops"))
	for i := range rapid.IntRange(1, 6).Draw(t, "units") {
		k := rapid.IntRange(0, len(drops)-1).Draw(t, "drop")
		if len(drops[k]) > 0 && i < len(drops) {
			k = i
		}
		kg := int64(rapid.IntRange(2, 20).Draw(t, "kg")) * 100
		if rapid.IntRange(0, 2).Draw(t, "kind") == 0 {
			drops[k] = append(drops[k], pallet(i+1, kg))
			continue
		}
		u := beam(i+1, rapid.SampledFrom([]int{900, 1400, 1900, 2400}).Draw(t, "length"), kg)
		u.WidthMM = rapid.SampledFrom([]int{140, 140, 500, 1100}).Draw(t, "beam width")
		u.Item.Beam.Profile = string(rune('A' + u.WidthMM/100))
		drops[k] = append(drops[k], u)
	}
	return tr, r, drops
}

// alikeLoad is up to 16 pieces of few kinds, most of them alike.
func alikeLoad(t *rapid.T) (morning.Truck, morning.Rules, [][]Unit) {
	tr, r := truck, rules
	tr.DeckLengthMM = rapid.SampledFrom([]int{2900, 3400, 3900}).Draw(t, "deck")
	tr.DeckWidthMM = rapid.SampledFrom([]int{700, 1100, 2300, 2400}).Draw(t, "width")
	tr.MaxFrontKg = rapid.IntRange(4400, 7100).Draw(t, "front")
	tr.MaxRearKg = rapid.IntRange(4500, 9500).Draw(t, "rear")
	r.MaxLanes = rapid.IntRange(1, 2).Draw(t, "lanes")
	r.MaxTiers = rapid.IntRange(1, 6).Draw(t, "tiers")
	drops := make([][]Unit, rapid.IntRange(1, 2).Draw(t, "drops"))
	n := 0
	for range rapid.IntRange(1, 4).Draw(t, "kinds") {
		k := rapid.IntRange(0, len(drops)-1).Draw(t, "drop")
		kg := int64(rapid.IntRange(1, 9).Draw(t, "kg")) * 100
		uneven := int64(rapid.IntRange(0, 1).Draw(t, "uneven")) * 100
		length := rapid.SampledFrom([]int{0, 900, 1400, 1900, 2400}).Draw(t, "length")
		width := rapid.SampledFrom([]int{140, 140, 500}).Draw(t, "beam width")
		most := 6
		if length == 0 {
			most = 3
		}
		for i := range rapid.IntRange(1, most).Draw(t, "pieces") {
			n++
			u := pallet(n, kg)
			if length > 0 {
				u = beam(n, length, kg)
				u.WidthMM = width
				u.Item.Beam.Profile = string(rune('A' + width/100))
			}
			// The first of them may be heavier.
			if i == 0 {
				u.Item.MassG += uneven * 1000
			}
			drops[k] = append(drops[k], u)
		}
	}
	return tr, r, drops
}

// comparison counts what comparing with the enumeration came to.
type comparison struct{ cases, exist, missed, undecided, beyond int }

// with compares a load with the enumeration: where that finds one, Build does
// not say that there is none, and what Build builds keeps the rules.
func (c *comparison) with(t *rapid.T, tr morning.Truck, r morning.Rules, drops [][]Unit) {
	d := NewDeck(tr, r, 0)
	var units []Unit
	var of []int
	for k, list := range drops {
		for _, u := range list {
			units, of = append(units, u), append(of, k+1)
		}
	}
	c.cases++
	e := enumeration{t: tr, r: r, grid: 250, drops: len(drops)}
	found := massOf(drops) <= d.capacityG && e.any(units, of, nil)
	l, v := d.Build(drops)
	if found && v == Impossible {
		t.Fatal("there is a load, and Build says that there is none")
	}
	if v == Built {
		HoldsRules(t, tr, r, 0, l, drops)
	}
	usual := c.parts(t, tr, r, drops, found)
	if found {
		c.exist++
		if !usual {
			c.missed++
		}
	} else if v == Built {
		c.beyond++
	}
}

// parts looks at the usual ways and at every way apart from each other.
func (c *comparison) parts(t *rapid.T, tr morning.Truck, r morning.Rules, drops [][]Unit, found bool) (usual bool) {
	d := NewDeck(tr, r, 0)
	pallets, batches, ok := d.sort(drops)
	if !ok || massOf(drops) > d.capacityG {
		return false
	}
	_, usual = d.planned(pallets, batches, len(drops))
	pallets, batches, _ = d.sort(drops)
	piles, v := d.every(pallets, batches, len(drops))
	switch v {
	case Undecided:
		c.undecided++
	case Impossible:
		if found || usual {
			t.Fatal("there is a load, and trying every way says that there is none")
		}
	case Built:
		stack(piles)
		HoldsRules(t, tr, r, 0, Load{deck: d, piles: piles, drops: len(drops)}, drops)
	}
	return usual
}

// decided fails where more than a few loads were left undecided, and prints how
// often the usual ways alone miss a load.
func (c *comparison) decided(t *testing.T) {
	if c.undecided*50 > c.cases {
		t.Errorf("%d of %d loads were left undecided", c.undecided, c.cases)
	}
	t.Logf("%d loads exist on the grid and %d only between its lines; the usual ways miss %d of the former; %d of all %d were left undecided",
		c.exist, c.beyond, c.missed, c.undecided, c.cases)
}

// TestEveryWayAgainstEnumeration: few pieces, all different.
func TestEveryWayAgainstEnumeration(t *testing.T) {
	var c comparison
	rapid.Check(t, func(t *rapid.T) {
		tr, r, drops := smallLoad(t)
		c.with(t, tr, r, drops)
	})
	c.decided(t)
}

// TestAlikeAgainstEnumeration: more pieces, most of them alike.
func TestAlikeAgainstEnumeration(t *testing.T) {
	var c comparison
	rapid.Check(t, func(t *rapid.T) {
		tr, r, drops := alikeLoad(t)
		c.with(t, tr, r, drops)
	})
	c.decided(t)
}

// TestTightLoads: loads that exist in one way only, and the same with a little
// less room.
func TestTightLoads(t *testing.T) {
	// Beams of which none shares a pile fill both lanes to the millimetre:
	// 3950+100+1950 and 3450+100+2450.
	single, double := rules, rules
	single.MaxTiers, double.MaxTiers = 1, 2
	var broad []Unit
	for i, length := range []int{3950, 3450, 2450, 1950} {
		u := beam(i+1, length, 300)
		u.WidthMM, u.Item.Beam.Profile = 1100, string(rune('A'+i))
		broad = append(broad, u)
	}
	shorter := truck
	shorter.DeckLengthMM--
	// Three pallets fill the one lane. By moments the rear axle takes 693 kg of
	// them with 600, 1000 and 100 kg from the front, 593 or less, or 717 or more,
	// in every other order; the front axle the rest of 1700 kg.
	narrow := truck
	narrow.DeckLengthMM, narrow.DeckWidthMM, narrow.MaxRearKg, narrow.MaxFrontKg = 3800, 1000, 3500, 5240
	weaker := narrow
	weaker.MaxRearKg = 3480
	heavy := []Unit{pallet(1, 100), pallet(2, 1000), pallet(3, 600)}
	// The same with beams of one length, one in a pile, and with two, both of one
	// mass.
	thin := narrow
	thin.DeckWidthMM = 140
	twice := thin
	twice.MaxRearKg, twice.MaxFrontKg = 4200, 6240
	var beams, pairs []Unit
	for i, kg := range []int64{100, 1000, 600} {
		beams = append(beams, beam(i+1, 1200, kg))
		pairs = append(pairs, beam(i+1, 1200, kg), beam(i+4, 1200, kg))
	}
	for _, c := range []struct {
		name  string
		truck morning.Truck
		rules morning.Rules
		units []Unit
		want  Verdict
	}{
		{"both lanes full", truck, single, broad, Built},
		{"a millimetre less", shorter, single, broad, Impossible},
		{"the heaviest in the middle", narrow, single, heavy, Built},
		{"nor there", weaker, single, heavy, Impossible},
		{"the heaviest beam in the middle", thin, single, beams, Built},
		{"the heaviest pair in the middle", twice, double, pairs, Built},
	} {
		d := NewDeck(c.truck, c.rules, 0)
		drops := [][]Unit{c.units}
		pallets, batches, _ := d.sort(drops)
		piles, v := d.every(pallets, batches, 1)
		if v != c.want {
			t.Errorf("%s: %v, want %v", c.name, v, c.want)
		}
		if v == Built {
			stack(piles)
			HoldsRules(t, c.truck, c.rules, 0, Load{deck: d, piles: piles, drops: 1}, drops)
		}
	}
}
