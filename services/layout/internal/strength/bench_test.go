package strength

import (
	"testing"

	"pgregory.net/rapid"
)

func BenchmarkCheck(b *testing.B) {
	beam := goldenBeam()
	for b.Loop() {
		if _, err := Check(beam); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkJudge(b *testing.B) {
	beam := goldenBeam()
	for b.Loop() {
		if _, _, err := Judge(beam); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkJudgeTopping(b *testing.B) {
	beam := toppedBeam()
	for b.Loop() {
		if _, _, err := Judge(beam); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkUltimate is the solver of the section alone.
func BenchmarkUltimate(b *testing.B) {
	in := goldenUltimate(b, 1)
	for b.Loop() {
		if _, err := UltimateOf(in); err != nil {
			b.Fatal(err)
		}
	}
}

// Both ways through the checks say the same.
func TestJudgeAgreesWithCheck(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := goldenBeam()
		if rapid.Bool().Draw(t, "topping") {
			b = toppedBeam()
		}
		b.Floor.ClearSpanMM, b.Floor.EffectiveSpanMM = rapid.Float64Range(800, 7000).Draw(t, "span"), 0
		b.Floor.ImposedKNPerM2 = rapid.Float64Range(0, 6).Draw(t, "imposed")
		r, err := Check(b)
		if err != nil {
			t.Fatal(err)
		}
		passes, fullest := true, Verdict{}
		for _, v := range r.Verdicts {
			passes = passes && v.Passes
			if v.Fullness > fullest.Fullness && (!v.Fixed || !v.Passes) {
				fullest = v
			}
		}
		governing, ok, err := Judge(b)
		if err != nil || governing != fullest || ok != passes || r.Governing != fullest || r.Passes != passes {
			t.Fatalf("judged %+v, %v (%v), checked %+v, %v", governing, ok, err, r.Governing, r.Passes)
		}
	})
}
