package strength

import (
	"math"
	"testing"
)

// goldenBeam is an invented inverted T; every expected number below was worked
// by hand from the formulas of EN 1992-1-1:2004, with the choices that the
// report states.
func goldenBeam() Beam {
	return Beam{
		Name:    "golden",
		Outline: Outline{{-60, 0}, {60, 0}, {60, 50}, {30, 50}, {30, 150}, {-30, 150}, {-30, 50}, {-60, 50}},
		Pattern: Pattern{
			Wire: Wire{Name: "Y1770C5.0", DiameterMM: 5, AreaMM2: 19.63, FpkMPa: 1770, Fp01kMPa: 1520, ModulusMPa: 205000, RelaxClass: 2, Rho1000: 2.5, StrainLimit: 0.0222},
			Rows: []Row{{25, 4}, {130, 1}},
		},
		FckMPa: 50, Cement: Rapid, Aggregate: 1,
		Casting: Casting{BedStressMPa: 1300, TransferAgeDays: 3, HoursStressed: 72, IndentedWire: true, LifterInsetMM: 300, LiftFactor: 1.5},
		Floor: Floor{ClearSpanMM: 3710, BearingMM: 90, EffectiveSpanMM: 3800, BeamsPerRow: 1, PitchMM: 510,
			FinishesKNPerM2: 1.58, ImposedKNPerM2: 2, InfillKNPerM: 0.88, Category: "A", HumidityPercent: 60, DesignHours: 500000, FinishAgeDays: 60},
		National: Recommended,
	}
}

// stepsOf checks a beam and returns its steps by symbol.
func stepsOf(t interface {
	Helper()
	Fatal(...any)
}, b Beam) map[string]float64 {
	t.Helper()
	r, err := Check(b)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]float64{}
	for _, s := range r.Steps {
		got[s.Symbol] = s.Value
	}
	return got
}

func TestGoldenBeam(t *testing.T) {
	r, err := Check(goldenBeam())
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{
		"A": 12000, "yb": 62.5, "I": 23.125e6, "Wb": 370000, "Wt": 264285.7, "u": 540, "h0": 44.444, "g0": 0.300,
		"fctm": 4.0716, "fctk,0.05": 2.8501, "Ecm": 37277.9, "bcc(t0)": 0.66298, "fcm(t0)": 38.453, "fck(t0)": 30.453, "fctm(t0)": 2.6994, "Ecm(t0)": 32953.5,
		"Ap": 98.15, "yp": 46, "e": 16.5, "sp,max": 1368, "spm0,max": 1292, "dsr": 10.151, "s,rel": 1289.849,
		"At": 12512.4, "yb,t": 61.824, "It": 2.4163e7, "e,t": 15.824, "sp0,row 1": 1207.91, "sp0,row 2": 1262.07, "Pm0": 119.6198, "spm0": 1218.745,
		"sc,b": 15.244, "sc,t": 2.807, "sc,b+g": 13.858, "sc,t+g": 4.783, "sc,max(t0)": 18.272,
		"phiRH": 1.6207, "b(fcm)": 2.2059, "t0,adj": 7.7061, "b(t0)": 0.6233, "phi": 2.2200,
		"ecd": 0.479979, "eca": 0.1, "ecs": 0.579979, "g2": 0.8058, "q": 1.020,
		"sc,QP": 8.4250, "dspr": 45.192, "ds,s": 118.896, "ds,r": 36.153, "ds,c": 102.854, "div": 1.14250, "dsp": 225.736, "spinf": 993.01, "Pinf": 97.4639, "loss": 23.61,
		"sc,b P": 12.468, "sc,t P": 2.037, "sc,b quasi-permanent": 1.288, "sc,t quasi-permanent": 17.689, "sc,b characteristic": -2.195, "sc,t characteristic": 22.566,
		"M0": 4.6133, "Mcr": 6.1198, "Mcr,fl": 6.7977, "fpd": 1321.74, "x": 70.734, "sp,row 1": 1321.74, "sp,row 2": 478.38, "MRd": 9.959,
		"VRd,c cracked": 14.233, "fctd(t0)": 1.2597, "fbpt": 3.4013, "lpt": 447.9, "lpt1": 358.3, "lpt2": 537.5, "ldisp": 465.0, "fbpd": 2.6601, "lbpd": 692.0,
		"lx": 152.5, "al": 0.2837, "VRd,c yb": 17.074, "wP0": 4.675, "wg0": 1.069, "phi0": 2.2283, "bc": 0.99627, "ecd,0": 0.480252, "n0": 6.22089, "fctd": 1.9001, "k": 2, "rl": 0.010469, "scp": 6.6667, "vmin": 0.700, "g1": 0.88, "camber": 3.606, "Ec,eff": 11577.1, "wP": 10.842, "wQP": 23.242, "w": 12.399, "wq": 3.213,
	}
	got := stepsOf(t, goldenBeam())
	for k, v := range want {
		g, ok := got[k]
		if !ok || math.Abs(g-v) > 1e-3*math.Abs(v) {
			t.Errorf("%s = %.5g, want %.5g", k, g, v)
		}
	}
	for _, c := range []struct {
		name string
		m, v float64
	}{{"6.10", 7.6005, 8.0006}, {"6.10a", 6.7721, 7.1285}, {"6.10b", 6.8747, 7.2365}, {"characteristic", 5.4255, 5.7110}, {"frequent", 4.5049, 4.7420}, {"quasi-permanent", 4.1367, 4.3544}} {
		if math.Abs(got["M "+c.name]-c.m) > 1e-3*c.m || math.Abs(got["V "+c.name]-c.v) > 1e-3*c.v {
			t.Errorf("%s: M %.5g V %.5g, want %.5g %.5g", c.name, got["M "+c.name], got["V "+c.name], c.m, c.v)
		}
	}
	for _, v := range r.Verdicts {
		t.Logf("%-45s %8.3f / %8.3f %-4s %.3f %v", v.What, v.Demand, v.Capacity, v.Unit, v.Fullness, v.Passes)
	}
}
