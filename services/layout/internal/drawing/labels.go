package drawing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

// startsAt draws the room's number in the laying at the wall where it begins, and
// an arrow from there across the beams.
func (s *site) startsAt() {
	value := fmt.Sprint(s.number)
	low, high := s.flat.Bounds()
	radius := 3.0
	if math.Min(high.X-low.X, high.Y-low.Y) < 16 {
		radius = 2.1
	}
	height := math.Max(radius, labelMM)
	radius = math.Max(radius, textWidth(value, height, true)/2+0.7)
	x, y := s.chord(radius+1.2, true, true)
	centre := s.frame.Out(Point{X: x, Y: y.From + radius + 0.6})
	if y.Length() < 2*radius+1 {
		centre = heart(s.shape)
	} else if from, to := y.From+2*radius+0.6, y.To-0.8; to-from > 2.5 {
		s.arrow(s.frame.Out(Point{X: x, Y: from}), s.frame.Out(Point{X: x, Y: to}), layerOrder)
		at := s.frame.Out(Point{X: x, Y: (from + to) / 2})
		s.taken = append(s.taken, box(at, 2, to-from, s.r.Layout.DirectionDegrees))
	}
	s.round(Round{Centre: centre, Radius: radius, Weight: Broad, Fill: Paper, Layer: layerOrder})
	s.text(Text{Value: value, At: Point{X: centre.X, Y: centre.Y - height/2}, HeightMM: height, Centred: true, Bold: true, Layer: layerOrder})
	s.take(box(centre, 2*radius, 2*radius, 0))
}

// arrow with a full head.
func (d *draughtsman) arrow(from, to Point, layer string) {
	f := geometry.NewFrame(math.Atan2(to.Y-from.Y, to.X-from.X) * 180 / math.Pi)
	tip := f.In(to)
	back := Point{X: tip.X - 2.6, Y: tip.Y}
	d.line(from, f.Out(back), Bold, Solid, layer)
	d.add(Line{Points: []Point{to, f.Out(Point{X: back.X, Y: tip.Y + 0.9}), f.Out(Point{X: back.X, Y: tip.Y - 0.9})}, Closed: true, Fill: Ink, Layer: layer})
}

// span writes the longest clear length along the beams, in the first bay that
// has room for it.
func (s *site) span() {
	type place struct {
		y  float64
		at geometry.Interval
	}
	var places []place
	most := 0.0
	for _, bay := range s.r.Layout.Bays {
		y := s.level((bay.Low + bay.High) / 2)
		i := longest(s.flat, y)
		most = math.Max(most, i.Length())
		places = append(places, place{y, i})
	}
	const little = 0.2
	for _, p := range places {
		if p.at.Length() < most-little {
			continue
		}
		along := func(t float64) Point { return s.frame.Out(Point{X: p.at.From + p.at.Length()*t, Y: p.y}) }
		if s.dimension(along, p.at.Length(), s.r.Layout.DirectionDegrees) {
			// No number of blocks may stand on the line beside the figure.
			s.taken = append(s.taken, box(along(0.5), p.at.Length(), 0.6, s.r.Layout.DirectionDegrees))
			return
		}
	}
}

// width writes the room's clear size across the beams, near the far end.
func (s *site) width() {
	for _, inset := range []float64{2.4, 5, 8, 12} {
		x, y := s.chord(inset, false, false)
		along := func(t float64) Point { return s.frame.Out(Point{X: x, Y: y.From + y.Length()*t}) }
		if s.dimension(along, y.Length(), s.r.Layout.DirectionDegrees+90) {
			return
		}
	}
}

// dimension draws a clear length with its figure (ISO 129: oblique strokes at
// the ends), if it crosses no label and the figure finds a place on it.
func (s *site) dimension(along func(t float64) Point, length, degrees float64) bool {
	if length < 5 || overlapsAny(box(along(0.5), length-0.1, 0.4, degrees), s.solid) {
		return false
	}
	figure := Text{Value: fmt.Sprintf("%.0f", length*float64(s.page.Scale)), HeightMM: labelMM, Degrees: degrees, Layer: layerSizes}
	for _, t := range shares {
		q := plateBox(figure, along(t))
		if !s.free(q) {
			continue
		}
		s.line(along(0), along(1), Thin, Solid, layerSizes)
		s.stroke(along(0), degrees)
		s.stroke(along(1), degrees)
		s.take(q)
		s.plate(figure, along(t))
		return true
	}
	return false
}

