package strength

import (
	"math"
	"slices"
)

// sections along the span at which shear and anchorage are looked at.
const shearSections = 120

// shearPoint is what a section along the span can take.
type shearPoint struct {
	xMM, demandN, capacityN float64
	cracked                 bool
	cracking                ShearCracked
}

func (w *work) shearChecks() {
	w.part = "Shear and anchorage at ultimate"
	loads := w.combined(w.ulsDead, w.ulsLive)
	first := w.faceMM() + w.section.CentroidMM
	var worst, worstCracked shearPoint
	anchorage := 0.0
	mrd := w.resistanceNMM()
	for i := 0; i <= shearSections; i++ {
		x := first + (w.span-2*first)*float64(i)/shearSections
		p := w.shearAt(loads, x)
		if p.demandN/p.capacityN > ratio(worst) {
			worst = p
		}
		if p.cracked {
			if p.demandN/p.capacityN > ratio(worstCracked) {
				worstCracked = p
			}
			anchorage = math.Max(anchorage, w.shiftedMoment(loads, x)/(mrd*w.anchoredShare(w.fromEndMM(x))))
		}
	}
	at := w.shearAt(loads, first)
	w.step("lx", "first section, from the beam's end", "EN 1992-1-1 6.2.2(3)", "bearing + yb", w.fromEndMM(first), "mm")
	w.step("al", "share of the prestress there", "EN 1992-1-1 6.2.2(2)", "lx / lpt2", math.Min(1, w.fromEndMM(first)/w.lpt.LongMM), "")
	w.step("VRd,c first", "shear resistance there", "EN 1992-1-1 6.4", "I bw/S sqrt(fctd2 + al scp fctd)", at.capacityN*1e-3, "kN")
	depth := w.effectiveDepth()
	full := w.crackedShear(w.remainN, true)
	w.step("VRd,c cracked", "where cracked in bending, wires anchored", "EN 1992-1-1 6.2", "(CRd,c k (100 r fck)^(1/3) + k1 scp) bw d", full.ResistanceN*1e-3, "kN")
	w.step("d", "effective depth of the wires in tension", "", "h - y", depth, "mm")
	w.verdict("shear at ultimate", "EN 1992-1-1 6.2.2", worst.demandN*1e-3, worst.capacityN*1e-3, "kN")
	if worstCracked.capacityN > 0 {
		w.verdict("shear where cracked", "EN 1992-1-1 6.2", worstCracked.demandN*1e-3, worstCracked.capacityN*1e-3, "kN")
	}
	v := math.Max(loads.LeftN(), loads.RightN())
	fcd := w.beam.National.AlphaCC * w.concrete.FckMPa / w.beam.National.GammaC
	w.verdict("crushing of the web", "EN 1992-1-1 6.2.2(6)", v*1e-3, ShearCrushingN(w.webMM(), depth, w.concrete.FckMPa, fcd)*1e-3, "kN")
	w.verdict("anchorage of the wires where cracked", "EN 1992-1-1 8.10.2.3", anchorage, 1, "")
}

func ratio(p shearPoint) float64 {
	if p.capacityN == 0 {
		return 0
	}
	return p.demandN / p.capacityN
}

// faceMM is the distance of the support's inner edge from the support axis.
func (w *work) faceMM() float64 {
	return math.Max(0, (w.span-w.beam.Floor.ClearSpanMM)/2)
}

// fromEndMM is the distance of a section from the nearer end of the beam.
func (w *work) fromEndMM(x float64) float64 {
	return math.Min(x, w.span-x) + w.beam.Floor.BearingMM - w.faceMM()
}

// webMM is the smallest width of the section.
func (w *work) webMM() float64 {
	if w.web > 0 {
		return w.web
	}
	width := math.Inf(1)
	const slices = 60
	for i := 1; i < slices; i++ {
		width = math.Min(width, w.section.WidthMM(w.section.HeightMM*float64(i)/slices))
	}
	w.web = width
	return width
}

// shearAt decides by the tension at the soffit which equation holds.
func (w *work) shearAt(loads Loads, x float64) shearPoint {
	share := math.Min(1, w.fromEndMM(x)/w.lpt.LongMM)
	force := share * w.remainN
	moment := loads.MomentNMM(x)
	p := shearPoint{xMM: x, demandN: math.Max(math.Abs(loads.ShearN(x, -1)), math.Abs(loads.ShearN(x, 1)))}
	tension := -w.gross.StressMPa(force, moment-force*w.ecc, 0)
	fctd := w.fctd()
	if tension < fctd {
		p.capacityN = w.uncrackedShearN(share, fctd)
		return p
	}
	p.cracked = true
	p.cracking = w.crackedShear(force, w.fromEndMM(x) >= w.lbpd+w.effectiveDepth())
	p.capacityN = p.cracking.ResistanceN
	return p
}

func (w *work) fctd() float64 {
	return w.beam.National.AlphaCT * w.concrete.Fctk05MPa() / w.beam.National.GammaC
}

// uncrackedShearN is the smallest resistance by 6.4 over the fibres at the
// centroid and at each corner of the outline.
func (w *work) uncrackedShearN(share, fctd float64) float64 {
	least := math.Inf(1)
	for _, f := range w.fibres() {
		axial := w.gross.StressMPa(w.remainN, -w.remainN*w.ecc, f.yMM)
		inside := fctd*fctd + share*axial*fctd
		if inside <= 0 {
			return 0
		}
		least = math.Min(least, ShearUncrackedN(w.section.InertiaMM4, f.widthMM, f.firstMM3, fctd, share, axial))
	}
	return least
}

