package strength

import (
	"math"
	"slices"
)

// shearSections along the span at which shear and anchorage are looked at,
// beside those where a load begins or ends and where the wires have built up
// their prestress or are anchored.
const shearSections = 48

// shearPoint is what a section along the span can take.
type shearPoint struct {
	xMM, demandN, capacityN float64
	cracked                 bool
}

func (p shearPoint) ratio() float64 {
	switch {
	case p.demandN == 0:
		return 0
	case p.capacityN <= 0:
		return noCapacity
	default:
		return p.demandN / p.capacityN
	}
}

// momentsOf are the moments of a case at a section, on the beam alone and on
// beam and topping.
func (w *work) momentsOf(k loadCase, x float64) (early, late float64) {
	return k.dead * w.early.momentNMM(x), k.dead*w.late.momentNMM(x) + k.live*w.imposed.momentNMM(x) + k.pointN*x*(w.span-x)/w.span
}

// shearOf are the shear forces of a case at a section, on the beam alone and
// on beam and topping; the worse side counts where a force stands, and a force
// that may stand anywhere stands where it is worst.
func (w *work) shearOf(k loadCase, x float64) (early, late float64) {
	e, er := w.early.shearN(x)
	l, lr := w.late.shearN(x)
	q, qr := w.imposed.shearN(x)
	early, late = k.dead*e, k.dead*l+k.live*q
	if er, lr := k.dead*er, k.dead*lr+k.live*qr; math.Abs(er+lr) > math.Abs(early+late) {
		early, late = er, lr
	}
	if early+late < 0 {
		early, late = -early, -late
	}
	return early, late + k.pointN*math.Max(x, w.span-x)/w.span
}

// sections at which shear is looked at.
func (w *work) sections() []float64 {
	first := w.firstMM()
	list := make([]float64, 0, shearSections+16)
	for i := 0; i <= shearSections; i++ {
		list = append(list, first+(w.span-2*first)*float64(i)/shearSections)
	}
	add := func(x float64) {
		if x > first && x < w.span-first {
			list = append(list, x)
		}
	}
	for _, x := range w.early.at {
		add(x)
	}
	outside := w.beam.Floor.BearingMM - w.faceMM()
	for _, l := range [2]float64{w.lpt.LongMM, w.lbpd + w.depthMM} {
		add(l - outside)
		add(w.span - l + outside)
	}
	return list
}

// firstMM is the section nearest the support axis that is checked for shear
// (6.2.2(3)); in a very short span it is mid-span.
func (w *work) firstMM() float64 {
	return math.Min(w.faceMM()+w.whole.CentroidMM, w.span/2)
}

// fullestShear is the section that is fullest in shear.
func (w *work) fullestShear() (worst, worstCracked shearPoint) {
	for _, x := range w.sections() {
		for _, k := range w.ultimates {
			p := w.shearAt(k, x)
			if p.ratio() >= worst.ratio() {
				worst = p
			}
			if p.cracked && p.ratio() >= worstCracked.ratio() {
				worstCracked = p
			}
		}
	}
	return worst, worstCracked
}

