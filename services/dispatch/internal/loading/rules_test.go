package loading

import (
	"math"

	"spanyard.example/services/dispatch/internal/morning"
)

// HoldsRules looks at a load from outside: it has every piece of the drops once,
// and keeps the rules of piles, deck and axles. It uses nothing of the package
// but the types.
func HoldsRules(t interface{ Fatalf(string, ...any) }, tr morning.Truck, r morning.Rules, overhang int, l Load, drops [][]Unit) {
	units := map[string]Unit{}
	of := map[string]int{}
	for k, list := range drops {
		for _, u := range list {
			units[u.Item.PieceID+"/"+u.Item.Mark], of[u.Item.PieceID+"/"+u.Item.Mark] = u, k+1
		}
	}
	piles := l.Piles()
	for i, p := range piles {
		if p.FromMM < 0 || p.FromMM+p.LengthMM > tr.DeckLengthMM+overhang || p.LeftMM < 0 || p.LeftMM+p.WidthMM > tr.DeckWidthMM {
			t.Fatalf("pile %+v does not stand on the deck", p)
		}
		beside := 1
		for j, q := range piles {
			along := p.FromMM < q.FromMM+q.LengthMM+r.PileGapMM && q.FromMM < p.FromMM+p.LengthMM+r.PileGapMM
			across := p.LeftMM < q.LeftMM+q.WidthMM+r.PileGapMM && q.LeftMM < p.LeftMM+p.WidthMM+r.PileGapMM
			if i != j && along && (across || (p.Lane < q.Lane) != (p.LeftMM < q.LeftMM)) {
				t.Fatalf("piles %+v and %+v are in each other's way", p, q)
			}
			if i != j && q.FromMM <= p.FromMM && p.FromMM < q.FromMM+q.LengthMM+r.PileGapMM {
				beside++
			}
		}
		if beside > max(1, r.MaxLanes) {
			t.Fatalf("%d piles stand beside each other at pile %+v", beside, p)
		}
		pileHolds(t, r, p, units, of)
	}
	if len(units) > 0 {
		t.Fatalf("%d pieces are not on the deck", len(units))
	}
	axlesHold(t, tr, piles, len(drops))
}

// pileHolds looks at one pile and takes its pieces out of the units.
func pileHolds(t interface{ Fatalf(string, ...any) }, r morning.Rules, p morning.Pile, units map[string]Unit, of map[string]int) {
	longest, shortest, above, widest := 0, math.MaxInt, math.MaxInt, 0
	var mass int64
	var one Unit
	for _, tier := range p.Tiers {
		lowest := math.MaxInt
		for _, item := range tier.Items {
			id := item.PieceID + "/" + item.Mark
			u, ok := units[id]
			if !ok || of[id] != p.DropNumber {
				t.Fatalf("%s is on the deck twice, or in another drop's pile", id)
			}
			delete(units, id)
			if one.Item.PieceID != "" && (u.Item.Pallet() || one.Item.Pallet() || u.Item.Beam.Profile != one.Item.Beam.Profile) {
				t.Fatalf("%s and %s share a pile", one.Item.PieceID, id)
			}
			if item.LayingNumber > above {
				t.Fatalf("%s lies above what is laid before it", id)
			}
			one, mass, lowest = u, mass+item.MassG, min(lowest, item.LayingNumber)
			longest, shortest = max(longest, u.LengthMM), min(shortest, u.LengthMM)
		}
		above, widest = lowest, max(widest, len(tier.Items))
	}
	high, length, width := len(p.Tiers)*(one.HeightMM+r.BearerHeightMM), longest, widest*one.WidthMM
	if one.Item.Pallet() {
		high = one.HeightMM
		if p.LengthMM == one.WidthMM {
			length, width = one.WidthMM, one.LengthMM
		}
	} else if len(p.Tiers) > r.MaxTiers || longest-shortest > 2*r.MaxOverhangMM || 5*(longest-shortest) > 2*longest {
		t.Fatalf("pile %+v is too high, or its beams are of too different lengths", p)
	}
	if p.HeightMM != high || high > r.MaxPileHeightMM || p.LengthMM != length || p.WidthMM != width || p.MassG != mass {
		t.Fatalf("pile %+v is not as large as its pieces: %d long, %d wide, %d high, %d g", p, length, width, high, mass)
	}
}

// axlesHold works out both axles at departure and after every drop.
func axlesHold(t interface{ Fatalf(string, ...any) }, tr morning.Truck, piles []morning.Pile, drops int) {
	for after := range drops {
		front, rear, aboard := float64(tr.TareFrontKg), float64(tr.TareRearKg), 0.0
		for _, p := range piles {
			if p.DropNumber > after {
				kg := float64(p.MassG) / 1000
				onRear := kg * (float64(tr.DeckStartMM+p.FromMM) + float64(p.LengthMM)/2) / float64(tr.WheelbaseMM)
				front, rear, aboard = front+kg-onRear, rear+onRear, aboard+kg
			}
		}
		const little = 1e-6
		if aboard > 0 && (front < -little || front > float64(tr.MaxFrontKg)+little || rear > float64(tr.MaxRearKg)+little ||
			aboard > float64(tr.PayloadKg)+little || front+rear > float64(tr.MaxGrossKg)+little) {
			t.Fatalf("after drop %d %.3f kg rest on the front axle, %.3f kg on the rear one", after, front, rear)
		}
	}
}
