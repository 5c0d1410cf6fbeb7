package show

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
)

// figure prints a value of a calculation with five significant digits.
func figure(v float64) string {
	switch a := math.Abs(v); {
	case v == 0:
		return "0"
	case a >= 100_000:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a < 1e-4:
		return strconv.FormatFloat(v, 'e', 4, 64)
	default:
		return strconv.FormatFloat(v, 'f', 4-int(math.Floor(math.Log10(a))), 64)
	}
}

// stresses prints the concrete's stress fibre by fibre, one line a stage.
func stresses(w io.Writer, list []*layoutv1.FibreStress) {
	if len(list) == 0 {
		return
	}
	var fibres, stages []string
	heights, values := map[string]float64{}, map[string]string{}
	for _, s := range list {
		if !slices.Contains(fibres, s.GetFibre()) {
			fibres = append(fibres, s.GetFibre())
		}
		if !slices.Contains(stages, s.GetStage()) {
			stages = append(stages, s.GetStage())
		}
		heights[s.GetFibre()] = s.GetHeightMm()
		values[s.GetStage()+"|"+s.GetFibre()] = fmt.Sprintf("%.2f", s.GetStressMpa())
	}
	fmt.Fprint(w, "\nSTRESSES OF THE CONCRETE IN MPA, compression positive\n")
	heads := []string{"stage"}
	for _, f := range fibres {
		heads = append(heads, fmt.Sprintf("%s (%.0f mm)#", f, heights[f]))
	}
	t := newTable(heads...)
	for _, stage := range stages {
		cells := []any{stage}
		for _, f := range fibres {
			cells = append(cells, cmp.Or(values[stage+"|"+f], "-"))
		}
		t.add(cells...)
	}
	t.write(w)
}

// Beam prints a checked beam: every step, the stresses by stage, then every
// check.
func Beam(w io.Writer, r *layoutv1.BeamReport) {
	fmt.Fprintf(w, "BEAM %s\n", r.GetName())
	paragraph(w, "CAUTION  ", "         ", r.GetCaution())
	part := ""
	var t *table
	for _, s := range r.GetSteps() {
		if s.GetPart() != part {
			if t != nil {
				t.write(w)
			}
			part = s.GetPart()
			fmt.Fprintf(w, "\n%s\n", part)
			t = newTable("symbol", "value#", "unit", "clause", "meaning and formula")
		}
		meaning := s.GetMeaning()
		if s.GetFormula() != "" {
			meaning += ": " + s.GetFormula()
		}
		t.add(s.GetSymbol(), figure(s.GetValue()), s.GetUnit(), s.GetClause(), meaning)
	}
	if t != nil {
		t.write(w)
	}
	stresses(w, r.GetStresses())
	fmt.Fprint(w, "\nCHECKS\n")
	t = newTable("full %#", "demand#", "capacity#", "unit", "", "check")
	for _, v := range r.GetVerdicts() {
		mark := "ok"
		if !v.GetPasses() {
			mark = "FAILS"
		}
		t.add(strconv.FormatFloat(v.GetFullnessPercent(), 'f', 1, 64), figure(v.GetDemand()), figure(v.GetCapacity()), v.GetUnit(), mark,
			fmt.Sprintf("%s (%s)", v.GetCheck(), v.GetClause()))
	}
	t.write(w)
	verdict := "passes every check"
	if !r.GetPasses() {
		verdict = "DOES NOT PASS"
	}
	fmt.Fprintf(w, "\nThe beam %s. Governing: %s, %.1f %% full.\n\nChoices that the code leaves open:\n", verdict, r.GetGoverning().GetCheck(), r.GetGoverning().GetFullnessPercent())
	for _, c := range r.GetChoices() {
		paragraph(w, "  - ", "    ", c)
	}
}

// Design prints what became of the rooms of a drawing.
func Design(w io.Writer, a *layoutv1.DesignFloorResponse) {
	laid := 0
	t := newTable("room", "name", "area m2#", "beams#", "a row#", "profile", "longest mm#", "blocks#", "full %#", "governed by, or why refused")
	for _, r := range a.GetRooms() {
		if r.GetRefusal() != "" {
			t.add(r.GetRoom(), r.GetName(), fmt.Sprintf("%.2f", r.GetAreaM2()), "-", "-", "-", "-", "-", "-", "REFUSED: "+r.GetRefusal()+" "+r.GetHelp())
			continue
		}
		laid++
		t.add(r.GetRoom(), r.GetName(), fmt.Sprintf("%.2f", r.GetAreaM2()), r.GetBeamCount(), r.GetBeamsPerRow(), r.GetProfile(), r.GetLongestMm(),
			r.GetBlockCount(), fmt.Sprintf("%.0f", r.GetFullnessPercent()), r.GetGoverning())
	}
	if a.GetWidthM() > 0 {
		fmt.Fprintf(w, "Read with %g mm to a drawing unit: the rooms measure %.2f m by %.2f m together.\n", a.GetUnitMm(), a.GetWidthM(), a.GetHeightM())
	}
	fmt.Fprintf(w, "%d of %d rooms are laid: %d beams, %.1f m, %.0f kg; %d blocks.\n", laid, len(a.GetRooms()), a.GetBeamCount(),
		float64(a.GetBeamLengthMm())/1000, float64(a.GetBeamMassG())/1000, a.GetBlockCount())
	paragraph(w, "CAUTION  ", "         ", "A designer's aid: a licensed engineer checks and signs under the local code before anything is built.")
	fmt.Fprintln(w)
	t.write(w)
	if len(a.GetProblems()) > 0 {
		fmt.Fprint(w, "\nNO ROOMS, AND WHY\n")
		t = newTable("entity", "layer", "why")
		for _, p := range a.GetProblems() {
			t.add(p.GetEntity(), p.GetLayer(), p.GetProblem())
		}
		t.write(w)
	}
}