func (w *work) shearChecks() {
	w.part = "Shear and anchorage at ultimate"
	first := w.firstMM()
	worst, worstCracked := w.fullestShear()
	fromEnd := w.step("lx", "first section, from the beam's end", "EN 1992-1-1 6.2.2(3)", "bearing + centroid", w.fromEndMM(first), "mm")
	share := w.step("al", "share of the prestress there", "EN 1992-1-1 6.2.2(2)", "lx / lpt2", w.builtUp(fromEnd), "")
	w.step("fctd", "design tensile strength", "EN 1992-1-1 3.16", "act fctk,0.05 / gc", w.fctd, "MPa")
	w.firstFibres(first, share)
	at := w.shearAt(w.ultimates[0], first)
	w.step("VEd first", "shear force there", "", "", at.demandN*1e-3, "kN")
	w.step("VRd,c first", "shear resistance there", "EN 1992-1-1 6.2.2", "least of all fibres, with tension of bending; 6.2 if cracked", at.capacityN*1e-3, "kN")
	w.step("xV", "section where shear is fullest, from the left support axis", "", "", worst.xMM, "mm")
	w.step("d", "effective depth of the wires in the lower half", "", "height - y", w.depthMM, "mm")
	full := w.crackedShear(w.remainN, true)
	w.step("k", "size factor", "EN 1992-1-1 6.2.2(1)", "1 + sqrt(200/d), at most 2", full.K, "")
	w.step("rl", "ratio of the wires in the lower half", "EN 1992-1-1 6.2.2(1)", "Asl/(bw d), at most 0.02", full.Rho, "")
	w.step("scp", "stress of the prestress", "EN 1992-1-1 6.2.2(1)", "Pinf/A, at most 0.2 fcd", full.AxialMPa, "MPa")
	w.step("vmin", "least shear stress", "EN 1992-1-1 6.3", "0.035 k^1.5 fck^0.5", full.MinStressMPa, "MPa")
	w.step("VRd,c cracked", "where cracked in bending, wires anchored", "EN 1992-1-1 6.2", "(max(CRd,c k (100 rl fck)^(1/3), vmin) + k1 scp) bw d", full.ResistanceN*1e-3, "kN")
	w.verdict("shear at ultimate", "EN 1992-1-1 6.2.2", worst.demandN*1e-3, worst.capacityN*1e-3, "kN")
	if worstCracked.demandN > 0 {
		w.verdict("shear where cracked", "EN 1992-1-1 6.2", worstCracked.demandN*1e-3, worstCracked.capacityN*1e-3, "kN")
	}
	reaction := w.reactionN
	for _, k := range w.ultimates {
		if k.pointN > 0 {
			early, late := w.shearOf(k, 0)
			reaction = math.Max(reaction, early+late)
		}
	}
	w.reactionN = w.step("VEd", "greatest shear force", "EN 1990 6.4.3.2", "reaction", reaction*1e-3, "kN") * 1e3
	w.verdict("crushing of the web", "EN 1992-1-1 6.2.2(6)", w.reactionN*1e-3, ShearCrushingN(w.webMM, w.depthMM, w.concrete.FckMPa, w.beam.National.fcdMPa(w.concrete))*1e-3, "kN")
	demand, capacity := w.anchorage()
	w.verdict("anchorage of the wires where cracked", "EN 1992-1-1 8.10.2.3", demand*1e-6, capacity*1e-6, "kNm")
}

// firstFibres shows the resistance of every fibre at the first section, with
// the prestress alone.
func (w *work) firstFibres(x, share float64) {
	early, late := w.shearOf(w.ultimates[0], x)
	for _, f := range w.fibres() {
		v := f.resistanceN(early, late, w.fctd, share*w.beamMPa(f.yMM, w.remainN, 0, 0))
		symbol, what := "VRd,c y="+number(f.yMM), "at a fibre of the outline, prestress alone"
		if w.topping != nil && f.yMM == w.topping.low {
			what = "at the topping's underside, prestress alone"
		}
		switch f.yMM {
		case w.section.CentroidMM:
			symbol, what = "VRd,c yb", "at the beam's centroid, prestress alone"
		case w.whole.CentroidMM:
			symbol, what = "VRd,c yc", "at the centroid of beam and topping, prestress alone"
		}
		w.step(symbol, what, "EN 1992-1-1 6.4", "I bw/S sqrt(fctd^2 + al scp fctd)", v*1e-3, "kN")
	}
}

// faceMM is the distance of the support's inner edge from the support axis.
func (w *work) faceMM() float64 {
	return math.Max(0, (w.span-w.beam.Floor.ClearSpanMM)/2)
}

// fromEndMM is the distance of a section from the nearer end of the beam.
func (w *work) fromEndMM(x float64) float64 {
	return math.Min(x, w.span-x) + w.beam.Floor.BearingMM - w.faceMM()
}

// builtUp is the share of the prestress at a distance from the end.
func (w *work) builtUp(fromEnd float64) float64 { return math.Min(1, fromEnd/w.lpt.LongMM) }

// shearAt decides by the tension at the soffit which equation holds.
func (w *work) shearAt(k loadCase, x float64) shearPoint {
	fromEnd := w.fromEndMM(x)
	share := w.builtUp(fromEnd)
	earlyM, lateM := w.momentsOf(k, x)
	early, late := w.shearOf(k, x)
	p := shearPoint{xMM: x, demandN: early + late}
	if p.cracked = w.soffitTension(share*w.remainN, earlyM, lateM) >= w.fctd; p.cracked {
		p.capacityN = w.crackedShear(share*w.remainN, fromEnd >= w.lbpd+w.depthMM).ResistanceN
		return p
	}
	p.capacityN = math.Inf(1)
	for _, f := range w.fibres() {
		bending := math.Min(0, w.beamMPa(f.yMM, 0, earlyM, lateM))
		p.capacityN = math.Min(p.capacityN, f.resistanceN(early, late, w.fctd, share*w.beamMPa(f.yMM, w.remainN, 0, 0)+bending))
	}
	return p
}

