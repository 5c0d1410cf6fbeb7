package office_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
)

var mill = office.FloorKey{Job: "J1", Floor: "1"}

// drawn is a drawing of the mill's first floor.
func drawn(rooms ...design.Room) office.DraftDrawing {
	return office.DraftDrawing{SourceFile: "mill.dxf", Job: mill.Job, JobName: "House at the mill", Floor: mill.Floor, Rooms: rooms}
}

// three rooms in a line, numbered from the left as an intake numbers them.
func three() []design.Room {
	return []design.Room{officetest.Box("01", 1, 0, 0, 3000, 3600), officetest.Box("02", 2, 3300, 0, 3200, 3600), officetest.Box("03", 3, 6800, 0, 2800, 3600)}
}

func edit(revision int, room string, brief design.Room, fields ...office.Field) office.EditRoom {
	return office.EditRoom{Job: mill.Job, Floor: mill.Floor, Revision: revision, Room: room, Brief: brief, Fields: fields}
}

func newest(s office.State) office.Plan {
	records := s.Revisions(mill)
	return records[len(records)-1].Plan
}

// marksAt are the marks of a plan by where their beams begin.
func marksAt(p office.Plan) map[string]string {
	marks := map[string]string{}
	for _, r := range p.Rooms {
		for _, b := range r.Beams {
			marks[fmt.Sprintf("%.0f %.0f", b.Quad[0].X, b.Quad[0].Y)] = b.Mark
		}
	}
	return marks
}

func brief(p office.Plan, id string) design.Room {
	for _, r := range p.Rooms {
		if r.Room.ID == id {
			return r.Room
		}
	}
	return design.Room{}
}

// TestDrawingAgain brings a drawing again after rooms of it were edited and
// reordered by hand: IDs, order, marks and wishes stay.
func TestDrawingAgain(t *testing.T) {
	ninety := 90.0
	s := must(t, withCatalogue(t), drawn(three()...),
		edit(1, "02", design.Room{PerRow: 2, Loads: design.Loads{Category: "C", ImposedKNPerM2: 4}, DirectionDegrees: &ninety, Name: "Store"},
			office.FieldPerRow, office.FieldImposed, office.FieldCategory, office.FieldDirection, office.FieldName),
		office.ReorderRooms{Job: mill.Job, Floor: mill.Floor, Revision: 1, Rooms: []string{"03", "01", "02"}})
	before := newest(s)
	s = must(t, s, drawn(three()...))
	after := newest(s)
	if after.Revision != 2 {
		t.Fatalf("revision %d", after.Revision)
	}
	if d := cmp.Diff(before.Rooms, after.Rooms, exact); d != "" {
		t.Errorf("(-before +after):\n%s", d)
	}
	if c := office.Compare(before, after); len(c.Changes) > 0 || c.OrderChanged {
		t.Errorf("compared: %+v", c)
	}
}

// TestDrawingBeginsElsewhere: a program may write the same outline from
// another corner. Sides that carry nothing are still the same walls.
func TestDrawingBeginsElsewhere(t *testing.T) {
	s := must(t, withCatalogue(t), drawn(three()...), edit(1, "01", design.Room{OpenSides: map[int]bool{1: true}}, office.FieldOpenSides))
	before := brief(newest(s), "01")
	turned := three()
	o := turned[0].Shape.Outline
	turned[0].Shape.Outline = append(slices.Clone(o[1:]), o[0])
	after := brief(newest(must(t, s, drawn(turned...))), "01")
	if a, b := openWalls(before), openWalls(after); !slices.Equal(a, b) {
		t.Errorf("open before %v, after %v", a, b)
	}
}

// openWalls are the middles of a room's sides that carry nothing.
func openWalls(r design.Room) []string {
	var walls []string
	for i, a := range r.Shape.Outline {
		if r.OpenSides[i] {
			b := r.Shape.Outline[(i+1)%len(r.Shape.Outline)]
			walls = append(walls, fmt.Sprintf("%.0f %.0f", (a.X+b.X)/2, (a.Y+b.Y)/2))
		}
	}
	return walls
}

// TestFileHasTheLastWord: what a drawing that is brought again says anew of a
// room is taken from it; what it does not say anew stays as it was changed by
// hand.
func TestFileHasTheLastWord(t *testing.T) {
	s := must(t, withCatalogue(t), drawn(three()...),
		edit(1, "01", design.Room{Loads: design.Loads{ImposedKNPerM2: 3}, PerRow: 2}, office.FieldImposed, office.FieldPerRow),
		edit(1, "02", design.Room{Profile: "T190"}, office.FieldProfile))
	again := three()
	wall := arrange.Partition{From: geometry.Point{X: 0, Y: 1800}, To: geometry.Point{X: 3000, Y: 1800}, NPerMM: 2}
	again[0].Partitions = []arrange.Partition{wall}
	again[1].Loads.FinishesKNPerM2 = 1.5
	again[2].Loads = design.Loads{Category: "B", ImposedKNPerM2: 3, FinishesKNPerM2: 0.5}
	after := newest(must(t, s, drawn(again...)))
	one, two, last := brief(after, "01"), brief(after, "02"), brief(after, "03")
	if d := cmp.Diff([]arrange.Partition{wall}, one.Partitions); d != "" || one.Loads.ImposedKNPerM2 != 3 || one.PerRow != 2 {
		t.Errorf("room 01: %+v", one)
	}
	if two.Loads.FinishesKNPerM2 != 1.5 || two.Profile != "T190" {
		t.Errorf("room 02: %+v", two)
	}
	if last.Loads.Category != "B" || last.Loads.ImposedKNPerM2 != 3 {
		t.Errorf("room 03: %+v", last)
	}
	// A wall that moves takes nothing of what was asked by hand away.
	moved := three()
	moved[0] = officetest.Box("01", 1, 0, 0, 3000, 3900)
	if r := brief(newest(must(t, s, drawn(moved...))), "01"); r.Loads.ImposedKNPerM2 != 3 || r.PerRow != 2 || r.Shape.Outline[2].Y != 3900 {
		t.Errorf("room 01 with a moved wall: %+v", r)
	}
}

