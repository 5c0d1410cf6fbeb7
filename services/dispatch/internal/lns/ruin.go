package lns

import (
	"math/rand/v2"
	"slices"
)

const (
	// ruinedOnAverage is how many stops a ruin takes on average.
	ruinedOnAverage = 10
	// longestString is the most stops of one tour.
	longestString = 10
	// keepSplit is how likely one spared stop more is.
	keepSplit = 0.5
)

// Tours are the stops of a plan, as far as ruining has to know. Stops have
// numbers of their own in the whole plan.
type Tours interface {
	// Tours that have stops, and how many they have in all.
	Tours() int
	Served() int
	// Tour that has a stop; -1 when none has it now.
	Tour(stop int) int
	// Stops of a tour in order, appended to into.
	Stops(tour int, into []int) []int
	// Near are the stops next to one, itself first.
	Near(stop int) []int
}

// Ruin takes stops out of plans. It keeps nothing but memory to be used again.
type Ruin struct {
	tours []int
	stops []int
	taken []int
}

// Stops returns which stops to take around one of them: strings of stops that
// follow each other, at most one of each tour (J. Christiaens, G. Vanden Berghe,
// "Slack Induction by String Removals for Vehicle Routing Problems",
// Transportation Science 54, 2020). They are valid until the next call.
func (r *Ruin) Stops(t Tours, stop int, random *rand.Rand) []int {
	r.tours, r.taken = r.tours[:0], r.taken[:0]
	if t.Served() == 0 {
		return nil
	}
	longest := max(1, min(longestString, float64(t.Served())/float64(t.Tours())))
	strings := int(1 + random.Float64()*(4*ruinedOnAverage/(1+longest)-1))
	for _, near := range t.Near(stop) {
		if len(r.tours) >= strings {
			break
		}
		if tour := t.Tour(near); tour >= 0 && !slices.Contains(r.tours, tour) {
			r.tours = append(r.tours, tour)
			r.stops = t.Stops(tour, r.stops[:0])
			r.cut(near, longest, random)
		}
	}
	return r.taken
}

// cut takes a string of a tour's stops around one of them; of every second it
// spares some in the middle.
func (r *Ruin) cut(stop int, longest float64, random *rand.Rand) {
	stops := len(r.stops)
	length := min(stops, int(1+random.Float64()*min(longest, float64(stops))))
	spared := 0
	if length > 1 && random.Float64() < 0.5 {
		for spared = 1; length+spared < stops && random.Float64() < keepSplit; spared++ {
		}
	}
	whole := min(length+spared, stops)
	first := max(0, min(slices.Index(r.stops, stop)-random.IntN(whole), stops-whole))
	spare := first + random.IntN(length+1)
	for i := first; i < first+whole; i++ {
		if whole == length || i < spare || i >= spare+whole-length {
			r.taken = append(r.taken, r.stops[i])
		}
	}
}
