package routing_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"spanyard.example/services/dispatch/internal/check"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/morning/morningtest"
	"spanyard.example/services/dispatch/internal/routing"
)

// TestRealRoads plans made-up mornings on real road distances between places of
// French départements (../shared/floors/travel: instances of Duhamel, Lacomme and
// Prodhon, 2009): a plan is there at once, it drives by the table, and it breaks
// no rule.
func TestRealRoads(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "..", "..", "..", "shared", "floors", "travel", "*.json"))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Skip("../shared/floors/travel is not beside the repository: real roads are not tried here")
	}
	for _, file := range files {
		p, places := onRoads(t, file)
		began := time.Now()
		plan := routing.Plan(p, after(20))
		took := time.Since(began)
		for _, v := range check.Plan(p, plan) {
			t.Errorf("%s: %v", filepath.Base(file), v)
		}
		if len(plan.Runs) == 0 {
			t.Errorf("%s: nothing is brought anywhere", filepath.Base(file))
		}
		t.Logf("%s, %d places: %s in %v", filepath.Base(file), places, summary(plan), took.Round(time.Millisecond))
	}
}

// roadKMPerH is how fast trucks are on these roads, all in all.
const roadKMPerH = 60

// onRoads is a morning whose sites are the first of a file's places, as many as
// a morning has.
func onRoads(t *testing.T, file string) (morning.Problem, int) {
	t.Helper()
	content, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var roads struct {
		Depot     int     `json:"depot"`
		DistanceM [][]int `json:"distance_m"`
	}
	if err := json.Unmarshal(content, &roads); err != nil {
		t.Fatal(err)
	}
	const callOffs, trucks = 24, 10
	p := morningtest.Make(morningtest.Options{Seed: uint64(len(roads.DistanceM)), Trucks: trucks, CallOffs: callOffs, Rooms: 3, BeamsPerRoom: 10})
	for i := range p.Orders {
		p.Orders[i].Window = morning.Window{OpensMinute: 6 * 60, ClosesMinute: 16 * 60}
	}
	at := map[string]int{"": roads.Depot}
	ids := []string{""}
	for i, s := range p.Sites {
		place := i
		if place >= roads.Depot {
			place++
		}
		if place >= len(roads.DistanceM) {
			t.Fatalf("%s has only %d places", file, len(roads.DistanceM))
		}
		at[s.ID] = place
		ids = append(ids, s.ID)
	}
	for _, from := range ids {
		for _, to := range ids {
			if from != to {
				m := roads.DistanceM[at[from]][at[to]]
				p.Travel = append(p.Travel, morning.Leg{FromID: from, ToID: to, Metres: m, Minutes: (m*60 + roadKMPerH*1000 - 1) / (roadKMPerH * 1000)})
			}
		}
	}
	return p, len(roads.DistanceM)
}
