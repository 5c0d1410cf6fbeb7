package dxf

import (
	"fmt"
	"math"
	"strings"

	"golang.org/x/text/encoding"
)

// matrix is an affine map: x' = a x + c y + e, y' = b x + d y + f.
type matrix struct{ a, b, c, d, e, f float64 }

var identity = matrix{a: 1, d: 1}

func (m matrix) apply(p Point) Point {
	return Point{m.a*p.X + m.c*p.Y + m.e, m.b*p.X + m.d*p.Y + m.f}
}

// then returns the map that applies n first and m after it.
func (m matrix) after(n matrix) matrix {
	return matrix{
		a: m.a*n.a + m.c*n.b, b: m.b*n.a + m.d*n.b,
		c: m.a*n.c + m.c*n.d, d: m.b*n.c + m.d*n.d,
		e: m.a*n.e + m.c*n.f + m.e, f: m.b*n.e + m.d*n.f + m.f,
	}
}

// flattener expands inserts and turns curves into straight pieces.
type flattener struct {
	drawing *Drawing
	blocks  map[string]block
	decoder *encoding.Decoder
	points  int
}

// arcStep is the largest angle between two points of a curve. It does not
// depend on the unit, which may be wrong in the file.
const arcStep = math.Pi / 36

// entities flattens a list under a map; parent is the layer that layer 0
// stands for inside a block.
func (f *flattener) entities(list []entity, m matrix, parent string, depth int) error {
	if depth > maxDepth {
		return nil
	}
	for _, e := range list {
		layer := text(f.decoder, e.str(8))
		if layer == "0" && parent != "" || layer == "" {
			layer = parent
		}
		if layer == "" {
			layer = "0"
		}
		if e.int(67, 0) == 1 && depth == 0 {
			continue // paper space
		}
		if err := e.check(); err != nil {
			f.bad(e, layer, err.Error())
			continue
		}
		if err := f.one(e, m, layer, depth); err != nil {
			return err
		}
	}
	return nil
}

func (f *flattener) bad(e entity, layer, problem string) {
	const most = 200
	if len(f.drawing.Bad) < most {
		f.drawing.Bad = append(f.drawing.Bad, BadEntity{e.kind, e.str(5), layer, e.line, problem})
	}
}

func (f *flattener) one(e entity, m matrix, layer string, depth int) error {
	local, flat := e.plane()
	if !flat {
		f.bad(e, layer, "does not lie in the plane of the drawing")
		return nil
	}
	m = m.after(local)
	switch e.kind {
	case "INSERT":
		return f.insert(e, m, layer, depth)
	case "TEXT", "MTEXT", "ATTRIB":
		f.text(e, m, layer)
		return nil
	}
	points, closed, err := e.curve()
	if err != nil {
		f.bad(e, layer, err.Error())
		return nil
	}
	if points == nil {
		f.drawing.Skipped[e.kind]++
		return nil
	}
	f.points += len(points)
	if f.points > maxPoints {
		return ErrTooLarge
	}
	p := Path{Kind: e.kind, Handle: e.str(5), Line: e.line, Layer: layer, Closed: closed, Points: make([]Point, len(points))}
	for i, q := range points {
		p.Points[i] = m.apply(q)
		if s := p.Points[i].X + p.Points[i].Y; math.IsNaN(s) || math.IsInf(s, 0) {
			f.bad(e, layer, "has a coordinate that is no number")
			return nil
		}
	}
	f.drawing.Paths = append(f.drawing.Paths, p)
	return nil
}

// plane returns the map from the entity's own coordinates (its extrusion
// direction) to the drawing's; false when it does not lie in the plane.
func (e entity) plane() (matrix, bool) {
	switch e.kind {
	case "LINE", "SPLINE", "MTEXT", "ELLIPSE":
		return identity, true // given in the drawing's own coordinates
	}
	z := e.float(230, 1)
	if math.Abs(e.float(210, 0)) > 1e-6 || math.Abs(e.float(220, 0)) > 1e-6 {
		return identity, false
	}
	if z < 0 {
		return matrix{a: -1, d: 1}, true
	}
	return identity, true
}

func (f *flattener) insert(e entity, m matrix, layer string, depth int) error {
	b, ok := f.blocks[strings.ToUpper(e.str(2))]
	if !ok {
		f.bad(e, layer, fmt.Sprintf("inserts the block %.60q, which the drawing does not have", text(f.decoder, e.str(2))))
		return nil
	}
	at, sx, sy := e.point(10), e.float(41, 1), e.float(42, 1)
	sin, cos := math.Sincos(e.float(50, 0) * math.Pi / 180)
	columns, rows := max(1, e.int(70, 1)), max(1, e.int(71, 1))
	if columns*rows > 10000 || columns > 10000 || rows > 10000 {
		return ErrTooLarge
	}
	for r := range rows {
		for c := range columns {
			dx, dy := float64(c)*e.float(44, 0), float64(r)*e.float(45, 0)
			place := matrix{a: cos * sx, b: sin * sx, c: -sin * sy, d: cos * sy,
				e: at.X + cos*dx - sin*dy, f: at.Y + sin*dx + cos*dy}
			place = place.after(matrix{a: 1, d: 1, e: -b.base.X, f: -b.base.Y})
			f.points++ // an insert of nothing costs time as well
			if f.points > maxPoints {
				return ErrTooLarge
			}
			if err := f.entities(b.entities, m.after(place), layer, depth+1); err != nil {
				return err
			}
		}
	}
	return f.entities(e.children, m, layer, depth+1)
}

func (f *flattener) text(e entity, m matrix, layer string) {
	value := e.str(1)
	if e.kind == "MTEXT" {
		var b strings.Builder
		for _, p := range e.pairs {
			if p.code == 3 {
				b.WriteString(p.value)
			}
		}
		value = plain(b.String() + value)
	}
	value = strings.TrimSpace(text(f.decoder, value))
	if value == "" {
		return
	}
	at := e.point(10)
	if _, aligned := e.first(11); aligned && e.kind != "MTEXT" {
		const between, fitted = 3, 5
		switch h := e.int(72, 0); {
		case h == between || h == fitted: // drawn from one point to the other
			end := e.point(11)
			at = Point{(at.X + end.X) / 2, (at.Y + end.Y) / 2}
		case h != 0 || e.int(73, 0) != 0:
			at = e.point(11)
		}
	}
	f.drawing.Texts = append(f.drawing.Texts, Text{Value: value, Layer: layer, At: m.apply(at)})
}

// plain drops the formatting codes of a multi-line text.
func plain(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '{' || s[i] == '}':
		case s[i] != '\\' || i+1 == len(s):
			b.WriteByte(s[i])
		default:
			i++
			switch s[i] {
			case 'P', '~':
				b.WriteByte(' ')
			case '\\', '{', '}':
				b.WriteByte(s[i])
			case 'U':
				b.WriteString(`\U`)
			case 'L', 'l', 'O', 'o', 'K', 'k':
			default: // a code with arguments up to a semicolon
				if end := strings.IndexByte(s[i:], ';'); end >= 0 {
					i += end
				}
			}
		}
	}
	return b.String()
}
