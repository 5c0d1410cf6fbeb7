package integration

import (
	"context"
	"errors"
	"fmt"
	"testing"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"

	"spanyard.example/integration/internal/recount"
	"spanyard.example/integration/internal/scene"
)

// From the drawing to the laid floor, over separate services: what left the
// stock is what was delivered, in the view and in the ledger.
func TestStory(t *testing.T) {
	s := newScene(t, "story")
	s.Prepare()
	releaseByTheRules(t, s)
	before := checkBooks(t, s)

	plan := s.Plan()
	beams, blocks := scene.Carried(plan)
	if beams == 0 || blocks == 0 {
		t.Fatalf("the plan carries %d beams and %d blocks", beams, blocks)
	}
	confirmed, err := s.Confirm(plan.GetPlanId())
	s.Must(err, "confirm the morning")
	if int(confirmed.GetRunCount()) != len(plan.GetRuns()) {
		t.Errorf("%d runs are confirmed, the plan has %d", confirmed.GetRunCount(), len(plan.GetRuns()))
	}

	picks := followPicks(t, s, plan)
	for _, run := range plan.GetRuns() {
		s.PickAndLoad(run.GetRunId(), run.GetTruckId(), picks[run.GetRunId()].GetPicks())
		s.Drive(run)
	}
	soon(t, "every delivery to be counted in stock", func(ctx context.Context) error {
		count, err := recount.Read(ctx, jetStream(t), s.Yard)
		if err != nil {
			return err
		}
		return delivered(count, beams, blocks)
	})
	compareDelivered(t, s, before, beams, blocks)

	// The view is thrown away and comes back from the ledger alone.
	s.Must(theHouse.Container("redis").Replace(t.Context()), "replace Redis")
	killAndStart(t, "stock")
	awaitService(t, "stock")
	compareDelivered(t, s, before, beams, blocks)
	checkHistory(t, s, plan)
}

// releaseByTheRules: nothing is released that is too young, untested or too
// weak.
func releaseByTheRules(t *testing.T, s *scene.Scene) {
	t.Helper()
	s.ReceiveBeams("YOUNG", 4, 13)
	s.Test("YOUNG", 46.1, 45.8, 46.6)
	if err := s.Release("YOUNG"); err == nil {
		t.Error("a batch of 13 days is released; the rule is 14")
	}
	s.ReceiveBeams("UNTESTED", 4, 20)
	if err := s.Release("UNTESTED"); err == nil {
		t.Error("a batch without tests is released")
	}
	// EN 206 Annex B: no result of class C40/50 lies more than 4 MPa below 40.
	s.ReceiveBeams("WEAK", 4, 20)
	weak := s.Test("WEAK", 35.9, 47.0, 48.8)
	if weak.GetVerdict().GetConforms() || weak.GetQuarantine() == nil {
		t.Errorf("a batch that failed its test is not quarantined: %v", weak)
	}
	if err := s.Release("WEAK"); err == nil {
		t.Error("a batch that failed its test is released")
	}
	s.ReceiveBeams("GOOD", 4, 14)
	s.Test("GOOD", 46.1, 45.8, 46.6)
	s.Must(s.Release("GOOD"), "release a batch of 14 days that conforms")
}

// followPicks reads the feed of picks, loses dispatch after the first message,
// and goes on from the position it had. Nothing comes twice and nothing is
// left out.
func followPicks(t *testing.T, s *scene.Scene, plan *dispatcheventv1.MorningPlan) map[string]*dispatcheventv1.PicksIssued {
	t.Helper()
	picks := map[string]*dispatcheventv1.PicksIssued{}
	position := readPicks(t, s, picks, 0, 1)
	killAndStart(t, "dispatch")
	awaitService(t, "dispatch")
	readPicks(t, s, picks, position, len(plan.GetRuns()))
	for _, run := range plan.GetRuns() {
		if got, want := len(picks[run.GetRunId()].GetPicks()), len(run.GetPicks()); got != want || got == 0 {
			t.Errorf("run %s: the feed has %d picks, the plan %d", run.GetRunId(), got, want)
		}
	}
	return picks
}

// readPicks reads the feed after a position until the picks of so many runs
// are there, and returns the position reached.
func readPicks(t *testing.T, s *scene.Scene, picks map[string]*dispatcheventv1.PicksIssued, position uint64, runs int) uint64 {
	t.Helper()
	ctx, cancel := context.WithTimeout(s.Context("Pim Quillbottle"), scene.Soon)
	defer cancel()
	feed, err := s.Dispatch.WatchPicks(ctx, &dispatchv1.WatchPicksRequest{Yard: s.Yard, AfterPosition: position, Day: scene.Day})
	s.Must(err, "watch the picks")
	for len(picks) < runs {
		message, err := feed.Recv()
		s.Must(err, "read the picks after position %d", position)
		if message.GetPosition() <= position {
			t.Fatalf("the feed goes from position %d to %d", position, message.GetPosition())
		}
		position = message.GetPosition()
		issued := message.GetPicksIssued()
		if issued == nil {
			continue
		}
		if picks[issued.GetRunId()] != nil {
			t.Errorf("the picks of run %s came twice", issued.GetRunId())
		}
		picks[issued.GetRunId()] = issued
	}
	return position
}

