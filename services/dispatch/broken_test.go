package dispatch

import (
	"slices"
	"strings"
	"testing"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	"spanyard.example/services/kit/fault"
)

// scrapDelivered writes a piece off that stands at its site, as stock's own call
// does it.
func (f *fakeStock) scrapDelivered(t *testing.T, id string) uint64 {
	t.Helper()
	f.put(id, stockeventv1.PieceState_PIECE_STATE_SCRAPPED)
	f.mu.Lock()
	to := f.pieces[id].GetAllocation()
	f.mu.Unlock()
	position, err := f.events.publish(t.Context(), "scrap-"+id, &stockeventv1.Event{Kind: &stockeventv1.Event_PieceScrapped{
		PieceScrapped: &stockeventv1.PieceScrapped{PieceId: id, Reason: "cracked across", DeliveredTo: to},
	}})
	if err != nil {
		t.Fatal(err)
	}
	return position
}

func needed(t *testing.T, d dispatchv1.DispatchServiceClient) int32 {
	t.Helper()
	answer, err := d.ListNeeds(t.Context(), &dispatchv1.ListNeedsRequest{Yard: yard, From: day, To: day})
	if err != nil {
		t.Fatal(err)
	}
	var n int32
	for _, need := range answer.GetNeeds() {
		n += need.GetCount()
	}
	return n
}

// beamOf the first drop of a run.
func beamOf(run *eventv1.Run) *eventv1.Pick {
	at := slices.IndexFunc(run.GetPicks(), func(p *eventv1.Pick) bool {
		return p.GetMark() != "" && slices.ContainsFunc(run.GetPiles(), func(pile *eventv1.Pile) bool {
			return pile.GetNumber() == p.GetPileNumber() && pile.GetDropNumber() == 1
		})
	})
	return run.GetPicks()[at]
}

// TestBeamBreaksAtTheSite: its place is open again, a new plan brings an equal
// beam, and when none is free the beam is what is needed.
func TestBeamBreaksAtTheSite(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	if _, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example"); err != nil {
		t.Fatal(err)
	}
	for _, run := range plan.GetRuns() {
		drive(t, w, d, run)
	}
	run := plan.GetRuns()[0]
	beam := beamOf(run)
	if _, err := d.ReportPiece(as(t, "Di Example"), &dispatchv1.ReportPieceRequest{
		Yard: yard, RequestId: "tell", RunId: run.GetRunId(), DropNumber: 1, PieceId: beam.GetPieceId(), Kind: eventv1.PieceReportKind_PIECE_REPORT_KIND_BROKEN,
	}); err != nil {
		t.Fatal(err)
	}
	if n := needed(t, d); n != 0 {
		t.Errorf("a report alone asks for %d pieces", n)
	}
	hitBy(t, d, w.stock.scrapDelivered(t, beam.GetPieceId()), run.GetRunId(), beam)
	if n := needed(t, d); n != 1 {
		t.Fatalf("after it broke %d pieces are needed", n)
	}

	second := planMorning(t, d, "plan-2")
	if len(second.GetRuns()) != 1 || len(second.GetRuns()[0].GetPicks()) != 1 {
		t.Fatalf("planned again is %v", second.GetRuns())
	}
	instead := second.GetRuns()[0].GetPicks()[0]
	if instead.GetMark() != beam.GetMark() || instead.GetPieceId() == beam.GetPieceId() || instead.GetBeam().GetLengthMm() != beam.GetBeam().GetLengthMm() {
		t.Errorf("instead of %v comes %v", beam, instead)
	}
	if _, err := confirm(t.Context(), d, "confirm-2", second.GetPlanId(), "Ada Example"); err != nil {
		t.Fatal(err)
	}
	if n := needed(t, d); n != 0 {
		t.Errorf("with an equal beam on a run %d pieces are needed", n)
	}

	// That one breaks as well, and no equal one may leave.
	drive(t, w, d, second.GetRuns()[0])
	listRuns(t, d, w.stock.scrapDelivered(t, instead.GetPieceId()))
	for _, batch := range []string{"L3-0401", "L3-0402"} {
		w.stock.quarantine(t, batch)
	}
	third := planMorning(t, d, "plan-3")
	if len(third.GetRuns()) != 0 || len(third.GetUnserved()) != 1 || third.GetUnserved()[0].GetReason() != eventv1.UnservedReason_UNSERVED_REASON_NO_STOCK || third.GetUnserved()[0].GetBeamCount() != 1 {
		t.Errorf("without an equal beam the plan has %v and leaves %v", third.GetRuns(), third.GetUnserved())
	}
	if n := needed(t, d); n != 1 {
		t.Errorf("without an equal beam %d pieces are needed", n)
	}
}

// hitBy looks at a run, and at its drop as the site sees it, after a beam broke.
func hitBy(t *testing.T, d *running, position uint64, run string, beam *eventv1.Pick) {
	t.Helper()
	runs := listRuns(t, d, position)
	at := slices.IndexFunc(runs, func(r *dispatchv1.RunStatus) bool { return r.GetRun().GetRunId() == run })
	r := runs[at]
	if len(r.GetHits()) != 1 || r.GetHits()[0].GetWhere() != "delivered" || r.GetState() != dispatchv1.RunState_RUN_STATE_DELIVERED || len(r.GetReports()) != 0 || slices.Contains(r.GetLaidPieceIds(), beam.GetPieceId()) {
		t.Errorf("the run is %v", r)
	}
	drop, err := d.GetDrop(as(t, "Di Example"), &dispatchv1.GetDropRequest{Yard: yard, RunId: run, DropNumber: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, room := range drop.GetRooms() {
		for _, p := range room.GetPieces() {
			if (p.GetPieceId() == beam.GetPieceId()) != strings.Contains(p.GetStoppedReason(), "was scrapped: cracked across") {
				t.Errorf("the site sees %v", p)
			}
		}
	}
	_, err = d.RecordLaying(as(t, "Di Example"), &dispatchv1.RecordLayingRequest{Yard: yard, RequestId: "lay-broken", RunId: run, DropNumber: 1, LaidPieceIds: []string{beam.GetPieceId()}})
	if fault.ReasonOf(err) != "LAYING_INVALID" {
		t.Errorf("it is laid: %v", err)
	}
}
