package loading

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/morning"
)

// tips is how far the deck is tipped at the stage when it is tipped most, worked
// out pile by pile.
func tips(d *Deck, piles []pile, drops int) int64 {
	worst := int64(0)
	for after := range drops {
		sum := int64(0)
		for _, p := range piles {
			if p.drop > after {
				sum += p.mass * int64(p.left-(d.truck.DeckWidthMM-p.left-p.width))
			}
		}
		worst = max(worst, sum, -sum)
	}
	return worst
}

// TestBalanceTurnsParts: whatever stands on a deck in rows parted by a gap is
// balanced as well as any way to turn rows does, and keeps what it is and where
// along the deck it stands.
func TestBalanceTurnsParts(t *testing.T) {
	const gap = 100
	d := NewDeck(morning.Truck{DeckLengthMM: 20_000, DeckWidthMM: 2450}, morning.Rules{PileGapMM: gap, MaxLanes: 2}, 0)
	rapid.Check(t, func(t *rapid.T) {
		drops := rapid.IntRange(1, 3).Draw(t, "drops")
		var rows [][]pile
		from := 0
		for range rapid.IntRange(1, 6).Draw(t, "rows") {
			left := pile{
				from: from, length: rapid.IntRange(500, 2500).Draw(t, "length"), width: rapid.IntRange(300, 1200).Draw(t, "width"), lane: 1,
				mass: int64(rapid.IntRange(100, 5000).Draw(t, "mass")), drop: rapid.IntRange(1, drops).Draw(t, "drop"),
			}
			row := []pile{left}
			if rapid.Bool().Draw(t, "two") {
				right := left
				right.lane, right.mass = 2, int64(rapid.IntRange(100, 5000).Draw(t, "mass"))
				right.width = rapid.IntRange(300, 2450-gap-left.width).Draw(t, "width")
				right.left = 2450 - right.width
				row = append(row, right)
			}
			rows = append(rows, row)
			from += left.length + gap
		}
		best := int64(-1)
		for ways := range 1 << len(rows) {
			var piles []pile
			for i, row := range rows {
				for _, p := range row {
					if ways>>i&1 == 1 {
						p.left = 2450 - p.width - p.left
					}
					piles = append(piles, p)
				}
			}
			if tipped := tips(d, piles, drops); best < 0 || tipped < best {
				best = tipped
			}
		}
		piles := slices.Concat(rows...)
		before := slices.Clone(piles)
		d.balance(piles, drops)
		if got := tips(d, piles, drops); got != best {
			t.Fatalf("tipped by %d, the least is %d", got, best)
		}
		for i, p := range piles {
			q := before[i]
			if p.left != q.left {
				q.left, q.lane = 2450-q.width-q.left, 3-q.lane
			}
			if p.left != q.left || p.lane != q.lane || p.from != q.from || p.mass != q.mass || p.drop != q.drop {
				t.Fatalf("%+v became %+v", before[i], p)
			}
		}
	})
}
