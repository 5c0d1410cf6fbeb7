package loading

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/morning"
)

// TestAxlesByHand checks reactions worked by hand: moments about the front
// axle, then the sum of the weights (statics of a beam on two supports).
func TestAxlesByHand(t *testing.T) {
	two := morning.Truck{TareFrontKg: 4200, TareRearKg: 2800, WheelbaseMM: 5200}
	three := morning.Truck{TareFrontKg: 6500, TareRearKg: 4500, WheelbaseMM: 5275}
	for _, c := range []struct {
		name        string
		truck       morning.Truck
		masses      []mass
		front, rear float64
	}{
		// 9000*3.9/5.2 = 6750 on the rear axle.
		{"two axles, 9 t at three quarters", two, []mass{{9_000_000, 2 * 3900}}, 6450, 9550},
		{"two axles, 9 t in the middle", two, []mass{{9_000_000, 2 * 2600}}, 8700, 7300},
		// (5000*2.6 + 5000*4.6 + 4500*6.6)/5.275 = 65700/5.275 = 12455.0
		{"three axles, three piles", three, []mass{{5_000_000, 2 * 2600}, {5_000_000, 2 * 4600}, {4_500_000, 2 * 6600}}, 8545.0, 16955.0},
		{"empty", two, nil, 4200, 2800},
	} {
		front, rear := axles(c.truck, c.masses)
		if math.Abs(front/1000-c.front) > 0.05 || math.Abs(rear/1000-c.rear) > 0.05 {
			t.Errorf("%s: %.1f and %.1f kg, want %.1f and %.1f", c.name, front/1000, rear/1000, c.front, c.rear)
		}
	}
}

func TestReactionsAddUpToWeights(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		truck := morning.Truck{TareFrontKg: 4200, TareRearKg: 2800, WheelbaseMM: rapid.IntRange(2500, 7000).Draw(t, "wheelbase")}
		sum := 7000e3
		var masses []mass
		for range rapid.IntRange(0, 8).Draw(t, "masses") {
			m := mass{rapid.Int64Range(0, 9e6).Draw(t, "g"), rapid.Int64Range(-1000, 20000).Draw(t, "lever")}
			masses = append(masses, m)
			sum += float64(m.g)
		}
		if front, rear := axles(truck, masses); math.Abs(front+rear-sum) > 1e-3 {
			t.Fatalf("%f + %f is not %f", front, rear, sum)
		}
	})
}

// TestShiftsAgreeWithStatics: at both ends of the span the limits hold, and a
// millimetre beyond one of them is broken.
func TestShiftsAgreeWithStatics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		truck := morning.Truck{
			TareFrontKg: 4200, TareRearKg: 2800, WheelbaseMM: rapid.IntRange(3000, 6000).Draw(t, "wheelbase"),
			MaxFrontKg: rapid.IntRange(4200, 9000).Draw(t, "front"), MaxRearKg: rapid.IntRange(2800, 12000).Draw(t, "rear"),
		}
		m := mass{rapid.Int64Range(1000, 12e6).Draw(t, "g"), rapid.Int64Range(0, 16000).Draw(t, "lever")}
		const room = 4000
		s := shifts{0, room}.within(truck, m.g, m.g*m.lever2x)
		holds := func(shift int64) bool {
			front, rear := axles(truck, []mass{{m.g, m.lever2x + 2*shift}})
			return front <= float64(truck.MaxFrontKg)*1000+1e-6 && rear <= float64(truck.MaxRearKg)*1000+1e-6 && front >= -1e-6
		}
		for shift := int64(0); shift <= room; shift++ {
			if inside := s.from <= shift && shift <= s.to; inside != holds(shift) {
				t.Fatalf("shift %d: span %v says %v", shift, s, inside)
			}
		}
	})
}

// TestAxleSharesAsPublished: a load 133 in behind the front axle of a
// wheelbase of 214 in rests to 62.15 % on the rear axle (a truck body-builder
// manual, p. 77; its front share is a misprint, the two make 100 %).
func TestAxleSharesAsPublished(t *testing.T) {
	// In tenths of an inch; only ratios matter.
	front, rear := axles(morning.Truck{WheelbaseMM: 2140}, []mass{{g: 100_000, lever2x: 2 * 1330}})
	if math.Abs(rear/1000-62.15) > 0.005 || math.Abs(front/1000-37.85) > 0.005 {
		t.Errorf("%.3f %% and %.3f %%", front/1000, rear/1000)
	}
}
