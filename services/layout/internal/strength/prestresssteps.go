package strength

import "strconv"

func (w *work) sectionSteps() {
	w.part = "Section"
	s := w.section
	w.step("h", "height", "", "outline", s.HeightMM, "mm")
	w.step("A", "area", "", "outline", s.AreaMM2, "mm2")
	w.step("yb", "centroid above the soffit", "", "outline", s.CentroidMM, "mm")
	w.step("I", "second moment of area", "", "outline", s.InertiaMM4, "mm4")
	w.step("Wb", "bottom modulus", "", "I / yb", s.BottomModulusMM3(), "mm3")
	w.step("Wt", "top modulus", "", "I / (h - yb)", s.TopModulusMM3(), "mm3")
	w.step("u", "perimeter", "", "outline", s.PerimeterMM, "mm")
	h0 := w.step("h0", "notional size", "EN 1992-1-1 3.1.4(5)", "2 A / u", s.NotionalSizeMM(), "mm")
	// The very top and bottom of a rounded outline are no web.
	edge := s.HeightMM / 60
	w.webMM = w.step("bw", "smallest width", "EN 1992-1-1 6.2.2(1)", "outline", s.NarrowestMM(edge, s.HeightMM-edge), "mm")
	w.climate = Climate{HumidityPercent: w.beam.Floor.HumidityPercent, NotionalSizeMM: h0}
	w.gross = Transformed{AreaMM2: s.AreaMM2, CentroidMM: s.CentroidMM, InertiaMM4: s.InertiaMM4}
	w.whole = w.gross
	moment := 0.0
	for _, r := range w.beam.Pattern.Rows {
		if r.HeightMM < s.HeightMM/2 {
			a := float64(r.Count) * w.beam.Pattern.Wire.AreaMM2
			w.tensileMM2 += a
			moment += a * r.HeightMM
		}
	}
	w.depthMM = s.HeightMM / 2
	if w.tensileMM2 > 0 {
		w.depthMM = s.HeightMM - moment/w.tensileMM2
	}
}

func (w *work) concreteSteps() {
	w.part = "Concrete"
	c, cast := w.concrete, w.beam.Casting
	w.step("fck", "characteristic strength at 28 days", "EN 1992-1-1 3.1.2", "given", c.FckMPa, "MPa")
	w.step("fctm", "mean tensile strength", "EN 1992-1-1 Table 3.1", "0.30 fck^(2/3), or 2.12 ln(1 + fcm/10) above C50", c.FctmMPa(), "MPa")
	w.step("fctk,0.05", "5 % fractile of it", "EN 1992-1-1 Table 3.1", "0.7 fctm", c.Fctk05MPa(), "MPa")
	w.step("Ecm", "modulus", "EN 1992-1-1 Table 3.1, 3.1.3(2)", "22000 (fcm/10)^0.3 x aggregate", c.EcmMPa(), "MPa")
	w.age = cast.hardenedDays()
	if len(cast.Curing) > 0 {
		w.step("t0", "age at transfer as the concrete has hardened", "EN 1992-1-1 10.3.1.1, B.10", "sum of exp(13.65 - 4000/(273 + T)) dt", w.age, "days")
	} else {
		w.step("t0", "age at transfer", "", "given", w.age, "days")
	}
	w.step("bcc(t0)", "strength gained at transfer", "EN 1992-1-1 3.2", "exp(s (1 - sqrt(28/t0)))", c.Gain(w.age), "")
	w.step("fcm(t0)", "mean strength at transfer", "EN 1992-1-1 3.1", "bcc fcm", c.FcmAtMPa(w.age), "MPa")
	w.step("fck(t0)", "characteristic strength at transfer", "EN 1992-1-1 3.1.2(5)", "fcm(t0) - 8", c.FckAtMPa(w.age), "MPa")
	w.step("fctm(t0)", "mean tensile strength at transfer", "EN 1992-1-1 3.4", "bcc^a fctm", c.FctmAtMPa(w.age), "MPa")
	w.step("Ecm(t0)", "modulus at transfer", "EN 1992-1-1 3.5", "bcc^0.3 Ecm", c.EcmAtMPa(w.age), "MPa")
}

