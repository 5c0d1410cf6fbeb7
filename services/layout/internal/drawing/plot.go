package drawing

import (
	"io"
	"math"
	"slices"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/dxf"
	"spanyard.example/services/layout/internal/geometry"
)

// Layers that only the DXF file has, switched off: rooms and beams as closed
// outlines, which the lines of the drawing are not where words stand on them.
const (
	layerRoomOutlines = "ROOM_OUTLINES"
	layerBeamOutlines = "BEAM_OUTLINES"
)

// typeNames are the kinds of lines in the file.
var typeNames = map[Kind]string{Dashed: "DASHED", TwoDots: "DIVIDE"}

// DXF writes the whole floor in millimetres of the building, in its own
// coordinates: what is measured in the file is the floor's own size. The file
// has no white ground to lay words on, so lines end where words begin.
func (s *Sheet) DXF(w io.Writer) error {
	n := float64(s.whole.Scale)
	d := dxf.Written{Layers: []dxf.Layer{{Name: layerRoomOutlines, Off: true}, {Name: layerBeamOutlines, Off: true},
		{Name: layerPartitions, Type: typeNames[Dashed]}, {Name: layerRefused, Type: typeNames[Dashed]}, {Name: layerBeside, Type: typeNames[TwoDots]}}}
	for _, k := range []Kind{Dashed, TwoDots} {
		t := dxf.LineType{Name: typeNames[k], Shown: map[Kind]string{Dashed: "__ __ __ __", TwoDots: "____ . . ____ . ."}[k]}
		for _, l := range k.parts() {
			t.PartsMM = append(t.PartsMM, l*float64(Broad)*n)
		}
		d.Types = append(d.Types, t)
	}
	p := plotter{page: s.whole}
	p.plot()
	for _, l := range p.lines {
		d.Strokes = append(d.Strokes, p.stroke(l))
	}
	for _, r := range p.rounds {
		d.Rounds = append(d.Rounds, dxf.Round{Layer: r.Layer, Centre: p.model(r.Centre), Radius: r.Radius * n})
	}
	for _, t := range p.texts {
		d.Texts = append(d.Texts, p.text(t))
	}
	d.Strokes = append(d.Strokes, outlines(s.rooms)...)
	return dxf.Write(w, d)
}

// outlines of rooms and beams, whole, in the floor's own coordinates.
func outlines(rooms []design.RoomPlan) []dxf.Stroke {
	var out []dxf.Stroke
	add := func(layer string, ring []Point) {
		s := dxf.Stroke{Layer: layer, Closed: true}
		for _, p := range ring {
			s.Points = append(s.Points, dxf.Point(p))
		}
		out = append(out, s)
	}
	for _, r := range rooms {
		add(layerRoomOutlines, r.Room.Shape.Outline)
		for _, b := range r.Beams {
			add(layerBeamOutlines, b.Quad[:])
		}
	}
	return out
}

// plotter turns what is painted, later things over earlier ones, into what can
// be seen of each thing.
type plotter struct {
	page   *Page
	lines  []Line
	rounds []Round
	texts  []Text
}

func (p *plotter) model(q Point) dxf.Point {
	n := float64(p.page.Scale)
	return dxf.Point{X: p.page.origin.X + (q.X-p.page.offset.X)*n, Y: p.page.origin.Y + (q.Y-p.page.offset.Y)*n}
}

func (p *plotter) stroke(l Line) dxf.Stroke {
	s := dxf.Stroke{Layer: l.Layer, Closed: l.Closed, Type: typeNames[l.Kind]}
	if l.Weight > Thin {
		s.Width = float64(l.Weight) * float64(p.page.Scale)
	}
	for _, q := range l.Points {
		s.Points = append(s.Points, p.model(q))
	}
	return s
}

func (p *plotter) text(t Text) dxf.WrittenText {
	n, width := float64(p.page.Scale), textWidth(t.Value, t.HeightMM, t.Bold)
	at := t.At
	if t.Centred {
		sin, cos := math.Sincos(t.Degrees * math.Pi / 180)
		at = Point{X: at.X - cos*width/2, Y: at.Y - sin*width/2}
	}
	return dxf.WrittenText{Text: dxf.Text{Value: t.Value, Layer: t.Layer, At: p.model(at)}, Height: t.HeightMM * n, Degrees: t.Degrees, Width: width * n}
}

