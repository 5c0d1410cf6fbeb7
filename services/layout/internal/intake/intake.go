// Package intake makes a floor of rooms from a drawing. What cannot be a room
// is named with the entity that it came from, and the rest goes on: a drawing
// is as good as its good rooms.
package intake

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/dxf"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/outline"
)

// Settings of the person who brings a drawing.
type Settings struct {
	// RoomLayers and OpeningLayers name layers; * and ? stand for any
	// characters.
	RoomLayers, OpeningLayers []string
	// UnitMM is the size of a drawing unit; 0 believes the file.
	UnitMM float64
	// SmallestM2 leaves smaller rooms out.
	SmallestM2 float64
	Loads      design.Loads
}

// Intake is what a drawing gave.
type Intake struct {
	Rooms    []design.Room
	Problems []outline.Problem
	Size     outline.Size
	UnitMM   float64
	Layers   map[string]int
}

// FromDXF reads a drawing.
func FromDXF(file string, content []byte, s Settings) (Intake, error) {
	d, err := dxf.Read(content)
	if err != nil {
		return Intake{}, fault.New(fault.Invalid, "DRAWING_UNREADABLE", "The drawing %s cannot be read: %v.", file, err)
	}
	in := Intake{Layers: d.Layers()}
	if in.UnitMM, err = unitOf(file, d, s.UnitMM); err != nil {
		return in, err
	}
	for _, b := range d.Bad {
		in.Problems = append(in.Problems, outline.Problem{Entity: fmt.Sprintf("%s %s (line %d)", b.Kind, b.Handle, b.Line), Layer: b.Layer, What: b.Problem})
	}
	rings, problems := outline.Rings(d, s.RoomLayers, in.UnitMM)
	in.Problems = append(in.Problems, problems...)
	if len(rings) == 0 {
		return in, noRooms(file, d, s.RoomLayers, len(problems))
	}
	in.Size = outline.SizeOf(rings)
	if m := math.Max(in.Size.WidthMM, in.Size.HeightMM); m < 1000 || m > 2_000_000 {
		return in, fault.New(fault.Invalid, "DRAWING_SIZE", "Read with %g mm to a unit, the rooms of %s measure %.3g m by %.3g m together. That is no floor; say what a unit is.",
			in.UnitMM, file, in.Size.WidthMM/1000, in.Size.HeightMM/1000)
	}
	openings, problems := outline.Rings(d, s.OpeningLayers, in.UnitMM)
	if len(s.OpeningLayers) > 0 {
		in.Problems = append(in.Problems, problems...)
	}
	in.rooms(rings, openings, texts(d, in.UnitMM), s)
	return in, nil
}

