package strength

import "math"

func (w *work) sectionSteps() {
	w.part = "Section"
	s := w.section
	w.step("A", "area", "", "polygon", s.AreaMM2, "mm2")
	w.step("yb", "centroid above soffit", "", "polygon", s.CentroidMM, "mm")
	w.step("I", "second moment of area", "", "polygon", s.InertiaMM4, "mm4")
	w.step("Wb", "bottom modulus", "", "I / yb", s.BottomModulusMM3(), "mm3")
	w.step("Wt", "top modulus", "", "I / (h - yb)", s.TopModulusMM3(), "mm3")
	w.step("u", "perimeter", "", "polygon", s.PerimeterMM, "mm")
	h0 := w.step("h0", "notional size", "EN 1992-1-1 3.1.4(5)", "2 A / u", s.NotionalSizeMM(), "mm")
	w.climate = Climate{HumidityPercent: w.beam.Floor.HumidityPercent, NotionalSizeMM: h0}
	w.gross = Transformed{AreaMM2: s.AreaMM2, CentroidMM: s.CentroidMM, InertiaMM4: s.InertiaMM4}
}

func (w *work) concreteSteps() {
	w.part = "Concrete"
	c, t := w.concrete, w.beam.Casting.TransferAgeDays
	w.step("fck", "characteristic strength at 28 days", "EN 1992-1-1 3.1.2", "class", c.FckMPa, "MPa")
	w.step("fctm", "mean tensile strength", "EN 1992-1-1 Table 3.1", "0.30 fck^(2/3), or 2.12 ln(1 + fcm/10) above C50", c.FctmMPa(), "MPa")
	w.step("fctk,0.05", "5 % fractile of it", "EN 1992-1-1 Table 3.1", "0.7 fctm", c.Fctk05MPa(), "MPa")
	w.step("Ecm", "modulus", "EN 1992-1-1 Table 3.1", "22000 (fcm/10)^0.3", c.EcmMPa(), "MPa")
	w.step("bcc(t0)", "strength gained at transfer", "EN 1992-1-1 3.2", "exp(s (1 - sqrt(28/t0)))", c.Gain(t), "")
	w.step("fcm(t0)", "mean strength at transfer", "EN 1992-1-1 3.1", "bcc fcm", c.FcmAtMPa(t), "MPa")
	w.step("fck(t0)", "characteristic strength at transfer", "EN 1992-1-1 3.1.2(5)", "fcm(t0) - 8", c.FckAtMPa(t), "MPa")
	w.step("fctm(t0)", "mean tensile strength at transfer", "EN 1992-1-1 3.4", "bcc^a fctm", c.FctmAtMPa(t), "MPa")
	w.step("Ecm(t0)", "modulus at transfer", "EN 1992-1-1 3.5", "bcc^0.3 Ecm", c.EcmAtMPa(t), "MPa")
}

func (w *work) transferSteps() {
	w.part = "Prestress at transfer"
	wire, cast := w.beam.Pattern.Wire, w.beam.Casting
	area := w.step("Ap", "area of the wires", "", "count x area", w.beam.Pattern.AreaMM2(), "mm2")
	cp := w.step("yp", "centroid of the wires above soffit", "", "sum n y / sum n", w.beam.Pattern.CentroidMM(), "mm")
	w.ecc = w.step("e", "eccentricity below the centroid", "", "yb - yp", w.section.CentroidMM-cp, "mm")
	limit := w.step("sp,max", "greatest stress while stressing", "EN 1992-1-1 5.10.2.1(1)", "min(0.8 fpk, 0.9 fp0.1k)", wire.MaxStressingMPa(), "MPa")
	w.verdict("stress in the wires while stressing", "EN 1992-1-1 5.10.2.1(1)", cast.BedStressMPa, limit, "MPa")
	early := w.step("dsr", "relaxation before transfer", "EN 1992-1-1 3.28 to 3.30", "class, rho1000, mu, t", wire.RelaxationMPa(cast.BedStressMPa, cast.HoursStressed), "MPa")
	release := w.step("s,rel", "stress just before the wires are cut", "EN 1992-1-1 5.10.4", "bed stress - relaxation", cast.BedStressMPa-early, "MPa")
	w.transfer = TransferOf(w.section, w.beam.Pattern, release, w.concrete.EcmAtMPa(cast.TransferAgeDays))
	t := w.transfer
	w.step("At", "area, transformed", "", "A + (n0 - 1) Ap", t.Section.AreaMM2, "mm2")
	w.step("yb,t", "centroid, transformed", "", "with (n0 - 1) Ap at each row", t.Section.CentroidMM, "mm")
	w.step("It", "second moment of area, transformed", "", "about yb,t", t.Section.InertiaMM4, "mm4")
	w.step("e,t", "eccentricity, transformed", "", "yb,t - yp", t.Section.EccentricityMM, "mm")
	for i, s := range t.RowMPa {
		w.step("sp0,"+rowName(i), "stress in the row of wires after transfer", "EN 1992-1-1 5.10.4(1)(iii)", "s,rel - n0 sc at the row", s, "MPa")
	}
	w.step("Pm0", "prestressing force after transfer", "EN 1992-1-1 5.10.3", "sum of the rows", t.ForceN, "N")
	mean := w.step("spm0", "mean stress after transfer", "EN 1992-1-1 5.10.3", "Pm0 / Ap", t.MeanMPa, "MPa")
	cap0 := w.step("spm0,max", "greatest stress after transfer", "EN 1992-1-1 5.10.3(2)", "min(0.75 fpk, 0.85 fp0.1k)", wire.MaxAfterTransferMPa(), "MPa")
	w.verdict("stress in the wires after transfer", "EN 1992-1-1 5.10.3(2)", mean, cap0, "MPa")
	w.step("loss0", "elastic loss of the force", "EN 1992-1-1 5.10.4(1)(iii)", "s,rel Ap - Pm0", release*area-t.ForceN, "N")
}

