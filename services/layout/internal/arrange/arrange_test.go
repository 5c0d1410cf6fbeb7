package arrange

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/layout/internal/geometry"
)

var (
	kit = Kit{Profile: "T150", Block: "K510", WidthMM: 120, PitchMM: 510, BlockMM: 215,
		Patterns: []Pattern{{"5W", 900}, {"7W", 1100}}, BlockCents: 120}
	rules = Rules{LengthStepMM: 50, MaxLengthMM: 9000, ShortestMM: 400, MostPerRow: 3,
		LineLoadNPerMM: 3, Trimmers: []Trimmer{{Name: "H", WidthMM: 120, SeatMM: 90, HangMM: 60, LongestMM: 3000}}}
)

const bearing = 90

// carry stands in for the strength check: more beams and wires reach farther,
// line loads and headers take some of it.
func carry(m Member) Outcome {
	limit := []float64{4500, 5400}[m.Pattern] + 900*float64(m.PerRow-1)
	for _, l := range m.Lines {
		limit -= 60 * l.NPerMM * (l.ToMM - l.FromMM) / m.ClearMM
	}
	limit -= 300 * float64(len(m.Points))
	return Outcome{Passes: m.ClearMM <= limit, Fullness: m.ClearMM / limit, Governing: "bending"}
}

// checks stand in for the code: a member weighs 1 N on every millimetre.
var checks = Checks{Carry: carry,
	React: func(m Member) (left, right Force) {
		half := Force{PermanentN: m.ClearMM / 2}
		return half, half
	},
	Longest: func(_, perRow int, _ float64) Reach { return Reach{5400 + 900*float64(perRow-1), "7W", "bending"} },
	Trim: func(_ int, clear float64, _ []PointForce) Outcome {
		return Outcome{Passes: clear <= 3000, Fullness: clear / 3000}
	},
	FillN: Force{PermanentN: 0.005},
}

// violations looks at a laid room from outside: nothing of the search is used
// but its answer.
func violations(room Room, l Layout) []string {
	var out []string
	note := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	for i, a := range l.Beams {
		for _, b := range l.Beams[i+1:] {
			if d := geometry.Overlap(a.Quad, b.Quad); d > 1 {
				note("beams of rows %d and %d lie %.1f mm in each other", a.Row, b.Row, d)
			}
		}
		for _, c := range a.Quad {
			// Square to a wall a beam goes as far as its bearing and what its
			// length was rounded up by; at a slanted or side wall its far
			// corner lies up to the row's width farther.
			if d := room.Shape.Distance(c); d > room.BearingMM+rules.LengthStepMM+kit.WidthMM*float64(a.PerRow) {
				note("a beam of row %d ends %.0f mm outside the room", a.Row, d)
			}
		}
		if r := math.Mod(a.LengthMM, rules.LengthStepMM); r > 1e-6 && rules.LengthStepMM-r > 1e-6 {
			note("a beam is %.3f mm long", a.LengthMM)
		}
		if !a.Outcome.Passes {
			note("a beam of row %d does not carry its load", a.Row)
		}
	}
	sum := l.BeamMM2 + l.FillMM2
	for _, b := range l.Bays {
		sum += b.AreaMM2
		if b.High-b.Low > kit.PitchMM-kit.WidthMM/2+1 {
			note("a bay is %.0f mm wide", b.High-b.Low)
		}
		if n := float64(b.Whole+b.Cut) * kit.BlockMM * (b.High - b.Low); b.AreaMM2 > n+1 {
			note("%d blocks do not cover a bay of %.0f mm2", b.Whole+b.Cut, b.AreaMM2)
		}
	}
	if len(room.Shape.Holes) == 0 {
		if area := room.Shape.Area(); math.Abs(sum-area) > 1e-6*area {
			note("beams, blocks and fills cover %.0f of %.0f mm2", sum, area)
		}
	}
	return append(out, bare(room, l)...)
}

// bare looks at points all over the floor: above and below each of them,
// across the beams, a beam or a wall must be near enough for a block.
func bare(room Room, l Layout) []string {
	frame := geometry.NewFrame(l.DirectionDegrees)
	shape := frame.PolygonIn(room.Shape)
	low, high := shape.Bounds()
	var quads []geometry.Quad
	for _, b := range l.Beams {
		var q geometry.Quad
		for i, p := range b.Quad {
			q[i] = frame.In(p)
		}
		quads = append(quads, q)
	}
	const points = 23
	for i := 1; i < points; i++ {
		for j := 1; j < points; j++ {
			p := geometry.Point{X: low.X + (high.X-low.X)*(float64(i)+0.37)/points, Y: low.Y + (high.Y-low.Y)*(float64(j)+0.21)/points}
			if !shape.Contains(p) || nearOpening(room, frame, p) {
				continue
			}
			if gap, short := clearAcross(shape, quads, p); !short && gap > kit.PitchMM-kit.WidthMM/2+1 {
				return []string{fmt.Sprintf("at (%.0f, %.0f) the next beams or walls are %.0f mm apart", p.X, p.Y, gap)}
			}
		}
	}
	return nil
}

