package office

import (
	"fmt"
	"slices"

	"spanyard.example/services/layout/internal/strength"
)

// span is what a number of the basis may be.
type span struct {
	field           string
	value, low, top float64
}

// spans are the numbers of a basis with what they may be. A number that is left
// out is 0: where that would make beams stronger than they are, or nothing
// could be computed, it is refused.
func (b Basis) spans() []span {
	w, c, k, n, r := b.Wire, b.Concrete, b.Casting, b.National, b.Rules
	return []span{
		{"wire.diameter_mm", w.DiameterMM, 1, 20}, {"wire.area_mm2", w.AreaMM2, 1, 200},
		{"wire.fpk_mpa", w.FpkMPa, 500, 2500}, {"wire.fp01k_mpa", w.Fp01kMPa, 500, w.FpkMPa}, {"wire.modulus_mpa", w.ModulusMPa, 150_000, 250_000},
		{"wire.relaxation_class", float64(w.RelaxClass), 1, 3}, {"wire.rho1000_percent", w.Rho1000, 0, 20}, {"wire.eps_uk", w.StrainLimit, 0, 0.2},
		{"concrete.fck_mpa", c.FckMPa, 12, 90}, {"concrete.aggregate_factor", c.Aggregate, 0.5, 1.5}, {density, c.KgPerM3, 1500, 3000},
		{"casting.bed_stress_mpa", k.BedStressMPa, 1, 2000}, {"casting.transfer_age_days", k.TransferAgeDays, 0.3, 28}, {"casting.hours_stressed", k.HoursStressed, 0.1, 1000},
		{"casting.lifter_inset_mm", k.LifterInsetMM, 0, 5000}, {"casting.lift_factor", k.LiftFactor, 1, 3},
		{"national.alpha_cc", n.AlphaCC, 0.7, 1}, {"national.alpha_ct", n.AlphaCT, 0.7, 1}, {"national.gamma_c", n.GammaC, 1, 2}, {"national.gamma_s", n.GammaS, 1, 1.5},
		{"national.gamma_g", n.GammaG, 1, 2}, {"national.gamma_q", n.GammaQ, 1, 2}, {"national.xi", n.Xi, 0.5, 1}, {"national.k1_shear", n.K1Shear, 0, 0.3},
		{"rules.shortest_clear_mm", r.ShortestMM, 200, 2000}, {"rules.most_beams_per_row", float64(r.MostPerRow), 1, 3}, {"rules.bearing_mm", r.BearingMM, 40, 500},
		{"rules.line_load_kn_per_m", r.LineLoadKNPerM, 0, 100}, {"rules.humidity_percent", r.HumidityPercent, 20, 100}, {"rules.design_hours", r.DesignHours, 8760, 2e6},
		{"rules.finish_age_days", r.FinishAgeDays, 1, 365}, {"rules.screed_mm", r.ScreedMM, 0, 500}, {"rules.screed_kn_per_m3", r.ScreedKNPerM3, 0, 50},
	}
}

const density = "concrete.kg_per_m3"

// basis notes what cannot be in what the strength of beams rests on.
func (k *checker) basis(b Basis) {
	for _, s := range b.spans() {
		if !(s.value >= s.low && s.value <= s.top) {
			k.weightless = k.weightless || s.field == density
			k.fault.At("basis."+s.field, fmt.Sprint(s.value), "is out of range", fmt.Sprintf("%g to %g", s.low, s.top))
		}
	}
	if !slices.Contains([]strength.CementClass{strength.Slow, strength.Normal, strength.Rapid}, b.Concrete.Cement) {
		k.fault.At("basis.concrete.cement_class", clip(string(b.Concrete.Cement)), "is no class of cement", "S, N or R")
	}
	if problem := textProblem(b.Wire.Name, maxNameChars); problem != "" {
		k.fault.At("basis.wire.name", clip(b.Wire.Name), problem, textAllowed(maxNameChars))
	}
}
