package office

import (
	"time"

	"spanyard.example/services/layout/internal/laying"
)

// Event is one thing that happened in the drawing office.
type Event interface{ isEvent() }

// CatalogueSet replaces the yard's catalogue as a whole.
type CatalogueSet struct {
	Catalogue Catalogue
}

// LayingPlanDrafted adds the next revision of a floor.
type LayingPlanDrafted struct {
	Plan       Plan
	SourceFile string
}

// LayingPlanApproved lets a plan be made and laid.
type LayingPlanApproved struct {
	Plan       Plan
	Engineer   string
	Reason     string
	ApprovedAt time.Time
}

// LayingPlanSuperseded ends an approved plan.
type LayingPlanSuperseded struct {
	Job        string
	Floor      string
	Revision   int
	ByRevision int
}

func (CatalogueSet) isEvent()         {}
func (LayingPlanDrafted) isEvent()    {}
func (LayingPlanApproved) isEvent()   {}
func (LayingPlanSuperseded) isEvent() {}

// Strength says what is known of the strength of a plan's beams.
type Strength int

// NotChecked: nobody has computed it.
const NotChecked Strength = 1

// Plan is where every beam of one floor of one job lies. Nothing in a plan is
// ever changed after it was made; plans share their slices.
type Plan struct {
	Job      string
	JobName  string
	Floor    string
	Revision int
	Strength Strength
	// Rooms in laying order.
	Rooms []laying.RoomPlan
	// Profiles and Blocks that the plan uses, as they were when it was drawn.
	Profiles []laying.Profile
	Blocks   []laying.Block
}

// Totals of a plan.
type Totals struct {
	Rooms        int
	Beams        int
	BeamLengthMM int64
	BeamMassG    int64
	Blocks       int
	BlockMassG   int64
}

// Totals adds up the plan. Cut blocks weigh as whole ones: they are delivered
// whole.
func (p Plan) Totals() Totals {
	mass := make(map[string]int64, len(p.Blocks))
	for _, b := range p.Blocks {
		mass[b.Name] = b.MassG
	}
	t := Totals{Rooms: len(p.Rooms)}
	for _, r := range p.Rooms {
		t.Beams += len(r.Beams)
		for _, b := range r.Beams {
			t.BeamLengthMM += int64(b.LengthMM)
			t.BeamMassG += b.MassG
		}
		t.Blocks += r.BlockCount
		t.BlockMassG += int64(r.BlockCount) * mass[r.Block]
	}
	return t
}