// tag names the room: in a bay where its letters fit, else across beams that
// run up the sheet, else only its number; the table of rooms has it anyway.
func (s *site) tag() {
	long, short := title(s.r), prefix(s.r)
	var bays []Point
	for _, bay := range s.r.Layout.Bays {
		y := s.level((bay.Low + bay.High) / 2)
		i := longest(s.flat, y)
		for _, t := range shares {
			bays = append(bays, s.frame.Out(Point{X: i.From + i.Length()*t, Y: y}))
		}
	}
	centre := heart(s.shape)
	slices.SortStableFunc(bays, func(a, b Point) int {
		return int(10 * (math.Hypot(a.X-centre.X, a.Y-centre.Y) - math.Hypot(b.X-centre.X, b.Y-centre.Y)))
	})
	between := func(q geometry.Quad) bool { return s.clearOfBeams(q, 0, -1) }
	along := s.r.Layout.DirectionDegrees
	crossing := math.Abs(upright(along)) > 30
	for _, try := range []struct {
		value   string
		height  float64
		degrees float64
		places  []Point
		allowed func(geometry.Quad) bool
	}{
		{long, tagMM, along, bays, between}, {long, labelMM, along, bays, between},
		{long, tagMM, 0, bays, func(geometry.Quad) bool { return crossing }},
		{short, labelMM, along, bays, between}, {short, labelMM, 0, bays, func(geometry.Quad) bool { return crossing }},
	} {
		if s.put(Text{Value: try.value, HeightMM: try.height, Degrees: try.degrees, Bold: true, Layer: layerNames}, try.places, try.allowed) {
			return
		}
	}
}

// marks labels every set of beams, on the beam itself: all of the room with
// whole marks, or all with short ones, or groups of equal beams, or what can
// be.
func (s *site) marks() {
	full := func(b set) []string { return []string{s.label(b, true)} }
	short := func(b set) []string { return []string{s.label(b, false)} }
	for _, try := range []struct {
		words  func(set) []string
		height float64
	}{{full, labelMM}, {short, labelMM}, {short, smallMM}} {
		if labels, ok := s.each(try.words, try.height); ok {
			s.write(labels)
			return
		}
	}
	for _, height := range []float64{labelMM, smallMM} {
		if groups, ok := s.groups(height); ok {
			s.write(groups)
			s.fallback = grouped
			return
		}
	}
	labels, ok := s.each(func(b set) []string { return []string{s.label(b, false), s.numbers(b)} }, smallMM)
	if !ok {
		s.fallback = incomplete
	}
	s.write(labels)
}

// placed is a label that has found its place; a group's has a bar across the
// beams that it speaks for.
type placed struct {
	text Text
	at   Point
	bar  []Point
}

func (s *site) write(labels []placed) {
	for _, l := range labels {
		if len(l.bar) == 2 {
			s.line(l.bar[0], l.bar[1], Broad, Solid, layerMarks)
			s.take(barBox(l.bar))
			for _, end := range l.bar {
				s.round(Round{Centre: end, Radius: 0.6, Fill: Ink, Layer: layerMarks})
			}
		}
		s.take(plateBox(l.text, l.at))
		s.plate(l.text, l.at)
	}
}

// each finds a place for one of the wordings of every set; false when any of
// them has none.
func (s *site) each(words func(set) []string, height float64) ([]placed, bool) {
	before := s.taken
	defer func() { s.taken = before }()
	s.taken = slices.Clone(before)
	var labels []placed
	all := true
	for i, b := range s.sets {
		l, ok := s.onBeam(words(b), height, i, i, b, nil)
		if !ok {
			all = false
			continue
		}
		labels = append(labels, l)
		s.taken = append(s.taken, plateBox(l.text, l.at))
	}
	return labels, all
}

// onBeam looks for a place on a beam; where a wall is near, the label moves
// inwards as far as it still lies on its beam.
func (s *site) onBeam(words []string, height float64, first, last int, b set, bar func(Text, Point) []Point) (placed, bool) {
	aside := math.Max(0, (height+0.5)/2-(b.high.Y-b.low.Y)/2+0.1)
	for _, w := range words {
		t := Text{Value: w, HeightMM: height, Degrees: s.r.Layout.DirectionDegrees, Layer: layerMarks}
		for _, shift := range []float64{0, aside, -aside} {
			for _, part := range shares {
				at := s.frame.Out(Point{X: b.low.X + (b.high.X-b.low.X)*part, Y: (b.low.Y+b.high.Y)/2 + shift})
				q := plateBox(t, at)
				if !s.free(q) || !s.clearOfBeams(q, first, last) {
					continue
				}
				l := placed{text: t, at: at}
				if bar != nil {
					if l.bar = bar(t, at); overlapsAny(barBox(l.bar), s.taken) {
						continue
					}
				}
				return l, true
			}
		}
	}
	return placed{}, false
}

// barBox is what a group's bar covers.
func barBox(bar []Point) geometry.Quad {
	a, b := bar[0], bar[1]
	const dots = 1.2
	return box(middle(a, b), math.Hypot(b.X-a.X, b.Y-a.Y)+dots, dots, math.Atan2(b.Y-a.Y, b.X-a.X)*180/math.Pi)
}

// label of a set: how many lie side by side, their marks, and the length of
// each.
func (s *site) label(b set, whole bool) string {
	text := s.numbers(b)
	if whole {
		text = prefix(s.r) + "-" + text
	}
	if n := b.last - b.first + 1; n > 1 {
		text = fmt.Sprintf("%dx ", n) + text
	}
	return text + "  " + metres(s.r.Beams[b.first].LengthMM)
}

// numbers of a set: "07", "07+08" or "07+08+09".
func (s *site) numbers(b set) string {
	var n []string
	for _, beam := range s.r.Beams[b.first : b.last+1] {
		n = append(n, number(beam.Mark))
	}
	return strings.Join(n, "+")
}

