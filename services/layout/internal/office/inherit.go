package office

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

// sameMM is how far a room's corners may have moved in a drawing that is
// brought again, for its outline to be the same one.
const sameMM = 5

// inherit gives rooms of a drawing that is brought again what their
// predecessors in the floor's newest plan have: their IDs, by which beams are
// marked, their place in the laying order, and what was changed of them by
// hand. Where the drawing itself now says something else of a room than it did
// before, that holds. A new room takes an ID and a place that are free.
//
// The second answer is what the drawing says of the rooms that keep changes by
// hand.
func inherit(old Plan, rooms []design.Room) ([]design.Room, map[string]*design.Room) {
	rooms = slices.Clone(rooms)
	drawn := map[string]*design.Room{}
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
		was := old.Rooms[from[i]]
		room, drawing := merged(was, *r)
		if *r = room; drawing != nil {
			drawn[room.ID] = drawing
		}
	}
	return rooms, drawn
}

// predecessor returns which room of the old plan a room is: one with the same
// outline, else one that its middle lies in and the other way round.
func predecessor(old Plan, r design.Room, taken map[int]bool) int {
	for i, was := range old.Rooms {
		if _, same := sameRing(was.Room.Shape.Outline, r.Shape.Outline); same && !taken[i] {
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

// merged returns a room of a drawing with what was changed by hand of its
// predecessor, and what the drawing says of it where that is something else;
// nil where it is not.
func merged(was Room, file design.Room) (design.Room, *design.Room) {
	file = plain(file)
	shift, same := sameRing(was.Room.Shape.Outline, file.Shape.Outline)
	if same {
		file = turned(file, shift)
	}
	base := was.Room
	if was.Drawn != nil {
		base = *was.Drawn
	}
	room, byHand := file, false
	room.ID, room.Order = was.Room.ID, was.Room.Order
	for field, set := range setters {
		if field == FieldOutline || field == FieldOpenSides && !same || !alike(set, base, file) {
			continue
		}
		if !alike(set, was.Room, file) {
			set(&room, was.Room)
			byHand = true
		}
	}
	if !same && !alike(setters[FieldOpenSides], was.Room, base) {
		room.OpenSides = plain(design.Room{OpenSides: openBeside(was.Room, file)}).OpenSides
		byHand = true
	}
	if !byHand {
		return room, nil
	}
	return room, said(file)
}

// alike reports whether two rooms have the same value of a field.
func alike(set func(room *design.Room, brief design.Room), a, b design.Room) bool {
	var x, y design.Room
	set(&x, a)
	set(&y, b)
	return reflect.DeepEqual(x, y)
}

// turned returns a room whose outline begins at another of its corners.
func turned(r design.Room, shift int) design.Room {
	n := len(r.Shape.Outline)
	r.Shape.Outline = append(slices.Clone(r.Shape.Outline[shift:]), r.Shape.Outline[:shift]...)
	if len(r.OpenSides) > 0 {
		open := map[int]bool{}
		for side, is := range r.OpenSides {
			open[(side-shift+n)%n] = is
		}
		r.OpenSides = open
	}
	return r
}

// openBeside returns the open sides of a room, and those of its sides that lie
// beside open ones of its predecessor: walls that were moved.
func openBeside(was, r design.Room) map[int]bool {
	open := map[int]bool{}
	for side, is := range r.OpenSides {
		open[side] = is
	}
	for i, a := range r.Shape.Outline {
		b := r.Shape.Outline[(i+1)%len(r.Shape.Outline)]
		for side, is := range was.OpenSides {
			if !is || side >= len(was.Shape.Outline) {
				continue
			}
			c, d := was.Shape.Outline[side], was.Shape.Outline[(side+1)%len(was.Shape.Outline)]
			mid := geometry.Point{X: (a.X + b.X) / 2, Y: (a.Y + b.Y) / 2}
			if parallel(a, b, c, d) && geometry.DistanceToSegment(c, d, mid) <= atWallMM {
				open[i] = true
			}
		}
	}
	return open
}

// parallel reports whether two sides run along each other, within a degree or
// so.
func parallel(a, b, c, d geometry.Point) bool {
	const most = 0.02
	cross := (b.X-a.X)*(d.Y-c.Y) - (b.Y-a.Y)*(d.X-c.X)
	return math.Abs(cross) <= most*math.Hypot(b.X-a.X, b.Y-a.Y)*math.Hypot(d.X-c.X, d.Y-c.Y)
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
// and at which corner of b ring a begins.
func sameRing(a, b []geometry.Point) (shift int, same bool) {
	if len(a) != len(b) {
		return 0, false
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
			return shift, true
		}
	}
	return 0, false
}

func freeID(id string, used map[string]bool) string {
	for n := 1; used[strings.ToLower(id)]; n++ {
		id = fmt.Sprintf("N%02d", n)
	}
	used[strings.ToLower(id)] = true
	return id
}