func rowName(i int) string { return "row " + string(rune('1'+i)) }

func (w *work) loadSteps() {
	w.part = "Loads and combinations"
	f, n := w.beam.Floor, w.beam.National
	half := SupportOffsetMM(w.section.HeightMM, f.BearingMM)
	w.span = f.EffectiveSpanMM
	if w.span == 0 {
		w.span = f.ClearSpanMM + 2*half
	}
	w.step("leff", "effective span", "EN 1992-1-1 5.3.2.2", "ln + 2 min(h/2, t/2), unless given", w.span, "mm")
	beams := float64(f.BeamsPerRow)
	self := w.step("g0", "self weight of the beam", "EN 1991-1-1 Table A.1", "A x 25 kN/m3", w.section.AreaMM2*25e-6, "kN/m")
	infill := w.step("g1", "blocks", "", "infill / beams per row", f.InfillKNPerM/beams, "kN/m")
	finish := w.step("g2", "finishes", "", "finishes x pitch / beams per row", f.FinishesKNPerM2*f.PitchMM/1000/beams, "kN/m")
	live := w.step("q", "imposed load", "EN 1991-1-1 6.3.1", "imposed x pitch / beams per row", f.ImposedKNPerM2*f.PitchMM/1000/beams, "kN/m")
	w.self = Uniform(w.span, self)
	extra := Loads{SpanMM: w.span, Stretches: f.Lines, Points: f.Points}
	w.perm = Uniform(w.span, self+infill+finish).Plus(extra, 1/beams)
	w.imposed = Uniform(w.span, live)
	for _, p := range f.Points {
		w.imposed.Points = append(w.imposed.Points, PointLoad{AtMM: p.AtMM, N: p.VariableN / beams})
	}
	w.psi = RecommendedPsi[f.Category]
	worst, worstUnreduced := 0.0, 0.0
	for _, c := range Combinations(n, w.psi) {
		m, _ := w.combined(c.Permanent, c.Variable).MaxMoment()
		w.step("M "+c.Name, "moment, "+c.Name, c.Clause, "greatest on the span", m*1e-6, "kNm")
		w.step("V "+c.Name, "shear at the support, "+c.Name, c.Clause, "greater reaction", w.greaterReaction(c.Permanent, c.Variable)*1e-3, "kN")
		reduced := c.Name != "6.10"
		if c.Ultimate && reduced == n.UseAB && m > worst {
			worst, w.ulsDead, w.ulsLive = m, c.Permanent, c.Variable
		}
		worstUnreduced = math.Max(worstUnreduced, m)
	}
	w.step("MEd", "design moment", "EN 1990 6.4.3.2", "6.10, or the worse of 6.10a and 6.10b where a country says so", worst*1e-6, "kNm")
}

// SupportOffsetMM is the distance of the support axis behind the inner edge of
// the bearing, min(h/2, t/2) (EN 1992-1-1 5.3.2.2).
func SupportOffsetMM(heightMM, bearingMM float64) float64 {
	return math.Min(heightMM/2, bearingMM/2)
}

func (w *work) combined(permanent, variable float64) Loads {
	return w.perm.Times(permanent).Plus(w.imposed, variable)
}

