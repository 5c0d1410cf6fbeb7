package strength

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// toppedBeam is the golden beam under 50 mm of C25 that also fills 20 mm
// beside its web.
func toppedBeam() Beam {
	b := goldenBeam()
	b.Name = "topped"
	b.Floor.FinishesKNPerM2, b.Floor.ImposedKNPerM2 = 1.2, 2.5
	b.Floor.Topping = &Topping{ThicknessMM: 70, UndersideMM: 130, FckMPa: 25, Cement: Normal, Aggregate: 1, CastAgeDays: 28, CuringDays: 3,
		ConstructionKNPerM2: 0.75, Surface: Rough}
	b.Pattern.Rows = []Row{{25, 4}, {110, 1}}
	return b
}

func TestCompositeSection(t *testing.T) {
	// Worked by hand: the T of 12,000 mm2 at 62.5 mm, and 510 mm x 70 mm less
	// 60 mm x 20 mm of web, in concrete of the beam.
	b := toppedBeam()
	got := stepsOf(t, b)
	n := 31475.81 / 37277.9
	net := 510*70.0 - 60*20
	first := 510*70.0*165 - 60*20*140
	area := 12000 + n*net
	centroid := (12000*62.5 + n*first) / area
	second := 23.125e6 + 12000*62.5*62.5 + n*(510*70.0*(70*70/12.0+165*165)-60*20*(20*20/12.0+140*140)) - area*centroid*centroid
	near(t, "nt", got["nt"], n, 1e-5)
	near(t, "beff", got["beff"], 510, 1e-9)
	near(t, "Ac", got["Ac"], area, 1e-5)
	near(t, "yc", got["yc"], centroid, 1e-5)
	near(t, "Ic", got["Ic"], second, 1e-5)
	// Contact: the top and 20 mm of each side.
	near(t, "bi", got["bi"], 100, 1e-9)
	// Weights: fresh concrete weighs 1 kN/m3 more (EN 1991-1-1 Table A.1).
	near(t, "gt", got["gt"], net*25e-6, 1e-9)
	near(t, "gt,fresh", got["gt,fresh"], net*26e-6, 1e-9)
	// Stages: what comes before the topping stays on the beam alone.
	span, early := 3800.0, 0.3+0.88+net*25e-6
	late := 1.2*0.51 + 0.3*2.5*0.51
	mE, mL := early*span*span/8, late*span*span/8
	bottom := got["sc,b P"] - mE/370000 - mL*centroid/second + got["sc,b sh"]
	near(t, "bottom, quasi-permanent", got["sc,b quasi-permanent"], bottom, 1e-5)
	top := got["sc,t P"] + mE/264285.714 + mL*(150-centroid)/second + got["sc,t sh"]
	near(t, "top, quasi-permanent", got["sc,t quasi-permanent"], top, 1e-5)
	// The force that a topping would have if it could not shorten, let go.
	force := got["Nsh"] * 1e3
	near(t, "Nsh", force, got["decs"]*1e-3*31475.81/(1+0.8*got["phi,t"])*net, 1e-5)
	arm := first/net - centroid
	near(t, "bottom, shrinkage", got["sc,b sh"], force/area-force*arm*centroid/second, 1e-4)
	near(t, "topping, top", got["st,t quasi-permanent"], n*(mL*(200-centroid)/second+force/area+force*arm*(200-centroid)/second)-force/net, 1e-4)
	// The beam cracks when its bottom has fctm.
	near(t, "Mcr", got["Mcr"]*1e6, mE+(got["sc,b P"]-mE/370000+got["sc,b sh"]+4.0716)*second/centroid, 1e-4)
}

// Strip by strip: properties of beam and topping, and the stresses of
// differential shrinkage, which hold each other in balance.
func TestCompositeAgreesWithFibres(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := randomTee(t, true)
		beam := Concrete{FckMPa: 50}
		top := Topping{FckMPa: rapid.Float64Range(20, 50).Draw(t, "fck"), UndersideMM: in.Topping.UndersideMM,
			ThicknessMM: in.Topping.TopMM - in.Topping.UndersideMM, EffectiveWidthMM: in.Topping.WidthMM}
		c := newComposite(in.Section, beam, top, 600, 4000)
		c.shrinkN = 50000
		const strips = 4000
		dy := c.high / strips
		widths := chords(in.Section.Outline, c.high, strips)
		level := in.Section.CentroidMM
		var area, first, second, force, moment, above float64
		for i, w := range widths {
			y := (float64(i) + 0.5) * dy
			beside := 0.0
			if y > c.low {
				beside = c.widthMM - w
			}
			a := (w + c.ratio*beside) * dy
			area, first, second = area+a, first+a*y, second+a*y*y
			if y > level {
				above += a * (y - c.section.CentroidMM)
			}
			f := c.shrinkMPa(y)*w*dy + (c.ratio*c.shrinkMPa(y)-c.shrinkN/c.areaMM2)*beside*dy
			force, moment = force+f, moment+f*y
		}
		centroid := first / area
		for what, pair := range map[string][2]float64{
			"area": {c.section.AreaMM2, area}, "centroid": {c.section.CentroidMM, centroid}, "inertia": {c.section.InertiaMM4, second - area*centroid*centroid},
			"first moment": {c.firstMomentMM3(in.Section, level), above},
		} {
			if math.Abs(pair[0]-pair[1]) > 5e-3*math.Abs(pair[1]) {
				t.Fatalf("%s %g, by fibres %g", what, pair[0], pair[1])
			}
		}
		// A strip lies half in the topping where that begins.
		exact := 5e-3 + dy/top.ThicknessMM
		if math.Abs(force) > exact*c.shrinkN || math.Abs(moment) > exact*c.shrinkN*c.high {
			t.Fatalf("shrinkage leaves %g N and %g Nmm", force, moment)
		}
	})
}

