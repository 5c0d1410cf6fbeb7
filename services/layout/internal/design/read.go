package design

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"

	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/strength"
)

// Limits of a file of floors.
const (
	maxFloors     = 10_000
	maxRooms      = 10_000
	maxPartitions = 1_000
	maxBytes      = 256 << 20
)

var (
	// floorKeys of a file; the second line says where an outline came from and
	// is read over.
	floorKeys = []string{"id", "units", "floor", "job_name", "rooms",
		"source", "licence", "licence_class", "kind", "group", "walls", "flags", "note", "origin_m", "dropped_small", "dropped_bad",
		"problem_kinds", "problem_count", "problems", "bad_rooms", "good_rooms"}
	roomKeys = []string{"name", "outline", "holes", "id", "order", "category", "imposed_kn_per_m2", "finishes_kn_per_m2", "partitions",
		"hole_supports", "open_sides", "direction_degrees", "profile", "wire_pattern", "block", "beams_per_row", "bearing_mm"}
	partitionKeys = []string{"from", "to", "kn_per_m"}

	roomID = regexp.MustCompile(`^[A-Za-z0-9]{1,8}$`)
)

// ReadFloors reads floors as JSON outlines, one after the other: rooms as
// polygons with holes, in whole millimetres, and what a room may wish for. A
// room without loads of its own gets the given ones. The error names line,
// floor, room and field, and what is allowed there.
func ReadFloors(r io.Reader, loads Loads) ([]Floor, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return nil, err
	}
	if len(text) > maxBytes {
		return nil, fmt.Errorf("the file is longer than %d MB; allowed: %d MB", maxBytes>>20, maxBytes>>20)
	}
	lineAt := func(offset int64) int {
		return 1 + bytes.Count(text[:min(max(offset, 0), int64(len(text)))], []byte("\n"))
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	var floors []Floor
	for {
		start := decoder.InputOffset() + int64(leadingSpace(text[decoder.InputOffset():]))
		var raw json.RawMessage
		if err := decoder.Decode(&raw); errors.Is(err, io.EOF) {
			return floors, nil
		} else if err != nil {
			at := lineAt(start)
			var syntax *json.SyntaxError
			if errors.As(err, &syntax) {
				at = lineAt(syntax.Offset)
			}
			return nil, fmt.Errorf("line %d: is no floor in JSON: %w", at, err)
		}
		f, err := readFloor(raw, loads)
		if err != nil {
			return nil, fmt.Errorf("line %d%w", lineAt(start), err)
		}
		if floors = append(floors, f); len(floors) > maxFloors {
			return nil, fmt.Errorf("line %d: too many floors; allowed: %d in a file", lineAt(start), maxFloors)
		}
	}
}

func leadingSpace(text []byte) int { return len(text) - len(bytes.TrimLeft(text, " \t\r\n")) }

func readFloor(raw json.RawMessage, loads Loads) (Floor, error) {
	o, err := readObject(raw, floorKeys)
	if err != nil {
		return Floor{}, fmt.Errorf(": a floor %w", err)
	}
	f := Floor{Floor: "1"}
	where := func(err error) error { return fmt.Errorf(", floor %.60q: %w", f.Job, err) }
	o.text("id", &f.Job, 200)
	o.text("floor", &f.Floor, 8)
	o.text("job_name", &f.JobName, 200)
	var units string
	o.text("units", &units, 20)
	if o.err == nil && units != "mm" {
		o.fail("units", fmt.Sprintf("is %q", units), "mm")
	}
	var rooms []json.RawMessage
	o.value("rooms", &rooms, "a list of rooms")
	if o.err == nil && len(rooms) > maxRooms {
		o.fail("rooms", fmt.Sprintf("has %d rooms", len(rooms)), fmt.Sprintf("at most %d", maxRooms))
	}
	if o.err != nil {
		return f, where(o.err)
	}
	taken := map[string]int{}
	for i, r := range rooms {
		room, err := readRoom(r, i, loads)
		if at, ok := taken[strings.ToLower(room.ID)]; err == nil && ok {
			err = fmt.Errorf("id is %q, as of rooms[%d]; allowed: an id of its own in the floor", room.ID, at)
		}
		if err != nil {
			return f, where(fmt.Errorf("rooms[%d]%s: %w", i, named(room), err))
		}
		taken[strings.ToLower(room.ID)] = i
		f.Rooms = append(f.Rooms, room)
	}
	return f, nil
}

