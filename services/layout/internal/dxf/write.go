package dxf

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// Written is what is written, in millimetres: strokes, rounds and texts on
// layers. Each of its parts is read again by Read as it stands here.
type Written struct {
	// Layers that are not written as they come: of another line type, or
	// switched off.
	Layers []Layer
	// Types of lines that layers and strokes name, beside CONTINUOUS.
	Types   []LineType
	Strokes []Stroke
	Rounds  []Round
	Texts   []WrittenText
}

// Layer of a drawing. One that is off is in the file, and not seen.
type Layer struct {
	Name, Type string
	Off        bool
}

// LineType is a pattern of dashes and gaps in turn, in millimetres; a dash of 0
// is a dot.
type LineType struct {
	Name, Shown string
	PartsMM     []float64
}

// Stroke is a straight path. One of two points becomes a LINE where it has no
// width, any other a POLYLINE.
type Stroke struct {
	Layer  string
	Points []Point
	Closed bool
	// Type of line; empty is that of the layer.
	Type string
	// Width as drawn; 0 is the thinnest that can be shown.
	Width float64
}

// Round is a circle, or an arc against the clock where the two angles differ.
type Round struct {
	Layer       string
	Centre      Point
	Radius      float64
	FromDegrees float64
	ToDegrees   float64
}

// WrittenText is a text from the left end of its base line, with its size and
// direction. Where a width is given it is fitted to it, whatever lettering the
// reading program has.
type WrittenText struct {
	Text
	Height, Degrees, Width float64
}

// Write writes an ASCII file of the oldest form that all programs read (R12):
// header with the unit, tables of line types and layers, entities. Texts that
// are not ASCII are written with \U+XXXX escapes.
func Write(w io.Writer, d Written) error {
	p := &pen{out: bufio.NewWriter(w)}
	p.header(d.bounds())
	p.tables(d.Types, d.layers())
	p.pair(0, "SECTION")
	p.pair(2, "ENTITIES")
	for _, s := range d.Strokes {
		p.stroke(s)
	}
	for _, r := range d.Rounds {
		p.round(r)
	}
	for _, t := range d.Texts {
		p.text(t)
	}
	p.pair(0, "ENDSEC")
	p.pair(0, "EOF")
	return p.out.Flush()
}

// pen writes pairs of code and value. bufio keeps the first error for Flush.
type pen struct{ out *bufio.Writer }

func (p *pen) pair(code int, value any) { fmt.Fprintf(p.out, "%3d\n%v\n", code, value) }

func (p *pen) number(code int, v float64) {
	const digits = 1e4
	if v = math.Round(v*digits) / digits; v == 0 {
		v = 0 // no minus sign
	}
	p.pair(code, fmt.Sprintf("%.4f", v))
}

// point writes the three coordinates that old programs ask for.
func (p *pen) point(code int, q Point) {
	p.number(code, q.X)
	p.number(code+10, q.Y)
	p.number(code+20, 0)
}

func (p *pen) header(low, high Point) {
	const millimetres = 4
	p.pair(0, "SECTION")
	p.pair(2, "HEADER")
	p.pair(9, "$ACADVER")
	p.pair(1, "AC1009")
	p.pair(9, "$INSUNITS")
	p.pair(70, millimetres)
	p.pair(9, "$EXTMIN")
	p.point(10, low)
	p.pair(9, "$EXTMAX")
	p.point(10, high)
	p.pair(0, "ENDSEC")
}

const continuous = "CONTINUOUS"

func (p *pen) tables(types []LineType, layers []Layer) {
	p.pair(0, "SECTION")
	p.pair(2, "TABLES")
	p.table("LTYPE", len(types)+1)
	p.lineType(LineType{Name: continuous, Shown: "Solid line"})
	for _, t := range types {
		p.lineType(t)
	}
	p.pair(0, "ENDTAB")
	p.table("LAYER", len(layers))
	for _, l := range layers {
		p.layer(l)
	}
	p.pair(0, "ENDTAB")
	p.table("STYLE", 1)
	p.style()
	p.pair(0, "ENDTAB")
	p.pair(0, "ENDSEC")
}

func (p *pen) table(name string, entries int) {
	p.pair(0, "TABLE")
	p.pair(2, name)
	p.pair(70, entries)
}

// layer writes one of the table; a colour below zero switches it off.
func (p *pen) layer(l Layer) {
	const blackOrWhite = 7
	p.pair(0, "LAYER")
	p.pair(2, layerName(l.Name))
	p.pair(70, 0)
	if l.Off {
		p.pair(62, -blackOrWhite)
	} else {
		p.pair(62, blackOrWhite)
	}
	if l.Type == "" {
		l.Type = continuous
	}
	p.pair(6, layerName(l.Type))
}

