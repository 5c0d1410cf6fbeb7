package strength

import "math"

// The oracle of the diagrams: shear force, moment and deflection straight from
// the loads, by summation and Macaulay's method, sharing nothing with them.

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
