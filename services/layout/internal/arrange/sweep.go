package arrange

import (
	"fmt"
	"math"
	"slices"

	"spanyard.example/services/layout/internal/geometry"
)

// sweep lays one room in one direction, row after row from the first wall
// across, in the frame in which beams run along X.
type sweep struct {
	room    Room
	rules   Rules
	checks  Checks
	degrees float64
	frame   geometry.Frame
	// obstacles are the neighbours' beams, in the plan.
	obstacles []geometry.Quad
	// shape is the room in the frame: openings count as their rectangles.
	shape    geometry.Polygon
	openings []opening
	// spareMM2 is what the openings' rectangles take of the floor.
	spareMM2 float64
	low      float64
	high     float64

	// kit and trimmer that are tried.
	kit     Kit
	trimmer int
	// ends are what trimmers put on the rows that carry them.
	ends   map[trimmerEnd]Force
	rows   []row
	layout Layout
}

// row of beams between two levels.
type row struct {
	low, high float64
	perRow    int
	spans     []span
	// short are the parts too short for a beam.
	short []short
	// carries are the ends of trimmers that hang on the row, fixed says that
	// it may not move.
	carries []trimmerEnd
	fixed   bool
	// partition says that the row lies where it does for a partition alone.
	partition bool
}

// span is one connected part of a row.
type span struct {
	clear   geometry.Interval
	pattern int
	outcome Outcome
	member  *Member
	// left and right bearings; a trimmer gives less than a wall.
	left, right float64
	// leftOn and rightOn are the trimmers that the ends lie on.
	leftOn, rightOn *edge
	// start and length of the beams.
	start, length float64
}

// short is a part of a row in which no beam is laid.
type short struct {
	part            geometry.Interval
	leftOn, rightOn *edge
}

func newSweep(room Room, rules Rules, checks Checks, degrees float64, obstacles []geometry.Quad) *sweep {
	s := &sweep{room: room, rules: rules, checks: checks, degrees: degrees, frame: geometry.NewFrame(degrees), obstacles: obstacles}
	s.shape = s.frame.PolygonIn(geometry.Polygon{Outline: room.Shape.Outline})
	lo, hi := s.shape.Bounds()
	s.low, s.high = lo.Y, hi.Y
	s.frameOpenings()
	return s
}

// gap is the clear width of a whole bay between two rows.
func (s *sweep) gap() float64 { return s.kit.PitchMM - s.kit.WidthMM }

// edgeGap is the clear width of a whole bay beside a wall: a row's middle lies
// a pitch away from it.
func (s *sweep) edgeGap() float64 { return s.kit.PitchMM - s.kit.WidthMM/2 }

// sliverMM is the least width of a bay at a wall that closes a room, where it
// can be helped: a narrower filler is hard to make, and beams of a neighbour
// bear on the wall behind it.
const sliverMM = 150

// placeRows goes across the room: first the rows that have their place, then
// those that fill between them.
func (s *sweep) placeRows(firstShare float64) *Refusal {
	s.rows = nil
	fixed, refused := s.fixedRows()
	if refused != nil {
		return refused
	}
	edge := s.low
	for _, f := range fixed {
		if refused := s.fill(edge, f.low, firstShare); refused != nil {
			return refused
		}
		s.rows = append(s.rows, f)
		edge = f.high
	}
	return s.fill(edge, s.high, firstShare)
}

// fill places rows from one edge until the rest to the limit is no wider than
// a bay.
func (s *sweep) fill(edge, limit, firstShare float64) *Refusal {
	const eps, most = 1e-6, 100000
	gap, width := s.gap(), s.kit.WidthMM
	if edge == s.low {
		gap = s.edgeGap() * firstShare
	}
	for range most {
		rest := limit - edge
		lone := len(s.rows) == 0 && limit == s.high && rest > width
		widest := s.gap()
		if limit == s.high || edge == s.low {
			widest = s.edgeGap()
		}
		if rest <= widest+eps && !lone || rest <= width {
			return nil
		}
		low := math.Min(edge+gap, limit-width)
		if limit == s.high && limit-low-width < sliverMM {
			low = math.Min(low, edge+math.Floor((rest-width)/2))
		}
		r, refused := s.strongRow(func(width float64) float64 { return math.Min(low, limit-width) }, edge, row{})
		if refused != nil {
			return refused
		}
		s.rows = append(s.rows, r)
		edge, gap = r.high, s.gap()
	}
	return Refuse("outline", "The room needs more rows than can be planned.", "Check its size.")
}

