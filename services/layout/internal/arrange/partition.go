package arrange

import (
	"math"
	"slices"

	"spanyard.example/services/layout/internal/geometry"
)

// along is the level of a partition that runs along the beams and is heavy
// enough for a row of its own.
func (s *sweep) along(p Partition) (level float64, ok bool) {
	a, b := s.frame.In(p.From), s.frame.In(p.To)
	const slope = 0.1
	return (a.Y + b.Y) / 2, math.Abs(b.Y-a.Y) <= slope*math.Abs(b.X-a.X) && p.NPerMM > s.rules.LineLoadNPerMM
}

// shortestLineMM is the stretch over which a partition that crosses a row
// presses on it.
const shortestLineMM = 50

// linesOn is what a row carries of a partition. Blocks hand a load on to the
// rows beside them by the lever: all of it over the row itself, none of it a
// pitch away.
func (s *sweep) linesOn(p Partition, r row, clear geometry.Interval) []Line {
	a, b := s.frame.In(p.From), s.frame.In(p.To)
	middle, core := (r.low+r.high)/2, float64(r.perRow-1)*s.kit.WidthMM/2
	share := func(t float64) float64 {
		off := math.Abs(a.Y+t*(b.Y-a.Y)-middle) - core
		return math.Max(0, math.Min(1, 1-off/s.kit.PitchMM))
	}
	cuts := []float64{0, 1}
	if b.Y != a.Y {
		for _, level := range []float64{-core - s.kit.PitchMM, -core - s.kit.PitchMM/2, -core, core, core + s.kit.PitchMM/2, core + s.kit.PitchMM} {
			if t := (middle + level - a.Y) / (b.Y - a.Y); t > 0 && t < 1 {
				cuts = append(cuts, t)
			}
		}
		slices.Sort(cuts)
	}
	length := math.Hypot(b.X-a.X, b.Y-a.Y)
	var parts []Line
	total, moment := 0.0, 0.0
	from, to := math.Inf(1), math.Inf(-1)
	for i := 1; i < len(cuts); i++ {
		t0, t1 := cuts[i-1], cuts[i]
		n := p.NPerMM * length * (t1 - t0) * share((t0+t1)/2) // exact: the share runs straight
		if n <= 0 {
			continue
		}
		x0, x1 := a.X+t0*(b.X-a.X), a.X+t1*(b.X-a.X)
		x0, x1 = math.Min(x0, x1), math.Max(x0, x1)
		total, moment = total+n, moment+n*(x0+x1)/2
		from, to = math.Min(from, x0), math.Max(to, x1)
		parts = append(parts, Line{x0, x1, n / math.Max(x1-x0, 1e-9)})
	}
	if total == 0 {
		return nil
	}
	if to-from < shortestLineMM {
		x := moment / total
		parts = []Line{{x - shortestLineMM/2, x + shortestLineMM/2, total / shortestLineMM}}
	}
	var out []Line
	for _, l := range parts { // what lies over the wall, the wall carries
		l.FromMM, l.ToMM = math.Max(l.FromMM, clear.From)-clear.From, math.Min(l.ToMM, clear.To)-clear.From
		if l.ToMM > l.FromMM {
			out = append(out, l)
		}
	}
	return out
}
