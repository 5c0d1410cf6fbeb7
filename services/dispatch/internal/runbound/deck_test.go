package runbound

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// stood is a pile that stands on a deck: pallet or beams, from its front left
// corner.
type stood struct {
	unit         Unit
	from, left   int
	length, wide int
}

// mayStand says whether a pile may stand with others in so many lanes, a gap kept.
func mayStand(there []stood, p stood, lanes, gap int) bool {
	all := append(slices.Clone(there), p)
	for i, a := range all {
		beside := 1
		for j, b := range all {
			along := a.from < b.from+b.length+gap && b.from < a.from+a.length+gap
			across := a.left < b.left+b.wide+gap && b.left < a.left+a.wide+gap
			if i != j && along && across {
				return false
			}
			if i != j && b.from <= a.from && a.from < b.from+b.length+gap {
				beside++
			}
		}
		if beside > lanes {
			return false
		}
	}
	return true
}

// loaded is a deck on which piles stand, no larger than they need.
func loaded(t *rapid.T) (Problem, []stood, int) {
	n := func(from, to int, what string) int { return rapid.IntRange(from, to).Draw(t, what) }
	lanes, gap := n(1, 3, "lanes"), 10*n(0, 20, "gap")
	widest := 100 * n(10, 26, "widest")
	var kinds [3][2]int
	for i := range kinds {
		kinds[i] = [2]int{100 * n(6, 14, "side"), 100 * n(6, 14, "other side")}
	}
	var there []stood
	for range n(1, 12, "piles") {
		p := stood{length: 100 * n(10, 50, "length"), wide: 140 * n(1, 8, "abreast")}
		p.unit = Unit{LengthMM: p.length, WidthMM: 140}
		if n(0, 2, "pallet") > 0 {
			k := kinds[n(0, 2, "kind")]
			p.unit = Unit{Pallet: true, LengthMM: k[0], WidthMM: k[1]}
			p.length, p.wide = k[0], k[1]
			if n(0, 1, "turned") > 0 {
				p.length, p.wide = k[1], k[0]
			}
		}
		// In the first corner that there is: close, as on a full deck.
		corners := []stood{{}}
		for _, q := range there {
			corners = append(corners, stood{from: q.from + q.length + gap}, stood{from: q.from, left: q.left + q.wide + gap},
				stood{from: q.from + q.length + gap, left: q.left}, stood{from: q.from + q.length + gap, left: q.left + q.wide + gap})
		}
		slices.SortFunc(corners, func(a, b stood) int { return a.from + a.left - b.from - b.left })
		for _, c := range corners {
			p.from, p.left = c.from, c.left
			if p.left+p.wide <= widest && mayStand(there, p, lanes, gap) {
				there = append(there, p)
				break
			}
		}
	}
	truck := Truck{Lanes: lanes, PileHolds: []int{1}}
	site := Site{}
	for _, p := range there {
		truck.LaneMM, truck.WidthMM = max(truck.LaneMM, p.from+p.length+gap), max(truck.WidthMM, p.left+p.wide)
		site.Units = append(site.Units, p.unit)
	}
	return Problem{GapMM: gap, Trucks: []Truck{truck}, Sites: []Site{site}}, there, lanes
}

// TestWhatStandsIsHeld: piles that stand on a deck are never called too much for it,
// by no measure, and each had room beside the others.
func TestWhatStandsIsHeld(t *testing.T) {
	full, cases := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p, there, lanes := loaded(t)
		if len(there) == 0 {
			t.Skip("nothing stands")
		}
		d := p.newDeck(&p.Trucks[0])
		of := func(piles []stood) wares {
			c := pileCount{p: &p, truck: &p.Trucks[0], deck: &d}
			for i := range piles {
				c.add(&piles[i].unit)
			}
			return c.least()
		}
		all := of(there)
		if d.room(&all) == none {
			t.Fatalf("%v is too much for %+v", there, d)
		}
		for _, m := range d.allMeasures() {
			if m.shows(&all) {
				t.Fatalf("%v is too much for %+v by %d parts and %d more", there, d, m.parts, m.extra)
			}
		}
		for i := range there {
			one := of(there[i : i+1])
			others := of(slices.Delete(slices.Clone(there), i, i+1))
			if longest := d.longest(&one); d.room(&others) < longest {
				t.Fatalf("%d mm of %v have no room on %+v", longest, there[i], d)
			}
		}
		cases++
		if more := of(append(slices.Clone(there), there[0])); d.room(&more) == none || lanes > 2 {
			full++
		}
	})
	t.Logf("%d of %d decks are full", full, cases)
	if full*2 < cases {
		t.Errorf("only %d of %d decks are full: the piles do not bind", full, cases)
	}
}

// TestDeckSeesHowPalletsTurn: of pallets of 1.2 m by 1.0 m on a deck 2.45 m wide seven
// stand broad and seven narrow in lanes of 8.6 m: three broad ones beside three narrow,
// and four narrow beside four broad. There is no room for a fifteenth, which counting
// their shorter sides only would allow.
func TestDeckSeesHowPalletsTurn(t *testing.T) {
	p := Problem{GapMM: 100, Trucks: []Truck{{Lanes: 2, LaneMM: 8600, WidthMM: 2450}}, Sites: []Site{{}}}
	pallet := Unit{Pallet: true, LengthMM: 1200, WidthMM: 1000}
	for n := 1; n <= 15; n++ {
		p.Sites[0].Units = append(p.Sites[0].Units, pallet)
		d := p.newDeck(&p.Trucks[0])
		c := pileCount{p: &p, truck: &p.Trucks[0], deck: &d}
		for range n {
			c.add(&pallet)
		}
		w := c.least()
		if held := d.room(&w) != none; held != (n <= 14) {
			t.Errorf("%d pallets: held %v", n, held)
		}
	}
}
