package strength

import (
	"fmt"
	"math"
)

// bound is a field of the input with what is allowed for it.
type bound struct {
	field         string
	value, lo, hi float64
}

func check(bounds []bound) error {
	for _, r := range bounds {
		if !(r.value >= r.lo && r.value <= r.hi) {
			return fmt.Errorf("%s is %g; allowed: %g to %g", r.field, r.value, r.lo, r.hi)
		}
	}
	return nil
}

// validate reports the first field that makes no sense, with its value and
// what is allowed.
func (b Beam) validate() (Section, error) {
	s, err := NewSection(b.Outline)
	if err != nil {
		return s, fmt.Errorf("outline: %w", err)
	}
	for _, part := range []func() error{b.Pattern.Wire.validate, b.Casting.validate, b.Floor.validate, b.National.validate} {
		if err := part(); err != nil {
			return s, err
		}
	}
	if err := check([]bound{{"fck_mpa", b.FckMPa, 12, 90}, {"aggregate_factor", b.Aggregate, 0.5, 1.5}}); err != nil {
		return s, err
	}
	if b.Cement.hardening() == 0 {
		return s, fmt.Errorf("cement_class is %q; allowed: S, N, R", b.Cement)
	}
	c := Concrete{FckMPa: b.FckMPa, Cement: b.Cement}
	if age := b.Casting.hardenedDays(); c.FckAtMPa(age) < leastTransferMPa {
		return s, fmt.Errorf("casting.transfer_age_days is %g, when the concrete has fck(t0) = %.1f MPa; allowed: an age at which it has %g MPa", b.Casting.TransferAgeDays, c.FckAtMPa(age), leastTransferMPa)
	}
	if err := b.Pattern.validate(s); err != nil {
		return s, err
	}
	return s, b.Floor.validateSpan(s)
}

// leastTransferMPa of concrete into which wires may be let go: less is no
// concrete yet.
const leastTransferMPa = 5.0

func (w Wire) validate() error {
	if err := check([]bound{
		{"pattern.wire.diameter_mm", w.DiameterMM, 1, 20},
		{"pattern.wire.area_mm2", w.AreaMM2, 1, 200},
		{"pattern.wire.fpk_mpa", w.FpkMPa, 500, 2500},
		{"pattern.wire.fp01k_mpa", w.Fp01kMPa, 500, w.FpkMPa},
		{"pattern.wire.modulus_mpa", w.ModulusMPa, 150000, 250000},
		{"pattern.wire.relaxation_class", float64(w.RelaxClass), 1, 3},
		{"pattern.wire.rho1000_percent", w.Rho1000, 0, 20},
		{"pattern.wire.eps_uk", w.StrainLimit, 0, 0.2},
	}); err != nil {
		return err
	}
	if least := w.Fp01kMPa / w.ModulusMPa; w.StrainLimit != 0 && w.StrainLimit <= least {
		return fmt.Errorf("pattern.wire.eps_uk is %g; allowed: more than fp0.1k over the modulus, %.4f, or 0 where only the horizontal branch is used", w.StrainLimit, least)
	}
	return nil
}

func (p Pattern) validate(s Section) error {
	if len(p.Rows) == 0 || len(p.Rows) > 20 {
		return fmt.Errorf("pattern.rows has %d rows; allowed: 1 to 20", len(p.Rows))
	}
	for i, r := range p.Rows {
		if r.Count < 1 || r.Count > 50 {
			return fmt.Errorf("pattern.rows[%d].count is %d; allowed: 1 to 50", i, r.Count)
		}
		half := p.Wire.DiameterMM / 2
		if !(r.HeightMM >= half && r.HeightMM <= s.HeightMM-half) {
			return fmt.Errorf("pattern.rows[%d].height_mm is %g; allowed: %g to %g, inside the outline", i, r.HeightMM, half, s.HeightMM-half)
		}
		if width := s.WidthMM(r.HeightMM); width < float64(r.Count)*p.Wire.DiameterMM {
			return fmt.Errorf("pattern.rows[%d].count is %d; allowed: as many wires of %g mm as fit into the %.0f mm that the outline is wide at %g mm", i, r.Count, p.Wire.DiameterMM, width, r.HeightMM)
		}
	}
	return nil
}

