package arrange

import (
	"math"

	"spanyard.example/services/layout/internal/geometry"
)

// placeBeams turns rows into beams. A beam is as long as its clear span and
// both bearings, rounded up to the yard's step; what rounding adds goes to both
// ends alike.
func (s *sweep) placeBeams() {
	for i, r := range s.rows {
		for _, sp := range r.spans {
			exact := sp.clear.Length() + sp.left + sp.right
			length := math.Ceil(exact/s.rules.LengthStepMM-1e-9) * s.rules.LengthStepMM
			extra := length - exact
			left := sp.clear.From - sp.left - extra/2
			if sp.left < s.room.BearingMM { // the header's end stays where it is
				left = sp.clear.From - sp.left
			} else if sp.right < s.room.BearingMM {
				left = sp.clear.From - sp.left - extra
			}
			for place := range r.perRow {
				low := r.low + float64(place)*s.kit.WidthMM
				high := low + s.kit.WidthMM
				s.layout.Beams = append(s.layout.Beams, Beam{
					Row: i + 1, Place: place + 1, Pattern: sp.pattern, PerRow: r.perRow, ClearMM: sp.clear.Length(), LengthMM: length, Outcome: sp.outcome, Member: sp.member,
					Quad: geometry.Quad{
						s.frame.Out(geometry.Point{X: left, Y: low}), s.frame.Out(geometry.Point{X: left + length, Y: low}),
						s.frame.Out(geometry.Point{X: left + length, Y: high}), s.frame.Out(geometry.Point{X: left, Y: high})},
				})
			}
		}
	}
}

// bays fills what lies between the rows with blocks, and counts what each row
// covers. Bays and rows together are the room: their areas add up exactly.
func (s *sweep) bays() {
	edge := s.low
	for _, r := range s.rows {
		s.bay(edge, r.low)
		covered := s.shape.AreaBetween(r.low, math.Min(r.high, s.high))
		fill := s.shortParts(r)
		s.layout.BeamMM2 += covered - fill
		s.layout.FillMM2 += fill
		edge = r.high
	}
	s.bay(edge, s.high)
}

// shortParts is the area of a row's parts that are too short for a beam.
func (s *sweep) shortParts(r row) float64 {
	width := math.Min(r.high, s.high) - r.low
	area := 0.0
	for _, part := range s.shape.Strip(r.low, r.high) {
		if !covers(r.spans, part) {
			area += math.Min(part.Length()*width, s.shape.AreaBetween(r.low, math.Min(r.high, s.high)))
		}
	}
	return area
}

func covers(spans []span, part geometry.Interval) bool {
	for _, sp := range spans {
		if sp.clear.From < part.To && sp.clear.To > part.From {
			return true
		}
	}
	return false
}

func (s *sweep) bay(low, high float64) {
	const nothing = 1e-6
	if high-low < nothing {
		return
	}
	b := Bay{Low: low, High: high, AreaMM2: s.shape.AreaBetween(low, high)}
	whole := s.gap()
	if low == s.low || high == s.high {
		whole = s.edgeGap()
	}
	const mm = 5
	b.Filler = high-low < whole-mm
	for _, part := range s.shape.Strip(low, high) {
		n := int(math.Ceil(part.Length()/s.kit.BlockMM - 1e-9))
		full := 0
		if !b.Filler {
			full = int(math.Floor(s.inner(low, high, part).Length()/s.kit.BlockMM + 1e-9))
		}
		b.Whole += min(full, n)
		b.Cut += n - min(full, n)
	}
	s.layout.Bays = append(s.layout.Bays, b)
}

// inner is the part of an interval that lies inside at every level between
// two, for blocks that need no cutting.
func (s *sweep) inner(low, high float64, part geometry.Interval) geometry.Interval {
	in := part
	const levels = 4
	for k := range levels + 1 {
		y := low + (high-low)*(0.002+0.996*float64(k)/levels)
		for _, i := range s.shape.At(y) {
			if i.From < part.To && i.To > part.From {
				in.From, in.To = math.Max(in.From, i.From), math.Min(in.To, i.To)
			}
		}
	}
	if in.To < in.From {
		in.To = in.From
	}
	return in
}
