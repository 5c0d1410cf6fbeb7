package lns

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// halves is dividing numbers into two heaps as equal as can be; a plan says which
// are in the first.
type halves struct {
	numbers []int
	dropped map[*[]bool]bool
}

func (h *halves) gap(plan *[]bool) int {
	sum := 0
	for i, first := range *plan {
		if first {
			sum += h.numbers[i]
		} else {
			sum -= h.numbers[i]
		}
	}
	return max(sum, -sum)
}

func (h *halves) Change(plan *[]bool, random *rand.Rand) *[]bool {
	if h.dropped[plan] {
		panic("a plan is changed after it was dropped")
	}
	next := slices.Clone(*plan)
	i := random.IntN(len(next))
	next[i] = !next[i]
	return &next
}

func (h *halves) Energy(plan *[]bool) float64 { return float64(h.gap(plan)) }
func (h *halves) Compare(a, b *[]bool) int    { return cmp.Compare(h.gap(a), h.gap(b)) }
func (h *halves) Drop(plan *[]bool)           { h.dropped[plan] = true }

func (h *halves) least() int {
	best := math.MaxInt
	for set := range 1 << len(h.numbers) {
		plan := make([]bool, len(h.numbers))
		for i := range plan {
			plan[i] = set>>i&1 == 1
		}
		best = min(best, h.gap(&plan))
	}
	return best
}

// upTo is the progress of so many attempts.
func upTo(attempts int) func() float64 {
	made := 0
	return func() float64 {
		made++
		return float64(made-1) / float64(attempts)
	}
}

// TestFindsTheBest among all there are, never asks about a plan that it dropped,
// never gives up a better one, and does the same the second time.
func TestFindsTheBest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		numbers := rapid.SliceOfN(rapid.IntRange(1, 40), 1, 8).Draw(t, "numbers")
		seed := rapid.Uint64().Draw(t, "seed")
		search := func() (*halves, *Search[*[]bool]) {
			h := &halves{numbers: numbers, dropped: map[*[]bool]bool{}}
			first := make([]bool, len(numbers))
			return h, New[*[]bool](h, &first, rand.New(rand.NewPCG(seed, 1)))
		}
		h, s := search()
		s.Anneal(Wave{Hot: 40, Cold: 0.1}, upTo(3000))
		annealed := h.gap(s.Best())
		if least := h.least(); annealed != least {
			t.Fatalf("%v: a gap of %d, the least is %d", numbers, annealed, least)
		}
		s.Descend(upTo(50))
		if h.gap(s.Best()) != annealed || h.dropped[s.Best()] {
			t.Fatalf("a better plan was given up")
		}
		_, again := search()
		again.Anneal(Wave{Hot: 40, Cold: 0.1}, upTo(3000))
		again.Descend(upTo(50))
		if !slices.Equal(*again.Best(), *s.Best()) || again.Found() != s.Found() {
			t.Fatalf("the same search ends otherwise")
		}
	})
}

func TestOffer(t *testing.T) {
	h := &halves{numbers: []int{3, 2, 1}}
	all, even, same := &[]bool{true, true, true}, &[]bool{true, false, false}, &[]bool{false, true, true}
	s := New[*[]bool](h, all, rand.New(rand.NewPCG(1, 1)))
	for _, offer := range []struct{ plan, best *[]bool }{{even, even}, {same, same}, {all, same}} {
		if s.Offer(offer.plan); s.Best() != offer.best {
			t.Errorf("after %v was offered the best is %v, not %v", *offer.plan, *s.Best(), *offer.best)
		}
	}
}

// row of tours with stops along a line, the first of each next to the last of the
// one before.
type row struct {
	tours [][]int
	tour  map[int]int
	stops int
}

func (r *row) Tours() int                       { return len(r.tours) }
func (r *row) Served() int                      { return len(r.tour) }
func (r *row) Stops(tour int, into []int) []int { return append(into, r.tours[tour]...) }

func (r *row) Tour(stop int) int {
	if i, ok := r.tour[stop]; ok {
		return i
	}
	return -1
}

func (r *row) Near(stop int) []int {
	var out []int
	for i := range r.stops {
		out = append(out, i)
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(max(a-stop, stop-a), max(b-stop, stop-b)) })
	return out
}

// TestRuinTakesStrings: of each tour one string, perhaps with a gap, of served
// stops only, and the stop that it is about when that is served.
func TestRuinTakesStrings(t *testing.T) {
	var ruin Ruin
	rapid.Check(t, func(t *rapid.T) {
		r := &row{tour: map[int]int{}}
		for i, n := range rapid.SliceOfN(rapid.IntRange(1, 20), 1, 6).Draw(t, "tours") {
			r.tours = append(r.tours, nil)
			for range n {
				if rapid.IntRange(0, 9).Draw(t, "absent") > 0 {
					r.tours[i] = append(r.tours[i], r.stops)
					r.tour[r.stops] = i
				}
				r.stops++
			}
		}
		stop := rapid.IntRange(0, r.stops-1).Draw(t, "stop")
		taken := ruin.Stops(r, stop, rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1)))
		if len(r.tour) > 0 && len(taken) == 0 || r.Tour(stop) >= 0 && !slices.Contains(taken, stop) && len(r.tours[r.Tour(stop)]) <= 1 {
			t.Fatalf("%v are taken around %d of %v", taken, stop, r.tours)
		}
		places := map[int][]int{}
		for i, s := range taken {
			tour := r.Tour(s)
			if tour < 0 || slices.Contains(taken[:i], s) {
				t.Fatalf("%d is taken twice, or was absent", s)
			}
			places[tour] = append(places[tour], slices.Index(r.tours[tour], s))
		}
		for tour, list := range places {
			gaps := 0
			for i := 1; i < len(list); i++ {
				if list[i] <= list[i-1] {
					t.Fatalf("the places %v of tour %d are out of order", list, tour)
				}
				if list[i] > list[i-1]+1 {
					gaps++
				}
			}
			if gaps > 1 || len(list) > longestString {
				t.Fatalf("the places %v of tour %d are no string", list, tour)
			}
		}
	})
}