// fixedRows are those that have to lie where they are: along openings and
// under partitions. They lie in order and clear of each other.
func (s *sweep) fixedRows() ([]row, *Refusal) {
	var out []row
	for _, f := range s.forced() {
		lowest := math.Inf(-1)
		if n := len(out); n > 0 {
			lowest = out[n-1].high
		}
		r, refused := s.strongRow(func(width float64) float64 {
			switch {
			case !f.row.partition && f.edge > 0:
				return f.at - width
			case !f.row.partition:
				return f.at
			}
			return math.Max(f.at-width/2, lowest)
		}, s.low-s.kit.WidthMM, f.row)
		if refused != nil {
			return nil, refused
		}
		n := len(out)
		switch {
		case n == 0 || r.low >= lowest-overlapMM:
		case r.partition:
			continue // a row lies there already, and carries its share
		case out[n-1].partition:
			out[n-1] = r
			if n > 1 && r.low < out[n-2].high-overlapMM {
				return nil, s.crowded(r)
			}
			continue
		default:
			return nil, s.crowded(r)
		}
		if r.partition && r.high > s.high {
			continue
		}
		out = append(out, r)
	}
	return out, nil
}

func (s *sweep) crowded(r row) *Refusal {
	return Refuse("opening", fmt.Sprintf("Two openings lie so near each other that the %d beams along one of them do not fit between them.", r.perRow),
		fmt.Sprintf("Move them %.0f mm apart, make one opening of them, or support an edge.", 2*r.high-2*r.low))
}

// perRow is the least and the greatest number of beams side by side.
func (s *sweep) perRow() (least, most int) {
	if s.room.PerRow > 0 {
		return s.room.PerRow, s.room.PerRow
	}
	return 1, s.rules.MostPerRow
}

// strongRow finds the least number of beams and the cheapest wire pattern with
// which every span of a row carries its loads. A row whose beams would lie in
// those of a neighbour is moved towards the edge, from which it is free.
func (s *sweep) strongRow(at func(width float64) float64, edge float64, like row) (row, *Refusal) {
	var weak *Refusal
	least, most := s.perRow()
	for perRow := least; perRow <= most; perRow++ {
		width := float64(perRow) * s.kit.WidthMM
		low := at(width)
		if low < edge-1e-6 && !like.fixed {
			if perRow > least {
				break // there is no room for so many
			}
			low = edge
		}
		r := like
		for {
			r.low, r.high, r.perRow, r.spans, r.short = low, low+width, perRow, nil, nil
			hit, refused := s.try(&r)
			if refused != nil {
				if refused.code == "support" || refused.code == "trimmer" {
					return r, refused
				}
				weak = refused
				break
			}
			if hit == nil {
				return r, nil
			}
			next := math.Min(low-stepMM, hit.low-width)
			if like.fixed || next < edge {
				return r, s.blocked(*hit)
			}
			low = next
		}
	}
	if weak == nil {
		weak = s.narrow()
	}
	return row{}, weak
}

// stepMM is the least by which a row is moved away from a neighbour's beam.
const stepMM = 10

// hit is a neighbour's beam in the way.
type hit struct {
	low  float64
	deep float64
}

func (s *sweep) blocked(h hit) *Refusal {
	return Refuse("bearing", fmt.Sprintf("Beams would lie %.0f mm in beams of the neighbouring room, wherever they are moved along the wall.", h.deep),
		fmt.Sprintf("Make the wall between them at least %.0f mm thick, or let the beams of one room run the other way.", 2*s.room.BearingMM+s.rules.LengthStepMM))
}

