package yard_test

import (
	"fmt"
	"slices"
	"testing"

	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

func sampled(t *testing.T, rules ...yard.SamplingRule) *book {
	b := &book{T: t, state: yard.New("alder")}
	r := yardtest.CommonRules("Etc/UTC")
	r.Sampling = rules
	b.do(yard.SetRules{Rules: r})
	return b
}

func due(s yard.State, by string) []string {
	var out []string
	for _, d := range s.DueSamples(day(by)) {
		out = append(out, fmt.Sprintf("%s %v of %d on %v: %d", d.BatchID, d.Rule.Specimen, d.Rule.AgeDays, d.DueOn, d.Missing()))
	}
	return out
}

// What is due is worked out by hand.
func TestSamplesFallDue(t *testing.T) {
	b := sampled(t,
		yard.SamplingRule{Kind: yard.Beams, Specimen: yard.Cylinder, Count: 3, AgeDays: 28},
		yard.SamplingRule{Kind: yard.Beams, Specimen: yard.Cylinder, Count: 2, AgeDays: 7},
		yard.SamplingRule{Kind: yard.Beams, Product: "T18", Specimen: yard.Cube, Count: 1, AgeDays: 1},
		yard.SamplingRule{Kind: yard.Blocks, Specimen: yard.Block, Count: 6, AgeDays: 28, From: day("2027-03-01")},
	)
	b.do(beams("B1", "2027-03-01", 2))
	b.do(beams("B2", "2027-03-03", 2))
	b.do(blocks("K0", "2027-02-28", 10))
	b.do(blocks("K1", "2027-03-01", 10))
	check := func(when string, want ...string) {
		t.Helper()
		if got := due(b.state, when); !slices.Equal(got, want) {
			t.Errorf("by %s these are due: %q, want %q", when, got, want)
		}
	}
	check("2027-03-07")
	check("2027-03-09", "B1 cylinder of 7 on 2027-03-08: 2")
	one := passing("B1", "T1", "2027-03-08")
	one.Strengths = []conformity.MilliMPa{44_000}
	b.do(one)
	check("2027-03-10", "B1 cylinder of 7 on 2027-03-08: 1", "B2 cylinder of 7 on 2027-03-10: 2")
	check("2027-03-29", "B1 cylinder of 7 on 2027-03-08: 1", "B2 cylinder of 7 on 2027-03-10: 2",
		"B1 cylinder of 28 on 2027-03-29: 3", "K1 block of 28 on 2027-03-29: 6")
	// At 28 days the chance of 7 days is past, and one of three is still missing.
	b.do(passing("B1", "T2", "2027-03-29"))
	b.do(yard.ScrapPieces{Reason: "cracked", PieceIDs: []string{"B2-001", "B2-002"}})
	check("2027-04-05", "B1 cylinder of 28 on 2027-03-29: 1", "K1 block of 28 on 2027-03-29: 6")
}

// A rule may keep a batch in the yard until its specimens are tested.
func TestReleaseWaitsForItsSamples(t *testing.T) {
	b := sampled(t, yard.SamplingRule{Kind: yard.Beams, Specimen: yard.Cylinder, Count: 4, AgeDays: 7, ForRelease: true})
	b.do(beams("B1", "2027-03-01", 2))
	b.do(passing("B1", "T1", "2027-03-08"))
	release := yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: noon("2027-03-20")}
	if f := b.refused(release, "SAMPLES_MISSING"); len(f.Places) != 1 || f.Places[0].Problem != "2 of 4 cylinders of 7 days are not tested, due on 2027-03-08" {
		t.Errorf("the refusal names %v", f.Places)
	}
	b.do(passing("B1", "T2", "2027-03-08"))
	b.do(release)
}

// An age that was missed holds a batch up no more once a later one is tested.
func TestMissedAgeIsPast(t *testing.T) {
	b := sampled(t,
		yard.SamplingRule{Kind: yard.Beams, Specimen: yard.Cylinder, Count: 2, AgeDays: 7, ForRelease: true},
		yard.SamplingRule{Kind: yard.Beams, Specimen: yard.Cylinder, Count: 2, AgeDays: 14, ForRelease: true})
	b.do(beams("B1", "2027-03-01", 2))
	release := yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: noon("2027-03-20")}
	b.refused(release, "NOT_TESTED")
	b.do(passing("B1", "T1", "2027-03-15"))
	b.do(release)
}

func TestSamplingRulesAreChecked(t *testing.T) {
	rules := yardtest.CommonRules("Etc/UTC")
	for _, wrong := range []yard.SamplingRule{
		{Kind: yard.Beams, Specimen: yard.Block, Count: 1}, {Kind: yard.Blocks, Specimen: yard.Cube, Count: 1},
		{Kind: yard.Beams, Specimen: yard.Cube}, {Kind: yard.Beams, Specimen: yard.Cube, Count: 1, AgeDays: 366}, {Specimen: yard.Cube, Count: 1},
	} {
		b := &book{T: t, state: yard.New("alder")}
		rules.Sampling = []yard.SamplingRule{wrong}
		b.refused(yard.SetRules{Rules: rules}, "BAD_VALUES")
	}
	b := sampled(t, yard.SamplingRule{Kind: yard.Beams, Specimen: yard.Cube, Count: 1})
	if events := b.do(yard.SetRules{Rules: b.state.Rules()}); len(events) != 0 {
		t.Errorf("the same rules again change %v", events)
	}
}
