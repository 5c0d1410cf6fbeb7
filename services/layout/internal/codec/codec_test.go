package codec_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/codec"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
)

// update adds the events that the newest history lacks; a file that is there
// already is never written again.
var update = flag.Bool("update", false, "write missing files of testdata/history")

// newest is the history of what is written today; v1 is from before strength
// was computed, when every room was a rectangle.
const newest = "testdata/history/v2"

var key = office.FloorKey{Job: "J-1042", Floor: "1"}

// everything is a room that has all that a room may have.
func everything() design.Room {
	along := 90.0
	r := officetest.Box("H1", 1, 0, 0, 4200, 3600)
	r.Loads = design.Loads{Category: "B", ImposedKNPerM2: 2.5, FinishesKNPerM2: 0.825}
	at := func(x, y float64) geometry.Point { return geometry.Point{X: x, Y: y} }
	r.Shape.Holes = [][]geometry.Point{
		{at(800, 1200), at(1600, 1200), at(1600, 2000), at(800, 2000)}, {at(3600, 0), at(4200, 0), at(4200, 400), at(3600, 400)}}
	r.HoleSupports = []bool{false, true}
	r.Partitions = []arrange.Partition{{From: at(0, 2600), To: at(4200, 2600), NPerMM: 1.2}, {From: at(2400, 0), To: at(2400, 3600), NPerMM: 3.5}}
	r.OpenSides = map[int]bool{1: true}
	r.DirectionDegrees, r.Profile, r.BearingMM = &along, "T190", 100
	return r
}

// sampleCommands make one event of every kind.
func sampleCommands() []office.Command {
	draft := office.DraftPlans{SourceFile: "rooms.csv", Rows: []office.Row{
		{Where: "rooms.csv, row 2", Job: "J-1042", JobName: "House at Tarnwick", Room: office.ScheduledRoom{
			Floor: "1", Room: "03", Name: "Bedroom", LayingOrder: 2, ClearSpanMM: 2870, WidthMM: 1400, SpanDirection: "y", BearingMM: 95,
			ImposedLoadNPerM2: officetest.Load(1500), FinishesLoadNPerM2: 825, Profile: "T150", WirePattern: "5W", Block: "K510", BeamsPerRow: 2,
		}}}}
	approve := office.Approve{Job: key.Job, Floor: key.Floor, Revision: 1, Engineer: "Odalys Brenk",
		Reason: "Checked and signed.", At: time.Date(2031, 3, 4, 7, 30, 15, 500, time.UTC)}
	again := approve
	again.Revision = 2
	drawn := office.DraftDrawing{SourceFile: "first-floor.dxf", Job: key.Job, JobName: "House at Tarnwick", Floor: key.Floor,
		Rooms: []design.Room{everything(), officetest.Box("02", 2, 4600, 0, 3000, 2400), officetest.Box("03", 3, 0, 5000, 12_000, 12_000)},
		Problems: []office.Problem{
			{Entity: "LWPOLYLINE 2F (line 310)", Layer: "ROOMS", What: "crosses itself"},
			{Entity: "LINE 31 (line 402)", Layer: "ROOMS", What: "does not close"},
		}}
	return []office.Command{
		office.SetCatalogue{Catalogue: officetest.Catalogue()},
		draft, approve, drawn,
		office.EditRoom{Job: key.Job, Floor: key.Floor, Revision: 2, Room: "02", Fields: []office.Field{office.FieldPerRow, office.FieldName},
			Brief: design.Room{Name: "Study", PerRow: 2}},
		office.LeaveOut{Job: key.Job, Floor: key.Floor, Revision: 2, AllOpen: true, Reason: "Hollow-core by others."},
		again,
	}
}

// sample returns the events of the sample commands and the states after each.
func sample(t *testing.T) (events []office.Event, states []office.State) {
	t.Helper()
	s := office.New()
	states = append(states, s)
	for _, c := range sampleCommands() {
		decided, err := office.Decide(s, c)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range decided {
			s = office.Evolve(s, e)
			events, states = append(events, e), append(states, s)
		}
	}
	return events, states
}

// exact compares all of a value, also what is not exported of a refusal.
var exact = cmp.AllowUnexported(arrange.Refusal{})

func TestEventsSurvive(t *testing.T) {
	kinds := map[string]bool{}
	events, _ := sample(t)
	for _, e := range events {
		kinds[checkSurvives(t, "the sample", e)] = true
	}
	allKinds(t, "the sample", kinds)
}

// checkSurvives writes an event down, reads it again, and returns its kind.
func checkSurvives(t *testing.T, what string, e office.Event) string {
	t.Helper()
	kind, data, err := codec.Encode(e)
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	back, err := codec.Decode(kind, data)
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	if d := cmp.Diff(e, back, exact); d != "" {
		t.Errorf("%s, %s (-before +after):\n%s", what, kind, d)
	}
	return kind
}

