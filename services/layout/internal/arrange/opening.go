package arrange

import (
	"fmt"
	"math"

	"spanyard.example/services/layout/internal/geometry"
)

// opening is a hole that carries nothing, as a rectangle of the frame.
type opening struct {
	left, right, low, high float64
	// holeMM2 is the area of the holes in it.
	holeMM2 float64
}

// edge is the left or right end of an opening, on which a trimmer lies.
type edge struct {
	opening int
	right   bool
}

// trimmerEnd is where a trimmer hangs: above or below its opening.
type trimmerEnd struct {
	edge
	above bool
}

func (s *sweep) trim() Trimmer {
	if s.trimmer < len(s.rules.Trimmers) {
		return s.rules.Trimmers[s.trimmer]
	}
	return Trimmer{}
}

// frameOpenings replaces openings by their rectangles. A shaft too narrow for
// the ends of beams from both sides carries none, whatever its walls.
func (s *sweep) frameOpenings() {
	for i, h := range s.room.Shape.Holes {
		turned := s.frame.PolygonIn(geometry.Polygon{Outline: h})
		lo, hi := turned.Bounds()
		if i < len(s.room.HoleSupports) && s.room.HoleSupports[i] && hi.X-lo.X >= s.bothEnds() {
			s.shape.Holes = append(s.shape.Holes, turned.Outline)
			continue
		}
		s.openings = append(s.openings, opening{left: lo.X, right: hi.X, low: lo.Y, high: hi.Y, holeMM2: math.Abs(geometry.SignedArea(h))})
	}
	s.mergeOpenings()
	floor := s.shape.AreaBetween(s.low, s.high)
	for _, o := range s.openings {
		s.shape.Holes = append(s.shape.Holes, []geometry.Point{{X: o.left, Y: o.low}, {X: o.right, Y: o.low}, {X: o.right, Y: o.high}, {X: o.left, Y: o.high}})
		floor -= o.holeMM2
	}
	if len(s.openings) > 0 {
		s.spareMM2 = math.Max(0, floor-s.shape.AreaBetween(s.low, s.high))
	}
}

// nearMM is the distance below which two openings are framed as one: no beams
// and trimmers fit between them.
const nearMM = 300

func (s *sweep) mergeOpenings() {
	for merged := true; merged; {
		merged = false
		for i := range s.openings {
			for j := len(s.openings) - 1; j > i; j-- {
				a, b := s.openings[i], s.openings[j]
				if math.Max(a.left, b.left)-math.Min(a.right, b.right) > nearMM || math.Max(a.low, b.low)-math.Min(a.high, b.high) > nearMM {
					continue
				}
				s.openings[i] = opening{math.Min(a.left, b.left), math.Max(a.right, b.right), math.Min(a.low, b.low), math.Max(a.high, b.high), a.holeMM2 + b.holeMM2}
				s.openings = append(s.openings[:j], s.openings[j+1:]...)
				merged = true
			}
		}
	}
}

// besideWall reports whether the wall below (or above) an opening is so near
// all along it that no row fits between them: trimmers then reach the wall.
func (s *sweep) besideWall(o opening, above bool) bool {
	for _, x := range []float64{o.left - 1, (o.left + o.right) / 2, o.right + 1} {
		if s.wallFrom(o, x, above) > s.kit.WidthMM {
			return false
		}
	}
	return true
}

// wallFrom is the distance from an opening's level to the wall; 0 where the
// place is outside the room.
func (s *sweep) wallFrom(o opening, x float64, above bool) float64 {
	outline := geometry.Polygon{Outline: s.shape.Outline}
	p, off := geometry.Point{X: x, Y: o.low}, -0.01
	if above {
		p.Y, off = o.high, 0.01
	}
	if !geometry.Inside(s.shape.Outline, geometry.Point{X: x, Y: p.Y + off}) {
		return 0
	}
	if above {
		return outline.Above(p)
	}
	return outline.Below(p)
}

// alongOpenings are the rows that frame openings, with the trimmers' ends that
// hang on them.
func (s *sweep) alongOpenings() []forcedRow {
	var out []forcedRow
	for i, o := range s.openings {
		for _, above := range []bool{false, true} {
			if s.besideWall(o, above) {
				continue
			}
			f := forcedRow{at: o.low, edge: 1, row: row{fixed: true}}
			if above {
				f.at, f.edge = o.high, -1
			}
			for _, right := range []bool{false, true} {
				f.row.carries = append(f.row.carries, trimmerEnd{edge{i, right}, above})
			}
			out = append(out, f)
		}
	}
	return out
}

func (s *sweep) edgeX(e edge) float64 {
	if e.right {
		return s.openings[e.opening].right
	}
	return s.openings[e.opening].left
}

// middleOf is where along the beams the trimmer beside an edge lies.
func (s *sweep) middleOf(e edge) float64 {
	if e.right {
		return s.edgeX(e) + s.trim().WidthMM/2
	}
	return s.edgeX(e) - s.trim().WidthMM/2
}

// onTrimmers shortens a span that an opening cuts: it ends on the trimmer.
func (s *sweep) onTrimmers(r *row, sp *span) {
	t := s.trim()
	for i, o := range s.openings {
		if r.high <= o.low+overlapMM || r.low >= o.high-overlapMM {
			continue
		}
		if math.Abs(sp.clear.To-o.left) < 1 {
			sp.clear.To, sp.right, sp.rightOn = o.left-t.WidthMM, t.SeatMM, &edge{i, false}
		}
		if math.Abs(sp.clear.From-o.right) < 1 {
			sp.clear.From, sp.left, sp.leftOn = o.right+t.WidthMM, t.SeatMM, &edge{i, true}
		}
	}
}