func named(r Room) string {
	if r.Name == "" {
		return ""
	}
	return fmt.Sprintf(" (%.40s)", r.Name)
}

func readRoom(raw json.RawMessage, i int, loads Loads) (Room, error) {
	room := Room{ID: fmt.Sprintf("%02d", i+1), Order: i + 1, Loads: loads}
	o, err := readObject(raw, roomKeys)
	if err != nil {
		return room, err
	}
	o.text("name", &room.Name, 200)
	o.text("id", &room.ID, 8)
	if o.err == nil && !roomID.MatchString(room.ID) {
		o.fail("id", fmt.Sprintf("is %q", room.ID), "1 to 8 letters and digits")
	}
	o.whole("order", &room.Order, 1, 1_000_000)
	o.rings(&room.Shape)
	o.loads(&room.Loads)
	o.edges(&room)
	if o.has("direction_degrees") {
		room.DirectionDegrees = new(float64)
		o.number("direction_degrees", room.DirectionDegrees, -360, 360)
	}
	o.text("profile", &room.Profile, 40)
	o.text("wire_pattern", &room.Pattern, 40)
	o.text("block", &room.Block, 40)
	o.whole("beams_per_row", &room.PerRow, 1, 3)
	o.number("bearing_mm", &room.BearingMM, 40, mostBearingMM)
	o.partitions(&room)
	return room, o.err
}

// object of a file whose fields are taken one by one; the first fault stays.
type object struct {
	fields map[string]json.RawMessage
	err    error
}

func readObject(raw json.RawMessage, keys []string) (*object, error) {
	o := &object{}
	if err := json.Unmarshal(raw, &o.fields); err != nil || o.fields == nil {
		return nil, fmt.Errorf("is %.20q; allowed: an object", raw)
	}
	var unknown []string
	for k := range o.fields {
		if !slices.Contains(keys, k) {
			unknown = append(unknown, fmt.Sprintf("%.40q", k))
		}
	}
	if len(unknown) > 0 {
		slices.Sort(unknown)
		return nil, fmt.Errorf("has the unknown field %s; allowed: %s", strings.Join(unknown, ", "), strings.Join(keys, ", "))
	}
	return o, nil
}

func (o *object) fail(field, problem, allowed string) {
	if o.err == nil {
		o.err = fmt.Errorf("%s %s; allowed: %s", field, problem, allowed)
	}
}

// has reports whether a field is there; null is as good as absent.
func (o *object) has(field string) bool {
	raw, ok := o.fields[field]
	return ok && string(raw) != "null"
}

func (o *object) value(field string, into any, allowed string) bool {
	if o.err != nil || !o.has(field) {
		return false
	}
	if err := json.Unmarshal(o.fields[field], into); err != nil {
		o.fail(field, fmt.Sprintf("is %.40s", o.fields[field]), allowed)
		return false
	}
	return true
}

func (o *object) text(field string, into *string, most int) {
	allowed := fmt.Sprintf("a text of at most %d letters", most)
	if o.value(field, into, allowed) && len([]rune(*into)) > most {
		o.fail(field, fmt.Sprintf("is %d letters long", len([]rune(*into))), allowed)
	}
}

func (o *object) number(field string, into *float64, low, high float64) {
	allowed := fmt.Sprintf("a number of %g to %g", low, high)
	if o.value(field, into, allowed) && !(*into >= low && *into <= high) {
		o.fail(field, fmt.Sprintf("is %g", *into), allowed)
	}
}

func (o *object) whole(field string, into *int, low, high int) {
	allowed := fmt.Sprintf("a whole number of %d to %d", low, high)
	if o.value(field, into, allowed) && (*into < low || *into > high) {
		o.fail(field, fmt.Sprintf("is %d", *into), allowed)
	}
}

const ringAllowed = "corners as [x, y] in whole millimetres"

func (o *object) rings(shape *geometry.Polygon) {
	var outline []json.RawMessage
	if !o.value("outline", &outline, ringAllowed) && o.err == nil {
		o.fail("outline", "is missing", ringAllowed)
	}
	var holes [][]json.RawMessage
	o.value("holes", &holes, "a list of rings of "+ringAllowed)
	if o.err != nil {
		return
	}
	shape.Outline = o.ring("outline", outline)
	for j, h := range holes {
		shape.Holes = append(shape.Holes, o.ring(fmt.Sprintf("holes[%d]", j), h))
	}
}

