package design

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/geometry"
)

// square is a room of a file with more fields.
func square(more string) string {
	return `{"name":"a","outline":[[0,0],[4000,0],[4000,3000],[0,3000]]` + more + `}`
}

func floorOf(rooms ...string) string {
	return `{"id":"f","units":"mm","rooms":[` + strings.Join(rooms, ",") + `]}`
}

func TestBadFloorsAreNamed(t *testing.T) {
	good := floorOf(square(""))
	for text, want := range map[string]string{
		`{"id":"f","units":"m","rooms":[]}`:                                                `line 1, floor "f": units is "m"; allowed: mm`,
		`{"id":"f","units":"mm"`:                                                           "line 1: is no floor in JSON",
		good + "\n\n" + `{"id":"g","units":"mm","room":[]}`:                                `line 3: a floor has the unknown field "room"; allowed: id, units`,
		good + "\n[1]":                                                                     `line 2: a floor is "[1]"; allowed: an object`,
		floorOf(`{"name":"a","outline":[[0,0],[1,0]]}`):                                    `line 1, floor "f": rooms[0] (a): outline has 2 corners; allowed: at least 3`,
		floorOf(`{"name":"a"}`):                                                            `rooms[0] (a): outline is missing; allowed: corners`,
		floorOf(`{"outline":[[0,0],[1.5,0],[1,1]]}`):                                       `rooms[0]: outline[1] is [1.5,0]; allowed: a place as [x, y] in whole millimetres`,
		floorOf(square(``), square(`,"id":"01"`)):                                          `rooms[1] (a): id is "01", as of rooms[0]; allowed: an id of its own`,
		floorOf(square(`,"id":"a-1"`)):                                                     `id is "a-1"; allowed: 1 to 8 letters and digits`,
		floorOf(square(`,"colour":1,"beam":2`)):                                            `rooms[0]has`,
		floorOf(square(`,"order":0`)):                                                      "order is 0; allowed: a whole number of 1 to 1000000",
		floorOf(square(`,"category":"K"`)):                                                 `category is "K"; allowed: A, B, C, D, E`,
		floorOf(square(`,"imposed_kn_per_m2":"two"`)):                                      `imposed_kn_per_m2 is "two"; allowed: a number of 0 to 50`,
		floorOf(square(`,"finishes_kn_per_m2":-1`)):                                        "finishes_kn_per_m2 is -1; allowed: a number of 0 to 50",
		floorOf(square(`,"hole_supports":[true]`)):                                         "hole_supports has 1 entries; allowed: true or false for each of the 0 holes",
		floorOf(square(`,"open_sides":[4]`)):                                               "open_sides has 4; allowed: numbers of sides of 0 to 3",
		floorOf(square(`,"direction_degrees":1000`)):                                       "direction_degrees is 1000; allowed: a number of -360 to 360",
		floorOf(square(`,"profile":7`)):                                                    "profile is 7; allowed: a text of at most 40 letters",
		floorOf(square(`,"beams_per_row":4`)):                                              "beams_per_row is 4; allowed: a whole number of 1 to 3",
		floorOf(square(`,"bearing_mm":10`)):                                                "bearing_mm is 10; allowed: a number of 40 to 500",
		floorOf(square(`,"partitions":[{"from":[0,0],"kn":1}]`)):                           `partitions[0]: has the unknown field "kn"; allowed: from, to, kn_per_m`,
		floorOf(square(`,"partitions":[{"from":[0,0]}]`)):                                  `partitions[0]: to is missing`,
		floorOf(square(`,"partitions":[{"from":[0,9000],"to":[9000,9000],"kn_per_m":1}]`)): `partitions[0]: from and to lie outside the room`,
		floorOf(square(`,"partitions":[{"from":[0,9],"to":[0,9],"kn_per_m":1}]`)):          `partitions[0]: to is the same place as from; allowed: a line`,
	} {
		want = strings.ReplaceAll(want, "rooms[0]has", `rooms[0]: has the unknown field "beam", "colour"; allowed: name`)
		if _, err := ReadFloors(strings.NewReader(text), Loads{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s\n got: %v\nwant: %s", text, err, want)
		}
	}
}

// TestReadFloor reads all that a room may have, over several lines.
func TestReadFloor(t *testing.T) {
	text := `{"id": "F7", "units": "mm", "floor": "2", "job_name": "Gorsefold 9", "source": "drawn", "rooms": [
		{"name": "Hall", "outline": [[0,0],[4000,0],[4000,3000],[0,3000]], "holes": [[[1000,1000],[1000,1500],[1500,1500]]],
		 "id": "H1", "order": 5, "category": "C", "imposed_kn_per_m2": 3, "finishes_kn_per_m2": 1.25,
		 "partitions": [{"from": [0,1500], "to": [4000,1500], "kn_per_m": 3.5}],
		 "hole_supports": [true], "open_sides": [1,3], "direction_degrees": 90,
		 "profile": "T150", "wire_pattern": "6W", "block": "K510", "beams_per_row": 2, "bearing_mm": 120},
		{"name": "Larder", "outline": [[5000,0],[7000,0],[7000,3000]]}]}
	{"id": "F8", "units": "mm", "rooms": []}`
	floors, err := ReadFloors(strings.NewReader(text), Loads{"A", 2, 0.15})
	if err != nil {
		t.Fatal(err)
	}
	ninety := 90.0
	at := func(x, y float64) geometry.Point { return geometry.Point{X: x, Y: y} }
	want := []Floor{{Job: "F7", JobName: "Gorsefold 9", Floor: "2", Rooms: []Room{
		{ID: "H1", Name: "Hall", Order: 5, Loads: Loads{"C", 3, 1.25}, HoleSupports: []bool{true}, OpenSides: map[int]bool{1: true, 3: true},
			Shape: geometry.Polygon{Outline: []geometry.Point{at(0, 0), at(4000, 0), at(4000, 3000), at(0, 3000)},
				Holes: [][]geometry.Point{{at(1000, 1000), at(1000, 1500), at(1500, 1500)}}},
			Partitions: []arrange.Partition{{From: at(0, 1500), To: at(4000, 1500), NPerMM: 3.5}}, DirectionDegrees: &ninety,
			Profile: "T150", Pattern: "6W", Block: "K510", PerRow: 2, BearingMM: 120},
		{ID: "02", Name: "Larder", Order: 2, Loads: Loads{"A", 2, 0.15}, Shape: geometry.Polygon{Outline: []geometry.Point{at(5000, 0), at(7000, 0), at(7000, 3000)}}},
	}}, {Job: "F8", Floor: "1"}}
	if diff := cmp.Diff(want, floors); diff != "" {
		t.Error(diff)
	}
}

func FuzzReadFloors(f *testing.F) {
	f.Add(floorOf(square(`,"partitions":[{"from":[0,9],"to":[10,9],"kn_per_m":1}],"open_sides":[0],"holes":[[[1,1],[2,2],[3,1]]]`)))
	f.Add(`{"id":"f","units":"mm","rooms":null}`)
	f.Fuzz(func(t *testing.T, text string) {
		floors, err := ReadFloors(strings.NewReader(text), Loads{"A", 2, 0})
		for _, fl := range floors {
			for _, r := range fl.Rooms {
				if len(r.Shape.Outline) < 3 || r.PerRow < 0 || r.PerRow > 3 || !roomID.MatchString(r.ID) {
					t.Errorf("%s became %+v", text, r)
				}
			}
		}
		if err != nil && !strings.Contains(err.Error(), "line ") {
			t.Errorf("%v names no line", err)
		}
		_ = fmt.Sprint(err)
	})
}