// try lays the spans of a row at its levels. It returns the neighbour's beam
// that is in the way, or the refusal of the weakest span.
func (s *sweep) try(r *row) (*hit, *Refusal) {
	var weak *Refusal
	for _, part := range s.parts(r.low, r.high) {
		sp, refused := s.strongSpan(r, part)
		if refused != nil {
			if refused.code != "span" && refused.code != "load" {
				return nil, refused
			}
			if weak == nil || refused.clearMM > weak.clearMM {
				weak = refused
			}
			continue
		}
		if sp.member == nil {
			r.short = append(r.short, short{part, sp.leftOn, sp.rightOn})
			continue
		}
		r.spans = append(r.spans, sp)
	}
	if weak != nil {
		return nil, weak
	}
	for i := range r.spans {
		if h := s.settle(r, &r.spans[i]); h != nil {
			return h, nil
		}
	}
	return nil, nil
}

// settle gives a span's beams their length: the clear span and both bearings,
// rounded up to the yard's step. What rounding adds goes to both ends alike,
// or to one end where a neighbour's beam or a trimmer is at the other.
func (s *sweep) settle(r *row, sp *span) *hit {
	exact := sp.clear.Length() + sp.left + sp.right
	sp.length = math.Ceil(exact/s.rules.LengthStepMM-1e-9) * s.rules.LengthStepMM
	extra := sp.length - exact
	choices := []float64{extra / 2, 0, extra}
	switch {
	case sp.leftOn != nil:
		choices = []float64{0}
	case sp.rightOn != nil:
		choices = []float64{extra}
	}
	var first *hit
	for _, shift := range choices {
		sp.start = sp.clear.From - sp.left - shift
		o, found := clash(s.quad(sp.start, r.low, sp.start+sp.length, r.high), s.obstacles)
		if !found {
			return nil
		}
		if first == nil {
			lo, _ := s.frame.PolygonIn(geometry.Polygon{Outline: o[:]}).Bounds()
			first = &hit{lo.Y - overlapMM, geometry.Overlap(o, s.quad(sp.start, r.low, sp.start+sp.length, r.high))}
		}
	}
	sp.start = sp.clear.From - sp.left - choices[0]
	return first
}

func (s *sweep) quad(left, low, right, high float64) geometry.Quad {
	return geometry.Quad{
		s.frame.Out(geometry.Point{X: left, Y: low}), s.frame.Out(geometry.Point{X: right, Y: low}),
		s.frame.Out(geometry.Point{X: right, Y: high}), s.frame.Out(geometry.Point{X: left, Y: high}),
	}
}

// endGapMM keeps the ends of two beams on one wall apart.
const endGapMM = 10

// parts are the connected parts of a row. Two parts that only a short stub of
// wall divides, too short for the ends of both beams, are bridged by one beam
// that is kept clear of the stub.
func (s *sweep) parts(low, high float64) []geometry.Interval {
	var out []geometry.Interval
	for _, part := range s.shape.Strip(low, high) {
		n := len(out)
		if n > 0 && part.From-out[n-1].To < s.bothEnds() && !s.holeBetween(low, high, out[n-1].To, part.From) {
			out[n-1].To = part.To
			continue
		}
		out = append(out, part)
	}
	return out
}

// bothEnds is the length of wall that the ends of two beams in one line need.
func (s *sweep) bothEnds() float64 { return 2*s.room.BearingMM + s.rules.LengthStepMM + endGapMM }

// holeBetween reports whether a hole lies in a row between two places.
func (s *sweep) holeBetween(low, high, from, to float64) bool {
	for _, h := range s.shape.Holes {
		lo, hi := geometry.Polygon{Outline: h}.Bounds()
		if lo.Y < high && hi.Y > low && lo.X < to+1 && hi.X > from-1 {
			return true
		}
	}
	return false
}

