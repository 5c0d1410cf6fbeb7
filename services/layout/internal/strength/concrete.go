package strength

import "math"

// CementClass says how fast a cement gains strength (EN 1992-1-1 3.1.2(6)).
type CementClass string

// The classes.
const (
	Slow   CementClass = "S"
	Normal CementClass = "N"
	Rapid  CementClass = "R"
)

// hardening is the coefficient s of equation 3.2.
func (c CementClass) hardening() float64 {
	switch c {
	case Slow:
		return 0.38
	case Normal:
		return 0.25
	case Rapid:
		return 0.20
	default:
		return 0
	}
}

// ageing is the exponent alpha of equation B.9.
func (c CementClass) ageing() float64 {
	switch c {
	case Slow:
		return -1
	case Rapid:
		return 1
	default:
		return 0
	}
}

// drying returns alpha_ds1 and alpha_ds2 of equation B.11.
func (c CementClass) drying() (float64, float64) {
	switch c {
	case Slow:
		return 3, 0.13
	case Rapid:
		return 6, 0.11
	default:
		return 4, 0.12
	}
}

// Concrete is a strength class with the properties of EN 1992-1-1 Table 3.1.
type Concrete struct {
	FckMPa float64
	Cement CementClass
	// Aggregate scales Ecm: 1 for quartzite, 0.9 limestone, 0.7 sandstone,
	// 1.2 basalt (3.1.3(2)).
	Aggregate float64
}

// FcmMPa is the mean cylinder strength at 28 days.
func (c Concrete) FcmMPa() float64 { return c.FckMPa + 8 }

// FctmMPa is the mean tensile strength at 28 days.
func (c Concrete) FctmMPa() float64 {
	if c.FckMPa <= 50 {
		return 0.30 * math.Pow(c.FckMPa, 2.0/3)
	}
	return 2.12 * math.Log(1+c.FcmMPa()/10)
}

// Fctk05MPa is the 5 % fractile of the tensile strength.
func (c Concrete) Fctk05MPa() float64 { return 0.7 * c.FctmMPa() }

// EcmMPa is the secant modulus at 28 days.
func (c Concrete) EcmMPa() float64 {
	a := c.Aggregate
	if a == 0 {
		a = 1
	}
	return a * 22000 * math.Pow(c.FcmMPa()/10, 0.3)
}

// EpsCU3 is the ultimate strain of the rectangular stress block.
func (c Concrete) EpsCU3() float64 {
	if c.FckMPa <= 50 {
		return 3.5e-3
	}
	return (2.6 + 35*math.Pow((90-c.FckMPa)/100, 4)) * 1e-3
}

// BlockDepth is lambda (3.19, 3.20).
func (c Concrete) BlockDepth() float64 {
	if c.FckMPa <= 50 {
		return 0.8
	}
	return 0.8 - (c.FckMPa-50)/400
}

// BlockStress is eta (3.21, 3.22).
func (c Concrete) BlockStress() float64 {
	if c.FckMPa <= 50 {
		return 1
	}
	return 1 - (c.FckMPa-50)/200
}

// Gain is beta_cc, the share of the 28-day mean strength at an age (3.2).
func (c Concrete) Gain(ageDays float64) float64 {
	return math.Exp(c.Cement.hardening() * (1 - math.Sqrt(28/ageDays)))
}

// FcmAtMPa is the mean strength at an age (3.1).
func (c Concrete) FcmAtMPa(ageDays float64) float64 { return c.Gain(ageDays) * c.FcmMPa() }

// FckAtMPa is the characteristic strength at an age between 3 and 28 days
// (3.1.2(5)); it does not grow beyond 28 days.
func (c Concrete) FckAtMPa(ageDays float64) float64 {
	if ageDays >= 28 {
		return c.FckMPa
	}
	return math.Max(0, c.FcmAtMPa(ageDays)-8)
}

// FctmAtMPa is the mean tensile strength at an age (3.4).
func (c Concrete) FctmAtMPa(ageDays float64) float64 {
	alpha := 1.0
	if ageDays >= 28 {
		alpha = 2.0 / 3
	}
	return math.Pow(c.Gain(ageDays), alpha) * c.FctmMPa()
}

// EcmAtMPa is the modulus at an age (3.5).
func (c Concrete) EcmAtMPa(ageDays float64) float64 {
	return math.Pow(c.Gain(ageDays), 0.3) * c.EcmMPa()
}