// unitOf returns the millimetres of a drawing unit.
func unitOf(file string, d *dxf.Drawing, override float64) (float64, error) {
	if override > 0 {
		return override, nil
	}
	if mm, ok := dxf.MillimetresPerUnit(d.Units); ok {
		return mm, nil
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range d.Paths {
		for _, q := range p.Points {
			low, high = math.Min(low, q.X), math.Max(high, q.X)
		}
	}
	return 0, fault.New(fault.Invalid, "DRAWING_UNIT", "The drawing %s does not say what its unit is. It is %.4g units wide: that would be %.3g m in millimetres, %.3g m in centimetres, %.3g m in metres. Say which.",
		file, high-low, (high-low)/1000, (high-low)/100, high-low)
}

func noRooms(file string, d *dxf.Drawing, layers []string, broken int) error {
	var have []string
	for _, l := range d.SortedLayers() {
		have = append(have, fmt.Sprintf("%s (%d)", l, d.Layers()[l]))
	}
	f := fault.New(fault.Invalid, "DRAWING_NO_ROOMS", "The drawing %s has no closed outline on the layers named; %d outlines there do not close.", file, broken)
	return f.At("room_layers", strings.Join(layers, ", "), "give no room", "layers of the drawing, with the number of their lines: "+strings.Join(have, ", "))
}

// label is a text at a place.
type label struct {
	text string
	at   geometry.Point
}

func texts(d *dxf.Drawing, unitMM float64) []label {
	var out []label
	for _, t := range d.Texts {
		out = append(out, label{t.Value, geometry.Point{X: t.At.X * unitMM, Y: t.At.Y * unitMM}})
	}
	return out
}

func ringOf(r outline.Ring) []geometry.Point {
	out := make([]geometry.Point, len(r.Points))
	for i, p := range r.Points {
		out[i] = geometry.Point{X: float64(p.XMM), Y: float64(p.YMM)}
	}
	return out
}

// candidate is a ring that may become a room.
type candidate struct {
	ring    outline.Ring
	shape   geometry.Polygon
	problem string
}

// rooms turns rings into rooms in reading order, top left first.
func (in *Intake) rooms(rings, openings []outline.Ring, labels []label, s Settings) {
	var all []candidate
	for _, r := range rings {
		c := candidate{ring: r, shape: geometry.Polygon{Outline: ringOf(r)}}
		switch err := c.shape.Validate(); {
		case err != nil:
			c.problem = err.Error()
		case c.shape.Area() < s.SmallestM2*1e6:
			c.problem = fmt.Sprintf("is smaller than %g m2", s.SmallestM2)
		}
		all = append(all, c)
	}
	overlaps(all)
	in.addOpenings(all, openings)
	slices.SortStableFunc(all, func(a, b candidate) int {
		_, ah := a.shape.Bounds()
		al, _ := a.shape.Bounds()
		bl, bh := b.shape.Bounds()
		return cmp.Or(cmp.Compare(math.Round(bh.Y/500), math.Round(ah.Y/500)), cmp.Compare(al.X, bl.X))
	})
	used := map[string]bool{}
	for _, c := range all {
		if c.problem != "" {
			in.Problems = append(in.Problems, outline.Problem{Entity: c.ring.From, Layer: c.ring.Layer, What: c.problem})
			continue
		}
		room := design.Room{Order: len(in.Rooms) + 1, Shape: c.shape, Loads: s.Loads}
		room.Name = nameOf(c.shape, labels)
		room.ID = idOf(room.Name, room.Order, used)
		in.Rooms = append(in.Rooms, room)
	}
}

// deepMM is how deep the corner of a room may lie in another one: drawings
// are not exact.
const deepMM = 20

// overlaps marks rooms that lie in each other, or twice in the same place.
func overlaps(all []candidate) {
	for i := range all {
		for j := range all[:i] {
			a, b := &all[i], &all[j]
			if a.problem != "" || b.problem != "" || !boxesMeet(a.shape, b.shape) {
				continue
			}
			if inside(a.shape, b.shape) || inside(b.shape, a.shape) {
				a.problem = fmt.Sprintf("overlaps the room of %s", b.ring.From)
			}
		}
	}
}

func boxesMeet(a, b geometry.Polygon) bool {
	al, ah := a.Bounds()
	bl, bh := b.Bounds()
	return al.X < bh.X && bl.X < ah.X && al.Y < bh.Y && bl.Y < ah.Y
}

// inside reports whether a corner or the middle of a side of a lies deep in b.
func inside(a, b geometry.Polygon) bool {
	low, high := a.Bounds()
	points := []geometry.Point{{X: (low.X + high.X) / 2, Y: (low.Y + high.Y) / 2}}
	if !a.Contains(points[0]) {
		points = nil
	}
	for i, p := range a.Outline {
		q := a.Outline[(i+1)%len(a.Outline)]
		points = append(points, p, geometry.Point{X: (p.X + q.X) / 2, Y: (p.Y + q.Y) / 2})
	}
	for _, p := range points {
		if geometry.Inside(b.Outline, p) && geometry.DistanceToRing(b.Outline, p) > deepMM {
			return true
		}
	}
	return false
}

// addOpenings gives each opening to the room that it lies in.
func (in *Intake) addOpenings(all []candidate, openings []outline.Ring) {
	for _, o := range openings {
		ring := ringOf(o)
		problem := "lies in no room"
		for i := range all {
			c := &all[i]
			if c.problem != "" || !geometry.Inside(c.shape.Outline, ring[0]) {
				continue
			}
			with := geometry.Polygon{Outline: c.shape.Outline, Holes: append(slices.Clone(c.shape.Holes), ring)}
			if err := with.Validate(); err != nil {
				problem = err.Error()
				break
			}
			c.shape, problem = with, ""
			break
		}
		if problem != "" {
			in.Problems = append(in.Problems, outline.Problem{Entity: o.From, Layer: o.Layer, What: problem})
		}
	}
}

// longestName of a room.
const longestName = 40

// nameOf returns the text in a room, the highest one first.
func nameOf(shape geometry.Polygon, labels []label) string {
	var found []label
	for _, l := range labels {
		if shape.Contains(l.at) {
			found = append(found, l)
		}
	}
	slices.SortStableFunc(found, func(a, b label) int { return cmp.Compare(b.at.Y, a.at.Y) })
	if len(found) == 0 {
		return ""
	}
	name := []rune(strings.Join(strings.Fields(found[0].text), " "))
	return string(name[:min(len(name), longestName)])
}

var idPattern = regexp.MustCompile(`^[A-Za-z0-9]{1,8}$`)

// idOf returns the room's part of its marks: its name where that is short and
// its own, else its number.
func idOf(name string, order int, used map[string]bool) string {
	id := name
	if !idPattern.MatchString(id) || used[strings.ToLower(id)] {
		id = fmt.Sprintf("%02d", order)
	}
	for n := order; used[strings.ToLower(id)]; n++ {
		id = fmt.Sprintf("R%02d", n)
	}
	used[strings.ToLower(id)] = true
	return id
}
