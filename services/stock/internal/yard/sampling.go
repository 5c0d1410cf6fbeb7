package yard

import (
	"cmp"
	"fmt"
	"slices"

	"spanyard.example/services/kit/civil"
)

// SamplingRule says which specimens of a product are tested, how many and at
// what age.
type SamplingRule struct {
	Kind Kind
	// Product is a profile or a kind of blocks; empty for all of the kind.
	Product  string
	Specimen Specimen
	Count    int
	// AgeDays are calendar days from making; the day of transfer is an age too.
	AgeDays    int
	Laboratory string
	// ForRelease keeps a batch in the yard until these specimens are tested.
	ForRelease bool
	// From leaves batches alone that were made before; 0 for none.
	From civil.Day
}

// MaxSamplingRules of a yard.
const MaxSamplingRules = 100

func (r SamplingRule) check(p *problems, where string) {
	p.text(where+"product", r.Product, 64)
	p.text(where+"laboratory", r.Laboratory, 120)
	p.within(where+"count", int64(r.Count), 1, 100)
	p.within(where+"age_days", int64(r.AgeDays), 0, 365)
	switch {
	case r.Kind == Beams && r.Specimen != Cylinder && r.Specimen != Cube:
		p.add(where+"specimen", r.Specimen.String(), "does not fit beams", "cylinder or cube")
	case r.Kind == Blocks && r.Specimen != Block:
		p.add(where+"specimen", r.Specimen.String(), "does not fit blocks", "block")
	case r.Kind != Beams && r.Kind != Blocks:
		p.add(where+"kind", "", "is neither beams nor blocks", "beams or blocks")
	}
}

// product of a batch, as sampling rules name it.
func (b Batch) product() string {
	if b.Kind == Blocks {
		return b.Lot.BlockKind
	}
	return b.Profile
}

func (r SamplingRule) covers(b Batch) bool {
	return r.Kind == b.Kind && (r.Product == "" || r.Product == b.product()) && b.MadeOn >= r.From
}

// Sample is a rule as it stands for a batch.
type Sample struct {
	BatchID string
	Product string
	Rule    SamplingRule
	DueOn   civil.Day
	// Tested specimens so far, of Rule.Count.
	Tested int
}

// Missing specimens.
func (s Sample) Missing() int { return max(0, s.Rule.Count-s.Tested) }

// Samples returns the rules that hold for a batch, by age, with how many
// specimens have been tested. A result counts for the oldest age of its kind of
// specimen that it has reached: one of 16 days for 14, not for 7. An age that
// was missed is past when a later one has been tested: nobody can make the
// concrete younger.
func (s State) Samples(b Batch) []Sample {
	var out []Sample
	for _, r := range s.rules.Sampling {
		if r.covers(b) {
			out = append(out, Sample{BatchID: b.ID, Product: b.product(), Rule: r, DueOn: b.MadeOn + civil.Day(r.AgeDays)})
		}
	}
	slices.SortStableFunc(out, func(a, b Sample) int {
		return cmp.Or(cmp.Compare(a.Rule.Specimen, b.Rule.Specimen), cmp.Compare(a.Rule.AgeDays, b.Rule.AgeDays))
	})
	for _, j := range b.Judgements() {
		for i := len(out) - 1; i >= 0; i-- {
			if out[i].Rule.Specimen == j.Specimen && out[i].Rule.AgeDays <= j.AgeDays {
				out[i].Tested += len(j.Strengths)
				break
			}
		}
	}
	return out
}

// past reports whether a later age of the same specimen has been tested.
func past(samples []Sample, i int) bool {
	for _, later := range samples[i+1:] {
		if later.Rule.Specimen == samples[i].Rule.Specimen && later.Tested > 0 {
			return true
		}
	}
	return false
}

// DueSamples returns what has to be tested by a day and is not, the oldest
// first; also of batches that have left, whose late results still count.
func (s State) DueSamples(by civil.Day) []Sample {
	var out []Sample
	s.Batches(func(b Batch) {
		if b.Counts.Scrapped == b.Counts.Made {
			return
		}
		samples := s.Samples(b)
		for i, sample := range samples {
			if sample.DueOn <= by && sample.Missing() > 0 && !past(samples, i) {
				out = append(out, sample)
			}
		}
	})
	slices.SortStableFunc(out, func(a, b Sample) int { return cmp.Compare(a.DueOn, b.DueOn) })
	return out
}

// Awaited returns the samples that a release still waits for. An age that is past
// holds up nothing: what was tested later speaks for the batch.
func (s State) Awaited(b Batch) []Sample {
	var out []Sample
	samples := s.Samples(b)
	for i, sample := range samples {
		if sample.Rule.ForRelease && sample.Missing() > 0 && !past(samples, i) {
			out = append(out, sample)
		}
	}
	return out
}

// untested returns what a release still waits for, in words.
func (s State) untested(b Batch) []string {
	var out []string
	for _, sample := range s.Awaited(b) {
		r := sample.Rule
		out = append(out, fmt.Sprintf("%d of %d %ss of %d days are not tested, due on %v", sample.Missing(), r.Count, r.Specimen, r.AgeDays, sample.DueOn))
	}
	return out
}
