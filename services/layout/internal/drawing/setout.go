package drawing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spanyard.example/services/layout/internal/geometry"
)

// chain is a line across the beams from wall to wall, with the middles of the
// rows that it crosses: what the crew measures before it lays.
type chain struct {
	// x of the line, from and to its ends, middles those of the rows; in the
	// frame, on the paper.
	x, from, to float64
	middles     []float64
}

// chains covers every row with as few lines as a simple search finds, those
// farthest from the laying order's arrow first.
func (s *site) chains() []chain {
	left := make([]bool, len(s.sets))
	for i := range left {
		left[i] = true
	}
	low, high := s.flat.Bounds()
	var places []float64
	const steps = 48
	for k := range steps - 1 {
		places = append(places, high.X-(high.X-low.X)*float64(k+1)/steps)
	}
	for _, b := range s.sets {
		places = append(places, (b.low.X+b.high.X)/2)
	}
	var out []chain
	for {
		var best chain
		var covers []int
		for _, x := range places {
			for _, i := range s.turned.At(x + 1e-7) {
				rows := s.crossed(x, i)
				n := 0
				for _, r := range rows {
					if left[r] {
						n++
					}
				}
				if n > 0 && (covers == nil || n > count(covers, left)) {
					best, covers = chain{x: x, from: i.From, to: i.To}, rows
				}
			}
		}
		if covers == nil {
			return out
		}
		for _, r := range covers {
			left[r] = false
			best.middles = append(best.middles, (s.sets[r].low.Y+s.sets[r].high.Y)/2)
		}
		slices.Sort(best.middles)
		out = append(out, best)
	}
}

func count(rows []int, left []bool) int {
	n := 0
	for _, r := range rows {
		if left[r] {
			n++
		}
	}
	return n
}

// crossed are the sets of beams that a line across the beams meets between two
// walls.
func (s *site) crossed(x float64, i geometry.Interval) []int {
	var rows []int
	for k, b := range s.sets {
		if y := (b.low.Y + b.high.Y) / 2; x > b.low.X && x < b.high.X && y > i.From && y < i.To {
			rows = append(rows, k)
		}
	}
	return rows
}

// run is a number of equal steps of a chain, in whole millimetres of the
// floor, and where it lies on the paper.
type run struct {
	steps, stepMM int
	from, to      float64
}

func (r run) String() string {
	if r.steps == 1 {
		return fmt.Sprint(r.stepMM)
	}
	return fmt.Sprintf("%d x %d", r.steps, r.stepMM)
}

// tiny keeps halves of a millimetre from being rounded up here and down there.
const tiny = 1e-6

// runs of a chain: from the wall to the first middle, from row to row, to the
// far wall. Places are rounded, not steps, so that the steps add up.
func (c chain) runs(scale int) []run {
	var out []run
	at := c.from
	mm := func(y float64) int { return int(math.Round((y-c.from)*float64(scale) - tiny)) }
	for k, y := range append(slices.Clone(c.middles), c.to) {
		step := mm(y) - mm(at)
		if n := len(out) - 1; k > 1 && k < len(c.middles) && out[n].stepMM == step {
			out[n].steps, out[n].to = out[n].steps+1, y
		} else {
			out = append(out, run{steps: 1, stepMM: step, from: at, to: y})
		}
		at = y
	}
	return out
}

// said writes a chain out: "195 + 7 x 510 + 230".
func (c chain) said(scale int) string {
	var parts []string
	for _, r := range c.runs(scale) {
		parts = append(parts, r.String())
	}
	return strings.Join(parts, " + ")
}

// slanted splits a chain between walls that do not run along the beams in two,
// near both ends of the rows: there the distances from the walls differ.
func (s *site) slanted(c chain) []chain {
	rows := s.crossed(c.x, geometry.Interval{From: c.from, To: c.to})
	low, high := math.Inf(-1), math.Inf(1)
	for _, r := range rows {
		low, high = math.Max(low, s.sets[r].low.X), math.Min(high, s.sets[r].high.X)
	}
	const nearEnd = 0.15
	a, aFound := s.chainAt(low+nearEnd*(high-low), rows)
	b, bFound := s.chainAt(high-nearEnd*(high-low), rows)
	if !aFound || !bFound || s.level2mm(a, b) {
		return []chain{c}
	}
	return []chain{a, b}
}

// level2mm says that two chains end at the same levels, to 2 mm of the floor.
func (s *site) level2mm(a, b chain) bool {
	within := 2 / float64(s.page.Scale)
	return math.Abs(a.from-b.from) <= within && math.Abs(a.to-b.to) <= within
}

// chainAt is the chain of certain rows at a place, where it meets them all.
func (s *site) chainAt(x float64, rows []int) (chain, bool) {
	for _, i := range s.turned.At(x + 1e-7) {
		if !slices.Equal(s.crossed(x, i), rows) {
			continue
		}
		c := chain{x: x, from: i.From, to: i.To}
		for _, r := range rows {
			c.middles = append(c.middles, (s.sets[r].low.Y+s.sets[r].high.Y)/2)
		}
		slices.Sort(c.middles)
		return c, true
	}
	return chain{}, false
}

