package dispatch

import (
	"strings"
	"testing"
	"time"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/routing"
)

func edit(t *testing.T, d dispatchv1.DispatchServiceClient, requestID, planID string, try bool, edits ...*dispatchv1.PlanEdit) (*dispatchv1.EditMorningResponse, error) {
	t.Helper()
	return d.EditMorning(as(t, "Ada Example"), &dispatchv1.EditMorningRequest{
		Yard: yard, RequestId: requestID, PlanId: planID, Edits: edits, TryOnly: try, BudgetMs: 20,
	})
}

func move(run, truck string, notBefore int32) *dispatchv1.PlanEdit {
	return &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_MoveRun{MoveRun: &dispatchv1.MoveRun{RunId: run, TruckId: truck, NotBeforeMinute: notBefore}}}
}

func other(truck string) string {
	if truck == "T1" {
		return "T2"
	}
	return "T1"
}

// TestPlanIsWorkedWith: a run is moved, tried first; locked; a truck forbidden;
// a call-off left out; and each plan says how it differs.
func TestPlanIsWorkedWith(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	first := planMorning(t, d, "plan-1")
	run := first.GetRuns()[0]
	truck := other(run.GetTruckId())

	tried, err := edit(t, d, "try", first.GetPlanId(), true, move(run.GetRunId(), truck, 600))
	if err != nil {
		t.Fatal(err)
	}
	if tried.GetMorning().GetPlan().GetPlanId() != "" || len(tried.GetChanges().GetRuns()) == 0 {
		t.Errorf("tried: %v", tried)
	}
	if list, err := d.ListMornings(t.Context(), &dispatchv1.ListMorningsRequest{Yard: yard, Day: day}); err != nil || len(list.GetMornings()) != 1 {
		t.Errorf("what is only tried is recorded: %v, %v", list, err)
	}

	moved, err := edit(t, d, "move", first.GetPlanId(), false, move(run.GetRunId(), truck, 600))
	if err != nil {
		t.Fatal(err)
	}
	again, err := edit(t, d, "move", first.GetPlanId(), false, move(run.GetRunId(), truck, 600))
	if err != nil || again.GetMorning().GetPlan().GetPlanId() != moved.GetMorning().GetPlan().GetPlanId() {
		t.Errorf("asked twice: %v, %v", again.GetMorning().GetPlan().GetPlanId(), err)
	}
	plan := moved.GetMorning().GetPlan()
	if plan.GetBasedOnPlanId() != first.GetPlanId() || plan.GetPlanId() == first.GetPlanId() {
		t.Errorf("plan %s is based on %s", plan.GetPlanId(), plan.GetBasedOnPlanId())
	}
	there := runWith(plan, run)
	if there == nil || there.GetTruckId() != truck || there.GetLoadingMinute() < 600 || !there.GetLocked() {
		t.Fatalf("the run went to %v", there)
	}
	compared, err := d.ComparePlans(t.Context(), &dispatchv1.ComparePlansRequest{Yard: yard, BeforePlanId: first.GetPlanId(), AfterPlanId: plan.GetPlanId()})
	if err != nil || len(compared.GetChanges().GetRuns()) != len(moved.GetChanges().GetRuns()) {
		t.Errorf("compared: %v, %v", compared, err)
	}
	forbiddenAndLeftOut(t, d, plan, there)
}

// runWith is the run of a plan that brings the first mark of another.
func runWith(plan *eventv1.MorningPlan, like *eventv1.Run) *eventv1.Run {
	mark := markOf(like)
	for _, r := range plan.GetRuns() {
		for _, p := range r.GetPicks() {
			if p.GetMark() == mark {
				return r
			}
		}
	}
	return nil
}

func markOf(r *eventv1.Run) string {
	for _, p := range r.GetPicks() {
		if p.GetMark() != "" {
			return p.GetMark()
		}
	}
	return ""
}