// hang puts the beams cut short on trimmers and the trimmers on rows and
// walls. It reports whether a row has to carry more than it was checked for.
func (s *sweep) hang() (grew bool, refused *Refusal) {
	for i := range s.openings {
		for _, right := range []bool{false, true} {
			e := edge{i, right}
			forces := s.onEdge(e)
			if len(forces) == 0 {
				continue
			}
			h, refused := s.header(e, forces)
			if refused != nil {
				return false, refused
			}
			low, high := h.reactions()
			for above, f := range map[bool]Force{false: low, true: high} {
				end := trimmerEnd{e, above}
				had := s.ends[end]
				if f.PermanentN > had.PermanentN+1 || f.VariableN > had.VariableN+1 {
					s.ends[end] = Force{math.Max(f.PermanentN, had.PermanentN), math.Max(f.VariableN, had.VariableN)}
					grew = true
				}
			}
			s.layout.Headers = append(s.layout.Headers, h)
		}
	}
	return grew, nil
}

// onEdge are the forces on the trimmer beside an edge, by their level.
func (s *sweep) onEdge(e edge) []PointForce {
	var out []PointForce
	for _, r := range s.rows {
		middle := (r.low + r.high) / 2
		for _, sp := range r.spans {
			left, right := Force{}, Force{}
			if sp.leftOn != nil && *sp.leftOn == e || sp.rightOn != nil && *sp.rightOn == e {
				left, right = s.checks.React(*sp.member)
			}
			if sp.leftOn != nil && *sp.leftOn == e {
				out = append(out, PointForce{middle, left})
			}
			if sp.rightOn != nil && *sp.rightOn == e {
				out = append(out, PointForce{middle, right})
			}
		}
		for _, sh := range r.short {
			wide := sh.part.Length() >= s.trim().WidthMM
			if wide && (sh.leftOn != nil && *sh.leftOn == e || sh.rightOn != nil && *sh.rightOn == e) {
				area := sh.part.Length() * s.kit.PitchMM // all of it: what is made good may bear on nothing else
				out = append(out, PointForce{middle, Force{}.plus(s.checks.FillN, area)})
			}
		}
	}
	return out
}

// header is the trimmer beside an edge, between the rows or walls that carry
// it. Forces are counted from its lower end on.
func (s *sweep) header(e edge, forces []PointForce) (Header, *Refusal) {
	t, o := s.trim(), s.openings[e.opening]
	x := s.edgeX(e)
	low, refused := s.carrier(e, false)
	if refused != nil {
		return Header{}, refused
	}
	high, refused := s.carrier(e, true)
	if refused != nil {
		return Header{}, refused
	}
	h := Header{Trimmer: s.trimmer, ClearMM: high - low, LengthMM: math.Ceil(high - low + 2*t.HangMM),
		From: s.frame.Out(geometry.Point{X: x, Y: o.low}), To: s.frame.Out(geometry.Point{X: x, Y: o.high})}
	middle := s.middleOf(e)
	h.Quad = s.quad(middle-t.WidthMM/2, low, middle+t.WidthMM/2, high)
	for _, f := range forces {
		f.AtMM = math.Max(0, math.Min(h.ClearMM, f.AtMM-low))
		h.Forces = append(h.Forces, f)
	}
	if h.ClearMM > t.LongestMM {
		return h, Refuse("trimmer", fmt.Sprintf("The opening is %.0f mm wide across the beams; the longest trimmer, %s, reaches over %.0f mm.", h.ClearMM, t.Name, t.LongestMM),
			fmt.Sprintf("Turn the beams, support an edge of the opening, or make it no wider than %.0f mm.", t.LongestMM))
	}
	if h.Outcome = s.checks.Trim(s.trimmer, h.ClearMM, h.Forces); !h.Outcome.Passes {
		return h, Refuse("trimmer", fmt.Sprintf("Trimmer %s beside the opening is %.0f %% full (%s) over %.0f mm.", t.Name, 100*h.Outcome.Fullness, h.Outcome.Governing, h.ClearMM),
			"Support an edge of the opening, make it narrower, or give the catalogue a stronger trimmer.")
	}
	return h, nil
}

// reactions are the forces at a header's two ends.
func (h Header) reactions() (low, high Force) {
	for _, f := range h.Forces {
		low = low.plus(f.Force, 1-f.AtMM/h.ClearMM)
		high = high.plus(f.Force, f.AtMM/h.ClearMM)
	}
	return low, high
}

// carrier is the level at which the row or wall begins that carries an end of
// a trimmer.
func (s *sweep) carrier(e edge, above bool) (float64, *Refusal) {
	x, o := s.middleOf(e), s.openings[e.opening]
	for _, r := range s.rows {
		for _, c := range r.carries {
			if c != (trimmerEnd{e, above}) {
				continue
			}
			for _, sp := range r.spans {
				if x > sp.clear.From && x < sp.clear.To {
					if above {
						return r.low, nil
					}
					return r.high, nil
				}
			}
		}
	}
	if wall := s.wallFrom(o, x, above); wall <= s.kit.WidthMM {
		if above {
			return o.high + wall, nil
		}
		return o.low - wall, nil
	}
	p := s.frame.Out(geometry.Point{X: x, Y: o.low})
	return 0, Refuse("trimmer", fmt.Sprintf("At (%.0f, %.0f) mm neither a beam nor a wall carries the end of a trimmer.", p.X, p.Y),
		"Support the edge of the opening there, or turn the beams.")
}