func TestEffectiveFlange(t *testing.T) {
	// EN 1992-1-1 5.3.2.1, worked by hand: bi 225 mm counts whole where the
	// span is long, 0.2 x 450 + 0.1 x 3000 of 450 mm where it is not.
	near(t, "narrow strip", EffectiveFlangeMM(60, 510, 3800), 510, 1e-12)
	near(t, "wide strip", EffectiveFlangeMM(100, 1000, 3000), 100+2*390, 1e-12)
	near(t, "short span", EffectiveFlangeMM(100, 2000, 1000), 100+2*200, 1e-12)
}

func TestInterface(t *testing.T) {
	// EN 1992-1-1 6.2.5(2), text of 2004 as printed in a public French
	// edition; the corrigendum of 2010 and very smooth from memory.
	old := Recommended
	old.Interface2004 = true
	for surface, want := range map[Surface][4]float64{VerySmooth: {.25, .5, .025, .5}, Smooth: {.35, .6, .20, .6}, Rough: {.45, .7, .40, .7}, Indented: {.50, .9, .50, .9}} {
		c, mu := old.InterfaceFactors(surface)
		cNew, muNew := Recommended.InterfaceFactors(surface)
		if got := [4]float64{c, mu, cNew, muNew}; got != want {
			t.Errorf("%s: %v, want %v", surface, got, want)
		}
	}
	// 6.24 and 6.25, worked by hand: 12 kN over 160 mm x 100 mm; C25 with c
	// 0.4; 100 mm2/m of B500.
	in := InterfaceInput{Share: 1, ShearN: 12000, LeverMM: 160, ContactMM: 100, Adhesion: 0.4, Friction: 0.7, FckMPa: 25, FcdMPa: 25 / 1.5, FctdMPa: 1.197}
	r := InterfaceOf(in)
	near(t, "vEdi", r.DemandMPa, 0.75, 1e-9)
	near(t, "vRdi", r.ResistanceMPa, 0.4788, 1e-9)
	in.LinksMM2PerM, in.LinksDesignMPa = 100, 500/1.15
	near(t, "vRdi with links", InterfaceOf(in).ResistanceMPa, 0.4788+0.001*434.783*0.7, 1e-6)
	in.LinksMM2PerM = 5000
	near(t, "crushing", InterfaceOf(in).ResistanceMPa, 0.5*0.54*25/1.5, 1e-9)
}

// A topping that weighs and does nothing more than the finishes it replaces
// makes a beam stronger, stiffer, and no stage looks better than it is.
func TestToppingHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := toppedBeam()
		b.Floor.ClearSpanMM, b.Floor.EffectiveSpanMM = rapid.Float64Range(2000, 5500).Draw(t, "span"), 0
		b.Floor.Topping.ThicknessMM = rapid.Float64Range(40, 120).Draw(t, "thickness")
		b.Floor.Topping.FckMPa = rapid.Float64Range(20, 45).Draw(t, "fck")
		b.Floor.BeamsPerRow = rapid.IntRange(1, 3).Draw(t, "beams")
		with := stepsOf(t, b)
		weight := with["gt"] / with["b"] * 1000
		bare := b
		bare.Floor.Topping = nil
		bare.Floor.FinishesKNPerM2 += weight
		without := stepsOf(t, bare)
		near := func(what string, a, b, share float64) {
			if math.Abs(a-b) > share*math.Abs(b) {
				t.Fatalf("%s: %g with, %g without", what, a, b)
			}
		}
		near("the same load", with["M 6.10"], without["M 6.10"], 1e-6)
		// Less creep goes with less stress, so the prestress differs a little.
		near("the beam alone", with["MRd,0"], without["MRd"], 0.03)
		if with["MRd"] <= without["MRd"] || with["wq"] >= without["wq"] || with["Ic"] <= without["I"] {
			t.Fatalf("MRd %g after %g, wq %g after %g", with["MRd"], without["MRd"], with["wq"], without["wq"])
		}
		if with["Fc,t"] > with["Fc"]*(1+1e-9) || with["beta"] > 1+1e-9 || with["decs"] < 0 {
			t.Fatalf("compression %g of %g in the topping", with["Fc,t"], with["Fc"])
		}
	})
}