func forbiddenAndLeftOut(t *testing.T, d dispatchv1.DispatchServiceClient, plan *eventv1.MorningPlan, locked *eventv1.Run) {
	t.Helper()
	callOff := locked.GetDrops()[0].GetCallOffIds()[0]
	forbid := &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_ForbidTruck{ForbidTruck: &eventv1.ForbiddenTruck{CallOffId: callOff, TruckId: locked.GetTruckId()}}}
	// The run is locked, so that the two wishes cannot both be had.
	_, err := edit(t, d, "forbid", plan.GetPlanId(), false, forbid)
	if f := wantReason(t, err, "WISH_REFUSED"); len(f.Places) == 0 || !strings.Contains(f.Places[0].Problem, "is forbidden") {
		t.Errorf("refused with %v", f.Places)
	}
	unlock := &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_UnlockRunId{UnlockRunId: locked.GetRunId()}}
	answer, err := edit(t, d, "forbid-2", plan.GetPlanId(), false, unlock, forbid)
	if err != nil {
		t.Fatal(err)
	}
	plan = answer.GetMorning().GetPlan()
	if r := runWith(plan, locked); r.GetTruckId() == locked.GetTruckId() || r.GetLocked() {
		t.Errorf("forbidden truck: %v", r)
	}
	if len(plan.GetForbiddenTrucks()) != 1 {
		t.Errorf("wishes %v", plan.GetForbiddenTrucks())
	}
	answer, err = edit(t, d, "leave-out", plan.GetPlanId(), false, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_LeaveOutCallOffId{LeaveOutCallOffId: callOff}})
	if err != nil {
		t.Fatal(err)
	}
	left := answer.GetMorning().GetPlan().GetUnserved()
	if len(left) == 0 || left[0].GetReason() != eventv1.UnservedReason_UNSERVED_REASON_LEFT_OUT || left[0].GetBeamCount() != 4 {
		t.Errorf("left out: %v", left)
	}
	_, err = edit(t, d, "nonsense", plan.GetPlanId(), false, move("R1", "T9", 0), forbid)
	if f := wantReason(t, err, "BAD_EDIT"); len(f.Places) != 1 {
		t.Errorf("places %v", f.Places)
	}
}

// TestUrgentCallOff: what is called off late finds its place among runs that
// stay as they are.
func TestUrgentCallOff(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	w.approve(t, "2", 1, 1)
	first := planMorning(t, d, "plan-1")
	eventually(t, "the second floor is known", func() bool {
		floors, err := d.ListFloors(t.Context(), &dispatchv1.ListFloorsRequest{Yard: yard})
		return err == nil && len(floors.GetFloors()) == 2
	})
	callOff(t, d, "C3", "north", "2", "01")
	answer, err := edit(t, d, "urgent", first.GetPlanId(), false)
	if err != nil {
		t.Fatal(err)
	}
	if same := answer.GetChanges().GetUnchangedRunCount(); int(same) != len(first.GetRuns()) {
		t.Errorf("%d of %d runs stay: %v", same, len(first.GetRuns()), answer.GetChanges().GetRuns())
	}
	calls := answer.GetChanges().GetCallOffs()
	if len(calls) != 1 || calls[0].GetCallOffId() != "C3" || !strings.Contains(calls[0].GetSentence(), "is brought now: 4 beams and 20 blocks") {
		t.Errorf("call-offs %v, left %v", calls, answer.GetMorning().GetPlan().GetUnserved())
	}
}