// fibre is a level at which uncracked shear is looked at.
type fibre struct{ yMM, widthMM, firstMM3 float64 }

// fibres are the centroid and the corners of the outline.
func (w *work) fibres() []fibre {
	if w.levels == nil {
		levels := []float64{w.section.CentroidMM}
		for _, p := range w.section.Outline {
			if p.YMM > 0 && p.YMM < w.section.HeightMM && !slices.Contains(levels, p.YMM) {
				levels = append(levels, p.YMM)
			}
		}
		for _, y := range levels {
			w.levels = append(w.levels, fibre{y, w.section.WidthMM(y), w.section.FirstMomentMM3(y)})
		}
	}
	return w.levels
}

func (w *work) crackedShear(forceN float64, anchored bool) ShearCracked {
	area, depth := w.tensionRows()
	if !anchored {
		area = 0
	}
	n := w.beam.National
	return ShearCrackedOf(ShearCrackedInput{
		FckMPa: w.concrete.FckMPa, FcdMPa: n.AlphaCC * w.concrete.FckMPa / n.GammaC, GammaC: n.GammaC,
		WidthMM: w.webMM(), DepthMM: depth, TensileMM2: area,
		AxialN: forceN, AreaMM2: w.section.AreaMM2, CRdc: 0.18 / n.GammaC, K1: n.K1Shear,
	})
}

func (w *work) resistanceNMM() float64 {
	for _, s := range w.report.Steps {
		if s.Symbol == "MRd" {
			return s.Value * 1e6
		}
	}
	return 0
}

// shiftedMoment is the moment at a section with the shift of 9.2.1.3(2),
// towards mid-span by the effective depth.
func (w *work) shiftedMoment(loads Loads, x float64) float64 {
	d := w.effectiveDepth()
	return math.Max(loads.MomentNMM(x), math.Max(loads.MomentNMM(math.Max(0, x-d)), loads.MomentNMM(math.Min(w.span, x+d))))
}

// anchoredShare is the stress that a wire can take at a distance from its
// end, over fpd: linear over lpt2 to the remaining prestress, then linear to
// fpd at lbpd (Figure 8.17).
func (w *work) anchoredShare(fromEnd float64) float64 {
	fpd := w.beam.Pattern.Wire.Fp01kMPa / w.beam.National.GammaS
	switch {
	case fromEnd >= w.lbpd:
		return 1
	case fromEnd <= w.lpt.LongMM:
		return w.remain / fpd * fromEnd / w.lpt.LongMM
	default:
		return (w.remain + (fpd-w.remain)*(fromEnd-w.lpt.LongMM)/(w.lbpd-w.lpt.LongMM)) / fpd
	}
}

func (w *work) deflectionChecks() {
	w.part = "Camber and deflection"
	i, l := w.section.InertiaMM4, w.span
	up := func(force, modulus float64) float64 { return force * w.ecc * l * l / (8 * modulus * i) }
	sag := func(loads Loads, modulus float64) float64 {
		worst := 0.0
		for k := 1; k < 40; k++ {
			worst = math.Max(worst, loads.DeflectionMM(l*float64(k)/40, modulus*i))
		}
		return worst
	}
	young := w.concrete.EcmAtMPa(w.beam.Casting.TransferAgeDays)
	camber := up(w.transfer.ForceN, young) - sag(w.self, young)
	w.step("camber", "camber just after transfer", "EN 1992-1-1 7.4.3", "Pm0 e L2/8 Ecm(t0) I - self weight", camber, "mm")
	soft := w.step("Ec,eff", "effective modulus at the end", "EN 1992-1-1 7.20", "Ecm / (1 + phi)", w.concrete.EcmMPa()/(1+w.creep.Phi), "MPa")
	quasi := w.combined(1, w.psi.Psi2)
	endUp := w.step("wP", "upwards from prestress at the end", "EN 1992-1-1 7.4.3", "Pinf e L2/8 Ec,eff I", up(w.remainN, soft), "mm")
	endDown := w.step("wQP", "downwards from quasi-permanent loads", "EN 1992-1-1 7.4.3", "Macaulay, Ec,eff I", sag(quasi, soft), "mm")
	end := w.step("w", "deflection at the end", "EN 1992-1-1 7.4.1(4)", "wQP - wP", endDown-endUp, "mm")
	w.verdict("deflection at the end", "EN 1992-1-1 7.4.1(4), L/250", end, l/250, "mm")
	finish := w.beam.Floor.FinishAgeDays
	part := CreepOf(w.concrete, w.climate, w.beam.Casting.TransferAgeDays, math.Max(finish, w.beam.Casting.TransferAgeDays+1)).Phi
	then := w.concrete.EcmMPa() / (1 + part)
	force := w.transfer.ForceN - (w.transfer.ForceN-w.remainN)*part/w.creep.Phi
	before := sag(w.perm, then) - up(force, then)
	after := w.step("w2", "deflection after the finishes are on", "EN 1992-1-1 7.4.1(5)", "w - permanent loads and prestress at that age", end-before, "mm")
	w.verdict("deflection after the finishes", "EN 1992-1-1 7.4.1(5), L/500", after, l/500, "mm")
	w.step("wq", "immediate from the imposed load", "EN 1992-1-1 7.4.3", "Macaulay, Ecm I", sag(w.imposed, w.concrete.EcmMPa()), "mm")
}