// strongSpan chooses the cheapest pattern that carries a span. A part too
// short for a beam comes back without a member.
func (s *sweep) strongSpan(r *row, part geometry.Interval) (span, *Refusal) {
	sp := span{clear: part, left: s.room.BearingMM, right: s.room.BearingMM}
	s.onTrimmers(r, &sp)
	if sp.clear.Length() < s.rules.ShortestMM {
		return sp, nil
	}
	if (sp.leftOn != nil || sp.rightOn != nil) && len(s.rules.Trimmers) == 0 {
		return sp, Refuse("trimmer", "The opening needs trimmers, and the catalogue has none.", "Give the catalogue a trimmer, or support the edges of the opening.")
	}
	if refused := s.supported(r, sp); refused != nil {
		return sp, refused
	}
	m := s.member(r, sp)
	loaded := len(m.Lines)+len(m.Points) > 0
	if whole := sp.clear.Length() + sp.left + sp.right; whole > s.rules.MaxLengthMM {
		return sp, s.tooWeak(*r, part, Outcome{Governing: "the longest beam of the bed"}, false)
	}
	for i := range s.kit.Patterns {
		m.Pattern = i
		sp.pattern, sp.outcome = i, s.checks.Carry(m)
		if sp.outcome.Passes {
			sp.member = &m
			return sp, nil
		}
	}
	return sp, s.tooWeak(*r, part, sp.outcome, loaded)
}

func (s *sweep) member(r *row, sp span) Member {
	// Half of the widest bays on both sides: the most that a row carries.
	tributary := s.kit.PitchMM + float64(r.perRow-1)*s.kit.WidthMM
	if beside := s.edgeGap() + 1; r.low-s.low <= beside || s.high-r.high <= beside {
		tributary += (s.edgeGap() - s.gap()) / 2
	}
	m := Member{Kit: s.layout.Kit, PerRow: r.perRow, ClearMM: sp.clear.Length(), BearingMM: math.Min(sp.left, sp.right),
		TributaryMM: tributary}
	for _, p := range s.room.Partitions {
		m.Lines = append(m.Lines, s.linesOn(p, *r, sp.clear)...)
	}
	for _, e := range r.carries {
		x := s.middleOf(e.edge)
		if f := s.ends[e]; f != (Force{}) && x > sp.clear.From && x < sp.clear.To {
			m.Points = append(m.Points, PointForce{x - sp.clear.From, f})
		}
	}
	return m
}

// supported refuses ends that lie on a side which carries no beams.
func (s *sweep) supported(r *row, sp span) *Refusal {
	if len(s.room.OpenSides) == 0 {
		return nil
	}
	ends := []float64{}
	if sp.leftOn == nil {
		ends = append(ends, sp.clear.From)
	}
	if sp.rightOn == nil {
		ends = append(ends, sp.clear.To)
	}
	const inset = 1
	for _, x := range ends {
		for _, y := range []float64{r.low + inset, (r.low + r.high) / 2, r.high - inset} {
			if p := s.frame.Out(geometry.Point{X: x, Y: y}); s.onOpenSide(p) {
				return Refuse("support", fmt.Sprintf("A beam would end at (%.0f, %.0f) mm on a side that carries nothing.", p.X, p.Y),
					"Support that side, or let the beams run the other way.")
			}
		}
	}
	return nil
}

// onOpenSide reports whether the side nearest to a point, of the outline or of
// a hole, is one that carries nothing.
func (s *sweep) onOpenSide(p geometry.Point) bool {
	open, distance := false, math.Inf(1)
	outline := s.room.Shape.Outline
	for i, a := range outline {
		if d := geometry.DistanceToSegment(a, outline[(i+1)%len(outline)], p); d < distance {
			open, distance = s.room.OpenSides[i], d
		}
	}
	for _, h := range s.room.Shape.Holes {
		if geometry.DistanceToRing(h, p) < distance {
			return false
		}
	}
	return open
}

// forcedRow has to lie at a fixed place: along an opening or under a
// partition.
type forcedRow struct {
	// at is the level of the row's upper edge (edge 1), lower edge (-1) or
	// centre (0).
	at   float64
	edge int
	row  row
}

// forced are the rows along openings and under heavy partitions, from below.
func (s *sweep) forced() []forcedRow {
	out := s.alongOpenings()
	half := s.kit.WidthMM / 2
	for _, p := range s.room.Partitions {
		if level, ok := s.along(p); ok && level > s.low && level < s.high {
			at := math.Max(s.low+half, math.Min(s.high-half, level))
			out = append(out, forcedRow{at: at, row: row{fixed: true, partition: true}})
		}
	}
	slices.SortStableFunc(out, func(a, b forcedRow) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		default:
			return b.edge - a.edge
		}
	})
	return out
}
