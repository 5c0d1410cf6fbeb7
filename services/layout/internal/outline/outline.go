// Package outline makes closed rings in whole millimetres from the paths of a
// drawing: closed curves as they are, open ones whose ends meet, and loose
// lines and arcs chained end to end. What does not close is named with the
// entity and the gap.
package outline

import (
	"fmt"
	"math"
	"path"
	"sort"
	"strings"

	"spanyard.example/services/layout/internal/dxf"
)

// Point in whole millimetres.
type Point struct{ XMM, YMM int64 }

// Ring is a closed outline; the first point is not repeated.
type Ring struct {
	Points []Point
	Layer  string
	// From names the entity or entities that it was made of.
	From string
}

// Problem is an entity that gave no ring.
type Problem struct{ Entity, Layer, What string }

// Tolerances, in millimetres on the floor.
const (
	// joinMM is the largest gap between ends that are meant to meet.
	joinMM = 5
	// straightMM is how far a point may lie from the line of its neighbours
	// and still be dropped as no corner.
	straightMM = 0.5
)

// Size of what was read, for a person to judge whether the unit is right.
type Size struct{ WidthMM, HeightMM float64 }

// Match reports whether a layer name fits one of the patterns: names with * and
// ?, letter case and the part before $0$ of a bound reference ignored.
func Match(layer string, patterns []string) bool {
	name := strings.ToLower(layer)
	if i := strings.LastIndex(name, "$0$"); i >= 0 {
		name = name[i+3:]
	}
	for _, p := range patterns {
		p = strings.ToLower(p)
		if ok, _ := path.Match(p, name); ok || p == strings.ToLower(layer) {
			return true
		}
	}
	return false
}

// Rings collects the rings on the matching layers. perUnitMM is the size of a
// drawing unit.
func Rings(d *dxf.Drawing, patterns []string, perUnitMM float64) (rings []Ring, problems []Problem) {
	var open []piece
	for _, p := range d.Paths {
		if !Match(p.Layer, patterns) {
			continue
		}
		points := make([]dxf.Point, 0, len(p.Points))
		for _, q := range p.Points {
			points = append(points, dxf.Point{X: q.X * perUnitMM, Y: q.Y * perUnitMM})
		}
		name := entityName(p)
		if p.Closed || len(points) > 3 && gap(points[0], points[len(points)-1]) <= joinMM {
			rings, problems = addRing(rings, problems, points, p.Layer, name)
			continue
		}
		if len(points) >= 2 {
			open = append(open, piece{points: points, layer: p.Layer, name: name})
		}
	}
	chained, loose := chain(open)
	for _, c := range chained {
		rings, problems = addRing(rings, problems, c.points, c.layer, c.name)
	}
	return rings, append(problems, loose...)
}

func entityName(p dxf.Path) string {
	if p.Handle != "" {
		return fmt.Sprintf("%s %s (line %d)", p.Kind, p.Handle, p.Line)
	}
	return fmt.Sprintf("%s at line %d", p.Kind, p.Line)
}

func addRing(rings []Ring, problems []Problem, points []dxf.Point, layer, name string) ([]Ring, []Problem) {
	for _, p := range points {
		if math.Abs(p.X) > 1e12 || math.Abs(p.Y) > 1e12 {
			return rings, append(problems, Problem{name, layer, "lies too far from the origin to be a floor"})
		}
	}
	ring := Clean(points)
	if len(ring) < 3 {
		return rings, append(problems, Problem{name, layer, "encloses no area"})
	}
	return append(rings, Ring{Points: ring, Layer: layer, From: name}), problems
}

func gap(a, b dxf.Point) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }

// Clean drops repeated points and points on the line of their neighbours, and
// rounds to whole millimetres.
func Clean(points []dxf.Point) []Point {
	var kept []dxf.Point
	for _, p := range points {
		if len(kept) == 0 || gap(kept[len(kept)-1], p) > straightMM {
			kept = append(kept, p)
		}
	}
	for len(kept) > 1 && gap(kept[0], kept[len(kept)-1]) <= straightMM {
		kept = kept[:len(kept)-1]
	}
	for changed := true; changed && len(kept) >= 3; {
		changed = false
		for i := 0; i < len(kept) && len(kept) >= 3; i++ {
			a, b, c := kept[(i+len(kept)-1)%len(kept)], kept[i], kept[(i+1)%len(kept)]
			if offLine(a, b, c) <= exactMM {
				kept = append(kept[:i], kept[i+1:]...)
				changed = true
				i--
			}
		}
	}
	ring := make([]Point, 0, len(kept))
	for _, p := range kept {
		q := Point{int64(math.Round(p.X)), int64(math.Round(p.Y))}
		if len(ring) == 0 || ring[len(ring)-1] != q {
			ring = append(ring, q)
		}
	}
	if len(ring) > 1 && ring[0] == ring[len(ring)-1] {
		ring = ring[:len(ring)-1]
	}
	return ring
}

