package rpc

import (
	"errors"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
)

// Every broken rule reads as a sentence to a clerk.
func TestBrokenRulesInWords(t *testing.T) {
	tests := map[string]struct {
		req  proto.Message
		want []string
	}{
		"numbers out of range": {
			&stockv1.BeamLine{LengthMm: 150, Count: 6000, MassGEach: 0, StackId: "A1"},
			[]string{
				`length_mm: "150" is out of range; allowed: from 200 to 30000`,
				`count: "6000" is out of range; allowed: from 1 to 5000`,
				`mass_g_each: "0" is out of range; allowed: more than 0 to 20000000`,
			},
		},
		"missing text, kind and content": {
			&layoutv1.ImportRoomScheduleRequest{Yard: "elm"},
			[]string{
				"request_id: is missing",
				"format: \"FILE_FORMAT_UNSPECIFIED\" is not one of the known values; allowed: FILE_FORMAT_",
				"content: is missing",
			},
		},
		"unknown kind, large content": {
			&layoutv1.ImportRoomScheduleRequest{Yard: "elm", RequestId: "r", FileName: "a.csv", Format: 99, Content: make([]byte, 8<<20+1)},
			[]string{
				`format: "99" is not one of the known values; allowed: FILE_FORMAT_`,
				"content: is too large; allowed: at most 8 MiB",
			},
		},
		"missing choice": {&stockv1.ReserveLine{}, []string{"what: is missing"}},
		"bad day":        {&dispatchv1.WatchPicksRequest{Yard: "elm", Day: "3.4.31"}, []string{`day: "3.4.31" is not written as it must be; allowed: a day written YYYY-MM-DD, or nothing`}},
		"empty day":      {&dispatchv1.ListMorningsRequest{Yard: "elm"}, []string{"day: is missing; allowed: a day written YYYY-MM-DD"}},
	}
	r, err := newRules()
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			err := r.check(t.Context(), tt.req)
			var f *fault.Error
			if !errors.As(err, &f) || f.Kind != fault.Invalid || f.Reason != ReasonBadRequest {
				t.Fatalf("got %v, want an invalid fault", err)
			}
			for _, want := range tt.want {
				if !strings.Contains(f.Error(), "\n  "+want) {
					t.Errorf("%q is not in:\n%s", want, f.Error())
				}
			}
		})
	}
}

func TestOnlySoManyPlaces(t *testing.T) {
	req := &dispatchv1.ListTrucksRequest{Yard: "elm"}
	r, err := newRules()
	if err != nil {
		t.Fatal(err)
	}
	if err := r.check(t.Context(), req); err != nil {
		t.Errorf("a good request is refused: %v", err)
	}
	reserve := &stockv1.ReservePiecesRequest{Yard: "elm", RequestId: "r1"}
	for range 300 {
		reserve.Lines = append(reserve.Lines, &stockv1.ReserveLine{})
	}
	f := asFault(t, r.check(t.Context(), reserve))
	if len(f.Places) != maxPlaces+1 || !strings.Contains(f.Places[maxPlaces].Problem, "more wrong values") {
		t.Errorf("got %d places, want %d and how many more", len(f.Places), maxPlaces)
	}
}

// Every pattern of our protos has words of its own.
func TestPatternsHaveWords(t *testing.T) {
	for _, file := range []protoreflect.FileDescriptor{
		dispatchv1.File_spanyard_dispatch_v1_dispatch_proto,
		layoutv1.File_spanyard_layout_v1_layout_proto,
		stockv1.File_spanyard_stock_v1_stock_proto,
	} {
		eachField(file.Messages(), func(f protoreflect.FieldDescriptor) {
			rules, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
			for _, p := range []string{rules.GetString().GetPattern(), rules.GetRepeated().GetItems().GetString().GetPattern()} {
				if p != "" && patterns[p] == "" {
					t.Errorf("%s: the pattern %s has no words", f.FullName(), p)
				}
			}
		})
	}
}

func eachField(messages protoreflect.MessageDescriptors, do func(protoreflect.FieldDescriptor)) {
	for i := range messages.Len() {
		fields := messages.Get(i).Fields()
		for j := range fields.Len() {
			do(fields.Get(j))
		}
		eachField(messages.Get(i).Messages(), do)
	}
}
