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
	room   Room
	kit    Kit
	rules  Rules
	carry  Carry
	frame  geometry.Frame
	layout Layout

	shape geometry.Polygon
	// openings are the holes that carry nothing, as rectangles of the frame.
	openings []rectangle
	forced   []forcedRow
	low      float64
	high     float64
	rows     []row
}

// rectangle in the frame.
type rectangle struct{ left, right, low, high float64 }

// row of beams between two levels.
type row struct {
	low, high float64
	perRow    int
	forced    bool
	spans     []span
}

// span is one connected part of a row.
type span struct {
	clear   geometry.Interval
	pattern int
	outcome Outcome
	member  *Member
	// left and right bearings; a header gives less than a wall.
	left, right float64
}

// forcedRow has to lie at a fixed place: along an opening or under a
// partition.
type forcedRow struct {
	// at is the level of the row's upper edge (edge 1), lower edge (-1) or
	// centre (0).
	at    float64
	edge  int
	areas []AreaLoad // X in the frame
}

func (f forcedRow) levels(width float64) (low, high float64) {
	switch f.edge {
	case 1:
		return f.at - width, f.at
	case -1:
		return f.at, f.at + width
	default:
		return f.at - width/2, f.at + width/2
	}
}

func (s *sweep) run(firstShare float64) error {
	s.prepare()
	if err := s.headers(); err != nil {
		return err
	}
	s.partitions()
	slices.SortFunc(s.forced, func(a, b forcedRow) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		default:
			return b.edge - a.edge
		}
	})
	if err := s.placeRows(firstShare); err != nil {
		return err
	}
	s.placeBeams()
	s.bays()
	return nil
}

// prepare turns the room and replaces openings by their rectangles.
func (s *sweep) prepare() {
	s.shape = s.frame.PolygonIn(geometry.Polygon{Outline: s.room.Shape.Outline})
	for i, h := range s.room.Shape.Holes {
		turned := s.frame.PolygonIn(geometry.Polygon{Outline: h})
		if i < len(s.room.HoleSupports) && s.room.HoleSupports[i] {
			s.shape.Holes = append(s.shape.Holes, turned.Outline)
			continue
		}
		lo, hi := turned.Bounds()
		s.openings = append(s.openings, rectangle{lo.X, hi.X, lo.Y, hi.Y})
		s.shape.Holes = append(s.shape.Holes, []geometry.Point{lo, {X: hi.X, Y: lo.Y}, hi, {X: lo.X, Y: hi.Y}})
	}
	lo, hi := s.shape.Bounds()
	s.low, s.high = lo.Y, hi.Y
}

// headers forces a row along each side of an opening and loads it with the
// reactions of the headers that carry the beams cut short.
func (s *sweep) headers() error {
	for _, o := range s.openings {
		width := o.high - o.low
		if width > s.rules.HeaderMaxMM {
			return &Refusal{code: "header", Reason: fmt.Sprintf("The opening is %.0f mm wide across the beams; the longest header is %.0f mm.", width, s.rules.HeaderMaxMM),
				Help: "Turn the beams, support an edge of the opening, or make it narrower."}
		}
		below := forcedRow{at: o.low, edge: 1}
		above := forcedRow{at: o.high, edge: -1}
		for _, side := range []float64{o.left, o.right} {
			reach := s.reach(o, side)
			if reach < s.rules.ShortestMM {
				continue
			}
			// Each header carries half of the cut floor, each row half of it.
			load := AreaLoad{AtMM: side, AreaMM2: reach / 2 * width / 2}
			below.areas = append(below.areas, load)
			above.areas = append(above.areas, load)
			s.layout.Headers = append(s.layout.Headers, Header{
				From: s.frame.Out(geometry.Point{X: side, Y: o.low}), To: s.frame.Out(geometry.Point{X: side, Y: o.high}), LengthMM: width})
		}
		if o.low-s.low > s.kit.WidthMM {
			s.forced = append(s.forced, below)
		}
		if s.high-o.high > s.kit.WidthMM {
			s.forced = append(s.forced, above)
		}
	}
	return nil
}

