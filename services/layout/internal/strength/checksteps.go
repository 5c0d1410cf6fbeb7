package strength

import "math"

func (w *work) transferChecks() {
	w.part = "Stresses at transfer"
	t, h, fck := w.transfer, w.section.HeightMM, w.concrete.FckAtMPa(w.age)
	share := 0.6
	if w.beam.Casting.CompressionProven {
		share = 0.7
	}
	limit := w.step("sc,max(t0)", "greatest compression", "EN 1992-1-1 5.10.2.2(5)", "0.6 fck(t0), or 0.7 fck(t0) where proven", share*fck, "MPa")
	w.step("sc,b", "bottom, prestress alone", "EN 1992-1-1 5.10.2.2", "transformed section", t.BottomMPa, "MPa")
	w.step("sc,t", "top, prestress alone", "EN 1992-1-1 5.10.2.2", "transformed section", t.TopMPa, "MPa")
	self := diagramOf(breaksOf(w.span), Uniform(w.span, w.selfN))
	m, _ := self.greatest()
	bottom := w.step("sc,b+g", "bottom at mid-span with self weight", "", "sc,b - Msw yb,t/It", t.BottomMPa+t.Section.StressMPa(0, m, 0), "MPa")
	top := w.step("sc,t+g", "top at mid-span with self weight", "", "sc,t + Msw (h - yb,t)/It", t.TopMPa+t.Section.StressMPa(0, m, h), "MPa")
	for _, s := range []StageStress{
		{"transfer, prestress alone", beamBottom, 0, t.BottomMPa}, {"transfer, prestress alone", beamTop, h, t.TopMPa},
		{"transfer, with self weight", beamBottom, 0, bottom}, {"transfer, with self weight", beamTop, h, top},
	} {
		w.stress(s.Stage, s.Fibre, s.HeightMM, s.MPa)
	}
	w.verdict("compression at transfer", "EN 1992-1-1 5.10.2.2(5)", math.Max(math.Max(t.BottomMPa, t.TopMPa), math.Max(bottom, top)), limit, "MPa")
}

// fibres of the table of stresses.
const (
	beamBottom    = "beam, bottom"
	beamTop       = "beam, top"
	toppingBottom = "topping, bottom"
	toppingTop    = "topping, top"
)

// handlingChecks look at the beam on its bearers and in the crane's slings.
// The wires may have built up their stress over the shorter or the longer
// transmission length: what is worse counts.
func (w *work) handlingChecks() {
	w.part = "Stresses while handled"
	cast, t, h := w.beam.Casting, w.transfer, w.section.HeightMM
	inset := w.step("al", "lifting points from each end", "", "given, at most L/4", math.Min(cast.LifterInsetMM, w.lengthMM/4), "mm")
	factor := w.step("fl", "factor on self weight in the crane", "common practice", "given", cast.LiftFactor, "")
	g := w.selfN * factor
	hang := g * inset * inset / 2
	bond := w.bond()
	n := w.beam.National
	length := bond.TransmissionOf(w.beam.Pattern.Wire.DiameterMM, t.MeanMPa, bond.TransmissionStressMPa(n.AlphaCT*0.7*w.concrete.FctmAtMPa(w.age)/n.GammaC))
	least := math.Inf(1)
	for _, over := range [2]float64{length.ShortMM, length.LongMM} {
		least = math.Min(least, math.Min(1, inset/over)*t.TopMPa+t.Section.StressMPa(0, -hang, h))
	}
	w.step("sc,lift", "top at the lifting point", "common practice", "prestress there - fl g0 al2/2 (h - yb,t)/It", least, "MPa")
	mid := g * (w.lengthMM * (w.lengthMM - 4*inset)) / 8
	bottom := w.step("sc,b mid", "bottom midway between the lifting points", "common practice", "sc,b - fl g0 L (L - 4 al)/8 yb,t/It", t.BottomMPa+t.Section.StressMPa(0, mid, 0), "MPa")
	top := w.step("sc,t mid", "top midway between the lifting points", "common practice", "sc,t + fl g0 L (L - 4 al)/8 (h - yb,t)/It", t.TopMPa+t.Section.StressMPa(0, mid, h), "MPa")
	x := math.Min(length.ShortMM, w.lengthMM/2)
	end := w.step("sc,t end", "top where the prestress is built up, on bearers at the ends", "EN 1992-1-1 8.10.2.2", "at 0.8 lpt from the end", t.TopMPa+t.Section.StressMPa(0, w.selfN*x*(w.lengthMM-x)/2, h), "MPa")
	tension := w.concrete.FctmAtMPa(w.age)
	w.verdict("tension at the top after transfer", "EN 1992-1-1 5.10.2.2, 3.4", -end, tension, "MPa")
	w.verdict("tension while handled", "EN 1992-1-1 3.4, common practice", -math.Min(least, math.Min(bottom, top)), tension, "MPa")
	w.verdict("compression while handled", "EN 1992-1-1 5.10.2.2(5)", math.Max(bottom, top), 0.6*w.concrete.FckAtMPa(w.age), "MPa")
}

