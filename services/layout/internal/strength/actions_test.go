package strength

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestCombinationFactors(t *testing.T) {
	// A public calculator's page for EN 1990: Gk 35, Qk 20 of category A and a
	// second variable action of 3 with psi0 0.7.
	within(t, "ultimate", Recommended.GammaG*35+Recommended.GammaQ*20+Recommended.GammaQ*0.7*3, 80.4, 1e-9)
	within(t, "characteristic", 35+20+0.7*3, 57.1, 1e-9)
	p := RecommendedPsi["A"]
	if p != (Psi{0.7, 0.5, 0.3}) || RecommendedPsi["C"] != (Psi{0.7, 0.7, 0.6}) || RecommendedPsi["E"] != (Psi{1, 0.9, 0.8}) {
		t.Error("EN 1990 Table A1.1 reads otherwise")
	}
	// EN 1991-1-1 6.3.1.2(8); the bounds belong to the lighter class.
	for _, r := range []struct {
		line, want float64
		ok         bool
	}{{1, .5e-3, true}, {1.01, .8e-3, true}, {2, .8e-3, true}, {3, 1.2e-3, true}, {3.01, 0, false}} {
		got, ok := MovablePartitionsNPerMM2(r.line)
		if got != r.want || ok != r.ok {
			t.Errorf("%g kN/m gives %g, %v", r.line, got, ok)
		}
	}
}

// A simply supported span against numerical integration of its own loads.
func TestLoadsAgreeWithIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		span := rapid.Float64Range(1000, 8000).Draw(t, "span")
		l := Uniform(span, rapid.Float64Range(0.1, 5).Draw(t, "w"))
		for range rapid.IntRange(0, 3).Draw(t, "stretches") {
			a := rapid.Float64Range(0, span*0.9).Draw(t, "from")
			l.Stretches = append(l.Stretches, Stretch{a, rapid.Float64Range(a, span).Draw(t, "to"), rapid.Float64Range(0, 8).Draw(t, "line")})
		}
		for range rapid.IntRange(0, 2).Draw(t, "points") {
			l.Points = append(l.Points, PointLoad{AtMM: rapid.Float64Range(0, span).Draw(t, "at"), N: rapid.Float64Range(0, 5000).Draw(t, "n")})
		}
		if m := l.MomentNMM(span); math.Abs(m) > 1e-3 {
			t.Fatalf("moment at the right support is %g Nmm", m)
		}
		best, _ := l.MaxMoment()
		const n = 2000
		ei := 1e12
		curvature := make([]float64, n+1)
		for i := range curvature {
			x := span * float64(i) / n
			m := l.MomentNMM(x)
			if m > best*(1+1e-9)+1e-6 {
				t.Fatalf("moment %g at %g exceeds the greatest %g", m, x, best)
			}
			curvature[i] = m / ei
		}
		// Unit load method at mid-span.
		got, dx := 0.0, span/n
		for i := range n {
			x := (float64(i) + 0.5) * dx
			got += (curvature[i] + curvature[i+1]) / 2 * math.Min(x, span-x) / 2 * dx
		}
		want := l.DeflectionMM(span/2, ei)
		if math.Abs(got-want) > 1e-4*math.Abs(want)+1e-9 {
			t.Fatalf("deflection %g, by unit load %g", want, got)
		}
	})
}

func TestUniformSpan(t *testing.T) {
	l := Uniform(4000, 2)
	m, at := l.MaxMoment()
	near(t, "w l2/8", m, 2*4000*4000/8.0, 1e-12)
	near(t, "mid-span", at, 2000, 1e-12)
	near(t, "w l/2", l.LeftN(), 4000, 1e-12)
	near(t, "5 w l4/384 EI", l.DeflectionMM(2000, 1e12), 5*2*math.Pow(4000, 4)/384/1e12, 1e-9)
}

func FuzzOutline(f *testing.F) {
	f.Add(120.0, 50.0, 60.0, 150.0)
	f.Fuzz(func(t *testing.T, bf, hf, bw, h float64) {
		s, err := NewSection(Outline{{-bf / 2, 0}, {bf / 2, 0}, {bf / 2, hf}, {bw / 2, hf}, {bw / 2, h}, {-bw / 2, h}, {-bw / 2, hf}, {-bf / 2, hf}})
		if err == nil && (s.AreaMM2 <= 0 || s.CentroidMM < 0 || s.CentroidMM > s.HeightMM || math.IsNaN(s.InertiaMM4)) {
			t.Fatalf("%+v", s)
		}
	})
}
