package design

import (
	"fmt"
	"slices"

	"spanyard.example/services/layout/internal/strength"
)

// number of a catalogue and what it may be.
type number struct {
	field         string
	value, lo, hi float64
}

func inRange(numbers ...number) error {
	for _, x := range numbers {
		if !(x.value >= x.lo && x.value <= x.hi) {
			return fmt.Errorf("%s is %g; allowed: %g to %g", x.field, x.value, x.lo, x.hi)
		}
	}
	return nil
}

const maxCents = 1e7

// Validate reports the first thing in a catalogue that cannot be, with its
// field, its value and what is allowed.
func (c Catalogue) Validate() error {
	if len(c.Profiles) == 0 || len(c.Blocks) == 0 {
		return fmt.Errorf("the catalogue has %d profiles and %d blocks; allowed: at least one of each", len(c.Profiles), len(c.Blocks))
	}
	for _, check := range []func() error{c.validateProfiles, c.validateBlocks, c.validateMaterials, c.validateRules, c.validateTrimmers} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

func (c Catalogue) validateProfiles() error {
	known := map[string]bool{}
	for i, p := range c.Profiles {
		if p.Name == "" || known[p.Name] {
			return fmt.Errorf("profiles[%d].name is %q; allowed: a name of its own", i, p.Name)
		}
		known[p.Name] = true
		section, err := strength.NewSection(p.Outline)
		if err != nil {
			return fmt.Errorf("profiles[%d].outline: %w", i, err)
		}
		if err := inRange(number{fmt.Sprintf("profiles[%d].outline, its width in mm,", i), widthMM(p.Outline), 40, 600}); err != nil {
			return err
		}
		if len(p.Patterns) == 0 {
			return fmt.Errorf("profiles[%d].patterns is empty; allowed: at least one", i)
		}
		var names []string
		for j, w := range p.Patterns {
			at := fmt.Sprintf("profiles[%d].patterns[%d]", i, j)
			if w.Name == "" || slices.Contains(names, w.Name) {
				return fmt.Errorf("%s.name is %q; allowed: a name of its own in the profile", at, w.Name)
			}
			names = append(names, w.Name)
			if len(w.Rows) == 0 {
				return fmt.Errorf("%s.rows is empty; allowed: at least one row of wires", at)
			}
			numbers := []number{{at + ".cents_per_m", float64(w.CentsPerM), 0, maxCents}}
			for k, r := range w.Rows {
				row := fmt.Sprintf("%s.rows[%d]", at, k)
				numbers = append(numbers, number{row + ".height_mm", r.HeightMM, 1, section.HeightMM - 1}, number{row + ".count", float64(r.Count), 1, 100})
			}
			if err := inRange(numbers...); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c Catalogue) validateBlocks() error {
	known := map[string]bool{}
	for i, b := range c.Blocks {
		at := fmt.Sprintf("blocks[%d]", i)
		p, ok := c.profile(b.Profile)
		if !ok {
			return fmt.Errorf("%s.profile is %q; allowed: a profile of the catalogue", at, b.Profile)
		}
		if b.Name == "" || known[b.Name+"|"+b.Profile] {
			return fmt.Errorf("%s.name is %q; allowed: a name of its own among the blocks of %s", at, b.Name, b.Profile)
		}
		known[b.Name+"|"+b.Profile] = true
		if err := inRange(
			number{at + ".length_mm", b.LengthMM, 50, 1000},
			// Narrower, and two rows would leave no bay between them.
			number{at + ".pitch_mm", b.PitchMM, widthMM(p.Outline) + 100, 1500},
			number{at + ".mass_g", float64(b.MassG), 100, 200_000},
			number{at + ".cents", float64(b.Cents), 0, maxCents}); err != nil {
			return err
		}
	}
	return nil
}

func (c Catalogue) validateMaterials() error {
	if _, ok := map[strength.CementClass]bool{strength.Slow: true, strength.Normal: true, strength.Rapid: true}[c.Concrete.Cement]; !ok {
		return fmt.Errorf("concrete.cement_class is %q; allowed: S, N, R", c.Concrete.Cement)
	}
	w, cast, n := c.Wire, c.Casting, c.National
	return inRange(
		number{"wire.diameter_mm", w.DiameterMM, 2, 20}, number{"wire.area_mm2", w.AreaMM2, 1, 200},
		number{"wire.fpk_mpa", w.FpkMPa, 500, 2500}, number{"wire.fp01k_mpa", w.Fp01kMPa, 500, w.FpkMPa},
		number{"wire.modulus_mpa", w.ModulusMPa, 150000, 250000}, number{"wire.relaxation_class", float64(w.RelaxClass), 1, 3},
		number{"wire.rho1000_percent", w.Rho1000, 0.1, 15},
		number{"concrete.fck_mpa", c.Concrete.FckMPa, 12, 90}, number{"concrete.aggregate_factor", c.Concrete.Aggregate, 0.5, 1.5},
		number{"concrete.kg_per_m3", c.Concrete.KgPerM3, 1000, 3500},
		number{"casting.bed_stress_mpa", cast.BedStressMPa, 1, 2000}, number{"casting.transfer_age_days", cast.TransferAgeDays, 0.3, 28},
		number{"casting.hours_stressed", cast.HoursStressed, 0.1, 1000}, number{"casting.lifter_inset_mm", cast.LifterInsetMM, 0, 2000},
		number{"casting.lift_factor", cast.LiftFactor, 1, 3},
		number{"national.gamma_c", n.GammaC, 1, 2}, number{"national.gamma_s", n.GammaS, 1, 2},
		number{"national.gamma_g", n.GammaG, 1, 2}, number{"national.gamma_q", n.GammaQ, 1, 2}, number{"national.xi", n.Xi, 0.5, 1},
		number{"national.alpha_cc", n.AlphaCC, 0.5, 1}, number{"national.alpha_ct", n.AlphaCT, 0.5, 1}, number{"national.k1_shear", n.K1Shear, 0, 1})
}

func (c Catalogue) validateRules() error {
	r := c.Rules
	return inRange(
		number{"rules.length_step_mm", r.LengthStepMM, 1, 1000}, number{"rules.max_length_mm", r.MaxLengthMM, 1000, 20000},
		// A span below 200 mm cannot be checked.
		number{"rules.shortest_clear_mm", r.ShortestMM, 200, 2000}, number{"rules.most_beams_per_row", float64(r.MostPerRow), 1, 3},
		number{"rules.bearing_mm", r.BearingMM, 40, mostBearingMM}, number{"rules.line_load_kn_per_m", r.LineLoadKNPerM, 0, 100},
		number{"rules.humidity_percent", r.HumidityPercent, 20, 100}, number{"rules.design_hours", r.DesignHours, 1000, 2e6},
		number{"rules.finish_age_days", r.FinishAgeDays, 1, 3650}, number{"rules.screed_mm", r.ScreedMM, 0, 300},
		number{"rules.screed_kn_per_m3", r.ScreedKNPerM3, 0, 30}, number{"rules.fill_cents_per_m2", float64(r.FillCentsPerM2), 0, maxCents})
}

func (c Catalogue) validateTrimmers() error {
	known := map[string]bool{}
	for i, t := range c.Trimmers {
		at := fmt.Sprintf("trimmers[%d]", i)
		if t.Name == "" || known[t.Name] {
			return fmt.Errorf("%s.name is %q; allowed: a name of its own", at, t.Name)
		}
		known[t.Name] = true
		if t.Source == "" {
			return fmt.Errorf("%s.source is empty; allowed: where its loads are stated, such as a test report", at)
		}
		if len(t.Loads) == 0 {
			return fmt.Errorf("%s.loads is empty; allowed: at least one clear length with its loads", at)
		}
		numbers := []number{{at + ".width_mm", t.WidthMM, 20, 500}, {at + ".seat_mm", t.SeatMM, 20, t.WidthMM},
			{at + ".hang_mm", t.HangMM, 0, 500}, {at + ".kg_per_m", t.KgPerM, 0.1, 500}, {at + ".cents_per_m", float64(t.CentsPerM), 0, maxCents}}
		shortest, most := 300.0, 1000.0
		for j, l := range t.Loads {
			load := fmt.Sprintf("%s.loads[%d]", at, j)
			numbers = append(numbers, number{load + ".clear_mm", l.ClearMM, shortest, 10000},
				number{load + ".design_kn_per_m", l.DesignKNPerM, 0.1, most}, number{load + ".service_kn_per_m", l.ServiceKNPerM, 0.1, l.DesignKNPerM})
			shortest, most = l.ClearMM+1, l.DesignKNPerM
		}
		if err := inRange(numbers...); err != nil {
			return err
		}
	}
	return nil
}