// After the finishes are on, a beam with topping creeps on steadily.
func TestCompositeSagNeverJumps(t *testing.T) {
	b := toppedBeam()
	s, err := b.validate()
	if err != nil {
		t.Fatal(err)
	}
	w := newWork(b, s, &Report{})
	if err := w.run(); err != nil {
		t.Fatal(err)
	}
	last := w.compositeSagAt(b.Floor.FinishAgeDays, 0).sum()
	for days := b.Floor.FinishAgeDays + 1; days < 20000; days *= 1.1 {
		sag := w.compositeSagAt(days, 0).sum()
		if math.Abs(sag-last) > 0.6 {
			t.Fatalf("from %.2f mm to %.2f mm until day %.0f", last, sag, days)
		}
		last = sag
	}
}

// A topping without thickness to speak of leaves the deflection of the beam
// alone, creeping from the ages at which its loads come.
func TestCompositeSagOfNoTopping(t *testing.T) {
	b := toppedBeam()
	b.Floor.Topping.ThicknessMM, b.Floor.Topping.UndersideMM, b.Floor.Topping.EffectiveWidthMM = 30, 0, 60
	b.Floor.Topping.FckMPa, b.Floor.Topping.Aggregate = 12, 0.5
	s, err := b.validate()
	if err != nil {
		t.Fatal(err)
	}
	w := newWork(b, s, &Report{})
	if err := w.run(); err != nil {
		t.Fatal(err)
	}
	// The thin strip goes; its weight stays as a load.
	w.topping.shrinkN, w.whole = 0, w.gross
	got := w.compositeSagAt(20000, 0.3)
	ei := w.concrete.EcmMPa() * w.gross.InertiaMM4
	self := Uniform(w.span, w.selfN).DeflectionMM(w.span/2, ei)
	fresh := Uniform(w.span, w.early.line[0]-w.selfN).DeflectionMM(w.span/2, ei)
	later := Uniform(w.span, w.late.line[0]+0.3*w.imposed.line[0]).DeflectionMM(w.span/2, ei)
	up := func(force float64) float64 { return force * w.ecc * w.span * w.span / 8 / ei }
	pCast, pEnd := w.prestressAt(got.phiCast), w.prestressAt(got.phi)
	want := (1+got.phi)*self - (1+got.phiCast)*up(pCast) - (got.phi-got.phiCast)*up(pEnd) + up(pCast-pEnd) +
		(1+got.phiEarly)*fresh + (1+got.phiLate)*later
	near(t, "deflection", got.sum(), want, 1e-6)
}

// Where the beam alone resists all and the topping is very soft, the shear
// resistance of a fibre comes back to 6.4.
func TestStagedShear(t *testing.T) {
	s := section(t, goldenBeam().Outline)
	f := fibre{yMM: 62.5, widthMM: 60, early: s.FirstMomentMM3(62.5) / s.InertiaMM4, late: s.FirstMomentMM3(62.5) / s.InertiaMM4 / 2}
	near(t, "all early", f.resistanceN(5000, 0, 1.9001, 0.2837*97463.9/12000)*1e-3, 17.074, 1e-3)
	near(t, "all late", f.resistanceN(0, 5000, 1.9001, 0.2837*97463.9/12000)*1e-3, 2*17.074, 1e-3)
	near(t, "half and half", f.resistanceN(5000, 5000, 1.9001, 0.2837*97463.9/12000)*1e-3, 17.074/0.75, 1e-3)
	if got := f.resistanceN(1, 1, 1.9, -2); got != 0 {
		t.Errorf("a fibre in more tension than it has: %g N", got)
	}
}

func TestToppingInputIsChecked(t *testing.T) {
	for field, spoil := range map[string]func(*Beam){
		"floor.topping.thickness_mm is 20; allowed: 30 to 300":         func(b *Beam) { b.Floor.Topping.ThicknessMM = 20 },
		"floor.topping.underside_mm is 70; allowed: 80 to 150":         func(b *Beam) { b.Floor.Topping.UndersideMM = 70 },
		"floor.topping.surface is \"wavy\"; allowed: very_smooth":      func(b *Beam) { b.Floor.Topping.Surface = "wavy" },
		"floor.topping.cement_class is \"\"; allowed: S, N, R":         func(b *Beam) { b.Floor.Topping.Cement = "" },
		"floor.topping.fck_mpa is 5; allowed: 12 to 90":                func(b *Beam) { b.Floor.Topping.FckMPa = 5 },
		"floor.topping.effective_width_mm is 600; allowed: 60 to 510":  func(b *Beam) { b.Floor.Topping.EffectiveWidthMM = 600 },
		"floor.finish_age_days is 20; allowed: more than floor.toppin": func(b *Beam) { b.Floor.FinishAgeDays = 20 },
		"floor.topping.links_mm2_per_m is -1; allowed: 0 to 10000":     func(b *Beam) { b.Floor.Topping.LinksMM2PerM = -1 },
		"floor.topping.curing_days is 0; allowed: 1 to 28":             func(b *Beam) { b.Floor.Topping.CuringDays = 0 },
	} {
		b := toppedBeam()
		spoil(&b)
		if _, err := Check(b); err == nil || !strings.HasPrefix(err.Error(), field) {
			t.Errorf("want %q: %v", field, err)
		}
	}
}