// reach is the greatest distance from an opening's side to the wall beside it.
func (s *sweep) reach(o rectangle, side float64) float64 {
	most := 0.0
	for _, part := range s.shape.Strip(o.low, o.high) {
		if math.Abs(part.To-side) < 1 && side == o.left || math.Abs(part.From-side) < 1 && side == o.right {
			most = math.Max(most, part.Length())
		}
	}
	return most
}

// partitions forces a row under each heavy one that runs along the beams.
func (s *sweep) partitions() {
	for _, p := range s.room.Partitions {
		a, b := s.frame.In(p.From), s.frame.In(p.To)
		along := math.Abs(b.Y-a.Y) <= 0.1*math.Abs(b.X-a.X)
		if along && p.NPerMM > s.rules.LineLoadNPerMM {
			at := (a.Y + b.Y) / 2
			at = math.Max(s.low+s.kit.WidthMM/2, math.Min(s.high-s.kit.WidthMM/2, at))
			s.forced = append(s.forced, forcedRow{at: at})
		}
	}
}

// gap is the clear width of a whole bay between two rows.
func (s *sweep) gap() float64 { return s.kit.PitchMM - s.kit.WidthMM }

// edgeGap is the clear width of a whole bay beside a wall.
func (s *sweep) edgeGap() float64 { return s.kit.PitchMM - s.kit.WidthMM/2 }

// placeRows goes across the room. A forced row comes where it has to; a row
// that would run into it is moved against it.
func (s *sweep) placeRows(firstShare float64) error {
	edge, gap := s.low, s.edgeGap()*firstShare
	next := 0
	const most = 100000
	for range most {
		far := s.high - edge
		if next < len(s.forced) {
			low, _ := s.forced[next].levels(s.kit.WidthMM)
			if low-edge <= gap {
				if err := s.placeForced(next, edge); err != nil {
					return err
				}
				next++
				edge, gap = s.rows[len(s.rows)-1].high, s.gap()
				continue
			}
		} else if far <= s.closing(edge) && len(s.rows) > 0 || far <= s.kit.WidthMM {
			return nil
		}
		low := edge + gap
		limit := s.high
		if next < len(s.forced) {
			limit, _ = s.forced[next].levels(s.kit.WidthMM)
		}
		r, err := s.strongRow(func(width float64) (float64, float64) {
			l := math.Min(low, limit-width)
			return math.Max(l, edge), math.Max(l, edge) + width
		}, nil)
		if err != nil {
			return err
		}
		s.rows = append(s.rows, r)
		edge, gap = r.high, s.gap()
	}
	return &Refusal{code: "span", Reason: "The room needs more rows than can be planned.", Help: "Check its size."}
}

// closing is the widest bay that may close the room after the last row.
func (s *sweep) closing(edge float64) float64 {
	if edge == s.low {
		return s.kit.WidthMM
	}
	return s.edgeGap()
}

func (s *sweep) placeForced(i int, edge float64) error {
	f := s.forced[i]
	r, err := s.strongRow(func(width float64) (float64, float64) {
		low, high := f.levels(width)
		if shift := edge - low; shift > 0 {
			low, high = low+shift, high+shift
		}
		return low, high
	}, f.areas)
	if err != nil {
		return err
	}
	r.forced = true
	s.rows = append(s.rows, r)
	return nil
}

