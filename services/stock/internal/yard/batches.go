package yard

import (
	"fmt"
	"time"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/conformity"
)

// SetRules opens the yard or changes its rules.
type SetRules struct {
	Rules Rules
	// KeepSampling and KeepStacks leave those rules of the yard as they are.
	KeepSampling, KeepStacks bool
}

func (c SetRules) decide(s State) ([]Event, error) {
	var p problems
	if c.KeepSampling {
		c.Rules.Sampling = s.rules.Sampling
	}
	if c.KeepStacks {
		c.Rules.Stacks = s.rules.Stacks
	}
	// "Local" would mean another zone on every machine.
	if _, err := time.LoadLocation(c.Rules.TimeZone); err != nil || c.Rules.TimeZone == "" || c.Rules.TimeZone == "Local" {
		p.add("time_zone", c.Rules.TimeZone, "is no time zone", `a name such as "Etc/UTC"`)
	}
	p.within("beam_min_age_days", int64(c.Rules.BeamMinAgeDays), 1, 365)
	p.within("block_min_age_days", int64(c.Rules.BlockMinAgeDays), 1, 365)
	p.within("beams_per_stack_tier", int64(c.Rules.BeamsPerStackTier), 1, 50)
	p.within("sampling", int64(len(c.Rules.Sampling)), 0, MaxSamplingRules)
	for i, r := range c.Rules.Sampling {
		r.check(&p, fmt.Sprintf("sampling[%d].", i))
	}
	c.Rules.Stacks.check(&p)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	if s.Open() && s.rules.equal(c.Rules) {
		return nil, nil
	}
	return []Event{RulesSet{Rules: c.Rules}}, nil
}

// BeamLine is a number of equal beams of a batch, put on a stack one on top of
// the other.
type BeamLine struct {
	LengthMM, Count int
	MassGEach       int64
	StackID         string
	// KeptJob is the job that the beams are made for; empty for anybody.
	KeptJob string
	// KeptMarks of the beams in their order: none, or one for each.
	KeptMarks []string
}

// kept returns for whom the i-th beam of the line is made.
func (l BeamLine) kept(i int) Kept {
	k := Kept{JobID: l.KeptJob}
	if i < len(l.KeptMarks) {
		k.Mark = l.KeptMarks[i]
	}
	return k
}

// ReceiveBatch takes a batch into the yard.
type ReceiveBatch struct {
	BatchID  string
	Kind     Kind
	MadeOn   civil.Day
	Concrete Concrete
	// Beams.
	Profile, WirePattern string
	Lines                []BeamLine
	// Blocks.
	Lot    Lot
	Source string
	At     time.Time
	// Counted says that the batch stands in the yard as it is described: it is
	// written down also where it breaks a rule of stacking.
	Counted bool
}

func (c ReceiveBatch) decide(s State) ([]Event, error) {
	var wrong, now problems
	c.check(s, &wrong)
	_, known := s.Batch(c.BatchID)
	if known {
		now.add("batch_id", c.BatchID, "is in the yard already", "another batch number")
	}
	c.checkStacks(s, &now)
	if len(wrong.places) > 0 {
		// Everything at once, also what is wrong only today.
		wrong.places = append(wrong.places, now.places...)
		return nil, wrong.invalid()
	}
	e := c.Event()
	if known {
		return nil, now.stale("BATCH_EXISTS", "Batch %s is in the yard already.", c.BatchID)
	}
	c.checkIDs(s, e.Beams, &now)
	if err := now.stale("STACK_TAKEN", "Batch %s cannot be put down where it should.", c.BatchID); err != nil {
		return nil, err
	}
	return []Event{e}, nil
}

// Event returns what happens when nothing stands against the command.
func (c ReceiveBatch) Event() BatchReceived {
	e := BatchReceived{
		BatchID: c.BatchID, Kind: c.Kind, MadeOn: c.MadeOn, Concrete: c.Concrete,
		Profile: c.Profile, WirePattern: c.WirePattern, Lot: c.Lot, Source: c.Source,
	}
	for _, line := range c.Lines {
		for i := range line.Count {
			e.Beams = append(e.Beams, Beam{
				ID: BeamID(c.BatchID, len(e.Beams)+1), LengthMM: line.LengthMM, MassG: line.MassGEach, StackID: line.StackID, Kept: line.kept(i),
			})
		}
	}
	return e
}

