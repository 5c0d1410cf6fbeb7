package daybook

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestExchange: an equal beam takes the place of a quarantined one on its run,
// which may go then; the state before is as it was.
func TestExchange(t *testing.T) {
	var p planner
	s := must(t, openYard(t), CallOffRooms{CallOffs: []CallOff{testCallOff("C1", "1", "01")}})
	s, plan := p.draft(t, s, testDay)
	s = must(t, must(t, s, ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"}), FinishConfirm{PlanID: plan})
	run, _ := s.Run(plan + "-R01")
	old := ""
	run.Run.Items(func(_ *Pile, item *Item) {
		if old == "" && !item.IsPallet() {
			old = item.PieceID
		}
	})
	hit := must(t, s, ReportHits{Reports: []Report{{PieceID: old, BatchID: "B1", Reason: "cracked", Kind: Quarantined}}})
	if r, _ := hit.Run(run.Run.ID); r.State != RunHitState {
		t.Fatalf("the run is %v", r.State)
	}
	after := must(t, hit, Exchange{RunID: run.Run.ID, OldID: old, NewID: "B9-001", BatchID: "B9", StackID: "S9", StackTier: 2, By: "Cy Example", Reason: "cracked"})
	r, _ := after.Run(run.Run.ID)
	if r.State != RunConfirmedState || len(r.Hits) > 0 {
		t.Errorf("the run is %v, hits %v", r.State, r.Hits)
	}
	found := 0
	r.Run.Items(func(_ *Pile, item *Item) {
		if item.PieceID == "B9-001" && item.BatchID == "B9" && item.Mark != "" {
			found++
		}
		if item.PieceID == old {
			t.Errorf("beam %s is still on the run", old)
		}
	})
	if found != 1 || after.runOfPiece("B9-001") != run.Run.ID || after.runOfPiece(old) != "" {
		t.Errorf("the new beam is on the run %d times, of run %q; the old one of run %q", found, after.runOfPiece("B9-001"), after.runOfPiece(old))
	}
	again, _ := Recall("testyard", after.Memo()).Run(run.Run.ID)
	if diff := cmp.Diff(r, again); diff != "" {
		t.Errorf("a recalled book has another run:\n%s", diff)
	}
	before, _ := hit.Run(run.Run.ID)
	before.Run.Items(func(_ *Pile, item *Item) {
		if item.PieceID == "B9-001" {
			t.Error("the state before was changed")
		}
	})
	if events, err := Decide(after, Exchange{RunID: run.Run.ID, OldID: old, NewID: "B9-002"}); err != nil || len(events) > 0 {
		t.Errorf("exchanging a beam that is gone: %v, %v", events, err)
	}
}

// TestDropBringsWhatIsOnTheTruck: a beam that came back from the road before the
// drop was not set down; its place is to be filled again.
func TestDropBringsWhatIsOnTheTruck(t *testing.T) {
	s, _, plan := confirmedYard(t)
	id := plan + "-R01"
	run, _ := s.Run(id)
	back := run.Run.PieceIDs()[1]
	before, _ := leftOf(s)
	s = must(t, s, DepartRun{RunID: id, DepartedBy: "Cy Example"})
	s = must(t, s, Together{TakeBack{PieceID: back}, ReportHits{Reports: []Report{{PieceID: back, Kind: Returned, Reason: "chipped"}}}})
	events := decided(t, s, DeliverDrop{RunID: id, DropNumber: 1, ReceivedBy: "Di Example"})
	if e, ok := events[0].(DropDelivered); !ok || len(e.PieceIDs) != len(run.Run.PieceIDs())-1 {
		t.Fatalf("the drop brings %v", events)
	}
	s = must(t, s, DeliverDrop{RunID: id, DropNumber: 1, ReceivedBy: "Di Example"})
	if after, _ := leftOf(s); len(after) != len(before)+1 {
		t.Errorf("to be brought before %v, after %v", before, after)
	}
	if r, _ := s.Run(id); r.State != RunDeliveredState {
		t.Errorf("the run is %v", r.State)
	}
	if again, _ := leftOf(Recall("testyard", s.Memo())); len(again) != len(before)+1 {
		t.Errorf("the recalled book has to bring %v", again)
	}
}
