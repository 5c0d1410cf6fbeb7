package codec

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	"spanyard.example/services/dispatch/internal/daybook"
)

// kinds of events that the contract has.
func kinds() []protoreflect.FieldDescriptor {
	var out []protoreflect.FieldDescriptor
	fields := (&eventv1.Event{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range fields.Len() {
		out = append(out, fields.Get(i))
	}
	return out
}

// TestEveryFieldComesBack fills every field of every kind of event: what the
// domain does not keep is found missing.
func TestEveryFieldComesBack(t *testing.T) {
	for _, kind := range kinds() {
		t.Run(string(kind.Name()), func(t *testing.T) {
			want := &eventv1.Event{}
			n := 0
			m := want.ProtoReflect()
			fill(m.Mutable(kind).Message(), &n)
			event, err := FromProto(want)
			if err != nil {
				t.Fatal(err)
			}
			name, data, err := Encode(event)
			if err != nil || name != string(kind.Name()) {
				t.Fatalf("encoded as %q: %v", name, err)
			}
			got := &eventv1.Event{}
			if err := proto.Unmarshal(data, got); err != nil {
				t.Fatal(err)
			}
			if !proto.Equal(want, got) {
				t.Errorf("lost on the way:\n%s", cmp.Diff(protojson.Format(want), protojson.Format(got)))
			}
			if again, err := Decode(name, data); err != nil || !cmp.Equal(event, again) {
				t.Errorf("decoded to %v, %v", again, err)
			}
			if _, err := Decode("another", data); err == nil {
				t.Error("decoded under another name")
			}
		})
	}
}

// ofDesign are fields of the yard's catalogue that loading has no use for.
var ofDesign = map[protoreflect.FullName]bool{
	"spanyard.common.v1.BeamProfile.outline": true, "spanyard.common.v1.BeamProfile.patterns": true,
	"spanyard.common.v1.BlockKind.profiles": true, "spanyard.common.v1.BlockKind.cents": true,
}

// fill sets every field to a value of its own.
func fill(m protoreflect.Message, n *int) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		switch {
		case ofDesign[f.FullName()]:
		case f.IsList():
			list := m.Mutable(f).List()
			for range 2 {
				if f.Message() != nil {
					fill(list.AppendMutable().Message(), n)
				} else {
					list.Append(scalar(f, n))
				}
			}
		case f.Message() != nil:
			fill(m.Mutable(f).Message(), n)
		default:
			m.Set(f, scalar(f, n))
		}
	}
}

func scalar(f protoreflect.FieldDescriptor, n *int) protoreflect.Value {
	*n++
	switch f.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(fmt.Sprintf("text %d", *n))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(3)
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(float64(*n) + 0.5)
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(int32(*n))
	case protoreflect.Uint64Kind:
		return protoreflect.ValueOfUint64(uint64(*n))
	default:
		return protoreflect.ValueOfInt64(int64(*n))
	}
}

// TestOldHistoriesAreReadable replays what earlier versions stored, event by
// event, and looks at where it leads. A history is never changed; new kinds of
// events come in new files.
func TestOldHistoriesAreReadable(t *testing.T) {
	files, err := filepath.Glob("testdata/history/v*/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("no histories: %v", err)
	}
	seen := map[string]bool{}
	for _, file := range files {
		t.Run(file, func(t *testing.T) {
			content, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var history struct {
				Events []json.RawMessage
				// State that the events lead to.
				State daybook.Memo
			}
			if err := json.Unmarshal(content, &history); err != nil {
				t.Fatal(err)
			}
			state := daybook.New("testyard")
			for i, raw := range history.Events {
				msg := &eventv1.Event{}
				if err := protojson.Unmarshal(raw, msg); err != nil {
					t.Fatalf("event %d: %v", i+1, err)
				}
				data, err := proto.Marshal(msg)
				if err != nil {
					t.Fatal(err)
				}
				event, err := Decode(Kind(msg), data)
				if err != nil {
					t.Fatalf("event %d: %v", i+1, err)
				}
				seen[Kind(msg)] = true
				state = daybook.Evolve(state, event)
			}
			want := daybook.Recall("testyard", history.State).Memo()
			if diff := cmp.Diff(want, state.Memo()); diff != "" {
				t.Errorf("the history leads elsewhere now:\n%s", diff)
			}
			snapshotKeepsEverything(t, state)
		})
	}
	for _, kind := range kinds() {
		if !seen[string(kind.Name())] {
			t.Errorf("no history has the event %s", kind.Name())
		}
	}
}

func snapshotKeepsEverything(t *testing.T, state daybook.State) {
	t.Helper()
	data, err := snapshot(state)
	if err != nil {
		t.Fatal(err)
	}
	again, err := restore("testyard", data)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(state.Memo(), again.Memo()); diff != "" {
		t.Errorf("the snapshot differs:\n%s", diff)
	}
	if _, err := restore("testyard", data[:len(data)/2]); err == nil {
		t.Error("half a snapshot was restored")
	}
}
