package daybook

import (
	"fmt"
	"time"
)

// Plan is which truck carries what, on which run, in which order.
type Plan struct {
	ID              string
	Day             string
	PlannedBy       string
	PlannedAt       time.Time
	Runs            []Run
	Unserved        []Unserved
	RunLowerBound   int
	BoundReason     string
	TookMS          int
	StockPosition   uint64
	MovedAsideCount int
	MovedAsideBound int    `json:",omitempty"`
	PicksNote       string `json:",omitempty"`
	// CrewWaitingMinutes of crews whose pace is known.
	CrewWaitingMinutes int `json:",omitempty"`
	// BasedOn is the plan that it was made out of; Wishes are what was wanted.
	BasedOn string `json:",omitempty"`
	Wishes  Wishes
}

// Wishes are what a dispatcher wants of a plan, past which runs stay.
type Wishes struct {
	WithoutTrucks []string         `json:",omitempty"`
	Forbidden     []ForbiddenTruck `json:",omitempty"`
	LeftOut       []string         `json:",omitempty"`
}

// ForbiddenTruck is a truck that brings nothing of a call-off.
type ForbiddenTruck struct{ CallOffID, TruckID string }

// Run is one trip from the yard and back.
type Run struct {
	ID            string
	TruckID       string
	Trip          int
	LoadingMinute int
	LeaveMinute   int
	BackMinute    int
	DistanceM     int
	Drops         []Drop
	Piles         []Pile
	MassG         int64
	AxleLoads     []AxleLoads
	Picks         []Pick
	Moves         []AsideMove `json:",omitempty"`
	// Locked says that a dispatcher wants it to stay as it is.
	Locked bool `json:",omitempty"`
}

// AsideMove takes a beam that lies above a pick to another stack; when both are
// the same it is lifted aside and put back.
type AsideMove struct {
	PieceID, FromID, ToID string
	// BeforePick is the number of the pick that it comes before.
	BeforePick int
}

// Drop is one site visited on a run.
type Drop struct {
	Number       int
	SiteID       string
	ArriveMinute int
	UnloadMinute int
	LeaveMinute  int
	CallOffIDs   []string
}

// AxleLoads of the truck with what is still on it; AfterDrop 0 is departure.
type AxleLoads struct {
	AfterDrop int
	FrontKG   int
	RearKG    int
}

// Pile is a stack on a truck's deck.
type Pile struct {
	Number     int
	DropNumber int
	Lane       int
	FromMM     int
	LeftMM     int
	LengthMM   int
	WidthMM    int
	HeightMM   int
	MassG      int64
	// Bottom first.
	Tiers [][]Item
}

// Item is a beam or a pallet on a truck. A beam has a mark, a pallet has
// blocks.
type Item struct {
	PieceID      string
	Mark         string
	Beam         Product
	BlockKind    string
	BlockCount   int
	MassG        int64
	FloorKey     FloorKey
	Room         string
	CallOffID    string
	LayingNumber int
	BatchID      string
}

// IsPallet reports whether the item is blocks.
func (i Item) IsPallet() bool { return i.BlockCount > 0 }

// Pick is one piece to be taken from a stack and put on a truck.
type Pick struct {
	Number     int
	PieceID    string
	StackID    string
	StackTier  int
	Mark       string
	Beam       Product
	BlockKind  string
	BlockCount int
	MassG      int64
	PileNumber int
	PileTier   int
	BatchID    string
}

// Unserved is what a morning cannot bring.
type Unserved struct {
	CallOffID  string
	SiteID     string
	Room       string
	BeamCount  int
	BlockCount int
	MassG      int64
	Reason     UnservedReason
	Sentence   string
}

// UnservedReason is why something is not served.
type UnservedReason int

// The reasons.
const (
	NoPlan UnservedReason = iota + 1
	NoStock
	NoAccess
	DoesNotFit
	NoTime
	AfterUnserved
	// LeftOut: a dispatcher leaves the call-off out.
	LeftOut
)