func allKinds(t *testing.T, what string, seen map[string]bool) {
	t.Helper()
	fields := (&eventv1.Event{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range fields.Len() {
		if name := string(fields.Get(i).Name()); !seen[name] {
			t.Errorf("%s has no event of kind %s", what, name)
		}
	}
}

// replay reads a history in the order of the numbers in front of its files.
func replay(t *testing.T, folder string, each func(name string, stored *eventv1.Event, event office.Event)) office.State {
	t.Helper()
	files, err := filepath.Glob(folder + "/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	slices.Sort(files)
	s := office.New()
	for _, name := range files {
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var stored eventv1.Event
		if err := protojson.Unmarshal(content, &stored); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		kind := codec.KindOf(&stored)
		if !strings.HasSuffix(name, kind+".json") {
			t.Errorf("%s holds a %s", name, kind)
		}
		data, err := proto.Marshal(&stored)
		if err != nil {
			t.Fatal(err)
		}
		event, err := codec.Decode(kind, data)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		each(name, &stored, event)
		s = office.Evolve(s, event)
	}
	return s
}

// TestHistory replays what is written today: every file decodes, says exactly
// what it said when it was written, and evolves.
func TestHistory(t *testing.T) {
	if *update {
		writeHistory(t)
	}
	seen := map[string]bool{}
	s := replay(t, newest, func(name string, stored *eventv1.Event, event office.Event) {
		seen[codec.KindOf(stored)] = true
		again, err := codec.EventProto(event)
		if err != nil {
			t.Fatal(err)
		}
		if !proto.Equal(stored, again) {
			t.Errorf("%s has lost something:\nstored %s\nread   %s", name, prototext.Format(stored), prototext.Format(again))
		}
	})
	allKinds(t, "the history", seen)
	var got []string
	for _, r := range s.Revisions(key) {
		got = append(got, fmt.Sprintf("%d: status %d, strength %d, %+v", r.Plan.Revision, r.Status, r.Plan.Strength, r.Totals))
	}
	want := []string{
		"1: status 3, strength 2, {Rooms:1 LeftOut:0 OpenPoints:0 Beams:4 BeamLengthMM:12400 BeamMassG:372000 Blocks:42 BlockMassG:579600}",
		"2: status 2, strength 2, {Rooms:3 LeftOut:1 OpenPoints:0 Beams:18 BeamLengthMM:59700 BeamMassG:2347876 Blocks:184 BlockMassG:2846400}",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("after the history (-want +got):\n%s", d)
	}
}

func writeHistory(t *testing.T) {
	events, _ := sample(t)
	for i, e := range events {
		message, err := codec.EventProto(e)
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Join(newest, string(rune('1'+i))+"-"+codec.KindOf(message)+".json")
		if _, err := os.Stat(name); err == nil {
			continue
		}
		content := protojson.MarshalOptions{Multiline: true, Indent: "  ", UseProtoNames: true}.Format(message)
		if err := os.MkdirAll(newest, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(content+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func TestSnapshotsSurvive(t *testing.T) {
	_, states := sample(t)
	for i, s := range states {
		data, err := codec.Snapshot(s)
		if err != nil {
			t.Fatal(err)
		}
		back, err := codec.Restore(data)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(describe(s), describe(back), exact); d != "" {
			t.Errorf("state %d (-before +after):\n%s", i, d)
		}
	}
}

// description is all that a state says.
type description struct {
	Catalogue office.Catalogue
	HasOne    bool
	Floors    map[office.FloorKey][]office.Record
}

func describe(s office.State) description {
	d := description{Floors: map[office.FloorKey][]office.Record{}}
	d.Catalogue, d.HasOne = s.Catalogue()
	s.Floors(office.FloorKey{}, func(key office.FloorKey, records []office.Record) bool {
		d.Floors[key] = records
		return true
	})
	return d
}

func TestDecodeRefuses(t *testing.T) {
	_, plan, err := codec.Encode(office.LayingPlanDrafted{Plan: office.Plan{Job: "J1", Floor: "1", Revision: 0}})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		kind string
		data []byte
	}{
		"rubbish":         {"catalogue_set", []byte{0xff}},
		"nothing":         {"catalogue_set", nil},
		"another kind":    {"catalogue_set", plan},
		"revision 0":      {"laying_plan_drafted", plan},
		"unknown kind":    {"beam_painted", []byte{0xa2, 0x06, 0x00}}, // field 100, empty
		"no kind at all":  {"", []byte{0xa2, 0x06, 0x00}},
		"truncated event": {"laying_plan_drafted", plan[:len(plan)-1]},
	} {
		t.Run(name, func(t *testing.T) {
			if e, err := codec.Decode(c.kind, c.data); err == nil {
				t.Errorf("read %+v", e)
			}
		})
	}
	for _, data := range []string{"", "{", `{"catalogue":"/w=="}`, `{"floors":[[{"plan":""}]]}`} {
		if _, err := codec.Restore([]byte(data)); err == nil {
			t.Errorf("restored %q", data)
		}
	}
}