func (c Casting) validate() error {
	bounds := []bound{
		{"casting.bed_stress_mpa", c.BedStressMPa, 1, 2000},
		{"casting.bed_length_mm", c.BedLengthMM, 0, 500000},
		{"casting.draw_in_mm", c.DrawInMM, 0, 50},
		{"casting.transfer_age_days", c.TransferAgeDays, 0.3, 28},
		{"casting.hours_stressed", c.HoursStressed, 0.1, 1000},
		{"casting.bed_celsius", c.BedCelsius, -20, 60},
		{"casting.lifter_inset_mm", c.LifterInsetMM, 0, 5000},
		{"casting.lift_factor", c.LiftFactor, 1, 3},
	}
	if c.DrawInMM > 0 && c.BedLengthMM < 1000 {
		return fmt.Errorf("casting.bed_length_mm is %g; allowed: at least 1000 where casting.draw_in_mm is given", c.BedLengthMM)
	}
	var hours float64
	for i, w := range c.Curing {
		hours += w.Hours
		if err := check([]bound{{fmt.Sprintf("casting.heat_curing[%d].celsius", i), w.Celsius, 0, 80}, {fmt.Sprintf("casting.heat_curing[%d].hours", i), w.Hours, 0.01, 240}}); err != nil {
			return err
		}
	}
	if hours > 24*c.TransferAgeDays {
		return fmt.Errorf("casting.heat_curing lasts %g hours; allowed: no more than until transfer, %g hours", hours, 24*c.TransferAgeDays)
	}
	return check(bounds)
}

func (f Floor) validate() error {
	if f.Support != "" {
		if _, ok := supportEdgeMM[f.Support]; !ok {
			return fmt.Errorf("floor.support is %q; allowed: masonry, concrete, weak_concrete, steel, or empty for masonry", f.Support)
		}
	}
	if _, ok := RecommendedPsi[f.Category]; !ok {
		return fmt.Errorf("floor.category is %q; allowed: A, B, C, D, E", f.Category)
	}
	if _, ok := fireBeams[f.FireMinutes]; !ok && f.FireMinutes != 0 {
		return fmt.Errorf("floor.fire_minutes is %d; allowed: 0, 30, 60, 90, 120, 180, 240", f.FireMinutes)
	}
	if f.MovablePartitionsKNPerM > heaviestMovableKNPerM {
		return fmt.Errorf("floor.movable_partitions_kn_per_m is %g; allowed: 0 to %d; a heavier partition is a line load (floor.line_loads)", f.MovablePartitionsKNPerM, heaviestMovableKNPerM)
	}
	return check([]bound{
		{"floor.pitch_mm", f.PitchMM, 100, 2000},
		{"floor.bearing_mm", f.BearingMM, 20, 500},
		{"floor.clear_span_mm", f.ClearSpanMM, 200, 20000},
		{"floor.beams_per_row", float64(f.BeamsPerRow), 1, 3},
		{"floor.finishes_kn_per_m2", f.FinishesKNPerM2, 0, 50},
		{"floor.imposed_kn_per_m2", f.ImposedKNPerM2, 0, 50},
		{"floor.movable_partitions_kn_per_m", f.MovablePartitionsKNPerM, 0, heaviestMovableKNPerM},
		{"floor.concentrated_kn", f.ConcentratedKN, 0, 100},
		{"floor.infill_kn_per_m", f.InfillKNPerM, 0, 50},
		{"floor.humidity_percent", f.HumidityPercent, 20, 100},
		{"floor.design_hours", f.DesignHours, 8760, 2e6},
		{"floor.finish_age_days", f.FinishAgeDays, 1, 365},
	})
}

// validateSpan checks what lies along the span, and the topping.
func (f Floor) validateSpan(s Section) error {
	if f.EffectiveSpanMM != 0 {
		if err := check([]bound{{"floor.effective_span_mm", f.EffectiveSpanMM, f.ClearSpanMM, f.ClearSpanMM + 2*f.BearingMM}}); err != nil {
			return fmt.Errorf("%w, or 0 to work it out", err)
		}
	}
	span := f.spanMM(s)
	for i, l := range f.Lines {
		if !(l.FromMM >= 0 && l.FromMM < l.ToMM && l.ToMM <= span+0.5) {
			return fmt.Errorf("floor.line_loads[%d] reaches from %g to %g mm; allowed: from 0 to the effective span of %.0f mm, with an end beyond its beginning", i, l.FromMM, l.ToMM, span)
		}
		if err := check([]bound{{fmt.Sprintf("floor.line_loads[%d].kn_per_m", i), l.NPerMM, 0, 100}}); err != nil {
			return err
		}
	}
	for i, p := range f.Points {
		if err := check([]bound{
			{fmt.Sprintf("floor.point_loads[%d].at_mm", i), p.AtMM, 0, span + 0.5},
			{fmt.Sprintf("floor.point_loads[%d].n", i), p.N, 0, 1e6},
			{fmt.Sprintf("floor.point_loads[%d].variable_n", i), p.VariableN, 0, 1e6},
		}); err != nil {
			return err
		}
	}
	if f.Topping != nil {
		return f.Topping.validate(f, s)
	}
	return nil
}

