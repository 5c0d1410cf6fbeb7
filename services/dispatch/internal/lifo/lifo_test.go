package lifo

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// drawn is a small problem whose limits matter.
func drawn(t *rapid.T) Problem {
	n := rapid.IntRange(1, 6).Draw(t, "customers")
	p := Problem{Places: rapid.IntRange(4, 8).Draw(t, "places"), Abreast: rapid.IntRange(1, 2).Draw(t, "abreast"), MaxMass: rapid.IntRange(30, 90).Draw(t, "mass")}
	var at [][2]float64
	for i := range n + 1 {
		at = append(at, [2]float64{float64(rapid.IntRange(0, 9).Draw(t, "x")), float64(rapid.IntRange(0, 9).Draw(t, "y"))})
		if i == 0 {
			continue
		}
		var pallets []int
		for range rapid.IntRange(1, 3).Draw(t, "pallets") {
			pallets = append(pallets, rapid.IntRange(1, 20).Draw(t, "each"))
		}
		p.Masses = append(p.Masses, pallets)
	}
	for _, a := range at {
		var row []float64
		for _, b := range at {
			row = append(row, math.Hypot(a[0]-b[0], a[1]-b[1]))
		}
		p.Distance = append(p.Distance, row)
	}
	if rapid.Bool().Draw(t, "axles") {
		p.Axles = &Axles{
			Wheelbase: rapid.IntRange(4, 9).Draw(t, "wheelbase"), Row: rapid.IntRange(1, 2).Draw(t, "row"),
			First: rapid.IntRange(-1, 2).Draw(t, "first"), MaxFront: rapid.IntRange(15, 50).Draw(t, "front"),
			MaxRear: rapid.IntRange(15, 60).Draw(t, "rear"),
		}
	}
	return p
}

// best tries every order of the customers and every way to cut it into
// routes; it computes loads afresh with divisions, unlike the planner.
func best(p *Problem, left, route []int, before float64) float64 {
	least := math.Inf(1)
	here := 0
	if len(route) > 0 {
		here = route[len(route)-1] + 1
		if stands(p, route) {
			if len(left) == 0 {
				return before + p.Distance[here][0]
			}
			least = best(p, left, nil, before+p.Distance[here][0])
		}
		if len(left) == 0 {
			return math.Inf(1)
		}
	}
	for i, c := range left {
		rest := append(append([]int(nil), left[:i]...), left[i+1:]...)
		least = min(least, best(p, rest, append(append([]int(nil), route...), c), before+p.Distance[here][c+1]))
	}
	return least
}

func stands(p *Problem, route []int) bool {
	for done := range route {
		place, mass, rear := 0, 0.0, 0.0
		for i := len(route) - 1; i >= done; i-- {
			for _, m := range p.Masses[route[i]] {
				mass += float64(m)
				if a := p.Axles; a != nil {
					rear += float64(m) * float64(a.First+a.Row*(place/p.Abreast)) / float64(a.Wheelbase)
				}
				place++
			}
		}
		if place > p.Places || mass > float64(p.MaxMass) {
			return false
		}
		if a := p.Axles; a != nil && (rear > float64(a.MaxRear)+1e-9 || mass-rear > float64(a.MaxFront)+1e-9) {
			return false
		}
	}
	return true
}

func TestPlansAreTheShortestThereAre(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t)
		var all []int
		for c := range p.Masses {
			all = append(all, c)
		}
		want := best(&p, all, nil, 0)
		got, err := Solve(p, Thorough)
		if math.IsInf(want, 1) != (err != nil) {
			t.Fatalf("the shortest is %f; refused: %v", want, err)
		}
		if err != nil {
			return
		}
		if !got.Proved || math.Abs(got.Distance-want) > 1e-6 {
			t.Fatalf("%f (proved: %v), but %f is possible", got.Distance, got.Proved, want)
		}
		for _, r := range got.Routes {
			if !stands(&p, r) {
				t.Fatalf("route %v breaks a limit", r)
			}
		}
	})
}

// TestCutSearchKeepsItsBound: with hardly any routes kept, plans keep every
// limit, are not better than the best, and their bound is none too high.
func TestCutSearchKeepsItsBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t)
		quick, err := Solve(p, Effort{Labels: rapid.IntRange(1, 6).Draw(t, "labels"), Steps: 1000, Rounds: 2})
		if err != nil {
			return
		}
		exact, err := Solve(p, Thorough)
		if err != nil {
			t.Fatal(err)
		}
		if quick.Distance < exact.Distance-1e-6 || quick.LowerBound > exact.Distance+1e-6 ||
			quick.Proved && quick.Distance > exact.Distance+1e-6 {
			t.Fatalf("%+v beside the shortest %f", quick, exact.Distance)
		}
		seen := make([]int, len(p.Masses))
		for _, r := range quick.Routes {
			if !stands(&p, r) {
				t.Fatalf("route %v breaks a limit", r)
			}
			for _, c := range r {
				seen[c]++
			}
		}
		for c, n := range seen {
			if n != 1 {
				t.Fatalf("customer %d is visited %d times", c, n)
			}
		}
	})
}

func TestMoreThan128CustomersAreRefused(t *testing.T) {
	if _, err := Solve(Problem{Masses: make([][]int, 129)}, Quick); err == nil {
		t.Error("129 customers are planned")
	}
}
