package show_test

import (
	"bytes"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"google.golang.org/protobuf/types/known/timestamppb"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/spanyard/internal/show"
)

// TestHitsSayWhatToDo: what has to be done about a hit piece depends on where
// it is. A delivered piece is never said to "must not leave".
func TestHitsSayWhatToDo(t *testing.T) {
	y := yard(t)
	run := fixture(t, "morning", &dispatchv1.Morning{}).GetPlan().GetRuns()[0]
	quarantined := func(piece, where string) *dispatcheventv1.RunHit {
		return &dispatcheventv1.RunHit{
			PieceId: piece, Mark: "1-01-01", BatchId: "B1", Reason: "batch B1 is in quarantine: cracks seen", Where: where,
			Kind: dispatcheventv1.RunHitKind_RUN_HIT_KIND_QUARANTINED,
		}
	}
	returned := &dispatcheventv1.RunHit{PieceId: "B1-009", Mark: "1-01-09", BatchId: "B1", Reason: "came back to the yard: broken", Where: "delivered", Kind: dispatcheventv1.RunHitKind_RUN_HIT_KIND_RETURNED}
	status := func(state dispatchv1.RunState, delivered []int32, hits ...*dispatcheventv1.RunHit) func(io.Writer) {
		return func(w io.Writer) {
			show.Runs(w, []*dispatchv1.RunStatus{{State: state, Run: run, DeliveredDrops: delivered, Hits: hits, SetDownPieceIds: []string{"B1-002"}}}, y)
		}
	}
	change := func(e *dispatchv1.WatchPicksResponse) func(io.Writer) {
		return func(w io.Writer) {
			e.Position, e.Actor, e.HappenedAt = 41, "dispatch", timestamppb.New(time.Date(2027, 3, 17, 6, 12, 0, 0, time.UTC))
			show.Change(w, e, y)
		}
	}
	changed := func(departed bool, hits ...*dispatcheventv1.RunHit) func(io.Writer) {
		return change(&dispatchv1.WatchPicksResponse{What: &dispatchv1.WatchPicksResponse_RunChanged{
			RunChanged: &dispatcheventv1.RunChanged{RunId: "P1-R01", Departed: departed, Hits: hits},
		}})
	}
	// The pallet of the run is its first drop, its beams are the second.
	pallet := run.GetPiles()[1].GetTiers()[0].GetItems()[0].GetPieceId()
	for name, c := range map[string]struct {
		page      func(io.Writer)
		says, not string
	}{
		"waiting":         {status(dispatchv1.RunState_RUN_STATE_HIT, nil, quarantined("B1-001", "reserved")), "MUST NOT LEAVE", "Call"},
		"on-the-road":     {status(dispatchv1.RunState_RUN_STATE_DEPARTED, []int32{1}, quarantined("B1-001", "loaded"), quarantined(pallet, "loaded")), "stay on the truck", "MUST NOT LEAVE"},
		"set-down":        {status(dispatchv1.RunState_RUN_STATE_CONFIRMED, nil, quarantined("B1-002", "delivered")), "nothing is laid on them", "MUST NOT LEAVE"},
		"delivered":       {status(dispatchv1.RunState_RUN_STATE_DELIVERED, []int32{1, 2}, quarantined("B1-001", "reserved"), returned), "nothing is laid on them", "MUST NOT LEAVE"},
		"feed-waiting":    {changed(false, quarantined("B1-001", "reserved")), "MUST NOT LEAVE", "STAND AT THE SITE"},
		"feed-departed":   {changed(true, quarantined("B1-001", "loaded")), "ON THE ROAD", "MUST NOT LEAVE"},
		"feed-delivered":  {changed(true, quarantined("B1-001", "delivered")), "STAND AT THE SITE", "MUST NOT LEAVE"},
		"feed-cleared":    {change(&dispatchv1.WatchPicksResponse{What: &dispatchv1.WatchPicksResponse_RunCleared{RunCleared: &dispatcheventv1.RunCleared{RunId: "P1-R01", BatchId: "B1", PieceIds: []string{"B1-001", "B1-002"}}}}), "may leave", "MUST NOT"},
		"feed-set-down":   {change(&dispatchv1.WatchPicksResponse{What: &dispatchv1.WatchPicksResponse_PieceSetDown{PieceSetDown: &dispatcheventv1.PieceSetDown{RunId: "P1-R01", PieceId: "B1-001", SiteId: "QF", Mark: "1-01-01"}}}), "by hand", "MUST NOT"},
		"feed-broken":     {change(&dispatchv1.WatchPicksResponse{What: &dispatchv1.WatchPicksResponse_PieceTakenBack{PieceTakenBack: &dispatcheventv1.PieceTakenBack{RunId: "P1-R01", PieceId: "B1-001", Mark: "1-01-01", Broken: true}}}), "another is wanted", "is back"},
		"feed-taken-back": {change(&dispatchv1.WatchPicksResponse{What: &dispatchv1.WatchPicksResponse_PieceTakenBack{PieceTakenBack: &dispatcheventv1.PieceTakenBack{RunId: "P1-R01", PieceId: "B1-001"}}}), "back from its site.", "MUST NOT"},
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			c.page(&b)
			compare(t, filepath.Join("testdata", "hits-"+name+".txt"), b.String())
			joined := strings.Join(strings.Fields(b.String()), " ")
			if !strings.Contains(joined, c.says) || strings.Contains(joined, c.not) {
				t.Errorf("says %q, or %q not", c.not, c.says)
			}
			for _, line := range strings.Split(b.String(), "\n") {
				if utf8.RuneCountInString(line) > 100 {
					t.Errorf("over 100 columns: %q", line)
				}
			}
		})
	}
}
