// Package drawing draws laying plans: once, as a list of lines and texts on a
// sheet of paper, which is then written as PDF, SVG, PNG or DXF.
//
// Line types and weights follow ISO 128, lettering ISO 3098 (nothing smaller
// than 2.5 mm), scales ISO 5455 and the fields of the title block ISO 7200.
// Everything can be read in print without colour.
package drawing

import (
	"fmt"
	"math"
	"strings"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

// Point on the sheet in millimetres, from the lower left corner.
type Point struct{ X, Y float64 }

// Weight of a line in millimetres (ISO 128).
type Weight float64

// Weights in use.
const (
	Thin  Weight = 0.18
	Broad Weight = 0.35
	Thick Weight = 0.7
)

// Line on the sheet.
type Line struct {
	Points []Point
	Closed bool
	Weight Weight
	Dashed bool
	Layer  string
}

// Text on the sheet; At is the left end of its base line, or its middle.
type Text struct {
	Value    string
	At       Point
	HeightMM float64
	Degrees  float64
	Centred  bool
	Layer    string
}

// Item is a line or a text.
type Item struct {
	Line *Line
	Text *Text
}

// Sheet is a drawing ready to be written.
type Sheet struct {
	WidthMM, HeightMM float64
	// Scale is the number n of 1:n.
	Scale int
	// Items in the order of drawing: later ones lie on earlier ones.
	Items []Item
	// Grouped says that beams are labelled in groups, because single labels
	// could not be read at this scale.
	Grouped bool

	// origin of the floor lies at offset on the paper.
	origin geometry.Point
	offset Point
}

// Options of a drawing.
type Options struct {
	// Sheet is "A3" or "A1", landscape.
	Sheet string
	// Revision and Date for the title block; empty leaves the field empty.
	Revision, Date string
	// NorthDegrees is the direction of north, counted from the right against
	// the clock; nil when it is not known.
	NorthDegrees *float64
}

// Layers of the drawing.
const (
	layerFrame   = "SHEET"
	layerWalls   = "SUPPORTS"
	layerBeams   = "BEAMS"
	layerMarks   = "MARKS"
	layerBlocks  = "BLOCKS"
	layerOpening = "OPENINGS"
	layerOrder   = "LAYING_ORDER"
	layerSizes   = "DIMENSIONS"
	layerRefused = "NOT_LAID"
)

// Scales of ISO 5455 for drawings smaller than the building.
var scales = []int{20, 50, 100, 200, 500, 1000, 2000}

const (
	margin   = 10.0
	bind     = 20.0
	bandMM   = 52.0
	titleMM  = 180.0
	smallest = 2.5
	labelMM  = 2.5
	orderMM  = 5.0
)

// New draws a plan.
func New(plan design.Plan, o Options) (*Sheet, error) {
	s := &Sheet{WidthMM: 420, HeightMM: 297}
	switch o.Sheet {
	case "", "A3":
	case "A1":
		s.WidthMM, s.HeightMM = 841, 594
	default:
		return nil, fmt.Errorf("sheet is %q; allowed: A3, A1", o.Sheet)
	}
	low, high, ok := bounds(plan)
	if !ok {
		return nil, fmt.Errorf("the floor has no room to be drawn")
	}
	d := &draughtsman{sheet: s, plan: plan, options: o}
	d.fit(low, high)
	d.frame()
	for _, r := range plan.Rooms {
		d.room(r)
	}
	for _, r := range plan.Rooms {
		if r.Refused == nil {
			d.caption(r)
		}
	}
	d.band()
	return s, nil
}

func bounds(plan design.Plan) (low, high geometry.Point, ok bool) {
	low, high = geometry.Point{X: math.Inf(1), Y: math.Inf(1)}, geometry.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, r := range plan.Rooms {
		l, h := r.Room.Shape.Bounds()
		low = geometry.Point{X: math.Min(low.X, l.X), Y: math.Min(low.Y, l.Y)}
		high = geometry.Point{X: math.Max(high.X, h.X), Y: math.Max(high.Y, h.Y)}
		ok = true
	}
	return low, high, ok
}

// draughtsman draws one sheet.
type draughtsman struct {
	sheet   *Sheet
	plan    design.Plan
	options Options
}

// fit chooses the largest scale at which the floor fits and puts it in the
// middle of its field.
func (d *draughtsman) fit(low, high geometry.Point) {
	const wall = 600 // room for bearings and dimensions around the rooms
	width, height := d.sheet.WidthMM-bind-margin-8, d.sheet.HeightMM-2*margin-bandMM-8
	for _, n := range scales {
		d.sheet.Scale = n
		if (high.X-low.X+2*wall)/float64(n) <= width && (high.Y-low.Y+2*wall)/float64(n) <= height {
			break
		}
	}
	n := float64(d.sheet.Scale)
	d.sheet.origin = geometry.Point{X: (low.X + high.X) / 2, Y: (low.Y + high.Y) / 2}
	d.sheet.offset = Point{bind + (d.sheet.WidthMM-bind-margin)/2, margin + bandMM + (d.sheet.HeightMM-2*margin-bandMM)/2}
	d.sheet.Grouped = 450/n < 4.4
}

// paper turns a point of the floor into one of the sheet.
func (d *draughtsman) paper(p geometry.Point) Point {
	n := float64(d.sheet.Scale)
	return Point{d.sheet.offset.X + (p.X-d.sheet.origin.X)/n, d.sheet.offset.Y + (p.Y-d.sheet.origin.Y)/n}
}

func (d *draughtsman) ring(points []geometry.Point, w Weight, dashed bool, layer string) {
	l := Line{Closed: true, Weight: w, Dashed: dashed, Layer: layer}
	for _, p := range points {
		l.Points = append(l.Points, d.paper(p))
	}
	d.add(l)
}

func (d *draughtsman) add(l Line) { d.sheet.Items = append(d.sheet.Items, Item{Line: &l}) }

func (d *draughtsman) line(a, b Point, w Weight, dashed bool, layer string) {
	d.add(Line{Points: []Point{a, b}, Weight: w, Dashed: dashed, Layer: layer})
}

func (d *draughtsman) text(value string, at Point, height, degrees float64, centred bool, layer string) {
	d.sheet.Items = append(d.sheet.Items, Item{Text: &Text{Value: value, At: at, HeightMM: math.Max(height, smallest), Degrees: upright(degrees), Centred: centred, Layer: layer}})
}

// upright turns a direction so that text along it is not upside down.
func upright(degrees float64) float64 {
	a := math.Mod(degrees+360, 180)
	if a > 91 {
		a -= 180
	}
	return a
}

// wrapTo breaks a text at spaces to lines of a width.
func wrapTo(s string, height, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && textWidth(line+" "+word, height) > width {
			lines = append(lines, line)
			line = word
			continue
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(lines, line)
}

func (d *draughtsman) frame() {
	s := d.sheet
	box := func(x0, y0, x1, y1 float64, w Weight) {
		d.add(Line{Points: []Point{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, Closed: true, Weight: w, Layer: layerFrame})
	}
	box(bind, margin, s.WidthMM-margin, s.HeightMM-margin, Thick)
	d.line(Point{bind, margin + bandMM}, Point{s.WidthMM - margin, margin + bandMM}, Broad, false, layerFrame)
	d.line(Point{s.WidthMM - margin - titleMM, margin}, Point{s.WidthMM - margin - titleMM, margin + bandMM}, Broad, false, layerFrame)
}
