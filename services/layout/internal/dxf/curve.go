package dxf

import (
	"errors"
	"math"
)

// curve returns an entity's points and whether it closes; nil for kinds that
// are no curve.
func (e entity) curve() (points []Point, closed bool, err error) {
	switch e.kind {
	case "LINE":
		return []Point{e.point(10), e.point(11)}, false, nil
	case "ARC":
		from, to := e.float(50, 0)*math.Pi/180, e.float(51, 0)*math.Pi/180
		for to <= from {
			to += 2 * math.Pi
		}
		return arc(e.point(10), e.float(40, 0), from, to), false, nil
	case "CIRCLE":
		p := arc(e.point(10), e.float(40, 0), 0, 2*math.Pi)
		return p[:len(p)-1], true, nil
	case "ELLIPSE":
		p, closed := e.ellipse()
		return p, closed, nil
	case "LWPOLYLINE":
		return bulged(e.lightVertices(), e.int(70, 0)&1 == 1), e.int(70, 0)&1 == 1, nil
	case "POLYLINE":
		return e.polyline()
	case "SPLINE":
		return e.spline()
	default:
		return nil, false, nil
	}
}

func arc(c Point, r, from, to float64) []Point {
	n := int(math.Ceil((to - from) / arcStep))
	n = min(max(n, 1), 1000)
	p := make([]Point, 0, n+1)
	for i := 0; i <= n; i++ {
		sin, cos := math.Sincos(from + (to-from)*float64(i)/float64(n))
		p = append(p, Point{c.X + r*cos, c.Y + r*sin})
	}
	return p
}

func (e entity) ellipse() ([]Point, bool) {
	c, major, ratio := e.point(10), e.point(11), e.float(40, 1)
	if e.float(230, 1) < 0 {
		ratio = -ratio
	}
	from, to := e.float(41, 0), e.float(42, 2*math.Pi)
	for to <= from {
		to += 2 * math.Pi
	}
	closed := to-from > 2*math.Pi-1e-6
	n := min(max(int(math.Ceil((to-from)/arcStep)), 1), 1000)
	var p []Point
	for i := 0; i <= n; i++ {
		sin, cos := math.Sincos(from + (to-from)*float64(i)/float64(n))
		p = append(p, Point{c.X + major.X*cos - major.Y*ratio*sin, c.Y + major.Y*cos + major.X*ratio*sin})
	}
	if closed {
		p = p[:n]
	}
	return p, closed
}

// vertex of a polyline; the bulge is the tangent of a quarter of the arc's
// angle to the next vertex.
type vertex struct {
	Point
	bulge float64
}

func (e entity) lightVertices() []vertex {
	var v []vertex
	for _, p := range e.pairs {
		f, err := p.float()
		if err != nil {
			continue
		}
		switch {
		case p.code == 10:
			v = append(v, vertex{Point: Point{X: f}})
		case p.code == 20 && len(v) > 0:
			v[len(v)-1].Y = f
		case p.code == 42 && len(v) > 0:
			v[len(v)-1].bulge = f
		}
	}
	return v
}

func (e entity) polyline() ([]Point, bool, error) {
	flags := e.int(70, 0)
	if flags&(16|64) != 0 {
		return nil, false, nil // a mesh
	}
	const splineFrame = 16
	var v []vertex
	for _, c := range e.children {
		if err := c.check(); err != nil {
			return nil, false, err
		}
		if c.int(70, 0)&splineFrame == 0 {
			v = append(v, vertex{c.point(10), c.float(42, 0)})
		}
	}
	if len(v) == 0 {
		return nil, false, errors.New("has no vertices")
	}
	return bulged(v, flags&1 == 1), flags&1 == 1, nil
}

