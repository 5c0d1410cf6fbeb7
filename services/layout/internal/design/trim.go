package design

import (
	"fmt"
	"math"

	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/strength"
)

// TrimmerPiece is a trimmer of a laid room.
type TrimmerPiece struct {
	Mark     string
	Name     string
	LengthMM int
	ClearMM  float64
	MassG    int64
	Quad     geometry.Quad
	// Verdicts of its check against what its maker states.
	Verdicts  []strength.Verdict
	Fullness  float64
	Governing string
}

// evenly is the load, spread evenly over a clear length, that bends and shears
// a trimmer at least as much as forces do.
func evenly(clearMM float64, forces []arrange.PointForce, permanent, variable float64) float64 {
	l := strength.Loads{SpanMM: clearMM}
	for _, f := range forces {
		l.Points = append(l.Points, strength.PointLoad{AtMM: f.AtMM, N: permanent*f.PermanentN + variable*f.VariableN})
	}
	moment, _ := l.MaxMoment()
	return math.Max(8*moment/(clearMM*clearMM), 2*math.Max(l.LeftN(), l.RightN())/clearMM)
}

// trimmerVerdicts check a trimmer under forces; its own weight counts.
func (c Catalogue) trimmerVerdicts(t Trimmer, clearMM float64, forces []arrange.PointForce, category strength.Category) []strength.Verdict {
	own := t.KgPerM * 9.81e-3
	ultimate, service := 0.0, own+evenly(clearMM, forces, 1, 1)
	for _, k := range strength.Combinations(c.National, strength.RecommendedPsi[category]) {
		if k.Ultimate && (k.Name != "6.10") == c.National.UseAB {
			ultimate = math.Max(ultimate, k.Permanent*own+evenly(clearMM, forces, k.Permanent, k.Variable))
		}
	}
	var allowed TrimmerLoad
	for _, l := range t.Loads {
		if l.ClearMM >= clearMM-1e-6 {
			allowed = l
			break
		}
	}
	verdict := func(what, clause string, demand, capacity float64) strength.Verdict {
		v := strength.Verdict{What: what, Clause: clause, Demand: demand, Capacity: capacity, Unit: "kN/m", Fullness: math.Inf(1)}
		if capacity > 0 {
			v.Fullness = demand / capacity
		}
		v.Passes = v.Fullness <= 1
		return v
	}
	return []strength.Verdict{
		verdict("trimmer at ultimate", "EN 1990 6.4.3.2; "+t.Source, ultimate, allowed.DesignKNPerM),
		verdict("trimmer in service", "EN 1990 6.14b; "+t.Source, service, allowed.ServiceKNPerM),
	}
}

func fullest(verdicts []strength.Verdict) strength.Verdict {
	worst := verdicts[0]
	for _, v := range verdicts[1:] {
		if v.Fullness > worst.Fullness {
			worst = v
		}
	}
	return worst
}

// checks are the answers of the code to the questions that laying asks.
func (d *Designer) checks(room Room, kits []arrange.Kit) arrange.Checks {
	c := d.catalogue
	// What is made good on site counts as 200 mm of concrete.
	const fillMM = 200
	dead := d.finishes(room) + fillMM*25e-3
	return arrange.Checks{
		Carry: d.carry(room, kits),
		React: func(m arrange.Member) (left, right arrange.Force) { return d.react(room, kits[m.Kit], m) },
		Longest: func(kit, perRow int, bearingMM float64) arrange.Reach {
			clear, pattern, governing := d.longest(room, kits, kit, perRow, bearingMM)
			return arrange.Reach{ClearMM: clear, Pattern: pattern, Governing: governing}
		},
		Trim: func(i int, clearMM float64, forces []arrange.PointForce) arrange.Outcome {
			v := fullest(c.trimmerVerdicts(c.Trimmers[i], clearMM, forces, room.Loads.Category))
			return arrange.Outcome{Passes: v.Passes, Fullness: v.Fullness, Governing: v.What}
		},
		FillN: arrange.Force{PermanentN: dead * 1e-3, VariableN: room.Loads.ImposedKNPerM2 * 1e-3},
	}
}

// react is what the beams of a row put on their supports together, in
// characteristic values.
func (d *Designer) react(room Room, kit arrange.Kit, m arrange.Member) (left, right arrange.Force) {
	b := d.beam(room, kit, m)
	f := b.Floor
	span := f.ClearSpanMM + 2*strength.SupportOffsetMM(d.sections[kit.Profile].HeightMM, f.BearingMM)
	dead := strength.Uniform(span, d.sections[kit.Profile].AreaMM2*25e-6*float64(m.PerRow)+f.InfillKNPerM+f.FinishesKNPerM2*f.PitchMM/1000)
	live := strength.Uniform(span, f.ImposedKNPerM2*f.PitchMM/1000)
	dead.Stretches, dead.Points = append(dead.Stretches, f.Lines...), append(dead.Points, f.Points...)
	for _, p := range f.Points {
		live.Points = append(live.Points, strength.PointLoad{AtMM: p.AtMM, N: p.VariableN})
	}
	return arrange.Force{PermanentN: dead.LeftN(), VariableN: live.LeftN()}, arrange.Force{PermanentN: dead.RightN(), VariableN: live.RightN()}
}

// trimmers lists a layout's trimmers as pieces.
func (d *Designer) trimmers(f Floor, room Room, l arrange.Layout) []TrimmerPiece {
	var out []TrimmerPiece
	for i, h := range l.Headers {
		t := d.catalogue.Trimmers[h.Trimmer]
		verdicts := d.catalogue.trimmerVerdicts(t, h.ClearMM, h.Forces, room.Loads.Category)
		worst := fullest(verdicts)
		out = append(out, TrimmerPiece{Mark: fmt.Sprintf("%s-%s-T%d", f.Floor, room.ID, i+1), Name: t.Name, LengthMM: int(h.LengthMM), ClearMM: h.ClearMM,
			MassG: int64(math.Round(h.LengthMM * t.KgPerM)), Quad: h.Quad, Verdicts: verdicts, Fullness: worst.Fullness, Governing: worst.What})
	}
	return out
}
