// Package runbound proves how many runs a morning needs at least.
//
// Every piece is given a weight, and every minute of a kind of truck a price,
// such that no run that a truck could make carries more weight than 1 after
// its minutes are paid for. Then there are at least as many runs as all weights
// come to, less the price of all the minutes that there are. The best weights
// are those of a linear program over all runs (P. Gilmore, R. Gomory, "A Linear
// Programming Approach to the Cutting-Stock Problem", Operations Research 9,
// 1961), which is solved by looking for the run that carries most; weights
// that are not the best yet are divided by what that run carries (A. Farley, "A
// Note on Bounding a Class of Linear Programming Problems", Operations Research
// 38, 1990).
//
// What a run is, is taken widely, so that the bound holds for every plan: a
// consecutive stretch of the laying order of up to MaxDrops sites, masses within
// the truck's and the sites' limits, the least number and length of piles within
// the lanes of a deck of some width (type deck), and unloading within the windows by
// the shortest roads. To each site go at least as many runs as it takes to bring
// what it gets with nothing else aboard: these visits have a weight of their own.
// Which truck is where at the same time as another, axles, and where exactly piles
// stand is left out. The laying order does not divide piles: whatever beams are near
// enough in length lie in one, the last to be laid at the bottom.
//
// The weights come from a linear program over the runs that are known. Runs to one
// site are all known, and looked through each time; those to several are searched
// for by branch and bound (type hunt), under outlooks on what more drops could be
// worth with so much of the mass and of the lanes left. When that search would take
// too long, only runs are looked for that are better by some part than the best that
// is known, and the weights are divided by as much.
//
// The package has neither clock nor chance.
package runbound

import "math"

// MaxDrops is how many sites a run visits at most.
const MaxDrops = 4

// Problem is what has to be brought, and by whom.
type Problem struct {
	Trucks []Truck
	Sites  []Site
	// Minutes of the shortest ways between the yard, 0, and the sites, from 1.
	Minutes [][]int
	// LoadingMinutes of every run.
	LoadingMinutes int
	// GapMM is kept between piles.
	GapMM int
	// OverhangMM is by how much a beam may hang over the bearers at an end, and a
	// fifth of its length at the most.
	OverhangMM int
}

// Truck is a kind of truck.
type Truck struct {
	// Name for people, of all trucks of the kind.
	Name      string
	CapacityG int64
	// Lanes of the deck, and how much of one piles can take, each with a gap
	// behind it: the deck, what may hang over its tail, and a gap.
	Lanes, LaneMM int
	// WidthMM of the deck.
	WidthMM int
	// PileHolds is how many beams of each profile a pile holds at most.
	PileHolds []int
	// MostDrops is how many sites a run visits at most, MaxDrops at the most.
	MostDrops int
	// Runs are made between the two.
	OpensMinute, ClosesMinute int
	// FreeMinutes of all trucks of the kind together.
	FreeMinutes int
}

// Site has the pieces in laying order.
type Site struct {
	Name                         string
	Units                        []Unit
	FixedMinutes, MinutesPerPile int
	// MostG is what each kind of truck may have aboard when it comes here;
	// negative where it may not come at all.
	MostG []int64
}

// Unit is a beam or a pallet.
type Unit struct {
	MassG  int64
	Pallet bool
	// LengthMM and WidthMM; a pallet may be turned.
	LengthMM, WidthMM int
	// Profile of a beam, as in Truck.PileHolds.
	Profile int
	// Number in the laying order; pallets of one number may change places.
	Number int
	// Unloading starts between the two.
	OpensMinute, ClosesMinute int
}

// Bound is what is proved.
type Bound struct {
	// Runs at least.
	Runs int
	// Value that was rounded up to Runs.
	Value float64
	// Weights of each site's pieces and visits, and price of all minutes of all
	// trucks, in runs: Value is the sum of the weights less the price.
	Weights []float64
	Price   float64
}

// safe keeps what floating-point sums are off by from rounding a bound up.
const safe = 1e-6

// roundUp is the least whole number of runs that is not below a value.
func roundUp(value float64) int { return max(0, int(math.Ceil(value-safe))) }