// exactMM is how far a point may lie off the line of its neighbours and be
// dropped: numerical noise of evaluated curves, not jogs of walls.
const exactMM = 0.05

// offLine is the distance of b from the segment ac.
func offLine(a, b, c dxf.Point) float64 {
	dx, dy := c.X-a.X, c.Y-a.Y
	l := dx*dx + dy*dy
	if l == 0 {
		return gap(a, b)
	}
	t := ((b.X-a.X)*dx + (b.Y-a.Y)*dy) / l
	t = math.Max(0, math.Min(1, t))
	return gap(b, dxf.Point{X: a.X + t*dx, Y: a.Y + t*dy})
}

// piece is an open path.
type piece struct {
	points      []dxf.Point
	layer, name string
}

// end is one end of a piece.
type end struct {
	piece int
	tail  bool
}

// chain joins open pieces of one layer end to end. At a place where more than
// two ends meet nobody can tell which belong together: the pieces there are
// reported, not guessed.
func chain(pieces []piece) (rings []piece, problems []Problem) {
	partner := pairUp(pieces)
	used := make([]bool, len(pieces))
	for i := range pieces {
		if used[i] {
			continue
		}
		ring, names, ok := follow(pieces, partner, used, i)
		if ok {
			rings = append(rings, piece{points: ring, layer: pieces[i].layer, name: names})
		}
	}
	for i, p := range pieces {
		if used[i] {
			continue
		}
		_, a := partner[end{i, false}]
		_, b := partner[end{i, true}]
		what := "is part of a line that does not close"
		if !a || !b {
			what = fmt.Sprintf("has an end that meets no single other end within %d mm", joinMM)
		}
		problems = append(problems, Problem{p.name, p.layer, what})
	}
	return rings, problems
}

// follow walks from piece to piece until it is back; it marks what it used
// only when the walk closes.
func follow(pieces []piece, partner map[end]end, used []bool, start int) ([]dxf.Point, string, bool) {
	var points []dxf.Point
	var walked []int
	at := end{start, false}
	for {
		p := pieces[at.piece]
		walked = append(walked, at.piece)
		if at.tail {
			for k := len(p.points) - 1; k >= 0; k-- {
				points = append(points, p.points[k])
			}
		} else {
			points = append(points, p.points...)
		}
		next, ok := partner[end{at.piece, !at.tail}]
		if !ok || len(walked) > len(pieces) {
			return nil, "", false
		}
		if next.piece == start {
			break
		}
		at = next
	}
	for _, i := range walked {
		used[i] = true
	}
	return points, fmt.Sprintf("%s and %d more", pieces[start].name, len(walked)-1), true
}

// pairUp finds for each end the single other end of its layer that meets it.
func pairUp(pieces []piece) map[end]end {
	type cell struct {
		layer string
		x, y  int64
	}
	grid := map[cell][]end{}
	where := func(e end) dxf.Point {
		p := pieces[e.piece].points
		if e.tail {
			return p[len(p)-1]
		}
		return p[0]
	}
	key := func(e end, dx, dy int64) cell {
		w := where(e)
		return cell{pieces[e.piece].layer, int64(math.Floor(w.X/joinMM)) + dx, int64(math.Floor(w.Y/joinMM)) + dy}
	}
	var ends []end
	for i := range pieces {
		ends = append(ends, end{i, false}, end{i, true})
	}
	for _, e := range ends {
		grid[key(e, 0, 0)] = append(grid[key(e, 0, 0)], e)
	}
	meets := func(e end) []end {
		var near []end
		for dx := int64(-1); dx <= 1; dx++ {
			for dy := int64(-1); dy <= 1; dy++ {
				for _, o := range grid[key(e, dx, dy)] {
					if o != e && gap(where(e), where(o)) <= joinMM {
						near = append(near, o)
					}
				}
			}
		}
		return near
	}
	partner := map[end]end{}
	for _, e := range ends {
		if near := meets(e); len(near) == 1 {
			partner[e] = near[0]
		}
	}
	for e, o := range partner {
		if partner[o] != e {
			delete(partner, e)
		}
	}
	return partner
}

// SizeOf measures all rings together.
func SizeOf(rings []Ring) Size {
	if len(rings) == 0 {
		return Size{}
	}
	var xs, ys []int64
	for _, r := range rings {
		for _, p := range r.Points {
			xs, ys = append(xs, p.XMM), append(ys, p.YMM)
		}
	}
	sort.Slice(xs, func(i, j int) bool { return xs[i] < xs[j] })
	sort.Slice(ys, func(i, j int) bool { return ys[i] < ys[j] })
	return Size{float64(xs[len(xs)-1] - xs[0]), float64(ys[len(ys)-1] - ys[0])}
}