// soffitTension of a section, differential shrinkage included.
func (w *work) soffitTension(prestressN, early, late float64) float64 {
	tension := -w.beamMPa(0, prestressN, early, late)
	if w.topping != nil {
		tension -= math.Min(0, w.topping.shrinkMPa(0))
	}
	return tension
}

// fibre is a level at which uncracked shear is looked at: its width, and the
// first moments of area above it over the inertia, of the beam alone and of
// beam and topping.
type fibre struct{ yMM, widthMM, early, late float64 }

// resistanceN is 6.4 where the beam alone carries one part of the shear force
// and beam and topping the other.
func (f fibre) resistanceN(early, late, fctd, axialMPa float64) float64 {
	if fctd+axialMPa <= 0 {
		return 0
	}
	perForce := f.late
	if sum := early + late; sum > 0 {
		perForce = (early*f.early + late*f.late) / sum
	}
	return ShearUncrackedN(1, f.widthMM, perForce, fctd, 1, axialMPa)
}

// fibres are the centroids and the corners of the outline, as far as they lie
// in the beam below a topping.
func (w *work) fibres() []fibre {
	if w.levels != nil {
		return w.levels
	}
	top := w.section.HeightMM
	levels := make([]float64, 0, len(w.section.Outline)+2)
	if w.topping != nil {
		top = w.topping.low
		levels = append(levels, top)
	}
	for _, y := range [2]float64{w.section.CentroidMM, w.whole.CentroidMM} {
		if y < top && !slices.Contains(levels, y) {
			levels = append(levels, y)
		}
	}
	for _, p := range w.section.strips {
		if p.low > 0 && p.low < top && !slices.Contains(levels, p.low) {
			levels = append(levels, p.low)
		}
	}
	slices.Sort(levels)
	w.levels = make([]fibre, 0, len(levels))
	for _, y := range levels {
		f := fibre{yMM: y, widthMM: w.section.WidthMM(y), early: w.section.FirstMomentMM3(y) / w.gross.InertiaMM4}
		if f.late = f.early; w.topping != nil {
			f.late = w.topping.firstMomentMM3(w.section, y) / w.whole.InertiaMM4
		}
		w.levels = append(w.levels, f)
	}
	return w.levels
}

func (w *work) crackedShear(forceN float64, anchored bool) ShearCracked {
	area := w.tensileMM2
	if !anchored {
		area = 0
	}
	n := w.beam.National
	return ShearCrackedOf(ShearCrackedInput{
		FckMPa: w.concrete.FckMPa, FcdMPa: n.fcdMPa(w.concrete), GammaC: n.GammaC,
		WidthMM: w.webMM, DepthMM: w.depthMM, TensileMM2: area,
		AxialN: forceN, AreaMM2: w.whole.AreaMM2, CRdc: 0.18 / n.GammaC, K1: n.K1Shear,
	})
}

// anchorage is the section where the moment, moved by the effective depth
// (9.2.1.3(2)), is fullest against what the wires can take there, of those
// that are cracked.
func (w *work) anchorage() (demandNMM, capacityNMM float64) {
	capacityNMM = w.ultimate.MomentNMM
	for _, x := range w.sections() {
		for _, k := range w.ultimates {
			early, late := w.momentsOf(k, x)
			fromEnd := w.fromEndMM(x)
			if w.soffitTension(w.builtUp(fromEnd)*w.remainN, early, late) < w.fctd {
				continue
			}
			moved := early + late
			for _, at := range [2]float64{math.Max(0, x-w.depthMM), math.Min(w.span, x+w.depthMM)} {
				early, late := w.momentsOf(k, at)
				moved = math.Max(moved, early+late)
			}
			if c := w.ultimate.MomentNMM * w.anchoredShare(fromEnd); moved*capacityNMM > demandNMM*c {
				demandNMM, capacityNMM = moved, c
			}
		}
	}
	return demandNMM, capacityNMM
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
