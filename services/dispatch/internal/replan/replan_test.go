package replan_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/check"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/morning/morningtest"
	"spanyard.example/services/dispatch/internal/replan"
	"spanyard.example/services/dispatch/internal/routing"
)

// after stops a search after so many attempts.
func after(attempts int) func() bool {
	return func() bool {
		attempts--
		return attempts < 0
	}
}

func drawn(t *rapid.T) morning.Problem {
	return morningtest.Make(morningtest.Options{
		Seed:   rapid.Uint64Range(0, 1<<20).Draw(t, "seed"),
		Trucks: rapid.IntRange(1, 6).Draw(t, "trucks"), CallOffs: rapid.IntRange(1, 8).Draw(t, "call-offs"),
		Rooms: rapid.IntRange(1, 4).Draw(t, "rooms"), BeamsPerRoom: rapid.IntRange(1, 14).Draw(t, "beams"),
		Hard: rapid.Bool().Draw(t, "hard"),
	})
}

// changed draws something that happens to a morning.
func changed(t *rapid.T, p morning.Problem) morning.Problem {
	p.Trucks, p.Orders, p.Stock.Beams = slices.Clone(p.Trucks), slices.Clone(p.Orders), slices.Clone(p.Stock.Beams)
	for range rapid.IntRange(0, 3).Draw(t, "happenings") {
		switch rapid.IntRange(0, 5).Draw(t, "what") {
		case 0:
			if len(p.Trucks) > 1 {
				i := rapid.IntRange(0, len(p.Trucks)-1).Draw(t, "truck out")
				p.Trucks = slices.Delete(p.Trucks, i, i+1)
			}
		case 1:
			if len(p.Orders) > 1 {
				i := rapid.IntRange(0, len(p.Orders)-1).Draw(t, "call-off out")
				p.Orders = slices.Delete(p.Orders, i, i+1)
			}
		case 2:
			if len(p.Stock.Beams) > 0 {
				i := rapid.IntRange(0, len(p.Stock.Beams)-1).Draw(t, "beam gone")
				p.Stock.Beams = slices.Delete(p.Stock.Beams, i, i+1)
			}
		case 3:
			p.EarliestLoadingMinute = rapid.IntRange(0, 700).Draw(t, "it is now")
		case 4:
			o := &p.Orders[rapid.IntRange(0, len(p.Orders)-1).Draw(t, "order")]
			o.NotBy = append(slices.Clone(o.NotBy), p.Trucks[rapid.IntRange(0, len(p.Trucks)-1).Draw(t, "not by")].ID)
		case 5:
			o := &p.Orders[rapid.IntRange(0, len(p.Orders)-1).Draw(t, "order")]
			o.Window.ClosesMinute = o.Window.OpensMinute + rapid.IntRange(0, 600).Draw(t, "open for")
		}
	}
	return p
}

// TestReplannedPlansBreakNoRule: whatever happens to a morning and whatever is
// wished, the plan breaks no rule, has what is locked as it was, and what is
// moved on its truck; or the wish is refused with a sentence.
func TestReplannedPlansBreakNoRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before := drawn(t)
		base := routing.Plan(before, after(5))
		p := changed(t, before)
		wish := replan.Wish{Runs: base.Runs, Locked: map[int]bool{}, PlanOthers: rapid.Bool().Draw(t, "plan others")}
		for i := range base.Runs {
			wish.Locked[i] = rapid.IntRange(0, 4).Draw(t, "lock") == 0
		}
		if len(base.Runs) > 0 && rapid.Bool().Draw(t, "move") {
			wish.Moves = append(wish.Moves, replan.Move{
				Run:     rapid.IntRange(0, len(base.Runs)-1).Draw(t, "run"),
				TruckID: rapid.SampledFrom(p.Trucks).Draw(t, "truck").ID, NotBefore: rapid.IntRange(0, 700).Draw(t, "not before"),
			})
		}
		made, refusals := replan.Plan(p, wish, after(5))
		for _, r := range refusals {
			if r.Rule == "" || r.Sentence == "" || r.Run >= len(base.Runs) {
				t.Errorf("refused without a word: %+v", r)
			}
		}
		if len(refusals) > 0 {
			return
		}
		for _, v := range check.Plan(made.Problem, made.Plan) {
			t.Error(v)
		}
		for i := range base.Runs {
			if wish.Locked[i] && !slices.ContainsFunc(wish.Moves, func(m replan.Move) bool { return m.Run == i }) {
				p := made.Problem
				p.Fixed = base.Runs[i : i+1]
				for _, v := range check.Plan(p, made.Plan) {
					t.Errorf("locked run %d: %v", i, v)
				}
			}
		}
		for _, m := range wish.Moves {
			if !slices.ContainsFunc(made.Plan.Runs, func(r morning.Run) bool { return r.TruckID == m.TruckID && r.LoadingMinute >= m.NotBefore }) {
				t.Errorf("run %d was to go on truck %s and does not", m.Run, m.TruckID)
			}
		}
	})
}

func leftG(p morning.Plan) int64 {
	var sum int64
	for _, u := range p.Unserved {
		sum += u.MassG
	}
	return sum
}

// TestNothingHappensNothingChanges: without a wish, and with nothing changed,
// every run stays as it is, unless more can be brought.
func TestNothingHappensNothingChanges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t)
		base := routing.Plan(p, after(5))
		made, refusals := replan.Plan(p, replan.Wish{Runs: base.Runs}, after(5))
		if len(refusals) > 0 {
			t.Fatal(refusals)
		}
		if leftG(made.Plan) < leftG(base) {
			return
		}
		p.Fixed = base.Runs
		for _, v := range check.Plan(p, made.Plan) {
			t.Error(v)
		}
		if len(made.Plan.Runs) != len(base.Runs) {
			t.Errorf("%d runs became %d and bring no more", len(base.Runs), len(made.Plan.Runs))
		}
	})
}
