package papers

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/tdewolff/canvas"

	"spanyard.example/services/layout/internal/strength"
)

// Calculations writes a calculation sheet for each report, so that an
// engineer can follow it by hand: the section, every step with its clause, and
// every check.
func Calculations(w io.Writer, title string, reports []strength.Report) error {
	p, err := newPaper("Calculation of beams: "+title, strength.Caution)
	if err != nil {
		return err
	}
	for i, r := range reports {
		if i > 0 {
			p.turn()
		}
		p.calculation(r)
	}
	return p.write(w)
}

func (p *paper) calculation(r strength.Report) {
	p.heading("Beam " + r.Beam.Name)
	p.section(r)
	f, c := r.Beam.Floor, r.Beam.Casting
	p.paragraph(fmt.Sprintf("Clear span %.0f mm, bearing %.0f mm at each end; %d beam(s) a row carry a strip of %.0f mm: imposed %.2f kN/m2 (category %s), finishes and screed %.2f kN/m2, blocks %.2f kN/m.",
		f.ClearSpanMM, f.BearingMM, f.BeamsPerRow, f.PitchMM, f.ImposedKNPerM2, f.Category, f.FinishesKNPerM2, f.InfillKNPerM))
	p.paragraph(fmt.Sprintf("Concrete fck %.0f MPa, cement class %s; wires %s, fpk %.0f, fp0.1k %.0f MPa, %.2f mm2 each, stressed to %.0f MPa on the bed and cut after %.1f days.",
		r.Beam.FckMPa, r.Beam.Cement, r.Beam.Pattern.Wire.Name, r.Beam.Pattern.Wire.FpkMPa, r.Beam.Pattern.Wire.Fp01kMPa, r.Beam.Pattern.Wire.AreaMM2, c.BedStressMPa, c.TransferAgeDays))
	if t := r.Topping; t != nil {
		p.paragraph(fmt.Sprintf("Topping of %.0f mm, fck %.0f MPa, cast on a %s surface %.0f mm above the soffit when the beam is %.0f days old; %.0f mm of its width carry with the beam.",
			t.ThicknessMM, t.FckMPa, strings.ReplaceAll(string(t.Surface), "_", " "), t.UndersideMM, t.CastAgeDays, t.EffectiveWidthMM))
	}
	p.verdicts(r)
	p.stresses(r)
	part, rows := "", [][]string(nil)
	flush := func() {
		if len(rows) > 0 {
			p.heading(part)
			p.table([]column{{"symbol", 26, false}, {"value", 22, true}, {"unit", 14, false}, {"clause (EN 1992-1-1 unless named)", 46, false}, {"meaning: formula", 70, false}}, rows)
		}
		rows = nil
	}
	for _, s := range r.Steps {
		if s.Part != part {
			flush()
			part = s.Part
		}
		meaning := s.What
		if s.Formula != "" {
			meaning += ": " + s.Formula
		}
		rows = append(rows, []string{s.Symbol, figure(s.Value), s.Unit, s.Clause, meaning})
	}
	flush()
	p.heading("Choices that the code leaves open, as made here")
	for _, c := range r.Choices {
		p.paragraph("- " + c)
	}
}

// verdicts shows each check with a bar that is full at the right edge.
func (p *paper) verdicts(r strength.Report) {
	p.heading("Checks")
	var rows [][]string
	for _, v := range r.Verdicts {
		mark := "ok"
		if !v.Passes {
			mark = "FAILS"
		}
		rows = append(rows, []string{v.What, v.Clause, figure(v.Demand), figure(v.Capacity), v.Unit, fmt.Sprintf("%.1f %%", 100*v.Fullness), mark, ""})
	}
	columns := []column{{"check", 52, false}, {"clause", 40, false}, {"demand", 17, true}, {"capacity", 17, true}, {"unit", 12, false}, {"full", 15, true}, {"", 11, false}, {"", 14, false}}
	p.cells(columns, heads(columns), true)
	for i, cells := range rows {
		p.room(float64(p.tallest(columns, cells)))
		y := p.y
		p.cells(columns, cells, false)
		x := pageWidth - right - 14.0
		p.stroke(canvas.Rectangle(13, 2.4).Translate(x, y), 0.18)
		full := math.Max(0, math.Min(1, r.Verdicts[i].Fullness))
		p.ctx.SetFillColor(canvas.Gray)
		p.ctx.SetStrokeColor(canvas.Transparent)
		p.ctx.DrawPath(0, 0, canvas.Rectangle(13*full, 2.4).Translate(x, y))
	}
	p.y -= 1.5
	verdict := "The beam passes every check."
	if !r.Passes {
		verdict = "THE BEAM DOES NOT PASS."
	}
	p.paragraph(fmt.Sprintf("%s Governing on the floor: %s, %.1f %% full.", verdict, r.Governing.What, 100*r.Governing.Fullness))
}

