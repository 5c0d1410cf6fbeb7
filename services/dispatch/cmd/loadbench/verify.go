package main

import (
	"fmt"
	"math"
)

// verify drives the routes by the instance itself, sharing nothing with the
// planner: every customer is visited once, and what is on the deck at
// departure and after every delivery keeps all limits. It returns the
// distance.
func (in instance) verify(routes [][]int, axles bool) (float64, error) {
	visits := make([]int, len(in.customers))
	total := 0.0
	for n, route := range routes {
		here := in.depot
		for _, c := range route {
			if c < 0 || c >= len(in.customers) {
				return 0, fmt.Errorf("route %d visits customer %d, whom there is not", n+1, c+1)
			}
			visits[c]++
		}
		for delivered, c := range route {
			total += math.Hypot(in.customers[c].at[0]-here[0], in.customers[c].at[1]-here[1])
			here = in.customers[c].at
			if err := in.onDeck(route[delivered:], axles); err != nil {
				return 0, fmt.Errorf("route %d after %d deliveries: %w", n+1, delivered, err)
			}
		}
		total += math.Hypot(in.depot[0]-here[0], in.depot[1]-here[1])
	}
	for c, times := range visits {
		if times != 1 {
			return 0, fmt.Errorf("customer %d is visited %d times", c+1, times)
		}
	}
	return total, nil
}

// onDeck checks the pallets of the customers still to come: the last of them
// was loaded first and stands in front.
func (in instance) onDeck(toCome []int, axles bool) error {
	var mass, onRear float64
	place := 0
	for i := len(toCome) - 1; i >= 0; i-- {
		for _, kg := range in.customers[toCome[i]].pallets {
			front := float64(palletCM * (place / abreast))
			mass += float64(kg)
			onRear += float64(kg) * (float64(in.axleToCargo) + front + palletCM/2) / float64(in.wheelbase)
			place++
		}
	}
	const slack = 1e-6
	switch {
	case place > places:
		return fmt.Errorf("%d pallets stand on %d places", place, places)
	case mass > float64(in.maxMass):
		return fmt.Errorf("%.0f kg are more than %d kg", mass, in.maxMass)
	case axles && onRear > float64(in.maxRear)+slack:
		return fmt.Errorf("%.1f kg rest on the rear axle, more than %d kg", onRear, in.maxRear)
	case axles && mass-onRear > float64(in.maxFront)+slack:
		return fmt.Errorf("%.1f kg rest on the front axle, more than %d kg", mass-onRear, in.maxFront)
	}
	return nil
}
