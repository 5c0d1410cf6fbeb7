// Package strength checks pretensioned beams by EN 1992-1-1, EN 1990 and EN
// 1991-1-1, step by step, so that an engineer can follow the calculation by
// hand. It is pure: a Beam goes in, a Report comes out.
//
// Units are N, mm and MPa unless a name says otherwise; kN/m equals N/mm.
// Compression is positive in the concrete, tension in the wires. National
// choices are data (National), with the recommended values as default; what
// else the code leaves open is stated in every report (Choices).
//
// The result is a designer's aid: a licensed engineer checks and signs under
// the local code.
package strength

import (
	"fmt"
	"math"
	"slices"
)

// Point of a cross-section outline. X runs across the beam, Y up from the
// soffit.
type Point struct {
	XMM float64 `json:"x_mm"`
	YMM float64 `json:"y_mm"`
}

// Outline is a simple polygon, the cross-section of a beam as it is laid. The
// lowest corner lies on the soffit at Y = 0.
type Outline []Point

// Validate reports the first thing wrong with an outline.
func (o Outline) Validate() error {
	if len(o) < 3 {
		return fmt.Errorf("an outline needs at least 3 corners, this one has %d", len(o))
	}
	lowest := math.Inf(1)
	for i, p := range o {
		if math.IsNaN(p.XMM+p.YMM) || math.Abs(p.XMM) > 5000 || math.Abs(p.YMM) > 5000 {
			return fmt.Errorf("corner %d lies at (%g, %g) mm; allowed: within 5000 mm", i+1, p.XMM, p.YMM)
		}
		lowest = math.Min(lowest, p.YMM)
	}
	if math.Abs(lowest) > 1e-9 {
		return fmt.Errorf("the lowest corner lies at %g mm; allowed: 0, the soffit", lowest)
	}
	if math.Abs(ring(o).area) < 1 {
		return fmt.Errorf("the outline encloses no area")
	}
	for i := range o {
		for j := i + 2; j < len(o); j++ {
			if i == 0 && j == len(o)-1 {
				continue
			}
			if crosses(o[i], o[(i+1)%len(o)], o[j], o[(j+1)%len(o)]) {
				return fmt.Errorf("side %d crosses side %d", i+1, j+1)
			}
		}
	}
	return nil
}

// crosses reports whether the segments ab and cd have a point in common.
func crosses(a, b, c, d Point) bool {
	side := func(p, q, r Point) float64 {
		return (q.XMM-p.XMM)*(r.YMM-p.YMM) - (q.YMM-p.YMM)*(r.XMM-p.XMM)
	}
	within := func(p, q, r Point) bool {
		return math.Min(p.XMM, q.XMM) <= r.XMM && r.XMM <= math.Max(p.XMM, q.XMM) &&
			math.Min(p.YMM, q.YMM) <= r.YMM && r.YMM <= math.Max(p.YMM, q.YMM)
	}
	s1, s2, s3, s4 := side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b)
	if s1*s2 < 0 && s3*s4 < 0 {
		return true
	}
	return s1 == 0 && within(a, b, c) || s2 == 0 && within(a, b, d) ||
		s3 == 0 && within(c, d, a) || s4 == 0 && within(c, d, b)
}

// Section holds the gross properties of an outline.
type Section struct {
	Outline Outline
	// AreaMM2, CentroidMM above the soffit, InertiaMM4 about the centroid.
	AreaMM2, CentroidMM, InertiaMM4 float64
	// HeightMM overall, PerimeterMM all round.
	HeightMM, PerimeterMM float64
	// strips between the levels of the corners, the topmost first.
	strips []strip
}

// strip is the part of a section between two neighbouring levels of corners;
// its width changes linearly from low to high.
type strip struct {
	low, high           float64
	lowWidth, highWidth float64
	// above is everything over the strip.
	above moments
}

// NewSection computes the gross properties of an outline by Green's theorem,
// exact for straight sides.
func NewSection(o Outline) (Section, error) {
	if err := o.Validate(); err != nil {
		return Section{}, err
	}
	m := ring(o)
	if m.area < 0 {
		m.area, m.first, m.second = -m.area, -m.first, -m.second
	}
	s := Section{Outline: o, AreaMM2: m.area, CentroidMM: m.first / m.area}
	s.InertiaMM4 = m.second - m.area*s.CentroidMM*s.CentroidMM
	for i, p := range o {
		q := o[(i+1)%len(o)]
		s.HeightMM = math.Max(s.HeightMM, p.YMM)
		s.PerimeterMM += math.Hypot(q.XMM-p.XMM, q.YMM-p.YMM)
	}
	s.strips = stripsOf(o)
	return s, nil
}

