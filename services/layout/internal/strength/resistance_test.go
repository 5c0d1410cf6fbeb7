package strength

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func rectangle(width, height float64) Outline {
	return Outline{{0, 0}, {width, 0}, {width, height}, {0, height}}
}

func section(t interface{ Fatal(...any) }, o Outline) Section {
	s, err := NewSection(o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestShearCracked(t *testing.T) {
	// The golden beam with acc 0.85, worked by hand.
	near(t, "6.2, acc 0.85", ShearCrackedOf(ShearCrackedInput{FckMPa: 50, FcdMPa: 0.85 * 50 / 1.5, GammaC: 1.5, WidthMM: 60, DepthMM: 125, TensileMM2: 78.52, AxialN: 97463.9, AreaMM2: 12000, CRdc: 0.12, K1: 0.15}).ResistanceN, 13108, 1e-3)
	in := func(fck, d, asl, bw, n, ac float64) ShearCrackedInput {
		return ShearCrackedInput{FckMPa: fck, FcdMPa: fck / 1.5, GammaC: 1.5, WidthMM: bw, DepthMM: d, TensileMM2: asl, AxialN: n, AreaMM2: ac, CRdc: 0.12, K1: 0.15}
	}
	// EN 1992-1-1 6.2.2; structuralcodes (fib-international), test_ec2_2004,
	// shear. The tests there print rounded values; these are the exact ones.
	for d, want := range map[float64]float64{200: 2, 250: 1.89, 450: 1.667} {
		near(t, "k", ShearCrackedOf(in(20, d, 0, 100, 0, 1)).K, want, 1e-2)
	}
	for _, r := range [][3]float64{{20, 250, .407}, {20, 450, .337}, {37.5, 250, .557}, {37.5, 450, .461}} {
		near(t, "vmin", ShearCrackedOf(in(r[0], r[1], 0, 100, 0, 1)).MinStressMPa, r[2], 1e-2)
	}
	near(t, "6.2", ShearCrackedOf(in(20, 250, 200, 100, 50e3, 30e3)).ResistanceN, 20571, 1e-4)
	near(t, "6.2", ShearCrackedOf(in(37.5, 450, 1000, 500, 1e8, 250e3)).ResistanceN, 283696, 1e-4)
	near(t, "6.2 vmin", ShearCrackedOf(in(20, 250, 0, 100, 50e3, 30e3)).ResistanceN, 16453, 1e-4)
	near(t, "6.2 vmin", ShearCrackedOf(in(37.5, 450, 0, 500, 1e8, 250e3)).ResistanceN, 272512, 1e-4)
	near(t, "6.2.2(6)", ShearCrushingN(100, 250, 20, 20/1.5), 92000, 1e-3)
	near(t, "6.2.2(6)", ShearCrushingN(500, 450, 37.5, 37.5/1.5), 1434375, 1e-2)
	near(t, "k", ShearCrackedOf(in(20, 1000, 0, 100, 0, 1)).K, 1.45, 1e-2)
	// As tested in blueprints: CRd,c 0.18, k 1, rho 0.02, 300 mm x 500 mm, 1
	// MPa. Here k follows from the depth, so the same area is drawn very deep.
	near(t, "6.2", ShearCrackedOf(ShearCrackedInput{FckMPa: 30, FcdMPa: 20, GammaC: 1.5, WidthMM: 1.5e-7, DepthMM: 1e12, TensileMM2: 3000, AxialN: 1, AreaMM2: 1, CRdc: 0.18, K1: 0.15}).ResistanceN, 128201.43, 1e-4)
}

func TestShearUncracked(t *testing.T) {
	// EN 1992-1-1 6.4, as tested in blueprints.
	near(t, "6.4", ShearUncrackedN(1000, 300, 500, 2.5, 1, 1.5), 1897.3666, 1e-5)
	// European Concrete Platform, Eurocode 2 Worked Examples, example 6.3:
	// 100 mm x 200 mm, C40, 5 MPa, no bars.
	s := section(t, rectangle(100, 200))
	fctd := Concrete{FckMPa: 40}.Fctk05MPa() / 1.5
	near(t, "fctd", fctd, 1.63745, 1e-3)
	near(t, "uncracked kN", ShearUncrackedN(s.InertiaMM4, 100, s.FirstMomentMM3(100), fctd, 1, 5)*1e-3, 43.9565, 1e-3)
	cracked := ShearCrackedOf(ShearCrackedInput{FckMPa: 40, FcdMPa: 40 / 1.5, GammaC: 1.5, WidthMM: 100, DepthMM: 175, AxialN: 5 * 20000, AreaMM2: 20000, CRdc: 0.12, K1: 0.15})
	near(t, "cracked kN", cracked.ResistanceN*1e-3, 24.0817, 1e-3)
	// The golden beam at the web's foot, worked by hand: 17.934 kN.
	g := section(t, goldenBeam().Outline)
	near(t, "6.4 junction", ShearUncrackedN(g.InertiaMM4, g.WidthMM(50), g.FirstMomentMM3(50), 1.9001, 0.2837, 8.991)*1e-3, 17.934, 1e-3)
	near(t, "6.4 full prestress", ShearUncrackedN(g.InertiaMM4, g.WidthMM(62.5), g.FirstMomentMM3(62.5), 1.9001, 1, 97463.9/12000)*1e-3, 26.361, 1e-3)
}

func TestUltimateMoment(t *testing.T) {
	// Gilbert, Mickleborough and Ranzi, example 6.1: 750 mm x 350 mm, block
	// 0.85 x 0.77, strain 0.003, 1000 mm2 at 650 mm, bilinear 1770 to 1910 MPa
	// at 0.035, prestress 1200 MPa; without the decompression strain.
	w := Wire{AreaMM2: 1000, FpkMPa: 1910, Fp01kMPa: 1770, ModulusMPa: 195000, StrainLimit: 0.035}
	u, err := UltimateOf(UltimateInput{Section: section(t, rectangle(350, 750)), Pattern: Pattern{w, []Row{{100, 1}}},
		FcdMPa: 0.85 * 40, Lambda: 0.77, Eta: 1, EpsCU: 0.003, FpdMPa: 1770, FpuMPa: 1910, Branch: Inclined, Prestrain: []float64{1200 / 195000.0}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "dn", u.NeutralAxisMM, 197, 1e-2)
	near(t, "Mu kNm", u.MomentNMM*1e-6, 1036, 1e-2)
	// The golden beam with other choices, worked by hand.
	for _, r := range []struct {
		acc    float64
		branch SteelBranch
		want   float64
	}{{1, Horizontal, 9.959}, {0.85, Horizontal, 9.420}, {1, Inclined, 10.036}, {0.85, Inclined, 9.432}} {
		in := goldenUltimate(t, r.acc)
		in.Branch = r.branch
		u, err := UltimateOf(in)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "MRd kNm", u.MomentNMM*1e-6, r.want, 1.5e-3)
		if r.acc == 0.85 && r.branch == Horizontal {
			near(t, "x", u.NeutralAxisMM, 82.789, 1e-3)
			near(t, "bottom wires", u.RowMPa[0], 1321.74, 1e-3)
			near(t, "top wire", u.RowMPa[1], 448.84, 1e-3)
		}
		// With the strain of decompression, which the report's choice leaves
		// out, the top wire pulls harder: less than half a per cent is lost.
		if r.branch == Horizontal {
			for i, row := range in.Pattern.Rows {
				in.Prestrain[i] += (97463.9/12000 + 97463.9*16.5*(62.5-row.HeightMM)/23.125e6) / 37277.9
			}
			with, err := UltimateOf(in)
			if err != nil {
				t.Fatal(err)
			}
			if lost := 1 - with.MomentNMM/u.MomentNMM; lost < 0 || lost > 0.005 {
				t.Errorf("decompression takes %.2f %% of MRd", 100*lost)
			}
		}
	}
}

func goldenUltimate(t interface{ Fatal(...any) }, acc float64) UltimateInput {
	b := goldenBeam()
	return UltimateInput{Section: section(t, b.Outline), Pattern: b.Pattern, FcdMPa: acc * 50 / 1.5, Lambda: 0.8, Eta: 1, EpsCU: 3.5e-3,
		FpdMPa: 1520 / 1.15, FpuMPa: 1770 / 1.15, Prestrain: []float64{993.01 / 205000, 993.01 / 205000}}
}

// randomTee draws an inverted T with wires, and a topping when asked.
func randomTee(t *rapid.T, topping bool) UltimateInput {
	f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	bf, hf, bw, hw := f("bf", 90, 200), f("hf", 40, 80), f("bw", 40, 89), f("hw", 60, 180)
	o := Outline{{-bf / 2, 0}, {bf / 2, 0}, {bf / 2, hf}, {bw / 2, hf}, {bw / 2, hf + hw}, {-bw / 2, hf + hw}, {-bw / 2, hf}, {-bf / 2, hf}}
	in := UltimateInput{Section: section(t, o), FcdMPa: f("fcd", 20, 45), Lambda: 0.8, Eta: 1, EpsCU: 3.5e-3, FpdMPa: 1520 / 1.15, FpuMPa: 1770 / 1.15}
	in.Pattern = Pattern{y1770, []Row{{f("y1", 20, hf-15), rapid.IntRange(1, 4).Draw(t, "n1")}, {f("y2", hf+hw-30, hf+hw-20), 1}}}
	p := f("stress", 700, 1150) / 205000
	in.Prestrain = []float64{p, p}
	if topping {
		low := hf + hw - f("embedded", 0, hw/3)
		in.Topping = &ToppingZone{UndersideMM: low, TopMM: hf + hw + f("over", 5, 80), WidthMM: f("beff", 200, 600), StressMPa: f("fcd,t", 11, 25)}
	}
	return in
}

// fibre laws: the force of a strip over its area, at a share of the depth of
// the neutral axis above that axis.
type law func(in UltimateInput, design, aboveAxis, axis float64) float64

// block is the rectangular block: a strip counts where it lies in it.
func block(in UltimateInput, design, aboveAxis, axis float64) float64 {
	if aboveAxis >= (1-in.Lambda)*axis {
		return design
	}
	return 0
}

// parabola holds the strain and the exponent of the parabola-rectangle diagram
// (EN 1992-1-1 Table 3.1).
func parabola(fck float64) (epsC2, exponent float64) {
	if fck <= 50 {
		return 2e-3, 2
	}
	return (2 + 0.085*math.Pow(fck-50, 0.53)) * 1e-3, 1.4 + 23.4*math.Pow((90-fck)/100, 4)
}

func parabolaRectangle(in UltimateInput, design, aboveAxis, axis float64) float64 {
	epsC2, n := parabola(50)
	strain := in.EpsCU * aboveAxis / axis
	if strain <= 0 {
		return 0
	}
	return design * (1 - math.Pow(1-math.Min(1, strain/epsC2), n))
}

// chords are the widths of an outline at the middle of each strip, straight
// from its sides.
func chords(o Outline, height float64, strips int) []float64 {
	widths := make([]float64, strips)
	for i := range widths {
		widths[i] = o.crossing((float64(i) + 0.5) * height / float64(strips))
	}
	return widths
}

// byFibres integrates stress laws strip by strip, with sums and a search of
// its own: nothing shared with UltimateOf.
func byFibres(in UltimateInput, stress law, strips int) (momentNMM float64) {
	beam, height := in.Section.HeightMM, in.Section.HeightMM
	if in.Topping != nil {
		height = in.Topping.TopMM
	}
	widths, dy := chords(in.Section.Outline, height, strips), height/float64(strips)
	forces := func(x float64) (n, m float64) {
		for i, width := range widths {
			y := (float64(i) + 0.5) * dy
			s := stress(in, in.Eta*in.FcdMPa, y-height+x, x)
			f := s * width * dy
			if t := in.Topping; t != nil && y > t.UndersideMM {
				f += stress(in, t.StressMPa, y-height+x, x) * (t.WidthMM - width) * dy
			}
			n, m = n+f, m+f*y
		}
		for i, r := range in.Pattern.Rows {
			strain := in.Prestrain[i] + in.EpsCU*(height-r.HeightMM-x)/x
			s := math.Max(-in.FpdMPa, math.Min(in.FpdMPa, strain*in.Pattern.Wire.ModulusMPa))
			f := s * float64(r.Count) * in.Pattern.Wire.AreaMM2
			n, m = n-f, m-f*r.HeightMM
		}
		return n, m
	}
	low, high := beam/1000, 20*height
	for range 50 {
		if n, _ := forces((low + high) / 2); n < 0 {
			low = (low + high) / 2
		} else {
			high = (low + high) / 2
		}
	}
	// One strip more or less at the block's edge: between the two states the
	// forces balance.
	n0, m0 := forces(low)
	n1, m1 := forces(high)
	if n1 == n0 {
		return m1
	}
	return m0 - n0*(m1-m0)/(n1-n0)
}

func TestUltimateAgreesWithFibres(t *testing.T) {
	for _, topping := range []bool{false, true} {
		rapid.Check(t, func(t *rapid.T) {
			in := randomTee(t, topping)
			u, err := UltimateOf(in)
			if err != nil {
				t.Skip("no equilibrium")
			}
			// Where the block reaches the wide flange 3.1.7(3) takes a tenth off
			// it at once; no depth balances across that jump.
			if u.BlockFactor != 1 || in.Topping == nil && in.Lambda*u.NeutralAxisMM > 0.98*(in.Section.HeightMM-in.Section.Outline[2].YMM) {
				t.Skip("at the jump of 3.1.7(3)")
			}
			if got := byFibres(in, block, 2000); math.Abs(got-u.MomentNMM) > 5e-3*u.MomentNMM {
				t.Fatalf("MRd %.5g, by fibres %.5g", u.MomentNMM, got)
			}
			residual, lever := u.ConcreteN, u.ConcreteN*u.LeverMM
			for i, r := range in.Pattern.Rows {
				residual -= u.RowMPa[i] * float64(r.Count) * in.Pattern.Wire.AreaMM2
			}
			if math.Abs(residual) > 1e-6*u.ConcreteN || math.Abs(lever-u.MomentNMM) > 1e-9*u.MomentNMM || u.ToppingN > u.ConcreteN*(1+1e-9) {
				t.Fatalf("forces differ by %g N of %g N, of which %g N in the topping", residual, u.ConcreteN, u.ToppingN)
			}
		})
	}
}

// The block of 3.1.7(3) stands for the parabola and rectangle of 3.1.7(1):
// both diagrams of the code give much the same moment.
func TestBlockAgreesWithParabola(t *testing.T) {
	for _, topping := range []bool{false, true} {
		rapid.Check(t, func(t *rapid.T) {
			in := randomTee(t, topping)
			u, err := UltimateOf(in)
			if err != nil || u.BlockFactor != 1 || u.NeutralAxisMM > in.heightMM()/2 {
				t.Skip("too many wires")
			}
			if got := byFibres(in, parabolaRectangle, 1000); math.Abs(got-u.MomentNMM) > 0.03*u.MomentNMM {
				t.Fatalf("MRd %.5g by the block, %.5g by the parabola", u.MomentNMM, got)
			}
		})
	}
}

func TestResistanceGrowsWithTopping(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := randomTee(t, true)
		with, err := UltimateOf(in)
		if err != nil {
			t.Skip("no equilibrium")
		}
		thicker := in
		more := *in.Topping
		more.TopMM += 10
		thicker.Topping = &more
		if u, err := UltimateOf(thicker); err != nil || u.MomentNMM < with.MomentNMM {
			t.Fatalf("10 mm more topping: %g after %g (%v)", u.MomentNMM, with.MomentNMM, err)
		}
		in.Topping = nil
		if bare, err := UltimateOf(in); err == nil && bare.MomentNMM > with.MomentNMM {
			t.Fatalf("without topping %g, with it %g", bare.MomentNMM, with.MomentNMM)
		}
	})
}

