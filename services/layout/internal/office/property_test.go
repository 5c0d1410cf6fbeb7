package office_test

import (
	"fmt"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/layout/internal/office"
)

// TestHistories drives the office through histories of good and bad commands
// and checks what must hold after each.
func TestHistories(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := office.New()
		var history []office.State // states and a copy of what they said
		var said []string
		for range rapid.IntRange(1, 25).Draw(t, "commands") {
			c := drawCommand(t)
			before := describe(s)
			events, err := office.Decide(s, c)
			if err != nil && len(events) > 0 {
				t.Fatalf("refused, and yet %d events", len(events))
			}
			again, _ := office.Decide(s, c)
			if !reflect.DeepEqual(events, again) {
				t.Fatal("Decide gave two answers")
			}
			if describe(s) != before {
				t.Fatal("Decide changed the state")
			}
			history, said = append(history, s), append(said, before)
			for _, e := range events {
				s = office.Evolve(s, e)
			}
			checkState(t, s)
			if d, ok := c.(office.DraftPlans); ok && err == nil {
				checkDraft(t, d, events)
			}
		}
		for i, old := range history {
			if describe(old) != said[i] {
				t.Fatalf("state %d has changed since", i)
			}
		}
	})
}

func drawCommand(t *rapid.T) office.Command {
	job := rapid.SampledFrom([]string{"J1", "J2"})
	floor := rapid.SampledFrom([]string{"0", "1", "x-y"})
	switch rapid.IntRange(0, 4).Draw(t, "kind") {
	case 0:
		c := catalogue()
		c.LengthStepMM = rapid.IntRange(0, 100).Draw(t, "step")
		return office.SetCatalogue{Catalogue: c}
	case 1, 2:
		c := office.DraftPlans{SourceFile: "rooms.csv"}
		for i := range rapid.IntRange(0, 6).Draw(t, "rows") {
			r := row(i+2, job.Draw(t, "job"), floor.Draw(t, "floor"), fmt.Sprintf("%02d", i), i+1)
			r.Room.WidthMM = rapid.IntRange(150, 5000).Draw(t, "width")
			r.Room.BeamsPerRow = rapid.IntRange(1, 3).Draw(t, "beams per row")
			c.Rows = append(c.Rows, r)
		}
		return c
	default:
		c := approve(job.Draw(t, "job"), floor.Draw(t, "floor"), rapid.IntRange(0, 6).Draw(t, "revision"))
		c.Engineer = rapid.SampledFrom([]string{"Odalys Brenk", "", " "}).Draw(t, "engineer")
		return c
	}
}

// describe says all that a state holds of its plans.
func describe(s office.State) string {
	out := ""
	s.Floors(office.FloorKey{}, func(key office.FloorKey, records []office.Record) bool {
		out += fmt.Sprintf("%v %+v\n", key, records)
		return true
	})
	return out
}

func checkState(t *rapid.T, s office.State) {
	s.Floors(office.FloorKey{}, func(key office.FloorKey, records []office.Record) bool {
		approved := 0
		for i, r := range records {
			if r.Plan.Revision != i+1 || r.Plan.Job != key.Job || r.Plan.Floor != key.Floor {
				t.Fatalf("%v: revision %d lies at %d", key, r.Plan.Revision, i)
			}
			if r.Status == office.Approved {
				approved++
			}
			if signed := r.Engineer != "" && r.Reason != "" && !r.ApprovedAt.IsZero(); signed != (r.Status != office.Draft) {
				t.Fatalf("%v revision %d: status %d, engineer %q, reason %q", key, i+1, r.Status, r.Engineer, r.Reason)
			}
		}
		if approved > 1 {
			t.Fatalf("%v: %d revisions are approved", key, approved)
		}
		return true
	})
}

// checkDraft makes sure that every row has become one room, and that the
// totals of a plan are the sums of its rooms.
func checkDraft(t *rapid.T, c office.DraftPlans, events []office.Event) {
	rooms := 0
	for _, e := range events {
		plan := e.(office.LayingPlanDrafted).Plan
		rooms += len(plan.Rooms)
		totals, mass, length, beams, blocks := plan.Totals(), int64(0), int64(0), 0, 0
		marks := map[string]bool{}
		for i, r := range plan.Rooms {
			if i > 0 && plan.Rooms[i-1].LayingOrder >= r.LayingOrder {
				t.Fatal("rooms are out of laying order")
			}
			blocks += r.BlockCount
			for _, b := range r.Beams {
				if marks[b.Mark] {
					t.Fatalf("mark %s is there twice", b.Mark)
				}
				marks[b.Mark] = true
				beams, mass, length = beams+1, mass+b.MassG, length+int64(b.LengthMM)
			}
		}
		want := office.Totals{Rooms: len(plan.Rooms), Beams: beams, BeamLengthMM: length, BeamMassG: mass, Blocks: blocks, BlockMassG: int64(blocks) * 16_400}
		if totals != want {
			t.Fatalf("totals %+v, want %+v", totals, want)
		}
	}
	if rooms != len(c.Rows) {
		t.Fatalf("%d rows became %d rooms", len(c.Rows), rooms)
	}
}
