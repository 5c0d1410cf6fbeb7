package codec_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/codec"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/intake"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
	"spanyard.example/services/layout/internal/sharedtest"
)

// largest is what a message of the ledger may have, less what its envelope
// takes and what later versions may add.
const largest = 7 << 20

// wordy is a catalogue of the longest names.
func wordy() office.Catalogue {
	c := officetest.Catalogue()
	for i := range c.Profiles {
		c.Profiles[i].Name = fourBytes(28) + fmt.Sprintf("%04d", i)
		for j := range c.Profiles[i].Patterns {
			c.Profiles[i].Patterns[j].Name = fourBytes(28) + fmt.Sprintf("%04d", j)
		}
		c.Blocks[i].Name, c.Blocks[i].Profiles = fourBytes(32), []string{c.Profiles[i].Name}
	}
	c.Blocks = c.Blocks[:1]
	return c
}

// fourBytes are n letters of four bytes each.
func fourBytes(n int) string { return strings.Repeat("\U00010400", n) }

// TestLargestEventFits draws up a floor of 5,000 beams, the most that may be,
// of the longest names, and compares its events with what the ledger stores.
func TestLargestEventFits(t *testing.T) {
	s := office.New()
	draft := office.DraftDrawing{SourceFile: "mill.dxf", Job: fourBytes(64), JobName: fourBytes(120), Floor: "ABCDEFGH"}
	zero := 0.0
	for i := range 500 { // single rows at 510 mm: (5,100 - 510 - 450) / 510 + 2 = 10 beams: 5,000 in all
		r := officetest.Box(fmt.Sprintf("ABCDE%03d", i), i+1, float64(i%25)*4000, float64(i/25)*6000, 3000, 5100+510-60)
		r.Name, r.DirectionDegrees = fourBytes(120), &zero
		r.Partitions = []arrange.Partition{{From: geometry.Point{X: r.Shape.Outline[0].X + 1000, Y: r.Shape.Outline[0].Y}, To: geometry.Point{X: r.Shape.Outline[0].X + 1000, Y: r.Shape.Outline[2].Y}, NPerMM: 0.5}}
		draft.Rooms = append(draft.Rooms, r)
	}
	for _, c := range []office.Command{office.SetCatalogue{Catalogue: wordy()}, draft,
		office.Approve{Job: draft.Job, Floor: draft.Floor, Revision: 1, Engineer: fourBytes(120), Reason: fourBytes(1000)}} {
		events, err := office.Decide(s, c)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			kind, data, err := codec.Encode(e)
			if err != nil {
				t.Fatal(err)
			}
			if len(data) > largest {
				t.Errorf("%s takes %d bytes", kind, len(data))
			}
			s = office.Evolve(s, e)
			t.Logf("%s takes %d bytes", kind, len(data))
		}
	}
	p := s.Revisions(office.FloorKey{Job: draft.Job, Floor: draft.Floor})[0]
	if p.Totals.Beams != 5000 {
		t.Errorf("%d beams", p.Totals.Beams)
	}
	t.Logf("%d bytes a beam; counted as %d", proto.Size(codec.PlanProto(p.Plan))/p.Totals.Beams, p.Plan.StoredBytes()/p.Totals.Beams)
	checkCounted(t, "the largest plan", p.Plan)
}

// checkCounted makes sure that a plan takes no more than its parts are counted
// as, by which the office keeps events within the ledger's limit.
func checkCounted(t *testing.T, what string, p office.Plan) {
	t.Helper()
	if stored, counted := proto.Size(codec.PlanProto(p)), p.StoredBytes(); stored > counted {
		t.Errorf("%s takes %d bytes and is counted as %d", what, stored, counted)
	}
}

func TestSamplesAreCounted(t *testing.T) {
	_, states := sample(t)
	for _, s := range states {
		for _, r := range s.Revisions(key) {
			checkCounted(t, fmt.Sprint("revision ", r.Plan.Revision), r.Plan)
		}
	}
}

// TestPublicDrawings draws up every public drawing from all of its layers:
// what cannot be a floor is refused as the person's to mend, and every plan
// survives being written down.
func TestPublicDrawings(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(sharedtest.Dir(t, "floors", "dxf"), "*.dxf"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	s := office.New()
	events, err := office.Decide(s, office.SetCatalogue{Catalogue: officetest.Catalogue()})
	if err != nil {
		t.Fatal(err)
	}
	s = office.Evolve(s, events[0])
	plans, refused := 0, map[string]int{}
	for _, name := range files {
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		in, err := intake.FromDXF(filepath.Base(name), content, intake.Settings{RoomLayers: []string{"*"}, UnitMM: 1, SmallestM2: 1,
			Loads: design.Loads{Category: "A", ImposedKNPerM2: 2}})
		if err != nil {
			if fault.KindOf(err) != fault.Invalid {
				t.Errorf("%s: %v", filepath.Base(name), err)
			}
			refused[fault.ReasonOf(err)]++
			continue
		}
		c := office.DraftDrawing{SourceFile: filepath.Base(name), Job: "J1", JobName: "Public drawing", Floor: "1", Rooms: in.Rooms}
		for _, p := range in.Problems {
			c.Problems = append(c.Problems, office.Problem{Entity: p.Entity, Layer: p.Layer, What: p.What})
		}
		drafted, err := office.Decide(s, c)
		if err != nil {
			if fault.KindOf(err) != fault.Invalid {
				t.Errorf("%s: %v", filepath.Base(name), err)
			}
			refused[fault.ReasonOf(err)]++
			continue
		}
		plans++
		checkSurvives(t, filepath.Base(name), drafted[0])
		checkCounted(t, filepath.Base(name), drafted[0].(office.LayingPlanDrafted).Plan)
	}
	t.Logf("%d drawings: %d plans, refused %v", len(files), plans, refused)
}
