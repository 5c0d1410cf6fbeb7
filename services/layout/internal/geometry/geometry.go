// Package geometry holds the plane geometry that laying a room needs: simple
// polygons with holes, cut into the intervals that rows of beams cross.
package geometry

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Point in millimetres.
type Point struct{ X, Y float64 }

// Polygon is a simple outline with holes; rings do not repeat their first
// point.
type Polygon struct {
	Outline []Point
	Holes   [][]Point
}

// Errors of Validate.
var (
	ErrTooFewCorners = errors.New("has fewer than three corners")
	ErrNoArea        = errors.New("encloses no area")
)

// Validate reports the first thing that makes a polygon no room.
func (p Polygon) Validate() error {
	for i, ring := range p.rings() {
		name := "the outline"
		if i > 0 {
			name = fmt.Sprintf("hole %d", i)
		}
		if len(ring) < 3 {
			return fmt.Errorf("%s %w", name, ErrTooFewCorners)
		}
		if a, b, ok := selfCrossing(ring); ok {
			return fmt.Errorf("%s crosses itself: side %d meets side %d near (%.0f, %.0f) mm", name, a+1, b+1, ring[a].X, ring[a].Y)
		}
		if math.Abs(SignedArea(ring)) < 1 {
			return fmt.Errorf("%s %w", name, ErrNoArea)
		}
	}
	for i, hole := range p.Holes {
		for _, q := range hole {
			if !Inside(p.Outline, q) && DistanceToRing(p.Outline, q) > 1 {
				return fmt.Errorf("hole %d leaves the outline at (%.0f, %.0f) mm", i+1, q.X, q.Y)
			}
		}
	}
	return nil
}

func (p Polygon) rings() [][]Point { return append([][]Point{p.Outline}, p.Holes...) }

// SignedArea is positive for rings that run counter-clockwise.
func SignedArea(ring []Point) float64 {
	var a float64
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		a += p.X*q.Y - q.X*p.Y
	}
	return a / 2
}

// Area of the outline without the holes.
func (p Polygon) Area() float64 {
	a := math.Abs(SignedArea(p.Outline))
	for _, h := range p.Holes {
		a -= math.Abs(SignedArea(h))
	}
	return a
}

// selfCrossing finds two sides that have a point in common and are no
// neighbours, by sweeping over the sides' extents in x.
func selfCrossing(ring []Point) (int, int, bool) {
	n := len(ring)
	order := make([]int, n)
	left := func(i int) float64 { return math.Min(ring[i].X, ring[(i+1)%n].X) }
	right := func(i int) float64 { return math.Max(ring[i].X, ring[(i+1)%n].X) }
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case left(a) < left(b):
			return -1
		case left(a) > left(b):
			return 1
		default:
			return a - b
		}
	})
	for i, a := range order {
		for _, b := range order[i+1:] {
			if left(b) > right(a) {
				break
			}
			lo, hi := min(a, b), max(a, b)
			if hi == lo+1 || lo == 0 && hi == n-1 {
				continue
			}
			if Touch(ring[a], ring[(a+1)%n], ring[b], ring[(b+1)%n]) {
				return lo, hi, true
			}
		}
	}
	return 0, 0, false
}

func cross(o, a, b Point) float64 { return (a.X-o.X)*(b.Y-o.Y) - (a.Y-o.Y)*(b.X-o.X) }

// Touch reports whether two segments have a point in common.
func Touch(a, b, c, d Point) bool {
	s1, s2, s3, s4 := cross(a, b, c), cross(a, b, d), cross(c, d, a), cross(c, d, b)
	if (s1 > 0) != (s2 > 0) && (s3 > 0) != (s4 > 0) && s1 != 0 && s2 != 0 && s3 != 0 && s4 != 0 {
		return true
	}
	on := func(p, q, r Point, s float64) bool {
		return s == 0 && math.Min(p.X, q.X) <= r.X && r.X <= math.Max(p.X, q.X) &&
			math.Min(p.Y, q.Y) <= r.Y && r.Y <= math.Max(p.Y, q.Y)
	}
	return on(a, b, c, s1) || on(a, b, d, s2) || on(c, d, a, s3) || on(c, d, b, s4)
}

// Inside reports whether a point lies in a ring; on its line either answer is
// possible.
func Inside(ring []Point, p Point) bool {
	in := false
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// Contains reports whether a point lies in the outline and in no hole.
func (p Polygon) Contains(q Point) bool {
	if !Inside(p.Outline, q) {
		return false
	}
	for _, h := range p.Holes {
		if Inside(h, q) {
			return false
		}
	}
	return true
}

// DistanceToRing from a point to the nearest side.
func DistanceToRing(ring []Point, p Point) float64 {
	best := math.Inf(1)
	for i, a := range ring {
		best = math.Min(best, DistanceToSegment(a, ring[(i+1)%len(ring)], p))
	}
	return best
}

// DistanceToSegment from a point to a segment.
func DistanceToSegment(a, b, p Point) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	l := dx*dx + dy*dy
	t := 0.0
	if l > 0 {
		t = math.Max(0, math.Min(1, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/l))
	}
	return math.Hypot(p.X-a.X-t*dx, p.Y-a.Y-t*dy)
}