// BeamID returns the id of a batch's beam by its number, from 1.
func BeamID(batchID string, number int) string { return fmt.Sprintf("%s-%03d", batchID, number) }

func (c ReceiveBatch) check(s State, p *problems) {
	p.batch("batch_id", c.BatchID)
	p.text("source", c.Source, 200)
	if today := s.Day(c.At); c.MadeOn > today {
		p.add("made_on", c.MadeOn.String(), "lies in the future", "up to "+today.String())
	}
	switch c.Kind {
	case Beams:
		c.checkBeams(p)
	case Blocks:
		c.checkBlocks(p)
	default:
		p.add("kind", "", "is neither beams nor blocks", "beams or blocks")
	}
}

func (c ReceiveBatch) checkBeams(p *problems) {
	p.name("beams.profile", c.Profile, 64)
	p.name("beams.wire_pattern", c.WirePattern, 64)
	strength(p, "concrete.fck_cylinder_mpa", c.Concrete.FckCylinder)
	strength(p, "concrete.fck_cube_mpa", c.Concrete.FckCube)
	if c.Concrete.FckCube < c.Concrete.FckCylinder {
		p.add("concrete.fck_cube_mpa", c.Concrete.FckCube.String(), "is below the cylinder strength of its class",
			"the cube strength of the same class (EN 206 Table 12)")
	}
	if c.Lot != (Lot{}) || c.Concrete.DeclaredBlock != 0 {
		p.add("blocks", "", "must be empty in a batch of beams", "")
	}
	if len(c.Lines) == 0 {
		p.add("beams.lines", "", "has no beams", "")
	}
	total := 0
	for i, line := range c.Lines {
		where := fmt.Sprintf("beams.lines[%d].", i)
		p.within(where+"length_mm", int64(line.LengthMM), 200, 30_000)
		p.within(where+"count", int64(line.Count), 1, MaxBeamsPerBatch)
		p.within(where+"mass_g_each", line.MassGEach, 1, 20_000_000)
		p.name(where+"stack_id", line.StackID, 64)
		if len(line.StackID) > 64 {
			// Every beam repeats it in the event, which has a limit in bytes.
			p.add(where+"stack_id", "", "is too long", "at most 64 bytes")
		}
		line.checkKept(p, where)
		total += line.Count
	}
	if total > MaxBeamsPerBatch {
		p.add("beams.lines", fmt.Sprint(total), "is too many beams for one batch", fmt.Sprintf("at most %d", MaxBeamsPerBatch))
	}
}

func (l BeamLine) checkKept(p *problems, where string) {
	p.text(where+"kept_for_job_id", l.KeptJob, 64)
	for i, mark := range l.KeptMarks {
		p.name(fmt.Sprintf("%skept_for_marks[%d]", where, i), mark, 64)
	}
	switch n := len(l.KeptMarks); {
	case n > 0 && l.KeptJob == "":
		p.add(where+"kept_for_job_id", "", "is missing, but marks are given", "the job of the marks")
	case n > 0 && n != l.Count:
		p.add(where+"kept_for_marks", fmt.Sprintf("%d marks", n), fmt.Sprintf("does not fit %d beams", l.Count), "no mark, or one for each beam")
	}
}

func (c ReceiveBatch) checkBlocks(p *problems) {
	p.name("blocks.block_kind", c.Lot.BlockKind, 64)
	p.within("blocks.count", int64(c.Lot.Count), 1, 1_000_000)
	p.within("blocks.mass_g_each", c.Lot.MassGEach, 1, 200_000)
	p.name("blocks.stack_id", c.Lot.StackID, 64)
	strength(p, "concrete.declared_block_mpa", c.Concrete.DeclaredBlock)
	if len(c.Lines) > 0 || c.Profile != "" || c.WirePattern != "" || c.Concrete.FckCylinder != 0 || c.Concrete.FckCube != 0 {
		p.add("beams", "", "must be empty in a batch of blocks", "")
	}
}

// strength checks a strength: positive and below 250 MPa.
func strength(p *problems, where string, value conformity.MilliMPa) {
	if value <= 0 || value >= 250*conformity.MPa {
		p.add(where, value.String(), "is no strength in MPa", "above 0 and below 250")
	}
}

