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
		for _, corner := range a.Quad {
			// Square to a wall a beam goes as far as its bearing and what its
			// length was rounded up by; at a slanted or side wall its far
			// corner lies up to the row's width farther.
			if d := r.Room.Shape.Distance(corner); d > c.Rules.BearingMM+c.Rules.LengthStepMM+r.Kit.WidthMM*float64(a.PerRow) {
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
