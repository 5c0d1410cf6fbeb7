package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"spanyard.example/services/dispatch/internal/vrp"
)

// known are the rows of a family with its best known values; there are none, and
// the test says so, where the public sets are not.
func known(t *testing.T, family string) (options, []task) {
	dir := filepath.Join("..", "..", "..", "..", "..", "shared", "bench", "vrptw")
	if _, err := os.Stat(dir); err != nil {
		t.Skip("../shared/bench/vrptw is not there")
	}
	all, err := readTasks(filepath.Join(dir, "best_known.csv"))
	if err != nil {
		t.Fatal(err)
	}
	var out []task
	for _, k := range all {
		if k.family == family && kind(k.objective) != "" && k.best != "infeasible" && k.best != "inf" {
			out = append(out, k)
		}
	}
	return options{dir: dir, seed: 1}, out
}

// TestSmallTripsAreOptimal: the optima of 12 and 15 customers, several trips a
// vehicle, with and without release times, by exact dynamic programming
// (../shared/bench/README.md, section 2, mt_tiny).
func TestSmallTripsAreOptimal(t *testing.T) {
	o, tasks := known(t, "mt_tiny")
	o.iterations = 20_000
	for _, k := range tasks {
		got, err := solve(o, k)
		if err != nil {
			t.Fatalf("%s: %v", k.instance, err)
		}
		if got.absent > 0 || got.distance != got.bestDistance {
			t.Errorf("%s %s: distance %g, %d absent; the optimum is %g", k.instance, k.objective, got.distance, got.absent, got.bestDistance)
		}
	}
	if len(tasks) < 50 {
		t.Errorf("only %d instances were read", len(tasks))
	}
}

// TestSolomonByAFewPlans: M. Solomon's instances with clustered customers have
// the best known vehicles and distances after few plans, and those with
// scattered ones come near them (published values, ../shared/bench/README.md,
// section 2).
func TestSolomonByAFewPlans(t *testing.T) {
	o, tasks := known(t, "solomon100")
	o.iterations = 12_000
	n := 0
	for _, k := range tasks {
		most := map[string]float64{"C1": 0.01, "R1": 5, "RC1": 6}[k.class]
		if most == 0 || !strings.HasSuffix(k.instance, "1") && !strings.HasSuffix(k.instance, "5") {
			continue
		}
		got, err := solve(o, k)
		if err != nil {
			t.Fatalf("%s: %v", k.instance, err)
		}
		if got.absent > 0 || got.vehicles > got.bestVehicles || got.gap() > most {
			t.Errorf("%s: %d vehicles, %.2f; known are %d and %.2f", k.instance, got.vehicles, got.distance, got.bestVehicles, got.bestDistance)
		}
		n++
	}
	if n < 3 {
		t.Errorf("only %d instances were read", n)
	}
}

// three customers on a line, 10 apart.
func line() instance {
	return instance{
		capacity: 10, vehicles: 1, trips: false, fewest: true,
		places: []place{
			{due: 100},
			{x: 10, demand: 4, due: 100, service: 5},
			{x: 20, demand: 4, ready: 40, due: 50, service: 5},
			{x: 30, demand: 4, due: 100, service: 5},
		},
	}
}

func TestTheSimulatorFindsWhatIsWrong(t *testing.T) {
	in := line()
	in.capacity = 12
	if d, err := in.simulate([]vrp.Tour{{{1, 2, 3}}}, 0); err != nil || d != 60 {
		t.Errorf("30 there and 30 back are %g, %v", d, err)
	}
	for _, c := range []struct {
		name, want string
		change     func(*instance)
		tours      []vrp.Tour
		absent     int
	}{
		{"overloaded", "carries 12 of 10", func(in *instance) { in.capacity = 10 }, []vrp.Tour{{{1, 2, 3}}}, 0},
		{"too late", "is at 2 at 55", func(in *instance) { in.places[3].service = 15 }, []vrp.Tour{{{3, 2, 1}}}, 0},
		{"back too late", "is back at", func(in *instance) { in.places[0].due = 79 }, []vrp.Tour{{{1, 2, 3}}}, 0},
		{"twice", "was visited", func(*instance) {}, []vrp.Tour{{{1, 2, 1}}}, 0},
		{"nobody", "is no customer", func(*instance) {}, []vrp.Tour{{{1, 4}}}, 0},
		{"forgotten", "2 customers are visited", func(*instance) {}, []vrp.Tour{{{1, 2}}}, 0},
		{"too many vehicles", "2 vehicles of 1", func(*instance) {}, []vrp.Tour{{{1, 2}}, {{3}}}, 0},
		{"a second trip", "makes 2 trips", func(*instance) {}, []vrp.Tour{{{1, 2}, {3}}}, 0},
	} {
		in := line()
		in.capacity = 12
		c.change(&in)
		if _, err := in.simulate(c.tours, c.absent); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// TestReleaseDelaysATrip: a trip leaves when its last order can be loaded.
func TestReleaseDelaysATrip(t *testing.T) {
	in := line()
	in.trips, in.capacity = true, 12
	// In tenths: the trip leaves at 420 and is at customer 2 at 620.
	for i := range in.places {
		in.places[i].due, in.places[i].ready = 10*in.places[i].due, 10*in.places[i].ready
	}
	in.places[2].release = 420
	if _, err := in.simulate([]vrp.Tour{{{2}}}, 2); err == nil || !strings.Contains(err.Error(), "is at 2 at 620") {
		t.Errorf("a trip that leaves before its order: %v", err)
	}
	if d, err := in.simulate([]vrp.Tour{{{1, 3}}}, 1); err != nil || d != 600 {
		t.Errorf("a trip that waits for nothing: %g, %v", d, err)
	}
}
