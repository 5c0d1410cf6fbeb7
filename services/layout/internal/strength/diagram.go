package strength

import (
	"math"
	"slices"
)

// diagram holds the shear force and the moment of loads on a simply supported
// span at the sections where a load begins or ends. Between two of them the
// line load is constant, so every reading in between is exact. Diagrams over
// the same breaks add up number by number.
type diagram struct {
	// at are the breaks, from 0 to the span.
	at []float64
	// shear just right of each break, the moment at it, and the line load from
	// it to the next.
	shear, moment, line []float64
}

// breaksOf are the sections of several loads on one span at which one of them
// begins, ends or stands.
func breaksOf(spanMM float64, all ...Loads) []float64 {
	at := make([]float64, 0, 8)
	at = append(at, 0, spanMM)
	for _, l := range all {
		for _, s := range l.Stretches {
			at = append(at, s.FromMM, s.ToMM)
		}
		for _, p := range l.Points {
			at = append(at, p.AtMM)
		}
	}
	slices.Sort(at)
	return slices.Compact(at)
}

// diagramOf works the loads out at the breaks, which must hold all of their
// own.
func diagramOf(at []float64, l Loads) diagram {
	n := len(at)
	d := newDiagram(at)
	span := at[n-1]
	left := 0.0
	for _, s := range l.Stretches {
		left += s.NPerMM * (s.ToMM - s.FromMM) * (span - (s.FromMM+s.ToMM)/2) / span
		for i, x := range at {
			if x >= s.FromMM && x < s.ToMM {
				d.line[i] += s.NPerMM
			}
		}
	}
	for _, p := range l.Points {
		left += p.N * (span - p.AtMM) / span
		for i, x := range at {
			if x == p.AtMM {
				d.shear[i] -= p.N
			}
		}
	}
	d.shear[0] += left
	for i := 1; i < n; i++ {
		dx := at[i] - at[i-1]
		d.moment[i] = d.moment[i-1] + d.shear[i-1]*dx - d.line[i-1]*dx*dx/2
		d.shear[i] += d.shear[i-1] - d.line[i-1]*dx
	}
	return d
}

func newDiagram(at []float64) diagram {
	n := len(at)
	values := make([]float64, 3*n)
	return diagram{at: at, shear: values[:n:n], moment: values[n : 2*n : 2*n], line: values[2*n:]}
}

// plus adds another diagram over the same breaks, times a factor.
func (d diagram) plus(o diagram, factor float64) diagram {
	sum := newDiagram(d.at)
	for i := range d.at {
		sum.shear[i] = d.shear[i] + factor*o.shear[i]
		sum.moment[i] = d.moment[i] + factor*o.moment[i]
		sum.line[i] = d.line[i] + factor*o.line[i]
	}
	return sum
}

func (d diagram) times(factor float64) diagram { return newDiagram(d.at).plus(d, factor) }

func (d diagram) spanMM() float64 { return d.at[len(d.at)-1] }

// piece is the last break at or left of a section.
func (d diagram) piece(xMM float64) int {
	i := 0
	for i+2 < len(d.at) && d.at[i+1] <= xMM {
		i++
	}
	return i
}

// momentNMM at a section, sagging positive.
func (d diagram) momentNMM(xMM float64) float64 {
	i := d.piece(xMM)
	s := xMM - d.at[i]
	return d.moment[i] + d.shear[i]*s - d.line[i]*s*s/2
}

// shearN just to the left and just to the right of a section; they differ
// where a force stands.
func (d diagram) shearN(xMM float64) (left, right float64) {
	i := d.piece(xMM)
	right = d.shear[i] - d.line[i]*(xMM-d.at[i])
	if left = right; xMM == d.at[i] && i > 0 {
		left = d.shear[i-1] - d.line[i-1]*(d.at[i]-d.at[i-1])
	}
	return left, right
}

// reactionN is the greater of the two.
func (d diagram) reactionN() float64 {
	n := len(d.at)
	// A force at the very end of the span goes straight into the support.
	return math.Max(d.shear[0], -(d.shear[n-2] - d.line[n-2]*(d.at[n-1]-d.at[n-2])))
}

// greatest returns the greatest sagging moment and where it stands: at a break
// or where the shear force passes through zero between two.
func (d diagram) greatest() (momentNMM, atMM float64) {
	for i := 0; i+1 < len(d.at); i++ {
		if d.moment[i] > momentNMM {
			momentNMM, atMM = d.moment[i], d.at[i]
		}
		if d.line[i] <= 0 {
			continue
		}
		s := d.shear[i] / d.line[i]
		if s > 0 && s < d.at[i+1]-d.at[i] {
			if m := d.moment[i] + d.shear[i]*s/2; m > momentNMM {
				momentNMM, atMM = m, d.at[i]+s
			}
		}
	}
	return momentNMM, atMM
}

// sagNMM3 is the greatest deflection times the stiffness: the moment is
// integrated twice, piece by piece, and read where the slope is zero. The
// loads act downwards, so there is one such section.
func (d diagram) sagNMM3() float64 {
	slope, fall := make([]float64, len(d.at)), make([]float64, len(d.at))
	for i := 1; i < len(d.at); i++ {
		slope[i], fall[i] = d.bend(i-1, d.at[i]-d.at[i-1], slope[i-1], fall[i-1])
	}
	turn := fall[len(d.at)-1] / d.spanMM()
	i := 0
	for i+2 < len(d.at) && slope[i+1] < turn {
		i++
	}
	low, high := 0.0, d.at[i+1]-d.at[i]
	const halvings = 40
	for range halvings {
		mid := (low + high) / 2
		if s, _ := d.bend(i, mid, slope[i], fall[i]); s < turn {
			low = mid
		} else {
			high = mid
		}
	}
	_, f := d.bend(i, low, slope[i], fall[i])
	return turn*(d.at[i]+low) - f
}

// bend integrates the moment once and twice over the first s of a piece.
func (d diagram) bend(i int, s, slope, fall float64) (float64, float64) {
	m, v, w := d.moment[i], d.shear[i], d.line[i]
	return slope + s*(m+s*(v/2-s*w/6)), fall + s*(slope+s*(m/2+s*(v/6-s*w/24)))
}
