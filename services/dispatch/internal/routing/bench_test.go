package routing_test

import (
	"testing"
	"time"

	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/morning/morningtest"
	"spanyard.example/services/dispatch/internal/routing"
)

// BenchmarkFirstPlan is the time to the first whole plan of a morning of 10
// call-offs, about 400 beams and 5 trucks.
func BenchmarkFirstPlan(b *testing.B) {
	p := morningtest.Busy()
	var plan morning.Plan
	for b.Loop() {
		plan = routing.Plan(p, after(0))
	}
	report(b, plan)
}

// BenchmarkHalfSecond is the same morning with half a second for it.
func BenchmarkHalfSecond(b *testing.B) {
	p := morningtest.Busy()
	var plan morning.Plan
	for b.Loop() {
		until := time.Now().Add(500 * time.Millisecond)
		plan = routing.Plan(p, func() bool { return time.Now().After(until) })
	}
	report(b, plan)
}

func report(b *testing.B, plan morning.Plan) {
	b.ReportMetric(float64(len(plan.Runs)), "runs")
	b.ReportMetric(float64(plan.LowerBound), "bound")
	b.ReportMetric(float64(len(plan.Unserved)), "unserved-rooms")
}
