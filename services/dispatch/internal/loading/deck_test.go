package loading

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/morning"
)

var rules = morning.Rules{
	MaxTiers: 6, MaxPileHeightMM: 1400, BearerHeightMM: 75, BearerInsetMM: 300, MaxOverhangMM: 300,
	PileGapMM: 100, MaxLanes: 2, MaxTailOverhangMM: 0,
}

var truck = morning.Truck{
	DeckLengthMM: 6000, DeckWidthMM: 2400, PayloadKg: 9000, TareFrontKg: 4200, TareRearKg: 2800, MaxFrontKg: 7100,
	MaxRearKg: 11500, WheelbaseMM: 5200, DeckStartMM: 600, MaxGrossKg: 18000,
}

func beam(laying, lengthMM int, kg int64) Unit {
	return Unit{
		Item: morning.Item{
			PieceID: fmt.Sprint(laying), Mark: fmt.Sprint(laying), LayingNumber: laying, MassG: kg * 1000,
			Beam: morning.Product{Profile: "P", LengthMM: lengthMM},
		},
		LengthMM: lengthMM, WidthMM: 140, HeightMM: 150,
	}
}

func pallet(laying int, kg int64) Unit {
	return Unit{
		Item:     morning.Item{PieceID: fmt.Sprint("p", laying), LayingNumber: laying, MassG: kg * 1000, BlockKind: "B", BlockCount: 1},
		LengthMM: 1200, WidthMM: 1000, HeightMM: 1000,
	}
}

func TestNearlyEqualLengthsShareAPile(t *testing.T) {
	for _, c := range []struct{ longest, overhang, shortest int }{
		{5400, 300, 4800}, // twice the overhang
		{1500, 300, 900},  // a fifth of 1500 is 300
		{1000, 300, 600},  // a fifth of 1000 is 200
		{5400, 0, 5400},
	} {
		if got := shortestWith(c.longest, c.overhang); got != c.shortest {
			t.Errorf("with %d mm lie %d mm and more, want %d", c.longest, got, c.shortest)
		}
	}
}

func TestFirstLaidLiesOnTop(t *testing.T) {
	var units []Unit
	for i := range 40 {
		units = append(units, beam(i+1, 5000-i%3*200, 150))
	}
	l, ok := NewDeck(truck, rules, 0).Load([][]Unit{units})
	if !ok {
		t.Fatal("40 beams of 150 kg do not fit")
	}
	seen := 0
	for _, p := range l.Piles() {
		above := 1 << 30
		for _, tier := range p.Tiers {
			lowest := 1 << 30
			for _, i := range tier.Items {
				if i.LayingNumber > above {
					t.Errorf("pile %d: %d lies above what is laid before it", p.Number, i.LayingNumber)
				}
				lowest = min(lowest, i.LayingNumber)
				seen++
			}
			above = lowest
		}
	}
	if seen != 40 {
		t.Errorf("%d of 40 beams are on the deck", seen)
	}
}

func TestLimitsOfADeck(t *testing.T) {
	heavy := truck
	heavy.MaxRearKg = 6000
	narrow := truck
	narrow.DeckWidthMM = 1000
	for _, c := range []struct {
		name  string
		truck morning.Truck
		units []Unit
		fits  bool
	}{
		{"a beam as long as the deck", truck, []Unit{beam(1, 6000, 200)}, true},
		{"a beam longer than the deck", truck, []Unit{beam(1, 6001, 200)}, false},
		{"payload to the kilogram", truck, []Unit{beam(1, 4000, 4500), beam(2, 4000, 4500)}, true},
		{"a kilogram above it", truck, []Unit{beam(1, 4000, 4500), beam(2, 4000, 4501)}, false},
		{"rear axle too weak", heavy, []Unit{beam(1, 6000, 6000)}, false},
		{"eight pallets in two lanes", truck, pallets(8), true},
		{"nine pallets, some turned", truck, pallets(9), true},
		{"eleven pallets", truck, pallets(11), false},
		{"pallets in one narrow lane lie turned as fits", narrow, pallets(4), true},
	} {
		if _, ok := NewDeck(c.truck, rules, 0).Load([][]Unit{c.units}); ok != c.fits {
			t.Errorf("%s: fits is %v", c.name, ok)
		}
	}
}

func pallets(n int) []Unit {
	var units []Unit
	for i := range n {
		units = append(units, pallet(i+1, 900))
	}
	return units
}

