package arrange

import (
	"math"

	"spanyard.example/services/layout/internal/geometry"
)

// placeBeams turns rows into beams.
func (s *sweep) placeBeams() {
	for i, r := range s.rows {
		for _, sp := range r.spans {
			for place := range r.perRow {
				low := r.low + float64(place)*s.kit.WidthMM
				s.layout.Beams = append(s.layout.Beams, Beam{
					Row: i + 1, Place: place + 1, Pattern: sp.pattern, PerRow: r.perRow, ClearMM: sp.clear.Length(), LengthMM: sp.length,
					Outcome: sp.outcome, Member: sp.member, Quad: s.quad(sp.start, low, sp.start+sp.length, low+s.kit.WidthMM),
				})
			}
		}
	}
}

// cover shares the room out between beams, blocks and what is made good on
// site. Their areas add up to the room's.
func (s *sweep) cover() {
	s.layout.FillMM2 = s.spareMM2
	edge := s.low
	var below *row
	for i := range s.rows {
		r := &s.rows[i]
		s.bay(edge, r.low, below, r)
		for _, c := range s.shape.Cells(r.low, math.Min(r.high, s.high)) {
			if r.isShort(c.Extent()) {
				s.madeGood(c)
			} else {
				s.layout.BeamMM2 += c.Area()
			}
		}
		edge, below = r.high, r
	}
	s.bay(edge, s.high, below, nil)
}

// isShort reports whether a cell lies in a part of a row without a beam.
func (r *row) isShort(extent geometry.Interval) bool {
	if r == nil {
		return false
	}
	middle := (extent.From + extent.To) / 2
	for _, sh := range r.short {
		if middle >= sh.part.From && middle <= sh.part.To {
			return true
		}
	}
	return false
}

func (s *sweep) madeGood(c geometry.Cell) {
	s.layout.FillMM2 += c.Area()
	s.layout.Fills = append(s.layout.Fills, geometry.Quad{
		s.frame.Out(geometry.Point{X: c.Bottom.From, Y: c.Low}), s.frame.Out(geometry.Point{X: c.Bottom.To, Y: c.Low}),
		s.frame.Out(geometry.Point{X: c.Top.To, Y: c.High}), s.frame.Out(geometry.Point{X: c.Top.From, Y: c.High})})
}

// bay fills what lies between two rows with blocks. Where a cell is too short
// for a beam, or runs out beside a part of a row without one, nothing bears
// blocks: it is made good on site.
func (s *sweep) bay(low, high float64, below, above *row) {
	const nothing, mm = 1e-6, 5
	if high-low < nothing {
		return
	}
	b := Bay{Low: low, High: high, Filler: high-low < s.gap()-mm}
	var blocks []geometry.Cell
	var extents []geometry.Interval
	for _, c := range s.shape.Cells(low, high) {
		short := math.Max(c.Bottom.Length(), c.Top.Length()) < s.rules.ShortestMM ||
			c.Top.Length() < s.rules.ShortestMM && above.isShort(c.Top) || c.Bottom.Length() < s.rules.ShortestMM && below.isShort(c.Bottom)
		if short {
			s.madeGood(c)
			continue
		}
		b.AreaMM2 += c.Area()
		blocks, extents = append(blocks, c), append(extents, c.Extent())
	}
	for _, part := range geometry.Union(extents) {
		n := int(math.Ceil(part.Length()/s.kit.BlockMM - 1e-9))
		full := 0
		if !b.Filler {
			full = int(math.Floor(inner(blocks, part, low, high)/s.kit.BlockMM + 1e-9))
		}
		b.Whole += min(full, n)
		b.Cut += n - min(full, n)
	}
	s.layout.Bays = append(s.layout.Bays, b)
}

// inner is the length of a part that lies inside at every level of a bay, for
// blocks that need no cutting.
func inner(blocks []geometry.Cell, part geometry.Interval, low, high float64) float64 {
	in := part
	level := low
	for _, c := range blocks {
		if e := c.Extent(); e.From >= part.To || e.To <= part.From {
			continue
		}
		if c.Low > level+1 {
			return 0 // the bay is not full there
		}
		level = math.Max(level, c.High)
		in.From = math.Max(in.From, math.Max(c.Bottom.From, c.Top.From))
		in.To = math.Min(in.To, math.Min(c.Bottom.To, c.Top.To))
	}
	if level < high-1 {
		return 0
	}
	return math.Max(0, in.Length())
}
