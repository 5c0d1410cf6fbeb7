package routing_test

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/check"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/morning/morningtest"
	"spanyard.example/services/dispatch/internal/routing"
)

// after stops a search after so many attempts.
func after(attempts int) func() bool {
	return func() bool {
		attempts--
		return attempts < 0
	}
}

// drawn draws a morning.
func drawn(t *rapid.T) morning.Problem {
	p := morningtest.Make(morningtest.Options{
		Seed:   rapid.Uint64Range(0, 1<<20).Draw(t, "seed"),
		Trucks: rapid.IntRange(0, 6).Draw(t, "trucks"), CallOffs: rapid.IntRange(0, 9).Draw(t, "call-offs"),
		Rooms: rapid.IntRange(1, 4).Draw(t, "rooms"), BeamsPerRoom: rapid.IntRange(1, 14).Draw(t, "beams"),
		Hard: rapid.Bool().Draw(t, "hard"),
	})
	if rapid.Bool().Draw(t, "begun") {
		p.EarliestLoadingMinute = rapid.IntRange(0, 900).Draw(t, "earliest loading")
	}
	return p
}

func TestPlansBreakNoRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t)
		plan := routing.Plan(p, after(rapid.IntRange(0, 30).Draw(t, "attempts")))
		for _, v := range check.Plan(p, plan) {
			t.Error(v)
		}
	})
}

func TestSameMorningSamePlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t)
		one, two := routing.Plan(p, after(20)), routing.Plan(p, after(20))
		if !reflect.DeepEqual(one, two) {
			t.Fatal("two plans for one morning differ")
		}
	})
}

func TestBusyMorning(t *testing.T) {
	p := morningtest.Busy()
	beams := 0
	for _, o := range p.Orders {
		for _, r := range o.Rooms {
			beams += len(r.Beams)
		}
	}
	start := time.Now()
	first := routing.Plan(p, after(0))
	took := time.Since(start)
	start = time.Now()
	plan := routing.Plan(p, func() bool { return time.Since(start) > 500*time.Millisecond })
	for _, v := range check.Plan(p, plan) {
		t.Error(v)
	}
	t.Logf("%d beams; first plan %v: %s; then: %s (%s) in %v", beams, took, summary(first), summary(plan), plan.BoundReason, time.Since(start))
}

func summary(p morning.Plan) string {
	metres := 0
	for _, r := range p.Runs {
		metres += r.DistanceM
	}
	return fmt.Sprintf("%d runs, bound %d, %d rooms unserved, %d km, %d moved aside", len(p.Runs), p.LowerBound, len(p.Unserved), metres/1000, p.MovedAside)
}
