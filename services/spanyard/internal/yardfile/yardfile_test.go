package yardfile_test

import (
	"errors"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/yardfile"
)

func TestReadFillsTheMessage(t *testing.T) {
	const file = `
trucks:
  - truck_id: T1
    payloadKg: 9000        # the JSON name is right as well
    has_crane: true
    hours: {opens_minute: "5:30", closes_minute: 900}
`
	got := &dispatchv1.SetTrucksRequest{}
	if err := yardfile.Read("trucks.yaml", []byte(file), got, "yard", "request_id"); err != nil {
		t.Fatal(err)
	}
	want := &dispatchv1.SetTrucksRequest{Trucks: []*dispatcheventv1.Truck{{
		TruckId: "T1", PayloadKg: 9000, HasCrane: true, Hours: &commonv1.DayWindow{OpensMinute: 330, ClosesMinute: 900},
	}}}
	if !proto.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestReadKeepsTextAsWritten(t *testing.T) {
	got := &dispatchv1.CallOffRoomsRequest{}
	const file = "call_offs:\n  - {call_off_id: 07, day: 2027-03-17, rooms: [01, yes]}\n"
	if err := yardfile.Read("c.yaml", []byte(file), got); err != nil {
		t.Fatal(err)
	}
	c := got.GetCallOffs()[0]
	if c.GetCallOffId() != "07" || c.GetDay() != "2027-03-17" || strings.Join(c.GetRooms(), " ") != "01 yes" {
		t.Errorf("got %v", c)
	}
}

func TestReadRefuses(t *testing.T) {
	for _, tc := range []struct{ name, file, place string }{
		{"unknown field", "trucks:\n  - truck_id: T1\n    pay_load: 9\n", `f.yaml, line 3: "pay_load" is not a field here`},
		{"field of the program", "yard: demo\n", `f.yaml, line 1: "yard" is not a field here; allowed: trucks`},
		{"field given twice", "trucks: []\ntrucks: []\n", `line 2: "trucks" is given twice, first on line 1`},
		{"same field under both names", "trucks:\n  - {payload_kg: 1, payloadKg: 2}\n", `"payloadKg" cannot stand beside payload_kg`},
		{"text for a number", "trucks:\n  - payload_kg: much\n", `"much" in trucks[0].payload_kg is not right; allowed: a whole number`},
		{"fraction for a whole number", "trucks:\n  - payload_kg: 1.5\n", "a whole number"},
		{"too large", "trucks:\n  - payload_kg: 3000000000\n", "a whole number"},
		{"bad time", "trucks:\n  - hours: {opens_minute: \"25:00\"}\n", "a time of day as h:mm"},
		{"minutes of a time", "trucks:\n  - hours: {opens_minute: \"5:60\"}\n", "a time of day as h:mm"},
		{"yes for true", "trucks:\n  - has_crane: yes\n", "allowed: true or false"},
		{"no value", "trucks:\n  - name:\n", "in trucks[0].name should be a single value"},
		{"no list", "trucks: {truck_id: T1}\n", "in trucks should be a list"},
		{"no group", "trucks:\n  - T1\n", "in trucks[0] should be a group"},
		{"not YAML", "trucks: [\n", "f.yaml, line 1: cannot be read from here on"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			err := yardfile.Read("f.yaml", []byte(tc.file), &dispatchv1.SetTrucksRequest{}, "yard", "request_id")
			if fault.KindOf(err) != fault.Invalid {
				t.Fatalf("got %v, want a fault of kind invalid", err)
			}
			if !strings.Contains(err.Error(), tc.place) {
				t.Errorf("got %q, want %q in it", err, tc.place)
			}
		})
	}
}

func TestReadNamesEveryWrongLine(t *testing.T) {
	var f *fault.Error
	err := yardfile.Read("f.yaml", []byte("a: 1\nb: 2\nc: 3\n"), &dispatchv1.SetTrucksRequest{})
	if !errors.As(err, &f) || len(f.Places) != 3 {
		t.Errorf("got %v, want three places", err)
	}
}

func TestReadRefusesEmptyAndDouble(t *testing.T) {
	for reason, file := range map[string]string{"EMPTY_FILE": "# nothing\n", "BAD_FILE": "trucks: []\n---\ntrucks: []\n"} {
		if err := yardfile.Read("f.yaml", []byte(file), &dispatchv1.SetTrucksRequest{}); fault.ReasonOf(err) != reason {
			t.Errorf("%q: got %v, want %s", file, err, reason)
		}
	}
}

func TestReadYardWantsBothSections(t *testing.T) {
	_, _, err := yardfile.ReadYard("yard.yaml", []byte("stock: {time_zone: Etc/UTC}\nstocks: {}\n"))
	for _, want := range []string{"section dispatch is missing", `"stocks" is no section of this file`} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q in it", err, want)
		}
	}
}

func TestReadTakesOneOfAChoice(t *testing.T) {
	err := yardfile.Read("f.yaml", []byte("beams: {profile: T150}\nblocks: {count: 3}\n"), &stockv1.ReceiveBatchRequest{})
	if err == nil || !strings.Contains(err.Error(), `"blocks" cannot stand beside beams`) {
		t.Errorf("got %v", err)
	}
}

func TestReadEnumByName(t *testing.T) {
	got := &stockv1.RecordTestRequest{}
	if err := yardfile.Read("f.yaml", []byte("specimen: SPECIMEN_KIND_CUBE\nstrengths_mpa: [41.5]\n"), got); err != nil {
		t.Fatal(err)
	}
	if got.GetSpecimen().String() != "SPECIMEN_KIND_CUBE" || got.GetStrengthsMpa()[0] != 41.5 {
		t.Errorf("got %v", got)
	}
	err := yardfile.Read("f.yaml", []byte("specimen: ball\n"), got)
	if err == nil || !strings.Contains(err.Error(), "allowed: SPECIMEN_KIND_CYLINDER, SPECIMEN_KIND_CUBE, SPECIMEN_KIND_BLOCK") {
		t.Errorf("got %v", err)
	}
}

func TestTableFormat(t *testing.T) {
	for name, want := range map[string]int32{"a.xlsx": 1, "A.CSV": 2, "dir/a.json": 3} {
		if got, err := yardfile.TableFormat(name); err != nil || got != want {
			t.Errorf("%s: got %d, %v, want %d", name, got, err, want)
		}
	}
	if _, err := yardfile.TableFormat("a.ods"); fault.ReasonOf(err) != "FILE_FORMAT_UNKNOWN" {
		t.Errorf("got %v", err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte("trucks:\n  - {truck_id: T1, hours: {opens_minute: \"5:30\"}}\n"))
	f.Add([]byte("trucks: &a\n  - *a\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		err := yardfile.Read("f.yaml", content, &dispatchv1.SetTrucksRequest{})
		var fe *fault.Error
		if err != nil && !errors.As(err, &fe) {
			t.Errorf("not a fault: %v", err)
		}
	})
}