func (w *work) greaterReaction(permanent, variable float64) float64 {
	l := w.combined(permanent, variable)
	return math.Max(l.LeftN(), l.RightN())
}

func (w *work) lossSteps() {
	w.part = "Losses over time"
	f, cast, wire := w.beam.Floor, w.beam.Casting, w.beam.Pattern.Wire
	endDays := f.DesignHours / 24
	w.creep = CreepOf(w.concrete, w.climate, cast.TransferAgeDays, endDays)
	w.step("phiRH", "humidity and size", "EN 1992-1-1 B.3", "", w.creep.PhiRH, "")
	w.step("b(fcm)", "strength", "EN 1992-1-1 B.4", "16.8 / sqrt(fcm)", w.creep.BetaFcm, "")
	w.step("t0,adj", "age at transfer, adjusted", "EN 1992-1-1 B.9", "t0 (9/(2 + t0^1.2) + 1)^a", w.creep.AdjustedAgeDays, "days")
	w.step("b(t0)", "age at loading", "EN 1992-1-1 B.5", "1/(0.1 + t0^0.20)", w.creep.BetaT0, "")
	phi := w.step("phi", "creep coefficient at the end", "EN 1992-1-1 B.1", "phiRH b(fcm) b(t0) bc", w.creep.Phi, "")
	sh := ShrinkageOf(w.concrete, w.climate, cast.TransferAgeDays, endDays)
	w.step("ecd", "drying shrinkage", "EN 1992-1-1 3.9", "bds kh ecd,0", sh.Drying*1e3, "per mille")
	w.step("eca", "autogenous shrinkage", "EN 1992-1-1 3.11", "bas eca(inf)", sh.Autogenous*1e3, "per mille")
	w.step("ecs", "total shrinkage", "EN 1992-1-1 3.8", "ecd + eca", sh.Total*1e3, "per mille")
	qp, _ := w.combined(1, w.psi.Psi2).MaxMoment()
	stress := w.step("sc,QP", "concrete stress at the wires, quasi-permanent", "EN 1992-1-1 5.10.6", "Pm0/A + Pm0 e2/I - MQP e/I",
		w.transfer.ForceN/w.section.AreaMM2+(w.transfer.ForceN*w.ecc-qp)*w.ecc/w.section.InertiaMM4, "MPa")
	relax := w.step("dspr", "relaxation at the end", "EN 1992-1-1 3.28 to 3.30", "class, rho1000, mu, t", wire.RelaxationMPa(w.transfer.MeanMPa, f.DesignHours), "MPa")
	w.longTerm = LongTermOf(LongTermInput{
		ShrinkageStrain: sh.Total, RelaxationMPa: relax, Creep: phi, ConcreteMPa: math.Max(stress, 0),
		WireModulusMPa: wire.ModulusMPa, EcmMPa: w.concrete.EcmMPa(),
		WireAreaMM2: w.beam.Pattern.AreaMM2(), AreaMM2: w.section.AreaMM2,
		InertiaMM4: w.section.InertiaMM4, EccentricityMM: w.ecc,
	})
	w.step("ds,s", "part of shrinkage", "EN 1992-1-1 5.46", "ecs Ep", w.longTerm.ShrinkageMPa, "MPa")
	w.step("ds,r", "part of relaxation", "EN 1992-1-1 5.46", "0.8 dspr", w.longTerm.RelaxationMPa, "MPa")
	w.step("ds,c", "part of creep", "EN 1992-1-1 5.46", "Ep/Ecm phi sc,QP", w.longTerm.CreepMPa, "MPa")
	w.step("div", "restraint by the section", "EN 1992-1-1 5.46", "1 + Ep Ap/(Ecm A) (1 + A e2/I)(1 + 0.8 phi)", w.longTerm.Restraint, "")
	w.step("dsp", "loss over time", "EN 1992-1-1 5.46", "(ds,s + ds,r + ds,c) / div", w.longTerm.LossMPa, "MPa")
	w.remain = w.step("spinf", "stress that remains", "EN 1992-1-1 5.10.6", "spm0 - dsp", w.transfer.MeanMPa-w.longTerm.LossMPa, "MPa")
	w.remainN = w.step("Pinf", "force that remains", "EN 1992-1-1 5.10.6", "spinf Ap", w.remain*w.beam.Pattern.AreaMM2(), "N")
	w.step("loss", "total loss", "", "1 - spinf / bed stress", 100*(1-w.remain/cast.BedStressMPa), "%")
}
