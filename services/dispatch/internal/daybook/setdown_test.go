package daybook

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/kit/fault"
)

// confirmedYard has a confirmed plan with one run each for two rooms.
func confirmedYard(t *testing.T) (s State, p *planner, plan string) {
	t.Helper()
	p = &planner{}
	s = must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01"), testCallOff("C2", "1", "02")}})
	s, plan = p.draft(t, s, testDay)
	s = must(t, s, ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"})
	return must(t, s, FinishConfirm{PlanID: plan}), p, plan
}

func decided(t *testing.T, s State, c Command) []Event {
	t.Helper()
	events, err := Decide(s, c)
	if err != nil {
		t.Fatal(err)
	}
	return events
}

// leftOf returns the marks and blocks that are still to be brought.
func leftOf(s State) (marks []string, blocks int) {
	for _, w := range s.Outstanding(testDay) {
		for _, r := range w.Rooms {
			blocks += r.BlockCount
			for _, b := range r.Beams {
				marks = append(marks, b.Mark)
			}
		}
	}
	return marks, blocks
}

// TestWhatIsSetDownByHandIsNotBroughtAgain: a beam and a pallet of a run are
// set down by hand, before or after the run is cancelled.
func TestWhatIsSetDownByHandIsNotBroughtAgain(t *testing.T) {
	for name, before := range map[string]bool{"before it is cancelled": true, "after it is cancelled": false} {
		t.Run(name, func(t *testing.T) {
			s, _, plan := confirmedYard(t)
			run, _ := s.Run(plan + "-R01")
			ids := run.Run.PieceIDs() // the pallet, then the beams
			down := func() {
				for _, id := range ids[:2] {
					s = must(t, s, SetDown{RunID: run.Run.ID, PieceID: id, SiteID: "north"})
				}
			}
			if before {
				down()
			}
			s = must(t, s, CancelRun{RunID: run.Run.ID, Reason: "truck broken"})
			if !before {
				down()
			}
			s = must(t, s, FreeRun{RunID: run.Run.ID})
			marks, blocks := leftOf(s)
			if diff := cmp.Diff([]string{"1-01-02", "1-01-03"}, marks); diff != "" || blocks != 0 {
				t.Errorf("still to be brought: %v and %d blocks", marks, blocks)
			}
			if events := decided(t, s, SetDown{RunID: run.Run.ID, PieceID: ids[1], SiteID: "north"}); len(events) > 0 {
				t.Errorf("set down twice: %v", events)
			}
			again := Recall("testyard", s.Memo())
			if s.Basis(testDay) != again.Basis(testDay) {
				t.Error("the recalled book has another basis")
			}
			// What comes back to the yard is wanted again.
			again = must(t, again, TakeBack{PieceID: ids[1]})
			if marks, _ := leftOf(again); len(marks) != 3 {
				t.Errorf("after taking the beam back there is to bring %v", marks)
			}
		})
	}
}

// TestSecondPieceForAFilledPlaceIsStopped: the places of a cancelled run are on
// another run when its pieces are set down after all.
func TestSecondPieceForAFilledPlaceIsStopped(t *testing.T) {
	s, p, plan := confirmedYard(t)
	run, _ := s.Run(plan + "-R01")
	s = must(t, s, CancelRun{RunID: run.Run.ID, Reason: "truck broken"})
	s, second := p.draft(t, s, testDay)
	s = must(t, s, ConfirmPlan{PlanID: second, ConfirmedBy: "Ada Example"})
	// The beam while the second plan is being confirmed, the pallet after.
	ids := run.Run.PieceIDs()
	s = must(t, s, SetDown{RunID: run.Run.ID, PieceID: ids[1], SiteID: "north"})
	s = must(t, s, FinishConfirm{PlanID: second})
	s = must(t, s, SetDown{RunID: run.Run.ID, PieceID: ids[0], SiteID: "north"})
	now, _ := s.Run(second + "-R01")
	carried := now.Run.PieceIDs()
	want := []Hit{
		{
			PieceID: carried[1], Mark: "1-01-01", BatchID: "B1", Where: "reserved", Kind: PlaceFilled,
			Reason: "its place is filled: piece " + ids[1] + " of cancelled run " + run.Run.ID + " was set down there",
		},
		{
			PieceID: carried[0], BatchID: "B1", Where: "reserved", Kind: PlaceFilled,
			Reason: "its place is filled: piece " + ids[0] + " of cancelled run " + run.Run.ID + " was set down there",
		},
	}
	if diff := cmp.Diff(want, now.Hits); diff != "" || now.State != RunHitState {
		t.Errorf("the second run is %v with hits\n%s", now.State, diff)
	}
	// Cancelling it frees its places, but not the filled ones.
	s = must(t, s, CancelRun{RunID: now.Run.ID, Reason: "filled"})
	if marks, blocks := leftOf(s); len(marks) != 2 || blocks != 0 {
		t.Errorf("still to be brought: %v and %d blocks", marks, blocks)
	}
}

func TestRunOfWhichAllIsSetDownIsOver(t *testing.T) {
	s, _, plan := confirmedYard(t)
	id := plan + "-R02"
	run, _ := s.Run(id)
	for _, piece := range run.Run.PieceIDs() {
		s = must(t, s, SetDown{RunID: id, PieceID: piece, SiteID: "north"})
	}
	if r, _ := s.Run(id); r.State != RunDeliveredState || len(r.Delivered) != 1 {
		t.Errorf("got %v, drops %v", r.State, r.Delivered)
	}
	refusedWith(t, s, DeliverDrop{RunID: id, DropNumber: 1, ReceivedBy: "Di Example"}, "DROP_DELIVERED")
	// What a drop brought, stock reports as well: that is no news.
	id = plan + "-R01"
	s = must(t, must(t, s, DepartRun{RunID: id, DepartedBy: "Cy Example"}), DeliverDrop{RunID: id, DropNumber: 1, ReceivedBy: "Di Example"})
	run, _ = s.Run(id)
	for _, c := range []Command{
		SetDown{RunID: id, PieceID: run.Run.PieceIDs()[0], SiteID: "north"}, SetDown{RunID: "no run", PieceID: "B1-1", SiteID: "north"},
		SetDown{RunID: id, PieceID: "B7-1", SiteID: "north"}, TakeBack{PieceID: "B7-1"},
	} {
		if events := decided(t, s, c); len(events) > 0 {
			t.Errorf("%+v leads to %v", c, events)
		}
	}
	// A piece that comes back from its drop is to be brought again, once.
	before, _ := leftOf(s)
	back := TakeBack{PieceID: run.Run.PieceIDs()[1]}
	s = must(t, s, back)
	if after, _ := leftOf(s); len(after) != len(before)+1 {
		t.Errorf("to be brought before %v, after a beam came back %v", before, after)
	}
	if events := decided(t, s, back); len(events) > 0 {
		t.Errorf("taken back twice: %v", events)
	}
	if again, _ := leftOf(Recall("testyard", s.Memo())); len(again) != len(before)+1 {
		t.Errorf("the recalled book has to bring %v", again)
	}
}

func TestSetDownWhileBeingConfirmedWaits(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01")}})
	s, plan := p.draft(t, s, testDay)
	s = must(t, s, ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"})
	f := refusedWith(t, s, SetDown{RunID: plan + "-R01", PieceID: "B1-2", SiteID: "north"}, "BEING_CONFIRMED")
	if f.Kind != fault.Conflict {
		t.Errorf("kind %v", f.Kind)
	}
}

// TestReleasedBatchClearsItsHits: what a quarantine hit is free again when the
// batch is released anew; what was scrapped stays hit.
func TestReleasedBatchClearsItsHits(t *testing.T) {
	s, _, plan := confirmedYard(t)
	one, two := plan+"-R01", plan+"-R02"
	first, _ := s.Run(one)
	second, _ := s.Run(two)
	weak := func(r *RunStatus, n int) Report {
		return Report{RunID: r.Run.ID, PieceID: r.Run.PieceIDs()[n], BatchID: "B1", Reason: "batch B1 is in quarantine: weak", Kind: Quarantined}
	}
	s = must(t, s, DepartRun{RunID: two, DepartedBy: "Cy Example"})
	quarantine := ReportHits{Reports: []Report{weak(first, 1), weak(first, 2), weak(second, 1)}}
	if events := decided(t, s, quarantine); events[0].(RunChanged).Departed || !events[1].(RunChanged).Departed {
		t.Errorf("got %+v", events)
	}
	s = must(t, s, quarantine)
	s = must(t, s, ReportHits{Reports: []Report{{PieceID: first.Run.PieceIDs()[3], BatchID: "B1", Reason: "was scrapped", Kind: Scrapped}}})
	if events := decided(t, s, ClearHits{BatchID: "B2"}); len(events) > 0 {
		t.Errorf("another batch clears %v", events)
	}
	want := []Event{
		RunCleared{RunID: one, BatchID: "B1", PieceIDs: first.Run.PieceIDs()[1:3]},
		RunCleared{RunID: two, BatchID: "B1", PieceIDs: second.Run.PieceIDs()[1:2], Departed: true},
	}
	if diff := cmp.Diff(want, decided(t, s, ClearHits{BatchID: "B1"})); diff != "" {
		t.Error(diff)
	}
	s = must(t, s, ClearHits{BatchID: "B1"})
	if r, _ := s.Run(one); r.State != RunHitState || len(r.Hits) != 1 || r.Hits[0].Kind != Scrapped {
		t.Errorf("the first run is %v with %v", r.State, r.Hits)
	}
	if r, _ := s.Run(two); r.State != RunDepartedState || len(r.Hits) != 0 {
		t.Errorf("the second run is %v with %v", r.State, r.Hits)
	}
}

func TestClearedRunMayLeave(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01"), testCallOff("C2", "1", "02")}})
	s, plan := p.draft(t, s, testDay)
	s = must(t, s, ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"})
	hit := func(run, piece string) Command {
		return ReportHits{Reports: []Report{{RunID: plan + run, PieceID: piece, BatchID: "B1", Reason: "weak", Kind: Quarantined}}}
	}
	// The quarantine of the first run's piece ends before the run is confirmed.
	s = must(t, must(t, s, hit("-R01", "B1-2")), ClearHits{BatchID: "B1"})
	s = must(t, s, hit("-R02", "B1-6"))
	s = must(t, s, FinishConfirm{PlanID: plan})
	if err := s.MayDepart(plan + "-R01"); err != nil {
		t.Error(err)
	}
	if err := s.MayDepart(plan + "-R02"); fault.ReasonOf(err) != "RUN_HIT" {
		t.Errorf("got %v", err)
	}
	s = must(t, s, ClearHits{BatchID: "B1"})
	if err := s.MayDepart(plan + "-R02"); err != nil {
		t.Error(err)
	}
	// A second quarantine hits again.
	s = must(t, s, hit("-R02", "B1-6"))
	if err := s.MayDepart(plan + "-R02"); fault.ReasonOf(err) != "RUN_HIT" {
		t.Errorf("got %v", err)
	}
}
