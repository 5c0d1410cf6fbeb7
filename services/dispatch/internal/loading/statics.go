package loading

import (
	"math"

	"spanyard.example/services/dispatch/internal/morning"
)

// mass is a load that acts at one point of the truck. The lever is twice the
// distance from the front axle, so that half millimetres stay whole numbers.
type mass struct {
	g       int64
	lever2x int64
}

// axles returns what rests on the front and the rear axle, in grams, with the
// masses on the truck: moments about the front axle give the rear reaction,
// and the sum of the weights gives the front one.
func axles(t morning.Truck, masses []mass) (frontG, rearG float64) {
	var sum, moment2x int64
	for _, m := range masses {
		sum += m.g
		moment2x += m.g * m.lever2x
	}
	onRear := float64(moment2x) / float64(2*t.WheelbaseMM)
	frontG = float64(t.TareFrontKg)*1000 + float64(sum) - onRear
	rearG = float64(t.TareRearKg)*1000 + onRear
	return frontG, rearG
}

// kilograms rounds grams to the nearest kilogram.
func kilograms(g float64) int { return int(math.Round(g / 1000)) }

// CapacityG is the greatest load that the truck can carry wherever it stands
// on the deck: the least of payload, gross mass and both axles together.
func CapacityG(t morning.Truck) int64 {
	tare := t.TareFrontKg + t.TareRearKg
	kg := min(t.PayloadKg, t.MaxGrossKg-tare, t.MaxFrontKg+t.MaxRearKg-tare)
	return int64(max(kg, 0)) * 1000
}

// shifts is the span of distances by which a whole arrangement can be moved
// towards the tail so that a condition holds; empty when from > to.
type shifts struct{ from, to int64 }

// within narrows the span to the shifts at which the masses keep both axles
// within their limits and the front axle on the road. Each condition is linear
// in the shift, so the span is exact.
func (s shifts) within(t morning.Truck, sumG, moment2x int64) shifts {
	if sumG == 0 {
		return s
	}
	wb2 := int64(2 * t.WheelbaseMM)
	// Rear: tare*wb2 + moment + 2*shift*sum <= max*wb2.
	roomRear := int64(t.MaxRearKg-t.TareRearKg)*1000*wb2 - moment2x
	s.to = min(s.to, floorDiv(roomRear, 2*sumG))
	// Front not above its limit: (tare+sum)*wb2 - moment - 2*shift*sum <= max*wb2.
	over := (int64(t.TareFrontKg-t.MaxFrontKg)*1000+sumG)*wb2 - moment2x
	s.from = max(s.from, -floorDiv(-over, 2*sumG))
	// Front not lifted: (tare+sum)*wb2 - moment - 2*shift*sum >= 0.
	left := (int64(t.TareFrontKg)*1000+sumG)*wb2 - moment2x
	s.to = min(s.to, floorDiv(left, 2*sumG))
	return s
}

// floorDiv divides and rounds towards minus infinity; b is positive.
func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