// TestPlanExplainsItself: why a piece is on its run, what other trucks could do,
// and what becomes of a call-off.
func TestPlanExplainsItself(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	run := plan.GetRuns()[0]
	ask := func(req *dispatchv1.ExplainMorningRequest) *dispatchv1.ExplainMorningResponse {
		t.Helper()
		req.Yard, req.PlanId = yard, plan.GetPlanId()
		answer, err := d.ExplainMorning(t.Context(), req)
		if err != nil {
			t.Fatal(err)
		}
		return answer
	}
	byMark := ask(&dispatchv1.ExplainMorningRequest{What: &dispatchv1.ExplainMorningRequest_Piece{Piece: "J-07 " + markOf(run)}})
	if !strings.Contains(byMark.GetHeadline(), "on run "+run.GetRunId()) || len(byMark.GetSentences()) < 4 {
		t.Errorf("explained: %v", byMark)
	}
	if len(byMark.GetTrucks()) != 1 || byMark.GetTrucks()[0].GetTruckId() != other(run.GetTruckId()) {
		t.Errorf("other trucks: %v", byMark.GetTrucks())
	}
	callOff := ask(&dispatchv1.ExplainMorningRequest{What: &dispatchv1.ExplainMorningRequest_CallOffId{CallOffId: "C1"}})
	if !strings.Contains(strings.Join(callOff.GetSentences(), " "), "Nothing of it is left.") {
		t.Errorf("explained: %v", callOff)
	}
	_, err := d.ExplainMorning(t.Context(), &dispatchv1.ExplainMorningRequest{Yard: yard, PlanId: plan.GetPlanId(), What: &dispatchv1.ExplainMorningRequest_Piece{Piece: "J-07 9-99"}})
	wantReason(t, err, "PIECE_NOT_PLANNED")
}

// TestTruckBreaksDown: only its runs are planned again, with the other truck; the
// rest stays, and asked twice it happens once.
func TestTruckBreaksDown(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	if _, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example"); err != nil {
		t.Fatal(err)
	}
	broken := plan.GetRuns()[0].GetTruckId()
	hit := map[string]bool{}
	for _, r := range plan.GetRuns() {
		if r.GetTruckId() == broken {
			hit[r.GetRunId()] = true
		}
	}
	req := &dispatchv1.ReplanMorningRequest{
		Yard: yard, RequestId: "try", Day: day, Reason: "gearbox", BudgetMs: 20, TryOnly: true,
		Happenings: []*dispatchv1.Happening{{What: &dispatchv1.Happening_Hindrance{Hindrance: &eventv1.Hindrance{TruckId: broken, Reason: "gearbox"}}}},
	}
	tried, err := d.ReplanMorning(as(t, "Ada Example"), req)
	if err != nil {
		t.Fatal(err)
	}
	if len(tried.GetHitRuns()) != len(hit) || tried.GetMorning().GetPlan().GetPlanId() != "" {
		t.Fatalf("tried: %v", tried)
	}
	standsAtASite(t, w, d, req, plan.GetRuns()[0])
	req.RequestId, req.TryOnly = "broken", false
	done, err := d.ReplanMorning(as(t, "Ada Example"), req)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range done.GetMorning().GetPlan().GetRuns() {
		if r.GetTruckId() == broken {
			t.Errorf("run %s is on the broken truck", r.GetRunId())
		}
	}
	for _, r := range listRuns(t, d, 0) {
		if cancelled := r.GetState() == dispatchv1.RunState_RUN_STATE_CANCELLED; cancelled != hit[r.GetRun().GetRunId()] {
			t.Errorf("run %s is %v", r.GetRun().GetRunId(), r.GetState())
		}
	}
	again, err := d.ReplanMorning(as(t, "Ada Example"), req)
	if err != nil || again.GetMorning().GetPlan().GetPlanId() != done.GetMorning().GetPlan().GetPlanId() {
		t.Errorf("asked twice: %v, %v", again.GetMorning().GetPlan().GetPlanId(), err)
	}
	if len(again.GetHitRuns()) != len(hit) {
		t.Errorf("asked twice: hit %v", again.GetHitRuns())
	}
	if _, err := confirm(t.Context(), d, "confirm-2", done.GetMorning().GetPlan().GetPlanId(), "Ada Example"); err != nil {
		t.Error(err)
	}
	if held := w.stock.held(); held != 10 {
		t.Errorf("%d pieces are held, want all 10", held)
	}
}

