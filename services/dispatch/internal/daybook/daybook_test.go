package daybook

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

func TestSetUpIsChecked(t *testing.T) {
	s := openYard(t)
	bad := testTruck("T1")
	bad.MaxRearKG, bad.Hours = 3999, Window{OpensMinute: 600, ClosesMinute: 600}
	heavy := testTruck("T3")
	heavy.MaxGrossKG = 16000
	f := refusedWith(t, s, SetTrucks{Trucks: []Truck{testTruck("T1"), bad, heavy}}, "BAD_TRUCKS")
	var where []string
	for _, p := range f.Places {
		where = append(where, p.Where)
	}
	want := []string{"truck T1, hours", "truck T1, max_rear_kg", "truck T1, truck_id", "truck T3, max_gross_kg"}
	slices.Sort(where)
	if diff := cmp.Diff(want, where); diff != "" {
		t.Error(diff)
	}
	site := testSite("north")
	site.Opens, site.Place.LatitudeDeg, site.Places = Window{OpensMinute: -1, ClosesMinute: 1441}, 91, 0
	if f := refusedWith(t, s, SetSites{Sites: []Site{site}}, "BAD_SITES"); len(f.Places) != 4 {
		t.Errorf("got places %v", f.Places)
	}
	rules := testRules()
	rules.SpeedKMPerH, rules.TimeZone = 0, ""
	if f := refusedWith(t, s, SetRules{Rules: rules}, "BAD_RULES"); len(f.Places) != 2 {
		t.Errorf("got places %v", f.Places)
	}
	refusedWith(t, New("new"), SetTrucks{Trucks: []Truck{testTruck("T1")}}, "YARD_NOT_OPEN")
	for _, c := range []Command{
		SetRules{Rules: testRules()}, SetTrucks{Trucks: s.Trucks()}, SetSites{Sites: s.Sites()}, LearnFloor{Floor: testFloor("J1", "1", 4)},
	} {
		if events, err := Decide(s, c); len(events) > 0 || err != nil {
			t.Errorf("%T a second time: %v, %v", c, events, err)
		}
	}
}

func TestFloorsKeepTheNewestRevision(t *testing.T) {
	s := New("testyard") // an approval may come before the yard's rules
	s = must(t, s, LearnFloor{Floor: testFloor("J1", "1", 2)})
	second := testFloor("J1", "1", 3)
	second.Revision = 2
	s = must(t, s, LearnFloor{Floor: second})
	s = must(t, s, ForgetFloor{FloorKey: second.FloorKey, Revision: 1})
	s = must(t, s, LearnFloor{Floor: testFloor("J1", "1", 2)})
	if f := s.Floors(); len(f) != 1 || f[0].Revision != 2 {
		t.Fatalf("got %v", f)
	}
	s = must(t, s, ForgetFloor{FloorKey: second.FloorKey, Revision: 2})
	if f := s.Floors(); len(f) != 0 {
		t.Fatalf("got %v", f)
	}
}