// nearOpening keeps away from openings, whose rectangles and headers are no
// floor.
func nearOpening(room Room, frame geometry.Frame, p geometry.Point) bool {
	for _, h := range room.Shape.Holes {
		lo, hi := frame.PolygonIn(geometry.Polygon{Outline: h}).Bounds()
		reach := rules.ShortestMM + rules.Trimmers[0].WidthMM
		if p.X > lo.X-reach && p.X < hi.X+reach && p.Y > lo.Y-kit.PitchMM && p.Y < hi.Y+kit.PitchMM {
			return true
		}
	}
	return false
}

// clearAcross is the distance between what is next below and above a point;
// short is true where the room is too short there for a beam.
func clearAcross(shape geometry.Polygon, quads []geometry.Quad, p geometry.Point) (gap float64, short bool) {
	up, down := math.Inf(1), math.Inf(-1)
	for _, q := range quads {
		if p.X < q[0].X || p.X > q[1].X {
			continue
		}
		if q[0].Y <= p.Y && p.Y <= q[2].Y {
			return 0, false
		}
		if q[0].Y > p.Y {
			up = math.Min(up, q[0].Y)
		}
		if q[2].Y < p.Y {
			down = math.Max(down, q[2].Y)
		}
	}
	const step = 5
	y := p.Y
	for ; y < up && shape.Contains(geometry.Point{X: p.X, Y: y}); y += step {
		short = short || chord(shape, p.X, y) < rules.ShortestMM
	}
	up = math.Min(up, y)
	for y = p.Y; y > down && shape.Contains(geometry.Point{X: p.X, Y: y}); y -= step {
		short = short || chord(shape, p.X, y) < rules.ShortestMM
	}
	down = math.Max(down, y)
	return up - down - 2*step, short
}

// chord is the length of the room along the beams at a point.
func chord(shape geometry.Polygon, x, y float64) float64 {
	for _, i := range shape.At(y + 1e-7) {
		if i.From <= x && x <= i.To {
			return i.Length()
		}
	}
	return 0
}

// randomRoom draws rectangles, L-, T- and U-shapes, slanted quadrangles and
// stepped outlines, turned by any angle.
func randomRoom(t *rapid.T) Room {
	f := func(name string, lo, hi int) float64 { return float64(rapid.IntRange(lo, hi).Draw(t, name)) }
	w, h := f("w", 1200, 9000), f("h", 900, 7000)
	a, b := f("a", 1, 99)/100, f("b", 1, 99)/100
	var o []geometry.Point
	switch rapid.IntRange(0, 4).Draw(t, "form") {
	case 0:
		o = []geometry.Point{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: 0, Y: h}}
	case 1: // L
		o = []geometry.Point{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h * b}, {X: w * a, Y: h * b}, {X: w * a, Y: h}, {X: 0, Y: h}}
	case 2: // slanted
		o = []geometry.Point{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w*a + w/2, Y: h}, {X: w * b / 2, Y: h}}
	case 3: // U
		c := f("c", 1, 40) / 100
		o = []geometry.Point{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: w * (0.55 + c), Y: h}, {X: w * (0.55 + c), Y: h * b}, {X: w * 0.5 * a, Y: h * b}, {X: w * 0.5 * a, Y: h}, {X: 0, Y: h}}
	default: // a jog of a few centimetres in each side
		j := f("jog", 1, 200)
		o = []geometry.Point{{X: 0, Y: 0}, {X: w * a, Y: 0}, {X: w * a, Y: j}, {X: w, Y: j}, {X: w, Y: h + j}, {X: w * b, Y: h + j}, {X: w * b, Y: h + 2*j}, {X: 0, Y: h + 2*j}}
	}
	room := Room{Name: "drawn", BearingMM: bearing}
	turn := geometry.NewFrame(f("turn", 0, 359))
	for _, p := range o {
		room.Shape.Outline = append(room.Shape.Outline, turn.Out(p))
	}
	if rapid.Bool().Draw(t, "partition") {
		x, y := f("px", 10, 90)/100, f("py", 10, 90)/100
		room.Partitions = []Partition{{From: turn.Out(geometry.Point{X: w * x, Y: 100}), To: turn.Out(geometry.Point{X: w * y, Y: h * 0.9}), NPerMM: f("load", 1, 6)}}
	}
	return room
}

func TestLaidRoomsHoldTheRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		room := randomRoom(t)
		if room.Shape.Validate() != nil {
			t.Skip("no room")
		}
		l, err := Search(room, []Kit{kit}, rules, checks, nil)
		if err != nil {
			if _, refused := err.(*Refusal); !refused {
				t.Fatal(err)
			}
			return
		}
		for _, v := range violations(room, l) {
			t.Error(v)
		}
	})
}

