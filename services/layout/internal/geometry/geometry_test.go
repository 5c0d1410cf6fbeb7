package geometry

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func rectangle(x0, y0, x1, y1 float64) []Point {
	return []Point{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
}

func TestAtCutsHolesOut(t *testing.T) {
	p := Polygon{Outline: rectangle(0, 0, 1000, 1000), Holes: [][]Point{rectangle(200, 0, 400, 500), rectangle(300, 100, 500, 500), rectangle(900, 100, 1200, 500)}}
	got := p.At(300)
	want := []Interval{{0, 200}, {500, 900}}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("got %v, want %v: holes overlap and one leaves the outline", got, want)
	}
	if down, up := p.Below(Point{100, 300}), p.Above(Point{100, 300}); down != 300 || up != 700 {
		t.Errorf("the walls are %.0f mm below and %.0f mm above", down, up)
	}
	if down := p.Below(Point{250, 600}); down != 100 {
		t.Errorf("the opening is %.0f mm below", down)
	}
}

// TestCellsHaveTheArea: for any star-shaped ring, the cells between two levels
// and beyond them add up to the whole.
func TestCellsHaveTheArea(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p Polygon
		n := rapid.IntRange(3, 14).Draw(t, "corners")
		for i := range n {
			r := float64(rapid.IntRange(300, 4000).Draw(t, "radius"))
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			p.Outline = append(p.Outline, Point{math.Round(r * cos), math.Round(r * sin)})
		}
		if p.Validate() != nil {
			t.Skip("crosses itself")
		}
		low, high := p.Bounds()
		level := low.Y + (high.Y-low.Y)*rapid.Float64Range(0.01, 0.99).Draw(t, "level")
		sum := p.AreaBetween(low.Y, level) + p.AreaBetween(level, high.Y)
		if math.Abs(sum-p.Area()) > 1 {
			t.Errorf("cells have %.3f mm2 of %.3f", sum, p.Area())
		}
	})
}