// standsAtASite: a run of which stock knows a piece at a site, past dispatch,
// keeps its places, which would be brought twice.
func standsAtASite(t *testing.T, w *world, d dispatchv1.DispatchServiceClient, req *dispatchv1.ReplanMorningRequest, run *eventv1.Run) {
	t.Helper()
	gone := piecesOf([]*eventv1.Run{run})[0]
	w.stock.put(gone, stockeventv1.PieceState_PIECE_STATE_DELIVERED)
	answer, err := d.ReplanMorning(as(t, "Ada Example"), req)
	if err != nil {
		t.Fatal(err)
	}
	kept := ""
	for _, h := range answer.GetHitRuns() {
		if h.GetRunId() == run.GetRunId() {
			kept = h.GetKeptBecause()
		}
	}
	if !strings.Contains(kept, "stand at a site already: 1") {
		t.Errorf("kept because %q", kept)
	}
	w.stock.put(gone, stockeventv1.PieceState_PIECE_STATE_RESERVED)
}

// TestKnownWaysCount: a plan drives by the table of ways.
func TestKnownWaysCount(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	var legs []*eventv1.TravelLeg
	for _, site := range []string{"north", "south"} {
		legs = append(legs, &eventv1.TravelLeg{ToSiteId: site, Metres: 40_000, Minutes: 55}, &eventv1.TravelLeg{FromSiteId: site, Metres: 41_000, Minutes: 57})
	}
	bad := append([]*eventv1.TravelLeg{{Metres: 5}}, append(legs, legs[0])...)
	_, err := d.SetTravel(as(t, "Ada Example"), &dispatchv1.SetTravelRequest{Yard: yard, RequestId: "bad", Legs: bad})
	if f := wantReason(t, err, "BAD_TRAVEL"); len(f.Places) != 2 {
		t.Errorf("places %v", f.Places)
	}
	if _, err := d.SetTravel(as(t, "Ada Example"), &dispatchv1.SetTravelRequest{Yard: yard, RequestId: "travel", Legs: legs}); err != nil {
		t.Fatal(err)
	}
	if list, err := d.ListTravel(t.Context(), &dispatchv1.ListTravelRequest{Yard: yard}); err != nil || len(list.GetLegs()) != len(legs) {
		t.Errorf("listed %v, %v", list, err)
	}
	for _, r := range planMorning(t, d, "plan-1").GetRuns() {
		if got := r.GetDrops()[0].GetArriveMinute() - r.GetLeaveMinute(); got != 55 {
			t.Errorf("run %s drives %d minutes to its first site, want 55", r.GetRunId(), got)
		}
		if last := r.GetDrops()[len(r.GetDrops())-1]; r.GetBackMinute()-last.GetLeaveMinute() != 57 {
			t.Errorf("run %s drives back in %d minutes, want 57", r.GetRunId(), r.GetBackMinute()-last.GetLeaveMinute())
		}
	}
}

// TestPlanningIsStopped: planning with a long budget ends with a plan soon after
// somebody says so.
func TestPlanningIsStopped(t *testing.T) {
	w := newWorld(t)
	d := w.start(t, func(s *Service) {
		s.office.Planner = func(p morning.Problem, stop func() bool) morning.Plan {
			tick := time.NewTicker(time.Millisecond)
			defer tick.Stop()
			for !stop() {
				<-tick.C
			}
			return routing.Plan(p, stop)
		}
	})
	w.ready(t, d)
	done := make(chan error, 1)
	go func() {
		_, err := d.PlanMorning(as(t, "Ada Example"), &dispatchv1.PlanMorningRequest{Yard: yard, RequestId: "long", Day: day, BudgetMs: 60_000})
		done <- err
	}()
	eventually(t, "there is something to stop", func() bool {
		answer, err := d.StopPlanning(t.Context(), &dispatchv1.StopPlanningRequest{Yard: yard, Day: day})
		return err == nil && answer.GetStoppedCount() == 1
	})
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if answer, err := d.StopPlanning(t.Context(), &dispatchv1.StopPlanningRequest{Yard: yard, Day: day}); err != nil || answer.GetStoppedCount() != 0 {
		t.Errorf("nothing goes on, and %v is stopped, %v", answer, err)
	}
}