// strongRow finds the cheapest number of beams and wire pattern with which
// every span of the row carries its loads.
func (s *sweep) strongRow(levels func(width float64) (low, high float64), areas []AreaLoad) (row, error) {
	var worst Outcome
	var longest float64
	least, most := s.perRow()
	for perRow := least; perRow <= most; perRow++ {
		low, high := levels(float64(perRow) * s.kit.WidthMM)
		r := row{low: low, high: high, perRow: perRow}
		passes := true
		for _, part := range s.parts(low, high) {
			sp, ok, err := s.strongSpan(r, part, areas)
			if err != nil {
				return row{}, err
			}
			if sp.clear.Length() < s.rules.ShortestMM {
				continue // made good on site
			}
			if !ok {
				passes = false
				if part.Length() >= longest {
					longest, worst = part.Length(), sp.outcome
				}
				continue
			}
			r.spans = append(r.spans, sp)
		}
		if passes {
			return r, nil
		}
	}
	return row{}, s.tooWeak(longest, worst)
}

// perRow is the least and the greatest number of beams side by side.
func (s *sweep) perRow() (least, most int) {
	if s.room.PerRow > 0 {
		return s.room.PerRow, s.room.PerRow
	}
	return 1, s.rules.MostPerRow
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
		if n > 0 && part.From-out[n-1].To < 2*s.room.BearingMM+s.rules.LengthStepMM+endGapMM && !s.openingAt(low, high, out[n-1].To, part.From) {
			out[n-1].To = part.To
			continue
		}
		out = append(out, part)
	}
	return out
}

// openingAt reports whether an opening lies in a row between two places.
func (s *sweep) openingAt(low, high, from, to float64) bool {
	for _, o := range s.openings {
		if o.low < high && o.high > low && o.left < to+1 && o.right > from-1 {
			return true
		}
	}
	return false
}

// strongSpan chooses the cheapest pattern that carries a span.
func (s *sweep) strongSpan(r row, part geometry.Interval, areas []AreaLoad) (span, bool, error) {
	sp := span{clear: part, left: s.room.BearingMM, right: s.room.BearingMM}
	for _, o := range s.openings {
		if r.high <= o.low || r.low >= o.high {
			continue
		}
		if math.Abs(part.To-o.left) < 1 {
			sp.clear.To, sp.right = o.left-s.rules.HeaderWidthMM, s.rules.HeaderBearingMM
		}
		if math.Abs(part.From-o.right) < 1 {
			sp.clear.From, sp.left = o.right+s.rules.HeaderWidthMM, s.rules.HeaderBearingMM
		}
	}
	if sp.clear.Length() < s.rules.ShortestMM {
		return sp, true, nil
	}
	if err := s.supported(r, sp); err != nil {
		return sp, false, err
	}
	if sp.clear.Length()+sp.left+sp.right > s.rules.MaxLengthMM {
		sp.outcome = Outcome{Governing: "the longest beam of the bed", Fullness: (sp.clear.Length() + sp.left + sp.right) / s.rules.MaxLengthMM}
		return sp, false, nil
	}
	m := s.member(r, sp, areas)
	for i := range s.kit.Patterns {
		m.Pattern = i
		sp.pattern, sp.outcome = i, s.carry(m)
		if sp.outcome.Passes {
			sp.member = &m
			return sp, true, nil
		}
	}
	return sp, false, nil
}

func (s *sweep) member(r row, sp span, areas []AreaLoad) Member {
	extra := float64(r.perRow-1) * s.kit.WidthMM
	m := Member{Kit: s.layout.Kit, PerRow: r.perRow, ClearMM: sp.clear.Length(), BearingMM: math.Min(sp.left, sp.right),
		TributaryMM: s.kit.PitchMM + extra}
	middle := (r.low + r.high) / 2
	for _, p := range s.room.Partitions {
		if l, ok := s.lineOn(p, middle-m.TributaryMM/2, middle+m.TributaryMM/2, sp.clear); ok {
			m.Lines = append(m.Lines, l)
		}
	}
	for _, a := range areas {
		if a.AtMM > sp.clear.From && a.AtMM < sp.clear.To {
			m.Floors = append(m.Floors, AreaLoad{AtMM: a.AtMM - sp.clear.From, AreaMM2: a.AreaMM2})
		}
	}
	return m
}

