// Package arrange lays beams and blocks over one room: any simple polygon with
// holes. Beams lie in rows across the room, from one wall to the other, with
// blocks in the bays between them:
//
//	wall |  bay  | row |  bay  | row |  bay  | wall
//	     |       |beam |       |beam |       |
//
// A row is one, two or three beams side by side. Every connected part of the
// room that a row crosses gets beams of its own clear span, so an L-shape or a
// slanted wall gives beams of different lengths.
//
// An opening is framed by a row along each of its sides and by a trimmer on
// each of its ends, which carries the beams cut short and hangs on the rows.
package arrange

import (
	"math"

	"spanyard.example/services/layout/internal/geometry"
)

// Room is what is to be covered.
type Room struct {
	Name  string
	Shape geometry.Polygon
	// HoleSupports says of each hole of the shape whether beams may bear on
	// its edge (a shaft with walls) or not (an opening).
	HoleSupports []bool
	// OpenSides are sides of the outline, by the index of their first corner,
	// that carry no beams.
	OpenSides map[int]bool
	// Partitions stand on the floor.
	Partitions []Partition
	// BearingMM of every beam at both ends, at least.
	BearingMM float64
	// PerRow beams side by side in every row; 0 chooses for each row.
	PerRow int
	// DirectionDegrees of the beams; nil chooses.
	DirectionDegrees *float64
}

// Partition is a wall that stands on the floor, as a line with its load.
type Partition struct {
	From, To geometry.Point
	NPerMM   float64
}

// Kit is one family of beams and the block that goes with it.
type Kit struct {
	Profile  string
	Block    string
	WidthMM  float64
	PitchMM  float64
	BlockMM  float64
	Patterns []Pattern
	// BlockCents is the price of a block.
	BlockCents int64
}

// Pattern of wires and what a metre of beam with it costs.
type Pattern struct {
	Name      string
	CentsPerM int64
}

// Trimmer is a product that carries the beams cut short by an opening.
type Trimmer struct {
	Name string
	// WidthMM of floor that it takes beside the opening; SeatMM of it bear the
	// end of a beam. It reaches HangMM over each row or wall that it hangs on.
	WidthMM, SeatMM, HangMM float64
	// LongestMM is the greatest clear length.
	LongestMM float64
	CentsPerM int64
}

// Rules are the yard's own.
type Rules struct {
	LengthStepMM, MaxLengthMM float64
	// ShortestMM is the clear span below which no beam is laid; the gap is
	// made good on site.
	ShortestMM float64
	// MostPerRow is the largest number of beams side by side.
	MostPerRow int
	// LineLoadNPerMM is the load from which a partition along the beams gets a
	// row of its own under it.
	LineLoadNPerMM float64
	// Trimmers, the cheapest first.
	Trimmers []Trimmer
	// FillCentsPerM2 is the price of a square metre made good on site.
	FillCentsPerM2 int64
}

// Force is what one thing puts on another, in characteristic values.
type Force struct{ PermanentN, VariableN float64 }

func (f Force) plus(o Force, factor float64) Force {
	return Force{f.PermanentN + factor*o.PermanentN, f.VariableN + factor*o.VariableN}
}

// PointForce is a force at a distance from the left end of a clear span.
type PointForce struct {
	AtMM float64
	Force
}

// Member is a row's beams over one clear span, for the strength check.
type Member struct {
	Kit, Pattern int
	PerRow       int
	ClearMM      float64
	BearingMM    float64
	// TributaryMM is the width of floor that the row carries.
	TributaryMM float64
	Lines       []Line
	// Points are the ends of trimmers that hang on the row.
	Points []PointForce
	// Floors are such ends in plans from before trimmers were checked; laying
	// makes none.
	Floors []AreaLoad
}

// AreaLoad is a point load that stands for a stretch of floor.
type AreaLoad struct{ AtMM, AreaMM2 float64 }

// Line is a permanent line load on a row.
type Line struct{ FromMM, ToMM, NPerMM float64 }

// Outcome of a strength check.
type Outcome struct {
	Passes    bool
	Fullness  float64
	Governing string
}

// Reach is the longest clear span of a kit's beams under a room's loads.
type Reach struct {
	ClearMM   float64
	Pattern   string
	Governing string
}

// Checks are the questions about strength that laying asks.
type Checks struct {
	// Carry says whether a member carries its loads.
	Carry func(Member) Outcome
	// React is what the whole row puts on its two supports.
	React func(Member) (left, right Force)
	// Longest is the longest clear span with so many beams side by side.
	Longest func(kit, perRow int, bearingMM float64) Reach
	// Trim says whether a trimmer, by its place in the rules, carries forces
	// over a clear length.
	Trim func(trimmer int, clearMM float64, forces []PointForce) Outcome
	// FillN is what a square millimetre of floor made good on site weighs and
	// carries.
	FillN Force
}

// Beam is one beam in its place, in the room's own coordinates.
type Beam struct {
	Row, Place int
	Pattern    int
	PerRow     int
	ClearMM    float64
	LengthMM   float64
	// Quad is the beam's outline in plan; its first side is the beam's left
	// side along its length.
	Quad    geometry.Quad
	Outcome Outcome
	// Member is what was checked for it.
	Member *Member
}

// Bay is the stretch of blocks between two rows.
type Bay struct {
	Low, High float64
	AreaMM2   float64
	// Whole and Cut blocks.
	Whole, Cut int
	Filler     bool
}

// Header is a trimmer in its place at an opening's end.
type Header struct {
	// From and To are the ends of the opening's edge.
	From, To geometry.Point
	// Trimmer is its place in the rules.
	Trimmer  int
	ClearMM  float64
	LengthMM float64
	Quad     geometry.Quad
	Forces   []PointForce
	Outcome  Outcome
}