// beamMPa is the stress of the beam at a height: prestress, the early moment
// on the beam, and the late one on beam and topping.
func (w *work) beamMPa(yMM, prestressN, early, late float64) float64 {
	return w.gross.StressMPa(prestressN, early-prestressN*w.ecc, yMM) + w.whole.StressMPa(0, late, yMM)
}

// stage is a combination in service with the names of its lines.
type stage struct {
	name                                           string
	bottom, top, toppingBottom, toppingTop         string
	bottomOf, topOf, toppingBottomOf, toppingTopOf string
}

func newStage(name string) stage {
	return stage{name, "sc,b " + name, "sc,t " + name, "st,b " + name, "st,t " + name,
		"bottom, " + name, "top, " + name, "topping, bottom, " + name, "topping, top, " + name}
}

var quasiStage, frequentStage, characteristicStage = newStage("quasi-permanent"), newStage("frequent"), newStage("characteristic")

// inService are the extreme stresses of a combination, with the worse of the
// characteristic prestresses and with or without differential shrinkage.
type inService struct {
	// tension at the bottom, compression in the beam and in the topping.
	tension, compression, toppingMPa float64
}

func (w *work) serviceAt(s stage, psi float64) inService {
	_, x := w.combined(1, psi).greatest()
	early, late := w.early.momentNMM(x), w.late.momentNMM(x)+psi*w.imposed.momentNMM(x)
	n, h := w.beam.National, w.section.HeightMM
	shrink := func(y float64) float64 {
		if w.topping == nil {
			return 0
		}
		return w.topping.shrinkMPa(y)
	}
	atBottom, atTop := "P alone - M/Wb", "P alone + M/Wt"
	if w.topping != nil {
		atBottom = "P alone - M on the beam/Wb - M on beam and topping yc/Ic + shrinkage"
		atTop = "P alone + M on the beam/Wt + M on beam and topping (h - yc)/Ic + shrinkage"
	}
	bottom := w.step(s.bottom, s.bottomOf, "EN 1992-1-1 7.2", atBottom, w.beamMPa(0, w.remainN, early, late)+shrink(0), "MPa")
	top := w.step(s.top, s.topOf, "EN 1992-1-1 7.2", atTop, w.beamMPa(h, w.remainN, early, late)+shrink(h), "MPa")
	w.stress(s.name, beamBottom, 0, bottom)
	w.stress(s.name, beamTop, h, top)
	r := inService{tension: math.Inf(-1)}
	for _, p := range [2]float64{n.RInf * w.remainN, n.RSup * w.remainN} {
		for _, y := range [2]float64{0, h} {
			plain := w.beamMPa(y, p, early, late)
			r.compression = math.Max(r.compression, math.Max(plain, plain+shrink(y)))
			r.tension = math.Max(r.tension, -math.Min(plain, plain+shrink(y)))
		}
	}
	if c := w.topping; c != nil {
		for i, y := range [2]float64{c.low, c.high} {
			plain := c.ratio * w.whole.StressMPa(0, late, y)
			with := plain + c.ratio*c.shrinkMPa(y) - c.shrinkN/c.areaMM2
			r.toppingMPa = math.Max(r.toppingMPa, math.Max(plain, with))
			if i == 0 {
				w.step(s.toppingBottom, s.toppingBottomOf, "EN 1992-1-1 7.2", "nt M/Ic (y - yc) + shrinkage", with, "MPa")
				w.stress(s.name, toppingBottom, y, with)
			} else {
				w.step(s.toppingTop, s.toppingTopOf, "EN 1992-1-1 7.2", "nt M/Ic (y - yc) + shrinkage", with, "MPa")
				w.stress(s.name, toppingTop, y, with)
			}
		}
	}
	return r
}