func TestCallOffs(t *testing.T) {
	s := openYard(t)
	s = must(t, s, CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01", "02"), testCallOff("C9", "9")}})
	again := testCallOff("C1", "1", "01", "02")
	if events, err := Decide(s, CallOffRooms{CallOffs: []CallOff{again}}); err != nil || len(events) > 0 {
		t.Errorf("word for word again: %v, %v", events, err)
	}
	for name, c := range map[string]struct {
		call CallOff
		says string
	}{
		"id taken":           {testCallOff("C1", "1", "03"), "is taken"},
		"room of another":    {testCallOff("C2", "1", "02", "03"), "is called off by call-off C1"},
		"all rooms":          {testCallOff("C2", "1"), "is called off by call-off C1"},
		"unknown room":       {testCallOff("C2", "1", "77"), "is no room of floor 1"},
		"room twice":         {testCallOff("C2", "1", "03", "03"), "stands twice"},
		"floor of another":   {testCallOff("C2", "9", "01"), "call-off C9"},
		"unknown site":       {CallOff{ID: "C2", SiteID: "moon", FloorKey: FloorKey{"J1", "1"}, Rooms: []string{"03"}, Day: testDay, Window: Window{0, 1}}, "is no site"},
		"no day":             {CallOff{ID: "C2", SiteID: "north", FloorKey: FloorKey{"J1", "1"}, Rooms: []string{"03"}, Day: "2031-02-30", Window: Window{0, 1}}, "is no day"},
		"closes before open": {CallOff{ID: "C2", SiteID: "north", FloorKey: FloorKey{"J1", "1"}, Rooms: []string{"03"}, Day: testDay, Window: Window{700, 600}}, "closes before it opens"},
	} {
		t.Run(name, func(t *testing.T) {
			f := refusedWith(t, s, CallOffRooms{CallOffs: []CallOff{testCallOff("C3", "1", "04"), c.call}}, "BAD_CALL_OFFS")
			if len(f.Places) == 0 || !strings.Contains(f.Places[0].Problem, c.says) {
				t.Errorf("got %v, want %q", f.Places, c.says)
			}
		})
	}
	s = must(t, s, CancelCallOff{CallOffID: "C1", Reason: "site not ready"})
	must(t, s, CallOffRooms{CallOffs: []CallOff{testCallOff("C2", "1", "02", "03")}})
	refusedWith(t, s, CancelCallOff{CallOffID: "C1", Reason: "again"}, "CALL_OFF_UNKNOWN")
}

func TestPlanIsNumberedByTheBook(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01")}})
	s, first := p.draft(t, s, testDay)
	s, second := p.draft(t, s, testDay)
	if first != "2031-05-06-P1" || second != "2031-05-06-P2" {
		t.Errorf("got %s, %s", first, second)
	}
	status, _ := s.Plan(second)
	run := status.Plan.Runs[0]
	ids := run.PieceIDs()
	if run.ID != "2031-05-06-P2-R01" || ids[0] != "2031-05-06-P2-R01-K01" || run.Picks[0].PieceID != ids[0] {
		t.Errorf("got run %s, pieces %v, picks %v", run.ID, ids, run.Picks)
	}
	refusedWith(t, s, RecordPlan{Plan: Plan{Day: testDay}, Basis: "of yesterday"}, "DAY_CHANGED")
	refusedWith(t, s, RecordPlan{Plan: Plan{Day: "2031-05-07"}}, "NOTHING_CALLED_OFF")
}

func TestDraftsAreKeptWithinBounds(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01")}})
	for range keepDraftsPerDay + 3 {
		s, _ = p.draft(t, s, testDay)
	}
	if kept := s.Plans(testDay); len(kept) != keepDraftsPerDay || kept[0].Plan.ID != testDay+"-P4" {
		t.Errorf("kept %d, first %s", len(kept), kept[0].Plan.ID)
	}
	refusedWith(t, s, ConfirmPlan{PlanID: testDay + "-P1", ConfirmedBy: "Ada Example"}, "PLAN_UNKNOWN")
	later := testCallOff("C2", "1", "02")
	later.Day = "2031-05-30"
	s = must(t, s, CallOffRooms{CallOffs: []CallOff{later}})
	s, _ = p.draft(t, s, later.Day)
	if kept := s.Plans(testDay); len(kept) != 0 {
		t.Errorf("%d drafts of a day long past are kept", len(kept))
	}
}

func TestConfirmation(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01"), testCallOff("C2", "1", "02")}})
	s, first := p.draft(t, s, testDay)
	s, second := p.draft(t, s, testDay)
	draft := s
	s = must(t, s, ConfirmPlan{PlanID: first, ConfirmedBy: "Ada Example"})
	refusedWith(t, s, ConfirmPlan{PlanID: first, ConfirmedBy: "Bo Example"}, "BEING_CONFIRMED")
	refusedWith(t, s, ConfirmPlan{PlanID: second, ConfirmedBy: "Bo Example"}, "BEING_CONFIRMED")
	refusedWith(t, s, CancelCallOff{CallOffID: "C1", Reason: "no"}, "DAY_BEING_CONFIRMED")
	s = must(t, s, FinishConfirm{PlanID: first, StockPosition: 9})
	if events, err := Decide(s, FinishConfirm{PlanID: first}); len(events) > 0 || err != nil {
		t.Errorf("finished twice: %v, %v", events, err)
	}
	refusedWith(t, s, FailConfirm{PlanID: first}, "NOT_BEING_CONFIRMED")
	if f := refusedWith(t, s, ConfirmPlan{PlanID: first, ConfirmedBy: "Bo Example"}, "ALREADY_CONFIRMED"); !strings.Contains(f.Sentence, "Ada Example") {
		t.Errorf("does not name who: %s", f.Sentence)
	}
	refusedWith(t, s, ConfirmPlan{PlanID: second, ConfirmedBy: "Bo Example"}, "TRUCK_TAKEN")
	refusedWith(t, s, CancelCallOff{CallOffID: "C1", Reason: "no"}, "CALL_OFF_ON_RUN")
	if got := s.ConfirmedCallOffs(testDay); !slices.Equal(got, []string{"C1", "C2"}) {
		t.Errorf("confirmed call-offs %v", got)
	}
	if left := s.Outstanding(testDay); len(left) != 0 {
		t.Errorf("left %v", left)
	}

	failed := must(t, draft, ConfirmPlan{PlanID: first, ConfirmedBy: "Ada Example"})
	failed = must(t, failed, FailConfirm{PlanID: first, Missing: []Missing{{PieceID: "B1-2", Sentence: "is scrapped"}, {PieceID: "B1", Sentence: "is in quarantine"}}})
	status, _ := failed.Plan(first)
	want := []Missing{
		{PieceID: "B1-2", RunID: first + "-R01", Mark: "1-01-01", Sentence: "is scrapped"},
		{PieceID: first + "-R01-K01", RunID: first + "-R01", Sentence: "is in quarantine"},
		{PieceID: first + "-R02-K01", RunID: first + "-R02", Sentence: "is in quarantine"},
	}
	if diff := cmp.Diff(want, status.Missing); diff != "" {
		t.Error(diff)
	}
	refusedWith(t, failed, ConfirmPlan{PlanID: first, ConfirmedBy: "Bo Example"}, "PLAN_FAILED")
	must(t, failed, ConfirmPlan{PlanID: second, ConfirmedBy: "Bo Example"})
}

func TestOvertakenPlansAreNotConfirmed(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01"), testCallOff("C2", "1", "02")}})
	s, id := p.draft(t, s, testDay)
	confirm := ConfirmPlan{PlanID: id, ConfirmedBy: "Ada Example"}
	newer := testFloor("J1", "1", 4)
	newer.Revision = 2
	newer.Rooms[0].Beams[1].Product.LengthMM = 5000
	newer.Rooms[1].BlockCount = 10
	for name, c := range map[string]struct {
		between Command
		reason  string
		places  int
	}{
		"trucks":    {SetTrucks{Trucks: []Truck{testTruck("T1")}}, "YARD_CHANGED", 0},
		"call-off":  {CancelCallOff{CallOffID: "C2", Reason: "rain"}, "PLAN_OVERTAKEN", 4},
		"revision":  {LearnFloor{Floor: newer}, "PLAN_OVERTAKEN", 2},
		"withdrawn": {ForgetFloor{FloorKey: newer.FloorKey, Revision: 1}, "PLAN_OVERTAKEN", 8},
	} {
		t.Run(name, func(t *testing.T) {
			if f := refusedWith(t, must(t, s, c.between), confirm, c.reason); len(f.Places) != c.places {
				t.Errorf("got places %v", f.Places)
			}
		})
	}
	// The same places on other trucks, later in the day.
	other := p.plan(s, testDay, "T1", "T2")
	for i := range other.Runs {
		other.Runs[i].LoadingMinute += 600
		other.Runs[i].BackMinute += 600
	}
	s = must(t, s, RecordPlan{Plan: other, Basis: s.Basis(testDay)})
	s = must(t, must(t, s, confirm), FinishConfirm{PlanID: id})
	if f := refusedWith(t, s, ConfirmPlan{PlanID: testDay + "-P2", ConfirmedBy: "Bo Example"}, "PLAN_OVERTAKEN"); len(f.Places) != 8 {
		t.Errorf("got places %v", f.Places)
	}
}

func TestSecondPlanTakesWhatIsLeft(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01", "02")}})
	part := p.plan(s, testDay, "T1")
	run := &part.Runs[0]
	run.Piles = run.Piles[:6] // room 01 whole, of room 02 the blocks and the first beam
	s = must(t, s, RecordPlan{Plan: part, Basis: s.Basis(testDay)})
	id := testDay + "-P1"
	s = must(t, must(t, s, ConfirmPlan{PlanID: id, ConfirmedBy: "Ada Example"}), FinishConfirm{PlanID: id})
	left := s.Outstanding(testDay)
	if len(left) != 1 || len(left[0].Rooms) != 1 || len(left[0].Rooms[0].Beams) != 2 || left[0].Rooms[0].BlockCount != 0 {
		t.Fatalf("left %+v", left)
	}
	// What the morning left may be called off for another day; what is on a
	// run may not.
	next := testCallOff("C2", "1", "02")
	next.Day = "2031-05-07"
	tomorrow := must(t, s, CallOffRooms{CallOffs: []CallOff{next}})
	if left := tomorrow.Outstanding(next.Day); len(left) != 1 || len(left[0].Rooms[0].Beams) != 2 {
		t.Errorf("left for the next day %+v", left)
	}
	next.Rooms = []string{"01"}
	refusedWith(t, s, CallOffRooms{CallOffs: []CallOff{next}}, "BAD_CALL_OFFS")
	// A cancelled run gives everything back.
	s = must(t, s, CancelRun{RunID: id + "-R01", Reason: "truck broken"})
	if left := s.Outstanding(testDay); len(left[0].Rooms) != 2 || left[0].Rooms[1].BlockCount != 20 {
		t.Errorf("left after cancelling %+v", left)
	}
	if _, cancelled := s.Unsettled(); len(cancelled) != 1 {
		t.Errorf("unsettled %v", cancelled)
	}
	s = must(t, s, FreeRun{RunID: id + "-R01"})
	if _, cancelled := s.Unsettled(); len(cancelled) != 0 {
		t.Errorf("unsettled %v", cancelled)
	}
}

func TestHits(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01"), testCallOff("C2", "1", "02")}})
	s, plan := p.draft(t, s, testDay)
	s = must(t, s, ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"})
	// One hit arrives before the runs are confirmed.
	early := Report{RunID: plan + "-R01", PieceID: "B1-2", BatchID: "B1", Reason: "too weak", Where: "reserved"}
	s = must(t, s, ReportHits{Reports: []Report{early}})
	if day := s.DayOfRun(early.RunID); day != testDay {
		t.Errorf("day of a run about to be confirmed: %q", day)
	}
	s = must(t, s, FinishConfirm{PlanID: plan})
	first, _ := s.Run(plan + "-R01")
	if want := []Hit{{PieceID: "B1-2", Mark: "1-01-01", BatchID: "B1", Reason: "too weak", Where: "reserved"}}; first.State != RunHitState || !cmp.Equal(want, first.Hits) {
		t.Errorf("got %v %v", first.State, first.Hits)
	}
	if events, _ := Decide(s, ReportHits{Reports: []Report{early}}); len(events) > 0 {
		t.Errorf("the same hit twice: %v", events)
	}
	if f := refusedWith(t, s, DepartRun{RunID: first.Run.ID, DepartedBy: "Cy Example"}, "RUN_HIT"); len(f.Places) != 1 {
		t.Errorf("got %v", f.Places)
	}
	// A run on the road keeps its state and shows the hit.
	s = must(t, s, DepartRun{RunID: plan + "-R02", DepartedBy: "Cy Example"})
	s = must(t, s, ReportHits{Reports: []Report{{PieceID: "B1-6", Reason: "was scrapped"}, {PieceID: "B7-1", Reason: "of no run"}}})
	second, _ := s.Run(plan + "-R02")
	if second.State != RunDepartedState || len(second.Hits) != 1 || second.Hits[0].Where != "loaded" || second.Hits[0].BatchID != "B1" {
		t.Errorf("got %v %v", second.State, second.Hits)
	}
	// A cancelled run is left alone.
	s = must(t, s, CancelRun{RunID: plan + "-R01", Reason: "hit"})
	if events, _ := Decide(s, ReportHits{Reports: []Report{{RunID: plan + "-R01", PieceID: "B1-3", Reason: "x"}, {PieceID: "B1-3", Reason: "x"}}}); len(events) > 0 {
		t.Errorf("a cancelled run is hit: %v", events)
	}
}

func TestDropsAreDeliveredInOrder(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01")}})
	plan := p.plan(s, testDay, "T1")
	run := &plan.Runs[0]
	run.Drops = append(run.Drops, Drop{Number: 2, SiteID: "south"})
	run.Piles[3].DropNumber = 2
	s = must(t, s, RecordPlan{Plan: plan, Basis: s.Basis(testDay)})
	s = must(t, must(t, s, ConfirmPlan{PlanID: testDay + "-P1", ConfirmedBy: "Ada Example"}), FinishConfirm{PlanID: testDay + "-P1"})
	id := testDay + "-P1-R01"
	deliver := func(n int) DeliverDrop { return DeliverDrop{RunID: id, DropNumber: n, ReceivedBy: "Di Example"} }
	refusedWith(t, s, deliver(1), "RUN_NOT_ON_ROAD")
	s = must(t, s, DepartRun{RunID: id, DepartedBy: "Cy Example"})
	refusedWith(t, s, DepartRun{RunID: id, DepartedBy: "Cy Example"}, "RUN_NOT_WAITING")
	refusedWith(t, s, CancelRun{RunID: id, Reason: "late"}, "RUN_NOT_WAITING")
	refusedWith(t, s, deliver(2), "DROP_OUT_OF_ORDER")
	refusedWith(t, s, deliver(3), "DROP_UNKNOWN")
	events, err := Decide(s, deliver(1))
	if d := events[0].(DropDelivered); err != nil || len(d.PieceIDs) != 3 || d.SiteID != "north" {
		t.Errorf("got %+v, %v", d, err)
	}
	s = must(t, s, deliver(1))
	refusedWith(t, s, deliver(1), "DROP_DELIVERED")
	s = must(t, s, deliver(2))
	if r, _ := s.Run(id); r.State != RunDeliveredState {
		t.Errorf("got %v", r.State)
	}
	refusedWith(t, s, DeliverDrop{RunID: id, DropNumber: 1}, "BAD_NAME")
	refusedWith(t, s, deliver(2), "DROP_DELIVERED")
}

// TestPastDays: what is over is neither called off nor planned nor confirmed;
// which day it is, the yard's own clock says.
func TestPastDays(t *testing.T) {
	s := openYard(t)
	call := testCallOff("C1", "1", "01")
	day, err := civil.ParseDay(call.Day)
	if err != nil {
		t.Fatal(err)
	}
	rules, _ := s.Rules()
	zone, err := time.LoadLocation(rules.TimeZone)
	if err != nil {
		t.Fatal(err)
	}
	lastMinute := day.At(24*60-1, zone)
	must(t, s, CallOffRooms{CallOffs: []CallOff{call}, At: lastMinute})
	refusedWith(t, s, CallOffRooms{CallOffs: []CallOff{call}, At: lastMinute.Add(time.Minute)}, "BAD_CALL_OFFS")
	if err := s.CheckNotPast(call.Day, lastMinute); err != nil {
		t.Error(err)
	}
	if err := s.CheckNotPast(call.Day, lastMinute.Add(time.Minute)); fault.ReasonOf(err) != "DAY_PAST" {
		t.Errorf("got %v", err)
	}
}

// TestPastLoading: a plan of today of which a run should be loading already is
// not confirmed; the hour is that of the yard's own clock.
func TestPastLoading(t *testing.T) {
	var p planner
	s := openYard(t)
	rules := testRules()
	rules.TimeZone = "Etc/GMT+5"
	s = must(t, s, SetRules{Rules: rules})
	s = must(t, s, CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01"), testCallOff("C2", "1", "02")}})
	s, plan := p.draft(t, s, testDay) // loading at 5:00 and 6:00
	confirm := ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"}
	confirm.At = time.Date(2031, 5, 6, 10, 1, 0, 0, time.UTC) // 5:01 in the yard
	f := refusedWith(t, s, confirm, "LOADING_PAST")
	want := "Plan 2031-05-06-P1 cannot be confirmed: run 2031-05-06-P1-R01 starts loading at 5:00, and in the yard it is 5:01 on 2031-05-06. Plan the morning again."
	if f.Sentence != want {
		t.Errorf("got %s", f.Sentence)
	}
	confirm.At = confirm.At.Add(-time.Minute)
	must(t, s, confirm)
	rules.LeadMinutes = 1441
	refusedWith(t, s, SetRules{Rules: rules}, "BAD_RULES")
}
