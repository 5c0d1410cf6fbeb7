package strength

import "math"

// toppingSteps make the composite section; strip is the width of floor that
// each beam carries.
func (w *work) toppingSteps(strip float64) {
	w.part = "Beam with topping"
	t := *w.beam.Floor.Topping
	c := newComposite(w.section, w.concrete, t, strip, w.span)
	w.topping, w.whole = &c, c.section
	taken := t
	taken.UndersideMM, taken.EffectiveWidthMM = c.low, c.widthMM
	w.report.Topping = &taken
	w.step("fck,t", "strength of the topping", "EN 1992-1-1 3.1.2", "given", t.FckMPa, "MPa")
	w.step("Ecm,t", "modulus of the topping", "EN 1992-1-1 Table 3.1", "22000 (fcm/10)^0.3 x aggregate", c.concrete.EcmMPa(), "MPa")
	w.step("nt", "ratio of moduli", "", "Ecm,t / Ecm", c.ratio, "")
	w.step("yt,0", "underside of the topping above the soffit", "", "given, or the beam's top", c.low, "mm")
	w.step("ht", "thickness of the topping", "", "given", t.ThicknessMM, "mm")
	w.step("H", "height of beam and topping", "", "yt,0 + ht", c.high, "mm")
	w.step("beff", "effective width of the topping", "EN 1992-1-1 5.3.2.1", "bw + 2 min(0.2 bi + 0.1 leff, 0.2 leff, bi), bi = (b - bw)/2, unless given", c.widthMM, "mm")
	w.step("At", "area of the topping", "", "beff ht - the beam in it", c.areaMM2, "mm2")
	w.step("yt", "centroid of the topping above the soffit", "", "", c.centroidMM, "mm")
	w.step("Ac", "area of beam and topping", "", "A + nt At", c.section.AreaMM2, "mm2")
	w.step("yc", "centroid of beam and topping", "", "(A yb + nt At yt) / Ac", c.section.CentroidMM, "mm")
	w.step("Ic", "second moment of area of beam and topping", "", "about yc, in concrete of the beam", c.section.InertiaMM4, "mm4")
	clear := math.Max(0, strip-w.section.NarrowestMM(c.low, w.section.HeightMM))
	least := w.step("ht,min", "least thickness over blocks that stay", "EN 1992-1-1 5.3.1(6)", "max(clear distance of the webs / 10, 40)", math.Max(clear/10, 40), "mm")
	w.fixed = true
	w.verdict("thickness of the topping", "EN 1992-1-1 5.3.1(6)", least, t.ThicknessMM, "mm")
	w.fixed = false
}

// toppingWeight is the area of topping concrete on the strip of a beam.
func (w *work) toppingWeight(strip float64) float64 {
	c := w.topping
	return strip*(c.high-c.low) - w.section.above(c.low).area
}

// differentialSteps find the force of what the topping shrinks more than the
// beam does after the topping is cast.
func (w *work) differentialSteps(endDays float64) {
	c := w.topping
	t := c.topping
	climate := Climate{HumidityPercent: w.beam.Floor.HumidityPercent, NotionalSizeMM: 2 * c.topping.ThicknessMM}
	w.step("h0,t", "notional size of the topping, dry on top", "EN 1992-1-1 3.1.4(5)", "2 ht", climate.NotionalSizeMM, "mm")
	young := ShrinkageOf(c.concrete, climate, t.CuringDays, endDays-t.CastAgeDays)
	early := ShrinkageOf(w.concrete, w.climate, w.age, math.Max(t.CastAgeDays, w.age))
	w.step("ecs,t", "shrinkage of the topping", "EN 1992-1-1 3.8", "from the end of its curing", young.Total*1e3, "per mille")
	w.step("ecs,1", "shrinkage of the beam until the topping is cast", "EN 1992-1-1 3.8", "", early.Total*1e3, "per mille")
	d := w.step("decs", "differential shrinkage", "", "ecs,t - (ecs - ecs,1), at least 0", math.Max(0, young.Total-(w.shrinkage.Total-early.Total))*1e3, "per mille")
	phi := w.step("phi,t", "creep coefficient of the topping", "EN 1992-1-1 B.1", "loaded from the end of its curing", CreepOf(c.concrete, climate, t.CuringDays, endDays-t.CastAgeDays).Phi, "")
	c.shrinkN = d * 1e-3 * c.concrete.EcmMPa() / (1 + 0.8*phi) * c.areaMM2
	w.step("Nsh", "tension in a topping that cannot shorten", "", "decs Ecm,t/(1 + 0.8 phi,t) At", c.shrinkN*1e-3, "kN")
}

