package strength

import (
	"math"
	"strconv"
)

// number writes a whole length for the sheet.
func number(mm float64) string { return strconv.FormatFloat(mm, 'f', 0, 64) }

func (w *work) loadSteps() {
	w.part = "Span"
	f := w.beam.Floor
	w.step("ln", "clear span", "", "given", f.ClearSpanMM, "mm")
	w.step("ab", "length of each bearing", "", "given", f.BearingMM, "mm")
	w.lengthMM = w.step("L", "length of the beam", "", "ln + 2 ab", f.ClearSpanMM+2*f.BearingMM, "mm")
	w.span = w.step("leff", "effective span", "EN 1992-1-1 5.3.2.2", "ln + 2 min(h/2, ab/2), unless given", f.spanMM(w.section), "mm")
	beams := float64(f.BeamsPerRow)
	w.step("n", "beams side by side in a row", "", "given", beams, "")
	strip := w.step("b", "strip of floor on each beam", "", "strip of the row / n", f.PitchMM/beams, "mm")
	if f.Topping != nil {
		w.toppingSteps(strip)
	}
	w.part = "Loads and combinations"
	w.selfN = w.step("g0", "self weight of the beam", "EN 1991-1-1 Table A.1", "A x 25 kN/m3", w.section.AreaMM2*concreteNPerMM3, "kN/m")
	early := w.selfN + w.step("g1", "blocks", "", "blocks of the row / n", f.InfillKNPerM/beams, "kN/m")
	if w.topping != nil {
		early += w.step("gt", "topping", "EN 1991-1-1 Table A.1", "(thickness x b + what lies beside the beam - the beam in it) x 25 kN/m3", w.toppingWeight(strip)*concreteNPerMM3, "kN/m")
	}
	finish := w.step("g2", "finishes", "", "finishes x b", f.FinishesKNPerM2*strip*1e-3, "kN/m")
	live := w.imposedSteps(strip)

	lines, points := share(f, beams, w.span)
	late := Uniform(w.span, finish)
	late.Stretches = append(late.Stretches, lines...)
	late.Points = points.permanent
	imposed := Uniform(w.span, live)
	imposed.Points = points.variable
	at := breaksOf(w.span, late, imposed)
	w.early, w.late, w.imposed = diagramOf(at, Uniform(w.span, early)), diagramOf(at, late), diagramOf(at, imposed)
	for i, l := range lines {
		w.step("gl", "line load on the beam, from "+number(f.Lines[i].FromMM)+" to "+number(f.Lines[i].ToMM)+" mm", "", "line load / n", l.NPerMM, "kN/m")
	}
	for i, p := range f.Points {
		w.step("G", "force on the beam at "+number(p.AtMM)+" mm, permanent", "", "force / n", points.permanent[i].N*1e-3, "kN")
		w.step("Q", "force on the beam at "+number(p.AtMM)+" mm, imposed", "", "force / n", points.variable[i].N*1e-3, "kN")
	}
	w.combinationSteps()
}

// imposedSteps returns the imposed load of a beam per length.
func (w *work) imposedSteps(strip float64) float64 {
	f, n := w.beam.Floor, w.beam.National
	w.psi = RecommendedPsi[f.Category]
	w.step("psi0", "combination factor", "EN 1990 Table A1.1", "category of use", w.psi.Psi0, "")
	w.step("psi1", "frequent factor", "EN 1990 Table A1.1", "category of use", w.psi.Psi1, "")
	w.step("psi2", "quasi-permanent factor", "EN 1990 Table A1.1", "category of use", w.psi.Psi2, "")
	load := w.step("qk", "imposed load", "EN 1991-1-1 Table 6.2", "given", f.ImposedKNPerM2, "kN/m2")
	if f.MovablePartitionsKNPerM > 0 {
		load += w.step("qp", "movable partitions", "EN 1991-1-1 6.3.1.2(8)", "0.5, 0.8 or 1.2 up to 1, 2 or 3 kN/m", movablePartitionsKNPerM2(f.MovablePartitionsKNPerM), "kN/m2")
	}
	if n.UseAreaReduction && f.Category != "E" {
		load *= w.step("aA", "reduction by the area", "EN 1991-1-1 6.3.1.2(10)", "5/7 psi0 + 10 m2/(b leff), at most 1", AreaReduction(w.psi.Psi0, strip*w.span*1e-6), "")
	}
	return w.step("q", "imposed load of the beam", "EN 1991-1-1 6.3.1", "(qk + partitions) b", load*strip*1e-3, "kN/m")
}

// forces of a beam by how they act.
type forces struct{ permanent, variable []PointLoad }

