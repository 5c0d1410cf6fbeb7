package lashing

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got-want) > tolerance {
		t.Errorf("%s is %.4f, want %.4f", what, got, want)
	}
}

// EN 12195-1:2010, formula for top-over lashing, worked by hand for road
// transport; friction values of its Annex B (from memory).
func TestTopOver(t *testing.T) {
	for _, c := range []struct {
		name                              string
		massKg, friction, tension, angle  float64
		forward, sideways                 float64
		forwardLashings, sidewaysLashings int
	}{
		{"8 t on fabric-base laminate", 8000, 0.45, 500, 85, 7.659, 0.963, 8, 1},
		{"8 t on an anti-slip mat", 8000, 0.60, 500, 85, 3.283, 0, 4, 0},
		{"8 t of rough concrete on battens", 8000, 0.70, 500, 85, 1.407, 0, 2, 0},
		{"a pallet of 1.2 t", 1200, 0.60, 350, 75, 0.725, 0, 1, 0},
	} {
		r := Default()
		r.Friction, r.TensionDaN, r.AngleDeg, r.Least = c.friction, c.tension, c.angle, 0
		a := r.For(Pile{MassKg: c.massKg, WidthMM: 2000, HeightMM: 1000})
		near(t, c.name+", forward", a.Forward, c.forward, 0.001)
		near(t, c.name+", sideways", a.Sideways, c.sideways, 0.001)
		if a.Lashings != c.forwardLashings {
			t.Errorf("%s: %d lashings, want %d", c.name, a.Lashings, c.forwardLashings)
		}
		if n := int(math.Ceil(a.Sideways)); n != c.sidewaysLashings {
			t.Errorf("%s: %d lashings to the sides, want %d", c.name, n, c.sidewaysLashings)
		}
	}
}

// Never fewer than two for a pile that nothing blocks: common practice.
func TestLeast(t *testing.T) {
	r := Default()
	r.Friction = 0.7
	if a := r.For(Pile{MassKg: 500, WidthMM: 2000, HeightMM: 500}); a.Lashings != 2 || a.Governing != "the least for a pile that nothing blocks" {
		t.Errorf("%+v", a)
	}
}

// The same formula, what is left for a headboard: worked by hand. And July 2022
// column of a marine insurers' cargo site: 25 t at friction 0.6 lack 5,000 daN
// forward where a kilogram counts as a decanewton.
func TestBlocking(t *testing.T) {
	r := Default()
	r.Friction = 0.45
	near(t, "blocking with four", r.BlockingDaN(8000, 4), 1312, 1)
	near(t, "blocking with none", r.BlockingDaN(8000, 0), 2747, 1)
	r.Friction = 0.6
	near(t, "25 t", r.BlockingDaN(25_000, 0)/gravity*10, 5000, 1)
}

// EN 12195-1: a unit stands while half its width over the height of its centre
// is at least the sideways acceleration: 0.55 m over 0.60 m is 0.917 (from
// memory).
func TestTilting(t *testing.T) {
	r := Default()
	r.Tilting = 0.6
	if a := r.For(Pile{MassKg: 1000, WidthMM: 1100, HeightMM: 1200}); a.Tilting != 0 {
		t.Errorf("a pile that stands by itself asks for %g lashings", a.Tilting)
	}
	if a := r.For(Pile{MassKg: 1000, WidthMM: 500, HeightMM: 1200}); a.Tilting <= 0 {
		t.Error("a narrow pile asks for no lashing against tilting")
	}
}

// TestMoreIsNeverLess: more mass or less friction never takes fewer lashings,
// and the counted ones hold.
func TestMoreIsNeverLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Default()
		r.Friction = rapid.Float64Range(0.2, 0.7).Draw(t, "friction")
		p := Pile{MassKg: rapid.Float64Range(100, 9000).Draw(t, "mass kg"), WidthMM: rapid.Float64Range(500, 2400).Draw(t, "width mm"), HeightMM: rapid.Float64Range(200, 1800).Draw(t, "height mm")}
		a := r.For(p)
		heavier := p
		heavier.MassKg *= 1.3
		slicker := r
		slicker.Friction *= 0.9
		if r.For(heavier).Lashings < a.Lashings || slicker.For(p).Lashings < a.Lashings {
			t.Fatalf("%+v with %+v takes %d lashings, more load or less friction fewer", p, r, a.Lashings)
		}
		if left := r.BlockingDaN(p.MassKg, a.Lashings); left > 0.01 {
			t.Fatalf("%d lashings leave %g daN for a headboard", a.Lashings, left)
		}
	})
}

func TestRulesAreChecked(t *testing.T) {
	if problem := Default().Check(); problem != "" {
		t.Error(problem)
	}
	r := Default()
	r.Friction = 0
	if r.Check() == "" {
		t.Error("no friction is accepted")
	}
}
