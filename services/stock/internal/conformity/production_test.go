package conformity_test

import (
	"math/rand/v2"
	"testing"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/conformity"
)

// series makes results three days apart: mean plus and minus spread in turn,
// of which the sample standard deviation is spread times sqrt(n/(n-1)) for an
// even n.
func series(from civil.Day, n int, mean, spread conformity.MilliMPa) []conformity.Result {
	var out []conformity.Result
	for i := range n {
		s := mean + spread
		if i%2 == 1 {
			s = mean - spread
		}
		out = append(out, conformity.Result{Day: from + civil.Day(3*i), Strength: s})
	}
	return out
}

// EN 206 8.2.1.3: initial production takes results by three, mean at least
// fck + 4 and each at least fck - 4 (published examples of the criteria:
// 41.0, 46.0, 47.0 for fck 40 has the mean 44.667 and conforms; 42.0, 43.0, 46.0
// has 43.667 and does not).
func TestInitialProduction(t *testing.T) {
	result := func(day civil.Day, s conformity.MilliMPa) conformity.Result {
		return conformity.Result{Day: day, Strength: s}
	}
	good := []conformity.Result{result(1, 41_000), result(2, 46_000), result(3, 47_000)}
	p := conformity.Control(40_000, good)
	if p.Continuous || !p.Verdict.Conforms || p.Verdict.Mean != 44_666 || p.Since != 0 {
		t.Errorf("41.0, 46.0, 47.0 come to %+v", p)
	}
	p = conformity.Control(40_000, append(good, result(4, 42_000), result(5, 43_000), result(6, 46_000)))
	if p.Verdict.Conforms || p.Verdict.Mean != 43_666 || p.Since != 6 {
		t.Errorf("42.0, 43.0, 46.0 come to %+v", p)
	}
	if p = conformity.Control(40_000, good[:2]); p.Verdict.Conforms || p.Since != 0 {
		t.Errorf("two results come to %+v", p)
	}
	if p = conformity.Control(40_000, nil); p.Results != 0 || p.Verdict.Conforms {
		t.Errorf("no results come to %+v", p)
	}
}

// EN 206 8.2.1.3: sigma comes from at least 35 results over more than three
// months; then the mean of 15 has to be at least fck + 1.48 sigma.
func TestContinuousProduction(t *testing.T) {
	const fck = 40_000
	initial := series(0, 35, 46_000, 3_000)
	p := conformity.Control(fck, initial)
	// 18 results at 49 and 17 at 43: mean 46.0857, variance 9.2605 (by hand:
	// 18*(2.9143)^2 + 17*(3.0857)^2 = 314.743, over 34), sigma 3.043.
	if !p.Continuous || p.Sigma != 3_043 || p.SigmaFrom != 0 || p.SigmaTo != 102 {
		t.Fatalf("35 results over 102 days give %+v", p)
	}
	// 8 at 49 and 7 at 43 in the last 15: mean 46.2 against 40 + 1.48*3.043 = 44.504.
	p = conformity.Control(fck, append(initial, conformity.Result{Day: 105, Strength: 43_000}, conformity.Result{Day: 108, Strength: 49_000}))
	if v := p.Verdict; !v.Conforms || v.RequiredMean != 44_504 || v.Mean != 46_200 || v.Results != 15 || v.RequiredLowest != 36_000 || p.Renewed != 0 {
		t.Errorf("the first window of continuous production is %+v", p)
	}
	// One sample below fck - 4, in spite of a good mean.
	weak := conformity.Control(fck, append(initial, conformity.Result{Day: 105, Strength: 35_999}))
	if weak.Verdict.Conforms || weak.Since != 105 {
		t.Errorf("a sample below fck - 4 gives %+v", weak)
	}
	// Too quick: 35 results within three months are no base for a sigma.
	quick := series(0, 35, 46_000, 3_000)
	for i := range quick {
		quick[i].Day = civil.Day(i)
	}
	if p := conformity.Control(fck, quick); p.Continuous {
		t.Errorf("35 results in 34 days give %+v", p)
	}
}

// EN 206 8.2.1.3: sigma is kept while 0.63 sigma <= s15 <= 1.37 sigma.
func TestSigmaIsKeptWithinItsBand(t *testing.T) {
	initial := series(0, 36, 50_000, 3_000)
	p := conformity.Control(40_000, initial)
	sigma := p.Sigma
	wide := conformity.Control(40_000, append(initial[:36:36], series(108, 15, 50_000, 3_900)...))
	if wide.Sigma != sigma || wide.Renewed != 0 || wide.Last <= sigma || wide.Last > wide.High {
		t.Errorf("a spread within the band gives %+v", wide)
	}
	wider := conformity.Control(40_000, append(initial[:36:36], series(108, 15, 50_000, 5_000)...))
	if wider.Renewed == 0 || wider.Sigma <= sigma {
		t.Errorf("a spread above the band gives %+v", wider)
	}
	narrow := conformity.Control(40_000, append(initial[:36:36], series(108, 15, 50_000, 1_500)...))
	if narrow.Renewed == 0 || narrow.Sigma >= sigma {
		t.Errorf("a spread below the band gives %+v", narrow)
	}
}

// Whatever comes, a verdict that conforms obeys both criteria.
func TestControlNeverPassesWhatIsTooWeak(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 8))
	for range 40 {
		var results []conformity.Result
		for i := range 80 {
			results = append(results, conformity.Result{Day: civil.Day(4 * i), Strength: 44_000 + conformity.MilliMPa(3_000*r.NormFloat64())})
			p := conformity.Control(40_000, results)
			if !p.Verdict.Conforms {
				continue
			}
			n, extra := 3, conformity.MilliMPa(4_000)
			if p.Verdict.Results == 15 {
				n, extra = 15, 148*p.Sigma/100
			}
			var sum conformity.MilliMPa
			for _, x := range results[len(results)-n:] {
				if sum += x.Strength; x.Strength < 36_000 {
					t.Fatalf("conforms with %v: %+v", x.Strength, p)
				}
			}
			if sum < conformity.MilliMPa(n)*(40_000+extra) {
				t.Fatalf("conforms with a mean that is too low: %+v", p)
			}
		}
	}
}
