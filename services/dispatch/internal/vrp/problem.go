// Package vrp plans tours with time windows: vehicles of one capacity serve
// customers within their windows, once or on several trips, with as few
// vehicles as possible first or with a given number, over the least distance.
//
// It is a model of package lns, the engine that plans mornings too: strings of
// neighbouring customers are ruined and recreated greedily with blinks, under
// simulated annealing (J. Christiaens, G. Vanden Berghe, "Slack Induction by
// String Removals for Vehicle Routing Problems", Transportation Science 54, 2020).
// Vehicles are got rid of first, by ejection (fewerVehicles). It has neither clock
// nor chance: the same problem, seed and iterations give the same tours.
package vrp

import (
	"errors"
	"fmt"
)

// Customer is who is visited.
type Customer struct {
	Demand float64
	// Service starts within the window; who is early waits.
	Ready, Due, Service float64
	// Release is when the order can be loaded; a trip starts when all of its
	// orders can.
	Release float64
}

// Problem is a set of customers and the vehicles. Customers are numbered from 1;
// 0 is the depot.
type Problem struct {
	// Distance and time from one to another, alike: [from][to].
	Distance [][]float64
	// Customers[0] is not looked at.
	Customers []Customer
	// Close is when the last vehicle has to be back.
	Close    float64
	Capacity float64
	// Vehicles is how many there are at most.
	Vehicles int
	// Trips says that a vehicle may come back and load again.
	Trips bool
	// FewestVehicles counts before distance.
	FewestVehicles bool
}

// Tour is what one vehicle does: its trips, and whom each visits in order.
type Tour [][]int

// Solution is a tour for each vehicle that is used.
type Solution struct {
	Tours []Tour
	// Distance of all tours together.
	Distance float64
	// Absent are the customers that no tour serves; empty in a whole solution.
	Absent []int
	// Iterations that were made.
	Iterations int
}

// Budget of a search.
type Budget struct {
	Seed uint64
	// Iterations at most.
	Iterations int
	// Spent returns how much of the time for the search is over, from 0; at 1 it
	// stops. Nil counts iterations only.
	Spent func() float64
}

func (p Problem) check() error {
	n := len(p.Customers)
	if n < 2 || len(p.Distance) != n {
		return errors.New("there is no customer, or no distance to one")
	}
	if p.Vehicles < 1 || !(p.Capacity > 0) {
		return errors.New("there is no vehicle, or none that can carry anything")
	}
	for i, row := range p.Distance {
		if len(row) != n {
			return fmt.Errorf("%d distances from %d, there are %d places", len(row), i, n)
		}
	}
	for i := 1; i < n; i++ {
		c := p.Customers[i]
		if c.Demand > p.Capacity {
			return fmt.Errorf("customer %d wants %g, a vehicle takes %g", i, c.Demand, p.Capacity)
		}
		start := max(c.Ready, c.Release+p.Distance[0][i])
		if start > c.Due || start+c.Service+p.Distance[i][0] > p.Close {
			return fmt.Errorf("customer %d cannot be reached in time by any vehicle", i)
		}
	}
	return nil
}