// stresses shows the concrete's stress at each fibre, stage by stage.
func (p *paper) stresses(r strength.Report) {
	columns := []column{{"stage", 52, false}}
	at := map[string]int{}
	var rows [][]string
	for _, s := range r.Stresses {
		if at[s.Fibre] == 0 {
			at[s.Fibre] = len(columns)
			columns = append(columns, column{fmt.Sprintf("%s, %.0f mm", s.Fibre, s.HeightMM), 31, true})
		}
	}
	for _, s := range r.Stresses {
		if len(rows) == 0 || rows[len(rows)-1][0] != s.Stage {
			rows = append(rows, make([]string, len(columns)))
			rows[len(rows)-1][0] = s.Stage
		}
		rows[len(rows)-1][at[s.Fibre]] = fmt.Sprintf("%.2f", s.MPa)
	}
	p.heading("Stresses of the concrete in MPa, compression positive")
	p.table(columns, rows)
}

// section draws the outline with its wires, 1:2, and where a topping lies.
func (p *paper) section(r strength.Report) {
	const scale = 2.0
	b := r.Beam
	low, high, tall := math.Inf(1), math.Inf(-1), 0.0
	for _, q := range b.Outline {
		low, high, tall = math.Min(low, q.XMM), math.Max(high, q.XMM), math.Max(tall, q.YMM)
	}
	whole := tall
	if r.Topping != nil {
		whole = r.Topping.UndersideMM + r.Topping.ThicknessMM
	}
	height := whole / scale
	p.room((height + 8) / row)
	base := p.y - height
	x0 := left + 16 - low/scale
	path := &canvas.Path{}
	for i, q := range b.Outline {
		if i == 0 {
			path.MoveTo(x0+q.XMM/scale, base+q.YMM/scale)
		} else {
			path.LineTo(x0+q.XMM/scale, base+q.YMM/scale)
		}
	}
	path.Close()
	p.stroke(path, 0.5)
	middle := x0 + (low+high)/2/scale
	for _, r := range b.Pattern.Rows {
		p.ctx.SetFillColor(canvas.Black)
		p.ctx.SetStrokeColor(canvas.Transparent)
		for i := range r.Count {
			spread := math.Min(12, 44/float64(r.Count))
			p.ctx.DrawPath(middle+(float64(i)-float64(r.Count-1)/2)*spread/scale*1.6, base+r.HeightMM/scale, canvas.Circle(b.Pattern.Wire.DiameterMM/scale/2))
		}
		p.put(x0+high/scale+6, base+r.HeightMM/scale-1, body, false, fmt.Sprintf("%d of %.1f mm at %.0f mm", r.Count, b.Pattern.Wire.DiameterMM, r.HeightMM))
	}
	if t := r.Topping; t != nil {
		// The topping goes on to both sides; its width is written, not drawn.
		from, to := x0+low/scale-14, x0+high/scale+14
		p.rule(from, base+height, to, base+height, 0.25)
		for side, x := range [2]float64{from, to} {
			p.rule(x, base+t.UndersideMM/scale, x0+flank(b.Outline, side, t.UndersideMM)/scale, base+t.UndersideMM/scale, 0.25)
		}
		p.put(x0+high/scale+18, base+height-2, body, false, fmt.Sprintf("topping, %.0f mm thick from %.0f mm up, %.0f mm wide", t.ThicknessMM, t.UndersideMM, t.EffectiveWidthMM))
	}
	p.put(x0+high/scale+6, base+tall/scale-1, body, false, fmt.Sprintf("%.0f mm deep, %.0f mm wide; drawn 1:%.0f, wires spread to be seen", tall, high-low, scale))
	p.y = base - 6
}

// flank is how far an outline reaches to the left (side 0) or right at a level
// just below its top.
func flank(o strength.Outline, side int, y float64) float64 {
	y -= 0.01
	found := 0.0
	for i, a := range o {
		b := o[(i+1)%len(o)]
		if (a.YMM > y) == (b.YMM > y) {
			continue
		}
		x := a.XMM + (y-a.YMM)/(b.YMM-a.YMM)*(b.XMM-a.XMM)
		if found == 0 || side == 0 && x < found || side == 1 && x > found {
			found = x
		}
	}
	return found
}