func TestOpening(t *testing.T) {
	room := Room{BearingMM: bearing, Shape: geometry.Polygon{
		Outline: []geometry.Point{{X: 0, Y: 0}, {X: 4000, Y: 0}, {X: 4000, Y: 5000}, {X: 0, Y: 5000}},
		Holes:   [][]geometry.Point{{{X: 1500, Y: 2000}, {X: 1500, Y: 3000}, {X: 2500, Y: 3000}, {X: 2500, Y: 2000}}},
	}}
	zero := 0.0
	room.DirectionDegrees = &zero
	l, err := Search(room, []Kit{kit}, rules, checks, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Headers) != 2 || l.Headers[0].LengthMM != 1120 {
		t.Fatalf("headers: %+v", l.Headers)
	}
	along, cut := 0, 0
	for _, b := range l.Beams {
		low, high := b.Quad[0].Y, b.Quad[2].Y
		switch {
		case math.Abs(high-2000) < 1 || math.Abs(low-3000) < 1:
			along++
			if len(b.Member.Points) != 2 {
				t.Errorf("the beam along the opening carries %d headers", len(b.Member.Points))
			}
		case low < 3000 && high > 2000:
			cut++
			if b.LengthMM > 1600 {
				t.Errorf("a beam cut short is %.0f mm long", b.LengthMM)
			}
		}
	}
	if along < 2 || cut == 0 {
		t.Errorf("%d beams along the opening, %d cut short", along, cut)
	}
	for _, v := range violations(room, l) {
		t.Error(v)
	}
	room.HoleSupports = []bool{true}
	if l, err = Search(room, []Kit{kit}, rules, checks, nil); err != nil || len(l.Headers) != 0 {
		t.Errorf("a shaft with walls needs no headers: %+v, %v", l.Headers, err)
	}
}

func TestRefusalsHelp(t *testing.T) {
	zero := 0.0
	room := Room{BearingMM: bearing, DirectionDegrees: &zero,
		Shape: geometry.Polygon{Outline: []geometry.Point{{X: 0, Y: 0}, {X: 7600, Y: 0}, {X: 7600, Y: 3000}, {X: 0, Y: 3000}}}}
	_, err := Search(room, []Kit{kit}, rules, checks, nil)
	want := "A clear span of 7600 mm is too long for 3 beams of profile T150 side by side, wire pattern 7W: they reach 7200 mm (bending). " +
		"Use a deeper profile that reaches it, or a support across the beams from (3800, 0) to (3800, 3000) mm, so that no clear span is longer than 7200 mm."
	if err == nil || err.Error() != want {
		t.Errorf("got %v", err)
	}
	room.DirectionDegrees = nil
	l, err := Search(room, []Kit{kit}, rules, checks, nil)
	if err != nil || l.DirectionDegrees != 90 {
		t.Errorf("the other way it can be laid: %v, %v", l.DirectionDegrees, err)
	}
	room.OpenSides = map[int]bool{0: true}
	if _, err = Search(room, []Kit{kit}, rules, checks, nil); err == nil {
		t.Error("a side that carries nothing bears beams")
	}
}

// TestNeighbours lays two rooms on both sides of one thin wall.
func TestNeighbours(t *testing.T) {
	zero := 0.0
	at := func(x float64) Room {
		return Room{BearingMM: bearing, DirectionDegrees: &zero, Shape: geometry.Polygon{Outline: []geometry.Point{{X: x, Y: 0}, {X: x + 3000, Y: 0}, {X: x + 3000, Y: 4000}, {X: x, Y: 4000}}}}
	}
	left, err := Search(at(0), []Kit{kit}, rules, checks, nil)
	if err != nil {
		t.Fatal(err)
	}
	var obstacles []geometry.Quad
	for _, b := range left.Beams {
		obstacles = append(obstacles, b.Quad)
	}
	right, err := Search(at(3100), []Kit{kit}, rules, checks, obstacles)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range right.Beams {
		for _, o := range obstacles {
			if d := geometry.Overlap(b.Quad, o); d > 1 {
				t.Fatalf("beams from both sides lie %.0f mm in each other", d)
			}
		}
	}
}

func BenchmarkSearch(b *testing.B) {
	room := Room{BearingMM: bearing, Shape: geometry.Polygon{Outline: []geometry.Point{{X: 0, Y: 0}, {X: 5200, Y: 0}, {X: 5200, Y: 2400}, {X: 3100, Y: 2400}, {X: 3100, Y: 4300}, {X: 0, Y: 4300}}}}
	for b.Loop() {
		if _, err := Search(room, []Kit{kit}, rules, checks, nil); err != nil {
			b.Fatal(err)
		}
	}
}