func delivered(count *recount.Count, beams, blocks int32) error {
	gotBeams := count.Total(true)[stockeventv1.PieceState_PIECE_STATE_DELIVERED]
	gotBlocks := count.Total(false)[stockeventv1.PieceState_PIECE_STATE_DELIVERED]
	if gotBeams != beams || gotBlocks != blocks {
		return fmt.Errorf("%d beams and %d blocks are delivered; the trucks carried %d and %d", gotBeams, gotBlocks, beams, blocks)
	}
	return nil
}

// compareDelivered: stock before minus stock after is what was delivered.
func compareDelivered(t *testing.T, s *scene.Scene, before *recount.Count, beams, blocks int32) {
	t.Helper()
	after := checkBooks(t, s)
	if err := delivered(after, beams, blocks); err != nil {
		t.Error(err)
	}
	const inYard = stockeventv1.PieceState_PIECE_STATE_IN_YARD
	if left := before.Total(true)[inYard] - after.Total(true)[inYard]; left != beams {
		t.Errorf("%d beams are gone from the yard, %d were delivered", left, beams)
	}
	if left := before.Total(false)[inYard] - after.Total(false)[inYard]; left != blocks {
		t.Errorf("%d blocks are gone from the yard, %d were delivered", left, blocks)
	}
}

// checkHistory: the trace of a delivered beam tells its whole life.
func checkHistory(t *testing.T, s *scene.Scene, plan *dispatcheventv1.MorningPlan) {
	t.Helper()
	var beam string
	for _, pick := range plan.GetRuns()[0].GetPicks() {
		if pick.GetBeam() != nil {
			beam = pick.GetPieceId()
		}
	}
	traced, err := s.Stock.GetPieceHistory(t.Context(), &stockv1.GetPieceHistoryRequest{Yard: s.Yard, PieceId: beam})
	s.Must(err, "trace beam %s", beam)
	told := map[string]bool{}
	for _, e := range traced.GetEntries() {
		told[e.GetEvent()] = true
	}
	var missing []error
	for _, event := range []string{"batch_received", "test_recorded", "batch_released", "pieces_reserved", "piece_picked", "piece_loaded", "piece_delivered"} {
		if !told[event] {
			missing = append(missing, fmt.Errorf("the history of %s leaves out %s", beam, event))
		}
	}
	if err := errors.Join(missing...); err != nil {
		t.Error(err)
	}
}

// A quarantine that hits a confirmed run is shown on it and holds the truck.
func TestQuarantineStopsRun(t *testing.T) {
	s := newScene(t, "quarantine")
	s.Prepare()
	plan := s.Plan()
	_, err := s.Confirm(plan.GetPlanId())
	s.Must(err, "confirm the morning")
	stopped, err := s.Stock.QuarantineBatch(s.Context("Nettie Underbloom"), &stockv1.QuarantineBatchRequest{
		Yard: s.Yard, RequestId: s.Request(), BatchId: "B1", Reason: "the laboratory withdrew its results", QuarantinedBy: "Nettie Underbloom",
	})
	s.Must(err, "quarantine the beams")
	beams, _ := scene.Carried(plan)
	if got := len(stopped.GetQuarantine().GetHits()); got != int(beams) {
		t.Errorf("the quarantine hits %d pieces; %d of the batch are promised", got, beams)
	}
	listed, err := s.Dispatch.ListRuns(t.Context(), &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: scene.Day, StockAtLeast: stopped.GetPosition()})
	s.Must(err, "list the runs")
	hits := 0
	for _, run := range listed.GetRuns() {
		hits += len(run.GetHits())
		if len(run.GetHits()) == 0 {
			continue
		}
		if run.GetState() != dispatchv1.RunState_RUN_STATE_HIT {
			t.Errorf("run %s is %s with %d hits", run.GetRun().GetRunId(), run.GetState(), len(run.GetHits()))
		}
		_, err := s.Dispatch.DepartRun(s.Context("Rosamund Tickpenny"), &dispatchv1.DepartRunRequest{
			Yard: s.Yard, RequestId: s.Request(), RunId: run.GetRun().GetRunId(), DepartedBy: "Odo Bristlecomb",
		})
		if err == nil {
			t.Errorf("run %s leaves with quarantined beams", run.GetRun().GetRunId())
		}
	}
	if hits != int(beams) {
		t.Errorf("the runs show %d hits, %d beams are hit", hits, beams)
	}
	checkBooks(t, s)
}
