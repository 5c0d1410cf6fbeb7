package strength

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestCombinationFactors(t *testing.T) {
	// A public calculator's page for EN 1990: Gk 35, Qk 20 of category A and a
	// second variable action of 3 with psi0 0.7.
	within(t, "ultimate", Recommended.GammaG*35+Recommended.GammaQ*20+Recommended.GammaQ*0.7*3, 80.4, 1e-9)
	within(t, "characteristic", 35+20+0.7*3, 57.1, 1e-9)
	p := RecommendedPsi["A"]
	if p != (Psi{0.7, 0.5, 0.3}) || RecommendedPsi["B"] != p || RecommendedPsi["C"] != (Psi{0.7, 0.7, 0.6}) || RecommendedPsi["D"] != RecommendedPsi["C"] || RecommendedPsi["E"] != (Psi{1, 0.9, 0.8}) {
		t.Error("EN 1990 Table A1.1 reads otherwise")
	}
	within(t, "quasi-permanent", 35+p.Psi2*20+p.Psi2*3, 41.9, 1e-9)
	// EN 1990 Table A1.2(B): gamma 1.35 and 1.5; xi 0.85 from memory.
	if r := Recommended; r.GammaG != 1.35 || r.GammaQ != 1.5 || r.Xi != 0.85 {
		t.Errorf("recommended: %+v", r)
	}
	// A column of a published design page (eurocode.us, axial load at the
	// ground storey): Gk 5553.6, Qk 2279.5 of which 42 on the roof, alpha_n 0.6.
	near(t, "column", Recommended.GammaG*5553.6+Recommended.GammaQ*(0.6*(2279.5-42)+p.Psi0*42), 9555.3, 1e-5)
	list := Combinations(National{GammaG: 1.35, GammaQ: 1.5, Xi: 0.925}, p)
	near(t, "6.10b with xi 0.925, permanent", list[1].Permanent, 1.24875, 1e-12)
	near(t, "6.10a, variable", list[0].Variable, 1.05, 1e-12)
}

func TestMovablePartitions(t *testing.T) {
	// EN 1991-1-1 6.3.1.2(8); the bounds belong to the lighter class.
	for line, want := range map[float64]float64{0: 0, 0.5: .5, 1: .5, 1.01: .8, 2: .8, 2.01: 1.2, 3: 1.2} {
		if got := movablePartitionsKNPerM2(line); got != want {
			t.Errorf("%g kN/m gives %g kN/m2", line, got)
		}
	}
	// The golden floor with its partition named is the same floor.
	b := goldenBeam()
	b.Floor.ImposedKNPerM2, b.Floor.MovablePartitionsKNPerM = 1.5, 1
	near(t, "q", stepsOf(t, b)["q"], 1.020, 1e-9)
	b.Floor.MovablePartitionsKNPerM = 3.01
	if _, err := Check(b); err == nil || !strings.Contains(err.Error(), "line_loads") {
		t.Errorf("a partition of 3.01 kN/m: %v", err)
	}
}

func TestAreaReduction(t *testing.T) {
	// EN 1991-1-1 6.3.1.2(10), as printed by a public steel design page;
	// numbers worked by hand.
	for area, want := range map[float64]float64{2: 1, 20: 1, 30: .8333, 40: .75, 60: .6667} {
		within(t, "alpha_A", AreaReduction(0.7, area), want, 1e-4)
	}
	// One beam carries so little floor that nothing is taken off.
	b := goldenBeam()
	b.National.UseAreaReduction = true
	near(t, "q", stepsOf(t, b)["q"], 1.020, 1e-9)
	// A long beam of a wide strip carries 2 m x 19 m.
	b.Floor.ClearSpanMM, b.Floor.EffectiveSpanMM, b.Floor.PitchMM = 18910, 19000, 2000
	near(t, "q", stepsOf(t, b)["q"], 4*(0.5+10/38.0), 1e-9)
}