// checkStacks looks for stacks that are taken.
func (c ReceiveBatch) checkStacks(s State, p *problems) {
	taken := func(where, stackID string) {
		if owner := s.stackOwner(stackID); owner != "" {
			p.add(where, stackID, "holds batch "+owner, "an empty stack")
		}
	}
	for i, line := range c.Lines {
		taken(fmt.Sprintf("beams.lines[%d].stack_id", i), line.StackID)
	}
	if c.Kind == Blocks {
		taken("blocks.stack_id", c.Lot.StackID)
	}
	if !c.Counted {
		c.checkPiles(s, p)
	}
}

// checkPiles looks for beams that do not fit where they are put, and for
// blocks in a place for beams.
func (c ReceiveBatch) checkPiles(s State, p *problems) {
	piles := s.piles()
	for i, line := range c.Lines {
		for n := range min(line.Count, MaxBeamsPerBatch) {
			if problem := piles.whyNot(line.LengthMM, line.StackID); problem != "" {
				p.add(fmt.Sprintf("beams.lines[%d].stack_id", i), line.StackID, problem, "")
				break
			}
			piles.put(fmt.Sprintf("%d.%d", i, n), line.LengthMM, line.StackID)
		}
	}
	if rules := s.rules.Stacks; c.Kind == Blocks && len(rules.Places) > 0 {
		if place, listed := rules.Place(c.Lot.StackID); !listed || !place.ForBlocks {
			p.add("blocks.stack_id", c.Lot.StackID, "is no place for blocks in this yard", "")
		}
	}
}

// checkIDs looks for beams whose ids exist.
func (c ReceiveBatch) checkIDs(s State, beams []Beam, p *problems) {
	for _, beam := range beams {
		if _, known := s.pieces.Get(beam.ID); known {
			p.add("batch_id", c.BatchID, "would give a beam the id "+beam.ID+", which a pallet has", "another batch number")
			break
		}
	}
}

// RecordTest records a laboratory's results.
type RecordTest struct {
	BatchID, TestID, Laboratory string
	TestedOn                    civil.Day
	Specimen                    Specimen
	Strengths                   []conformity.MilliMPa
	// By is who records them.
	By string
	At time.Time
}

func (c RecordTest) decide(s State) ([]Event, error) {
	b, err := s.knownBatch(c.BatchID)
	if err != nil {
		return nil, err
	}
	if err := c.check(s, b); err != nil {
		return nil, err
	}
	for _, t := range b.Tests {
		if t.ID == c.TestID {
			return nil, fault.New(fault.Stale, "TEST_EXISTS",
				"Test %s of batch %s is recorded already. A recorded result is never changed.", c.TestID, b.ID)
		}
	}
	test := b.judged(Test{ID: c.TestID, Laboratory: c.Laboratory, TestedOn: c.TestedOn, Specimen: c.Specimen, Strengths: c.Strengths})
	events := []Event{TestRecorded{BatchID: b.ID, Test: test}}
	if !test.Verdict.Conforms && b.State != Quarantined {
		reason := fmt.Sprintf("Test %s brought results that do not conform. %s", test.ID, test.Verdict.Sentence)
		events = append(events, s.quarantine(b, reason, c.By, c.At)...)
	}
	return events, nil
}

func (c RecordTest) check(s State, b Batch) error {
	var p problems
	p.name("test_id", c.TestID, 64)
	p.name("laboratory", c.Laboratory, 120)
	p.name("actor", c.By, 120)
	if c.TestedOn < b.MadeOn {
		p.add("tested_on", c.TestedOn.String(), "lies before the batch was made", "from "+b.MadeOn.String())
	}
	if today := s.Day(c.At); c.TestedOn > today {
		p.add("tested_on", c.TestedOn.String(), "lies in the future", "up to "+today.String())
	}
	switch {
	case b.Kind == Beams && c.Specimen != Cylinder && c.Specimen != Cube:
		p.add("specimen", "", "does not fit a batch of beams", "cylinder or cube")
	case b.Kind == Blocks && c.Specimen != Block:
		p.add("specimen", "", "does not fit a batch of blocks", "block")
	}
	p.within("strengths_mpa", int64(len(c.Strengths)), 1, 100)
	for i, m := range c.Strengths {
		strength(&p, fmt.Sprintf("strengths_mpa[%d]", i), m)
	}
	return p.invalid()
}
