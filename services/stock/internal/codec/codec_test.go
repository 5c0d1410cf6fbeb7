package codec_test

import (
	"encoding/json"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

var update = flag.Bool("update", false, "write testdata/history anew; never for a version that has been released")

type flatDice struct{ *rand.Rand }

func (d flatDice) Roll(n int) int { return d.IntN(n) }

// story returns a history in which every kind of event occurs.
func story(t *testing.T) []yard.Event {
	planned := yardtest.Rules
	planned.Sampling = []yard.SamplingRule{{Kind: yard.Beams, Product: "T15", Specimen: yard.Cube, Count: 3, AgeDays: 28, Laboratory: "Fennmoor Lab", From: 20_000}}
	history := []yard.Event{yard.RulesSet{Rules: yardtest.Rules}, yard.RulesSet{Rules: planned}}
	s := yard.EvolveAll(yard.New("alder"), history)
	teller := yardtest.Teller{Dice: flatDice{rand.New(rand.NewPCG(7, 7))}, Now: yardtest.Start}
	for range 4000 {
		events, err := yard.Decide(s, teller.Next(s))
		if err != nil {
			continue
		}
		s = yard.EvolveAll(s, events)
		history = append(history, events...)
	}
	return history
}

func TestEveryEventComesBackAsItWas(t *testing.T) {
	seen := map[string]bool{}
	for _, event := range story(t) {
		kind, data, err := codec.Encode(event)
		if err != nil {
			t.Fatal(err)
		}
		seen[kind] = true
		back, err := codec.Decode(kind, data)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(event, back); diff != "" {
			t.Fatalf("%s came back changed (-was +is):\n%s", kind, diff)
		}
	}
	kinds := (&stockeventv1.Event{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range kinds.Len() {
		if name := string(kinds.Get(i).Name()); !seen[name] {
			t.Errorf("the story has no %s", name)
		}
	}
}

func TestDecodeRefusesWhatItDoesNotKnow(t *testing.T) {
	_, data, err := codec.Encode(yard.PiecePicked{PieceID: "B1-001", RunID: "R1"})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		kind string
		data []byte
	}{
		"another kind":  {"piece_loaded", data},
		"an empty one":  {"piece_picked", nil},
		"no message":    {"piece_picked", []byte{0xff, 0xff}},
		"a day missing": {"batch_released", mustEncode(t, &stockeventv1.Event{Kind: &stockeventv1.Event_BatchReleased{BatchReleased: &stockeventv1.BatchReleased{}}})},
	} {
		if _, err := codec.Decode(c.kind, c.data); err == nil {
			t.Errorf("%s is decoded without an error", name)
		}
	}
}

func mustEncode(t *testing.T, m *stockeventv1.Event) []byte {
	t.Helper()
	text, err := protojson.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// history is an old ledger and the yard that it must still lead to.
type history struct {
	Events []json.RawMessage `json:"events"`
	Counts map[string]counts `json:"counts"`
}

type counts struct {
	State  int         `json:"state"`
	Counts yard.Counts `json:"counts"`
	Tests  int         `json:"tests"`
}

// TestOldHistories replays what earlier versions wrote.
func TestOldHistories(t *testing.T) {
	if *update {
		writeHistory(t, filepath.Join("testdata", "history", "v2", "story.json"))
	}
	files, err := filepath.Glob(filepath.Join("testdata", "history", "*", "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no histories: %v", err)
	}
	for _, file := range files {
		t.Run(filepath.ToSlash(file), func(t *testing.T) {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var h history
			if err := json.Unmarshal(data, &h); err != nil {
				t.Fatal(err)
			}
			s := yard.New("alder")
			for i, raw := range h.Events {
				var m stockeventv1.Event
				if err := protojson.Unmarshal(raw, &m); err != nil {
					t.Fatalf("event %d: %v", i, err)
				}
				event, err := codec.FromProto(&m)
				if err != nil {
					t.Fatalf("event %d: %v", i, err)
				}
				s = yard.Evolve(s, event)
			}
			if diff := cmp.Diff(h.Counts, summary(s)); diff != "" {
				t.Errorf("the history leads to another yard (-then +now):\n%s", diff)
			}
		})
	}
}

func summary(s yard.State) map[string]counts {
	all := map[string]counts{}
	s.Batches(func(b yard.Batch) { all[b.ID] = counts{int(b.State), b.Counts, len(b.Tests)} })
	return all
}

// writeHistory keeps the first events of the story, and the first of each kind
// with all before it.
func writeHistory(t *testing.T, file string) {
	events := story(t)
	seen := map[protoreflect.Name]bool{}
	last := 0
	for i, e := range events {
		name := protoreflect.Name(codec.Kind(codec.ToProto(e)))
		if !seen[name] {
			seen[name], last = true, i
		}
	}
	events = slices.Clip(events[:last+1])
	h := history{Counts: summary(yard.EvolveAll(yard.New("alder"), events))}
	for _, e := range events {
		raw, err := protojson.Marshal(codec.ToProto(e))
		if err != nil {
			t.Fatal(err)
		}
		h.Events = append(h.Events, raw)
	}
	data, err := json.MarshalIndent(h, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, append(data, '\n'), 0o644); err != nil {
		t.Fatal(err)
	}
}