func (w *work) serviceChecks() {
	w.part = "Stresses in service"
	h, fck := w.section.HeightMM, w.concrete.FckMPa
	w.step("sc,b P", "bottom, remaining prestress alone", "", "Pinf/A + Pinf e/Wb", w.beamMPa(0, w.remainN, 0, 0), "MPa")
	w.step("sc,t P", "top, remaining prestress alone", "", "Pinf/A - Pinf e/Wt", w.beamMPa(h, w.remainN, 0, 0), "MPa")
	if w.topping != nil {
		w.step("sc,b sh", "bottom, differential shrinkage", "", "Nsh/Ac - Nsh (yt - yc) yc/Ic", w.topping.shrinkMPa(0), "MPa")
		w.step("sc,t sh", "top, differential shrinkage", "", "Nsh/Ac + Nsh (yt - yc)(h - yc)/Ic", w.topping.shrinkMPa(h), "MPa")
	}
	quasi, frequent, characteristic := w.serviceAt(quasiStage, w.psi.Psi2), w.serviceAt(frequentStage, w.psi.Psi1), w.serviceAt(characteristicStage, 1)
	w.verdict("compression, quasi-permanent", "EN 1992-1-1 7.2(3)", quasi.compression, 0.45*fck, "MPa")
	w.verdict("compression, characteristic", "EN 1992-1-1 7.2(2)", characteristic.compression, 0.6*fck, "MPa")
	if c := w.topping; c != nil {
		w.verdict("compression of the topping, quasi-permanent", "EN 1992-1-1 7.2(3)", quasi.toppingMPa, 0.45*c.concrete.FckMPa, "MPa")
		w.verdict("compression of the topping, characteristic", "EN 1992-1-1 7.2(2)", characteristic.toppingMPa, 0.6*c.concrete.FckMPa, "MPa")
	}
	fctm := w.concrete.FctmMPa()
	w.verdict("tension, frequent: no crack", "EN 1992-1-1 7.3.1", frequent.tension, fctm, "MPa")
	w.verdict("tension, characteristic: stiff as uncracked", "EN 1992-1-1 7.1(2)", characteristic.tension, fctm, "MPa")
	w.step("M0", "decompression moment", "", "moment that makes the bottom stress 0", w.momentForNMM(0)*1e-6, "kNm")
	w.step("Mcr", "cracking moment", "EN 1992-1-1 7.1(2)", "moment that makes it -fctm", w.momentForNMM(fctm)*1e-6, "kNm")
	height := h
	if w.topping != nil {
		height = w.topping.high
	}
	w.step("Mcr,fl", "cracking moment with the flexural tensile strength", "EN 1992-1-1 3.23", "moment that makes it -fctm,fl", w.momentForNMM(w.concrete.FctmFlexuralMPa(height))*1e-6, "kNm")

}

// momentForNMM is the whole moment at which the bottom has a tension: the
// early moment on the beam, the rest on beam and topping.
func (w *work) momentForNMM(tensionMPa float64) float64 {
	early := 0.0
	if w.topping != nil {
		early, _ = w.early.greatest()
	}
	left := w.beamMPa(0, w.remainN, early, 0) + tensionMPa
	if w.topping != nil {
		left += w.topping.shrinkMPa(0)
	}
	return early + left*w.whole.InertiaMM4/w.whole.CentroidMM
}

