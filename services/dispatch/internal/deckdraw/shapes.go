package deckdraw

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// Drawing is a picture made of few kinds of shapes, in millimetres of the
// paper from the upper left corner. It needs neither colours nor patterns of
// whoever shows it: it can be read in black and white.
type Drawing struct {
	WidthMM, HeightMM float64
	// Title says in words what is drawn, for those who cannot see it.
	Title  string
	Shapes []Shape
}

// Shape is one of a line, a rectangle, a circle or a text.
type Shape struct {
	Kind ShapeKind
	// XMM, YMM is the start of a line, the upper left corner of a rectangle,
	// the centre of a circle, the point on the base line that a text hangs on.
	XMM, YMM float64
	// X2MM, Y2MM is the end of a line; its width and height are a rectangle's.
	X2MM, Y2MM float64
	// RadiusMM is of a circle, WeightMM the width of the pen; 0 draws no edge.
	RadiusMM, WeightMM float64
	Fill               Fill
	// Value, SizeMM, Anchor and Bold are of a text; SizeMM is that of its font.
	Value  string
	SizeMM float64
	Anchor Anchor
	Bold   bool
}

// ShapeKind tells the shapes apart.
type ShapeKind int

// The kinds of shapes.
const (
	Line ShapeKind = iota + 1
	Rectangle
	Circle
	Text
)

// Fill of a rectangle or a circle.
type Fill int

// The fills, from none to the ink's.
const (
	Clear Fill = iota
	Paper
	Pale
	Ink
)

// Anchor says which point of a text stands where it is put.
type Anchor int

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// letterWidth is what a letter takes on average, as a part of the font's size;
// on the safe side for figures and short words.
const letterWidth = 0.58

// TextWidthMM is about what a text takes.
func TextWidthMM(value string, sizeMM float64) float64 {
	return float64(len([]rune(value))) * letterWidth * sizeMM
}

// svgFills are the fills on a screen.
var svgFills = map[Fill]string{Clear: "none", Paper: "#ffffff", Pale: "#e9e9e9", Ink: "#111111"}

var svgAnchors = map[Anchor]string{Start: "start", Middle: "middle", End: "end"}

// SVG returns the drawing as one element that can stand in a page or in a file
// of its own. It holds no style sheet and no script.
func (d Drawing) SVG() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 %s %s" width="100%%" font-family="sans-serif">`,
		number(d.WidthMM), number(d.HeightMM))
	fmt.Fprintf(&b, "<title>%s</title>\n", html.EscapeString(d.Title))
	for _, s := range d.Shapes {
		s.svg(&b)
	}
	b.WriteString("</svg>\n")
	return []byte(b.String())
}

func (s Shape) svg(b *strings.Builder) {
	pen := `stroke="none"`
	if s.WeightMM > 0 {
		pen = fmt.Sprintf(`stroke="#111111" stroke-width="%s"`, number(s.WeightMM))
	}
	switch s.Kind {
	case Line:
		fmt.Fprintf(b, `<path d="M%s %sL%s %s" %s fill="none"/>`, number(s.XMM), number(s.YMM), number(s.X2MM), number(s.Y2MM), pen)
	case Rectangle:
		fmt.Fprintf(b, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s" %s/>`,
			number(s.XMM), number(s.YMM), number(s.X2MM), number(s.Y2MM), svgFills[s.Fill], pen)
	case Circle:
		fmt.Fprintf(b, `<circle cx="%s" cy="%s" r="%s" fill="%s" %s/>`, number(s.XMM), number(s.YMM), number(s.RadiusMM), svgFills[s.Fill], pen)
	case Text:
		weight := ""
		if s.Bold {
			weight = ` font-weight="bold"`
		}
		fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s" text-anchor="%s" fill="#111111"%s>%s</text>`,
			number(s.XMM), number(s.YMM), number(s.SizeMM), svgAnchors[s.Anchor], weight, html.EscapeString(s.Value))
	}
	b.WriteByte('\n')
}

// number writes hundredths of a millimetre, and no more places than needed.
func number(v float64) string {
	text := strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.2f", v), "0"), ".")
	if text == "-0" {
		return "0"
	}
	return text
}

// hatch returns the lines of a hatching within a rectangle: at 45 degrees
// rising or falling, or upright, so far apart.
func hatch(x, y, w, h float64, style hatching, apart float64) []Shape {
	var out []Shape
	line := func(x1, y1, x2, y2 float64) {
		out = append(out, Shape{Kind: Line, XMM: x1, YMM: y1, X2MM: x2, Y2MM: y2, WeightMM: hairMM})
	}
	if style == upright || style == squares {
		for at := apart; at < w; at += apart {
			line(x+at, y, x+at, y+h)
		}
	}
	if style == squares {
		for at := apart; at < h; at += apart {
			line(x, y+at, x+w, y+at)
		}
	}
	if style == rising || style == crossed {
		for at := apart; at < w+h; at += apart {
			line(x+math.Max(0, at-h), y+math.Min(at, h), x+math.Min(at, w), y+math.Max(0, at-w))
		}
	}
	if style == falling || style == crossed {
		for at := apart; at < w+h; at += apart {
			line(x+w-math.Max(0, at-h), y+math.Min(at, h), x+w-math.Min(at, w), y+math.Max(0, at-w))
		}
	}
	return out
}

// hatching tells the drops of a run apart without colour.
type hatching int

const (
	plain hatching = iota
	rising
	falling
	upright
	crossed
	squares
)

// hatchingOf returns the hatching of a drop, from 1. More drops than hatchings
// begin anew: the number on each pile tells them apart as well.
func hatchingOf(drop int) hatching {
	return hatching((max(drop, 1) - 1) % int(squares+1))
}
