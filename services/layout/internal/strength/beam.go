package strength

import (
	"fmt"
)

// Beam is all that the check of one beam rests on. It is also the JSON form
// of a check from a file. Every number is data of the yard or of the job.
type Beam struct {
	Name    string  `json:"name"`
	Outline Outline `json:"outline"`
	Pattern Pattern `json:"pattern"`
	// FckMPa, Cement and Aggregate of the beam's concrete.
	FckMPa    float64     `json:"fck_mpa"`
	Cement    CementClass `json:"cement_class"`
	Aggregate float64     `json:"aggregate_factor"`
	Casting   Casting     `json:"casting"`
	Floor     Floor       `json:"floor"`
	National  National    `json:"national"`
}

// Casting is what happens to the beam before it reaches the floor.
type Casting struct {
	// BedStressMPa in the wires after draw-in.
	BedStressMPa float64 `json:"bed_stress_mpa"`
	// TransferAgeDays when the wires are cut; heat curing counts by its
	// temperature adjusted age.
	TransferAgeDays float64 `json:"transfer_age_days"`
	// HoursStressed before transfer.
	HoursStressed float64 `json:"hours_stressed"`
	// SuddenRelease when the wires are cut with a saw or torch.
	SuddenRelease bool `json:"sudden_release"`
	// IndentedWire bonds better than strand does.
	IndentedWire bool `json:"indented_wire"`
	// LifterInsetMM from each end, LiftFactor on self weight while handled.
	LifterInsetMM float64 `json:"lifter_inset_mm"`
	LiftFactor    float64 `json:"lift_factor"`
}

// Floor is where the beam lies and what it carries.
type Floor struct {
	ClearSpanMM float64 `json:"clear_span_mm"`
	BearingMM   float64 `json:"bearing_mm"`
	// EffectiveSpanMM overrides clear span plus bearings (5.3.2.2) when not 0.
	EffectiveSpanMM float64 `json:"effective_span_mm"`
	// BeamsPerRow side by side share the row's load.
	BeamsPerRow int     `json:"beams_per_row"`
	PitchMM     float64 `json:"pitch_mm"`
	// Loads per square metre of floor in kN/m2.
	FinishesKNPerM2 float64 `json:"finishes_kn_per_m2"`
	ImposedKNPerM2  float64 `json:"imposed_kn_per_m2"`
	// InfillKNPerM of blocks on each beam row.
	InfillKNPerM    float64  `json:"infill_kn_per_m"`
	Category        Category `json:"category"`
	HumidityPercent float64  `json:"humidity_percent"`
	// DesignHours until the end of the design life.
	DesignHours float64 `json:"design_hours"`
	// FinishAgeDays when the finishes come on.
	FinishAgeDays float64 `json:"finish_age_days"`
	// Partitions and point loads of the row, permanent.
	Lines  []Stretch   `json:"line_loads"`
	Points []PointLoad `json:"point_loads"`
}

