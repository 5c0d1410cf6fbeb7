package drawing

import (
	"math"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

// site is a room on the paper while labels are found places in it. All its
// lengths are millimetres of the paper.
type site struct {
	*draughtsman
	r design.RoomPlan
	// number in the laying order.
	number int
	frame  geometry.Frame
	// shape on the paper; flat is the same with the beams along X, turned with
	// X and Y exchanged.
	shape, flat, turned geometry.Polygon
	sets                []set
	// taken is covered by labels; solid is that part of it which no line may
	// cross; foreign are beams of other rooms whose ends lie in this one.
	taken, solid, foreign []geometry.Quad
	fallback              labelling
}

// labelling says how the beams of a room got their marks.
type labelling uint8

const (
	single labelling = iota
	grouped
	incomplete
)

// set is beams side by side over one span: they are labelled together.
type set struct {
	first, last int
	quad        geometry.Quad
	// low and high corner in the frame.
	low, high Point
}

func (d *draughtsman) site(r design.RoomPlan) *site {
	s := &site{draughtsman: d, r: r, frame: geometry.NewFrame(r.Layout.DirectionDegrees)}
	s.shape = geometry.Polygon{Outline: d.papers(r.Room.Shape.Outline)}
	for _, h := range r.Room.Shape.Holes {
		s.shape.Holes = append(s.shape.Holes, d.papers(h))
	}
	s.flat = s.frame.PolygonIn(s.shape)
	exchange := func(ring []Point) []Point {
		out := make([]Point, len(ring))
		for i, p := range ring {
			out[i] = Point{X: p.Y, Y: p.X}
		}
		return out
	}
	s.turned = geometry.Polygon{Outline: exchange(s.flat.Outline)}
	for _, h := range s.flat.Holes {
		s.turned.Holes = append(s.turned.Holes, exchange(h))
	}
	for i := 0; i < len(r.Beams); i += max(1, r.Beams[i].PerRow) {
		last := min(i+max(1, r.Beams[i].PerRow), len(r.Beams)) - 1
		a, b := d.papers(r.Beams[i].Quad[:]), d.papers(r.Beams[last].Quad[:])
		s.sets = append(s.sets, set{first: i, last: last, quad: geometry.Quad{a[0], a[1], b[2], b[3]}, low: s.frame.In(a[0]), high: s.frame.In(b[2])})
	}
	return s
}

// mind notes the beams of another room that reach into this one.
func (s *site) mind(o *site) {
	low, high := s.shape.Bounds()
	for _, b := range o.sets {
		for _, p := range b.quad {
			if p.X > low.X && p.X < high.X && p.Y > low.Y && p.Y < high.Y {
				s.foreign = append(s.foreign, b.quad)
				break
			}
		}
	}
}

// level turns a height in the layout's own frame into one of the paper's.
func (s *site) level(y float64) float64 {
	return s.frame.In(s.paper(s.frame.Out(Point{Y: y}))).Y
}

// fitsIn says that a box lies wholly inside a shape.
func fitsIn(shape geometry.Polygon, q geometry.Quad) bool {
	for _, p := range q {
		if !shape.Contains(p) {
			return false
		}
	}
	for _, ring := range append([][]Point{shape.Outline}, shape.Holes...) {
		for i, a := range ring {
			for k := range q {
				if geometry.Touch(a, ring[(i+1)%len(ring)], q[k], q[(k+1)%4]) {
					return false
				}
			}
		}
	}
	return true
}

// touching is the overlap in millimetres from which two labels disturb.
const touching = 0.05

func overlapsAny(q geometry.Quad, others []geometry.Quad) bool {
	for _, o := range others {
		if !farApart(q, o) && geometry.Overlap(q, o) > touching {
			return true
		}
	}
	return false
}

// farApart says cheaply that two boxes cannot overlap.
func farApart(a, b geometry.Quad) bool {
	return max(a[0].X, a[1].X, a[2].X, a[3].X) < min(b[0].X, b[1].X, b[2].X, b[3].X) ||
		min(a[0].X, a[1].X, a[2].X, a[3].X) > max(b[0].X, b[1].X, b[2].X, b[3].X) ||
		max(a[0].Y, a[1].Y, a[2].Y, a[3].Y) < min(b[0].Y, b[1].Y, b[2].Y, b[3].Y) ||
		min(a[0].Y, a[1].Y, a[2].Y, a[3].Y) > max(b[0].Y, b[1].Y, b[2].Y, b[3].Y)
}

// free says that a label may lie there: inside the room, on no other label and
// on no beam that belongs to another room.
func (s *site) free(q geometry.Quad) bool {
	return !overlapsAny(q, s.taken) && fitsIn(s.shape, q) && !overlapsAny(q, s.foreign)
}

// clearOfBeams says that a label lies on no beams but those of the sets from
// first to last.
func (s *site) clearOfBeams(q geometry.Quad, first, last int) bool {
	for i, o := range s.sets {
		if (i < first || i > last) && !farApart(q, o.quad) && geometry.Overlap(q, o.quad) > touching {
			return false
		}
	}
	return true
}

func (s *site) take(q geometry.Quad) {
	s.taken, s.solid = append(s.taken, q), append(s.solid, q)
}

// put writes a label where it is first free, and says whether it was.
func (s *site) put(t Text, places []Point, allowed func(geometry.Quad) bool) bool {
	for _, at := range places {
		q := plateBox(t, at)
		if s.free(q) && (allowed == nil || allowed(q)) {
			s.take(q)
			s.plate(t, at)
			return true
		}
	}
	return false
}

// shares of a length where labels are tried, the middle first.
var shares = []float64{0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82, 0.1, 0.9}

// longest interval of a shape at a level; the zero interval when it is not
// there.
func longest(shape geometry.Polygon, level float64) geometry.Interval {
	const nudge = 1e-7
	var best geometry.Interval
	for _, i := range shape.At(level + nudge) {
		if i.Length() > best.Length() {
			best = i
		}
	}
	return best
}

// chord looks for a line across the beams, from the left (or the right) inset
// from the wall: the first that is nearly as long as any, and begins where the
// laying does if it has to.
func (s *site) chord(inset float64, fromLeft, fromStart bool) (x float64, y geometry.Interval) {
	low, high := s.flat.Bounds()
	const steps = 48
	best := -1.0
	for k := range steps + 1 {
		at := low.X + inset + (high.X-low.X-2*inset)*float64(k)/steps
		if !fromLeft {
			at = low.X + high.X - at
		}
		if high.X-low.X < 2*inset {
			at = (low.X + high.X) / 2
		}
		i := longest(s.turned, at)
		score := i.Length()
		if fromStart && i.From > s.sets[0].high.Y {
			score /= 4
		}
		// A little longer is not worth going farther from the wall.
		if score > best*1.05+1e-9 {
			best, x, y = score, at, i
		}
	}
	return x, y
}

// heart is a point well inside a shape: the best of a grid.
func heart(shape geometry.Polygon) Point {
	low, high := shape.Bounds()
	best, depth := middle(low, high), -1.0
	const n = 12
	for i := 1; i < n; i++ {
		for j := 1; j < n; j++ {
			p := Point{X: low.X + (high.X-low.X)*float64(i)/n, Y: low.Y + (high.Y-low.Y)*float64(j)/n}
			if !shape.Contains(p) {
				continue
			}
			away := geometry.DistanceToRing(shape.Outline, p)
			for _, h := range shape.Holes {
				away = math.Min(away, geometry.DistanceToRing(h, p))
			}
			if away > depth*1.01 {
				best, depth = p, away
			}
		}
	}
	return best
}
