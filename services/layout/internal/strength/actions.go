package strength

import (
	"math"
	"sort"
)

// Stretch is a line load on part of a span.
type Stretch struct {
	FromMM float64 `json:"from_mm"`
	ToMM   float64 `json:"to_mm"`
	// NPerMM equals kN/m.
	NPerMM float64 `json:"kn_per_m"`
}

// PointLoad is a single force on a span.
type PointLoad struct {
	AtMM float64 `json:"at_mm"`
	// N is permanent; VariableN comes with the imposed load.
	N         float64 `json:"n"`
	VariableN float64 `json:"variable_n"`
}

// Loads on a simply supported span. Moments and forces of piecewise uniform
// and point loads are exact.
type Loads struct {
	SpanMM    float64
	Stretches []Stretch
	Points    []PointLoad
}

// Uniform returns one line load over the whole span.
func Uniform(spanMM, nPerMM float64) Loads {
	return Loads{SpanMM: spanMM, Stretches: []Stretch{{ToMM: spanMM, NPerMM: nPerMM}}}
}

// Plus adds other loads times a factor.
func (l Loads) Plus(o Loads, factor float64) Loads {
	sum := Loads{SpanMM: l.SpanMM}
	sum.Stretches = append(sum.Stretches, l.Stretches...)
	sum.Points = append(sum.Points, l.Points...)
	for _, s := range o.Stretches {
		s.NPerMM *= factor
		sum.Stretches = append(sum.Stretches, s)
	}
	for _, p := range o.Points {
		p.N *= factor
		sum.Points = append(sum.Points, p)
	}
	return sum
}

// Times scales loads.
func (l Loads) Times(factor float64) Loads { return Loads{SpanMM: l.SpanMM}.Plus(l, factor) }

// LeftN is the reaction at the left support.
func (l Loads) LeftN() float64 {
	var r float64
	for _, s := range l.Stretches {
		r += s.NPerMM * (s.ToMM - s.FromMM) * (l.SpanMM - (s.FromMM+s.ToMM)/2) / l.SpanMM
	}
	for _, p := range l.Points {
		r += p.N * (l.SpanMM - p.AtMM) / l.SpanMM
	}
	return r
}

// RightN is the reaction at the right support.
func (l Loads) RightN() float64 {
	var total float64
	for _, s := range l.Stretches {
		total += s.NPerMM * (s.ToMM - s.FromMM)
	}
	for _, p := range l.Points {
		total += p.N
	}
	return total - l.LeftN()
}

// ShearN just to the left (side < 0) or right of a section.
func (l Loads) ShearN(xMM float64, side int) float64 {
	v := l.LeftN()
	for _, s := range l.Stretches {
		v -= s.NPerMM * (math.Min(math.Max(xMM, s.FromMM), s.ToMM) - s.FromMM)
	}
	for _, p := range l.Points {
		if p.AtMM < xMM || p.AtMM == xMM && side >= 0 {
			v -= p.N
		}
	}
	return v
}

// MomentNMM at a section, sagging positive.
func (l Loads) MomentNMM(xMM float64) float64 {
	m := l.LeftN() * xMM
	for _, s := range l.Stretches {
		to := math.Min(xMM, s.ToMM)
		if to > s.FromMM {
			m -= s.NPerMM * (to - s.FromMM) * (xMM - (s.FromMM+to)/2)
		}
	}
	for _, p := range l.Points {
		if p.AtMM < xMM {
			m -= p.N * (xMM - p.AtMM)
		}
	}
	return m
}

// breaks are the sections between which the shear force is linear.
func (l Loads) breaks() []float64 {
	b := []float64{0, l.SpanMM}
	for _, s := range l.Stretches {
		b = append(b, s.FromMM, s.ToMM)
	}
	for _, p := range l.Points {
		b = append(b, p.AtMM)
	}
	sort.Float64s(b)
	return b
}

// MaxMoment returns the greatest sagging moment and where it stands: at a
// break or where the shear force passes through zero between two.
func (l Loads) MaxMoment() (momentNMM, atMM float64) {
	b := l.breaks()
	try := func(x float64) {
		if m := l.MomentNMM(x); m > momentNMM {
			momentNMM, atMM = m, x
		}
	}
	for i := 1; i < len(b); i++ {
		try(b[i])
		v0, v1 := l.ShearN(b[i-1], 1), l.ShearN(b[i], -1)
		if v0 > 0 && v1 < 0 {
			try(b[i-1] + (b[i]-b[i-1])*v0/(v0-v1))
		}
	}
	return momentNMM, atMM
}

