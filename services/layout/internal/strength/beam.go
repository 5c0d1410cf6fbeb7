package strength

import (
	"fmt"
	"math"
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
	// BedLengthMM between the anchorages and DrawInMM of the wedges; 0 leaves
	// the elongation off the sheet.
	BedLengthMM float64 `json:"bed_length_mm"`
	DrawInMM    float64 `json:"draw_in_mm"`
	// JackMeasured when the force at the jack is measured to 5 %.
	JackMeasured bool `json:"jack_measured_to_5_percent"`
	// TransferAgeDays when the wires are cut.
	TransferAgeDays float64 `json:"transfer_age_days"`
	// Curing with heat, part by part, before that, and the temperature of the
	// wires on the bed when they were stressed.
	Curing     []Warmth `json:"heat_curing,omitempty"`
	BedCelsius float64  `json:"bed_celsius"`
	// CompressionProven allows 0.7 fck(t0) at transfer: tests or experience
	// show that no cracks along the wires follow.
	CompressionProven bool `json:"compression_proven"`
	// HoursStressed before transfer.
	HoursStressed float64 `json:"hours_stressed"`
	// SuddenRelease when the wires are cut with a saw or torch.
	SuddenRelease bool `json:"sudden_release"`
	// IndentedWire bonds better than strand does.
	IndentedWire bool `json:"indented_wire"`
	// LifterInsetMM from each end, a quarter of the length in short beams;
	// LiftFactor on self weight while handled.
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
	// Support is what the beam lies on; empty is masonry.
	Support Support `json:"support"`
	// Loads per square metre of floor in kN/m2.
	FinishesKNPerM2 float64 `json:"finishes_kn_per_m2"`
	ImposedKNPerM2  float64 `json:"imposed_kn_per_m2"`
	// MovablePartitionsKNPerM of their own run add to the imposed load.
	MovablePartitionsKNPerM float64 `json:"movable_partitions_kn_per_m"`
	// ConcentratedKN is Qk of EN 1991-1-1 Table 6.2, alone on the floor; 0
	// leaves it out.
	ConcentratedKN float64 `json:"concentrated_kn"`
	// InfillKNPerM of blocks on each beam row.
	InfillKNPerM    float64  `json:"infill_kn_per_m"`
	Category        Category `json:"category"`
	HumidityPercent float64  `json:"humidity_percent"`
	// DesignHours until the end of the design life.
	DesignHours float64 `json:"design_hours"`
	// FinishAgeDays when the finishes come on.
	FinishAgeDays float64 `json:"finish_age_days"`
	// FireMinutes of standard fire from below without a ceiling; 0 asks for
	// none.
	FireMinutes int `json:"fire_minutes"`
	// Topping that carries with the beams; nil is none.
	Topping *Topping `json:"topping,omitempty"`
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

// StageStress is the stress of one fibre at one stage of a beam's life,
// compression positive.
type StageStress struct {
	Stage    string  `json:"stage"`
	Fibre    string  `json:"fibre"`
	HeightMM float64 `json:"height_mm"`
	MPa      float64 `json:"mpa"`
}

// Report is a checked beam.
type Report struct {
	Beam     Beam          `json:"beam"`
	Choices  []string      `json:"choices"`
	Steps    []Step        `json:"steps"`
	Stresses []StageStress `json:"stresses"`
	Verdicts []Verdict     `json:"verdicts"`
	// Topping as it was taken, with its width and underside worked out; nil
	// without one.
	Topping *Topping `json:"topping,omitempty"`
	// Governing is the fullest check of the beam on the floor, or the fullest
	// of the fixed ones where one of those fails.
	Governing Verdict `json:"governing"`
	Passes    bool    `json:"passes"`
	Caution   string  `json:"caution"`
}

// Caution stands on every report.
const Caution = "A designer's aid: a licensed engineer checks and signs under the local code before anything is built."

// work carries the numbers from part to part of one check.
type work struct {
	beam   Beam
	report *Report
	part   string
	fixed  bool
	// quiet leaves the sheet unwritten.
	quiet bool

	section  Section
	concrete Concrete
	climate  Climate
	// gross is the beam alone, whole the beam with its topping, or the same.
	gross, whole Transformed
	topping      *composite

	// age at transfer as the concrete has hardened, in days.
	age             float64
	transfer        Transfer
	creep           Creep
	shrinkage       Shrinkage
	remain, remainN float64
	ecc             float64

	span, lengthMM float64
	// selfN of the beam per mm. Early loads come on the beam alone, late ones
	// on the beam with its topping; a beam of a row carries its share.
	selfN                float64
	early, late, imposed diagram
	psi                  Psi
	ultimates            []loadCase
	reactionN, designNMM float64

	// wires in the lower half: their area and the depth of their centroid.
	tensileMM2, depthMM float64
	webMM               float64
	ultimate            Ultimate
	lpt                 Transmission
	lbpd                float64
	fctd                float64
	levels              []fibre
}

// loadCase is a combination at ultimate: factors on permanent and imposed
// loads, or on permanent ones with a force that may stand anywhere.
type loadCase struct{ dead, live, pointN float64 }

// Check runs every check on a beam and writes its sheet. An error names the
// input that makes no sense; a beam that fails a check is no error.
func Check(b Beam) (Report, error) {
	b.National = b.National.filled()
	section, err := b.validate()
	if err != nil {
		return Report{}, err
	}
	r := Report{Beam: b, Choices: choicesOf(b, section), Caution: Caution,
		Steps: make([]Step, 0, 190), Verdicts: make([]Verdict, 0, 36), Stresses: make([]StageStress, 0, 24)}
	err = newWork(b, section, &r).run()
	return r, err
}

// Judge runs the same checks without writing a sheet, for the many beams of
// which only the verdict is wanted.
func Judge(b Beam) (governing Verdict, passes bool, err error) {
	b.National = b.National.filled()
	section, err := b.validate()
	if err != nil {
		return Verdict{}, false, err
	}
	var r Report
	w := newWork(b, section, &r)
	w.quiet = true
	err = w.run()
	return r.Governing, r.Passes, err
}

func newWork(b Beam, s Section, r *Report) *work {
	return &work{beam: b, report: r, section: s, concrete: Concrete{FckMPa: b.FckMPa, Cement: b.Cement, Aggregate: b.Aggregate}}
}

// run goes through all parts of the check.
func (w *work) run() error {
	w.sectionSteps()
	w.concreteSteps()
	w.fixed = true
	w.stressingSteps()
	w.transferSteps()
	w.fixed = false
	w.loadSteps()
	w.lossSteps()
	if w.remain <= 0 {
		return fmt.Errorf("casting.bed_stress_mpa is %g; allowed: more than the losses, which leave nothing of it", w.beam.Casting.BedStressMPa)
	}
	w.fixed = true
	w.transferChecks()
	w.handlingChecks()
	w.fixed = false
	if err := w.ultimateOfBeam(); err != nil {
		return err
	}
	w.transmissionSteps()
	if w.topping != nil {
		w.castingChecks()
	}
	w.serviceChecks()
	if err := w.bendingCheck(); err != nil {
		return err
	}
	w.shearChecks()
	if w.topping != nil {
		w.interfaceCheck()
	}
	w.deflectionChecks()
	w.fixed = true
	w.bearingCheck()
	w.fireCheck()
	w.report.Passes = w.report.Governing.Fullness <= 1
	return nil
}

func (w *work) step(symbol, what, clause, formula string, value float64, unit string) float64 {
	if w.quiet {
		return value
	}
	w.report.Steps = append(w.report.Steps, Step{w.part, symbol, what, clause, formula, value, unit})
	return value
}

// stress notes the stress of a fibre at a stage.
func (w *work) stress(stage, fibre string, heightMM, mpa float64) {
	if w.quiet {
		return
	}
	w.report.Stresses = append(w.report.Stresses, StageStress{stage, fibre, heightMM, mpa})
}

// verdict notes a check. What is asked of the beam is never less than nothing:
// a tension that is a compression fills no limit.
func (w *work) verdict(what, clause string, demand, capacity float64, unit string) {
	v := Verdict{What: what, Clause: clause, Demand: math.Max(demand, 0), Capacity: capacity, Unit: unit, Fixed: w.fixed}
	switch {
	case v.Demand == 0:
		v.Fullness = 0
	case capacity <= 0:
		v.Fullness = noCapacity
	default:
		v.Fullness = v.Demand / capacity
	}
	v.Passes = v.Fullness <= 1
	if v.Fullness > w.report.Governing.Fullness && (!v.Fixed || !v.Passes) {
		w.report.Governing = v
	}
	if !w.quiet {
		w.report.Verdicts = append(w.report.Verdicts, v)
	}
}

// noCapacity is the fullness shown where there is no capacity at all.
const noCapacity = 999
