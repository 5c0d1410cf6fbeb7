package yard

import (
	"fmt"
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
	return out
}

// FailedJudgements returns those that do not conform.
func (b Batch) FailedJudgements() []Judgement {
	var failed []Judgement
	for _, j := range b.Judgements() {
		if !j.Verdict.Conforms {
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
