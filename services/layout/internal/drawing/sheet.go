// Package drawing draws laying plans: once, as lists of lines, rounds and texts
// on sheets of paper, which are then written as PDF, SVG, PNG or DXF.
//
// Line types and weights follow ISO 128, lettering ISO 3098 (2.5 mm, and 1.8 mm
// where a mark finds no place else), scales ISO 5455 and the fields of the title block ISO 7200.
// Everything can be read in print without colour.
//
// A floor is drawn on one sheet where it can be read there. A larger one gets
// a key sheet and then a sheet for each group of neighbouring rooms, so that
// every beam's mark is legible somewhere: no scale is ever made so small that
// marks are lost without a word. The DXF file, which has no edge of paper,
// shows the whole floor once, in its own coordinates.
//
// Nothing is drawn over a text, and no two texts touch: whatever finds no place
// beside its beam stands in the table of rooms instead.
package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

// Point on the sheet in millimetres, from the lower left corner.
type Point = geometry.Point

// Weight of a line in millimetres (ISO 128); 0 draws no line.
type Weight float64

// Weights in use.
const (
	Thin  Weight = 0.18
	Broad Weight = 0.35
	Bold  Weight = 0.5
	Thick Weight = 0.7
)

// Kind of a line (ISO 128).
type Kind uint8

// Kinds in use: continuous; dashed, for what stands on the floor or is no
// wall; long dashes with two dots, for what belongs to another sheet.
const (
	Solid Kind = iota
	Dashed
	TwoDots
)

// parts of a kind's pattern, stroke and gap in turn, in weights of the line
// (ISO 128-20, Table 1).
func (k Kind) parts() []float64 {
	return map[Kind][]float64{Dashed: {12, 3}, TwoDots: {24, 3, 0.5, 3, 0.5, 3}}[k]
}

// Shade of what a closed line or a round encloses.
type Shade uint8

// Shades in use: nothing, the paper's white that hides what lies under it, two
// greys, and black.
const (
	Clear Shade = iota
	Paper
	Pale
	Dark
	Ink
)

// Line on the sheet.
type Line struct {
	Points []Point
	Closed bool
	Weight Weight
	Kind   Kind
	Fill   Shade
	Layer  string
}

// Round is a circle, or an arc against the clock where the angles differ.
type Round struct {
	Centre                 Point
	Radius                 float64
	FromDegrees, ToDegrees float64
	Weight                 Weight
	Fill                   Shade
	Layer                  string
}

// Text on the sheet; At is the left end of its base line, or its middle.
type Text struct {
	Value    string
	At       Point
	HeightMM float64
	Degrees  float64
	Centred  bool
	Bold     bool
	Layer    string
}

// Item is a line, a round or a text.
type Item struct {
	Line  *Line
	Round *Round
	Text  *Text
}

// Sheet is a drawing ready to be written: one page, or several.
type Sheet struct {
	WidthMM, HeightMM float64
	Pages             []*Page
	// whole is the floor on one page, as large as that has to be.
	whole *Page
	rooms []design.RoomPlan
}

// Page is one sheet of paper.
type Page struct {
	Kind PageKind
	// WidthMM and HeightMM of the paper.
	WidthMM, HeightMM float64
	// Scale is the number n of 1:n.
	Scale int
	// Items in the order of drawing: later ones lie on earlier ones.
	Items []Item
	// Rooms that are drawn in full here, by their IDs.
	Rooms []string
	// Grouped are rooms whose marks are written for groups of equal beams,
	// Unmarked those of which some marks stand in the table of rooms only.
	Grouped, Unmarked []string

	// origin of the floor lies at offset on the paper.
	origin, offset Point
}

// PageKind says what a page shows.
type PageKind uint8

// Kinds of pages.
const (
	PlanPage PageKind = iota + 1
	KeyPage
	TablePage
)

// Options of a drawing.
type Options struct {
	// Sheet is "A3" or "A1", landscape; empty is A3.
	Sheet string
	// Revision, Date of issue, Owner, DrawnBy and ApprovedBy for the title
	// block; what is empty is left to be filled in by hand.
	Revision, Date, Owner, DrawnBy, ApprovedBy string
	// Note stands before the caution: a sentence or two.
	Note string
	// NorthDegrees is the direction of north, counted from the right against
	// the clock; nil when it is not known.
	NorthDegrees *float64
}

