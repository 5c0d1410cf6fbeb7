package scenario_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/rpc"
)

// TestRepairTouchesNothingElse: a quarantine in the middle of the confirmed
// morning is repaired by exchanging beams on the runs that it hits; no load, no
// truck and no time changes, and no other run at all.
func TestRepairTouchesNothingElse(t *testing.T) {
	y := open(t, t.TempDir())
	ctx := rpc.AsActor(t.Context(), "Pim Quillbottle")
	plan := y.plan(t).GetPlan()
	confirmed := must[*dispatchv1.ConfirmMorningResponse](t)(y.dispatch.ConfirmMorning(ctx, &dispatchv1.ConfirmMorningRequest{
		Yard: y.id, RequestId: "confirm", PlanId: plan.GetPlanId(), ConfirmedBy: "Pim Quillbottle",
	}))
	runs := func(stockAtLeast uint64) map[string]*dispatchv1.RunStatus {
		listed := must[*dispatchv1.ListRunsResponse](t)(y.dispatch.ListRuns(ctx, &dispatchv1.ListRunsRequest{Yard: y.id, Day: y.day, StockAtLeast: stockAtLeast}))
		out := map[string]*dispatchv1.RunStatus{}
		for _, r := range listed.GetRuns() {
			out[r.GetRun().GetRunId()] = r
		}
		return out
	}
	before := runs(confirmed.GetStockPosition())
	const batch = "B0205"
	stopped := must[*stockv1.QuarantineBatchResponse](t)(y.stock.QuarantineBatch(ctx, &stockv1.QuarantineBatchRequest{
		Yard: y.id, RequestId: "stop", BatchId: batch, Reason: "cracked at the heads", QuarantinedBy: "Pim Quillbottle",
	}))
	req := &dispatchv1.RepairRunsRequest{
		Yard: y.id, RequestId: "repair", Day: y.day, RepairedBy: "Pim Quillbottle", Reason: "batch " + batch + " is quarantined", StockAtLeast: stopped.GetPosition(),
	}
	repaired := must[*dispatchv1.RepairRunsResponse](t)(y.dispatch.RepairRuns(ctx, req))
	exchanged, left := map[string]map[string]string{}, map[string]int{}
	for _, r := range repaired.GetRepairs() {
		exchanged[r.GetRunId()] = map[string]string{}
		for _, x := range r.GetExchanged() {
			exchanged[r.GetRunId()][x.GetOldPieceId()] = x.GetNewPieceId()
		}
		left[r.GetRunId()] = len(r.GetLeft())
	}
	hit, swapped := 0, 0
	after := runs(repaired.GetStockPosition())
	for id, old := range before {
		swaps, stopped := exchanged[id]
		if !stopped {
			if diff := cmp.Diff(old, after[id], protocmp.Transform()); diff != "" {
				t.Errorf("run %s was not hit and changed:\n%s", id, diff)
			}
			continue
		}
		hit++
		swapped += len(swaps)
		if diff := cmp.Diff(shape(old.GetRun()), shape(after[id].GetRun()), protocmp.Transform()); diff != "" {
			t.Errorf("run %s is loaded or driven otherwise:\n%s", id, diff)
		}
		want := dispatchv1.RunState_RUN_STATE_CONFIRMED
		if left[id] > 0 {
			want = dispatchv1.RunState_RUN_STATE_HIT
		}
		if s := after[id].GetState(); s != want || len(after[id].GetHits()) != left[id] {
			t.Errorf("run %s is %v with %d hits; %d pieces could not be exchanged", id, s, len(after[id].GetHits()), left[id])
		}
	}
	if hit == 0 || swapped == 0 || hit == len(before) {
		t.Fatalf("%d of %d runs are hit, %d beams exchanged: this says little", hit, len(before), swapped)
	}
	again := must[*dispatchv1.RepairRunsResponse](t)(y.dispatch.RepairRuns(ctx, req))
	for _, r := range again.GetRepairs() {
		if len(r.GetExchanged()) > 0 {
			t.Errorf("a repeated request exchanged %d more beams of run %s", len(r.GetExchanged()), r.GetRunId())
		}
	}
}

// shape is a run without the beams that are on it.
func shape(run *dispatcheventv1.Run) *dispatcheventv1.Run {
	s := proto.CloneOf(run)
	s.Moves = nil
	for _, p := range s.GetPiles() {
		for _, tier := range p.GetTiers() {
			for _, item := range tier.GetItems() {
				item.PieceId, item.BatchId = "", ""
			}
		}
	}
	for _, p := range s.GetPicks() {
		p.PieceId, p.BatchId, p.StackId, p.StackTier = "", "", "", 0
	}
	return s
}
