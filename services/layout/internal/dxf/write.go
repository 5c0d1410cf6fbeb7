package dxf

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"
)

// Written is what is written: straight paths and texts on layers, in
// millimetres.
type Written struct {
	Paths []Path
	Texts []WrittenText
}

// WrittenText is a text with its size and direction.
type WrittenText struct {
	Text
	Height, Degrees float64
	Centred         bool
}

// Write writes an ASCII file of the oldest form that all programs read (R12):
// header with the unit, table of layers, polylines and texts. Texts that are
// not ASCII are written with \U+XXXX escapes.
func Write(w io.Writer, d Written) error {
	b := bufio.NewWriter(w)
	pair := func(code int, value any) { fmt.Fprintf(b, "%3d\n%v\n", code, value) }
	number := func(code int, v float64) {
		if v == 0 {
			v = 0 // no minus sign
		}
		pair(code, fmt.Sprintf("%.4f", v))
	}
	low, high := d.bounds()
	pair(0, "SECTION")
	pair(2, "HEADER")
	pair(9, "$ACADVER")
	pair(1, "AC1009")
	pair(9, "$INSUNITS")
	pair(70, 4)
	pair(9, "$EXTMIN")
	number(10, low.X)
	number(20, low.Y)
	pair(9, "$EXTMAX")
	number(10, high.X)
	number(20, high.Y)
	pair(0, "ENDSEC")
	writeLayers(pair, d.layers())
	pair(0, "SECTION")
	pair(2, "ENTITIES")
	for _, p := range d.Paths {
		pair(0, "POLYLINE")
		pair(8, layerName(p.Layer))
		pair(66, 1)
		if p.Closed {
			pair(70, 1)
		} else {
			pair(70, 0)
		}
		for _, q := range p.Points {
			pair(0, "VERTEX")
			pair(8, layerName(p.Layer))
			number(10, q.X)
			number(20, q.Y)
		}
		pair(0, "SEQEND")
	}
	for _, t := range d.Texts {
		pair(0, "TEXT")
		pair(8, layerName(t.Layer))
		number(10, t.At.X)
		number(20, t.At.Y)
		number(40, t.Height)
		pair(1, escaped(t.Value))
		number(50, t.Degrees)
		if t.Centred {
			pair(72, 1)
			number(11, t.At.X)
			number(21, t.At.Y)
		}
	}
	pair(0, "ENDSEC")
	pair(0, "EOF")
	return b.Flush()
}

func writeLayers(pair func(int, any), layers []string) {
	pair(0, "SECTION")
	pair(2, "TABLES")
	pair(0, "TABLE")
	pair(2, "LAYER")
	pair(70, len(layers))
	for _, l := range layers {
		pair(0, "LAYER")
		pair(2, layerName(l))
		pair(70, 0)
		pair(62, 7)
		pair(6, "CONTINUOUS")
	}
	pair(0, "ENDTAB")
	pair(0, "ENDSEC")
}

func (d Written) bounds() (low, high Point) {
	low, high = Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	for _, p := range d.Paths {
		for _, q := range p.Points {
			low, high = Point{math.Min(low.X, q.X), math.Min(low.Y, q.Y)}, Point{math.Max(high.X, q.X), math.Max(high.Y, q.Y)}
		}
	}
	if len(d.Paths) == 0 {
		return Point{}, Point{}
	}
	return low, high
}

func (d Written) layers() []string {
	var names []string
	seen := map[string]bool{}
	add := func(l string) {
		if !seen[l] {
			seen[l] = true
			names = append(names, l)
		}
	}
	for _, p := range d.Paths {
		add(p.Layer)
	}
	for _, t := range d.Texts {
		add(t.Layer)
	}
	return names
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

func escaped(s string) string {
	var b strings.Builder
	for _, r := range s {
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
