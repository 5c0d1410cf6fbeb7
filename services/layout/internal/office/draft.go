package office

import (
	"fmt"
	"strings"

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

// limit keeps a floor and an import within what one event and one decision may
// hold. beams counts those of the import so far.
func limit(file string, p Plan, beams *int) error {
	*beams += p.Totals().Beams
	places := p.tooLarge()
	if *beams > maxBeamsPerImport {
		places = append(places, fault.Place{Where: p.where(), Value: fmt.Sprint(*beams), Problem: "beams are too many for a file", Allowed: fmt.Sprint(maxBeamsPerImport)})
	}
	if len(places) == 0 {
		return nil
	}
	f := fault.New(fault.Invalid, ReasonBadRows, "%s is too large; nothing was imported.", file)
	f.Places = places
	return f
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
	if err := limit(c.SourceFile, plan, &beams); err != nil {
		return nil, err
	}
	return []Event{LayingPlanDrafted{Plan: plan, SourceFile: c.SourceFile}}, nil
}

func (c DraftDrawing) check() error {
	if err := checkFileName(c.SourceFile); err != nil {
		return err
	}
	f := fault.New(fault.Invalid, ReasonBadRows, "%s has mistakes; nothing was imported.", c.SourceFile)
	if problem := textProblem(c.Job, MaxJobChars); problem != "" {
		f.At("job_id", clip(c.Job), problem, textAllowed(MaxJobChars))
	}
	if problem := textProblem(c.JobName, MaxJobNameChars); problem != "" {
		f.At("job_name", clip(c.JobName), problem, textAllowed(MaxJobNameChars))
	}
	if problem := tokenProblem(c.Floor); problem != "" {
		f.At("floor", clip(c.Floor), problem, tokenAllowed)
	}
	if n := len(c.Rooms); n == 0 || n > maxRoomsPerFloor {
		f.At("rooms", fmt.Sprint(n), "is no number of rooms of a floor", fmt.Sprintf("1 to %d; small ones can be left out by their size", maxRoomsPerFloor))
	}
	if n := len(c.Problems); n > maxProblems {
		f.At("problems", fmt.Sprint(n), "is too many outlines that are no rooms", fmt.Sprintf("%d; name other layers", maxProblems))
	}
	seen := map[string]bool{}
	for _, r := range c.Rooms {
		where := "room " + clip(r.ID)
		if problem := tokenProblem(r.ID); problem != "" {
			f.At(where, "", problem, tokenAllowed)
		}
		if id := strings.ToLower(r.ID); seen[id] {
			f.At(where, "", "is there twice", "a name of its own for each room, in other letters and not only in capitals")
		} else {
			seen[id] = true
		}
		checkBrief(f, where+", ", r, false)
	}
	if len(f.Places) == 0 {
		return nil
	}
	if more := len(f.Places) - maxPlaces; more > 0 {
		f.Places = f.Places[:maxPlaces]
		f.At(c.SourceFile, "", fmt.Sprintf("and %d more", more), "")
	}
	return f
}

// maxProblems of one drawing that a plan keeps.
const maxProblems = 2_000
