package office

import "time"

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

// LayingPlanChanged changes rooms of a drafted plan, or leaves parts of it
// out.
type LayingPlanChanged struct {
	Job      string
	Floor    string
	Revision int
	// Rooms that take the place of those with their IDs.
	Rooms []Room
	// ProblemsLeftOut by their numbers, from 1, and why.
	ProblemsLeftOut []int
	LeftOut         string
	// Change in a sentence.
	Change string
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
func (LayingPlanChanged) isEvent()    {}
func (LayingPlanApproved) isEvent()   {}
func (LayingPlanSuperseded) isEvent() {}