// FctmFlexuralMPa is the mean flexural tensile strength (3.23).
func (c Concrete) FctmFlexuralMPa(heightMM float64) float64 {
	return math.Max(1.6-heightMM/1000, 1) * c.FctmMPa()
}

// Climate is what creep and shrinkage depend on beside the concrete.
type Climate struct {
	// HumidityPercent of the surrounding air.
	HumidityPercent float64
	// NotionalSizeMM is h0.
	NotionalSizeMM float64
}

// Creep holds the steps of the creep coefficient (Annex B.1).
type Creep struct {
	PhiRH, BetaFcm, AdjustedAgeDays, BetaT0, Phi0, BetaH, BetaC, Phi float64
}

// CreepOf returns the creep coefficient at age t for a load that came at t0,
// both in days.
func CreepOf(c Concrete, k Climate, t0, t float64) Creep {
	fcm := c.FcmMPa()
	a1, a2, a3 := 1.0, 1.0, 1.0
	if fcm > 35 {
		a1, a2, a3 = math.Pow(35/fcm, 0.7), math.Pow(35/fcm, 0.2), math.Sqrt(35/fcm)
	}
	var r Creep
	dry := (1 - k.HumidityPercent/100) / (0.1 * math.Cbrt(k.NotionalSizeMM))
	r.PhiRH = (1 + dry*a1) * a2
	r.BetaFcm = 16.8 / math.Sqrt(fcm)
	r.AdjustedAgeDays = math.Max(0.5, t0*math.Pow(9/(2+math.Pow(t0, 1.2))+1, c.Cement.ageing()))
	r.BetaT0 = 1 / (0.1 + math.Pow(r.AdjustedAgeDays, 0.20))
	r.Phi0 = r.PhiRH * r.BetaFcm * r.BetaT0
	r.BetaH = math.Min(1.5*(1+math.Pow(0.012*k.HumidityPercent, 18))*k.NotionalSizeMM+250*a3, 1500*a3)
	r.BetaC = math.Pow((t-t0)/(r.BetaH+t-t0), 0.3)
	r.Phi = r.Phi0 * r.BetaC
	return r
}

// Shrinkage holds the steps of the shrinkage strain (3.1.4, Annex B.2).
type Shrinkage struct {
	BetaRH, Nominal, SizeFactor, BetaDs, Drying, AutogenousEnd, BetaAs, Autogenous, Total float64
}

// nonlinear raises a creep coefficient where the concrete is pressed beyond
// 0.45 fck(t0) when the load comes (3.7).
func nonlinear(phi, stressMPa, fckMPa float64) float64 {
	if k := stressMPa / fckMPa; k > 0.45 {
		return phi * math.Exp(1.5*(k-0.45))
	}
	return phi
}

// ShrinkageOf returns the shrinkage strain at age t when drying began at ts,
// both in days.
func ShrinkageOf(c Concrete, k Climate, ts, t float64) Shrinkage {
	var r Shrinkage
	a1, a2 := c.Cement.drying()
	r.BetaRH = 1.55 * (1 - math.Pow(k.HumidityPercent/100, 3))
	r.Nominal = 0.85 * (220 + 110*a1) * math.Exp(-a2*c.FcmMPa()/10) * 1e-6 * r.BetaRH
	r.SizeFactor = sizeFactor(k.NotionalSizeMM)
	r.BetaDs = (t - ts) / (t - ts + 0.04*math.Sqrt(math.Pow(k.NotionalSizeMM, 3)))
	r.Drying = r.BetaDs * r.SizeFactor * r.Nominal
	r.AutogenousEnd = 2.5 * (c.FckMPa - 10) * 1e-6
	r.BetaAs = 1 - math.Exp(-0.2*math.Sqrt(t))
	r.Autogenous = r.BetaAs * r.AutogenousEnd
	r.Total = r.Drying + r.Autogenous
	return r
}

// sizeFactor is kh of Table 3.3, linear between its rows.
func sizeFactor(h0 float64) float64 {
	rows := [...][2]float64{{100, 1}, {200, 0.85}, {300, 0.75}, {500, 0.70}}
	if h0 <= rows[0][0] {
		return rows[0][1]
	}
	for i := 1; i < len(rows); i++ {
		if h0 <= rows[i][0] {
			a, b := rows[i-1], rows[i]
			return a[1] + (h0-a[0])/(b[0]-a[0])*(b[1]-a[1])
		}
	}
	return rows[len(rows)-1][1]
}