func TestResistanceGrowsWithConcrete(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := randomTee(t, rapid.Bool().Draw(t, "topping"))
		weak, err := UltimateOf(in)
		if err != nil {
			t.Skip("no equilibrium")
		}
		in.FcdMPa *= 1.1
		if in.Topping != nil {
			in.Topping.StressMPa *= 1.1
		}
		strong, err := UltimateOf(in)
		if err != nil || strong.MomentNMM < weak.MomentNMM*(1-1e-9) {
			t.Fatalf("stronger concrete: %g after %g (%v)", strong.MomentNMM, weak.MomentNMM, err)
		}
	})
}

func TestLossesAreLosses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := goldenBeam()
		b.FckMPa = rapid.Float64Range(35, 70).Draw(t, "fck")
		b.Casting.BedStressMPa = rapid.Float64Range(900, 1350).Draw(t, "bed")
		b.Floor.ClearSpanMM = rapid.Float64Range(1500, 6000).Draw(t, "span")
		b.Floor.EffectiveSpanMM = 0
		b.Floor.ImposedKNPerM2 = rapid.Float64Range(1, 5).Draw(t, "imposed")
		r, err := Check(b)
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]float64{}
		for _, s := range r.Steps {
			got[s.Symbol] = s.Value
		}
		jack := b.Casting.BedStressMPa * got["Ap"]
		if !(got["Pinf"] < got["Pm0"] && got["Pm0"] < jack) || got["ds,s"] < 0 || got["ds,r"] < 0 || got["ds,c"] < 0 || got["dsr"] < 0 {
			t.Fatalf("prestress grows: jack %g, Pm0 %g, Pinf %g, %v", jack, got["Pm0"], got["Pinf"], got)
		}
		longer := b
		longer.Floor.ClearSpanMM += 300
		l, err := Check(longer)
		if err != nil {
			t.Fatal(err)
		}
		if l.Verdicts[indexOf(l, "bending at ultimate")].Fullness < r.Verdicts[indexOf(r, "bending at ultimate")].Fullness {
			t.Fatal("a longer span eases bending")
		}
	})
}

func indexOf(r Report, what string) int {
	for i, v := range r.Verdicts {
		if v.What == what {
			return i
		}
	}
	return -1
}
