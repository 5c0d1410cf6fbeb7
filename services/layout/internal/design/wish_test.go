package design

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/layout/internal/geometry"
)

// boxRoom is a rectangle whose lower left corner is at (x, 0).
func boxRoom(id string, x, w, h float64) Room {
	return Room{ID: id, Loads: Loads{"A", 2, 0.15}, Shape: geometry.Polygon{
		Outline: []geometry.Point{{X: x, Y: 0}, {X: x + w, Y: 0}, {X: x + w, Y: h}, {X: x, Y: h}}}}
}

func TestWishesAreMet(t *testing.T) {
	ninety := 90.0
	for name, set := range map[string]func(*Room){
		"profile":   func(r *Room) { r.Profile = "T190" },
		"pattern":   func(r *Room) { r.Pattern = "7W" },
		"block":     func(r *Room) { r.Block = "K530" },
		"per row":   func(r *Room) { r.PerRow = 2 },
		"bearing":   func(r *Room) { r.BearingMM = 150 },
		"direction": func(r *Room) { r.DirectionDegrees = &ninety },
	} {
		room := boxRoom("01", 0, 3000, 3600)
		set(&room)
		rp := designer(t).Lay(Floor{Floor: "1", Rooms: []Room{room}}).Rooms[0]
		if rp.Refused != nil {
			t.Errorf("%s: %v", name, rp.Refused)
			continue
		}
		for _, v := range Violations(invented(), rp) {
			t.Errorf("%s: %s", name, v)
		}
		for i, b := range rp.Beams {
			switch {
			case room.Profile != "" && b.Profile != room.Profile, room.Block != "" && rp.Kit.Block != room.Block,
				room.Pattern != "" && b.Pattern != room.Pattern, room.PerRow != 0 && b.PerRow != room.PerRow,
				room.BearingMM != 0 && (rp.Layout.Beams[i].Member.BearingMM != 150 || float64(b.LengthMM) < b.ClearMM+300),
				room.DirectionDegrees != nil && rp.Layout.DirectionDegrees != 90:
				t.Errorf("%s: %s is %s %s x%d of %d mm", name, b.Mark, b.Profile, b.Pattern, b.PerRow, b.LengthMM)
			}
		}
	}
}

func TestWishesThatCannotBeMet(t *testing.T) {
	zero := 0.0
	for want, set := range map[string]func(*Room){
		`wished with profile "T9". The yard has the profiles T150, T190.`:                                func(r *Room) { r.Profile = "T9" },
		`wished with block "K530" of profile T150. The yard has the blocks K510.`:                        func(r *Room) { r.Profile, r.Block = "T150", "K530" },
		`wished with wire pattern "7W" of profile T150. The yard has the wire patterns T150 5W, T150 6W`: func(r *Room) { r.Profile, r.Pattern = "T150", "7W" },
		`wished with 4 beams side by side in each row. Wish for 1 to 3`:                                  func(r *Room) { r.PerRow = 4 },
		`wished with a bearing of 60 mm. Wish for 90 to 500 mm`:                                          func(r *Room) { r.BearingMM = 60 },
		`6000 mm is too long for single beams of profile T190, wire pattern 7W: they reach 5260 mm`:      func(r *Room) { r.PerRow, r.DirectionDegrees = 1, &zero },
		`Without the wish for single beams it can be laid: profile T190`:                                 func(r *Room) { r.PerRow, r.DirectionDegrees = 1, &zero },
		`Without the wish for profile T150 it can be laid: profile T190`:                                 func(r *Room) { r.Profile, r.DirectionDegrees = "T150", &zero },
	} {
		room := boxRoom("01", 0, 6000, 3600)
		set(&room)
		rp := designer(t).Lay(Floor{Floor: "1", Rooms: []Room{room}}).Rooms[0]
		if rp.Refused == nil || !strings.Contains(rp.Refused.Error(), want) {
			t.Errorf("got %v\nwant %s", rp.Refused, want)
		}
	}
}

// TestOneRoomAnew lays one room of a floor again: the others stay as they
// are, and nothing lies in their beams.
func TestOneRoomAnew(t *testing.T) {
	zero := 0.0
	f := Floor{Job: "J1", Floor: "1"}
	for i, id := range []string{"01", "02", "03"} {
		room := boxRoom(id, 3120*float64(i), 3000, 3600)
		room.DirectionDegrees = &zero
		f.Rooms = append(f.Rooms, room)
	}
	d := designer(t)
	before := d.Lay(f)
	edited := f.Rooms[1]
	edited.Shape = boxRoom("02", 3120, 3000, 4400).Shape
	rp := d.LayRoom(f, edited, before.Rooms)
	if rp.Refused != nil || rp.Beams[0].Mark != "1-02-01" {
		t.Fatalf("%v, first mark %+v", rp.Refused, rp.Beams)
	}
	after := d.Assemble(f, []RoomPlan{before.Rooms[0], rp, before.Rooms[2]})
	for _, i := range []int{0, 2} {
		if diff := cmp.Diff(before.Rooms[i].Beams, after.Rooms[i].Beams); diff != "" {
			t.Errorf("room %d changed: %s", i+1, diff)
		}
		for _, a := range rp.Beams {
			for _, b := range before.Rooms[i].Beams {
				if deep := geometry.Overlap(a.Quad, b.Quad); deep > 1 {
					t.Errorf("%s lies %.0f mm in %s", a.Mark, deep, b.Mark)
				}
			}
		}
	}
	if after.Floor.Rooms[1].Shape.Outline[2].Y != 4400 || len(after.Calculations) == 0 {
		t.Error("the floor was not put together of the edited room")
	}
}
