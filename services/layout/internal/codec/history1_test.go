package codec_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"

	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/codec"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
)

const fromBeforeStrength = "testdata/history/v1"

// plansOf are the plans that an event carries.
func plansOf(e *eventv1.Event) *eventv1.LayingPlan {
	if d := e.GetLayingPlanDrafted(); d != nil {
		return d.GetPlan()
	}
	return e.GetLayingPlanApproved().GetPlan()
}

// TestRectanglesAreRead reads the events from before strength was computed:
// what they said of marks, lengths, places and blocks is still said, and
// written again it says the same.
func TestRectanglesAreRead(t *testing.T) {
	s := replay(t, fromBeforeStrength, func(name string, stored *eventv1.Event, event office.Event) {
		again, err := codec.EventProto(event)
		if err != nil {
			t.Fatal(err)
		}
		was, is := plansOf(stored), plansOf(again)
		if was == nil {
			if !proto.Equal(stored, again) {
				t.Errorf("%s has become %v", name, again)
			}
			return
		}
		// All that is new is empty in the old plans: take it away.
		is = proto.Clone(is).(*eventv1.LayingPlan)
		is.Schematic = false
		for _, r := range is.GetRooms() {
			r.State, r.Outline, r.Wishes, r.Kit, r.Bays, r.DirectionDegrees = 0, nil, nil, nil, nil, 0
			for _, b := range r.GetBeams() {
				b.Corners, b.ClearSpanMm, b.BeamsInRow = nil, 0, 0
			}
		}
		if !proto.Equal(was, is) {
			t.Errorf("%s has lost something:\nstored %v\nread   %v", name, was, is)
		}
	})
	records := s.Revisions(key)
	if len(records) != 2 || records[0].Status != office.Superseded || records[1].Status != office.Approved {
		t.Fatalf("after the history: %+v", records)
	}
	r := records[1]
	// 2 double rows of 4,100 mm and 133.25 kg, 54 blocks of 16.4 kg.
	want := office.Totals{Rooms: 1, Beams: 4, BeamLengthMM: 4 * 4100, BeamMassG: 4 * 133_250, Blocks: 54, BlockMassG: 54 * 16_400}
	if d := cmp.Diff(want, r.Totals); d != "" {
		t.Errorf("totals (-want +got):\n%s", d)
	}
	if r.Plan.Strength != office.NotChecked || !r.Plan.Schematic || r.Plan.Rooms[0].Open() {
		t.Errorf("strength %v, schematic %v, %+v", r.Plan.Strength, r.Plan.Schematic, r.Plan.Rooms[0].Refused)
	}
	checkRectangle(t, r.Plan.Rooms[0])
}

// checkRectangle looks at where the beams of the old bedroom lie: along y, in
// a room of 3,870 by 1,400 mm, with 115 mm of bearing at both ends of 4,100.
func checkRectangle(t *testing.T, r office.Room) {
	t.Helper()
	low, high := r.Room.Shape.Bounds()
	if high.X-low.X != 1400 || high.Y-low.Y != 3870 {
		t.Errorf("the room lies from %v to %v", low, high)
	}
	var got []string
	for i, b := range r.Beams {
		l, h := geometry.Polygon{Outline: b.Quad[:]}.Bounds()
		p := r.Layout.Beams[i]
		got = append(got, fmt.Sprintf("%s row %d place %d of %d, %.0f x %.0f, out %.0f and %.0f", b.Mark, p.Row, p.Place, p.PerRow, h.X-l.X, h.Y-l.Y, low.Y-l.Y, h.Y-high.Y))
		for _, other := range r.Beams[i+1:] {
			if deep := geometry.Overlap(b.Quad, other.Quad); deep > 0.001 {
				t.Errorf("%s lies %.1f mm in %s", b.Mark, deep, other.Mark)
			}
		}
	}
	want := []string{
		"1-03-01 row 1 place 1 of 2, 120 x 4100, out 115 and 115", "1-03-02 row 1 place 2 of 2, 120 x 4100, out 115 and 115",
		"1-03-03 row 2 place 1 of 2, 120 x 4100, out 115 and 115", "1-03-04 row 2 place 2 of 2, 120 x 4100, out 115 and 115",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("beams (-want +got):\n%s", d)
	}
}

// TestUncheckedPlansGoNoFurther: nothing can be made of a plan from before
// strength was computed but to bring its rooms again.
func TestUncheckedPlansGoNoFurther(t *testing.T) {
	s := replay(t, fromBeforeStrength, func(string, *eventv1.Event, office.Event) {})
	bring := office.DraftPlans{SourceFile: "rooms.csv", Rows: []office.Row{{Where: "rooms.csv, row 2", Job: key.Job, JobName: "House at Tarnwick",
		Room: office.ScheduledRoom{Floor: key.Floor, Room: "03", Name: "Bedroom", LayingOrder: 2, ClearSpanMM: 2870, WidthMM: 1400, SpanDirection: "y", Category: "A"}}}}
	refusedWith := func(c office.Command, reason, sentence string) {
		t.Helper()
		events, err := office.Decide(s, c)
		if len(events) > 0 || fault.KindOf(err) != fault.Stale || fault.ReasonOf(err) != reason || !strings.Contains(err.Error(), sentence) {
			t.Errorf("%T: %d events, %v", c, len(events), err)
		}
	}
	const again = "Revision 2 of job J-1042 floor 1 is from before strength was computed. Bring its rooms again; they are laid and checked then."
	refusedWith(bring, office.ReasonCatalogueMissing, "This yard's catalogue is from before strength was computed. Set it again")
	refusedWith(office.EditRoom{Job: key.Job, Floor: key.Floor, Revision: 2, Room: "03", Brief: design.Room{Name: "Bed"}, Fields: []office.Field{office.FieldName}}, office.ReasonNotChecked, again)
	refusedWith(office.ReorderRooms{Job: key.Job, Floor: key.Floor, Revision: 2, Rooms: []string{"03"}}, office.ReasonNotChecked, again)
	refusedWith(office.LeaveOut{Job: key.Job, Floor: key.Floor, Revision: 2, AllOpen: true, Reason: "none"}, office.ReasonNotChecked, again)

	// A draft from then cannot be approved either.
	records := append([]office.Record(nil), s.Revisions(key)...)
	records[1].Status = office.Draft
	draft := office.Restored(nil, [][]office.Record{records})
	if _, err := office.Decide(draft, office.Approve{Job: key.Job, Floor: key.Floor, Revision: 2, Engineer: "Odalys Brenk", At: time.Unix(0, 0)}); fault.ReasonOf(err) != office.ReasonNotChecked || !strings.Contains(err.Error(), again) {
		t.Errorf("approved, or %v", err)
	}

	// Brought again they go on, as the next revision.
	for _, c := range []office.Command{office.SetCatalogue{Catalogue: officetest.Catalogue()}, bring,
		office.Approve{Job: key.Job, Floor: key.Floor, Revision: 3, Engineer: "Odalys Brenk", At: time.Unix(0, 0)}} {
		events, err := office.Decide(s, c)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			s = office.Evolve(s, e)
		}
	}
	if r := s.Revisions(key); len(r) != 3 || r[1].Status != office.Superseded || r[2].Status != office.Approved || r[2].Plan.Strength != office.Checked {
		t.Errorf("after it was brought again: %+v", r)
	}
}