// share gives each beam of a row its part of line and point loads. What
// reaches beyond the span by rounding ends at the support.
func share(f Floor, beams, span float64) (lines []Stretch, points forces) {
	for _, l := range f.Lines {
		lines = append(lines, Stretch{FromMM: l.FromMM, ToMM: math.Min(l.ToMM, span), NPerMM: l.NPerMM / beams})
	}
	for _, p := range f.Points {
		at := math.Min(p.AtMM, span)
		points.permanent = append(points.permanent, PointLoad{AtMM: at, N: p.N / beams})
		points.variable = append(points.variable, PointLoad{AtMM: at, N: p.VariableN / beams})
	}
	return lines, points
}

func (w *work) combinationSteps() {
	f, n := w.beam.Floor, w.beam.National
	for _, c := range Combinations(n, w.psi) {
		total := w.combined(c.Permanent, c.Variable)
		m, _ := total.greatest()
		v := total.reactionN()
		w.step(c.moment, c.momentOf, c.Clause, "", m*1e-6, "kNm")
		w.step(c.shear, c.shearOf, c.Clause, "", v*1e-3, "kN")
		if c.Ultimate && n.UseAB == (c.Name != "6.10") {
			w.ultimates = append(w.ultimates, loadCase{dead: c.Permanent, live: c.Variable})
			w.reactionN = math.Max(w.reactionN, v)
		}
	}
	if f.ConcentratedKN > 0 {
		q := w.step("Qk", "concentrated load on the beam", "EN 1991-1-1 6.3.1.2(3)", "given / n", f.ConcentratedKN/float64(f.BeamsPerRow), "kN")
		w.ultimates = append(w.ultimates, loadCase{dead: n.GammaG, pointN: n.GammaQ * q * 1e3})
		w.step("M Qk", "greatest moment, permanent and concentrated", "EN 1990 6.4.3.2, 6.10", "the force at mid-span", (n.GammaG*w.permanent().momentNMM(w.span/2)+n.GammaQ*q*1e3*w.span/4)*1e-6, "kNm")
	}
	w.step("MEd", "design moment", "EN 1990 6.4.3.2", "6.10, or the worse of 6.10a and 6.10b where a country says so; Qk where it is worst", w.greatestNMM()*1e-6, "kNm")
}

// SupportOffsetMM is the distance of the support axis behind the inner edge of
// the bearing, min(h/2, t/2) (EN 1992-1-1 5.3.2.2).
func SupportOffsetMM(heightMM, bearingMM float64) float64 {
	return math.Min(heightMM/2, bearingMM/2)
}

func (w *work) permanent() diagram { return w.early.plus(w.late, 1) }

func (w *work) combined(permanent, variable float64) diagram {
	sum := newDiagram(w.early.at)
	for i := range sum.at {
		sum.shear[i] = permanent*(w.early.shear[i]+w.late.shear[i]) + variable*w.imposed.shear[i]
		sum.moment[i] = permanent*(w.early.moment[i]+w.late.moment[i]) + variable*w.imposed.moment[i]
		sum.line[i] = permanent*(w.early.line[i]+w.late.line[i]) + variable*w.imposed.line[i]
	}
	return sum
}

