package office

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

// drawing is what a plan is drawn up from.
type drawing struct {
	key       FloorKey
	jobName   string
	rooms     []design.Room
	problems  []Problem
	schematic bool
}

// drawUp lays a floor with a catalogue. Rooms that cannot be laid are refused
// in the plan, not here.
func drawUp(c Catalogue, d drawing) (Plan, error) {
	p := Plan{Job: d.key.Job, JobName: d.jobName, Floor: d.key.Floor, Problems: d.problems, Catalogue: c, Schematic: d.schematic}
	designer, err := design.New(c.Engine())
	if err != nil {
		return Plan{}, fault.New(fault.Internal, ReasonBadCatalogue, "The yard's catalogue cannot be designed with; set it again.").Because(err)
	}
	floor := p.floor()
	for _, r := range d.rooms {
		floor.Rooms = append(floor.Rooms, plain(r))
	}
	slices.SortStableFunc(floor.Rooms, func(a, b design.Room) int { return a.Order - b.Order })
	for _, r := range designer.Lay(floor).Rooms {
		if err := sound(c, r); err != nil {
			return Plan{}, err
		}
		p.Rooms = append(p.Rooms, Room{RoomPlan: kept(r)})
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

// relaid returns the plan in which a room is laid anew and the others are left
// as they are.
func (p Plan) relaid(at int, room design.Room) (Room, error) {
	designer, err := design.New(p.Catalogue.Engine())
	if err != nil {
		return Room{}, fault.New(fault.Internal, ReasonBadCatalogue, "The plan's catalogue cannot be designed with; bring the drawing again.").Because(err)
	}
	var neighbours []design.RoomPlan
	for i, r := range p.Rooms {
		if i != at && r.LeftOut == "" {
			neighbours = append(neighbours, r.RoomPlan)
		}
	}
	laid := designer.LayRoom(p.floor(), plain(room), neighbours)
	return Room{RoomPlan: kept(laid)}, sound(p.Catalogue, laid)
}

// plain returns what is asked of a room in the one form in which it is stored:
// loads in whole N/m2, and nothing where nothing is asked.
func plain(r design.Room) design.Room {
	whole := func(kN float64) float64 { return math.Round(kN*1000) / 1000 }
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

// sameMM is how far a room's corners may have moved in a drawing that is
// brought again, for the room to be the same one.
const sameMM = 5

// inherit gives rooms of a drawing that is brought again what their
// predecessors in the floor's newest plan had: their IDs, by which beams are
// marked, their place in the laying order, and, where the outline is the same,
// what was asked of them. A new room takes IDs and places that are free.
func inherit(old Plan, rooms []design.Room) []design.Room {
	rooms = slices.Clone(rooms)
	from := make([]int, len(rooms))
	taken := map[int]bool{}
	used := map[string]bool{}
	last := 0
	for i, r := range rooms {
		from[i] = predecessor(old, r, taken)
		if from[i] >= 0 {
			taken[from[i]] = true
			used[strings.ToLower(old.Rooms[from[i]].Room.ID)] = true
			last = max(last, old.Rooms[from[i]].Room.Order)
		}
	}
	for i := range rooms {
		r := &rooms[i]
		if from[i] < 0 {
			last++
			r.ID, r.Order = freeID(r.ID, used), last
			continue
		}
		was := old.Rooms[from[i]].Room
		if sameRing(was.Shape.Outline, r.Shape.Outline) {
			shape, name := r.Shape, cmp.Or(r.Name, was.Name)
			supports := r.HoleSupports
			*r = was
			r.Shape, r.Name = shape, name
			if len(r.HoleSupports) != len(shape.Holes) {
				r.HoleSupports = supports
			}
			continue
		}
		r.ID, r.Order = was.ID, was.Order
	}
	return rooms
}

// predecessor returns which room of the old plan a room is: one with the same
// outline, else one that its middle lies in and the other way round.
func predecessor(old Plan, r design.Room, taken map[int]bool) int {
	for i, was := range old.Rooms {
		if !taken[i] && sameRing(was.Room.Shape.Outline, r.Shape.Outline) {
			return i
		}
	}
	for i, was := range old.Rooms {
		if !taken[i] && was.Room.Shape.Contains(middle(r.Shape.Outline)) && r.Shape.Contains(middle(was.Room.Shape.Outline)) {
			return i
		}
	}
	return -1
}

// middle of a ring's corners.
func middle(ring []geometry.Point) geometry.Point {
	var m geometry.Point
	for _, p := range ring {
		m.X, m.Y = m.X+p.X/float64(len(ring)), m.Y+p.Y/float64(len(ring))
	}
	return m
}

// sameRing reports whether two rings have the same corners in the same turn,
// wherever they begin.
func sameRing(a, b []geometry.Point) bool {
	if len(a) != len(b) {
		return false
	}
	for shift := range b {
		same := true
		for i := range a {
			q := b[(i+shift)%len(b)]
			if math.Hypot(a[i].X-q.X, a[i].Y-q.Y) > sameMM {
				same = false
				break
			}
		}
		if same {
			return true
		}
	}
	return false
}

func freeID(id string, used map[string]bool) string {
	for n := 1; used[strings.ToLower(id)]; n++ {
		id = fmt.Sprintf("N%02d", n)
	}
	used[strings.ToLower(id)] = true
	return id
}