// Layers of the drawing.
const (
	layerFrame      = "SHEET"
	layerTable      = "TABLE"
	layerKey        = "KEY"
	layerBeside     = "OTHER_SHEETS"
	layerWalls      = "SUPPORTS"
	layerPartitions = "PARTITIONS"
	layerNames      = "ROOMS"
	layerMarks      = "MARKS"
	layerBlocks     = "BLOCKS"
	layerOpening    = "OPENINGS"
	layerOrder      = "LAYING_ORDER"
	layerSizes      = "DIMENSIONS"
	layerRefused    = "NOT_LAID"
)

// layerBeams are the layers of beams by how many lie side by side.
var layerBeams = [3]string{"BEAMS", "BEAMS_DOUBLE", "BEAMS_TRIPLE"}

// Scales of ISO 5455 for drawings smaller than the building.
var scales = []int{20, 50, 100, 200, 500, 1000, 2000, 5000, 10000}

// legible are the smallest scales at which a floor is drawn, tried in turn
// until every beam has its mark on the drawing. At 1:100 rows half a metre
// apart are 5 mm apart on the paper.
var legible = []int{100, 50}

const (
	margin  = 10.0
	bind    = 20.0
	bandMM  = 56.0
	titleMM = 180.0
	tableMM = 100.0
	// smallMM is the smallest lettering, for marks that find no place else;
	// labelMM the usual one; tagMM that of names.
	smallMM = 1.8
	labelMM = 2.5
	tagMM   = 3.5
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
	b := &book{widthMM: s.WidthMM, heightMM: s.HeightMM, plan: plan, options: o}
	rooms := b.drawable()
	if len(rooms) == 0 {
		return nil, fmt.Errorf("the floor has no room to be drawn")
	}
	s.Pages = b.best(rooms)
	s.whole, s.rooms = s.Pages[0], plan.Rooms
	if len(s.Pages) > 1 {
		s.whole = b.endless(rooms, s.Pages)
	}
	return s, nil
}

// book is a drawing in the making, page by page.
type book struct {
	widthMM, heightMM float64
	plan              design.Plan
	options           Options
	// legible is the smallest scale allowed.
	legible int
	pages   []*Page
	// over are rooms whose rows found no place in the table of their page.
	over []entry
}

// best draws the rooms at the smallest scale at which every beam has its mark,
// or else at that at which the fewest rooms lack one.
func (b *book) best(rooms []int) []*Page {
	var pages []*Page
	fewest := len(rooms) + 1
	for _, n := range legible {
		try := &book{widthMM: b.widthMM, heightMM: b.heightMM, plan: b.plan, options: b.options, legible: n}
		try.bind(try.divide(rooms))
		unmarked, largest := 0, 0
		for _, p := range try.pages {
			unmarked += len(p.Unmarked)
			if p.Kind == PlanPage {
				largest = max(largest, p.Scale)
			}
		}
		if unmarked < fewest {
			pages, fewest = try.pages, unmarked
		}
		if fewest == 0 || largest < n {
			break
		}
	}
	return pages
}

// endless draws the floor once on one page as large as it needs to be, at the
// smallest scale of the pages.
func (b *book) endless(rooms []int, pages []*Page) *Page {
	one := &book{plan: b.plan, options: b.options}
	for _, p := range pages {
		if p.Kind == PlanPage {
			one.legible = max(one.legible, p.Scale)
		}
	}
	t := one.tile(rooms)
	t.scale = one.legible
	n := float64(t.scale)
	const air = 12
	one.widthMM = math.Max(420, bind+margin+tableMM+air+(t.high.X-t.low.X)/n)
	one.heightMM = math.Max(297, 2*margin+bandMM+math.Max(air+(t.high.Y-t.low.Y)/n, one.tableHeight(t)))
	one.bind([]tile{t})
	return one.pages[0]
}

// drawable are the rooms with an outline, by their place in the plan, in the
// order of laying.
func (b *book) drawable() []int {
	var rooms []int
	for i, r := range b.plan.Rooms {
		if len(r.Room.Shape.Outline) >= 3 {
			rooms = append(rooms, i)
		}
	}
	slices.SortStableFunc(rooms, func(i, j int) int { return cmp.Compare(b.order(i), b.order(j)) })
	return rooms
}

// order is a room's number in the crew's way; rooms that have none follow the
// plan.
func (b *book) order(room int) int {
	if n := b.plan.Rooms[room].Room.Order; n > 0 {
		return n
	}
	return room + 1
}