// ultimateInput is the section at ultimate with the wires' remaining stress.
func (w *work) ultimateInput() UltimateInput {
	wire, n := w.beam.Pattern.Wire, w.beam.National
	in := UltimateInput{
		Section: w.section, Pattern: w.beam.Pattern, FcdMPa: n.fcdMPa(w.concrete),
		Lambda: w.concrete.BlockDepth(), Eta: w.concrete.BlockStress(), EpsCU: w.concrete.EpsCU3(),
		FpdMPa: wire.Fp01kMPa / n.GammaS, FpuMPa: wire.FpkMPa / n.GammaS,
		Prestrain: make([]float64, len(w.beam.Pattern.Rows)),
	}
	if n.InclinedBranch {
		in.Branch = Inclined
	}
	for i := range in.Prestrain {
		in.Prestrain[i] = w.remain / wire.ModulusMPa
	}
	if c := w.topping; c != nil {
		in.Lambda = math.Min(in.Lambda, c.concrete.BlockDepth())
		in.EpsCU = math.Min(in.EpsCU, c.concrete.EpsCU3())
		in.Topping = &ToppingZone{UndersideMM: c.low, TopMM: c.high, WidthMM: c.widthMM, StressMPa: c.concrete.BlockStress() * n.fcdMPa(c.concrete)}
	}
	return in
}

// ultimateOfBeam works out the bending resistance of the beam alone.
func (w *work) ultimateOfBeam() (err error) {
	w.ultimate, err = UltimateOf(w.alone().ultimateInput())
	return err
}

func (w *work) bendingCheck() (err error) {
	w.part = "Bending at ultimate"
	in := w.ultimateInput()
	if w.topping != nil {
		w.step("MRd,0", "moment resistance of the beam alone", "EN 1992-1-1 6.1", "as below, without topping", w.ultimate.MomentNMM*1e-6, "kNm")
		if w.ultimate, err = UltimateOf(in); err != nil {
			return err
		}
		w.depthMM += w.topping.high - w.section.HeightMM
		w.step("fcd,t", "design strength of the topping", "EN 1992-1-1 3.15", "acc fck,t / gc", w.beam.National.fcdMPa(w.topping.concrete), "MPa")
	}
	u := w.ultimate
	w.step("fcd", "design strength", "EN 1992-1-1 3.15", "acc fck / gc", in.FcdMPa, "MPa")
	w.step("lambda", "depth of the block over x", "EN 1992-1-1 3.19", "0.8, or 0.8 - (fck - 50)/400", in.Lambda, "")
	w.step("eta", "stress of the block over fcd", "EN 1992-1-1 3.21", "1, or 1 - (fck - 50)/200", in.Eta, "")
	w.step("ecu3", "strain at the top", "EN 1992-1-1 Table 3.1", "", in.EpsCU*1e3, "per mille")
	w.step("fpd", "design stress of the wires", "EN 1992-1-1 3.3.6(7)", "fp0.1k / gs", in.FpdMPa, "MPa")
	w.step("ep", "strain of the wires from prestress", "", "spinf / Ep", in.Prestrain[0]*1e3, "per mille")
	w.step("x", "depth of the neutral axis", "EN 1992-1-1 6.1", "block force = wire force", u.NeutralAxisMM, "mm")
	if u.BlockFactor < 1 {
		w.step("fn", "factor on the block, narrower to the top", "EN 1992-1-1 3.1.7(3)", "0.9", u.BlockFactor, "")
	}
	for i, s := range u.RowMPa {
		w.step(rowStress[i], "stress in the row of wires", "EN 1992-1-1 6.1", "(ep + ecu3 (d - x)/x) Ep, at most fpd", s, "MPa")
	}
	w.step("Fc", "force of the block", "EN 1992-1-1 3.1.7(3)", "eta fcd x area above H - lambda x", u.ConcreteN*1e-3, "kN")
	if w.topping != nil {
		w.step("Fc,t", "part of it in the topping", "EN 1992-1-1 3.1.7(3)", "", u.ToppingN*1e-3, "kN")
	}
	w.step("z", "lever arm", "EN 1992-1-1 6.1", "MRd / Fc", u.LeverMM, "mm")
	m := w.step("MRd", "moment resistance", "EN 1992-1-1 6.1", "sum of forces x heights", u.MomentNMM*1e-6, "kNm")
	w.verdict("bending at ultimate", "EN 1992-1-1 6.1", w.designNMM*1e-6, m, "kNm")
	w.fixed = true
	w.verdict("cracking before failure", "EN 1992-1-1 5.10.1(5)", w.momentForNMM(w.concrete.FctmMPa())*1e-6, m, "kNm")
	w.fixed = false
	return nil
}

