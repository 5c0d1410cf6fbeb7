package morning

import "slices"

// Plan is which truck carries what, on which run, in which order.
type Plan struct {
	Runs     []Run
	Unserved []Unserved
	// LowerBound: no plan that serves the same pieces uses fewer runs.
	LowerBound int
	// BoundReason is a sentence on how the bound comes about.
	BoundReason string
	// CrewWaitingMinutes are those in which crews of sites that the plan goes to
	// and whose pace is known have laid all that was brought and wait for more.
	CrewWaitingMinutes int
	// Blocked are fixed runs that cannot stay as they are, because something stays
	// behind that is laid before what they bring. A plan with any breaks the laying
	// order.
	Blocked []BlockedRun
	// MovedAside counts the pieces of the yard's stacks that have to be
	// lifted aside to get at the picks.
	MovedAside int
	// MovedAsideBound: no choice of pieces and no moves do with fewer.
	MovedAsideBound int
	// PicksNote says what a dispatcher has to know of how the picks came about;
	// empty when stock planned them, and then the moves of the runs are its.
	PicksNote string
	// ByStock says that stock planned the picks, on all that lies in the yard.
	ByStock bool
}

// BlockedRun is a fixed run, by its place in Problem.Fixed, that cannot stay.
type BlockedRun struct {
	Fixed    int
	Sentence string
}

// Run is one trip from the yard and back.
type Run struct {
	TruckID string
	// Trip of this truck on the day, from 1; trips already confirmed count.
	Trip          int
	LoadingMinute int
	LeaveMinute   int
	BackMinute    int
	DistanceM     int
	Drops         []Drop
	// Piles from the front of the deck to the tail.
	Piles []Pile
	MassG int64
	// AxleLoads at departure and after each drop.
	AxleLoads []AxleLoads
	Picks     []Pick
	// Moves aside for the picks, in order; filled when stock planned them.
	Moves []Move
}

// Items calls fn for every item of the run, pile by pile, bottom first.
func (r *Run) Items(fn func(*Pile, *Item)) {
	for p := range r.Piles {
		for t := range r.Piles[p].Tiers {
			for i := range r.Piles[p].Tiers[t].Items {
				fn(&r.Piles[p], &r.Piles[p].Tiers[t].Items[i])
			}
		}
	}
}

// Copy returns a run that shares nothing with this one that planning changes.
func (r *Run) Copy() Run {
	out := *r
	out.Piles = slices.Clone(r.Piles)
	for p := range out.Piles {
		out.Piles[p].Tiers = slices.Clone(r.Piles[p].Tiers)
		for t := range out.Piles[p].Tiers {
			out.Piles[p].Tiers[t].Items = slices.Clone(out.Piles[p].Tiers[t].Items)
		}
	}
	out.Picks, out.Moves = slices.Clone(r.Picks), nil
	return out
}

// Move takes a beam that lies above a pick to another stack; when both are the
// same it is lifted aside and put back.
type Move struct {
	PieceID, FromID, ToID string
	// BeforePick is the number of the pick that it comes before.
	BeforePick int
}

// Drop is one site visited on a run.
type Drop struct {
	// Number from 1.
	Number       int
	SiteID       string
	ArriveMinute int
	UnloadMinute int
	LeaveMinute  int
	CallOffIDs   []string
}

// AxleLoads of the truck with what is still on it, to the nearest kilogram.
type AxleLoads struct {
	// AfterDrop is 0 at departure.
	AfterDrop int
	FrontKg   int
	RearKg    int
}

// Pile is a stack on a truck's deck: tiers of beams, or one pallet.
type Pile struct {
	// Number from 1, in the order of Run.Piles.
	Number     int
	DropNumber int
	// Lane from the left, from 1.
	Lane int
	// FromMM is the front end, from the front of the deck.
	FromMM   int
	LengthMM int
	// LeftMM is the left edge, from the left edge of the deck.
	LeftMM   int
	WidthMM  int
	HeightMM int
	MassG    int64
	// Tiers, bottom first.
	Tiers []Tier
}

// Tier is one layer of a pile.
type Tier struct {
	Items []Item
}

// Item is a beam or a pallet on a truck.
type Item struct {
	PieceID string
	BatchID string
	// Mark and Beam are of a beam and empty for a pallet.
	Mark string
	Beam Product
	// BlockKind and BlockCount are of a pallet and empty for a beam.
	BlockKind  string
	BlockCount int
	MassG      int64
	JobID      string
	Floor      string
	Room       string
	CallOffID  string
	// LayingNumber is the place in the laying order of its site on this
	// morning, from 1: call-offs by the close of their window, then its
	// opening, then their id; rooms in order; a room's blocks share one
	// number, which comes before those of its beams.
	LayingNumber int
}

// Pallet tells pallets from beams.
func (i Item) Pallet() bool { return i.BlockKind != "" }

// Pick is one piece to be taken from a stack and put on a truck.
type Pick struct {
	// Number from 1, in loading order.
	Number  int
	PieceID string
	BatchID string
	StackID string
	// StackTier from the bottom, from 1; 0 for pallets.
	StackTier  int
	Mark       string
	Beam       Product
	BlockKind  string
	BlockCount int
	MassG      int64
	PileNumber int
	// PileTier from the bottom, from 1.
	PileTier int
}

// Unserved is what of one room a morning cannot bring. Each room of a
// call-off has at most one.
type Unserved struct {
	CallOffID  string
	SiteID     string
	Room       string
	BeamCount  int
	BlockCount int
	// MassG by the drawing, without pallets.
	MassG  int64
	Reason Reason
	// Sentence for the dispatcher.
	Sentence string
}

// Reason is why something is not served.
type Reason int

// The reasons, numbered as in the contract.
const (
	// NoPlan: no approved laying plan. Never given here: an order has one.
	NoPlan Reason = iota + 1
	// NoStock: too few released pieces.
	NoStock
	// NoAccess: no truck can get to the site.
	NoAccess
	// DoesNotFit: a piece fits no truck's deck or limits.
	DoesNotFit
	// NoTime: no truck is free in the window.
	NoTime
	// AfterUnserved: an earlier piece of the laying order is not served.
	AfterUnserved
)
