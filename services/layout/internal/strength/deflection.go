package strength

import "math"

func (w *work) deflectionChecks() {
	w.part = "Camber and deflection"
	i, l := w.section.InertiaMM4, w.span
	up := func(force, modulus float64) float64 { return force * w.ecc * l * l / (8 * modulus * i) }
	young := w.concrete.EcmAtMPa(w.age)
	arch := w.step("wP0", "upwards from prestress just after transfer", "EN 1992-1-1 7.4.3", "Pm0 e leff^2/(8 Ecm(t0) I)", up(w.transfer.ForceN, young), "mm")
	self := w.step("wg0", "downwards from self weight then", "EN 1992-1-1 7.4.3", "5 g0 leff^4/(384 Ecm(t0) I)", diagramOf(breaksOf(l), Uniform(l, w.selfN)).sagNMM3()/(young*i), "mm")
	w.step("camber", "camber just after transfer", "EN 1992-1-1 7.4.3", "wP0 - wg0", arch-self, "mm")
	var end, before float64
	finish := math.Max(w.beam.Floor.FinishAgeDays, w.age+1)
	w.step("tf", "age of the beam when the finishes come on", "", "given", finish, "days")
	if w.topping == nil {
		end, before = w.plainDeflection(finish)
	} else {
		end, before = w.compositeDeflection(finish)
	}
	w.verdict("deflection at the end", "EN 1992-1-1 7.4.1(4), L/250", math.Abs(end), l/250, "mm")
	after := w.step("w2", "deflection after the finishes are on", "EN 1992-1-1 7.4.1(5)", "w - w1", end-before, "mm")
	w.verdict("deflection after the finishes", "EN 1992-1-1 7.4.1(5), L/500", math.Abs(after), l/500, "mm")
	w.step("wq", "immediate from the imposed load", "EN 1992-1-1 7.4.3", "elastic, over Ecm I, with a topping Ecm Ic", w.imposed.sagNMM3()/(w.concrete.EcmMPa()*w.whole.InertiaMM4), "mm")
}

// plainDeflection of a beam without a topping at the end, and when the
// finishes are just on.
func (w *work) plainDeflection(finishDays float64) (end, before float64) {
	i, l := w.section.InertiaMM4, w.span
	up := func(force, modulus float64) float64 { return force * w.ecc * l * l / (8 * modulus * i) }
	soft := w.step("Ec,eff", "effective modulus at the end", "EN 1992-1-1 7.20", "Ecm / (1 + phi)", w.concrete.EcmMPa()/(1+w.creep.Phi), "MPa")
	endUp := w.step("wP", "upwards from prestress at the end", "EN 1992-1-1 7.4.3", "Pinf e leff^2/(8 Ec,eff I)", up(w.remainN, soft), "mm")
	endDown := w.step("wQP", "downwards from quasi-permanent loads", "EN 1992-1-1 7.4.3", "moments over Ec,eff I, integrated twice", w.combined(1, w.psi.Psi2).sagNMM3()/(soft*i), "mm")
	end = w.step("w", "deflection at the end", "EN 1992-1-1 7.4.1(4)", "wQP - wP", endDown-endUp, "mm")
	phi := w.step("phi,f", "creep coefficient when the finishes come on", "EN 1992-1-1 B.1", "", CreepOf(w.concrete, w.climate, w.age, finishDays).Phi, "")
	then := w.concrete.EcmMPa() / (1 + phi)
	before = w.step("w1", "deflection when the finishes are just on", "EN 1992-1-1 7.4.3", "permanent loads - prestress, Ecm/(1 + phi,f)", w.permanent().sagNMM3()/(then*i)-up(w.prestressAt(phi), then), "mm")
	return end, before
}

// bearingCheck is the length of the bearing (10.9.5).
func (w *work) bearingCheck() {
	w.part = "Bearing"
	f, n := w.beam.Floor, w.beam.National
	on := f.Support
	if on == "" {
		on = OnMasonry
	}
	soffit := w.section.strips[len(w.section.strips)-1].lowWidth
	w.step("b1", "width of the soffit", "EN 1992-1-1 10.9.5.2", "outline", soffit, "mm")
	r := BearingOf(on, w.reactionN, soffit, n.fcdMPa(w.concrete), w.span, w.lengthMM)
	w.step("sEd/fcd", "bearing stress over design strength", "EN 1992-1-1 Table 10.2", "VEd/(b1 a1) / fcd", r.RelativeStress, "")
	w.step("a1", "net length", "EN 1992-1-1 10.9.5.2, Table 10.2", "VEd/(b1 0.4 fcd), at least 55, 70, 80 by the stress", r.NetMM, "mm")
	w.step("a2", "outer part of the support that does not count", "EN 1992-1-1 Table 10.3", bearingOn[on], r.SupportMM, "mm")
	w.step("a3", "end of the beam that does not count", "EN 1992-1-1 Table 10.4", "wires end in the face", r.BeamMM, "mm")
	w.step("Da2", "allowance for the supports' distance", "EN 1992-1-1 Table 10.5", "leff/1200 + 5 of 15 to 40, on steel leff/1200 of 10 to 30", r.SupportDeviationMM, "mm")
	w.step("Da3", "allowance for the beam's length", "EN 1992-1-1 10.9.5.2", "L/2500", r.BeamDeviationMM, "mm")
	w.step("a", "nominal length of the bearing", "EN 1992-1-1 10.9.5.2", "a1 + a2 + a3 + sqrt(Da2^2 + Da3^2)", r.LengthMM, "mm")
	w.verdict("length of the bearing", "EN 1992-1-1 10.9.5.2", r.LengthMM, f.BearingMM, "mm")
}

var bearingOn = map[Support]string{
	OnMasonry: "on masonry", OnConcrete: "on reinforced concrete of C30 or more", OnWeakConcrete: "on plain concrete or below C30", OnSteel: "on steel",
}

// fireCheck compares widths and axis distances with tabulated data.
func (w *work) fireCheck() {
	minutes := w.beam.Floor.FireMinutes
	if minutes == 0 {
		return
	}
	w.part = "Fire"
	// The mean axis distance of the wires in tension (5.2(15)) and the width
	// where they lie.
	axis := w.section.HeightMM - w.depthMM
	if w.topping != nil {
		axis = w.topping.high - w.depthMM
	}
	width := w.section.WidthMM(axis)
	w.step("R", "resistance asked for", "EN 1992-1-2", "given", float64(minutes), "min")
	w.step("b", "width at the wires", "EN 1992-1-2 5.6.1", "outline", width, "mm")
	w.step("am", "mean distance of the wires' axes from the soffit", "EN 1992-1-2 5.2(15)", "rows of the lower half", axis, "mm")
	w.step("Da", "more for wires that fail at 350 degrees", "EN 1992-1-2 5.3", "0.1 (500 - 350)", AxisIncreaseMM(criticalWireCelsius), "mm")
	least, needed := FireBeam(minutes, width)
	w.verdict("width in fire", "EN 1992-1-2 Table 5.5", least, width, "mm")
	w.verdict("axis distance in fire", "EN 1992-1-2 Table 5.5, 5.3", needed, axis, "mm")
}