// bulged replaces bulges by points on their arcs.
func bulged(v []vertex, closed bool) []Point {
	p := make([]Point, 0, len(v))
	for i, a := range v {
		p = append(p, a.Point)
		if a.bulge == 0 || i == len(v)-1 && !closed {
			continue
		}
		b := v[(i+1)%len(v)].Point
		angle := 4 * math.Atan(a.bulge)
		chord := math.Hypot(b.X-a.X, b.Y-a.Y)
		if chord == 0 || math.Abs(angle) < 1e-9 {
			continue
		}
		// The centre lies on the chord's perpendicular bisector.
		t := (1/a.bulge - a.bulge) / 4
		c := Point{(a.X+b.X)/2 - (b.Y-a.Y)*t, (a.Y+b.Y)/2 + (b.X-a.X)*t}
		start := math.Atan2(a.Y-c.Y, a.X-c.X)
		r := math.Hypot(a.X-c.X, a.Y-c.Y)
		n := min(max(int(math.Ceil(math.Abs(angle)/arcStep)), 1), 1000)
		for k := 1; k < n; k++ {
			sin, cos := math.Sincos(start + angle*float64(k)/float64(n))
			p = append(p, Point{c.X + r*cos, c.Y + r*sin})
		}
	}
	return p
}

// spline evaluates a rational B-spline by its own definition (Cox and de
// Boor), or joins its fit points when it has no control points.
func (e entity) spline() ([]Point, bool, error) {
	degree := e.int(71, 3)
	var knots, weights []float64
	var control, fit []Point
	for _, p := range e.pairs {
		f, err := p.float()
		if err != nil {
			continue
		}
		switch p.code {
		case 40:
			knots = append(knots, f)
		case 41:
			weights = append(weights, f)
		case 10:
			control = append(control, Point{X: f})
		case 20:
			if len(control) > 0 {
				control[len(control)-1].Y = f
			}
		case 11:
			fit = append(fit, Point{X: f})
		case 21:
			if len(fit) > 0 {
				fit[len(fit)-1].Y = f
			}
		}
	}
	closed := e.int(70, 0)&1 == 1
	if len(control) == 0 {
		if len(fit) < 2 {
			return nil, false, errors.New("has neither control points nor fit points")
		}
		return fit, closed, nil
	}
	if degree < 1 || degree > 10 || len(control) <= degree || len(knots) != len(control)+degree+1 {
		return nil, false, errors.New("has a degree, knots and control points that do not go together")
	}
	for i := 1; i < len(knots); i++ {
		if knots[i] < knots[i-1] {
			return nil, false, errors.New("has knots that run backwards")
		}
	}
	if len(weights) != len(control) {
		weights = nil
	}
	return evaluate(degree, knots, control, weights), closed, nil
}

// evaluate takes points in every knot span that is not empty; a span between
// corners of the control polygon that is straight comes out straight.
func evaluate(degree int, knots []float64, control []Point, weights []float64) []Point {
	const perSpan = 8
	var p []Point
	last := len(control)
	for i := degree; i < last; i++ {
		if knots[i+1] <= knots[i] {
			continue
		}
		for k := range perSpan {
			u := knots[i] + (knots[i+1]-knots[i])*float64(k)/perSpan
			p = append(p, deBoor(degree, knots, control, weights, i, u))
		}
	}
	if len(p) == 0 {
		return []Point{control[0], control[last-1]}
	}
	for i := last - 1; i >= degree; i-- {
		if knots[i+1] > knots[i] {
			p = append(p, deBoor(degree, knots, control, weights, i, knots[last]))
			break
		}
	}
	return p
}

func deBoor(degree int, knots []float64, control []Point, weights []float64, span int, u float64) Point {
	type weighted struct{ x, y, w float64 }
	d := make([]weighted, degree+1)
	for j := range d {
		c, w := control[span-degree+j], 1.0
		if weights != nil {
			w = weights[span-degree+j]
		}
		d[j] = weighted{c.X * w, c.Y * w, w}
	}
	for r := 1; r <= degree; r++ {
		for j := degree; j >= r; j-- {
			lo, hi := knots[span-degree+j], knots[span+1+j-r]
			a := 0.0
			if hi > lo {
				a = (u - lo) / (hi - lo)
			}
			d[j] = weighted{d[j-1].x + a*(d[j].x-d[j-1].x), d[j-1].y + a*(d[j].y-d[j-1].y), d[j-1].w + a*(d[j].w-d[j-1].w)}
		}
	}
	if d[degree].w == 0 {
		return Point{math.NaN(), math.NaN()}
	}
	return Point{d[degree].x / d[degree].w, d[degree].y / d[degree].w}
}
