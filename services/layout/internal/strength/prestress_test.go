package strength

import "testing"

// y1770 has the values of EN 10138 as listed in eurocodepy.
var y1770 = Wire{Name: "Y1770C5.0", DiameterMM: 5, AreaMM2: 19.63, FpkMPa: 1770, Fp01kMPa: 1520, ModulusMPa: 205000, RelaxClass: 2, Rho1000: 2.5, StrainLimit: 0.0222}

func TestStressingLimits(t *testing.T) {
	// EN 1992-1-1 5.41 and 5.43, as tested in blueprints.
	w := Wire{FpkMPa: 1860, Fp01kMPa: 1674}
	near(t, "Pmax", w.MaxStressingMPa()*1000, 1488000, 1e-9)
	near(t, "Pm0", w.MaxAfterTransferMPa()*1000, 1395000, 1e-9)
	near(t, "sp,max 5 mm", y1770.MaxStressingMPa(), 1368, 1e-9)
	near(t, "spm0 5 mm", y1770.MaxAfterTransferMPa(), 1292, 1e-9)
}

func TestRelaxation(t *testing.T) {
	// EN 1992-1-1 3.28 to 3.30; shares as tested in blueprints.
	for class, want := range map[int]float64{1: 8.754937e-4, 2: 2.099201e-4, 3: 4.628205e-4} {
		w := Wire{FpkMPa: 1, RelaxClass: class, Rho1000: 35.2}
		near(t, "relaxation", w.RelaxationMPa(0.28, 7.4)/0.28, want, 1e-4)
	}
	// Verification manual of a general finite element program, case
	// DCE-EN22.
	w := Wire{FpkMPa: 1770, RelaxClass: 2, Rho1000: 2.5}
	near(t, "relaxation", w.RelaxationMPa(3653e3/2850, 1000), 15.388, 1e-3)
	// EN 1992-1-1 3.29, worked by hand: per cent after 20, 72, 1000 and
	// 500 000 hours.
	for mu, row := range map[float64][]float64{
		.60: {.120, .176, .388, 2.503}, .65: {.219, .307, .611, 3.125}, .70: {.400, .533, .964, 3.901},
		.75: {.729, .928, 1.519, 4.871}, .80: {1.331, 1.613, 2.394, 6.081},
	} {
		for i, h := range []float64{20, 72, 1000, 500000} {
			near(t, "relaxation %", 100*w.RelaxationMPa(mu*1770, h)/(mu*1770), row[i], 5e-3)
		}
	}
}

func TestLongTermLoss(t *testing.T) {
	// EN 1992-1-1 5.46, as tested in blueprints.
	r := LongTermOf(LongTermInput{ShrinkageStrain: 2e-4, RelaxationMPa: 100, Creep: 2, ConcreteMPa: 10,
		WireModulusMPa: 200000, EcmMPa: 30000, WireAreaMM2: 1000, AreaMM2: 5000, InertiaMM4: 1e6, EccentricityMM: 200})
	near(t, "Ap ds", 1000*r.LossMPa, 363.0458e3/1000, 1e-4)
	// Verification manual of a general finite element program, case DCE-EN18:
	// rectangle 1 m x 1 m, creep coefficient 1.3927.
	ecm := Concrete{FckMPa: 35, Cement: Normal}.EcmMPa()
	r = LongTermOf(LongTermInput{ShrinkageStrain: 1.668e-4 + 2.169e-5, Creep: 1.3927, ConcreteMPa: 4.82,
		WireModulusMPa: 195000, EcmMPa: ecm, WireAreaMM2: 2850, AreaMM2: 1e6, InertiaMM4: 1e12 / 12, EccentricityMM: 390.1})
	near(t, "dP kN", 2850*r.LossMPa*1e-3, 195.11, 1e-3)
}

func TestTransmission(t *testing.T) {
	// EN 1992-1-1 8.15 to 8.21, as tested in blueprints.
	b := Bond{EtaP1: 2.7, EtaP2: 1.4, Eta1: 1, Alpha1: 1, Alpha2: 0.25}
	near(t, "fbpt", b.TransmissionStressMPa(2.5), 6.75, 1e-12)
	l := b.TransmissionOf(8, 350, 5)
	near(t, "lpt", l.LengthMM, 140, 1e-12)
	near(t, "lpt1", l.ShortMM, 112, 1e-12)
	near(t, "lpt2", l.LongMM, 168, 1e-12)
	near(t, "ldisp", DispersionMM(10, 2), 10.198, 1e-4)
	near(t, "fbpd", b.AnchorageStressMPa(2.5), 3.5, 1e-12)
	b.Alpha2 = 0.8
	near(t, "lbpd", b.AnchorageMM(100, 12, 1000, 900, 2.5), 484, 1e-12)
}

func TestSectionStresses(t *testing.T) {
	// McCormac and Brown, Design of Reinforced Concrete, example 19.1: 12 in x
	// 24 in, P 250 k, e 9 in, M 150 ft k; in ksi.
	s := Transformed{AreaMM2: 288, CentroidMM: 12, InertiaMM4: 13824}
	within(t, "mid top", s.StressMPa(250, 150*12-250*9, 24), 0.477, 0.002)
	within(t, "mid bottom", s.StressMPa(250, 150*12-250*9, 0), 1.259, 0.002)
	within(t, "end top", s.StressMPa(250, -250*9, 24), -1.085, 0.002)
	within(t, "end bottom", s.StressMPa(250, -250*9, 0), 2.821, 0.002)
	// Examination example, data published: 250 mm x 600 mm, P 598.56 kN, e
	// 250 mm; results worked by hand.
	s = Transformed{AreaMM2: 150000, CentroidMM: 300, InertiaMM4: 250 * 600 * 600 * 600 / 12.0}
	near(t, "bottom", s.StressMPa(598560, -598560*250, 0), 13.97, 1e-3)
	near(t, "top", s.StressMPa(598560, -598560*250, 600), -5.99, 2e-3)
}

func TestCamberAtRelease(t *testing.T) {
	// McCormac and Brown, example 19.4: 12 in x 20 in, L 30 ft, e 6 in, Aps
	// 1.2 in2 at 175 ksi, Ec 4e6 psi, 250 lb/ft; inches.
	l, ei := 360.0, 4e6*8000
	within(t, "up", 1.2*175000*6*l*l/(8*ei), 0.638, 0.003)
	within(t, "down", Uniform(l, 250.0/12).DeflectionMM(l/2, ei), 0.142, 0.003)
}

func TestDoubleTeeSection(t *testing.T) {
	// Gilbert, Mickleborough and Ranzi, example 6.9: flange 2400 x 50, two
	// webs 750 deep, 205 to 130 wide.
	var o Outline
	web := func(x float64) Outline {
		return Outline{{x - 65, 0}, {x + 65, 0}, {x + 102.5, 750}}
	}
	o = append(o, web(-600)...)
	o = append(o, Point{600 - 102.5, 750}, Point{600 - 65, 0}, Point{600 + 65, 0}, Point{600 + 102.5, 750}, Point{1200, 750}, Point{1200, 800}, Point{-1200, 800}, Point{-1200, 750}, Point{-600 - 102.5, 750})
	s, err := NewSection(o)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "A", s.AreaMM2, 371250, 5e-3)
	near(t, "yt", s.HeightMM-s.CentroidMM, 276.8, 5e-3)
	near(t, "I", s.InertiaMM4, 2.2845e10, 5e-3)
	near(t, "Zt", s.TopModulusMM3(), 8.254e7, 5e-3)
	near(t, "Zb", s.BottomModulusMM3(), 4.366e7, 5e-3)
}