// stressingSteps are about the wires on the bed, before there is concrete.
func (w *work) stressingSteps() {
	w.part = "Wires and stressing"
	wire, cast := w.beam.Pattern.Wire, w.beam.Casting
	w.step("fpk", "characteristic strength of the wires", "certificate", "given", wire.FpkMPa, "MPa")
	w.step("fp0.1k", "their 0.1 % proof stress", "certificate", "given", wire.Fp01kMPa, "MPa")
	w.step("Ep", "their modulus", "certificate", "given", wire.ModulusMPa, "MPa")
	w.step("Ap1", "area of one wire", "certificate", "given", wire.AreaMM2, "mm2")
	bed := w.step("spi", "stress on the bed after draw-in", "", "given", cast.BedStressMPa, "MPa")
	limit := w.step("sp,max", "greatest stress while stressing", "EN 1992-1-1 5.10.2.1", "min(0.8 fpk, 0.9 fp0.1k), or 0.95 fp0.1k with a jack measured to 5 %", wire.MaxStressingMPa(cast.JackMeasured), "MPa")
	jack := bed
	if cast.BedLengthMM > 0 {
		drawIn := w.step("ds,w", "stress lost when the wedges draw in", "EN 1992-1-1 5.10.4", "Ep x draw-in / bed length", wire.DrawInMPa(cast.DrawInMM, cast.BedLengthMM), "MPa")
		jack = w.step("sp,jack", "stress at the jack", "EN 1992-1-1 5.10.2.1", "spi + ds,w", bed+drawIn, "MPa")
		w.step("Fjack", "force at the jack, each wire", "", "sp,jack Ap1", jack*wire.AreaMM2*1e-3, "kN")
		w.step("DL", "elongation on the bed at the jack", "", "sp,jack x bed length / Ep", wire.ElongationMM(jack, cast.BedLengthMM), "mm")
		w.step("DL-5%", "stop and look for the cause below", "common practice", "0.95 DL", 0.95*wire.ElongationMM(jack, cast.BedLengthMM), "mm")
		w.step("DL+5%", "stop and look for the cause above", "common practice", "1.05 DL", 1.05*wire.ElongationMM(jack, cast.BedLengthMM), "mm")
	}
	w.verdict("stress in the wires while stressing", "EN 1992-1-1 5.10.2.1", jack, limit, "MPa")
}

func (w *work) transferSteps() {
	w.part = "Prestress at transfer"
	wire, cast, n := w.beam.Pattern.Wire, w.beam.Casting, w.beam.National
	area := w.step("Ap", "area of the wires", "", "count x area", w.beam.Pattern.AreaMM2(), "mm2")
	cp := w.step("yp", "centroid of the wires above the soffit", "", "sum n y / sum n", w.beam.Pattern.CentroidMM(), "mm")
	w.ecc = w.step("e", "eccentricity below the centroid", "", "yb - yp", w.section.CentroidMM-cp, "mm")
	hours := w.step("t", "time under stress before transfer", "", "given", cast.HoursStressed, "h")
	thermal := 0.0
	if len(cast.Curing) > 0 {
		hours += w.step("teq", "time that heat curing adds", "EN 1992-1-1 10.2", "1.14^(Tmax-20)/(Tmax-20) sum (T-20) dt", EquivalentHours(cast.Curing), "h")
		hottest, _ := cast.hottest()
		thermal = w.step("ds,T", "loss while the wires grow warm on the bed", "EN 1992-1-1 10.3", "0.5 Ep ac (Tmax - T0)", ThermalLossMPa(wire.ModulusMPa, hottest, cast.BedCelsius), "MPa")
	}
	early := w.step("dsr", "relaxation before transfer", "EN 1992-1-1 3.28 to 3.30", "class, rho1000, mu, t", wire.RelaxationMPa(cast.BedStressMPa, hours), "MPa")
	release := w.step("s,rel", "stress just before the wires are cut", "EN 1992-1-1 5.10.4", "bed stress - relaxation - loss by warmth", cast.BedStressMPa-early-thermal, "MPa")
	w.transfer = TransferOf(w.section, w.beam.Pattern, release, w.concrete.EcmAtMPa(w.age))
	t := w.transfer
	w.step("n0", "ratio of moduli at transfer", "", "Ep / Ecm(t0)", wire.ModulusMPa/w.concrete.EcmAtMPa(w.age), "")
	w.step("At", "area, transformed", "", "A + (n0 - 1) Ap", t.Section.AreaMM2, "mm2")
	w.step("yb,t", "centroid, transformed", "", "with (n0 - 1) Ap at each row", t.Section.CentroidMM, "mm")
	w.step("It", "second moment of area, transformed", "", "about yb,t", t.Section.InertiaMM4, "mm4")
	w.step("e,t", "eccentricity, transformed", "", "yb,t - yp", t.Section.EccentricityMM, "mm")
	for i, s := range t.RowMPa {
		w.step(rowStress0[i], "stress in the row of wires after transfer", "EN 1992-1-1 5.10.4(1)(iii)", "s,rel - n0 sc at the row", s, "MPa")
	}
	w.step("Pm0", "prestressing force after transfer", "EN 1992-1-1 5.10.3", "sum of the rows", t.ForceN*1e-3, "kN")
	mean := w.step("spm0", "mean stress after transfer", "EN 1992-1-1 5.10.3", "Pm0 / Ap", t.MeanMPa, "MPa")
	cap0 := w.step("spm0,max", "greatest stress after transfer", "EN 1992-1-1 5.10.3(2)", "min(k7 fpk, k8 fp0.1k)", wire.MaxAfterTransferMPa(n.K7, n.K8), "MPa")
	w.verdict("stress in the wires after transfer", "EN 1992-1-1 5.10.3(2)", mean, cap0, "MPa")
	w.step("loss0", "elastic loss of the force", "EN 1992-1-1 5.10.4(1)(iii)", "s,rel Ap - Pm0", (release*area-t.ForceN)*1e-3, "kN")
}

// names of the rows' lines on the sheet.
var rowStress0, rowStress = rowNames("sp0,row "), rowNames("sp,row ")

func rowNames(prefix string) [20]string {
	var names [20]string
	for i := range names {
		names[i] = prefix + strconv.Itoa(i+1)
	}
	return names
}