// castingChecks look at the beam alone under blocks, fresh topping and the
// people who cast it.
func (w *work) castingChecks() {
	w.part = "While the topping is cast, beam alone"
	c, n, f := w.topping, w.beam.National, w.beam.Floor
	strip := f.PitchMM / float64(f.BeamsPerRow)
	wet := w.step("gt,fresh", "fresh topping", "EN 1991-1-1 Table A.1", "as above, x 26 kN/m3", w.toppingWeight(strip)*freshNPerMM3, "kN/m")
	people := w.step("qc", "construction load", "EN 1991-1-6 4.11", "given x b", c.topping.ConstructionKNPerM2*strip*1e-3, "kN/m")
	dead := Uniform(w.span, w.early.line[0]-w.toppingWeight(strip)*concreteNPerMM3+wet)
	at := breaksOf(w.span)
	loads := diagramOf(at, dead).plus(diagramOf(at, Uniform(w.span, people)), 1)
	design := diagramOf(at, dead).times(n.GammaG).plus(diagramOf(at, Uniform(w.span, people)), n.GammaQ)
	m, _ := loads.greatest()
	w.step("Mc", "moment", "EN 1990 6.14b", "characteristic", m*1e-6, "kNm")
	bottom := w.step("sc,b c", "bottom, remaining prestress", "", "rinf Pinf (1/A + e/Wb) - Mc/Wb", w.beamMPa(0, n.RInf*w.remainN, m, 0), "MPa")
	top := w.step("sc,t c", "top, prestress after transfer", "", "Pm0 (1/A - e/Wt) + Mc/Wt", w.beamMPa(w.section.HeightMM, w.transfer.ForceN, m, 0), "MPa")
	w.stress("casting of the topping", "beam, bottom", 0, bottom)
	w.stress("casting of the topping", "beam, top", w.section.HeightMM, top)
	w.verdict("compression while the topping is cast", "EN 1992-1-1 7.2(2)", top, 0.6*w.concrete.FckMPa, "MPa")
	w.verdict("tension while the topping is cast", "EN 1992-1-1 7.1(2)", -bottom, w.concrete.FctmMPa(), "MPa")
	md, _ := design.greatest()
	w.step("MEd,c", "design moment", "EN 1990 6.10", "gG (g0 + g1 + gt,fresh) + gQ qc", md*1e-6, "kNm")
	w.verdict("bending while the topping is cast", "EN 1992-1-1 6.1", md*1e-6, w.ultimate.MomentNMM*1e-6, "kNm")
	bare := w.alone()
	bare.early, bare.late, bare.imposed, bare.ultimates = design, newDiagram(at), newDiagram(at), []loadCase{{dead: 1}}
	worst, _ := bare.fullestShear()
	w.verdict("shear while the topping is cast", "EN 1992-1-1 6.2.2", worst.demandN*1e-3, worst.capacityN*1e-3, "kN")
}

// alone is the same beam without its topping.
func (w *work) alone() *work {
	bare := *w
	bare.topping, bare.whole, bare.levels = nil, w.gross, nil
	return &bare
}

// interfaceCheck is the shear between beam and topping (6.2.5).
func (w *work) interfaceCheck() {
	w.part = "Interface of beam and topping"
	c, n := w.topping, w.beam.National
	weaker := c.concrete
	if w.concrete.FckMPa < weaker.FckMPa {
		weaker = w.concrete
	}
	in := InterfaceInput{ContactMM: c.contactMM, LeverMM: w.ultimate.LeverMM, Share: w.ultimate.ToppingN / w.ultimate.ConcreteN,
		FckMPa: weaker.FckMPa, FcdMPa: n.fcdMPa(weaker), FctdMPa: n.fctdMPa(weaker),
		LinksMM2PerM: c.topping.LinksMM2PerM, LinksDesignMPa: c.topping.LinksFykMPa / n.GammaS}
	in.Adhesion, in.Friction = n.InterfaceFactors(c.topping.Surface)
	for _, k := range w.ultimates {
		for _, x := range []float64{w.faceMM(), w.span - w.faceMM()} {
			early, late := w.shearOf(k, x)
			in.ShearN = math.Max(in.ShearN, early+late)
		}
	}
	r := InterfaceOf(in)
	w.step("VEd,i", "shear force at the support's inner edge", "EN 1992-1-1 6.2.5(1)", "", in.ShearN*1e-3, "kN")
	w.step("beta", "share of the compression in the topping", "EN 1992-1-1 6.2.5(1)", "from bending at ultimate", in.Share, "")
	w.step("z", "lever arm", "EN 1992-1-1 6.2.5(1)", "MRd / compression", in.LeverMM, "mm")
	w.step("bi", "width of the interface", "EN 1992-1-1 6.2.5(1)", "outline above the topping's underside", in.ContactMM, "mm")
	w.step("vEd,i", "shear stress at the interface", "EN 1992-1-1 6.24", "beta VEd,i/(z bi)", r.DemandMPa, "MPa")
	w.step("c", "adhesion", "EN 1992-1-1 6.2.5(2)", "surface", in.Adhesion, "")
	w.step("mu", "friction", "EN 1992-1-1 6.2.5(2)", "surface", in.Friction, "")
	w.step("c fctd", "part of adhesion", "EN 1992-1-1 6.25", "the weaker concrete", r.AdhesionMPa, "MPa")
	w.step("r fyd mu", "part of links", "EN 1992-1-1 6.25", "links/bi fyd mu", r.LinksMPa, "MPa")
	w.step("vRd,max", "crushing", "EN 1992-1-1 6.25", "0.5 n fcd", r.CrushingMPa, "MPa")
	w.verdict("shear between beam and topping", "EN 1992-1-1 6.2.5", r.DemandMPa, r.ResistanceMPa, "MPa")
}