// farthest is the largest coordinate of a floor, 10 km.
const farthest = 10_000_000

func (o *object) ring(field string, corners []json.RawMessage) []geometry.Point {
	if len(corners) < 3 {
		o.fail(field, fmt.Sprintf("has %d corners", len(corners)), "at least 3")
	}
	points := make([]geometry.Point, len(corners))
	for i, c := range corners {
		points[i] = o.point(fmt.Sprintf("%s[%d]", field, i), c)
	}
	return points
}

func (o *object) point(field string, raw json.RawMessage) geometry.Point {
	var xy []int64
	if err := json.Unmarshal(raw, &xy); err != nil || len(xy) != 2 {
		o.fail(field, fmt.Sprintf("is %.40s", raw), "a place as [x, y] in whole millimetres")
		return geometry.Point{}
	}
	if x, y := float64(xy[0]), float64(xy[1]); math.Max(math.Abs(x), math.Abs(y)) <= farthest {
		return geometry.Point{X: x, Y: y}
	}
	o.fail(field, fmt.Sprintf("is %.40s", raw), "no farther than 10 km from the origin")
	return geometry.Point{}
}

func (o *object) loads(l *Loads) {
	category := string(l.Category)
	o.text("category", &category, 1)
	l.Category = strength.Category(category)
	if _, ok := strength.RecommendedPsi[l.Category]; o.err == nil && o.has("category") && !ok {
		o.fail("category", fmt.Sprintf("is %q", category), "A, B, C, D, E")
	}
	o.number("imposed_kn_per_m2", &l.ImposedKNPerM2, 0, 50)
	o.number("finishes_kn_per_m2", &l.FinishesKNPerM2, 0, 50)
}

// edges says what supports beams.
func (o *object) edges(room *Room) {
	holes, sides := len(room.Shape.Holes), len(room.Shape.Outline)
	allowed := fmt.Sprintf("true or false for each of the %d holes", holes)
	if o.value("hole_supports", &room.HoleSupports, allowed) && len(room.HoleSupports) != holes {
		o.fail("hole_supports", fmt.Sprintf("has %d entries", len(room.HoleSupports)), allowed)
	}
	var open []int
	allowed = fmt.Sprintf("numbers of sides of 0 to %d, side 0 from the first corner to the second", sides-1)
	if !o.value("open_sides", &open, allowed) {
		return
	}
	room.OpenSides = map[int]bool{}
	for _, side := range open {
		if side < 0 || side >= sides {
			o.fail("open_sides", fmt.Sprintf("has %d", side), allowed)
		}
		room.OpenSides[side] = true
	}
}

func (o *object) partitions(room *Room) {
	var list []json.RawMessage
	if !o.value("partitions", &list, "a list of partitions with "+strings.Join(partitionKeys, ", ")) {
		return
	}
	if len(list) > maxPartitions {
		o.fail("partitions", fmt.Sprintf("has %d entries", len(list)), fmt.Sprintf("at most %d", maxPartitions))
		return
	}
	for i, raw := range list {
		p, err := readPartition(raw, room.Shape)
		if err != nil {
			o.err = fmt.Errorf("partitions[%d]: %w", i, err)
			return
		}
		room.Partitions = append(room.Partitions, p)
	}
}

func readPartition(raw json.RawMessage, shape geometry.Polygon) (arrange.Partition, error) {
	o, err := readObject(raw, partitionKeys)
	if err != nil {
		return arrange.Partition{}, err
	}
	for _, k := range partitionKeys {
		if !o.has(k) {
			o.fail(k, "is missing", "from and to as [x, y] in whole millimetres, kn_per_m as a number")
		}
	}
	p := arrange.Partition{From: o.point("from", o.fields["from"]), To: o.point("to", o.fields["to"])}
	// kN/m is N/mm.
	o.number("kn_per_m", &p.NPerMM, 0, 100)
	middle := geometry.Point{X: (p.From.X + p.To.X) / 2, Y: (p.From.Y + p.To.Y) / 2}
	if o.err == nil && p.From == p.To {
		o.fail("to", "is the same place as from", "a line")
	}
	if o.err == nil && math.Min(shape.Distance(middle), math.Min(shape.Distance(p.From), shape.Distance(p.To))) > 1 {
		o.fail("from", "and to lie outside the room", "a line in the room")
	}
	return p, o.err
}
