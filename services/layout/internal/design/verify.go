package design

import (
	"fmt"
	"math"

	"spanyard.example/services/layout/internal/geometry"
)

// Violations looks at a laid room from outside and says what breaks the rules:
// nothing of the search is used but its answer. A laid room has none, and a
// refused one has nothing to look at; every plan is looked at before anybody
// sees it.
func Violations(c Catalogue, r RoomPlan) []string {
	if r.Refused != nil {
		return nil
	}
	var out []string
	note := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	for i, a := range r.Beams {
		for _, b := range r.Beams[i+1:] {
			if math.Abs(a.Quad[0].X-b.Quad[0].X)+math.Abs(a.Quad[0].Y-b.Quad[0].Y) > 2*(diagonal(a.Quad)+diagonal(b.Quad)) {
				continue // too far away to touch
			}
			if d := geometry.Overlap(a.Quad, b.Quad); d > 1 {
				note("beams %s and %s lie %.1f mm in each other", a.Mark, b.Mark, d)
			}
		}
		bearing := math.Max(c.Rules.BearingMM, r.Room.BearingMM)
		for _, corner := range a.Quad {
			// Square to a wall a beam goes as far as its bearing and what its
			// length was rounded up by; at a slanted or side wall its far
			// corner lies up to the row's width farther.
			if d := r.Room.Shape.Distance(corner); d > bearing+c.Rules.LengthStepMM+r.Kit.WidthMM*float64(a.PerRow) {
				note("beam %s ends %.0f mm outside the room", a.Mark, d)
			}
		}
		if math.Mod(float64(a.LengthMM), c.Rules.LengthStepMM) != 0 {
			note("beam %s is %d mm long, no multiple of %g mm", a.Mark, a.LengthMM, c.Rules.LengthStepMM)
		}
		if float64(a.LengthMM) < a.ClearMM {
			note("beam %s is shorter than its clear span", a.Mark)
		}
		if a.Fullness > 1 {
			note("beam %s is %.0f %% full: %s", a.Mark, 100*a.Fullness, a.Governing)
		}
	}
	sum := r.Layout.BeamMM2 + r.Layout.FillMM2
	for _, b := range r.Layout.Bays {
		sum += b.AreaMM2
		if b.High-b.Low > r.Kit.PitchMM-r.Kit.WidthMM/2+1 {
			note("a bay is %.0f mm wide", b.High-b.Low)
		}
		if blocks := float64(b.Whole+b.Cut) * r.Kit.BlockMM * (b.High - b.Low); b.AreaMM2 > blocks+1 {
			note("%d blocks do not cover a bay of %.0f mm2", b.Whole+b.Cut, b.AreaMM2)
		}
	}
	if area := r.Room.Shape.Area(); math.Abs(sum-area) > 1e-6*area+1 {
		note("beams, blocks and fills cover %.0f of %.0f mm2", sum, area)
	}
	return out
}

func diagonal(q geometry.Quad) float64 { return math.Hypot(q[2].X-q[0].X, q[2].Y-q[0].Y) }

const (
	// samples of a room's floor across its longer side.
	samples = 24
	// nearMM is how far a point may lie beside what covers it: joints, and
	// what a drawing is not exact to.
	nearMM = 6
)

// Uncovered looks at a laid room point by point: every point of its floor lies
// on a beam or trimmer, in a bay of blocks or on floor to be made good on site, and no
// beam lies across an opening. It returns what does not. It is slower than
// Violations and looks at the same plan in another way.
func Uncovered(c Catalogue, r RoomPlan) []string {
	if r.Refused != nil {
		return nil
	}
	var out []string
	low, high := r.Room.Shape.Bounds()
	step := math.Max(high.X-low.X, high.Y-low.Y) / samples
	frame := geometry.NewFrame(r.Layout.DirectionDegrees)
	for x := low.X + step/2; x < high.X; x += step {
		for y := low.Y + step/2; y < high.Y; y += step {
			if p := (geometry.Point{X: x, Y: y}); r.Room.Shape.Contains(p) && !r.covered(c, p, frame.In(p).Y) {
				out = append(out, fmt.Sprintf("the floor at (%.0f, %.0f) is bare", x, y))
			}
		}
	}
	for _, b := range r.Beams {
		if at, ok := r.bridges(b); ok {
			out = append(out, fmt.Sprintf("beam %s lies across an opening at (%.0f, %.0f)", b.Mark, at.X, at.Y))
		}
	}
	return out
}

func (r RoomPlan) covered(c Catalogue, p geometry.Point, level float64) bool {
	for _, b := range r.Layout.Bays {
		if level >= b.Low-nearMM && level <= b.High+nearMM {
			return true
		}
	}
	for _, b := range r.Beams {
		if on(b.Quad, p) {
			return true
		}
	}
	for _, f := range r.Layout.Fills {
		if on(f, p) {
			return true
		}
	}
	for _, h := range r.Layout.Headers {
		if geometry.DistanceToSegment(h.From, h.To, p) <= c.Trimmers[h.Trimmer].WidthMM+nearMM {
			return true
		}
	}
	return false
}

func on(q geometry.Quad, p geometry.Point) bool {
	return geometry.Inside(q[:], p) || geometry.DistanceToRing(q[:], p) <= nearMM
}

// bridges reports whether a beam's middle line runs through a hole farther
// from its edge than a beam bears.
func (r RoomPlan) bridges(b Beam) (geometry.Point, bool) {
	from := geometry.Point{X: (b.Quad[0].X + b.Quad[3].X) / 2, Y: (b.Quad[0].Y + b.Quad[3].Y) / 2}
	to := geometry.Point{X: (b.Quad[1].X + b.Quad[2].X) / 2, Y: (b.Quad[1].Y + b.Quad[2].Y) / 2}
	const stepMM = 25
	n := int(math.Hypot(to.X-from.X, to.Y-from.Y)/stepMM) + 1
	for k := range n + 1 {
		share := float64(k) / float64(n)
		p := geometry.Point{X: from.X + (to.X-from.X)*share, Y: from.Y + (to.Y-from.Y)*share}
		for i, hole := range r.Room.Shape.Holes {
			deep := float64(nearMM)
			if i < len(r.Room.HoleSupports) && r.Room.HoleSupports[i] {
				deep = mostBearingMM
			}
			if geometry.Inside(hole, p) && geometry.DistanceToRing(hole, p) > deep {
				return p, true
			}
		}
	}
	return geometry.Point{}, false
}
