package daybook

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestLayingAtTheSite: beams are ticked off once they can be there, what is
// broken or stopped is not laid, and what was missed and is laid was there.
func TestLayingAtTheSite(t *testing.T) {
	s, _, plan := confirmedYard(t)
	id := plan + "-R01"
	run, _ := s.Run(id)
	ids := run.Run.PieceIDs() // the pallet, then three beams
	lay := func(ids ...string) RecordLaying { return RecordLaying{RunID: id, DropNumber: 1, Laid: ids} }
	tell := func(piece string, kind ReportKind) ReportPiece {
		return ReportPiece{RunID: id, DropNumber: 1, PieceID: piece, Kind: kind, Remark: "seen by the crew"}
	}
	refusedWith(t, s, lay(ids[1]), "RUN_NOT_ON_ROAD")
	refusedWith(t, s, tell(ids[1], ReportedBroken), "RUN_NOT_ON_ROAD")
	s = must(t, s, DepartRun{RunID: id, DepartedBy: "Ada Example"})
	refusedWith(t, s, RecordLaying{RunID: id, DropNumber: 2, Laid: ids[1:2]}, "DROP_UNKNOWN")
	f := refusedWith(t, s, lay(ids[0], ids[1], "B9-9"), "LAYING_INVALID")
	if len(f.Places) != 2 || !strings.Contains(f.Places[0].Problem, "pallet") || f.Places[1].Value != "B9-9" {
		t.Errorf("refused for %v", f.Places)
	}

	s = must(t, s, lay(ids[1], ids[2]))
	if events := decided(t, s, lay(ids[1])); len(events) > 0 {
		t.Errorf("ticked off twice: %v", events)
	}
	s = must(t, s, RecordLaying{RunID: id, DropNumber: 1, Unlaid: []string{ids[2]}})
	s = must(t, s, tell(ids[1], ReportedBroken))
	s = must(t, s, tell(ids[3], ReportedMissing))
	if f := refusedWith(t, s, lay(ids[1]), "LAYING_INVALID"); !strings.Contains(f.Places[0].Problem, "broken") {
		t.Errorf("refused for %v", f.Places)
	}
	if events := decided(t, s, tell(ids[1], ReportedBroken)); len(events) > 0 {
		t.Errorf("told twice: %v", events)
	}
	refusedWith(t, s, tell("B9-9", ReportedBroken), "REPORT_INVALID")
	now, _ := s.Run(id)
	again, _ := Recall("testyard", s.Memo()).Run(id)
	if diff := cmp.Diff(now, again); diff != "" || len(now.LaidBeams) != 0 || len(now.Reports) != 2 {
		t.Errorf("laid %v, told %v; recalled otherwise:\n%s", now.LaidBeams, now.Reports, diff)
	}

	s = must(t, s, lay(ids[3]))
	s = must(t, s, tell(ids[1], ReportWithdrawn))
	s = must(t, s, lay(ids[1]))
	now, _ = s.Run(id)
	if diff := cmp.Diff([]string{ids[3], ids[1]}, now.LaidBeams); diff != "" || len(now.Reports) != 0 {
		t.Errorf("told %v; laid\n%s", now.Reports, diff)
	}
	s = must(t, s, ReportHits{Reports: []Report{{RunID: id, PieceID: ids[2], BatchID: "B1", Reason: "its batch is in quarantine", Kind: Quarantined}}})
	if f := refusedWith(t, s, lay(ids[2]), "LAYING_INVALID"); !strings.Contains(f.Places[0].Problem, "quarantine") {
		t.Errorf("refused for %v", f.Places)
	}
}
