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
package arrange

import (
	"fmt"
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

// Rules are the yard's own.
type Rules struct {
	LengthStepMM, MaxLengthMM float64
	// ShortestMM is the clear span below which no beam is laid; the gap is
	// made good on site.
	ShortestMM float64
	// MostPerRow is the largest number of beams side by side.
	MostPerRow int
	// HeaderWidthMM and HeaderBearingMM of the member across an opening's edge
	// that cut beams bear on; HeaderMaxMM its longest length.
	HeaderWidthMM, HeaderBearingMM, HeaderMaxMM float64
	// LineLoadNPerMM is the load from which a partition along the beams gets a
	// row of its own under it.
	LineLoadNPerMM float64
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
	// Floors are point loads that stand for a stretch of floor of this area.
	Floors []AreaLoad
}

// Line is a permanent line load on a row.
type Line struct{ FromMM, ToMM, NPerMM float64 }

// AreaLoad is the reaction of a header: the load of so much floor at a point.
type AreaLoad struct{ AtMM, AreaMM2 float64 }

// Outcome of a strength check.
type Outcome struct {
	Passes    bool
	Fullness  float64
	Governing string
}

// Carry says whether a member carries its loads.
type Carry func(Member) Outcome

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

// Header is a member along an opening's edge across the beams.
type Header struct {
	From, To geometry.Point
	LengthMM float64
}

// Layout is a laid room.
type Layout struct {
	DirectionDegrees float64
	Kit              int
	Beams            []Beam
	Bays             []Bay
	Headers          []Header
	// FillMM2 is floor to be made good on site: gaps too short for a beam.
	FillMM2 float64
	// BeamMM2 is the area of the room that beams cover.
	BeamMM2 float64
	Cents   int64
}

// Refusal says why a room cannot be laid and what would make it possible.
type Refusal struct {
	Reason string
	// Help names what would make it possible.
	Help string
	code string
}

// Refuse returns a refusal.
func Refuse(code, reason, help string) *Refusal {
	return &Refusal{Reason: reason, Help: help, code: code}
}

func (r *Refusal) Error() string { return r.Reason + " " + r.Help }

// Code groups refusals: span, support, header, bearing.
func (r *Refusal) Code() string { return r.code }

// Search returns the cheapest layout over kits and directions that passes
// every check, or the refusal that came closest.
func Search(room Room, kits []Kit, rules Rules, carry Carry, obstacles []geometry.Quad) (Layout, error) {
	var best *Layout
	var refusal error
	obstacles = near(room, rules, obstacles)
	for _, degrees := range directions(room) {
		for k := range kits {
			l, err := lay(room, kits[k], k, rules, carry, degrees, obstacles)
			if err != nil {
				if refusal == nil || closer(err, refusal) {
					refusal = err
				}
				continue
			}
			if best == nil || l.Cents < best.Cents {
				best = &l
			}
		}
	}
	if best == nil {
		return Layout{}, refusal
	}
	return *best, nil
}

// closer prefers a refusal for strength of the shortest span: it can be helped
// most easily.
func closer(a, b error) bool {
	ra, oka := a.(*Refusal)
	rb, okb := b.(*Refusal)
	return oka && okb && ra.code == "span" && rb.code != "span"
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

// lay tries the offsets of the first row in turn until the beams pass by all
// obstacles.
func lay(room Room, kit Kit, index int, rules Rules, carry Carry, degrees float64, obstacles []geometry.Quad) (Layout, error) {
	var first error
	for _, share := range []float64{1, 0.5, 0.75, 0.25, 0.6, 0.4, 0.9, 0.1} {
		s := &sweep{room: room, kit: kit, rules: rules, carry: carry, frame: geometry.NewFrame(degrees)}
		s.layout = Layout{DirectionDegrees: degrees, Kit: index}
		if err := s.run(share); err != nil {
			if first == nil {
				first = err
			}
			if len(obstacles) == 0 {
				return Layout{}, first
			}
			continue
		}
		if len(s.layout.Beams) == 0 {
			return Layout{}, &Refusal{code: "narrow", Reason: fmt.Sprintf("No part of the room is wide enough for a beam of %.0f mm clear span.", rules.ShortestMM),
				Help: "Make it good on site, or leave it out if it is no room."}
		}
		if hit := collision(s.layout.Beams, obstacles); hit > overlapMM {
			if first == nil {
				first = &Refusal{code: "bearing", Reason: fmt.Sprintf("Beams would lie %.0f mm in beams of the neighbouring room.", hit),
					Help: "Make the wall between them thicker, or let the beams of one room run the other way."}
			}
			continue
		}
		s.price()
		return s.layout, nil
	}
	return Layout{}, first
}

// overlapMM is how deep two beams of different rooms may touch by rounding.
const overlapMM = 1

func collision(beams []Beam, obstacles []geometry.Quad) float64 {
	worst := 0.0
	for _, b := range beams {
		for _, o := range obstacles {
			if far(b.Quad, o) {
				continue
			}
			worst = math.Max(worst, geometry.Overlap(b.Quad, o))
		}
	}
	return worst
}

// far reports cheaply that two quads cannot touch.
func far(a, b geometry.Quad) bool {
	reach := func(q geometry.Quad) float64 { return math.Hypot(q[2].X-q[0].X, q[2].Y-q[0].Y) / 2 }
	ax, ay := (a[0].X+a[2].X)/2, (a[0].Y+a[2].Y)/2
	bx, by := (b[0].X+b[2].X)/2, (b[0].Y+b[2].Y)/2
	return math.Hypot(ax-bx, ay-by) > reach(a)+reach(b)
}

func (s *sweep) price() {
	for _, b := range s.layout.Beams {
		s.layout.Cents += int64(b.LengthMM * float64(s.kit.Patterns[b.Pattern].CentsPerM) / 1000)
	}
	for _, b := range s.layout.Bays {
		s.layout.Cents += int64(b.Whole+b.Cut) * s.kit.BlockCents
	}
}
