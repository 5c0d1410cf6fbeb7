package daybook

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// broke is what the book decides when stock wrote a piece off.
func broke(id string) Command {
	return Together{ReportHits{Reports: []Report{{PieceID: id, Kind: Scrapped, Reason: "was scrapped: cracked"}}}, TakeBack{PieceID: id, Broken: true}}
}

// TestWhatBreaksAtTheSiteIsToBeBroughtAgain: a beam or a pallet that a drop
// brought and that was written off since is missed from then on, and the run
// says why.
func TestWhatBreaksAtTheSiteIsToBeBroughtAgain(t *testing.T) {
	s, _, plan := confirmedYard(t)
	id := plan + "-R01"
	run, _ := s.Run(id)
	pieces := run.Run.PieceIDs() // the pallet, then the beams
	s = must(t, s, DepartRun{RunID: id, DepartedBy: "Cy Example"})
	s = must(t, s, RecordLaying{RunID: id, DropNumber: 1, Laid: pieces[1:3]})
	s = must(t, s, DeliverDrop{RunID: id, DropNumber: 1, ReceivedBy: "Bea Example"})
	s = must(t, s, ReportPiece{RunID: id, DropNumber: 1, PieceID: pieces[2], Kind: ReportedBroken, Remark: "cracked"})
	before, blocks := leftOf(s)

	events := decided(t, s, broke(pieces[1]))
	if len(events) != 2 || events[0].(RunChanged).Hits[0].Where != "delivered" || !events[1].(PieceTakenBack).Broken {
		t.Fatalf("it led to %+v", events)
	}
	after := must(t, must(t, s, broke(pieces[1])), broke(pieces[2]))
	marks, _ := leftOf(after)
	if len(marks) != len(before)+2 {
		t.Errorf("to be brought again: %v, before %v", marks, before)
	}
	r, _ := after.Run(id)
	if r.State != RunDeliveredState || len(r.Hits) != 2 || len(r.LaidBeams) != 0 || len(r.Reports) != 0 {
		t.Errorf("the run is %v with hits %v, laid %v, told %v", r.State, r.Hits, r.LaidBeams, r.Reports)
	}
	if events := decided(t, after, broke(pieces[1])); len(events) > 0 {
		t.Errorf("it breaks twice: %v", events)
	}
	if f := refusedWith(t, after, RecordLaying{RunID: id, DropNumber: 1, Laid: pieces[1:2]}, "LAYING_INVALID"); !strings.Contains(f.Places[0].Problem, "was scrapped: cracked") {
		t.Errorf("it is not laid because %v", f.Places)
	}
	if events := decided(t, after, ReportPiece{RunID: id, DropNumber: 1, PieceID: pieces[2], Kind: ReportedBroken}); len(events) > 0 {
		t.Errorf("what the yard knows is told again: %v", events)
	}
	again := Recall("testyard", after.Memo())
	if left, _ := leftOf(again); !slices.Equal(left, marks) || after.Basis(testDay) != again.Basis(testDay) {
		t.Errorf("the recalled book has to bring %v", left)
	}
	if diff := cmp.Diff(s.Memo(), must(t, s, TakeBack{PieceID: "B9-9", Broken: true}).Memo()); diff != "" {
		t.Errorf("a piece of no run changes the book:\n%s", diff)
	}

	after = must(t, s, broke(pieces[0]))
	if _, now := leftOf(after); now <= blocks {
		t.Errorf("with the pallet broken %d blocks are to be brought, before %d", now, blocks)
	}
}

// TestWhatBreaksOnTheRoadIsNotSetDown: its report is over with it, and the drop
// comes without it.
func TestWhatBreaksOnTheRoadIsNotSetDown(t *testing.T) {
	s, _, plan := confirmedYard(t)
	id := plan + "-R01"
	run, _ := s.Run(id)
	beam := run.Run.PieceIDs()[1]
	s = must(t, s, DepartRun{RunID: id, DepartedBy: "Cy Example"})
	s = must(t, s, ReportPiece{RunID: id, DropNumber: 1, PieceID: beam, Kind: ReportedBroken})
	if events := decided(t, s, broke(beam)); len(events) != 1 {
		t.Errorf("it led to %+v", events)
	}
	s = must(t, s, broke(beam))
	if r, _ := s.Run(id); r.State != RunDepartedState || len(r.Reports) != 0 {
		t.Errorf("the run is %v, told %v", r.State, r.Reports)
	}
	e := decided(t, s, DeliverDrop{RunID: id, DropNumber: 1, ReceivedBy: "Bea Example"})[0].(DropDelivered)
	if slices.Contains(e.PieceIDs, beam) || len(e.PieceIDs) == 0 {
		t.Errorf("set down was %v", e.PieceIDs)
	}
}