// greatestNMM is the greatest moment of the cases at ultimate.
func (w *work) greatestNMM() float64 {
	w.designNMM = 0
	for _, k := range w.ultimates {
		if k.pointN == 0 {
			m, _ := w.combined(k.dead, k.live).greatest()
			w.designNMM = math.Max(w.designNMM, m)
			continue
		}
		for i := 1; i < shearSections; i++ {
			early, late := w.momentsOf(k, w.span*float64(i)/shearSections)
			w.designNMM = math.Max(w.designNMM, early+late)
		}
	}
	return w.designNMM
}

// bond of the wires in the concrete (8.10.2.2, 8.10.2.3).
func (w *work) bond() Bond {
	bond := Bond{EtaP1: 3.2, EtaP2: 1.2, Eta1: 1, Alpha1: 1, Alpha2: 0.25}
	if w.beam.Casting.IndentedWire {
		bond.EtaP1, bond.EtaP2 = 2.7, 1.4
	}
	if w.beam.Casting.SuddenRelease {
		bond.Alpha1 = 1.25
	}
	return bond
}

func (w *work) transmissionSteps() {
	w.part = "Transmission and anchorage"
	n, wire, bond := w.beam.National, w.beam.Pattern.Wire, w.bond()
	fctd0 := w.step("fctd(t0)", "design tensile strength at transfer", "EN 1992-1-1 8.10.2.2(1)", "act 0.7 fctm(t0) / gc", n.AlphaCT*0.7*w.concrete.FctmAtMPa(w.age)/n.GammaC, "MPa")
	w.step("np1", "bond of the wires at transfer", "EN 1992-1-1 8.10.2.2(1)", "2.7 indented wire, 3.2 strand", bond.EtaP1, "")
	fbpt := w.step("fbpt", "bond stress at transfer", "EN 1992-1-1 8.15", "np1 n1 fctd(t0), n1 = 1", bond.TransmissionStressMPa(fctd0), "MPa")
	w.step("a1", "release", "EN 1992-1-1 8.10.2.2(2)", "1 gradual, 1.25 sudden", bond.Alpha1, "")
	w.lpt = bond.TransmissionOf(wire.DiameterMM, w.transfer.MeanMPa, fbpt)
	w.step("lpt", "transmission length", "EN 1992-1-1 8.16", "a1 a2 d spm0 / fbpt, a2 = 0.25", w.lpt.LengthMM, "mm")
	w.step("lpt1", "shorter design value", "EN 1992-1-1 8.17", "0.8 lpt", w.lpt.ShortMM, "mm")
	w.step("lpt2", "longer design value", "EN 1992-1-1 8.18", "1.2 lpt", w.lpt.LongMM, "mm")
	w.step("ldisp", "dispersion length", "EN 1992-1-1 8.19", "sqrt(lpt^2 + d^2)", DispersionMM(w.lpt.LengthMM, w.depthMM), "mm")
	w.fctd = n.fctdMPa(w.concrete)
	tensile := n.fctdMPa(Concrete{FckMPa: math.Min(w.concrete.FckMPa, 60)})
	fbpd := w.step("fbpd", "bond stress for anchorage", "EN 1992-1-1 8.20", "np2 n1 fctd, with fctk,0.05 of at most C60", bond.AnchorageStressMPa(tensile), "MPa")
	w.lbpd = w.step("lbpd", "anchorage length of a fully used wire", "EN 1992-1-1 8.21", "lpt2 + a2 d (fpd - spinf)/fbpd",
		bond.AnchorageMM(w.lpt.LongMM, wire.DiameterMM, wire.Fp01kMPa/n.GammaS, w.remain, fbpd), "mm")
}
