package daybook

import (
	"strings"
	"testing"
)

// TestRedrawnFloor: a newer revision hits the beams on runs that it wants
// otherwise, before and after the run is confirmed, and no others.
func TestRedrawnFloor(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01"), testCallOff("C2", "1", "02")}})
	s, plan := p.draft(t, s, testDay)
	s = must(t, s, ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"})
	same := testFloor("J1", "1", 4)
	same.Revision = 2
	confirmed := must(t, must(t, s, LearnFloor{Floor: same}), FinishConfirm{PlanID: plan})
	if run, _ := confirmed.Run(plan + "-R01"); run.State != RunConfirmedState {
		t.Errorf("a revision with the same beams leaves the run %v: %v", run.State, run.Hits)
	}
	changed := testFloor("J1", "1", 4)
	changed.Revision = 2
	longer, gone := &changed.Rooms[0].Beams[1], changed.Rooms[0].Beams[0].Mark
	longer.Product.LengthMM = 5000
	changed.Rooms[0].Beams[0].Mark = "1-01-99"
	for name, after := range map[string]State{
		"before": must(t, must(t, s, LearnFloor{Floor: changed}), FinishConfirm{PlanID: plan}),
		"after":  must(t, must(t, s, FinishConfirm{PlanID: plan}), LearnFloor{Floor: changed}),
	} {
		run, _ := after.Run(plan + "-R01")
		reasons := map[string]string{}
		for _, h := range run.Hits {
			if h.Kind != Redrawn || h.Where != "reserved" {
				t.Errorf("%s: hit %+v", name, h)
			}
			reasons[h.Mark] = h.Reason
		}
		if run.State != RunHitState || len(reasons) != 2 || !strings.Contains(reasons[gone], "has no beam") || !strings.Contains(reasons[longer.Mark], "5000 mm") {
			t.Errorf("%s: state %v, hits %v", name, run.State, reasons)
		}
		refusedWith(t, after, DepartRun{RunID: run.Run.ID, DepartedBy: "Cy Example"}, "RUN_HIT")
	}
}