// compositeSag holds the parts of a deflection, downwards positive, in mm.
type compositeSag struct {
	// phiCast and phi are the creep coefficients from transfer until casting
	// and until the age looked at, phiEarly and phiLate those of what comes
	// with the topping and with the finishes.
	phiCast, phi, phiEarly, phiLate            float64
	beam, fresh, creep, lost, later, shrinkage float64
}

func (s compositeSag) sum() float64 {
	return s.beam + s.fresh + s.creep + s.lost + s.later + s.shrinkage
}

// compositeSagAt is the deflection at an age of the beam: until casting on the
// beam alone, then on beam and topping. Each part creeps on from the moment it
// comes; what would creep freely in the beam is held fast, and let go on beam
// and topping together.
func (w *work) compositeSagAt(days, imposed float64) (s compositeSag) {
	t := w.topping
	cast, finish := t.topping.CastAgeDays, w.beam.Floor.FinishAgeDays
	phi := func(from, to float64) float64 {
		if to <= from {
			return 0
		}
		return CreepOf(w.concrete, w.climate, from, to).Phi
	}
	s.phiCast, s.phi, s.phiEarly, s.phiLate = phi(w.age, cast), phi(w.age, days), phi(cast, days), phi(finish, days)
	modulus := w.concrete.EcmMPa()
	bare, whole := modulus*w.gross.InertiaMM4, modulus*w.whole.InertiaMM4
	selfSag := diagramOf(breaksOf(w.span), Uniform(w.span, w.selfN)).sagNMM3()
	freshSag := w.early.sagNMM3() - selfSag
	up := func(force, arm float64) float64 { return force * arm * w.span * w.span / 8 }
	below := w.whole.CentroidMM - w.section.CentroidMM + w.ecc
	held, now := w.prestressAt(s.phiCast), w.prestressAt(s.phi)
	s.beam = (1 + s.phiCast) * (selfSag - up(held, w.ecc)) / bare
	s.fresh = freshSag / bare
	s.creep = ((s.phi-s.phiCast)*(selfSag-up(now, below)) + s.phiEarly*freshSag) / whole
	s.lost = up(held-now, below) / whole
	s.later = (1 + s.phiLate) * w.late.plus(w.imposed, imposed).sagNMM3() / whole
	grown := s.phiEarly / phi(cast, w.beam.Floor.DesignHours/24)
	s.shrinkage = grown * up(t.shrinkN, t.centroidMM-w.whole.CentroidMM) * (1 + 0.8*s.phiEarly) / whole
	return s
}

// compositeDeflection shows the deflection at the end part by part, and that
// when the finishes are just on.
func (w *work) compositeDeflection(finishDays float64) (end, before float64) {
	s := w.compositeSagAt(w.beam.Floor.DesignHours/24, w.psi.Psi2)
	w.step("phi,c", "creep coefficient until the topping is cast", "EN 1992-1-1 B.1", "", s.phiCast, "")
	w.step("phi,b", "creep coefficient of what comes with the topping", "EN 1992-1-1 B.1", "from casting to the end", s.phiEarly, "")
	w.step("phi,q", "creep coefficient of what comes with the finishes", "EN 1992-1-1 B.1", "from the finishes to the end", s.phiLate, "")
	w.step("w,0", "beam alone until casting", "EN 1992-1-1 7.4.3", "(1 + phi,c)(self weight - prestress)/(Ecm I)", s.beam, "mm")
	w.step("w,t", "blocks and topping as they come", "EN 1992-1-1 7.4.3", "elastic, over Ecm I", s.fresh, "mm")
	w.step("w,c", "creep after casting", "EN 1992-1-1 7.4.3", "((phi - phi,c)(self weight - Pinf (yc - yp)) + phi,b (blocks and topping))/(Ecm Ic)", s.creep, "mm")
	w.step("w,p", "prestress lost after casting", "EN 1992-1-1 7.4.3", "loss (yc - yp) leff^2/8 / (Ecm Ic)", s.lost, "mm")
	w.step("w,q", "finishes, lines, points and quasi-permanent imposed load", "EN 1992-1-1 7.4.3", "(1 + phi,q) elastic, over Ecm Ic", s.later, "mm")
	w.step("w,sh", "differential shrinkage", "EN 1992-1-1 7.21", "Nsh (yt - yc) leff^2/8 (1 + 0.8 phi,b)/(Ecm Ic)", s.shrinkage, "mm")
	end = w.step("w", "deflection at the end", "EN 1992-1-1 7.4.3", "sum", s.sum(), "mm")
	before = w.step("w1", "deflection when the finishes are just on", "EN 1992-1-1 7.4.3", "the same sum at that age, without imposed load", w.compositeSagAt(finishDays, 0).sum(), "mm")
	return end, before
}

// prestressAt is the force that is left when creep has come to a coefficient.
func (w *work) prestressAt(phi float64) float64 {
	return w.transfer.ForceN - (w.transfer.ForceN-w.remainN)*math.Min(1, phi/w.creep.Phi)
}