// Layout is a laid room.
type Layout struct {
	DirectionDegrees float64
	Kit              int
	Beams            []Beam
	Bays             []Bay
	Headers          []Header
	// Fills are the parts of the floor to be made good on site, FillMM2 their
	// area: gaps too short for a beam, and what an opening leaves of its frame.
	Fills   []geometry.Quad
	FillMM2 float64
	// BeamMM2 is the area of the room that beams cover.
	BeamMM2 float64
	Cents   int64
}

// Search returns the cheapest layout over kits and directions that passes
// every check, or the refusal that came closest.
func Search(room Room, kits []Kit, rules Rules, checks Checks, obstacles []geometry.Quad) (Layout, error) {
	var best *Layout
	var refusal *Refusal
	obstacles = near(room, rules, obstacles)
	for _, degrees := range directions(room) {
		base := newSweep(room, rules, checks, degrees, obstacles)
		for k := range kits {
			l, refused := base.lay(kits[k], k)
			if refused != nil {
				if refusal == nil || refused.closer(refusal) {
					refusal = refused
				}
				continue
			}
			if best == nil || l.Cents < best.Cents {
				best = &l
			}
		}
	}
	if best == nil {
		if refusal == nil {
			refusal = Refuse("kit", "There are no beams to lay the room with.", "Give the catalogue a profile with a block.")
		}
		if refusal.help != nil {
			refusal.Help = refusal.help()
		}
		return Layout{}, Refuse(refusal.code, refusal.Reason, refusal.Help)
	}
	return *best, nil
}

// near keeps the obstacles that a beam of the room could reach.
func near(room Room, rules Rules, obstacles []geometry.Quad) []geometry.Quad {
	low, high := room.Shape.Bounds()
	reach := 2*room.BearingMM + rules.LengthStepMM
	var kept []geometry.Quad
	for _, o := range obstacles {
		l, h := geometry.Polygon{Outline: o[:]}.Bounds()
		if l.X <= high.X+reach && h.X >= low.X-reach && l.Y <= high.Y+reach && h.Y >= low.Y-reach {
			kept = append(kept, o)
		}
	}
	return kept
}

func directions(room Room) []float64 {
	if room.DirectionDegrees != nil {
		return []float64{*room.DirectionDegrees}
	}
	main := room.Shape.MainDirection()
	return []float64{main, main + 90}
}

// lay lays the room with one kit, with the first trimmer that carries what is
// cut short, and with the first bay as wide as it can be, or narrower where the
// beams of a neighbour are in the way.
func (s *sweep) lay(kit Kit, index int) (Layout, *Refusal) {
	var first *Refusal
	for trimmer := range max(len(s.rules.Trimmers), 1) {
		for _, share := range []float64{1, 0.5, 0.75, 0.25} {
			l, refused := s.with(kit, index, trimmer, share)
			if refused == nil {
				return l, nil
			}
			if first == nil || refused.closer(first) {
				first = refused
			}
			if refused.code != "bearing" {
				break
			}
		}
		if len(s.openings) == 0 || first.code == "span" {
			break
		}
	}
	return Layout{}, first
}

// mostRounds of loading trimmers' forces on the rows that carry them.
const mostRounds = 8

// with lays the room. What hangs on a row is known only when all rows lie, so
// rows are placed again under what was found until nothing grows.
func (s *sweep) with(kit Kit, index, trimmer int, share float64) (Layout, *Refusal) {
	s.kit, s.trimmer = kit, trimmer
	s.ends = map[trimmerEnd]Force{}
	for range mostRounds {
		s.layout = Layout{DirectionDegrees: s.degrees, Kit: index}
		if refused := s.placeRows(share); refused != nil {
			return Layout{}, refused
		}
		grew, refused := s.hang()
		if refused != nil {
			return Layout{}, refused
		}
		if grew {
			continue
		}
		s.placeBeams()
		if len(s.layout.Beams) == 0 {
			return Layout{}, s.narrow()
		}
		s.cover()
		s.price()
		return s.layout, nil
	}
	return Layout{}, Refuse("opening", "The beams round the openings lie on each other in a ring, so that none carries the rest.",
		"Support an edge of one opening.")
}

func (s *sweep) price() {
	cents := 0.0
	for _, b := range s.layout.Beams {
		cents += b.LengthMM * float64(s.kit.Patterns[b.Pattern].CentsPerM) / 1000
	}
	for _, h := range s.layout.Headers {
		cents += h.LengthMM * float64(s.rules.Trimmers[h.Trimmer].CentsPerM) / 1000
	}
	for _, b := range s.layout.Bays {
		cents += float64(int64(b.Whole+b.Cut) * s.kit.BlockCents)
	}
	s.layout.Cents = int64(math.Round(cents + s.layout.FillMM2*1e-6*float64(s.rules.FillCentsPerM2)))
}

// clash is the obstacle that a quad lies in.
func clash(q geometry.Quad, obstacles []geometry.Quad) (geometry.Quad, bool) {
	for _, o := range obstacles {
		if !far(q, o) && geometry.Overlap(q, o) > overlapMM {
			return o, true
		}
	}
	return geometry.Quad{}, false
}

// overlapMM is how deep two beams of different rooms may touch by rounding.
const overlapMM = 1

// far reports cheaply that two quads cannot touch.
func far(a, b geometry.Quad) bool {
	reach := func(q geometry.Quad) float64 { return math.Hypot(q[2].X-q[0].X, q[2].Y-q[0].Y) / 2 }
	ax, ay := (a[0].X+a[2].X)/2, (a[0].Y+a[2].Y)/2
	bx, by := (b[0].X+b[2].X)/2, (b[0].Y+b[2].Y)/2
	return math.Hypot(ax-bx, ay-by) > reach(a)+reach(b)
}
