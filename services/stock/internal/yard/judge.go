package yard

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/conformity"
)

// Judgement is the verdict on all results of a batch of one age and specimen.
// However a laboratory spreads its results over reports, they are one sample
// of one concrete: judged one by one, each would meet the mildest criterion.
type Judgement struct {
	Specimen Specimen
	TestedOn civil.Day
	AgeDays  int
	TestIDs  []string
	// Strengths in the order in which they came in.
	Strengths []conformity.MilliMPa
	Verdict   conformity.Verdict
	// Superseded says that a retest took its place: see supersede.
	Superseded bool
}

// Judgements returns what the results of the batch come to, in the order in
// which the first of each came in. It counts all results anew, so that it is
// right whatever was judged when they came.
func (b Batch) Judgements() []Judgement {
	type group struct {
		specimen Specimen
		testedOn civil.Day
	}
	var out []Judgement
	index := map[group]int{}
	for _, t := range b.Tests {
		k := group{t.Specimen, t.TestedOn}
		i, known := index[k]
		if !known {
			i = len(out)
			index[k] = i
			out = append(out, Judgement{Specimen: t.Specimen, TestedOn: t.TestedOn, AgeDays: int(t.TestedOn - b.MadeOn)})
		}
		out[i].TestIDs = append(out[i].TestIDs, t.ID)
		out[i].Strengths = append(out[i].Strengths, t.Strengths...)
	}
	for i := range out {
		out[i].Verdict = b.verdict(out[i])
	}
	supersede(out)
	return out
}

// supersede marks judgements that do not conform and that a retest took the
// place of: later results of the same kind of specimen, at least as many, that
// conform. Non-conformity is what a retest confirms (EN 206:2013 8.4, from
// memory); until then the batch stays quarantined, and a named person has to
// lift that for a reason. The results stay where they are.
func supersede(all []Judgement) {
	for i := range all {
		if all[i].Verdict.Conforms {
			continue
		}
		for _, later := range all {
			if later.Specimen == all[i].Specimen && later.TestedOn > all[i].TestedOn && later.Verdict.Conforms && len(later.Strengths) >= len(all[i].Strengths) {
				all[i].Superseded = true
			}
		}
	}
}

// FailedJudgements returns those that do not conform and that no retest took the
// place of.
func (b Batch) FailedJudgements() []Judgement {
	var failed []Judgement
	for _, j := range b.Judgements() {
		if !j.Verdict.Conforms && !j.Superseded {
			failed = append(failed, j)
		}
	}
	return failed
}

func (b Batch) verdict(j Judgement) conformity.Verdict {
	var v conformity.Verdict
	switch j.Specimen {
	case Cylinder:
		v = conformity.Identity(b.Concrete.FckCylinder, j.Strengths)
	case Cube:
		v = conformity.Identity(b.Concrete.FckCube, j.Strengths)
	default:
		v = conformity.Blocks(b.Concrete.DeclaredBlock, j.Strengths)
	}
	if len(j.TestIDs) > 1 {
		v.Sentence += fmt.Sprintf(" Judged together: tests %s, %d days old.", strings.Join(j.TestIDs, ", "), j.AgeDays)
	}
	return v
}

// judged returns a test with the verdict on it and on the results that belong
// to it.
func (b Batch) judged(t Test) Test {
	for _, earlier := range b.Tests {
		if earlier.Specimen == t.Specimen && earlier.TestedOn == t.TestedOn {
			t.JudgedWith = append(t.JudgedWith, earlier.ID)
		}
	}
	b.Tests = append(b.Tests[:len(b.Tests):len(b.Tests)], t)
	for _, j := range b.Judgements() {
		if j.Specimen == t.Specimen && j.TestedOn == t.TestedOn {
			t.Verdict = j.Verdict
		}
	}
	return t
}

// ConcreteControl is how a concrete stands in its production control: one
// class, one kind of specimen, one age.
type ConcreteControl struct {
	Concrete   Concrete
	Specimen   Specimen
	AgeDays    int
	Production conformity.Production
}

// Productions takes all batches of beams through the production control of
// their concrete, in the order of the days of their tests. A sample is what a
// batch shows at one age.
func (s State) Productions() []ConcreteControl {
	type key struct {
		concrete Concrete
		specimen Specimen
		age      int
	}
	samples := map[key][]conformity.Result{}
	s.Batches(func(b Batch) {
		if b.Kind != Beams {
			return
		}
		for _, j := range b.Judgements() {
			k := key{b.Concrete, j.Specimen, j.AgeDays}
			samples[k] = append(samples[k], conformity.Result{Day: j.TestedOn, Strength: j.Verdict.Mean})
		}
	})
	var out []ConcreteControl
	for k, results := range samples {
		slices.SortStableFunc(results, func(a, b conformity.Result) int { return cmp.Compare(a.Day, b.Day) })
		fck := k.concrete.FckCylinder
		if k.specimen == Cube {
			fck = k.concrete.FckCube
		}
		out = append(out, ConcreteControl{Concrete: k.concrete, Specimen: k.specimen, AgeDays: k.age, Production: conformity.Control(fck, results)})
	}
	slices.SortFunc(out, func(a, b ConcreteControl) int {
		return cmp.Or(cmp.Compare(a.Concrete.FckCylinder, b.Concrete.FckCylinder), cmp.Compare(a.Concrete.FckCube, b.Concrete.FckCube),
			cmp.Compare(a.Specimen, b.Specimen), cmp.Compare(a.AgeDays, b.AgeDays))
	})
	return out
}
