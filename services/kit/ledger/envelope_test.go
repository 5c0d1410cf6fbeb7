package ledger

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"pgregory.net/rapid"
)

func anyRecord(t *rapid.T) *record {
	text := rapid.StringN(1, 40, longestText)
	count := rapid.IntRange(1, 1000)
	partOf := func(name string) part {
		n := count.Draw(t, name+" count")
		return part{rapid.StringMatching(`[A-Za-z0-9]{22}`).Draw(t, name), rapid.IntRange(0, n-1).Draw(t, name+" index"), n}
	}
	return &record{
		Meta: Meta{
			ID:        rapid.StringMatching(`[A-Za-z0-9]{22}-[0-9]{1,3}`).Draw(t, "id"),
			Position:  rapid.Uint64Range(1, 1<<60).Draw(t, "position"),
			Yard:      rapid.StringMatching(`[a-z0-9][a-z0-9-]{0,31}`).Draw(t, "yard"),
			Type:      rapid.StringMatching(`[a-z][a-z0-9_]{0,30}`).Draw(t, "type"),
			RequestID: text.Draw(t, "request"),
			Actor:     text.Draw(t, "actor"),
			Cause:     rapid.StringN(0, 40, longestText).Draw(t, "cause"),
			Time:      time.Unix(rapid.Int64Range(0, 1<<33).Draw(t, "time"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns")).UTC(),
		},
		requestHash: fingerprintOf(rapid.SliceOf(rapid.Byte()).Draw(t, "fingerprint")),
		decision:    partOf("decision"),
		batch:       partOf("batch"),
		prev:        rapid.SampledFrom([]string{"", fingerprintOf(nil)}).Draw(t, "prev"),
		data:        rapid.SliceOf(rapid.Byte()).Draw(t, "data"),
	}
}

// What is written can be read, over the wire format of the headers as well, and
// the hash stays the same.
func TestRecordsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRecord(t)
		m := r.message("stock")
		for key, values := range m.Header {
			for _, c := range []byte(values[0]) {
				if c <= ' ' || c > '~' {
					t.Fatalf("%s is %q", key, values[0])
				}
			}
		}
		back, err := parseRecord(m.Subject, r.Position, m.Header, m.Data)
		if err != nil {
			t.Fatal(err)
		}
		if back.Meta != r.Meta || back.decision != r.decision || back.batch != r.batch || back.prev != r.prev ||
			back.requestHash != r.requestHash || !bytes.Equal(back.data, r.data) {
			t.Fatalf("got %+v, want %+v", back, r)
		}
		if back.hash() != r.hash() {
			t.Fatal("the hash has changed")
		}
	})
}

// Every part of a record changes its hash.
func TestHashCoversEverything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRecord(t)
		for name, change := range map[string]func(*record){
			"id":           func(r *record) { r.ID += "x" },
			"yard":         func(r *record) { r.Yard += "x" },
			"type":         func(r *record) { r.Type += "x" },
			"request":      func(r *record) { r.RequestID += "x" },
			"request hash": func(r *record) { r.requestHash += "x" },
			"actor":        func(r *record) { r.Actor += "x" },
			"cause":        func(r *record) { r.Cause += "x" },
			"time":         func(r *record) { r.Time = r.Time.Add(1) },
			"decision":     func(r *record) { r.decision.index++ },
			"batch":        func(r *record) { r.batch.count++ },
			"prev":         func(r *record) { r.prev += "x" },
			"data":         func(r *record) { r.data = append(bytes.Clone(r.data), 0) },
			"border":       func(r *record) { r.RequestID, r.Actor = r.RequestID+r.Actor, "" },
		} {
			changed := *r
			changed.sum = ""
			change(&changed)
			if changed.hash() == r.hash() {
				t.Fatalf("the hash does not cover: %s", name)
			}
		}
	})
}

func FuzzParseRecord(f *testing.F) {
	f.Add("spanyard.stock.north.put", "id-0", "2031-03-03T05:00:00Z", "0", "1", "%C3%BC")
	f.Add("spanyard.stock.north", "", "yesterday", "-1", "9999999999999999999", "%")
	f.Fuzz(func(t *testing.T, subject, id, at, index, count, actor string) {
		h := nats.Header{}
		for key, value := range map[string]string{
			headerSpecVersion: specVersion, headerID: id, headerTime: at, headerActor: actor, headerRequest: actor,
			headerDecision: id, headerDecisionIndex: index, headerDecisionCount: count,
			headerBatch: id, headerBatchIndex: index, headerBatchCount: count,
		} {
			h.Set(key, value)
		}
		r, err := parseRecord(subject, 1, h, nil)
		if err != nil {
			return
		}
		if r.batch.index >= r.batch.count || r.batch.index < 0 || r.Yard == "" && !strings.Contains(subject, "..") {
			t.Fatalf("taken: %+v", r)
		}
	})
}

func FuzzUnpackSnapshot(f *testing.F) {
	good, err := (&snapshot{Yard: "north", Position: 7, Requests: []request{{ID: "r"}}, state: []byte("state")}).pack()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(good[:40])
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, packed []byte) {
		s, err := unpack(packed)
		if err == nil && s == nil {
			t.Fatal("neither a snapshot nor an error")
		}
	})
}

func TestSnapshotsComeBack(t *testing.T) {
	s := &snapshot{
		Yard: "north", Version: 3, Position: 7, Count: 5, Hash: "h", Newest: time.Unix(1900000000, 5).UTC(),
		Requests: []request{{ID: "r", First: 6, Last: 7, Fingerprint: "f", Decision: "d", Time: time.Unix(1900000000, 0).UTC()}},
		state:    []byte("state"),
	}
	packed, err := s.pack()
	if err != nil {
		t.Fatal(err)
	}
	back, err := unpack(packed)
	if err != nil {
		t.Fatal(err)
	}
	if back.Yard != s.Yard || back.Newest != s.Newest || back.Requests[0] != s.Requests[0] || string(back.state) != "state" {
		t.Fatalf("got %+v, want %+v", back, s)
	}
}

func TestBookForgetsByEventTime(t *testing.T) {
	b := newBook()
	start := time.Unix(1900000000, 0)
	note := func(i int, at time.Time) {
		id := string(rune('a'+i%26)) + time.Duration(i).String()
		b.note(&record{Meta: Meta{RequestID: id, Position: uint64(i + 1), Time: at}, decision: part{id: id, count: 1}})
	}
	for i := range rememberedLeast + 50 {
		note(i, start)
	}
	if n := len(b.order); n != rememberedLeast+50 {
		t.Fatalf("%d ids are known, want all", n)
	}
	note(rememberedLeast+50, start.Add(remembered+time.Second))
	if n := len(b.order); n != rememberedLeast || len(b.byID) != n {
		t.Fatalf("%d ids are known, want the newest %d", n, rememberedLeast)
	}
}