// groups labels runs of equal beams.
func (s *site) groups(height float64) ([]placed, bool) {
	before := s.taken
	defer func() { s.taken = before }()
	s.taken = slices.Clone(before)
	var labels []placed
	for _, run := range alike(s.r.Beams) {
		first, last := s.setOf(run[0]), s.setOf(run[1])
		value := fmt.Sprintf("%s to %s  %s", number(s.r.Beams[run[0]].Mark), number(s.r.Beams[run[1]].Mark), metres(s.r.Beams[run[0]].LengthMM))
		if run[0] == run[1] {
			value = fmt.Sprintf("%s  %s", number(s.r.Beams[run[0]].Mark), metres(s.r.Beams[run[0]].LengthMM))
		}
		var bar func(Text, Point) []Point
		if first != last {
			bar = func(t Text, at Point) []Point {
				x := s.frame.In(at).X - textWidth(t.Value, height, false)/2 - 1.5
				y := func(b set) float64 { return (b.low.Y + b.high.Y) / 2 }
				return []Point{s.frame.Out(Point{X: x, Y: y(s.sets[first])}), s.frame.Out(Point{X: x, Y: y(s.sets[last])})}
			}
		}
		l, ok := s.onBeam([]string{prefix(s.r) + "-" + value, value}, height, first, last, s.sets[(first+last)/2], bar)
		if !ok {
			return nil, false
		}
		if l.bar != nil {
			s.taken = append(s.taken, barBox(l.bar))
		}
		labels = append(labels, l)
		s.taken = append(s.taken, plateBox(l.text, l.at))
	}
	return labels, true
}

func (s *site) setOf(beam int) int {
	return slices.IndexFunc(s.sets, func(b set) bool { return b.first <= beam && beam <= b.last })
}

// alike are the stretches of beams that follow each other and are equal: first
// and last of each.
func alike(beams []design.Beam) [][2]int {
	var out [][2]int
	for i := 0; i < len(beams); {
		j := i
		for j+1 < len(beams) && beams[j+1].LengthMM == beams[i].LengthMM && beams[j+1].Pattern == beams[i].Pattern && beams[j+1].PerRow == beams[i].PerRow {
			j++
		}
		out = append(out, [2]int{i, j})
		i = j + 1
	}
	return out
}

// trimmers names the members along openings, beside them where there is room.
func (s *site) trimmers() {
	for i, h := range s.r.Layout.Headers {
		if i >= len(s.r.Trimmers) {
			return
		}
		piece := s.r.Trimmers[i]
		a, b := s.paper(h.From), s.paper(h.To)
		degrees := math.Atan2(b.Y-a.Y, b.X-a.X) * 180 / math.Pi
		sin, cos := math.Sincos(degrees * math.Pi / 180)
		m := middle(a, b)
		var places []Point
		for _, away := range []float64{2, -2, 2.6, -2.6, 3.2, -3.2} {
			places = append(places, Point{X: m.X - sin*away, Y: m.Y + cos*away})
		}
		s.put(Text{Value: number(piece.Mark) + "  " + metres(piece.LengthMM), HeightMM: labelMM, Degrees: degrees, Layer: layerOpening}, places, func(q geometry.Quad) bool {
			return s.clearOfBeams(q, 0, -1)
		})
	}
}

// counts writes the blocks of each bay into it where there is room; the table
// of rooms has the sum.
func (s *site) counts() {
	for _, bay := range s.r.Layout.Bays {
		n := bay.Whole + bay.Cut
		if n == 0 {
			continue
		}
		long, short := fmt.Sprintf("%d blocks", bay.Whole), fmt.Sprint(bay.Whole)
		switch {
		case bay.Filler:
			long, short = fmt.Sprintf("filler: %d blocks cut", n), fmt.Sprintf("filler %d", n)
		case bay.Cut > 0:
			long, short = fmt.Sprintf("%d blocks + %d cut", bay.Whole, bay.Cut), fmt.Sprintf("%d+%d", bay.Whole, bay.Cut)
		}
		y := s.level((bay.Low + bay.High) / 2)
		parts := s.flat.Strip(s.level(bay.Low), s.level(bay.High))
		if len(parts) > 1 {
			in := fmt.Sprintf(" in %d parts", len(parts))
			long, short = long+in, short+in
		}
		i := longest(s.flat, y)
		var places []Point
		for _, aside := range []float64{0, -2.2, 2.2} {
			for _, t := range shares {
				places = append(places, s.frame.Out(Point{X: i.From + i.Length()*t, Y: y + aside}))
			}
		}
		between := func(q geometry.Quad) bool { return s.clearOfBeams(q, 0, -1) }
		for _, t := range []Text{{Value: long, HeightMM: labelMM}, {Value: short, HeightMM: labelMM}, {Value: short, HeightMM: smallMM}} {
			t.Degrees, t.Layer = s.r.Layout.DirectionDegrees, layerBlocks
			if s.put(t, places, between) {
				break
			}
		}
	}
}