// Diagrams against the direct formulas, and those against integration.
func TestLoadsAgreeWithIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		span := rapid.Float64Range(1000, 8000).Draw(t, "span")
		l := Uniform(span, rapid.Float64Range(0.1, 5).Draw(t, "w"))
		for range rapid.IntRange(0, 3).Draw(t, "stretches") {
			a := rapid.Float64Range(0, span*0.9).Draw(t, "from")
			l.Stretches = append(l.Stretches, Stretch{a, rapid.Float64Range(a+1, span).Draw(t, "to"), rapid.Float64Range(0, 8).Draw(t, "line")})
		}
		for range rapid.IntRange(0, 2).Draw(t, "points") {
			l.Points = append(l.Points, PointLoad{AtMM: rapid.Float64Range(0, span).Draw(t, "at"), N: rapid.Float64Range(0, 5000).Draw(t, "n")})
		}
		d := diagramOf(breaksOf(span, l), l)
		best, at := d.greatest()
		if math.Abs(best-d.momentNMM(at)) > 1e-6*best {
			t.Fatalf("greatest moment %g, at its section %g", best, d.momentNMM(at))
		}
		sag := d.sagNMM3()
		const n = 2000
		ei := 1e12
		curvature := make([]float64, n+1)
		deepest := 0.0
		for i := range curvature {
			x := span * float64(i) / n
			m := l.MomentNMM(x)
			if math.Abs(m-d.momentNMM(x)) > 1e-9*best {
				t.Fatalf("moment at %g is %g, by summation %g", x, d.momentNMM(x), m)
			}
			if left, right := d.shearN(x); i > 0 && math.Abs(left-l.ShearN(x, -1)) > 1e-6*(1+math.Abs(left)) || i < n && math.Abs(right-l.ShearN(x, 1)) > 1e-6*(1+math.Abs(right)) {
				t.Fatalf("shear at %g is %g, %g, by summation %g, %g", x, left, right, l.ShearN(x, -1), l.ShearN(x, 1))
			}
			if m > best*(1+1e-9)+1e-6 {
				t.Fatalf("moment %g at %g exceeds the greatest %g", m, x, best)
			}
			curvature[i] = m / ei
			deepest = math.Max(deepest, l.DeflectionMM(x, 1))
		}
		if math.Abs(deepest-sag) > 1e-5*sag {
			t.Fatalf("greatest deflection %g, by Macaulay %g", sag, deepest)
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
	d := diagramOf(breaksOf(4000, l), l)
	m, at := d.greatest()
	near(t, "w l2/8", m, 2*4000*4000/8.0, 1e-12)
	near(t, "mid-span", at, 2000, 1e-12)
	near(t, "w l/2", d.reactionN(), 4000, 1e-12)
	near(t, "5 w l4/384 EI", d.sagNMM3()/1e12, 5*2*math.Pow(4000, 4)/384/1e12, 1e-12)
}

// A force straight over a support bends nothing and shears nothing.
func TestForceOverTheSupport(t *testing.T) {
	l := Uniform(4000, 1)
	l.Points = []PointLoad{{AtMM: 0, N: 5000}, {AtMM: 4000, N: 7000}}
	d := diagramOf(breaksOf(4000, l), l)
	m, _ := d.greatest()
	near(t, "moment", m, 4000*4000/8.0, 1e-12)
	near(t, "reaction of the span", d.reactionN(), 2000, 1e-12)
}

func TestHarpedTendonByItsLoads(t *testing.T) {
	// UTM OpenCourseWare SAB 4323, example 4.1: L 24 m, EI 0.06396 m4 x
	// 28e6 kN/m2, 11.26 kN/m self weight, 30 kN/m, and a tendon harped at the
	// thirds by 0.26 m, which is two forces upwards there; kN and m, result in
	// millimetres worked by hand.
	ei := 0.06396 * 28e6
	mm := func(l Loads) float64 { return 1000 * diagramOf(breaksOf(24, l), l).sagNMM3() / ei }
	harped := func(force float64) Loads {
		up := force * 0.26 / 8
		return Loads{SpanMM: 24, Points: []PointLoad{{AtMM: 8, N: up}, {AtMM: 16, N: up}}}
	}
	near(t, "tendon at transfer", mm(harped(6800)), 60.55, 1e-3)
	near(t, "tendon in service", mm(harped(4500)), 40.07, 1e-3)
	near(t, "self weight", mm(Uniform(24, 11.26)), 27.16, 1e-3)
	near(t, "net at transfer", mm(harped(6800))-mm(Uniform(24, 11.26)), 33.39, 1e-3)
	near(t, "load", mm(Uniform(24, 30)), 72.37, 1e-3)
	near(t, "net in service", mm(Uniform(24, 41.26))-mm(harped(4500)), 59.46, 1e-3)
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