// DeflectionMM at a section of a beam of constant stiffness, downwards
// positive, by Macaulay's method: exact for piecewise loads.
func (l Loads) DeflectionMM(xMM, stiffnessNMM2 float64) float64 {
	ramp := func(d float64, n int) float64 {
		if d <= 0 {
			return 0
		}
		return math.Pow(d, float64(n))
	}
	// EI y = R x^3/6 - sum w<x-a>^4/24 + sum w<x-b>^4/24 - sum P<x-c>^3/6 + C x
	shape := func(x float64) float64 {
		v := l.LeftN() * math.Pow(x, 3) / 6
		for _, s := range l.Stretches {
			v -= s.NPerMM * (ramp(x-s.FromMM, 4) - ramp(x-s.ToMM, 4)) / 24
		}
		for _, p := range l.Points {
			v -= p.N * ramp(x-p.AtMM, 3) / 6
		}
		return v
	}
	c := -shape(l.SpanMM) / l.SpanMM
	return -(shape(xMM) + c*xMM) / stiffnessNMM2
}

// Category of use of a floor (EN 1991-1-1 Table 6.1).
type Category string

// Psi holds the combination factors of EN 1990 Table A1.1.
type Psi struct{ Psi0, Psi1, Psi2 float64 }

// RecommendedPsi are the factors of EN 1990 Table A1.1 by category.
var RecommendedPsi = map[Category]Psi{
	"A": {0.7, 0.5, 0.3}, "B": {0.7, 0.5, 0.3},
	"C": {0.7, 0.7, 0.6}, "D": {0.7, 0.7, 0.6}, "E": {1.0, 0.9, 0.8},
}

// MovablePartitionsNPerMM2 turns the self weight of movable partitions, in
// kN per metre run, into a uniform load (EN 1991-1-1 6.3.1.2(8)); ok is false
// above 3.0 kN/m, where the partition is a line load.
func MovablePartitionsNPerMM2(knPerM float64) (nPerMM2 float64, ok bool) {
	switch {
	case knPerM <= 1:
		return 0.5e-3, true
	case knPerM <= 2:
		return 0.8e-3, true
	case knPerM <= 3:
		return 1.2e-3, true
	default:
		return 0, false
	}
}

// Combination is one combination of actions of EN 1990.
type Combination struct {
	Name   string
	Clause string
	// Permanent and Variable multiply the characteristic loads.
	Permanent, Variable float64
	Ultimate            bool
}

// Combinations lists those for one permanent and one variable action.
func Combinations(n National, p Psi) []Combination {
	return []Combination{
		{"6.10a", "EN 1990 6.4.3.2, 6.10a", n.GammaG, n.GammaQ * p.Psi0, true},
		{"6.10b", "EN 1990 6.4.3.2, 6.10b", n.Xi * n.GammaG, n.GammaQ, true},
		{"6.10", "EN 1990 6.4.3.2, 6.10", n.GammaG, n.GammaQ, true},
		{"characteristic", "EN 1990 6.14b", 1, 1, false},
		{"frequent", "EN 1990 6.15b", 1, p.Psi1, false},
		{"quasi-permanent", "EN 1990 6.16b", 1, p.Psi2, false},
	}
}

// National holds the choices that EN 1990 and EN 1992-1-1 leave to each
// country, with the recommended values as default.
type National struct {
	AlphaCC float64 `json:"alpha_cc"`
	AlphaCT float64 `json:"alpha_ct"`
	GammaC  float64 `json:"gamma_c"`
	GammaS  float64 `json:"gamma_s"`
	GammaG  float64 `json:"gamma_g"`
	GammaQ  float64 `json:"gamma_q"`
	Xi      float64 `json:"xi"`
	K1Shear float64 `json:"k1_shear"`
	// UseAB takes the less favourable of 6.10a and 6.10b instead of 6.10.
	UseAB bool `json:"use_6_10ab"`
}

// Recommended are the values that the codes recommend.
var Recommended = National{AlphaCC: 1, AlphaCT: 1, GammaC: 1.5, GammaS: 1.15, GammaG: 1.35, GammaQ: 1.5, Xi: 0.85, K1Shear: 0.15}
