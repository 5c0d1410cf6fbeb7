package office

import (
	"fmt"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
)

// Strength says what is known of the strength of a plan's beams.
type Strength int

const (
	// NotChecked: nobody has computed it. Only plans from before strength was
	// computed are so.
	NotChecked Strength = 1
	// Checked: every beam passes; what has no beams is left out by hand.
	Checked Strength = 2
	// Incomplete: something has no beams that pass, and is not left out.
	Incomplete Strength = 3
)

// Room of a plan, laid, refused or left out.
type Room struct {
	design.RoomPlan
	// LeftOut is why the room gets no beams; empty when it is to have some.
	LeftOut string
	// Drawn is what the drawing says of the room beside its outline, where
	// something else was asked of it by hand; nil where nothing was.
	Drawn *design.Room
}

// asDrawn returns what the drawing says of a room that is about to be changed
// by hand; nil for a room that no drawing says anything of.
func (r Room) asDrawn(schematic bool) *design.Room {
	if schematic || r.Drawn != nil {
		return r.Drawn
	}
	return said(r.Room)
}

// said returns what a drawing says of a room beside its outline: nothing of its
// ID and its place in the laying order.
func said(r design.Room) *design.Room {
	r.ID, r.Order, r.Shape.Outline = "", 0, nil
	return &r
}

// Open reports whether something has to be done about the room.
func (r Room) Open() bool { return r.Refused != nil && r.LeftOut == "" }

// Blocks returns how many blocks the room takes, and how many of them are cut
// on site.
func (r Room) Blocks() (all, cut int) {
	for _, b := range r.Layout.Bays {
		all, cut = all+b.Whole+b.Cut, cut+b.Cut
	}
	return all, cut
}

// Problem is an entity of a drawing that gave no room.
type Problem struct {
	Entity, Layer, What string
	// LeftOut is why nothing is to be done about it; empty while it is open.
	LeftOut string
}

// Plan is where every beam of one floor of one job lies. It is a value: a
// change makes another one, and plans share their slices.
type Plan struct {
	Job      string
	JobName  string
	Floor    string
	Revision int
	Strength Strength
	// Rooms in laying order.
	Rooms    []Room
	Problems []Problem
	// Catalogue as it was when the plan was drawn up.
	Catalogue Catalogue
	// Schematic: the rooms came from a schedule; their sizes are true, their
	// places on the sheet are not.
	Schematic bool
}

// Key of the floor that the plan is of.
func (p Plan) Key() FloorKey { return FloorKey{p.Job, p.Floor} }

// Design returns the plan as the engine and the drawings take it, without the
// rooms that are left out.
func (p Plan) Design() design.Plan {
	d := design.Plan{Floor: p.floor()}
	for _, r := range p.Rooms {
		if r.LeftOut == "" {
			d.Floor.Rooms = append(d.Floor.Rooms, r.Room)
			d.Rooms = append(d.Rooms, r.RoomPlan)
		}
	}
	return d
}

func (p Plan) floor() design.Floor {
	return design.Floor{Job: p.Job, JobName: p.JobName, Floor: p.Floor}
}

// room returns the place of a room in the plan, -1 when it has none.
func (p Plan) room(id string) int {
	for i := range p.Rooms {
		if p.Rooms[i].Room.ID == id {
			return i
		}
	}
	return -1
}

// OpenPoint is a room without beams, or an entity of the drawing without a
// room. One of the two is named.
type OpenPoint struct {
	Room string
	// Problem by its number, from 1.
	Problem    int
	What, Help string
}

// OpenPoints are what stands in the way of an approval.
func (p Plan) OpenPoints() []OpenPoint {
	var points []OpenPoint
	for _, r := range p.Rooms {
		if r.Open() {
			points = append(points, OpenPoint{Room: r.Room.ID, What: r.Refused.Reason, Help: r.Refused.Help})
		}
	}
	for i, problem := range p.Problems {
		if problem.LeftOut == "" {
			points = append(points, OpenPoint{
				Problem: i + 1, What: problem.Entity + " on layer " + problem.Layer + " " + problem.What + ".",
				Help: "Mend the drawing and bring it again, or leave this out.",
			})
		}
	}
	return points
}

// judged returns the plan with the strength that its rooms have.
func (p Plan) judged() Plan {
	p.Strength = Checked
	if len(p.OpenPoints()) > 0 {
		p.Strength = Incomplete
	}
	return p
}

// Totals of a plan.
type Totals struct {
	Rooms        int
	LeftOut      int
	OpenPoints   int
	Beams        int
	BeamLengthMM int64
	BeamMassG    int64
	Blocks       int
	BlockMassG   int64
}

// Totals adds up the plan. Cut blocks weigh as whole ones: they are delivered
// whole.
func (p Plan) Totals() Totals {
	mass := make(map[string]int64, len(p.Catalogue.Blocks))
	for _, b := range p.Catalogue.Blocks {
		mass[b.Name] = b.MassG
	}
	t := Totals{Rooms: len(p.Rooms)}
	if p.Strength != NotChecked {
		t.OpenPoints = len(p.OpenPoints())
	}
	for _, r := range p.Rooms {
		if r.LeftOut != "" {
			t.LeftOut++
		}
		t.Beams += len(r.Beams)
		for _, b := range r.Beams {
			t.BeamLengthMM += int64(b.LengthMM)
			t.BeamMassG += b.MassG
		}
		blocks, _ := r.Blocks()
		t.Blocks += blocks
		t.BlockMassG += int64(blocks) * mass[r.Kit.Block]
	}
	return t
}

func (p Plan) where() string { return fmt.Sprintf("job %s, floor %s", p.Job, p.Floor) }

// tooLarge names what makes a plan larger than one event may be.
func (p Plan) tooLarge() []fault.Place {
	var places []fault.Place
	beams := 0
	for _, r := range p.Rooms {
		beams += len(r.Beams)
	}
	if beams > maxBeamsPerFloor {
		places = append(places, fault.Place{Where: p.where(), Value: fmt.Sprint(beams), Problem: "beams are too many for a floor", Allowed: fmt.Sprint(maxBeamsPerFloor)})
	}
	if n := p.StoredBytes(); n > maxPlanBytes {
		places = append(places, fault.Place{Where: p.where(), Value: fmt.Sprintf("%d kB", n>>10),
			Problem: "is too much for one plan", Allowed: fmt.Sprintf("%d kB: fewer rooms, corners, partitions or problems", maxPlanBytes>>10)})
	}
	return places
}