// TestRoomsComeAndGo: of a drawing with one room more or less, the others keep
// their marks, however the file numbers them.
func TestRoomsComeAndGo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var rooms []design.Room
		x := 0.0
		n := rapid.IntRange(2, 6).Draw(t, "rooms")
		for range n + 1 {
			w := float64(100 * rapid.IntRange(18, 45).Draw(t, "width"))
			rooms = append(rooms, officetest.Box("", 0, x, 0, w, float64(100*rapid.IntRange(18, 45).Draw(t, "height"))))
			x += w + 300
		}
		numbered := func(without int) []design.Room { // as an intake numbers what it finds
			out := slices.Clone(rooms)
			if without >= 0 {
				out = slices.Delete(out, without, without+1)
			}
			for i := range out {
				out[i].ID, out[i].Order = fmt.Sprintf("%02d", i+1), i+1
			}
			return out
		}
		first, second := numbered(rapid.IntRange(-1, n).Draw(t, "missing first")), numbered(rapid.IntRange(-1, n).Draw(t, "missing second"))
		s := office.Evolve(office.New(), decided(t, office.New(), office.SetCatalogue{Catalogue: officetest.Catalogue()}))
		s = office.Evolve(s, decided(t, s, drawn(first...)))
		before := newest(s)
		s = office.Evolve(s, decided(t, s, drawn(second...)))
		was, is := marksAt(before), marksAt(newest(s))
		seen := map[string]bool{}
		for at, mark := range is {
			if old, ok := was[at]; ok && old != mark {
				t.Fatalf("the beam at %s was %s and is %s", at, old, mark)
			}
			if seen[mark] {
				t.Fatalf("%s is there twice", mark)
			}
			seen[mark] = true
		}
	})
}

func decided(t *rapid.T, s office.State, c office.Command) office.Event {
	events, err := office.Decide(s, c)
	if err != nil || len(events) != 1 {
		t.Fatalf("%T: %d events, %v", c, len(events), err)
	}
	return events[0]
}

// TestOpenPointsAreNamed: a plan in which something is open is not approved,
// everything open is named, and it is approved once that is left out.
func TestOpenPointsAreNamed(t *testing.T) {
	rooms := three()
	rooms[1] = officetest.Box("02", 2, 3300, 0, 12_000, 12_000)
	rooms[2] = officetest.Box("03", 3, 16_000, 0, 2800, 3600)
	c := drawn(rooms...)
	c.Problems = []office.Problem{{Entity: "LINE 2A (line 12)", Layer: "ROOMS", What: "does not close"}, {Entity: "ARC 2B (line 90)", Layer: "ROOMS", What: "has no length"}}
	s := must(t, withCatalogue(t), c)
	_, err := office.Decide(s, approve(mill.Job, mill.Floor, 1))
	if fault.KindOf(err) != fault.Stale || fault.ReasonOf(err) != office.ReasonOpenPoints {
		t.Fatalf("got %v", err)
	}
	for _, want := range []string{"room 02: ", "problem 1: LINE 2A (line 12) on layer ROOMS does not close.", "problem 2: ARC 2B (line 90)"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not named in %v", want, err)
		}
	}
	s = must(t, s, office.LeaveOut{Job: mill.Job, Floor: mill.Floor, Revision: 1, Rooms: []string{"02"}, Problems: []int{2}, Reason: "in situ"})
	if open := newest(s).OpenPoints(); len(open) != 1 || open[0].Problem != 1 {
		t.Fatalf("open: %+v", open)
	}
	s = must(t, s, office.LeaveOut{Job: mill.Job, Floor: mill.Floor, Revision: 1, AllOpen: true, Reason: "a north arrow"}, approve(mill.Job, mill.Floor, 1))
	p := newest(s)
	if r := s.Revisions(mill)[0]; r.Status != office.Approved || p.Strength != office.Checked || p.Problems[0].LeftOut != "a north arrow" || p.Problems[1].LeftOut != "in situ" ||
		p.Rooms[1].LeftOut != "in situ" || len(p.Design().Rooms) != 2 || r.Totals.LeftOut != 1 {
		t.Errorf("approved: %+v", r.Totals)
	}
	// A room that is edited is taken in again.
	s = must(t, s, edit(1, "02", officetest.Box("", 0, 3300, 0, 3000, 3000), office.FieldOutline))
	if p := newest(s); p.Revision != 2 || p.Rooms[1].LeftOut != "" || len(p.Rooms[1].Beams) == 0 {
		t.Errorf("taken in again: %+v", p.Rooms[1])
	}
}

// TestNothingIsApprovedWithoutBeams: leaving everything out leaves nothing to
// approve.
func TestNothingIsApprovedWithoutBeams(t *testing.T) {
	s := must(t, withCatalogue(t), drawn(three()[0]), office.LeaveOut{Job: mill.Job, Floor: mill.Floor, Revision: 1, Rooms: []string{"01"}, Reason: "in situ"})
	_, err := office.Decide(s, approve(mill.Job, mill.Floor, 1))
	if fault.ReasonOf(err) != office.ReasonOpenPoints || !strings.Contains(err.Error(), "has no beams") {
		t.Errorf("got %v", err)
	}
}
