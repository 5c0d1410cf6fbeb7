package office

import (
	"fmt"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/strength"
)

// recommendedKNPerM2 are imposed loads by category of use, where a person
// gives only the category: the recommended value of EN 1991-1-1, table 6.2
// for A and B, the greatest of the range up to C3 and D2 for C and D, and
// table 6.4 for E1.
var recommendedKNPerM2 = map[strength.Category]float64{"A": 2, "B": 3, "C": 5, "D": 5, "E": 7.5}

// harshest is the category whose shares in the combinations of EN 1990, table
// A1.1, are the greatest; it stands for a load without a category.
const harshest strength.Category = "E"

// LoadsOf a room of a category, with the category's imposed load where imposed
// is nil.
func LoadsOf(category strength.Category, imposedKNPerM2 *float64, finishesKNPerM2 float64) design.Loads {
	l := design.Loads{Category: category, FinishesKNPerM2: finishesKNPerM2}
	if category == "" {
		l.Category = harshest
	}
	l.ImposedKNPerM2 = recommendedKNPerM2[l.Category]
	if imposedKNPerM2 != nil {
		l.ImposedKNPerM2 = *imposedKNPerM2
	}
	return l
}

// ready refuses to draw up plans without a catalogue to check beams by.
func (s State) ready() error {
	if s.catalogue == nil {
		return fault.New(fault.Stale, ReasonCatalogueMissing,
			"This yard has no catalogue yet. Set the catalogue of beams and blocks first, then import the rooms.")
	}
	if s.catalogue.Basis == nil {
		return fault.New(fault.Stale, ReasonCatalogueMissing,
			"This yard's catalogue is from before strength was computed. Set it again, with outlines, wires, concrete and rules of laying.")
	}
	return nil
}

func checkFileName(name string) error {
	if name != "" && printable(name, false) {
		return nil
	}
	return fault.New(fault.Invalid, ReasonBadRows, "The file has no name that can be printed. Nothing was imported.").
		At("file_name", "", "is missing or cannot be printed", "the name of the file")
}

// beamLimit keeps a floor and an import within what one event and one decision
// may hold.
func beamLimit(file string, p Plan, beams *int) error {
	n := p.Totals().Beams
	*beams += n
	if n <= maxBeamsPerFloor && *beams <= maxBeamsPerImport {
		return nil
	}
	return fault.New(fault.Invalid, ReasonBadRows, "%s has too many beams; nothing was imported.", file).
		At(fmt.Sprintf("job %s, floor %s", p.Job, p.Floor), fmt.Sprint(n), "beams are too many",
			fmt.Sprintf("%d on a floor, %d in a file", maxBeamsPerFloor, maxBeamsPerImport))
}

// DraftDrawing draws up the next revision of one floor from a drawing.
type DraftDrawing struct {
	SourceFile string
	Job        string
	JobName    string
	Floor      string
	Rooms      []design.Room
	Problems   []Problem
}

func (c DraftDrawing) decide(s State) ([]Event, error) {
	if err := s.ready(); err != nil {
		return nil, err
	}
	if err := c.check(); err != nil {
		return nil, err
	}
	key := FloorKey{c.Job, c.Floor}
	records := s.Revisions(key)
	made := drawing{key: key, jobName: c.JobName, rooms: c.Rooms, problems: c.Problems}
	if len(records) > 0 && !records[len(records)-1].Plan.Schematic {
		made.rooms, made.drawn = inherit(records[len(records)-1].Plan, made.rooms)
	}
	w, err := newDrawer(*s.catalogue)
	if err != nil {
		return nil, err
	}
	plan, err := w.drawUp(made)
	if err != nil {
		return nil, err
	}
	plan.Revision = len(records) + 1
	beams := 0
	if err := beamLimit(c.SourceFile, plan, &beams); err != nil {
		return nil, err
	}
	return []Event{LayingPlanDrafted{Plan: plan, SourceFile: c.SourceFile}}, nil
}

func (c DraftDrawing) check() error {
	if err := checkFileName(c.SourceFile); err != nil {
		return err
	}
	d := newScheduled(Catalogue{}, false)
	row := Row{Where: c.SourceFile}
	d.text(row, "job", c.Job, MaxJobChars, true)
	d.text(row, "job_name", c.JobName, MaxJobNameChars, true)
	d.token(row, "floor", c.Floor)
	if len(c.Rooms) == 0 {
		d.wrong(row, "rooms", "", "has no rooms", "at least one closed outline")
	}
	if len(c.Rooms) > maxRoomsPerFloor {
		d.wrong(row, "rooms", fmt.Sprint(len(c.Rooms)), "are too many for a floor", fmt.Sprintf("%d rooms; leave small ones out", maxRoomsPerFloor))
	}
	if len(c.Problems) > maxProblems {
		d.wrong(row, "problems", fmt.Sprint(len(c.Problems)), "are too many; name other layers", fmt.Sprint(maxProblems))
	}
	seen := map[string]bool{}
	for _, r := range c.Rooms {
		d.token(row, "room "+r.ID, r.ID)
		if seen[r.ID] {
			d.wrong(row, "room", r.ID, "is there twice", "a name of its own for each room")
		}
		seen[r.ID] = true
		if err := checkBrief(r); err != nil && r.Shape.Validate() == nil {
			return err
		}
	}
	return DraftPlans{SourceFile: c.SourceFile}.refusal(d.places)
}

// maxProblems of one drawing that a plan keeps.
const maxProblems = 2_000