func (w *work) lossSteps() {
	w.part = "Losses over time"
	f, cast, wire := w.beam.Floor, w.beam.Casting, w.beam.Pattern.Wire
	endDays := f.DesignHours / 24
	w.step("RH", "humidity of the air", "", "given", f.HumidityPercent, "%")
	w.step("tend", "end of the design life", "", "given", endDays, "days")
	w.creep = CreepOf(w.concrete, w.climate, w.age, endDays)
	w.step("phiRH", "humidity and size", "EN 1992-1-1 B.3", "(1 + (1 - RH/100)/(0.1 h0^(1/3)) a1) a2", w.creep.PhiRH, "")
	w.step("b(fcm)", "strength", "EN 1992-1-1 B.4", "16.8 / sqrt(fcm)", w.creep.BetaFcm, "")
	w.step("t0,adj", "age at transfer, adjusted", "EN 1992-1-1 B.9", "t0 (9/(2 + t0^1.2) + 1)^a", w.creep.AdjustedAgeDays, "days")
	w.step("b(t0)", "age at loading", "EN 1992-1-1 B.5", "1/(0.1 + t0^0.20)", w.creep.BetaT0, "")
	w.step("phi0", "notional creep coefficient", "EN 1992-1-1 B.2", "phiRH b(fcm) b(t0)", w.creep.Phi0, "")
	w.step("bc", "growth with time", "EN 1992-1-1 B.7", "((t - t0)/(bH + t - t0))^0.3", w.creep.BetaC, "")
	self := diagramOf(w.early.at, Uniform(w.span, w.selfN)).momentNMM(w.span / 2)
	atWires := w.transfer.Section.StressMPa(w.transfer.Section.ForceN, self-w.transfer.Section.ForceN*w.transfer.Section.EccentricityMM, w.section.CentroidMM-w.ecc)
	raised := nonlinear(w.creep.Phi, atWires, w.concrete.FckAtMPa(w.age))
	if raised > w.creep.Phi {
		w.step("sc/fck(t0)", "compression at the wires at transfer", "EN 1992-1-1 3.1.4(4)", "more than 0.45", atWires/w.concrete.FckAtMPa(w.age), "")
		w.step("phi,lin", "creep coefficient, linear", "EN 1992-1-1 B.1", "phi0 bc", w.creep.Phi, "")
	}
	w.creep.Phi = w.step("phi", "creep coefficient at the end", "EN 1992-1-1 B.1, 3.7", "phi0 bc, raised beyond 0.45 fck(t0)", raised, "")
	w.shrinkage = ShrinkageOf(w.concrete, w.climate, w.age, endDays)
	w.step("ecd,0", "drying shrinkage, unrestrained", "EN 1992-1-1 B.11", "0.85 ((220 + 110 a1) exp(-a2 fcm/10)) bRH", w.shrinkage.Nominal*1e3, "per mille")
	w.step("ecd", "drying shrinkage", "EN 1992-1-1 3.9", "bds kh ecd,0", w.shrinkage.Drying*1e3, "per mille")
	w.step("eca", "autogenous shrinkage", "EN 1992-1-1 3.11", "bas 2.5 (fck - 10) 10^-6", w.shrinkage.Autogenous*1e3, "per mille")
	w.step("ecs", "total shrinkage", "EN 1992-1-1 3.8", "ecd + eca", w.shrinkage.Total*1e3, "per mille")
	if w.topping != nil {
		w.differentialSteps(endDays)
	}
	stress := w.step("sc,QP", "concrete stress at the wires, quasi-permanent", "EN 1992-1-1 5.10.6", "Pm0/A + (Pm0 e - M on the beam) e/I - M on beam and topping/Ic (yc - yp)", w.quasiAtWires(), "MPa")
	relax := w.step("dspr", "relaxation at the end", "EN 1992-1-1 3.28 to 3.30", "class, rho1000, mu, t", wire.RelaxationMPa(w.transfer.MeanMPa, f.DesignHours), "MPa")
	loss := LongTermOf(LongTermInput{
		ShrinkageStrain: w.shrinkage.Total, RelaxationMPa: relax, Creep: w.creep.Phi, ConcreteMPa: math.Max(stress, 0),
		WireModulusMPa: wire.ModulusMPa, EcmMPa: w.concrete.EcmMPa(),
		WireAreaMM2: w.beam.Pattern.AreaMM2(), AreaMM2: w.section.AreaMM2,
		InertiaMM4: w.section.InertiaMM4, EccentricityMM: w.ecc,
	})
	w.step("ds,s", "part of shrinkage", "EN 1992-1-1 5.46", "ecs Ep", loss.ShrinkageMPa, "MPa")
	w.step("ds,r", "part of relaxation", "EN 1992-1-1 5.46", "0.8 dspr", loss.RelaxationMPa, "MPa")
	w.step("ds,c", "part of creep", "EN 1992-1-1 5.46", "Ep/Ecm phi sc,QP", loss.CreepMPa, "MPa")
	w.step("div", "restraint by the section", "EN 1992-1-1 5.46", "1 + Ep Ap/(Ecm A) (1 + A e2/I)(1 + 0.8 phi)", loss.Restraint, "")
	w.step("dsp", "loss over time", "EN 1992-1-1 5.46", "(ds,s + ds,r + ds,c) / div", loss.LossMPa, "MPa")
	w.remain = w.step("spinf", "stress that remains", "EN 1992-1-1 5.10.6", "spm0 - dsp", w.transfer.MeanMPa-loss.LossMPa, "MPa")
	w.remainN = w.remain * w.beam.Pattern.AreaMM2()
	w.step("Pinf", "force that remains", "EN 1992-1-1 5.10.6", "spinf Ap", w.remainN*1e-3, "kN")
	w.step("loss", "total loss", "", "1 - spinf / bed stress", 100*(1-w.remain/cast.BedStressMPa), "%")
}

// quasiAtWires is the quasi-permanent stress of the concrete at the wires'
// centroid, each load on the section that carries it.
func (w *work) quasiAtWires() float64 {
	_, x := w.combined(1, w.psi.Psi2).greatest()
	late := w.late.momentNMM(x) + w.psi.Psi2*w.imposed.momentNMM(x)
	y := w.section.CentroidMM - w.ecc
	return w.gross.StressMPa(w.transfer.ForceN, w.early.momentNMM(x)-w.transfer.ForceN*w.ecc, y) + w.whole.StressMPa(0, late, y)
}
