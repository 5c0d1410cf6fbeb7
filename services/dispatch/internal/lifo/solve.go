package lifo

import (
	"math"

	"spanyard.example/services/kit/fault"
)

// Effort says how much Solve may do.
type Effort struct {
	// Labels extended at each number of customers.
	Labels int
	// Steps of the search for a cover.
	Steps int
	// Rounds of choosing promising routes anew where there are too many.
	Rounds int
}

// Thorough is enough to prove plans of some 25 customers.
var Thorough = Effort{Labels: 6_000_000, Steps: 200_000_000, Rounds: 1}

// Quick gives good plans of 100 customers without a proof.
var Quick = Effort{Labels: 15_000, Steps: 3_000_000, Rounds: 4}

// Solve plans routes of least total distance. It refuses a problem for which
// it finds none; after a search that left nothing out there is none.
func Solve(p Problem, e Effort) (Plan, error) {
	rows := len(p.Masses)
	if rows > 128 {
		return Plan{}, fault.New(fault.Invalid, "TOO_MANY_CUSTOMERS", "at most 128 customers are planned together")
	}
	price := make([]float64, rows)
	for c := range price {
		price[c] = 2 * p.Distance[0][c+1]
	}
	best := Plan{Distance: math.Inf(1), LowerBound: capacityBound(&p)}
	for range max(1, e.Rounds) {
		r := enumerate(&p, e.Labels, price)
		var bound float64
		price, bound = priced(r.columns, rows)
		taken, proved := covered(r.columns, rows, bound, e.Steps)
		if taken == nil {
			taken = greedy(r.columns, rows)
		}
		if plan := r.plan(taken); taken != nil && plan.Distance < best.Distance-tiny {
			best.Routes, best.Distance = plan.Routes, plan.Distance
		}
		best.Loadable = len(r.columns)
		if !r.cut {
			best.LowerBound = math.Max(best.LowerBound, bound)
			if best.Proved = proved; proved {
				best.LowerBound = best.Distance
			}
			break
		}
	}
	if best.Routes == nil {
		return Plan{}, fault.New(fault.Refused, "DOES_NOT_FIT", "no routes were found on which every customer's pallets fit")
	}
	return best, nil
}

func (r *routes) plan(taken []*column) Plan {
	var plan Plan
	for _, c := range taken {
		plan.Routes = append(plan.Routes, r.route(c))
	}
	plan.Distance = length(r.problem, plan.Routes)
	return plan
}

func length(p *Problem, routes [][]int) float64 {
	var sum float64
	for _, route := range routes {
		at := 0
		for _, c := range route {
			sum += p.Distance[at][c+1]
			at = c + 1
		}
		sum += p.Distance[at][0]
	}
	return sum
}

// capacityBound holds for every plan: a truck that serves a customer goes at
// least there and back, and a customer's share of its places or of its mass
// bears that share of the way.
func capacityBound(p *Problem) float64 {
	var places, masses float64
	for c, pallets := range p.Masses {
		there := 2 * p.Distance[0][c+1]
		mass := 0
		for _, m := range pallets {
			mass += m
		}
		places += there * float64(len(pallets)) / float64(p.Places)
		masses += there * float64(mass) / float64(p.MaxMass)
	}
	return math.Max(places, masses)
}
