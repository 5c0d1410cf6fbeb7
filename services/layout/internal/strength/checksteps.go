package strength

import "math"

func (w *work) transferChecks() {
	w.part = "Stresses at transfer and while handled"
	cast := w.beam.Casting
	t := w.transfer
	limit := w.step("0.6 fck(t0)", "greatest compression", "EN 1992-1-1 5.10.2.2(5)", "0.6 fck(t0)", 0.6*w.concrete.FckAtMPa(cast.TransferAgeDays), "MPa")
	w.step("sc,b", "bottom, prestress alone", "EN 1992-1-1 5.10.2.2", "transformed section", t.BottomMPa, "MPa")
	w.step("sc,t", "top, prestress alone", "EN 1992-1-1 5.10.2.2", "transformed section", t.TopMPa, "MPa")
	m, _ := w.self.MaxMoment()
	w.step("sc,b+g", "bottom at mid-span with self weight", "", "- Msw yb,t/It", t.BottomMPa+t.Section.StressMPa(0, m, 0), "MPa")
	w.step("sc,t+g", "top at mid-span with self weight", "", "+ Msw yt,t/It", t.TopMPa+t.Section.StressMPa(0, m, w.section.HeightMM), "MPa")
	w.verdict("compression at transfer", "EN 1992-1-1 5.10.2.2(5)", math.Max(t.BottomMPa, t.TopMPa), limit, "MPa")
	tension := w.concrete.FctmAtMPa(cast.TransferAgeDays)
	hang := w.section.AreaMM2 * 25e-6 * cast.LiftFactor * cast.LifterInsetMM * cast.LifterInsetMM / 2
	top := w.step("sc,lift", "top at the lifting point, with the lift factor", "common practice", "prestress - lift factor g0 a2/2", t.TopMPa+t.Section.StressMPa(0, -hang, w.section.HeightMM), "MPa")
	w.verdict("tension at the top while handled", "EN 1992-1-1 3.4, common practice", -top, tension, "MPa")
}

func (w *work) serviceChecks() {
	w.part = "Stresses in service"
	p, h := w.remainN, w.section.HeightMM
	base := func(y float64) float64 { return w.gross.StressMPa(p, -p*w.ecc, y) }
	w.step("sc,b P", "bottom, remaining prestress alone", "", "Pinf/A + Pinf e/Wb", base(0), "MPa")
	w.step("sc,t P", "top, remaining prestress alone", "", "Pinf/A - Pinf e/Wt", base(h), "MPa")
	at := func(name string, psi float64) (bottom, top float64) {
		m, _ := w.combined(1, psi).MaxMoment()
		bottom = w.step("sc,b "+name, "bottom, "+name, "EN 1992-1-1 7.2", "P alone - M/Wb", base(0)-m/w.section.BottomModulusMM3(), "MPa")
		top = w.step("sc,t "+name, "top, "+name, "EN 1992-1-1 7.2", "P alone + M/Wt", base(h)+m/w.section.TopModulusMM3(), "MPa")
		return bottom, top
	}
	_, qpTop := at("quasi-permanent", w.psi.Psi2)
	freqBottom, _ := at("frequent", w.psi.Psi1)
	_, charTop := at("characteristic", 1)
	w.verdict("compression, quasi-permanent", "EN 1992-1-1 7.2(3)", qpTop, 0.45*w.concrete.FckMPa, "MPa")
	w.verdict("compression, characteristic", "EN 1992-1-1 7.2(2)", charTop, 0.6*w.concrete.FckMPa, "MPa")
	w.verdict("tension, frequent: no crack", "EN 1992-1-1 7.3.1", -freqBottom, w.concrete.FctmMPa(), "MPa")
	w.step("M0", "decompression moment", "", "sc,b P x Wb", base(0)*w.section.BottomModulusMM3()*1e-6, "kNm")
	w.step("Mcr", "cracking moment", "EN 1992-1-1 7.1(2)", "(sc,b P + fctm) Wb", (base(0)+w.concrete.FctmMPa())*w.section.BottomModulusMM3()*1e-6, "kNm")
	w.step("Mcr,fl", "cracking moment with the flexural tensile strength", "EN 1992-1-1 3.23", "(sc,b P + fctm,fl) Wb", (base(0)+w.concrete.FctmFlexuralMPa(h))*w.section.BottomModulusMM3()*1e-6, "kNm")
}

// ultimateInput is the section at ultimate with the wires' remaining stress.
func (w *work) ultimateInput() UltimateInput {
	wire, n := w.beam.Pattern.Wire, w.beam.National
	in := UltimateInput{
		Section: w.section, Pattern: w.beam.Pattern,
		FcdMPa: n.AlphaCC * w.concrete.FckMPa / n.GammaC,
		Lambda: w.concrete.BlockDepth(), Eta: w.concrete.BlockStress(), EpsCU: w.concrete.EpsCU3(),
		FpdMPa: wire.Fp01kMPa / n.GammaS, FpuMPa: wire.FpkMPa / n.GammaS,
	}
	for range w.beam.Pattern.Rows {
		in.Prestrain = append(in.Prestrain, w.remain/wire.ModulusMPa)
	}
	return in
}