// spanMM is the effective span (5.3.2.2), or the one that was given.
func (f Floor) spanMM(s Section) float64 {
	if f.EffectiveSpanMM != 0 {
		return f.EffectiveSpanMM
	}
	return f.ClearSpanMM + 2*SupportOffsetMM(s.HeightMM, f.BearingMM)
}

func (t Topping) validate(f Floor, s Section) error {
	if err := check([]bound{
		{"floor.topping.thickness_mm", t.ThicknessMM, 30, 300},
		{"floor.topping.fck_mpa", t.FckMPa, 12, 90},
		{"floor.topping.aggregate_factor", t.Aggregate, 0.5, 1.5},
		{"floor.topping.cast_age_days", t.CastAgeDays, 1, 365},
		{"floor.topping.curing_days", t.CuringDays, 1, 28},
		{"floor.topping.construction_kn_per_m2", t.ConstructionKNPerM2, 0, 10},
		{"floor.topping.links_mm2_per_m", t.LinksMM2PerM, 0, 10000},
		{"floor.topping.links_fyk_mpa", t.LinksFykMPa, 0, 700},
	}); err != nil {
		return err
	}
	if t.Cement.hardening() == 0 {
		return fmt.Errorf("floor.topping.cement_class is %q; allowed: S, N, R", t.Cement)
	}
	if _, ok := interfaces2010[t.Surface]; !ok {
		return fmt.Errorf("floor.topping.surface is %q; allowed: very_smooth, smooth, rough, indented", t.Surface)
	}
	if t.UndersideMM != 0 {
		if err := check([]bound{{"floor.topping.underside_mm", t.UndersideMM, math.Max(s.HeightMM/4, s.HeightMM-t.ThicknessMM), s.HeightMM}}); err != nil {
			return fmt.Errorf("%w, or 0 for the beam's top; the topping must cover the beam", err)
		}
	}
	low := t.UndersideMM
	if low == 0 {
		low = s.HeightMM
	}
	if least, most := s.NarrowestMM(low, s.HeightMM), f.PitchMM/float64(f.BeamsPerRow); t.EffectiveWidthMM != 0 && !(t.EffectiveWidthMM >= least && t.EffectiveWidthMM <= most) {
		return fmt.Errorf("floor.topping.effective_width_mm is %g; allowed: %.0f to %.0f, from the beam's width to its share of the pitch, or 0 to work it out", t.EffectiveWidthMM, least, most)
	}
	if f.FinishAgeDays <= t.CastAgeDays {
		return fmt.Errorf("floor.finish_age_days is %g; allowed: more than floor.topping.cast_age_days, %g", f.FinishAgeDays, t.CastAgeDays)
	}
	return nil
}

func (n National) validate() error {
	return check([]bound{
		{"national.alpha_cc", n.AlphaCC, 0.7, 1},
		{"national.alpha_ct", n.AlphaCT, 0.7, 1},
		{"national.gamma_c", n.GammaC, 1, 2},
		{"national.gamma_s", n.GammaS, 1, 1.5},
		{"national.gamma_g", n.GammaG, 1, 2},
		{"national.gamma_q", n.GammaQ, 1, 2},
		{"national.xi", n.Xi, 0.5, 1},
		{"national.k1_shear", n.K1Shear, 0, 0.3},
		{"national.k7_transfer", n.K7, 0.5, 0.9},
		{"national.k8_transfer", n.K8, 0.5, 0.95},
		{"national.r_sup", n.RSup, 1, 1.2},
		{"national.r_inf", n.RInf, 0.8, 1},
	})
}
