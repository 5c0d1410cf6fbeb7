package vrp

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// made makes up a problem of a few customers.
func made(seed uint64, customers int, trips bool) Problem {
	r := rand.New(rand.NewPCG(seed, 3))
	p := Problem{Close: 400, Capacity: 10, Vehicles: 2, Trips: trips, FewestVehicles: !trips, Customers: make([]Customer, 1)}
	if !trips {
		p.Vehicles = customers
	}
	at := [][2]float64{{50, 50}}
	for range customers {
		at = append(at, [2]float64{r.Float64() * 100, r.Float64() * 100})
		c := Customer{Demand: float64(1 + r.IntN(5)), Ready: float64(r.IntN(150)), Service: 5}
		c.Due = c.Ready + 60 + float64(r.IntN(150))
		if trips && r.IntN(3) == 0 {
			c.Release = float64(r.IntN(40))
		}
		p.Customers = append(p.Customers, c)
	}
	for _, a := range at {
		var row []float64
		for _, b := range at {
			row = append(row, math.Floor(math.Hypot(a[0]-b[0], a[1]-b[1])))
		}
		p.Distance = append(p.Distance, row)
	}
	return p
}

// drive simulates a tour stop by stop; false when it breaks a rule.
func drive(p Problem, tour Tour) (distance float64, ok bool) {
	now := 0.0
	for _, trip := range tour {
		load, at := 0.0, 0
		for _, c := range trip {
			now = max(now, p.Customers[c].Release)
			load += p.Customers[c].Demand
		}
		for _, c := range trip {
			distance += p.Distance[at][c]
			now = max(now+p.Distance[at][c], p.Customers[c].Ready)
			if now > p.Customers[c].Due {
				return 0, false
			}
			now += p.Customers[c].Service
			at = c
		}
		distance += p.Distance[at][0]
		now += p.Distance[at][0]
		if load > p.Capacity || now > p.Close {
			return 0, false
		}
	}
	return distance, true
}

// optimum tries every way to serve all customers: the fewest vehicles and the
// least distance with them, or with at most so many.
func optimum(p Problem) (vehicles int, distance float64) {
	n := len(p.Customers) - 1
	// alone[set] is the least distance of one vehicle that serves a set.
	alone := make([]float64, 1<<n)
	for i := range alone {
		alone[i] = math.Inf(1)
	}
	alone[0] = 0
	var extend func(tour Tour, set int)
	extend = func(tour Tour, set int) {
		if d, ok := drive(p, tour); ok {
			alone[set] = min(alone[set], d)
		} else if len(tour[len(tour)-1]) > 0 {
			return // whatever is added makes it later
		}
		for c := 1; c <= n; c++ {
			if set>>(c-1)&1 == 1 {
				continue
			}
			last := len(tour) - 1
			longer := slices.Clone(tour)
			longer[last] = append(slices.Clone(tour[last]), c)
			extend(longer, set|1<<(c-1))
			if p.Trips && len(tour[last]) > 0 {
				extend(append(slices.Clone(tour), []int{c}), set|1<<(c-1))
			}
		}
	}
	extend(Tour{nil}, 0)
	all := 1<<n - 1
	with := slices.Clone(alone) // least distance with so many vehicles
	for k := 1; k <= p.Vehicles; k++ {
		if k > 1 {
			next := slices.Clone(with)
			for set := range with {
				for sub := set; sub > 0; sub = (sub - 1) & set {
					next[set] = min(next[set], alone[sub]+with[set&^sub])
				}
			}
			with = next
		}
		if p.FewestVehicles && !math.IsInf(with[all], 1) {
			return k, with[all]
		}
	}
	return p.Vehicles, with[all]
}

// TestAgainstBruteForce: tours keep every rule, and small problems are solved
// as well as can be.
func TestAgainstBruteForce(t *testing.T) {
	for seed := range uint64(40) {
		for _, trips := range []bool{false, true} {
			p := made(seed, 6, trips)
			if p.check() != nil {
				continue
			}
			t.Run(fmt.Sprintf("%d %v", seed, trips), func(t *testing.T) {
				vehicles, best := optimum(p)
				got, err := Solve(p, Budget{Seed: seed, Iterations: 3000})
				if err != nil {
					t.Fatal(err)
				}
				if math.IsInf(best, 1) {
					if len(got.Absent) == 0 {
						t.Errorf("tours for all, which cannot be: %v", got.Tours)
					}
					return
				}
				sum := 0.0
				for _, tour := range got.Tours {
					d, ok := drive(p, tour)
					if !ok {
						t.Errorf("%v breaks a rule", tour)
					}
					sum += d
				}
				if len(got.Absent) > 0 || sum != got.Distance || sum > best || len(got.Tours) > vehicles {
					t.Errorf("%d vehicles, distance %g, absent %v; the best are %d and %g", len(got.Tours), sum, got.Absent, vehicles, best)
				}
			})
		}
	}
}

// TestToursKeepTheRules on larger problems, stopped anywhere; and the same seed
// gives the same tours.
func TestToursKeepTheRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := made(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(1, 40).Draw(t, "customers"), rapid.Bool().Draw(t, "trips"))
		p.Vehicles = len(p.Customers)
		if p.check() != nil {
			return
		}
		b := Budget{Seed: 5, Iterations: rapid.IntRange(1, 200).Draw(t, "iterations")}
		got, err := Solve(p, b)
		if err != nil {
			t.Fatal(err)
		}
		seen := map[int]bool{}
		for _, tour := range got.Tours {
			if _, ok := drive(p, tour); !ok || len(tour) > 1 && !p.Trips {
				t.Fatalf("%v breaks a rule", tour)
			}
			for _, c := range slices.Concat(tour...) {
				if seen[c] {
					t.Fatalf("customer %d is visited twice", c)
				}
				seen[c] = true
			}
		}
		if len(seen)+len(got.Absent) != len(p.Customers)-1 || len(got.Absent) > 0 {
			t.Fatalf("%d are visited, %v absent of %d; there is a vehicle for each", len(seen), got.Absent, len(p.Customers)-1)
		}
		again, err := Solve(p, b)
		if diff := cmp.Diff(got, again); diff != "" || err != nil {
			t.Fatalf("another answer the second time: %v\n%s", err, diff)
		}
	})
}

func TestProblemsAreChecked(t *testing.T) {
	p := made(1, 5, false)
	p.Customers[3].Demand = 99
	if _, err := Solve(p, Budget{Iterations: 1}); err == nil {
		t.Error("a customer who wants more than a vehicle takes is accepted")
	}
	if _, err := Solve(Problem{}, Budget{Iterations: 1}); err == nil {
		t.Error("a problem without customers is accepted")
	}
}
