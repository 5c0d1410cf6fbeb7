package rpc

import (
	"bytes"
	"encoding/hex"
	"math"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"
	"pgregory.net/rapid"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

func trucks(requestID string, change func(*eventv1.Truck)) *dispatchv1.SetTrucksRequest {
	truck := &eventv1.Truck{TruckId: "t1", PayloadKg: 12000, DeckStartMm: -250, HasCrane: true, Hours: &commonv1.DayWindow{OpensMinute: 360, ClosesMinute: 960}}
	change(truck)
	return &dispatchv1.SetTrucksRequest{Yard: "elm", RequestId: requestID, Trucks: []*eventv1.Truck{truck, {TruckId: "t2"}}}
}

func TestFingerprintIgnoresOnlyTheRequestID(t *testing.T) {
	same := func(*eventv1.Truck) {}
	want := Fingerprint(trucks("r1", same))
	if !bytes.Equal(want, Fingerprint(trucks("r2", same))) {
		t.Error("another request_id changed the fingerprint")
	}
	changes := map[string]proto.Message{
		"number":       trucks("r1", func(x *eventv1.Truck) { x.PayloadKg++ }),
		"sign":         trucks("r1", func(x *eventv1.Truck) { x.DeckStartMm = 250 }),
		"flag":         trucks("r1", func(x *eventv1.Truck) { x.HasCrane = false }),
		"text":         trucks("r1", func(x *eventv1.Truck) { x.TruckId = "t3" }),
		"inner":        trucks("r1", func(x *eventv1.Truck) { x.Hours.OpensMinute++ }),
		"inner absent": trucks("r1", func(x *eventv1.Truck) { x.Hours = nil }),
		"inner empty":  trucks("r1", func(x *eventv1.Truck) { x.Hours = &commonv1.DayWindow{} }),
		"other type":   &dispatchv1.SetSitesRequest{Yard: "elm", RequestId: "r1"},
		"list":         &dispatchv1.SetTrucksRequest{Yard: "elm", RequestId: "r1", Trucks: trucks("r1", same).Trucks[:1]},
	}
	seen := map[string]string{string(want): "original"}
	for name, m := range changes {
		got := string(Fingerprint(m))
		if other, double := seen[got]; double {
			t.Errorf("%s has the fingerprint of %s", name, other)
		}
		seen[got] = name
	}
}

// The fingerprint is kept in ledgers: it must not change between builds.
func TestFingerprintStaysTheSame(t *testing.T) {
	const want = "f1ce5fe6a0bd70bfe01c5169220b6afeda7c80709d0296b1feaa34ac9671e6f1"
	if got := hex.EncodeToString(Fingerprint(trucks("r1", func(*eventv1.Truck) {}))); got != want {
		t.Errorf("fingerprint = %s, want %s", got, want)
	}
}

func TestFingerprintOfMapsHasOneOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.MapOf(rapid.String(), rapid.Float64Range(-math.MaxFloat64, math.MaxFloat64)).Draw(t, "values")
		a, b := &structpb.Struct{Fields: map[string]*structpb.Value{}}, &structpb.Struct{Fields: map[string]*structpb.Value{}}
		for k, v := range values {
			a.Fields[k] = structpb.NewNumberValue(v)
		}
		for k, v := range values {
			b.Fields[k] = structpb.NewNumberValue(v)
		}
		if !bytes.Equal(Fingerprint(a), Fingerprint(b)) {
			t.Fatal("equal maps have different fingerprints")
		}
		b.Fields["one more"] = structpb.NewNullValue()
		a.Fields["one more"] = structpb.NewBoolValue(false)
		if bytes.Equal(Fingerprint(a), Fingerprint(b)) {
			t.Fatal("different maps have one fingerprint")
		}
	})
}

func TestFingerprintSurvivesTheWire(t *testing.T) {
	sent := trucks("r1", func(*eventv1.Truck) {})
	data, err := proto.Marshal(sent)
	if err != nil {
		t.Fatal(err)
	}
	got := &dispatchv1.SetTrucksRequest{}
	if err := proto.Unmarshal(data, got); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(Fingerprint(sent), Fingerprint(got)) {
		t.Error("the fingerprint changed on the wire")
	}
}