// setOutLines are the chains of a room in words.
func (s *site) setOutLines() []string {
	var lines []string
	for i, c := range s.chains() {
		begins := "Set out"
		if i > 0 {
			begins = "Rows beyond that line"
		}
		parts := s.slanted(c)
		if len(parts) == 1 {
			lines = append(lines, fmt.Sprintf("%s, wall to row middles to wall, mm: %s", begins, c.said(s.page.Scale)))
			continue
		}
		first := s.sets[s.crossed(c.x, geometry.Interval{From: c.from, To: c.to})[0]]
		for _, p := range parts {
			away := (p.x - first.low.X) * float64(s.page.Scale) / 1000
			lines = append(lines, fmt.Sprintf("%s %.2f m from the %s end of %s, wall to row middles to wall, mm: %s",
				begins, away, s.nearSide(), s.numbers(first), p.said(s.page.Scale)))
		}
	}
	return lines
}

// nearSide names the side of the sheet at which the beams' frame begins.
func (s *site) nearSide() string {
	switch p := s.frame.Out(Point{X: 1}); {
	case math.Abs(p.X) >= math.Abs(p.Y) && p.X > 0:
		return "left"
	case math.Abs(p.X) >= math.Abs(p.Y):
		return "right"
	case p.Y > 0:
		return "lower"
	default:
		return "upper"
	}
}

// setOut draws the chain that crosses the most rows where it disturbs no label;
// the table of rooms has all of them in any case.
func (s *site) setOut() {
	chains := s.chains()
	if len(chains) == 0 {
		return
	}
	c := chains[0]
	if parts := s.slanted(c); len(parts) > 1 {
		for _, p := range parts {
			s.drawChain(p)
		}
		return
	}
	rows := s.crossed(c.x, geometry.Interval{From: c.from, To: c.to})
	const fromWall, least = 5.0, 8.0
	low, high := s.flat.Bounds()
	for x := high.X - fromWall; x > low.X+fromWall && c.to-c.from >= least; x -= 2 {
		if try, ok := s.chainAt(x, rows); ok && s.level2mm(try, c) && s.drawChain(try) {
			return
		}
	}
}

// drawChain draws a chain with its figures, if its line crosses no label and
// the first figure, the distance of the first row from the wall, finds its
// place.
func (s *site) drawChain(c chain) bool {
	degrees := s.r.Layout.DirectionDegrees
	at := func(y float64) Point { return s.frame.Out(Point{X: c.x, Y: y}) }
	if overlapsAny(box(at((c.from+c.to)/2), 1.6, c.to-c.from, degrees), s.solid) {
		return false
	}
	runs := c.runs(s.page.Scale)
	type figure struct {
		text Text
		at   Point
	}
	var figures []figure
	var boxes []geometry.Quad
	for k, r := range runs {
		t := Text{Value: r.String(), HeightMM: labelMM, Degrees: degrees, Layer: layerSizes}
		p, ok := s.figureAt(t, c.x, r, boxes)
		if !ok && k == 0 {
			return false
		}
		if ok {
			figures, boxes = append(figures, figure{t, p}), append(boxes, plateBox(t, p))
		}
	}
	s.line(at(c.from), at(c.to), Thin, Solid, layerSizes)
	for _, y := range append([]float64{c.from, c.to}, c.middles...) {
		s.stroke(at(y), degrees+90)
	}
	s.take(box(at((c.from+c.to)/2), 0.8, c.to-c.from, degrees))
	for _, f := range figures {
		s.take(plateBox(f.text, f.at))
		s.plate(f.text, f.at)
	}
	return true
}

// figureAt finds a place for the figure of a run left of its line, between two
// rows, as near to the middle of the run as can be.
func (s *site) figureAt(t Text, x float64, r run, others []geometry.Quad) (Point, bool) {
	away := textWidth(t.Value, t.HeightMM, t.Bold)/2 + 1.4
	for _, part := range []float64{0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82} {
		for _, side := range []float64{-1, 1} {
			p := s.frame.Out(Point{X: x + side*away, Y: r.from + (r.to-r.from)*part})
			if q := plateBox(t, p); s.free(q) && s.clearOfBeams(q, 0, -1) && !overlapsAny(q, others) {
				return p, true
			}
		}
	}
	return Point{}, false
}

// stroke is the oblique end mark of a dimension line (ISO 129-1).
func (d *draughtsman) stroke(at Point, degrees float64) {
	sin, cos := math.Sincos((degrees + 45) * math.Pi / 180)
	d.line(Point{X: at.X - cos, Y: at.Y - sin}, Point{X: at.X + cos, Y: at.Y + sin}, Broad, Solid, layerSizes)
}