// lineOn is the part of a partition that a row carries, as a line load along
// it; a partition across the row becomes a short, heavy stretch.
func (s *sweep) lineOn(p Partition, low, high float64, clear geometry.Interval) (Line, bool) {
	a, b := s.frame.In(p.From), s.frame.In(p.To)
	if a.Y > b.Y {
		a, b = b, a
	}
	if b.Y < low || a.Y > high {
		return Line{}, false
	}
	at := func(y float64) float64 {
		if b.Y == a.Y {
			return 0
		}
		return math.Max(0, math.Min(1, (y-a.Y)/(b.Y-a.Y)))
	}
	t0, t1 := at(low), at(high)
	if b.Y == a.Y {
		t0, t1 = 0, 1
	}
	total := p.NPerMM * math.Hypot(b.X-a.X, b.Y-a.Y) * (t1 - t0)
	x0, x1 := a.X+t0*(b.X-a.X), a.X+t1*(b.X-a.X)
	if x0 > x1 {
		x0, x1 = x1, x0
	}
	const shortest = 50
	if x1-x0 < shortest {
		x0, x1 = (x0+x1-shortest)/2, (x0+x1+shortest)/2
	}
	from, to := math.Max(x0, clear.From), math.Min(x1, clear.To)
	if to <= from {
		return Line{}, false
	}
	return Line{from - clear.From, to - clear.From, total / (x1 - x0)}, true
}

// supported refuses ends that lie on a side which carries no beams.
func (s *sweep) supported(r row, sp span) error {
	if len(s.room.OpenSides) == 0 {
		return nil
	}
	middle := (r.low + r.high) / 2
	for _, x := range []float64{sp.clear.From, sp.clear.To} {
		end := geometry.Point{X: x, Y: middle}
		side, distance := -1, math.Inf(1)
		for i, a := range s.shape.Outline {
			d := geometry.DistanceToSegment(a, s.shape.Outline[(i+1)%len(s.shape.Outline)], end)
			if d < distance {
				side, distance = i, d
			}
		}
		if s.room.OpenSides[side] {
			p := s.frame.Out(end)
			return &Refusal{code: "support", Reason: fmt.Sprintf("A beam would end at (%.0f, %.0f) mm on a side that carries nothing.", p.X, p.Y),
				Help: "Support that side, or let the beams run the other way."}
		}
	}
	return nil
}

func beamsOf(perRow int, profile string) string {
	if perRow == 1 {
		return "single beams of profile " + profile
	}
	return fmt.Sprintf("%d beams of profile %s side by side", perRow, profile)
}

func (s *sweep) tooWeak(longest float64, worst Outcome) error {
	_, most := s.perRow()
	r := &Refusal{code: "span", Reason: fmt.Sprintf("A clear span of %.0f mm is too long for %s (%s, %.0f %% full).",
		longest, beamsOf(most, s.kit.Profile), worst.Governing, 100*worst.Fullness)}
	r.Help = s.help(longest)
	return r
}

// help finds the longest clear span that the kit carries.
func (s *sweep) help(longest float64) string {
	low, high := 0.0, longest
	_, most := s.perRow()
	for high-low > 10 {
		mid := (low + high) / 2
		m := Member{Kit: s.layout.Kit, Pattern: len(s.kit.Patterns) - 1, PerRow: most, ClearMM: mid, BearingMM: s.room.BearingMM,
			TributaryMM: s.kit.PitchMM + float64(most-1)*s.kit.WidthMM}
		if mid+2*s.room.BearingMM <= s.rules.MaxLengthMM && s.carry(m).Passes {
			low = mid
		} else {
			high = mid
		}
	}
	if low < s.rules.ShortestMM {
		return "Use a deeper profile or lighter loads."
	}
	return fmt.Sprintf("Use a deeper profile, or support the floor so that no clear span is longer than %.0f mm.", math.Floor(low/10)*10)
}
