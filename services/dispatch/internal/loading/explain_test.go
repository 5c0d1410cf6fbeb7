package loading

import (
	"testing"

	"pgregory.net/rapid"
)

func many(n, lengthMM int, kg int64) []Unit {
	var units []Unit
	for i := range n {
		units = append(units, beam(i+1, lengthMM, kg))
	}
	return units
}

func TestRefusalsAreSentencesForADispatcher(t *testing.T) {
	weakRear, weakFront := truck, truck
	weakRear.MaxRearKg, weakFront.MaxFrontKg = 5000, 5000
	high := pallet(1, 100)
	high.HeightMM = 1500
	wide := beam(1, 4000, 100)
	wide.WidthMM = 2500
	for _, c := range []struct {
		rule, sentence string
		deck           *Deck
		drops          [][]Unit
	}{
		{"payload", "the pieces weigh 9001 kg; the truck carries 9000 kg (payload)", NewDeck(truck, rules, 0),
			[][]Unit{{beam(1, 4000, 4500), beam(2, 4000, 4501)}}},
		{"deck_length", "the beam 1 of 6.40 m is longer than the 6.30 m that a load may take (deck 6.00 m, over the tail 300 mm)",
			NewDeck(truck, rules, 300), [][]Unit{{beam(1, 6400, 100)}}},
		{"pile_height", "a pallet of blocks B makes a pile 1.50 m high; the yard allows 1.40 m", NewDeck(truck, rules, 0), [][]Unit{{high}}},
		{"deck_width", "the beam 1 of 4.00 m is 2.50 m wide; the deck is 2.40 m wide", NewDeck(truck, rules, 0), [][]Unit{{wide}}},
		// 17 beams of 140 mm lie across the deck, more than 2 times 8 in lanes; 6 tiers.
		{"piles", "103 beams of 5.40 m need 2 piles of up to 102; the deck takes 1", NewDeck(truck, rules, 0), [][]Unit{many(103, 5400, 10)}},
		{"lane_length", "the piles take at least 14.30 m of lane; the deck has 12.20 m in 2", NewDeck(truck, rules, 0), [][]Unit{pallets(13)}},
		// 2800 + 8000*(0.6+3.0)/5.2 = 8338.5
		{"rear_axle", "at departure at least 8339 kg rest on the rear axle, wherever the piles stand; it carries 5000 kg",
			NewDeck(weakRear, rules, 0), [][]Unit{{beam(1, 6000, 4000), beam(2, 6000, 4000)}}},
		// After the drop 4200 + 4000*(1-3.6/5.2) = 5430.8
		{"front_axle", "after drop 1 at least 5431 kg rest on the front axle, wherever the piles stand; it carries 5000 kg",
			NewDeck(weakFront, rules, 0), [][]Unit{{atTail()}, {beam(2, 6000, 4000)}}},
	} {
		found := false
		all := c.deck.Explain(c.drops)
		for _, r := range all {
			found = found || r == Refusal{c.rule, c.sentence}
		}
		if !found {
			t.Errorf("%s: %q", c.rule, all)
		}
		if _, ok := c.deck.Load(c.drops); ok {
			t.Errorf("%s: what is refused is loaded", c.rule)
		}
	}
}

// atTail is a pallet so heavy that at the tail it takes mass off the front axle.
func atTail() Unit { return pallet(1, 4000) }

// TestNothingLoadableIsRefused: a load that is found keeps every limit that
// Explain knows.
func TestNothingLoadableIsRefused(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr := truck
		tr.MaxFrontKg = rapid.IntRange(4300, 7100).Draw(t, "front")
		tr.MaxRearKg = rapid.IntRange(3500, 11500).Draw(t, "rear")
		d := NewDeck(tr, rules, rapid.IntRange(0, 500).Draw(t, "overhang"))
		drops := make([][]Unit, rapid.IntRange(1, 3).Draw(t, "drops"))
		for k := range drops {
			for i := range rapid.IntRange(1, 60/len(drops)).Draw(t, "units") {
				if rapid.IntRange(0, 9).Draw(t, "kind") == 0 {
					drops[k] = append(drops[k], pallet(i+1, int64(rapid.IntRange(50, 900).Draw(t, "kg"))))
				} else {
					drops[k] = append(drops[k], beam(i+1, rapid.IntRange(1200, 6500).Draw(t, "length"), int64(rapid.IntRange(20, 200).Draw(t, "kg"))))
				}
			}
		}
		refusals := d.Explain(drops)
		if _, ok := d.Load(drops); ok && len(refusals) > 0 {
			t.Fatalf("a load was found, yet: %v", refusals)
		}
	})
}
