package office

import (
	"cmp"
	"math"
	"slices"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

// ChangeKind says how a beam differs between two revisions.
type ChangeKind int

// The kinds of change.
const (
	Added ChangeKind = iota + 1
	Removed
	// Remade: another profile, wire pattern or length under the same mark.
	Remade
	// Moved: the same beam in another place.
	Moved
)

// BeamChange is one beam that differs.
type BeamChange struct {
	Mark, Room    string
	Kind          ChangeKind
	Before, After design.Beam
	// MovedMM is how far the farther end of the beam moved; 0 where the rooms'
	// places on the sheet are not true.
	MovedMM float64
}

// Comparison of two revisions of a floor.
type Comparison struct {
	// Changes by room and mark.
	Changes                  []BeamChange
	Unchanged                int
	RoomsAdded, RoomsRemoved []string
	OrderChanged             bool
}

// movedMM is how far an end of a beam has to have moved for it to be told.
const movedMM = 5

// Compare says beam by beam what differs between two plans of a floor. Beams
// are the same when they have the same mark.
func Compare(before, after Plan) Comparison {
	var c Comparison
	was, is := before.beams(), after.beams()
	for mark, a := range was {
		b, ok := is[mark]
		moved := 0.0
		if !before.Schematic && !after.Schematic {
			moved = distance(a.Quad, b.Quad)
		}
		switch {
		case !ok:
			c.Changes = append(c.Changes, BeamChange{Mark: mark, Room: a.room, Kind: Removed, Before: a.Beam})
		case a.Profile != b.Profile || a.Pattern != b.Pattern || a.LengthMM != b.LengthMM:
			c.Changes = append(c.Changes, BeamChange{Mark: mark, Room: b.room, Kind: Remade, Before: a.Beam, After: b.Beam, MovedMM: moved})
		case moved > movedMM:
			c.Changes = append(c.Changes, BeamChange{Mark: mark, Room: b.room, Kind: Moved, Before: a.Beam, After: b.Beam, MovedMM: moved})
		default:
			c.Unchanged++
		}
	}
	for mark, b := range is {
		if _, ok := was[mark]; !ok {
			c.Changes = append(c.Changes, BeamChange{Mark: mark, Room: b.room, Kind: Added, After: b.Beam})
		}
	}
	slices.SortFunc(c.Changes, func(a, b BeamChange) int { return cmp.Or(cmp.Compare(a.Room, b.Room), cmp.Compare(a.Mark, b.Mark)) })
	c.rooms(before, after)
	return c
}

func (c *Comparison) rooms(before, after Plan) {
	var stayed, stay []string
	for _, r := range before.Rooms {
		if r.LeftOut != "" {
			continue
		}
		if at := after.room(r.Room.ID); at < 0 || after.Rooms[at].LeftOut != "" {
			c.RoomsRemoved = append(c.RoomsRemoved, r.Room.ID)
		} else {
			stayed = append(stayed, r.Room.ID)
		}
	}
	for _, r := range after.Rooms {
		if r.LeftOut != "" {
			continue
		}
		if at := before.room(r.Room.ID); at < 0 || before.Rooms[at].LeftOut != "" {
			c.RoomsAdded = append(c.RoomsAdded, r.Room.ID)
		} else {
			stay = append(stay, r.Room.ID)
		}
	}
	c.OrderChanged = !slices.Equal(stayed, stay)
}

type placed struct {
	design.Beam
	room string
}

func (p Plan) beams() map[string]placed {
	all := map[string]placed{}
	for _, r := range p.Rooms {
		for _, b := range r.Beams {
			all[b.Mark] = placed{b, r.Room.ID}
		}
	}
	return all
}

// distance is how far the ends of a beam moved: the farther one, whichever end
// is named first.
func distance(a, b geometry.Quad) float64 {
	ends := func(q geometry.Quad) [2]geometry.Point {
		return [2]geometry.Point{{X: (q[0].X + q[3].X) / 2, Y: (q[0].Y + q[3].Y) / 2}, {X: (q[1].X + q[2].X) / 2, Y: (q[1].Y + q[2].Y) / 2}}
	}
	apart := func(p, q geometry.Point) float64 { return math.Hypot(p.X-q.X, p.Y-q.Y) }
	x, y := ends(a), ends(b)
	return min(max(apart(x[0], y[0]), apart(x[1], y[1])), max(apart(x[0], y[1]), apart(x[1], y[0])))
}