// Distance from a point to the polygon; 0 inside.
func (p Polygon) Distance(q Point) float64 {
	if p.Contains(q) {
		return 0
	}
	best := math.Inf(1)
	for _, r := range p.rings() {
		best = math.Min(best, DistanceToRing(r, q))
	}
	return best
}

// Frame turns a plan so that beams run along X.
type Frame struct{ sin, cos float64 }

// NewFrame returns the frame whose X axis points along an angle in degrees.
// Right angles are exact.
func NewFrame(degrees float64) Frame {
	switch math.Mod(math.Mod(degrees, 360)+360, 360) {
	case 0:
		return Frame{0, 1}
	case 90:
		return Frame{1, 0}
	case 180:
		return Frame{0, -1}
	case 270:
		return Frame{-1, 0}
	}
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	return Frame{sin, cos}
}

// In turns a point of the plan into the frame.
func (f Frame) In(p Point) Point { return Point{p.X*f.cos + p.Y*f.sin, -p.X*f.sin + p.Y*f.cos} }

// Out turns a point of the frame back into the plan.
func (f Frame) Out(p Point) Point { return Point{p.X*f.cos - p.Y*f.sin, p.X*f.sin + p.Y*f.cos} }

// PolygonIn turns a polygon into the frame.
func (f Frame) PolygonIn(p Polygon) Polygon {
	turn := func(ring []Point) []Point {
		out := make([]Point, len(ring))
		for i, q := range ring {
			out[i] = f.In(q)
		}
		return out
	}
	out := Polygon{Outline: turn(p.Outline)}
	for _, h := range p.Holes {
		out.Holes = append(out.Holes, turn(h))
	}
	return out
}

// Bounds of the outline.
func (p Polygon) Bounds() (low, high Point) {
	low, high = Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	for _, q := range p.Outline {
		low = Point{math.Min(low.X, q.X), math.Min(low.Y, q.Y)}
		high = Point{math.Max(high.X, q.X), math.Max(high.Y, q.Y)}
	}
	return low, high
}

// Interval of X.
type Interval struct{ From, To float64 }

// Length of the interval.
func (i Interval) Length() float64 { return i.To - i.From }

// At returns where a level line lies inside the outline and in no hole, left
// to right; holes may overlap each other and leave the outline. The level has
// to pass no corner; nudge it.
func (p Polygon) At(y float64) []Interval {
	out := crossings(p.Outline, y)
	for _, h := range p.Holes {
		for _, c := range crossings(h, y) {
			out = without(out, c)
		}
	}
	return out
}

func crossings(ring []Point, y float64) []Interval {
	var room [16]float64
	xs := room[:0]
	for i, a := range ring {
		b := ring[0]
		if i+1 < len(ring) {
			b = ring[i+1]
		}
		if (a.Y > y) != (b.Y > y) {
			xs = append(xs, a.X+(y-a.Y)/(b.Y-a.Y)*(b.X-a.X))
		}
	}
	slices.Sort(xs)
	var out []Interval
	for i := 0; i+1 < len(xs); i += 2 {
		if xs[i+1] > xs[i] {
			out = append(out, Interval{xs[i], xs[i+1]})
		}
	}
	return out
}

// without cuts an interval out of others.
func without(parts []Interval, cut Interval) []Interval {
	var out []Interval
	for _, i := range parts {
		if cut.To <= i.From || cut.From >= i.To {
			out = append(out, i)
			continue
		}
		if cut.From > i.From {
			out = append(out, Interval{i.From, cut.From})
		}
		if cut.To < i.To {
			out = append(out, Interval{cut.To, i.To})
		}
	}
	return out
}

// Cell is what lies inside between two levels and two sides that run straight
// from one level to the other.
type Cell struct {
	Low, High float64
	// Bottom and Top are its extent at the two levels.
	Bottom, Top Interval
}

// Area of the cell.
func (c Cell) Area() float64 { return (c.Bottom.Length() + c.Top.Length()) / 2 * (c.High - c.Low) }

// Extent of the cell along X.
func (c Cell) Extent() Interval {
	return Interval{math.Min(c.Bottom.From, c.Top.From), math.Max(c.Bottom.To, c.Top.To)}
}

