package lanesums

import (
	"testing"

	"pgregory.net/rapid"
)

// TestAgainstEverySum: the set has the sums of all choices of piles, as far as the
// words reach, and no other.
func TestAgainstEverySum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		piles := rapid.SliceOfN(rapid.IntRange(1, 400), 0, 8).Draw(t, "piles")
		words := rapid.IntRange(1, Words).Draw(t, "words")
		set, sums := Set{1}, map[int]bool{}
		for _, length := range piles {
			set.Add(length, words)
		}
		for choice := range 1 << len(piles) {
			sum := 0
			for i, length := range piles {
				sum += choice >> i & 1 * length
			}
			sums[sum] = true
		}
		least := rapid.IntRange(-5, 64*words-1).Draw(t, "least")
		most := rapid.IntRange(least, 64*words-1).Draw(t, "most")
		want := -1
		for n := max(0, least); n <= most && want < 0; n++ {
			if sums[n] {
				want = n
			}
		}
		if got := set.From(least, most); got != want {
			t.Fatalf("%v: from %d to %d it is %d, not %d", piles, least, most, got, want)
		}
	})
}
