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
	"spanyard.example/services/layout/internal/codec"
	"spanyard.example/services/layout/internal/laying"
	"spanyard.example/services/layout/internal/office"
)

// update adds the events that history lacks; a file that is there already is
// never written again.
var update = flag.Bool("update", false, "write missing files of testdata/history")

const history = "testdata/history/v1"

// sampleCommands make one event of every kind.
func sampleCommands() []office.Command {
	room := laying.Room{
		Floor: "1", Room: "03", Name: "Bedroom", LayingOrder: 2, ClearSpanMM: 3870, WidthMM: 1400, SpanDirection: "y", BearingMM: 95,
		ImposedLoadNPerM2: 1500, FinishesLoadNPerM2: 1825, Profile: "P150", WirePattern: "4W", Block: "B200", BeamsPerRow: 2,
	}
	draft := office.DraftPlans{SourceFile: "rooms.csv", Rows: []office.Row{
		{Where: "rooms.csv, row 2", Job: "J-1042", JobName: "House at Tarnwick", Room: room}}}
	approve := office.Approve{Job: "J-1042", Floor: "1", Revision: 1, Engineer: "Odalys Brenk",
		Reason: "Same spans as the tested floor.", At: time.Date(2031, 3, 4, 7, 30, 15, 500, time.UTC)}
	again := approve
	again.Revision = 2
	return []office.Command{
		office.SetCatalogue{Catalogue: office.Catalogue{
			Profiles: []laying.Profile{{Name: "P150", HeightMM: 150, WidthMM: 120, MassGPerM: 32_500, WirePatterns: []string{"4W", "6W"}}},
			Blocks: []laying.Block{{Name: "B200", LengthMM: 215, PitchMM: 510, MassG: 16_400, BlocksPerPallet: 60,
				PalletLengthMM: 1200, PalletWidthMM: 1000, PalletHeightMM: 900, PalletTareG: 22_000}},
			LengthStepMM: 50, MinBearingMM: 90, MaxBeamLengthMM: 7_500,
		}},
		draft, approve, draft, again,
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

func TestEventsSurvive(t *testing.T) {
	kinds := map[string]bool{}
	events, _ := sample(t)
	for _, e := range events {
		kind, data, err := codec.Encode(e)
		if err != nil {
			t.Fatal(err)
		}
		kinds[kind] = true
		back, err := codec.Decode(kind, data)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(e, back); d != "" {
			t.Errorf("%s (-before +after):\n%s", kind, d)
		}
	}
	fields := (&eventv1.Event{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range fields.Len() {
		if name := string(fields.Get(i).Name()); !kinds[name] {
			t.Errorf("the sample has no event of kind %s", name)
		}
	}
}

// TestHistory replays what earlier versions have stored: every file decodes,
// says today exactly what it said then, and evolves.
func TestHistory(t *testing.T) {
	if *update {
		writeHistory(t)
	}
	files, err := filepath.Glob("testdata/history/*/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	slices.Sort(files) // the number in front is their order
	s := office.New()
	seen := map[string]bool{}
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
		seen[kind] = true
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
		again, err := codec.EventProto(event)
		if err != nil {
			t.Fatal(err)
		}
		if !proto.Equal(&stored, again) {
			t.Errorf("%s has lost something:\nstored %s\nread   %s", name, prototext.Format(&stored), prototext.Format(again))
		}
		s = office.Evolve(s, event)
	}
	fields := (&eventv1.Event{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range fields.Len() {
		if name := string(fields.Get(i).Name()); !seen[name] {
			t.Errorf("history has no event of kind %s; run this test with -update", name)
		}
	}
	records := s.Revisions(office.FloorKey{Job: "J-1042", Floor: "1"})
	if len(records) != 2 || records[0].Status != office.Superseded || records[1].Status != office.Approved || records[1].Totals.Beams != 4 {
		t.Errorf("after the history: %+v", records)
	}
}

func writeHistory(t *testing.T) {
	events, _ := sample(t)
	for i, e := range events {
		message, err := codec.EventProto(e)
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Join(history, string(rune('1'+i))+"-"+codec.KindOf(message)+".json")
		if _, err := os.Stat(name); err == nil {
			continue
		}
		content := protojson.MarshalOptions{Multiline: true, Indent: "  ", UseProtoNames: true}.Format(message)
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
		if d := cmp.Diff(describe(s), describe(back)); d != "" {
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

// TestLargestEventFits builds the largest plan that the office lets pass, of
// the longest names in letters of four bytes, and compares its event with the
// 8 MB that a message of the ledger may have, less half for its envelope and
// for what later versions add.
func TestLargestEventFits(t *testing.T) {
	name := func(i int) string { return strings.Repeat("\U00010400", 28) + fmt.Sprintf("%04d", i) } // 32 characters
	long := strings.Repeat("\U00010400", 120)
	catalogue := office.Catalogue{LengthStepMM: 1, MinBearingMM: 20, MaxBeamLengthMM: 30_000}
	for i := range 200 {
		p := laying.Profile{Name: name(i), HeightMM: 5000, WidthMM: 1, MassGPerM: 2_000_000}
		for j := range 50 {
			p.WirePatterns = append(p.WirePatterns, name(j))
		}
		catalogue.Profiles = append(catalogue.Profiles, p)
		catalogue.Blocks = append(catalogue.Blocks, laying.Block{Name: name(i), LengthMM: 50, PitchMM: 1000, MassG: 2_000_000, BlocksPerPallet: 2000,
			PalletLengthMM: 5000, PalletWidthMM: 5000, PalletHeightMM: 5000, PalletTareG: 2_000_000})
	}
	state := office.New()
	draft := office.DraftPlans{SourceFile: "rooms.csv"}
	for i := range 500 {
		draft.Rows = append(draft.Rows, office.Row{
			Where: fmt.Sprintf("rooms.csv, row %d", i+2), Job: strings.Repeat("\U00010400", 64), JobName: long,
			Room: laying.Room{
				Floor: "ABCDEFGH", Room: fmt.Sprintf("ABCDE%03d", i), Name: long, LayingOrder: i + 1,
				ClearSpanMM: 29_000, WidthMM: 11_000, SpanDirection: "x", BearingMM: 500, // 10 beams: 5,000 in all
				ImposedLoadNPerM2: 50_000, FinishesLoadNPerM2: 50_000,
				Profile: name(i % 200), WirePattern: name(i % 50), Block: name(i % 200), BeamsPerRow: 1,
			},
		})
	}
	for _, c := range []office.Command{office.SetCatalogue{Catalogue: catalogue}, draft} {
		events, err := office.Decide(state, c)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			kind, data, err := codec.Encode(e)
			if err != nil {
				t.Fatal(err)
			}
			if len(data) > 4<<20 {
				t.Errorf("%s takes %d bytes", kind, len(data))
			}
			t.Logf("%s takes %d bytes", kind, len(data))
			state = office.Evolve(state, e)
		}
	}
	if beams := state.Revisions(office.FloorKey{Job: strings.Repeat("\U00010400", 64), Floor: "ABCDEFGH"})[0].Totals.Beams; beams != 5000 {
		t.Errorf("%d beams", beams)
	}
}