// Missing is a piece that a plan counted on and that cannot be had.
type Missing struct {
	PieceID  string
	RunID    string
	Mark     string
	Sentence string
}

// Hit is a piece of a run that must not be used.
type Hit struct {
	PieceID string
	Mark    string
	BatchID string
	Reason  string
	Where   string
	Kind    HitKind `json:",omitempty"`
}

// HitKind is what hit a piece.
type HitKind int

// The kinds; zero is of before they were kept.
const (
	Quarantined HitKind = iota + 1
	Scrapped
	Returned
	PlaceFilled
	// Redrawn: the floor's plan was replaced by one that wants another beam.
	Redrawn
)

// Items calls fn for every item of the run, pile by pile, bottom first.
func (r *Run) Items(fn func(pile *Pile, item *Item)) {
	for p := range r.Piles {
		pile := &r.Piles[p]
		for _, tier := range pile.Tiers {
			for i := range tier {
				fn(pile, &tier[i])
			}
		}
	}
}

// PieceIDs returns the ids of all pieces of the run.
func (r *Run) PieceIDs() []string {
	var ids []string
	r.Items(func(_ *Pile, item *Item) { ids = append(ids, item.PieceID) })
	return ids
}

// dropPieceIDs returns the ids of the pieces that come off at a drop.
func (r *Run) dropPieceIDs(number int) []string {
	var ids []string
	r.Items(func(pile *Pile, item *Item) {
		if pile.DropNumber == number {
			ids = append(ids, item.PieceID)
		}
	})
	return ids
}

// dropSite returns the site of a drop.
func (r *Run) dropSite(number int) string {
	for _, d := range r.Drops {
		if d.Number == number {
			return d.SiteID
		}
	}
	return ""
}

// MassG of everything that the plan carries.
func (p *Plan) MassG() int64 {
	var sum int64
	for i := range p.Runs {
		sum += p.Runs[i].MassG
	}
	return sum
}

// PieceCount of everything that the plan carries.
func (p *Plan) PieceCount() int {
	n := 0
	for i := range p.Runs {
		p.Runs[i].Items(func(*Pile, *Item) { n++ })
	}
	return n
}

// numbered returns a copy of the plan with the ids that belong to the n-th
// plan of its day: <day>-P<n> for the plan, ...-R01 for its runs and
// ...-R01-K01 for the pallets of a run. Pallets are known by the placeholder
// ids that the planner gave them; picks name the same pieces.
func (p Plan) numbered(n int) Plan {
	p.ID = fmt.Sprintf("%s-P%d", p.Day, n)
	runs := make([]Run, len(p.Runs))
	for i := range p.Runs {
		runs[i] = p.Runs[i].named(fmt.Sprintf("%s-R%02d", p.ID, i+1))
	}
	p.Runs = runs
	return p
}

// Tried returns a copy of a plan that is not recorded: its runs are R01 and so on.
func (p Plan) Tried() Plan {
	p.ID = ""
	runs := make([]Run, len(p.Runs))
	for i := range p.Runs {
		runs[i] = p.Runs[i].named(fmt.Sprintf("R%02d", i+1))
	}
	p.Runs = runs
	return p
}

func (r Run) named(id string) Run {
	r.ID = id
	pallets := map[string]string{}
	piles := make([]Pile, len(r.Piles))
	for i, pile := range r.Piles {
		tiers := make([][]Item, len(pile.Tiers))
		for t, tier := range pile.Tiers {
			tiers[t] = append([]Item(nil), tier...)
		}
		pile.Tiers = tiers
		piles[i] = pile
	}
	r.Piles = piles
	r.Items(func(_ *Pile, item *Item) {
		if item.IsPallet() {
			name := fmt.Sprintf("%s-K%02d", id, len(pallets)+1)
			pallets[item.PieceID] = name
			item.PieceID = name
		}
	})
	picks := append([]Pick(nil), r.Picks...)
	for i := range picks {
		if name, ok := pallets[picks[i].PieceID]; ok {
			picks[i].PieceID = name
		}
	}
	r.Picks = picks
	return r
}