// TestSingleLaneLoadsAreFoundWheneverTheyExist compares with every division
// into piles, every order and every place on a millimetre grid: in one lane,
// with one drop and beams of one mass a metre, the search misses no load.
func TestSingleLaneLoadsAreFoundWheneverTheyExist(t *testing.T) {
	one := rules
	one.MaxLanes = 1
	rapid.Check(t, func(t *rapid.T) {
		tr := truck
		tr.MaxFrontKg = rapid.IntRange(5000, 7100).Draw(t, "front")
		tr.MaxRearKg = rapid.IntRange(5000, 9000).Draw(t, "rear")
		tr.DeckWidthMM = rapid.SampledFrom([]int{280, 560, 1100}).Draw(t, "width")
		kgPerM := rapid.IntRange(30, 600).Draw(t, "kg/m")
		var units []Unit
		for i := range rapid.IntRange(1, 5).Draw(t, "beams") {
			length := rapid.SampledFrom([]int{1200, 1500, 2000, 2500, 2600, 3500}).Draw(t, "length")
			units = append(units, beam(i+1, length, int64(kgPerM*length/1000)))
		}
		d := NewDeck(tr, one, 0)
		_, found := d.Load([][]Unit{units})
		if exists := anyLoad(d, units, nil); exists != found {
			t.Fatalf("a load exists: %v; found: %v", exists, found)
		}
	})
}

// anyLoad divides the beams into groups in every way and tries every order.
func anyLoad(d *Deck, units []Unit, groups [][]int) bool {
	placed := 0
	for _, g := range groups {
		placed += len(g)
	}
	if placed == len(units) {
		return anyOrder(d, units, groups, nil)
	}
	for i := range groups {
		more := append([][]int(nil), groups...)
		more[i] = append(append([]int(nil), groups[i]...), placed)
		if anyLoad(d, units, more) {
			return true
		}
	}
	return anyLoad(d, units, append(append([][]int(nil), groups...), []int{placed}))
}

func anyOrder(d *Deck, units []Unit, rest, order [][]int) bool {
	if len(rest) == 0 {
		return stands(d, units, order)
	}
	for i := range rest {
		left := append(append([][]int(nil), rest[:i]...), rest[i+1:]...)
		if anyOrder(d, units, left, append(append([][]int(nil), order...), rest[i])) {
			return true
		}
	}
	return false
}

// stands tries every place of the piles, close together, on the deck. Gaps
// give nothing more: the middle of all masses moves through the same span.
func stands(d *Deck, units []Unit, order [][]int) bool {
	var masses []mass
	at := 0
	for _, g := range order {
		longest, shortest := 0, 1<<30
		var sum int64
		for _, i := range g {
			longest, shortest = max(longest, units[i].LengthMM), min(shortest, units[i].LengthMM)
			sum += units[i].Item.MassG
		}
		across := d.truck.DeckWidthMM / 140
		if shortest < longest-2*min(300, longest/5) || len(g) > across*6 {
			return false
		}
		masses = append(masses, mass{sum, int64(2*(d.truck.DeckStartMM+at) + longest)})
		at += longest + d.rules.PileGapMM
	}
	for shift := 0; at-d.rules.PileGapMM+shift <= d.limitMM; shift++ {
		moved := append([]mass(nil), masses...)
		for i := range moved {
			moved[i].lever2x += int64(2 * shift)
		}
		front, rear := axles(d.truck, moved)
		var sum int64
		for _, m := range moved {
			sum += m.g
		}
		if front >= 0 && front <= float64(d.truck.MaxFrontKg)*1000 && rear <= float64(d.truck.MaxRearKg)*1000 &&
			sum <= d.capacityG {
			return true
		}
	}
	return false
}

// TestAtMostNeverCutsALoad: no load that can be built is longer.
func TestAtMostNeverCutsALoad(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var units []Unit
		for i := range rapid.IntRange(1, 30).Draw(t, "units") {
			if rapid.IntRange(0, 2).Draw(t, "kind") == 0 {
				units = append(units, pallet(i+1, int64(rapid.IntRange(50, 900).Draw(t, "kg"))))
			} else {
				units = append(units, beam(i+1, rapid.IntRange(1200, 6100).Draw(t, "length"), int64(rapid.IntRange(50, 300).Draw(t, "kg"))))
			}
		}
		d := NewDeck(truck, rules, 0)
		for end := d.AtMost(nil, units) + 1; end <= len(units); end++ {
			if _, ok := d.Load([][]Unit{units[:end]}); ok {
				t.Fatalf("%d units can be loaded, more than the %d that could be", end, end-1)
			}
		}
	})
}
