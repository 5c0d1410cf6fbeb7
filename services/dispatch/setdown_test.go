package dispatch

import (
	"slices"
	"testing"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// TestHandDeliveryIsHeard: pieces of a run are set down by hand. The run may
// leave without them, is over when nothing is left of it, and gives their
// places to nobody when it is cancelled.
func TestHandDeliveryIsHeard(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	if _, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example"); err != nil {
		t.Fatal(err)
	}
	ctx := as(t, "Ada Example")
	run := plan.GetRuns()[0]
	id, pieces := run.GetRunId(), piecesOf([]*eventv1.Run{run})
	position := w.stock.setDown(t, id, pieces[0], pieces[1])
	got := listRuns(t, d, position)[0]
	if !slices.Equal(got.GetSetDownPieceIds(), pieces[:2]) || got.GetState() != dispatchv1.RunState_RUN_STATE_CONFIRMED {
		t.Fatalf("the run shows %v as set down, state %v", got.GetSetDownPieceIds(), got.GetState())
	}
	if _, err := d.CancelRun(ctx, &dispatchv1.CancelRunRequest{Yard: yard, RequestId: "cancel", RunId: id, Reason: "truck broken"}); err != nil {
		t.Fatal(err)
	}
	second := planMorning(t, d, "plan-2")
	var marks []string
	for _, r := range second.GetRuns() {
		for _, p := range r.GetPicks() {
			marks = append(marks, p.GetMark())
		}
	}
	// The pallet and the beams that were set down stay out of the new plan.
	if len(marks) != len(pieces)-2 {
		t.Errorf("planned again: %v, want %d pieces", marks, len(pieces)-2)
	}
	for _, p := range run.GetPicks() {
		if slices.Contains(pieces[:2], p.GetPieceId()) && p.GetMark() != "" && slices.Contains(marks, p.GetMark()) {
			t.Errorf("place %s is filled and is planned again", p.GetMark())
		}
	}
}

// TestRunLeavesWithoutWhatIsSetDown: the rest of the run goes its way.
func TestRunLeavesWithoutWhatIsSetDown(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	if _, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example"); err != nil {
		t.Fatal(err)
	}
	ctx := as(t, "Ada Example")
	run := plan.GetRuns()[0]
	id, pieces := run.GetRunId(), piecesOf([]*eventv1.Run{run})
	w.stock.load(id)
	position := w.stock.setDown(t, id, pieces[0])
	if _, err := d.DepartRun(ctx, &dispatchv1.DepartRunRequest{Yard: yard, RequestId: "depart", RunId: id, DepartedBy: "Cy Example"}); err != nil {
		t.Fatal(err)
	}
	listRuns(t, d, position)
	position = w.stock.setDown(t, id, pieces[1:]...)
	if got := listRuns(t, d, position)[0]; got.GetState() != dispatchv1.RunState_RUN_STATE_DELIVERED {
		t.Errorf("all is set down and the run is %v", got.GetState())
	}
	stream, err := d.WatchPicks(ctx, &dispatchv1.WatchPicksRequest{Yard: yard})
	if err != nil {
		t.Fatal(err)
	}
	for down := 0; down < len(pieces); {
		answer, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if answer.GetPieceSetDown() != nil {
			down++
		}
	}
}

// TestReleasedAnewTheRunMayLeave: hits go when stock releases the batch anew.
func TestReleasedAnewTheRunMayLeave(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	if _, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example"); err != nil {
		t.Fatal(err)
	}
	for _, batch := range []string{"L3-0401", "L3-0402", "BL-0301"} {
		w.stock.quarantine(t, batch)
	}
	position := w.stock.release(t, "L3-0401")
	for _, batch := range []string{"L3-0402", "BL-0301"} {
		position = w.stock.release(t, batch)
	}
	for _, r := range listRuns(t, d, position) {
		if r.GetState() != dispatchv1.RunState_RUN_STATE_CONFIRMED || len(r.GetHits()) > 0 {
			t.Errorf("run %s is %v with %v", r.GetRun().GetRunId(), r.GetState(), r.GetHits())
		}
	}
	ctx := as(t, "Ada Example")
	id := plan.GetRuns()[0].GetRunId()
	w.stock.load(id)
	if _, err := d.DepartRun(ctx, &dispatchv1.DepartRunRequest{Yard: yard, RequestId: "depart", RunId: id, DepartedBy: "Cy Example"}); err != nil {
		t.Error(err)
	}
	stream, err := d.WatchPicks(ctx, &dispatchv1.WatchPicksRequest{Yard: yard})
	if err != nil {
		t.Fatal(err)
	}
	for {
		answer, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if c := answer.GetRunCleared(); c != nil {
			if len(c.GetPieceIds()) == 0 || c.GetDeparted() {
				t.Errorf("cleared %v", c)
			}
			return
		}
	}
}
