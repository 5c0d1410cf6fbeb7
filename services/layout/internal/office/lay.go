package office

import (
	"math"
	"slices"
	"strings"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/design"
)

// drawing is what a plan is drawn up from.
type drawing struct {
	key       FloorKey
	jobName   string
	rooms     []design.Room
	problems  []Problem
	schematic bool
	// drawn is what the drawing said of rooms that were changed by hand, by
	// their IDs.
	drawn map[string]*design.Room
}

// drawer lays floors with one catalogue. What it has checked for one floor it
// knows for the next.
type drawer struct {
	catalogue Catalogue
	designer  *design.Designer
}

func newDrawer(c Catalogue) (*drawer, error) {
	designer, err := design.New(c.Engine())
	if err != nil {
		return nil, fault.New(fault.Internal, ReasonBadCatalogue, "The catalogue cannot be designed with. Set the yard's catalogue again, then bring the rooms again.").Because(err)
	}
	return &drawer{c, designer}, nil
}

// drawUp lays a floor. Rooms that cannot be laid are refused in the plan, not
// here.
func (w *drawer) drawUp(d drawing) (Plan, error) {
	c := w.catalogue
	p := Plan{Job: d.key.Job, JobName: d.jobName, Floor: d.key.Floor, Problems: d.problems, Catalogue: c, Schematic: d.schematic}
	floor := p.floor()
	for _, r := range d.rooms {
		floor.Rooms = append(floor.Rooms, plain(r))
	}
	slices.SortStableFunc(floor.Rooms, func(a, b design.Room) int { return a.Order - b.Order })
	for _, r := range w.designer.Lay(floor).Rooms {
		if err := sound(c, r); err != nil {
			return Plan{}, err
		}
		p.Rooms = append(p.Rooms, Room{RoomPlan: kept(r), Drawn: d.drawn[r.Room.ID]})
	}
	return p.judged(), nil
}

// sound looks at a laid room from outside: what breaks a rule of laying is
// never kept.
func sound(c Catalogue, r design.RoomPlan) error {
	for _, v := range design.Violations(c.Engine(), r) {
		return fault.New(fault.Internal, "LAYING_RULE_BROKEN", "Room %s was laid against a rule: %s. Nothing was kept; tell the makers of the program.", r.Room.ID, v)
	}
	return nil
}

// relaid returns a room laid anew beside the others, which are left as they
// are.
func (p Plan) relaid(at int, room design.Room) (Room, error) {
	w, err := newDrawer(p.Catalogue)
	if err != nil {
		return Room{}, err
	}
	var neighbours []design.RoomPlan
	for i, r := range p.Rooms {
		if i != at && r.LeftOut == "" {
			neighbours = append(neighbours, r.RoomPlan)
		}
	}
	laid := w.designer.LayRoom(p.floor(), plain(room), neighbours)
	return Room{RoomPlan: kept(laid), Drawn: p.Rooms[at].asDrawn(p.Schematic)}, sound(p.Catalogue, laid)
}

// plain returns what is asked of a room in the one form in which it is stored:
// no blanks about its name, loads in whole N/m2, and nothing where nothing is asked.
func plain(r design.Room) design.Room {
	whole := func(kN float64) float64 { return math.Round(kN*1000) / 1000 }
	r.Name = strings.TrimSpace(r.Name)
	r.Loads.ImposedKNPerM2, r.Loads.FinishesKNPerM2 = whole(r.Loads.ImposedKNPerM2), whole(r.Loads.FinishesKNPerM2)
	if !slices.Contains(r.HoleSupports, true) {
		r.HoleSupports = nil
	}
	if len(r.Shape.Holes) == 0 {
		r.Shape.Holes = nil
	}
	if len(r.Partitions) == 0 {
		r.Partitions = nil
	}
	var open map[int]bool
	for side, is := range r.OpenSides {
		if is && open == nil {
			open = map[int]bool{}
		}
		if is {
			open[side] = true
		}
	}
	r.OpenSides = open
	return r
}

// kept returns a laid room without what had a meaning only while it was being
// laid: the numbers of kits and of calculations.
func kept(r design.RoomPlan) design.RoomPlan {
	r.Layout.Kit = 0
	r.Beams, r.Layout.Beams = slices.Clone(r.Beams), slices.Clone(r.Layout.Beams)
	var was, now *arrange.Member
	for i := range r.Beams {
		r.Beams[i].Type = 0
		b := &r.Layout.Beams[i]
		if b.Member != was { // the beams of a row share theirs
			member := *b.Member
			member.Kit = 0
			was, now = b.Member, &member
		}
		b.Member = now
	}
	return r
}