func (p *plotter) plot() {
	for _, item := range p.page.Items {
		switch {
		case item.Text != nil:
			p.texts = append(p.texts, *item.Text)
		case item.Round != nil:
			if item.Round.Fill != Clear {
				p.cover(item.Round.ring())
			}
			p.rounds = append(p.rounds, *item.Round)
		default:
			if item.Line.Fill != Clear && item.Line.Closed {
				p.cover(item.Line.Points)
			}
			if item.Line.Weight > 0 || item.Line.Fill == Ink {
				p.lines = append(p.lines, *item.Line)
			}
		}
	}
}

// ring of a round, as a polygon.
func (r Round) ring() []Point {
	const corners = 24
	ring := make([]Point, corners)
	for i := range ring {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		ring[i] = Point{X: r.Centre.X + r.Radius*cos, Y: r.Centre.Y + r.Radius*sin}
	}
	return ring
}

// cover takes away what lies under a ring.
func (p *plotter) cover(ring []Point) {
	low, high := geometry.Polygon{Outline: ring}.Bounds()
	var kept []Line
	touched := false
	for i, l := range p.lines {
		lo, hi := geometry.Polygon{Outline: l.Points}.Bounds()
		if lo.X > high.X || hi.X < low.X || lo.Y > high.Y || hi.Y < low.Y {
			if touched {
				kept = append(kept, l)
			}
			continue
		}
		pieces, cut := uncovered(l, ring)
		if !cut {
			if touched {
				kept = append(kept, l)
			}
			continue
		}
		if !touched {
			touched, kept = true, slices.Clone(p.lines[:i])
		}
		kept = append(kept, pieces...)
	}
	if touched {
		p.lines = kept
	}
}

// uncovered are the pieces of a line that lie outside a ring; false when that
// is all of it.
func uncovered(l Line, ring []Point) ([]Line, bool) {
	corners := l.Points
	if l.Closed {
		corners = append(slices.Clone(corners), corners[0])
	}
	var pieces []Line
	cut, goesOn := false, false
	for i := 0; i+1 < len(corners); i++ {
		a, b := corners[i], corners[i+1]
		at := func(t float64) Point { return Point{X: a.X + (b.X-a.X)*t, Y: a.Y + (b.Y-a.Y)*t} }
		outside := shown(a, b, ring)
		if len(outside) != 1 || outside[0] != (geometry.Interval{From: 0, To: 1}) {
			cut = true
		}
		for _, o := range outside {
			if goesOn && o.From == 0 {
				last := &pieces[len(pieces)-1]
				last.Points = append(last.Points, at(o.To))
			} else {
				piece := l
				piece.Closed, piece.Fill, piece.Points = false, Clear, []Point{at(o.From), at(o.To)}
				pieces = append(pieces, piece)
			}
			goesOn = o.To == 1
		}
		if len(outside) == 0 {
			goesOn = false
		}
	}
	return pieces, cut
}

// shown are the parts of a segment outside a ring, as shares of its length.
func shown(a, b Point, ring []Point) []geometry.Interval {
	ts := []float64{0, 1}
	dx, dy := b.X-a.X, b.Y-a.Y
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		ex, ey := q.X-p.X, q.Y-p.Y
		det := dx*ey - dy*ex
		if det == 0 {
			continue
		}
		t := ((p.X-a.X)*ey - (p.Y-a.Y)*ex) / det
		u := ((p.X-a.X)*dy - (p.Y-a.Y)*dx) / det
		if t > 0 && t < 1 && u >= 0 && u <= 1 {
			ts = append(ts, t)
		}
	}
	slices.Sort(ts)
	const least = 1e-9
	var out []geometry.Interval
	for i := 0; i+1 < len(ts); i++ {
		m := (ts[i] + ts[i+1]) / 2
		if ts[i+1]-ts[i] < least || geometry.Inside(ring, Point{X: a.X + dx*m, Y: a.Y + dy*m}) {
			continue
		}
		if n := len(out); n > 0 && out[n-1].To == ts[i] {
			out[n-1].To = ts[i+1]
			continue
		}
		out = append(out, geometry.Interval{From: ts[i], To: ts[i+1]})
	}
	return out
}