// bind draws the pages and then, as their number is known, their title blocks.
func (b *book) bind(tiles []tile) {
	if len(tiles) > 1 {
		b.key(tiles)
	}
	for i, t := range tiles {
		d := b.page(PlanPage, t)
		for k, other := range tiles {
			if k != i {
				d.beside(other, k+2)
			}
		}
		d.rooms(t.rooms)
		d.table(t)
	}
	b.continued()
	for i, p := range b.pages {
		d := &draughtsman{book: b, page: p}
		d.band(i+1, len(b.pages))
	}
}

// page begins a page that shows a tile in the middle of its field.
func (b *book) page(kind PageKind, t tile) *draughtsman {
	f := b.field()
	p := &Page{Kind: kind, WidthMM: b.widthMM, HeightMM: b.heightMM, Scale: t.scale, origin: middle(t.low, t.high), offset: middle(f.low, f.high)}
	b.pages = append(b.pages, p)
	return &draughtsman{book: b, page: p}
}

// field is where the floor is drawn: above the band, left of the table.
func (b *book) field() window {
	return window{Point{X: bind, Y: margin + bandMM}, Point{X: b.widthMM - margin - tableMM, Y: b.heightMM - margin}}
}

// window is an upright rectangle.
type window struct{ low, high Point }

func middle(a, b Point) Point { return Point{X: (a.X + b.X) / 2, Y: (a.Y + b.Y) / 2} }

// draughtsman draws one page.
type draughtsman struct {
	*book
	page *Page
}

// paper turns a point of the floor into one of the sheet.
func (d *draughtsman) paper(p geometry.Point) Point {
	n := float64(d.page.Scale)
	return Point{X: d.page.offset.X + (p.X-d.page.origin.X)/n, Y: d.page.offset.Y + (p.Y-d.page.origin.Y)/n}
}

func (d *draughtsman) papers(points []geometry.Point) []Point {
	out := make([]Point, len(points))
	for i, p := range points {
		out[i] = d.paper(p)
	}
	return out
}

func (d *draughtsman) add(l Line)    { d.page.Items = append(d.page.Items, Item{Line: &l}) }
func (d *draughtsman) round(r Round) { d.page.Items = append(d.page.Items, Item{Round: &r}) }

func (d *draughtsman) line(a, b Point, w Weight, k Kind, layer string) {
	d.add(Line{Points: []Point{a, b}, Weight: w, Kind: k, Layer: layer})
}

func (d *draughtsman) text(t Text) {
	t.HeightMM, t.Degrees = math.Max(t.HeightMM, smallMM), upright(t.Degrees)
	d.page.Items = append(d.page.Items, Item{Text: &t})
}

// plate writes a text on a cleared ground around a middle, so that no line
// runs through it.
func (d *draughtsman) plate(t Text, at Point) {
	ground := plateBox(t, at)
	d.add(Line{Points: ground[:], Closed: true, Fill: Paper, Layer: t.Layer})
	down := (t.HeightMM - below(t)) / 2
	sin, cos := math.Sincos(upright(t.Degrees) * math.Pi / 180)
	t.At, t.Centred = Point{X: at.X + sin*down, Y: at.Y - cos*down}, true
	d.text(t)
}

// plateBox is the ground that a plate clears.
func plateBox(t Text, at Point) geometry.Quad {
	return box(at, textWidth(t.Value, t.HeightMM, t.Bold)+1, t.HeightMM+below(t)+0.5, t.Degrees)
}

// below is how far a text reaches below its base line.
func below(t Text) float64 {
	if strings.ContainsAny(t.Value, "gjpqy,;()Q/") {
		return 0.25 * t.HeightMM
	}
	return 0
}

// box is a rectangle around a middle, turned.
func box(at Point, width, height, degrees float64) geometry.Quad {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	corner := func(x, y float64) Point { return Point{X: at.X + x*cos - y*sin, Y: at.Y + x*sin + y*cos} }
	return geometry.Quad{corner(-width/2, -height/2), corner(width/2, -height/2), corner(width/2, height/2), corner(-width/2, height/2)}
}

// upright turns a direction so that text along it is not upside down: it is
// read from below or from the right.
func upright(degrees float64) float64 {
	a := math.Mod(math.Mod(degrees, 180)+180, 180)
	if a > 91 {
		a -= 180
	}
	return a
}
