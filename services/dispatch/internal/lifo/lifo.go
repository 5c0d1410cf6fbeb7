// Package lifo plans the routes of trucks that are loaded last in, first out
// at fixed places, with axle limits at departure and after every delivery: the
// problem of a morning's loads stripped of everything but axles and order, for
// which proved optima are published.
//
// Solve enumerates every route that can be loaded, with dominance, and covers
// the customers by the cheapest of them: a linear program gives a bound, and a
// search over all covers within the gap ends with a proof. Where there are too
// many routes it keeps the most promising ones, and says that it proved
// nothing.
package lifo

import "math/bits"

// Problem is a depot and customers. Lengths of one problem have one unit, so
// have its masses.
type Problem struct {
	// Distance between places; 0 is the depot, i+1 customer i.
	Distance [][]float64
	// Masses of each customer's pallets, in the order in which they are loaded.
	Masses [][]int
	// Places on the deck for pallets, Abreast in each row.
	Places, Abreast int
	MaxMass         int
	// Axles is nil when axle loads do not matter.
	Axles *Axles
}

// Axles are a truck's limits on its axles, its own mass left out.
type Axles struct {
	Wheelbase         int
	MaxFront, MaxRear int
	// First is from the front axle to the middle of the first row, Row from the
	// middle of a row to that of the next.
	First, Row int
}

// Within says whether a load of this mass and moment about the front axle
// keeps both limits.
func (a *Axles) Within(mass, moment int) bool {
	return moment <= a.MaxRear*a.Wheelbase && mass*a.Wheelbase-moment <= a.MaxFront*a.Wheelbase
}

// Plan is a set of routes that visits every customer once.
type Plan struct {
	// Routes name customers from 0 in the order of delivery.
	Routes   [][]int
	Distance float64
	// LowerBound on the distance of any plan; equal to Distance when Proved.
	LowerBound float64
	Proved     bool
	// Loadable counts the sets of customers that were found to fit a truck.
	Loadable int
}

// set is a set of up to 128 customers.
type set [2]uint64

func (s set) has(i int) bool   { return s[i>>6]>>(i&63)&1 != 0 }
func (s set) with(i int) set   { s[i>>6] |= 1 << (i & 63); return s }
func (s set) meets(o set) bool { return s[0]&o[0]|s[1]&o[1] != 0 }
func (s set) join(o set) set   { return set{s[0] | o[0], s[1] | o[1]} }
func (s set) compare(o set) int {
	for i := range s {
		if s[i] != o[i] {
			if s[i] < o[i] {
				return -1
			}
			return 1
		}
	}
	return 0
}

// sum adds up the values of the members.
func (s set) sum(of []float64) float64 {
	var total float64
	for w, word := range s {
		for ; word != 0; word &= word - 1 {
			total += of[w<<6+bits.TrailingZeros64(word)]
		}
	}
	return total
}
