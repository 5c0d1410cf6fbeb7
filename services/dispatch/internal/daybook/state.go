package daybook

import (
	"fmt"
	"slices"
	"strings"

	"github.com/benbjohnson/immutable"
)

// PlanState is what has become of a plan.
type PlanState int

// The states of a plan.
const (
	Draft PlanState = iota + 1
	Confirming
	Confirmed
	Failed
)

// RunState is how far a confirmed run has come.
type RunState int

// The states of a run.
const (
	RunConfirmedState RunState = iota + 1
	RunHitState
	RunDepartedState
	RunDeliveredState
	RunCancelledState
)

// String returns the state as a clerk says it.
func (s RunState) String() string {
	switch s {
	case RunConfirmedState:
		return "confirmed"
	case RunHitState:
		return "stopped"
	case RunDepartedState:
		return "on the road"
	case RunDeliveredState:
		return "delivered"
	case RunCancelledState:
		return "cancelled"
	default:
		return "unknown"
	}
}

// PlanStatus is a plan and what has become of it. Values reached through a
// State are never changed.
type PlanStatus struct {
	State         PlanState
	Plan          Plan
	ConfirmedBy   string
	ReservationID string
	Missing       []Missing
	StockPosition uint64
	// EarlyHits arrived between the reservation and the run's confirmation.
	EarlyHits []EarlyHit
	// SetUp is the set-up of the yard that the plan rests on.
	SetUp int
	// Folded is what is kept of the plan's runs; nil while they are kept.
	Folded *FoldedPlan `json:",omitempty"`
}

// EarlyHit is a hit of a run that is about to be confirmed.
type EarlyHit struct {
	RunID string
	Hit   Hit
}

// RunStatus is a confirmed run as it stands now.
type RunStatus struct {
	State         RunState
	PlanID        string
	Day           string
	Run           Run
	Hits          []Hit
	Delivered     []int
	ReservationID string
	CancelReason  string
	// Freed says that the pieces of a cancelled run are back in stock.
	Freed bool
	// SetDown are the pieces that were set down at their site by hand, past the
	// run's drops. Their places stay filled when the run is cancelled.
	SetDown []string
	// TakenBack are the pieces that a drop brought and that are back in the yard,
	// or broke: their places are to be filled again.
	TakenBack []string
	// LaidBeams are the beams that their site ticked off as laid, and Reports what
	// it told of pieces that are broken or did not come.
	LaidBeams []string
	Reports   []SiteReport
	// Exchanged says that the run's beams are not those of its plan any more.
	Exchanged bool
}

// Departed says whether the truck has left the yard.
func (r *RunStatus) Departed() bool {
	return r.State == RunDepartedState || r.State == RunDeliveredState
}

// isDown says whether a piece of the run stands at its site.
func (r *RunStatus) isDown(pile *Pile, item *Item) bool {
	down := slices.Contains(r.Delivered, pile.DropNumber) || slices.Contains(r.SetDown, item.PieceID)
	return down && !slices.Contains(r.TakenBack, item.PieceID)
}

// floorBook is all that is known about one floor. Its Floor is nil while no
// plan is approved.
type floorBook struct {
	floor *Floor
	// called are the ids of live call-offs of the floor.
	called []string
	// marks on live runs, and the run; blocks on live runs by room.
	marks  *immutable.SortedMap[string, string]
	blocks *immutable.SortedMap[string, int]
	// laidMarks and laidBlocks came on runs that are folded: see fold.go.
	// blocks count them as well, marks do not.
	laidMarks  string
	laidCount  int
	laidBlocks *immutable.SortedMap[string, int]
}

// dayBook is what belongs to one day.
type dayBook struct {
	// planned counts the plans ever made, for their ids.
	planned int
	// changes counts what changes the work of the day.
	changes  int
	plans    []string
	runs     []string
	callOffs []string
	// confirming is the plan being confirmed; empty when none is.
	confirming string
	// hindrances of trucks and sites.
	hindrances []Hindrance
	// served says that a plan of the day was confirmed.
	served bool
	// folded is what is left of the day's runs; nil while they are kept.
	folded *Folded
}

// State of a yard. The zero value is of no use: see New.
type State struct {
	yard     string
	rules    *Rules
	setUp    int
	trucks   []Truck
	travel   []Leg
	sites    *immutable.SortedMap[string, *Site]
	floors   *immutable.SortedMap[string, *floorBook]
	callOffs *immutable.SortedMap[string, *CallOff]
	days     *immutable.SortedMap[string, *dayBook]
	plans    *immutable.SortedMap[string, *PlanStatus]
	runs     *immutable.SortedMap[string, *RunStatus]
	// pieces on live runs, and the run.
	pieces *immutable.SortedMap[string, string]
	// unsettled are confirming plans and cancelled runs not yet freed.
	unsettled *immutable.SortedMap[string, bool]
}

// New returns the state of a yard without events.
func New(yard string) State {
	return State{
		yard:      yard,
		sites:     immutable.NewSortedMap[string, *Site](nil),
		floors:    immutable.NewSortedMap[string, *floorBook](nil),
		callOffs:  immutable.NewSortedMap[string, *CallOff](nil),
		days:      immutable.NewSortedMap[string, *dayBook](nil),
		plans:     immutable.NewSortedMap[string, *PlanStatus](nil),
		runs:      immutable.NewSortedMap[string, *RunStatus](nil),
		pieces:    immutable.NewSortedMap[string, string](nil),
		unsettled: immutable.NewSortedMap[string, bool](nil),
	}
}