// Step is one line of the calculation sheet.
type Step struct {
	Part    string  `json:"part"`
	Symbol  string  `json:"symbol"`
	What    string  `json:"what"`
	Clause  string  `json:"clause"`
	Formula string  `json:"formula"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
}

// Verdict is one check: what is asked of the beam against what it can do.
type Verdict struct {
	What     string  `json:"what"`
	Clause   string  `json:"clause"`
	Demand   float64 `json:"demand"`
	Capacity float64 `json:"capacity"`
	Unit     string  `json:"unit"`
	// Fullness is demand over capacity; above 1 the check fails.
	Fullness float64 `json:"fullness"`
	Passes   bool    `json:"passes"`
	// Fixed says that the check is about the beam as it is made and handled,
	// not about what it carries on the floor.
	Fixed bool `json:"fixed"`
}

// Report is a checked beam.
type Report struct {
	Beam     Beam      `json:"beam"`
	Choices  []string  `json:"choices"`
	Steps    []Step    `json:"steps"`
	Verdicts []Verdict `json:"verdicts"`
	// Governing is the fullest check of the beam on the floor, or the fullest
	// of the fixed ones where one of those fails.
	Governing Verdict `json:"governing"`
	Passes    bool    `json:"passes"`
	Caution   string  `json:"caution"`
}

// Caution stands on every report.
const Caution = "A designer's aid: a licensed engineer checks and signs under the local code before anything is built."

// choices that the code leaves open, and how they are made here.
var choices = []string{
	"Beam and blocks act without a structural topping; blocks and finishes are load only.",
	"Elastic loss on the transformed section, each row of wires for itself, without self weight.",
	"Long-term loss by 5.46 with the full relaxation at the end of the design life from the stress after transfer, creep on the whole quasi-permanent stress, and the total shrinkage strain.",
	"Bending with the rectangular block (3.1.7(3)), a horizontal branch of the wires' diagram (3.3.6(7)), and all wires starting at the remaining prestress without the decompression strain.",
	"Uncracked shear (6.4) at every corner of the outline and at the centroid, with the stress of the prestress alone; no nearer the support than the 45 degree line from the support's inner edge to the centroid.",
	"Prestress builds up linearly over the longer transmission length 1.2 lpt.",
	"Loads are shared equally by the beams of a row.",
}

// work carries the numbers from part to part of one check.
type work struct {
	beam     Beam
	report   *Report
	part     string
	fixed    bool
	section  Section
	concrete Concrete
	climate  Climate
	gross    Transformed
	transfer Transfer
	creep    Creep
	longTerm LongTerm
	remainN  float64
	remain   float64
	span     float64
	ecc      float64
	self     Loads
	perm     Loads
	imposed  Loads
	ulsDead  float64
	ulsLive  float64
	psi      Psi
	lpt      Transmission
	lbpd     float64
	web      float64
	levels   []fibre
}

// Check runs every check on a beam. An error names the input that makes no
// sense; a beam that fails a check is no error.
func Check(b Beam) (Report, error) {
	if err := b.validate(); err != nil {
		return Report{}, err
	}
	section, err := NewSection(b.Outline)
	if err != nil {
		return Report{}, err
	}
	r := Report{Beam: b, Choices: choices, Caution: Caution}
	w := &work{beam: b, report: &r, section: section,
		concrete: Concrete{FckMPa: b.FckMPa, Cement: b.Cement, Aggregate: b.Aggregate}}
	w.sectionSteps()
	w.concreteSteps()
	w.fixed = true
	w.transferSteps()
	w.loadSteps()
	w.lossSteps()
	w.transferChecks()
	w.fixed = false
	w.serviceChecks()
	if err := w.bendingCheck(); err != nil {
		return Report{}, err
	}
	w.transmissionSteps()
	w.shearChecks()
	w.deflectionChecks()
	r.Passes = true
	for _, v := range r.Verdicts {
		r.Passes = r.Passes && v.Passes
		if v.Fullness > r.Governing.Fullness && (!v.Fixed || !v.Passes) {
			r.Governing = v
		}
	}
	return r, nil
}

func (b Beam) validate() error {
	ranges := []struct {
		field         string
		value, lo, hi float64
	}{
		{"fck_mpa", b.FckMPa, 12, 90},
		{"casting.bed_stress_mpa", b.Casting.BedStressMPa, 1, 2000},
		{"casting.transfer_age_days", b.Casting.TransferAgeDays, 0.3, 28},
		{"casting.hours_stressed", b.Casting.HoursStressed, 0.1, 1000},
		{"casting.lift_factor", b.Casting.LiftFactor, 1, 3},
		{"floor.pitch_mm", b.Floor.PitchMM, 100, 2000},
		{"floor.bearing_mm", b.Floor.BearingMM, 20, 500},
		{"floor.clear_span_mm", b.Floor.ClearSpanMM, 200, 20000},
		{"floor.beams_per_row", float64(b.Floor.BeamsPerRow), 1, 3},
		{"floor.humidity_percent", b.Floor.HumidityPercent, 20, 100},
		{"floor.design_hours", b.Floor.DesignHours, 1000, 2e6},
		{"floor.finish_age_days", b.Floor.FinishAgeDays, 1, 3650},
		{"pattern.wire.area_mm2", b.Pattern.Wire.AreaMM2, 1, 200},
		{"pattern.wire.fpk_mpa", b.Pattern.Wire.FpkMPa, 500, 2500},
		{"pattern.wire.fp01k_mpa", b.Pattern.Wire.Fp01kMPa, 500, b.Pattern.Wire.FpkMPa},
		{"pattern.wire.modulus_mpa", b.Pattern.Wire.ModulusMPa, 150000, 250000},
		{"pattern.wire.relaxation_class", float64(b.Pattern.Wire.RelaxClass), 1, 3},
	}
	for _, r := range ranges {
		if !(r.value >= r.lo && r.value <= r.hi) {
			return fmt.Errorf("%s is %g; allowed: %g to %g", r.field, r.value, r.lo, r.hi)
		}
	}
	if b.Cement.hardening() == 0 {
		return fmt.Errorf("cement_class is %q; allowed: S, N, R", b.Cement)
	}
	if _, ok := RecommendedPsi[b.Floor.Category]; !ok {
		return fmt.Errorf("floor.category is %q; allowed: A, B, C, D, E", b.Floor.Category)
	}
	if len(b.Pattern.Rows) == 0 {
		return fmt.Errorf("pattern.rows is empty; allowed: at least one row of wires")
	}
	for i, r := range b.Pattern.Rows {
		if r.Count < 1 || r.HeightMM <= 0 {
			return fmt.Errorf("pattern.rows[%d] has %d wires at %g mm; allowed: at least 1 above the soffit", i, r.Count, r.HeightMM)
		}
	}
	return nil
}

func (w *work) step(symbol, what, clause, formula string, value float64, unit string) float64 {
	w.report.Steps = append(w.report.Steps, Step{w.part, symbol, what, clause, formula, value, unit})
	return value
}

func (w *work) verdict(what, clause string, demand, capacity float64, unit string) {
	v := Verdict{What: what, Clause: clause, Demand: demand, Capacity: capacity, Unit: unit}
	switch {
	case demand <= 0:
		v.Fullness = 0
	case capacity <= 0:
		v.Fullness = noCapacity
	default:
		v.Fullness = demand / capacity
	}
	v.Passes = v.Fullness <= 1
	v.Fixed = w.fixed
	w.report.Verdicts = append(w.report.Verdicts, v)
}

// noCapacity is the fullness shown where there is no capacity at all.
const noCapacity = 999