// Cells cuts what lies inside between two levels into cells, from below and
// from the left. Together they have its area.
func (p Polygon) Cells(low, high float64) []Cell {
	var room [16]float64
	levels := append(room[:0], low, high)
	for _, ring := range p.rings() {
		for _, q := range ring {
			if q.Y > low && q.Y < high {
				levels = append(levels, q.Y)
			}
		}
	}
	slices.Sort(levels)
	var out []Cell
	for i := 1; i < len(levels); i++ {
		from, to := levels[i-1], levels[i]
		if to-from < 4*nudge {
			continue
		}
		bottom, top := p.At(from+nudge), p.At(to-nudge)
		if len(bottom) != len(top) { // sides of two rings cross between the levels
			bottom = p.At((from + to) / 2)
			top = bottom
		}
		for k := range bottom {
			out = append(out, Cell{from, to, bottom[k], top[k]})
		}
	}
	return out
}

// nudge keeps level lines off corners.
const nudge = 1e-6

// Strip projects what lies inside between two levels on X: one interval for
// each connected part. Sides are straight, so the extremes lie at the levels
// themselves and at corners between them.
func (p Polygon) Strip(low, high float64) []Interval {
	levels := []float64{low + nudge, high - nudge}
	for _, ring := range p.rings() {
		for _, q := range ring {
			if q.Y > low && q.Y < high {
				levels = append(levels, q.Y-nudge, q.Y+nudge)
			}
		}
	}
	slices.Sort(levels)
	levels = slices.Compact(levels)
	var parts []Interval
	for _, y := range levels {
		parts = append(parts, p.At(y)...)
	}
	return Union(parts)
}

// Union merges overlapping intervals.
func Union(parts []Interval) []Interval {
	slices.SortFunc(parts, func(a, b Interval) int {
		switch {
		case a.From < b.From:
			return -1
		case a.From > b.From:
			return 1
		default:
			return 0
		}
	})
	var out []Interval
	for _, i := range parts {
		if n := len(out); n > 0 && i.From <= out[n-1].To {
			out[n-1].To = math.Max(out[n-1].To, i.To)
			continue
		}
		out = append(out, i)
	}
	return out
}

// AreaBetween is the area inside between two levels.
func (p Polygon) AreaBetween(low, high float64) float64 {
	a := 0.0
	for _, c := range p.Cells(low, high) {
		a += c.Area()
	}
	return a
}

// MainDirection is the angle in degrees, from 0 to below 90, along which or
// across which most of the outline runs.
func (p Polygon) MainDirection() float64 {
	best, direction := -1.0, 0.0
	for i, a := range p.Outline {
		b := p.Outline[(i+1)%len(p.Outline)]
		angle := math.Mod(math.Atan2(b.Y-a.Y, b.X-a.X)*180/math.Pi+360, 90)
		if angle > 89.99 {
			angle = 0
		}
		sum := 0.0
		for j, c := range p.Outline {
			d := p.Outline[(j+1)%len(p.Outline)]
			other := math.Mod(math.Atan2(d.Y-c.Y, d.X-c.X)*180/math.Pi+360, 90)
			off := math.Abs(other - angle)
			if math.Min(off, 90-off) < 0.1 {
				sum += math.Hypot(d.X-c.X, d.Y-c.Y)
			}
		}
		if sum > best+1e-6 || sum > best-1e-6 && angle < direction {
			best, direction = sum, angle
		}
	}
	return direction
}

// Below is the distance from a point straight down to the nearest side;
// infinite where there is none.
func (p Polygon) Below(q Point) float64 { return p.away(q, -1) }

// Above is the distance from a point straight up to the nearest side.
func (p Polygon) Above(q Point) float64 { return p.away(q, 1) }

func (p Polygon) away(q Point, sign float64) float64 {
	best := math.Inf(1)
	for _, ring := range p.rings() {
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			if (a.X > q.X) == (b.X > q.X) {
				continue
			}
			y := a.Y + (q.X-a.X)/(b.X-a.X)*(b.Y-a.Y)
			if d := (y - q.Y) * sign; d >= -1e-3 {
				best = math.Min(best, math.Max(d, 0))
			}
		}
	}
	return best
}

// Quad is a rectangle in any direction, its corners in order.
type Quad [4]Point

// Overlap reports how deep two quads lie in each other: the smallest shift
// that parts them; 0 when they do not overlap (separating axis test).
func Overlap(a, b Quad) float64 {
	depth := math.Inf(1)
	for _, q := range []Quad{a, b} {
		for i := range 2 {
			axis := Point{q[i+1].X - q[i].X, q[i+1].Y - q[i].Y}
			l := math.Hypot(axis.X, axis.Y)
			if l == 0 {
				continue
			}
			axis = Point{axis.X / l, axis.Y / l}
			a0, a1 := a.project(axis)
			b0, b1 := b.project(axis)
			depth = math.Min(depth, math.Min(a1, b1)-math.Max(a0, b0))
		}
	}
	return math.Max(0, depth)
}

func (q Quad) project(axis Point) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range q {
		d := p.X*axis.X + p.Y*axis.Y
		low, high = math.Min(low, d), math.Max(high, d)
	}
	return low, high
}