// stripsOf cuts an outline at the levels of its corners. The chord between two
// levels is linear, so two readings inside a strip give both of its ends.
func stripsOf(o Outline) []strip {
	levels := make([]float64, 0, len(o))
	for _, p := range o {
		levels = append(levels, p.YMM)
	}
	slices.Sort(levels)
	levels = slices.Compact(levels)
	strips := make([]strip, 0, len(levels))
	var above moments
	for i := len(levels) - 1; i > 0; i-- {
		low, high := levels[i-1], levels[i]
		a, b := o.crossing(low+(high-low)/4), o.crossing(high-(high-low)/4)
		p := strip{low: low, high: high, lowWidth: a - (b-a)/2, highWidth: b + (b-a)/2, above: above}
		above = above.plus(between(low, high, p.lowWidth, p.highWidth))
		strips = append(strips, p)
	}
	return strips
}

// between integrates over a strip whose width changes linearly; Simpson's rule
// is exact for it.
func between(low, high, lowWidth, highWidth float64) moments {
	mid, width, sixth := (low+high)/2, (lowWidth+highWidth)/2, (high-low)/6
	return moments{
		area:   (high - low) * width,
		first:  sixth * (low*lowWidth + 4*mid*width + high*highWidth),
		second: sixth * (low*low*lowWidth + 4*mid*mid*width + high*high*highWidth),
	}
}

func (m moments) plus(o moments) moments {
	return moments{m.area + o.area, m.first + o.first, m.second + o.second}
}

// NotionalSizeMM is h0 = 2 A / u (EN 1992-1-1 3.1.4(5)).
func (s *Section) NotionalSizeMM() float64 { return 2 * s.AreaMM2 / s.PerimeterMM }

// BottomModulusMM3 is I over the distance of the soffit from the centroid.
func (s *Section) BottomModulusMM3() float64 { return s.InertiaMM4 / s.CentroidMM }

// TopModulusMM3 is I over the distance of the top from the centroid.
func (s *Section) TopModulusMM3() float64 { return s.InertiaMM4 / (s.HeightMM - s.CentroidMM) }

// widthIn is the width of a strip at a level inside it.
func (p strip) widthIn(y float64) float64 {
	return p.lowWidth + (p.highWidth-p.lowWidth)*(y-p.low)/(p.high-p.low)
}

// above integrates over the part above a level about the soffit.
func (s *Section) above(yMM float64) moments {
	for _, p := range s.strips {
		if yMM >= p.high {
			return p.above
		}
		if yMM > p.low {
			return p.above.plus(between(yMM, p.high, p.widthIn(yMM), p.highWidth))
		}
	}
	last := s.strips[len(s.strips)-1]
	return last.above.plus(between(last.low, last.high, last.lowWidth, last.highWidth))
}

// FirstMomentMM3 is the first moment about the centroid of the part above y.
func (s *Section) FirstMomentMM3(yMM float64) float64 {
	m := s.above(yMM)
	return m.first - m.area*s.CentroidMM
}

// WidthMM is the total width at level y; at a step in the outline the smaller
// of the two widths, which is the safe one for shear; 0 outside the section.
func (s *Section) WidthMM(yMM float64) float64 {
	return s.NarrowestMM(yMM, yMM)
}

// NarrowestMM is the smallest width between two levels, both included.
func (s *Section) NarrowestMM(fromMM, toMM float64) float64 {
	least := math.Inf(1)
	for _, p := range s.strips {
		if low, high := math.Max(p.low, fromMM), math.Min(p.high, toMM); low <= high {
			least = math.Min(least, math.Min(p.widthIn(low), p.widthIn(high)))
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return math.Max(least, 0)
}

// contactMM is the length of the outline above a level: what a concrete cast
// on the section from there up touches. At the top it is the top's width.
func (s *Section) contactMM(yMM float64) float64 {
	if yMM >= s.HeightMM {
		return math.Max(s.strips[0].highWidth, 0)
	}
	var sum float64
	for i, p := range s.Outline {
		q := s.Outline[(i+1)%len(s.Outline)]
		low, high := math.Min(p.YMM, q.YMM), math.Max(p.YMM, q.YMM)
		switch length := math.Hypot(q.XMM-p.XMM, q.YMM-p.YMM); {
		case low >= yMM && (low > yMM || high > low):
			sum += length
		case high > yMM:
			sum += length * (high - yMM) / (high - low)
		}
	}
	return sum
}

// crossing sums the chords of a horizontal line at level y that meets no
// corner.
func (o Outline) crossing(y float64) float64 {
	var sum float64
	for i, p := range o {
		q := o[(i+1)%len(o)]
		if (p.YMM > y) == (q.YMM > y) {
			continue
		}
		x := p.XMM + (y-p.YMM)/(q.YMM-p.YMM)*(q.XMM-p.XMM)
		if p.YMM > q.YMM {
			x = -x
		}
		sum += x
	}
	return math.Abs(sum)
}

// moments of area of a polygon about the soffit line.
type moments struct{ area, first, second float64 }

// ring integrates over a polygon; positive when it runs counter-clockwise.
func ring(o Outline) moments {
	var m moments
	for i, p := range o {
		q := o[(i+1)%len(o)]
		cross := p.XMM*q.YMM - q.XMM*p.YMM
		m.area += cross / 2
		m.first += cross * (p.YMM + q.YMM) / 6
		m.second += cross * (p.YMM*p.YMM + p.YMM*q.YMM + q.YMM*q.YMM) / 12
	}
	return m
}
