package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestSmallInstancesOfTheSet plans instances with 10 and 15 customers to their
// proved optima; solve itself refuses a distance that differs.
func TestSmallInstancesOfTheSet(t *testing.T) {
	dir := filepath.Join("..", "..", "..", "..", "..", "shared", "bench", "loading")
	if _, err := os.Stat(dir); err != nil {
		t.Skip("../shared/bench/loading is not there")
	}
	rows, err := readKnown(filepath.Join(dir, "best_known.csv"))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, row := range rows {
		if row.customers() > 15 {
			continue
		}
		r, err := solve(options{dir: dir}, row)
		if err != nil {
			t.Fatalf("%s: %v", row.instance, err)
		}
		if !r.plan.Proved || r.gap() != 0 {
			t.Errorf("%s (%s): %f, proved %v, known %f", row.instance, row.class(), r.plan.Distance, r.plan.Proved, row.best)
		}
		n++
	}
	if n != 84 {
		t.Errorf("%d instances, not 84", n)
	}
}

// two customers on a line, with 2 and 4 pallets of 1000 kg.
var line = instance{
	maxMass: 32200, wheelbase: 550, maxFront: 11600, maxRear: 21000, axleToCargo: -100,
	customers: []customer{
		{at: [2]float64{3, 0}, pallets: []int{1000, 1000}},
		{at: [2]float64{0, 4}, pallets: []int{1000, 1000, 1000, 1000}},
	},
}

func TestVerifyFindsWhatIsWrong(t *testing.T) {
	if d, err := line.verify([][]int{{0, 1}}, true); err != nil || d != 12 {
		t.Errorf("3 + 5 + 4 is %f (%v)", d, err)
	}
	weakFront, weakRear, light := line, line, line
	// The customer delivered last stands in front, 60 cm before the coupling
	// and 20 cm behind it: 2000*(-60+20)/550 = -145.5 kg rest on the rear axle.
	// The other's pallets stand 100 cm behind it, 2000*100/550 = 363.6 kg.
	weakRear.maxRear = 200
	// With a wheelbase of 50 cm they are -1600 kg and 4000 kg: of the 5600 kg
	// on the front axle the pallets at the back take 2000 kg.
	weakFront.wheelbase, weakFront.maxFront = 50, 5000
	light.maxMass = 5999
	for _, c := range []struct {
		name, want string
		in         instance
		routes     [][]int
	}{
		{"a customer left out", "visited 0 times", line, [][]int{{0}}},
		{"a customer twice", "visited 2 times", line, [][]int{{0, 1}, {1}}},
		{"a customer that is not there", "whom there is not", line, [][]int{{0, 1, 2}}},
		{"too heavy", "more than 5999 kg", light, [][]int{{0, 1}}},
		{"too much in front after the first delivery", "after 1 deliveries: 5600.0 kg rest on the front axle", weakFront, [][]int{{0, 1}}},
		{"too much behind", "218.2 kg rest on the rear axle", weakRear, [][]int{{0, 1}}},
	} {
		if _, err := c.in.verify(c.routes, true); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
