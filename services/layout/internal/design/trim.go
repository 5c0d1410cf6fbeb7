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
	// Fullness of the governing check against what its source states;
	// TrimmerVerdicts has all of them.
	Fullness  float64
	Governing string
}

// evenly is the load, spread evenly over a clear length, that bends and shears
// a trimmer at least as much as forces do.
func evenly(clearMM float64, forces []arrange.PointForce, permanent, variable float64) float64 {
	left, total := 0.0, 0.0
	size := func(f arrange.PointForce) float64 { return permanent*f.PermanentN + variable*f.VariableN }
	for _, f := range forces {
		left += size(f) * (1 - f.AtMM/clearMM)
		total += size(f)
	}
	most := 0.0
	for _, at := range forces {
		moment := left * at.AtMM
		for _, f := range forces {
			moment -= size(f) * math.Max(0, at.AtMM-f.AtMM)
		}
		most = math.Max(most, moment)
	}
	return math.Max(8*most/(clearMM*clearMM), 2*math.Max(left, total-left)/clearMM)
}

// TrimmerVerdicts are the checks of a trimmer in its place.
func (c Catalogue) TrimmerVerdicts(h arrange.Header, category strength.Category) []strength.Verdict {
	return c.trimmerVerdicts(c.Trimmers[h.Trimmer], h.ClearMM, h.Forces, category)
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
	offset := (span - f.ClearSpanMM) / 2
	dead := d.sections[kit.Profile].AreaMM2*25e-6*float64(m.PerRow) + f.InfillKNPerM + f.FinishesKNPerM2*f.PitchMM/1000 + toppingKNPerM2(f.Topping)*f.PitchMM/1000
	half := arrange.Force{PermanentN: dead * span / 2, VariableN: f.ImposedKNPerM2 * f.PitchMM / 1000 * span / 2}
	left, right = half, half
	put := func(at, permanent, variable float64) {
		share := (at + offset) / span
		left.PermanentN, left.VariableN = left.PermanentN+permanent*(1-share), left.VariableN+variable*(1-share)
		right.PermanentN, right.VariableN = right.PermanentN+permanent*share, right.VariableN+variable*share
	}
	for _, l := range m.Lines {
		put((l.FromMM+l.ToMM)/2, l.NPerMM*(l.ToMM-l.FromMM), 0)
	}
	for _, p := range m.Points {
		put(p.AtMM, p.PermanentN, p.VariableN)
	}
	return left, right
}

// toppingKNPerM2 is the weight of a structural topping.
func toppingKNPerM2(t *strength.Topping) float64 {
	if t == nil {
		return 0
	}
	return t.ThicknessMM / 1000 * 25
}

// trimmers lists a layout's trimmers as pieces.
func (d *Designer) trimmers(f Floor, room Room, l arrange.Layout) []TrimmerPiece {
	var out []TrimmerPiece
	for i, h := range l.Headers {
		t := d.catalogue.Trimmers[h.Trimmer]
		worst := fullest(d.catalogue.TrimmerVerdicts(h, room.Loads.Category))
		out = append(out, TrimmerPiece{Mark: fmt.Sprintf("%s-%s-T%d", f.Floor, room.ID, i+1), Name: t.Name, LengthMM: int(h.LengthMM), ClearMM: h.ClearMM,
			MassG: int64(math.Round(h.LengthMM * t.KgPerM)), Quad: h.Quad, Fullness: worst.Fullness, Governing: worst.What})
	}
	return out
}