func (w *work) bendingCheck() error {
	w.part = "Bending at ultimate"
	in := w.ultimateInput()
	u, err := UltimateOf(in)
	if err != nil {
		return err
	}
	w.step("fcd", "design strength", "EN 1992-1-1 3.15", "acc fck / gc", in.FcdMPa, "MPa")
	w.step("fpd", "design stress of the wires", "EN 1992-1-1 3.3.6(7)", "fp0.1k / gs", in.FpdMPa, "MPa")
	w.step("ep", "strain of the wires from prestress", "", "spinf / Ep", in.Prestrain[0]*1e3, "per mille")
	w.step("x", "depth of the neutral axis", "EN 1992-1-1 6.1", "block force = wire force", u.NeutralAxisMM, "mm")
	for i, s := range u.RowMPa {
		w.step("sp,"+rowName(i), "stress in the row of wires", "EN 1992-1-1 6.1(4)", "strain at its height", s, "MPa")
	}
	m := w.step("MRd", "moment resistance", "EN 1992-1-1 6.1", "sum of forces x heights", u.MomentNMM*1e-6, "kNm")
	demand, _ := w.combined(w.ulsDead, w.ulsLive).MaxMoment()
	w.verdict("bending at ultimate", "EN 1992-1-1 6.1", demand*1e-6, m, "kNm")
	cracking := (w.gross.StressMPa(w.remainN, -w.remainN*w.ecc, 0) + w.concrete.FctmMPa()) * w.section.BottomModulusMM3()
	w.fixed = true
	w.verdict("cracking before failure", "EN 1992-1-1 5.10.1(5)", cracking*1e-6, m, "kNm")
	w.fixed = false
	return nil
}

func (w *work) transmissionSteps() {
	w.part = "Transmission and anchorage"
	cast, n, wire := w.beam.Casting, w.beam.National, w.beam.Pattern.Wire
	bond := Bond{EtaP1: 3.2, EtaP2: 1.2, Eta1: 1, Alpha1: 1, Alpha2: 0.25}
	if cast.IndentedWire {
		bond.EtaP1, bond.EtaP2 = 2.7, 1.4
	}
	if cast.SuddenRelease {
		bond.Alpha1 = 1.25
	}
	fctd0 := w.step("fctd(t0)", "design tensile strength at transfer", "EN 1992-1-1 8.10.2.2(1)", "act 0.7 fctm(t0) / gc", n.AlphaCT*0.7*w.concrete.FctmAtMPa(cast.TransferAgeDays)/n.GammaC, "MPa")
	fbpt := w.step("fbpt", "bond stress at transfer", "EN 1992-1-1 8.15", "np1 n1 fctd(t0)", bond.TransmissionStressMPa(fctd0), "MPa")
	w.lpt = bond.TransmissionOf(wire.DiameterMM, w.transfer.MeanMPa, fbpt)
	w.step("lpt", "transmission length", "EN 1992-1-1 8.16", "a1 a2 d spm0 / fbpt", w.lpt.LengthMM, "mm")
	w.step("lpt1", "shorter design value", "EN 1992-1-1 8.17", "0.8 lpt", w.lpt.ShortMM, "mm")
	w.step("lpt2", "longer design value", "EN 1992-1-1 8.18", "1.2 lpt", w.lpt.LongMM, "mm")
	w.step("ldisp", "dispersion length", "EN 1992-1-1 8.19", "sqrt(lpt2 + d2)", DispersionMM(w.lpt.LengthMM, w.effectiveDepth()), "mm")
	tensile := math.Min(w.concrete.Fctk05MPa(), Concrete{FckMPa: 60}.Fctk05MPa())
	fbpd := w.step("fbpd", "bond stress for anchorage", "EN 1992-1-1 8.20", "np2 n1 fctd", bond.AnchorageStressMPa(n.AlphaCT*tensile/n.GammaC), "MPa")
	w.lbpd = w.step("lbpd", "anchorage length of a fully used wire", "EN 1992-1-1 8.21", "lpt2 + a2 d (fpd - spinf)/fbpd",
		bond.AnchorageMM(w.lpt.LongMM, wire.DiameterMM, wire.Fp01kMPa/n.GammaS, w.remain, fbpd), "mm")
}

// tensionRows are the rows in the lower half of the section.
func (w *work) tensionRows() (areaMM2, depthMM float64) {
	var moment float64
	for _, r := range w.beam.Pattern.Rows {
		if r.HeightMM < w.section.HeightMM/2 {
			a := float64(r.Count) * w.beam.Pattern.Wire.AreaMM2
			areaMM2 += a
			moment += a * r.HeightMM
		}
	}
	if areaMM2 == 0 {
		return 0, w.section.HeightMM / 2
	}
	return areaMM2, w.section.HeightMM - moment/areaMM2
}

func (w *work) effectiveDepth() float64 {
	_, d := w.tensionRows()
	return d
}
