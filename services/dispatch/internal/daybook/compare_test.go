package daybook

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// carrying is a run of a truck that brings marks of room 01 of call-off C1.
func carrying(id, truck string, loading int, marks ...string) Run {
	r := Run{
		ID: id, TruckID: truck, Trip: 1, LoadingMinute: loading, LeaveMinute: loading + 30, BackMinute: loading + 120, DistanceM: 10_000, MassG: int64(len(marks)) * 84_000,
		Drops: []Drop{{Number: 1, SiteID: "north", ArriveMinute: loading + 50, UnloadMinute: loading + 50, LeaveMinute: loading + 70, CallOffIDs: []string{"C1"}}},
	}
	var tier []Item
	for _, m := range marks {
		tier = append(tier, Item{PieceID: "B1-" + m, Mark: m, Room: "01", CallOffID: "C1"})
	}
	r.Piles = []Pile{{Number: 1, DropNumber: 1, Tiers: [][]Item{tier}}}
	return r
}

func TestCompare(t *testing.T) {
	before := &Plan{Runs: []Run{
		carrying("P1-R01", "T1", 300, "1", "2"), carrying("P1-R02", "T2", 330, "3", "4"), carrying("P1-R03", "T3", 360, "5", "6", "7"),
		carrying("P1-R04", "T3", 500, "8"), carrying("P1-R05", "T1", 500, "9"),
	}}
	equal := carrying("P2-R01", "T1", 300, "1", "2")
	equal.Piles[0].Tiers[0][0].PieceID = "B2-1" // an equal beam is no difference
	after := &Plan{Runs: []Run{
		equal, carrying("P2-R02", "T1", 430, "3", "4"), carrying("P2-R03", "T3", 360, "5", "6"),
		carrying("P2-R04", "T3", 520, "8"), carrying("P2-R05", "T2", 700, "10"),
	}}
	got := Compare(before, after)
	want := []RunDifference{
		{OtherTruck, "P1-R02", "P2-R02", "R02, T1 to north: truck T1 instead of T2; loads 7:10 instead of 5:30, at north 8:00 instead of 6:20"},
		{OtherLoad, "P1-R03", "P2-R03", "R03, T3 to north: 1 beam off"},
		{OtherTimes, "P1-R04", "P2-R04", "R04, T3 to north: loads 8:40 instead of 8:20, at north 9:30 instead of 9:10"},
		{RunGone, "P1-R05", "", "R05, T1 to north: is not driven"},
		{RunNew, "", "P2-R05", "R05, T2 to north: is new, with 1 beam; loads 11:40"},
	}
	if diff := cmp.Diff(want, got.Runs); diff != "" {
		t.Error(diff)
	}
	if got.UnchangedRuns != 1 || got.Before.Beams != 9 || got.After.Beams != 8 {
		t.Errorf("%d runs as before, %d and %d beams", got.UnchangedRuns, got.Before.Beams, got.After.Beams)
	}
	calls := []CallOffDifference{{"C1", "8 beams instead of 9 beams; last unloaded at 12:30 instead of 9:10"}}
	if diff := cmp.Diff(calls, got.CallOffs); diff != "" {
		t.Error(diff)
	}
	if same := Compare(before, before); len(same.Runs)+len(same.CallOffs) != 0 || same.UnchangedRuns != 5 {
		t.Errorf("a plan differs from itself: %+v", same)
	}
}

// TestHitRuns: what stands still, is closed or comes late hits the runs that it
// concerns and no others.
func TestHitRuns(t *testing.T) {
	book := func() State {
		s := openYard(t)
		runs := []Run{carrying("P1-R01", "T1", 300, "1"), carrying("P1-R02", "T1", 430, "2"), carrying("P1-R03", "T2", 500, "3")}
		runs[1].Trip = 2
		for _, r := range runs {
			s = Evolve(s, RunConfirmed{PlanID: "P1", Day: testDay, Run: r})
		}
		return s
	}
	for _, tc := range []struct {
		name    string
		command Command
		want    []string
	}{
		{"truck out later", Hinder{Day: testDay, Hindrance: Hindrance{TruckID: "T1", FromMinute: 425, Reason: "gearbox"}}, []string{"P1-R02"}},
		{"truck out all day", Hinder{Day: testDay, Hindrance: Hindrance{TruckID: "T1", Reason: "gearbox"}}, []string{"P1-R01", "P1-R02"}},
		{"site closed from", Hinder{Day: testDay, Hindrance: Hindrance{SiteID: "north", FromMinute: 450, Reason: "water"}}, []string{"P1-R02", "P1-R03"}},
		{"site closed until", Hinder{Day: testDay, Hindrance: Hindrance{SiteID: "north", UntilMinute: 360, Reason: "water"}}, []string{"P1-R01"}},
		{"late, and the next waits for it", DelayRun{RunID: "P1-R01", Minutes: 15, Reason: "traffic"}, []string{"P1-R02"}},
		{"late, and in time for the next", DelayRun{RunID: "P1-R01", Minutes: 10, Reason: "traffic"}, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := book()
			events, err := Decide(s, tc.command)
			if err != nil || len(events) != 1 {
				t.Fatal(events, err)
			}
			s = Evolve(s, events[0])
			var got []string
			for _, h := range s.HitRuns(testDay, false) {
				got = append(got, h.RunID)
			}
			if diff := cmp.Diff(tc.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
	for name, c := range map[string]Command{
		"nobody":        Hinder{Day: testDay, Hindrance: Hindrance{Reason: "x"}},
		"unknown truck": Hinder{Day: testDay, Hindrance: Hindrance{TruckID: "T99", Reason: "x"}},
		"backwards":     Hinder{Day: testDay, Hindrance: Hindrance{SiteID: "north", FromMinute: 600, UntilMinute: 500, Reason: "x"}},
		"in the middle": Hinder{Day: testDay, Hindrance: Hindrance{SiteID: "north", FromMinute: 500, UntilMinute: 600, Reason: "x"}},
		"never late":    DelayRun{RunID: "P1-R01", Minutes: 0, Reason: "x"},
		"no such run":   DelayRun{RunID: "P9", Minutes: 5, Reason: "x"},
	} {
		if _, err := Decide(book(), c); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}
