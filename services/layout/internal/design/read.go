package design

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"spanyard.example/services/layout/internal/geometry"
)

// outlines is a floor as a file of outlines has it.
type outlines struct {
	ID    string `json:"id"`
	Units string `json:"units"`
	Rooms []struct {
		Name    string      `json:"name"`
		Outline [][]int64   `json:"outline"`
		Holes   [][][]int64 `json:"holes"`
	} `json:"rooms"`
}

// maxFloors of a file, and longest line of it.
const (
	maxFloors = 10_000
	maxLine   = 64 << 20
)

// ReadFloors reads floors as JSON outlines, one a line: rooms as polygons with
// holes, in whole millimetres. Every room gets the loads.
func ReadFloors(r io.Reader, loads Loads) ([]Floor, error) {
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, maxLine)
	var floors []Floor
	for n := 1; lines.Scan(); n++ {
		if len(lines.Bytes()) == 0 {
			continue
		}
		var o outlines
		if err := json.Unmarshal(lines.Bytes(), &o); err != nil {
			return nil, fmt.Errorf("line %d: is no floor in JSON: %w", n, err)
		}
		f, err := o.floor(loads)
		if err != nil {
			return nil, fmt.Errorf("line %d, floor %.60q: %w", n, o.ID, err)
		}
		if floors = append(floors, f); len(floors) > maxFloors {
			return nil, fmt.Errorf("line %d: too many floors; allowed: %d in a file", n, maxFloors)
		}
	}
	return floors, lines.Err()
}

func (o outlines) floor(loads Loads) (Floor, error) {
	if o.Units != "mm" {
		return Floor{}, fmt.Errorf("units is %.20q; allowed: mm", o.Units)
	}
	f := Floor{Job: o.ID, Floor: "1"}
	for i, r := range o.Rooms {
		outline, err := ring(r.Outline)
		if err != nil {
			return Floor{}, fmt.Errorf("rooms[%d].outline: %w", i, err)
		}
		room := Room{ID: fmt.Sprintf("%02d", i+1), Name: r.Name, Order: i + 1, Shape: geometry.Polygon{Outline: outline}, Loads: loads}
		for j, h := range r.Holes {
			hole, err := ring(h)
			if err != nil {
				return Floor{}, fmt.Errorf("rooms[%d].holes[%d]: %w", i, j, err)
			}
			room.Shape.Holes = append(room.Shape.Holes, hole)
		}
		f.Rooms = append(f.Rooms, room)
	}
	return f, nil
}

// farthest is the largest coordinate of a floor, 10 km.
const farthest = 10_000_000

func ring(corners [][]int64) ([]geometry.Point, error) {
	if len(corners) < 3 {
		return nil, fmt.Errorf("has %d corners; allowed: at least 3", len(corners))
	}
	points := make([]geometry.Point, len(corners))
	for i, c := range corners {
		if len(c) != 2 {
			return nil, fmt.Errorf("corner %d has %d coordinates; allowed: 2", i+1, len(c))
		}
		if max(c[0], -c[0], c[1], -c[1]) > farthest {
			return nil, errors.New("lies farther than 10 km from the origin")
		}
		points[i] = geometry.Point{X: float64(c[0]), Y: float64(c[1])}
	}
	return points, nil
}