// style of the lettering: the one that every program has.
func (p *pen) style() {
	p.pair(0, "STYLE")
	p.pair(2, "STANDARD")
	p.pair(70, 0)
	p.number(40, 0)
	p.number(41, 1)
	p.number(50, 0)
	p.pair(71, 0)
	p.number(42, 2.5)
	p.pair(3, "txt")
	p.pair(4, "")
}

// lineType writes one of the table: a dash is positive, a gap negative.
func (p *pen) lineType(t LineType) {
	const alignment = 65
	p.pair(0, "LTYPE")
	p.pair(2, layerName(t.Name))
	p.pair(70, 0)
	p.pair(3, escaped(t.Shown))
	p.pair(72, alignment)
	p.pair(73, len(t.PartsMM))
	whole := 0.0
	for _, l := range t.PartsMM {
		whole += l
	}
	p.number(40, whole)
	for i, l := range t.PartsMM {
		if i%2 == 1 {
			l = -l
		}
		p.number(49, l)
	}
}

func (p *pen) begin(kind, layer, lineType string) {
	p.pair(0, kind)
	p.pair(8, layerName(layer))
	if lineType != "" {
		p.pair(6, layerName(lineType))
	}
}

func (p *pen) stroke(s Stroke) {
	if len(s.Points) == 2 && !s.Closed && s.Width == 0 {
		p.begin("LINE", s.Layer, s.Type)
		p.point(10, s.Points[0])
		p.point(11, s.Points[1])
		return
	}
	p.begin("POLYLINE", s.Layer, s.Type)
	p.pair(66, 1)
	p.point(10, Point{})
	if s.Closed {
		p.pair(70, 1)
	} else {
		p.pair(70, 0)
	}
	if s.Width > 0 {
		p.number(40, s.Width)
		p.number(41, s.Width)
	}
	for _, q := range s.Points {
		p.begin("VERTEX", s.Layer, "")
		p.point(10, q)
	}
	p.begin("SEQEND", s.Layer, "")
}

func (p *pen) round(r Round) {
	kind := "ARC"
	if r.FromDegrees == r.ToDegrees {
		kind = "CIRCLE"
	}
	p.begin(kind, r.Layer, "")
	p.point(10, r.Centre)
	p.number(40, r.Radius)
	if kind == "ARC" {
		p.number(50, r.FromDegrees)
		p.number(51, r.ToDegrees)
	}
}

func (p *pen) text(t WrittenText) {
	p.begin("TEXT", t.Layer, "")
	p.point(10, t.At)
	p.number(40, t.Height)
	p.pair(1, escaped(t.Value))
	p.number(50, t.Degrees)
	if t.Width > 0 {
		const fitted = 5
		sin, cos := math.Sincos(t.Degrees * math.Pi / 180)
		p.pair(72, fitted)
		p.point(11, Point{t.At.X + t.Width*cos, t.At.Y + t.Width*sin})
	}
}

func (d Written) bounds() (low, high Point) {
	low, high = Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	take := func(q Point, r float64) {
		low = Point{math.Min(low.X, q.X-r), math.Min(low.Y, q.Y-r)}
		high = Point{math.Max(high.X, q.X+r), math.Max(high.Y, q.Y+r)}
	}
	for _, s := range d.Strokes {
		for _, q := range s.Points {
			take(q, 0)
		}
	}
	for _, r := range d.Rounds {
		take(r.Centre, r.Radius)
	}
	for _, t := range d.Texts {
		take(t.At, 0)
	}
	if low.X > high.X {
		return Point{}, Point{}
	}
	return low, high
}

// layers are those that are named and those that are used.
func (d Written) layers() []Layer {
	layers := slices.Clone(d.Layers)
	seen := map[string]bool{}
	for _, l := range layers {
		seen[layerName(l.Name)] = true
	}
	add := func(l string) {
		if l = layerName(l); !seen[l] {
			seen[l] = true
			layers = append(layers, Layer{Name: l})
		}
	}
	for _, s := range d.Strokes {
		add(s.Layer)
	}
	for _, r := range d.Rounds {
		add(r.Layer)
	}
	for _, t := range d.Texts {
		add(t.Layer)
	}
	return layers
}

// layerName keeps to what old programs take: letters, digits, $, - and _.
func layerName(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '$' || r == '-' || r == '_':
			return r
		case r >= 'a' && r <= 'z':
			return r - 'a' + 'A'
		default:
			return '_'
		}
	}, s)
}

// escaped writes a text in ASCII. What old programs take for a control code
// of their own, two percent signs, is parted.
func escaped(s string) string {
	var b strings.Builder
	for _, r := range strings.ReplaceAll(s, "%%", "% %") {
		switch {
		case r < ' ':
			b.WriteByte(' ')
		case r < 0x7f:
			b.WriteRune(r)
		case r <= 0xffff:
			fmt.Fprintf(&b, `\U+%04X`, r)
		default:
			b.WriteByte('?')
		}
	}
	return b.String()
}
