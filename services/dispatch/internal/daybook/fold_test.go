package daybook

import (
	"encoding/json"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"spanyard.example/services/kit/civil"
)

// delivered plays one whole morning of a yard: a floor of so many rooms is
// called off, planned, confirmed, driven and set down.
func delivered(t fatal, s State, p *planner, day civil.Day, rooms int) State {
	t.Helper()
	floor := fmt.Sprintf("%d", int(day))
	s = must(t, s, LearnFloor{Floor: testFloor("J1", floor, rooms)})
	call := testCallOff("C"+floor, floor)
	call.Day = day.String()
	s = must(t, s, CallOffRooms{CallOffs: []CallOff{call}})
	s, plan := p.draft(t, s, call.Day)
	s = must(t, must(t, s, ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"}), FinishConfirm{PlanID: plan})
	for _, r := range s.Runs(call.Day) {
		s = must(t, s, DepartRun{RunID: r.Run.ID, DepartedBy: "Cy Example"})
		s = must(t, s, DeliverDrop{RunID: r.Run.ID, DropNumber: 1, ReceivedBy: "Di Example"})
	}
	return s
}

func TestOldDaysAreFolded(t *testing.T) {
	var p planner
	s := openYard(t)
	first, _ := civil.ParseDay("2031-01-01")
	s = delivered(t, s, &p, first, 2)
	// A run that never came back keeps its day from being folded.
	stuck := first + 1
	call := testCallOff("C-stuck", "1", "01")
	call.Day = stuck.String()
	s = must(t, s, CallOffRooms{CallOffs: []CallOff{call}})
	s, plan := p.draft(t, s, call.Day)
	s = must(t, must(t, s, ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"}), FinishConfirm{PlanID: plan})
	s = must(t, s, DepartRun{RunID: plan + "-R01", DepartedBy: "Cy Example"})

	s = delivered(t, s, &p, first+keepRunsDays, 1)
	if err := s.CheckRunsKept(first.String()); err != nil || len(s.Runs(first.String())) != 1 {
		t.Errorf("folded after %d days: %v", keepRunsDays, err)
	}
	s = delivered(t, s, &p, first+keepRunsDays+2, 1)
	run := first.String() + "-P1-R01"
	f := refusedWith(t, s, DepartRun{RunID: run, DepartedBy: "Cy Example"}, "DAY_FOLDED")
	if !strings.Contains(f.Sentence, "2031-01-01") || !strings.Contains(f.Sentence, "Delivered: 1, cancelled: 0") {
		t.Errorf("got %s", f.Sentence)
	}
	if s.DayOfRun(run) != first.String() || s.DayOfRun(stuck.String()+"-P1-R01") != stuck.String() || s.DayOfRun("2031-01-01-P") == "" || s.DayOfRun("R1") != "" {
		t.Error("the days of the runs are lost")
	}
	if err := s.CheckRunsKept(stuck.String()); err != nil {
		t.Errorf("a run is on the road and its day is folded: %v", err)
	}
	if p, ok := s.Plan(first.String() + "-P1"); !ok || p.Size() != (FoldedPlan{Runs: 1, Pieces: 8, MassG: 1_104_000}) || p.Plan.Runs != nil {
		t.Errorf("of the plan is kept %+v", p.Size())
	}
	// What was brought stays brought.
	floor := fmt.Sprintf("%d", int(first))
	refusedWith(t, s, CancelCallOff{CallOffID: "C" + floor, Reason: "any"}, "CALL_OFF_ON_RUN")
	if left := s.Outstanding(first.String()); len(left) != 0 {
		t.Errorf("left %+v", left)
	}
	again := testCallOff("C-again", floor)
	again.Day = (first + 100).String()
	refusedWith(t, s, CallOffRooms{CallOffs: []CallOff{again}}, "BAD_CALL_OFFS")
	if ids := Recall("testyard", s.Memo()).ConfirmedCallOffs(first.String()); len(ids) != 1 {
		t.Errorf("recalled as confirmed: %v", ids)
	}
}

// BenchmarkThousandDays is what a yard of 300 beams and 100 pallets a day takes
// after 1,000 days: live memory, and the memo of a snapshot before it is
// squeezed.
func BenchmarkThousandDays(b *testing.B) {
	for b.Loop() {
		var p planner
		s := openYard(b)
		first, _ := civil.ParseDay("2031-01-01")
		before := heap()
		for i := range civil.Day(1000) {
			s = delivered(b, s, &p, first+i, 100)
		}
		b.ReportMetric(float64(heap()-before)/1e6, "MB-live")
		memo, err := json.Marshal(s.Memo())
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(len(memo))/1e6, "MB-memo")
		runtime.KeepAlive(s)
	}
}

func heap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}
