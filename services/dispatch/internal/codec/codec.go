// Package codec turns dispatch's domain values into the messages of the
// contract and back: the events of the ledger, the parts of requests and
// answers, and the snapshots of a yard's state.
//
// Stored events are read forever: a field that an old event does not have
// becomes the zero value, and every history under testdata is replayed by the
// tests.
package codec

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"

	"google.golang.org/protobuf/proto"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/kit/ledger"
)

// snapshotVersion is raised whenever the memo or the meaning of Evolve
// changes.
const snapshotVersion = 4

// Domain is dispatch as the ledger sees it.
func Domain() ledger.Domain[daybook.State, daybook.Event] {
	return ledger.Domain[daybook.State, daybook.Event]{
		Service:         "dispatch",
		New:             daybook.New,
		Evolve:          daybook.Evolve,
		Encode:          Encode,
		Decode:          Decode,
		Snapshot:        snapshot,
		Restore:         restore,
		SnapshotVersion: snapshotVersion,
	}
}

// Encode returns an event's kind and its message as bytes.
func Encode(event daybook.Event) (kind string, data []byte, err error) {
	msg, err := ToProto(event)
	if err != nil {
		return "", nil, err
	}
	data, err = proto.MarshalOptions{Deterministic: true}.Marshal(msg)
	return Kind(msg), data, err
}

// Decode is the inverse of Encode.
func Decode(kind string, data []byte) (daybook.Event, error) {
	msg := &eventv1.Event{}
	if err := proto.Unmarshal(data, msg); err != nil {
		return nil, fmt.Errorf("dispatch event %s: %w", kind, err)
	}
	if got := Kind(msg); got != kind {
		return nil, fmt.Errorf("dispatch event %s holds %q", kind, got)
	}
	return FromProto(msg)
}

// Kind is the name of the set field: the last token of the event's subject.
func Kind(msg *eventv1.Event) string {
	m := msg.ProtoReflect()
	if f := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind")); f != nil {
		return string(f.Name())
	}
	return ""
}

func snapshot(s daybook.State) ([]byte, error) {
	var buf bytes.Buffer
	zip := gzip.NewWriter(&buf)
	if err := json.NewEncoder(zip).Encode(s.Memo()); err != nil {
		return nil, err
	}
	if err := zip.Close(); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}

func restore(yard string, data []byte) (daybook.State, error) {
	zip, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return daybook.State{}, err
	}
	var memo daybook.Memo
	if err := json.NewDecoder(zip).Decode(&memo); err != nil {
		return daybook.State{}, err
	}
	return daybook.Recall(yard, memo), nil
}
