package daybook

import (
	"testing"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

// TestWhatASiteRefusesIsToBeBroughtAgain: its place is open, the run is over
// when nothing is left of it, and a recalled book says the same.
func TestWhatASiteRefusesIsToBeBroughtAgain(t *testing.T) {
	s, _, plan := confirmedYard(t)
	run, _ := s.Run(plan + "-R01")
	id, pieces := run.Run.ID, run.Run.PieceIDs() // the pallet, then the beams
	s = must(t, s, DepartRun{RunID: id, DepartedBy: "Cy Example"})
	deliver := DeliverDrop{RunID: id, DropNumber: 1, ReceivedBy: "Bea Example"}
	for name, c := range map[string]DeliverDrop{
		"no reason":      {Refused: pieces[1:2]},
		"nothing":        {RefusalReason: "too late"},
		"not of the run": {Refused: []string{"X-1"}, RefusalReason: "cracked"},
	} {
		c.RunID, c.DropNumber, c.ReceivedBy = id, 1, "Bea Example"
		if _, err := Decide(s, c); fault.ReasonOf(err) != "REFUSAL_INVALID" {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, c := range map[string]struct {
		deliver func(*DeliverDrop)
		marks   int
		blocks  bool
	}{
		"one beam":   {func(d *DeliverDrop) { d.Refused = pieces[1:2] }, 1, false},
		"everything": {func(d *DeliverDrop) { d.RefuseAll = true }, len(pieces) - 1, true},
	} {
		t.Run(name, func(t *testing.T) {
			d := deliver
			d.RefusalReason = "cracked at one end"
			c.deliver(&d)
			after := must(t, s, d)
			marks, blocks := leftOf(after)
			if len(marks) != c.marks || (blocks > 0) != c.blocks {
				t.Errorf("to be brought again: %v and %d blocks", marks, blocks)
			}
			day, _ := civil.ParseDay(testDay)
			needs, _ := after.Needs(day, day)
			if beams := needs[len(needs)-1]; beams.Beam == (Product{}) && c.marks > 0 && !c.blocks {
				t.Errorf("the needs are %+v", needs)
			}
			if got, _ := after.Run(id); got.State != RunDeliveredState {
				t.Errorf("the run is %v", got.State)
			}
			if _, err := Decide(after, RecordLaying{RunID: id, DropNumber: 1, Laid: pieces[1:2]}); err == nil {
				t.Error("a refused beam is laid")
			}
			again := Recall("testyard", after.Memo())
			if after.Basis(testDay) != again.Basis(testDay) {
				t.Error("the recalled book has another basis")
			}
			// Back in the yard, or broken: nothing more is to be brought than before.
			after = must(t, after, TakeBack{PieceID: pieces[1]})
			after = must(t, after, ReportHits{Reports: []Report{{PieceID: pieces[1], Kind: Scrapped, Reason: "was scrapped: cracked"}}})
			if again, _ := leftOf(after); len(again) != len(marks) {
				t.Errorf("after it is back there is to bring %v", again)
			}
		})
	}
}