// key orders floors by job, then by floor.
func (k FloorKey) key() string { return k.JobID + "\x1f" + k.Floor }

// Rules returns the yard's rules; false before they were set.
func (s State) Rules() (Rules, bool) {
	if s.rules == nil {
		return Rules{}, false
	}
	return *s.rules, true
}

// Trucks returns the yard's trucks in the order in which they were set.
func (s State) Trucks() []Truck { return s.trucks }

// Travel returns the known ways.
func (s State) Travel() []Leg { return s.travel }

// Sites returns the yard's sites by id.
func (s State) Sites() []Site {
	var out []Site
	each(s.sites, func(_ string, site *Site) { out = append(out, *site) })
	return out
}

// Site returns a site.
func (s State) Site(id string) (Site, bool) {
	site, ok := s.sites.Get(id)
	if !ok {
		return Site{}, false
	}
	return *site, true
}

// Floors returns the approved floors by job and floor.
func (s State) Floors() []*Floor {
	var out []*Floor
	each(s.floors, func(_ string, b *floorBook) {
		if b.floor != nil {
			out = append(out, b.floor)
		}
	})
	return out
}

// CallOffs returns the call-offs of a day, oldest first.
func (s State) CallOffs(day string) []CallOff {
	var out []CallOff
	for _, id := range s.day(day).callOffs {
		if c, ok := s.callOffs.Get(id); ok {
			out = append(out, *c)
		}
	}
	return out
}

// Plan returns a plan and what has become of it.
func (s State) Plan(id string) (*PlanStatus, bool) { return s.plans.Get(id) }

// Plans returns the plans of a day that are kept, oldest first.
func (s State) Plans(day string) []*PlanStatus {
	var out []*PlanStatus
	for _, id := range s.day(day).plans {
		if p, ok := s.plans.Get(id); ok {
			out = append(out, p)
		}
	}
	return out
}

// Run returns a confirmed run.
func (s State) Run(id string) (*RunStatus, bool) { return s.runs.Get(id) }

// Runs returns the runs of a day in the order in which they were confirmed.
func (s State) Runs(day string) []*RunStatus {
	var out []*RunStatus
	for _, id := range s.day(day).runs {
		if r, ok := s.runs.Get(id); ok {
			out = append(out, r)
		}
	}
	return out
}

// Unsettled returns the plans that are being confirmed and the cancelled runs
// whose pieces are not yet given back.
func (s State) Unsettled() (confirming, cancelled []string) {
	each(s.unsettled, func(id string, _ bool) {
		if _, ok := s.runs.Get(id); ok {
			cancelled = append(cancelled, id)
			return
		}
		confirming = append(confirming, id)
	})
	return confirming, cancelled
}

// Failed returns the ids of the plans kept that could not be confirmed.
func (s State) Failed() []string {
	var out []string
	each(s.plans, func(id string, p *PlanStatus) {
		if p.State == Failed {
			out = append(out, id)
		}
	})
	return out
}

// Basis sums up all that a plan for the day rests on. Two equal strings mean
// that nothing changed between them that the planner would see.
func (s State) Basis(day string) string {
	var b strings.Builder
	d := s.day(day)
	fmt.Fprintf(&b, "%d/%d", s.setUp, d.changes)
	for _, id := range d.callOffs {
		c, ok := s.callOffs.Get(id)
		if !ok {
			continue
		}
		f := s.floor(c.FloorKey)
		revision := 0
		if f.floor != nil {
			revision = f.floor.Revision
		}
		fmt.Fprintf(&b, "/%d.%d.%d", revision, f.marks.Len()+f.laidCount, f.blockSum())
	}
	return b.String()
}

func (s State) day(day string) *dayBook {
	if d, ok := s.days.Get(day); ok {
		return d
	}
	return &dayBook{}
}

func (s State) floor(k FloorKey) *floorBook {
	if f, ok := s.floors.Get(k.key()); ok {
		return f
	}
	return &floorBook{
		marks:      immutable.NewSortedMap[string, string](nil),
		blocks:     immutable.NewSortedMap[string, int](nil),
		laidBlocks: immutable.NewSortedMap[string, int](nil),
	}
}

func (f *floorBook) blockSum() int {
	sum := 0
	each(f.blocks, func(_ string, n int) { sum += n })
	return sum
}

func each[V any](m *immutable.SortedMap[string, V], fn func(string, V)) {
	for it := m.Iterator(); !it.Done(); {
		k, v, _ := it.Next()
		fn(k, v)
	}
}

// DayOfRun returns the day of a confirmed run, kept or folded, or of a run whose
// plan is being confirmed; empty when there is no such run.
func (s State) DayOfRun(runID string) string {
	if r, ok := s.runs.Get(runID); ok {
		return r.Day
	}
	id, _ := s.confirmingPlanOf(runID)
	if p, ok := s.plans.Get(id); ok {
		return p.Plan.Day
	}
	return s.dayOfFolded(runID)
}
