package office

import (
	"cmp"
	"time"

	"github.com/benbjohnson/immutable"
)

// Status is what a plan may be used for.
type Status int

// The states of a plan.
const (
	Draft Status = iota + 1
	Approved
	Superseded
)

// Record is one revision of a floor's plan and what became of it.
type Record struct {
	Plan       Plan
	Status     Status
	SourceFile string
	// Engineer, Reason and ApprovedAt are set once the plan was approved.
	Engineer   string
	Reason     string
	ApprovedAt time.Time
	// Totals of the plan, added up once.
	Totals Totals
}

// FloorKey names one floor of one job.
type FloorKey struct {
	Job   string
	Floor string
}

// Compare orders floors by job, then floor.
func (k FloorKey) Compare(other FloorKey) int {
	return cmp.Or(cmp.Compare(k.Job, other.Job), cmp.Compare(k.Floor, other.Floor))
}

type byFloor struct{}

func (byFloor) Compare(a, b FloorKey) int { return a.Compare(b) }

// State of one yard's drawing office. It is a value: Evolve returns a new one
// and leaves the old as it was.
type State struct {
	catalogue *Catalogue
	// floors holds the revisions of each floor; revision n lies at n-1.
	floors *immutable.SortedMap[FloorKey, []Record]
}

// New returns the state of a yard in which nothing has happened.
func New() State {
	return State{floors: immutable.NewSortedMap[FloorKey, []Record](byFloor{})}
}

// Restored returns the state that holds catalogue (nil when none was set) and
// the revisions of every floor, each floor's from 1 up.
func Restored(catalogue *Catalogue, floors [][]Record) State {
	s := New()
	s.catalogue = catalogue
	for _, records := range floors {
		if len(records) > 0 {
			p := records[0].Plan
			s.floors = s.floors.Set(FloorKey{p.Job, p.Floor}, records)
		}
	}
	return s
}

// Catalogue returns the yard's catalogue; false when none was set.
func (s State) Catalogue() (Catalogue, bool) {
	if s.catalogue == nil {
		return Catalogue{}, false
	}
	return *s.catalogue, true
}

// Revisions returns the revisions of a floor from 1 up; callers do not change
// them.
func (s State) Revisions(key FloorKey) []Record {
	records, _ := s.floors.Get(key)
	return records
}

// Floors calls yield for every floor from the first at or after from, in
// order, until it returns false.
func (s State) Floors(from FloorKey, yield func(FloorKey, []Record) bool) {
	it := s.floors.Iterator()
	it.Seek(from)
	for !it.Done() {
		key, records, _ := it.Next()
		if !yield(key, records) {
			return
		}
	}
}

// Evolve returns the state after an event. It is total: it believes what has
// happened and refuses nothing.
func Evolve(s State, e Event) State {
	switch e := e.(type) {
	case CatalogueSet:
		catalogue := e.Catalogue
		s.catalogue = &catalogue
	case LayingPlanDrafted:
		s = s.with(e.Plan, func(r *Record) {
			r.Status, r.SourceFile = Draft, e.SourceFile
		})
	case LayingPlanChanged:
		if records := s.Revisions(FloorKey{e.Job, e.Floor}); e.Revision >= 1 && e.Revision <= len(records) {
			s = s.with(records[e.Revision-1].Plan.changed(e), func(*Record) {})
		}
	case LayingPlanApproved:
		s = s.with(e.Plan, func(r *Record) {
			r.Status, r.Engineer, r.Reason, r.ApprovedAt = Approved, e.Engineer, e.Reason, e.ApprovedAt
		})
	case LayingPlanSuperseded:
		key := FloorKey{e.Job, e.Floor}
		if records := s.Revisions(key); e.Revision >= 1 && e.Revision <= len(records) {
			changed := append([]Record(nil), records...)
			changed[e.Revision-1].Status = Superseded
			s.floors = s.floors.Set(key, changed)
		}
	}
	return s
}

// with returns the state in which the record of plan's revision holds plan and
// was changed by change.
func (s State) with(plan Plan, change func(*Record)) State {
	key := FloorKey{plan.Job, plan.Floor}
	records := append([]Record(nil), s.Revisions(key)...)
	for len(records) < plan.Revision {
		records = append(records, Record{})
	}
	r := &records[plan.Revision-1]
	r.Plan, r.Totals = plan, plan.Totals()
	change(r)
	s.floors = s.floors.Set(key, records)
	return s
}
