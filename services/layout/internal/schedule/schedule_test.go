package schedule_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/sheet"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
	"spanyard.example/services/layout/internal/schedule"
)

func file(t testing.TB, name string) []byte {
	t.Helper()
	content, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// workbook puts a CSV text into an XLSX file, every cell as text.
func workbook(t testing.TB, text []byte) []byte {
	t.Helper()
	records, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	book := excelize.NewFile()
	if err := book.SetSheetName("Sheet1", "Rooms"); err != nil {
		t.Fatal(err)
	}
	for r, record := range records {
		for c, value := range record {
			cell, err := excelize.CoordinatesToCellName(c+1, r+1)
			if err != nil {
				t.Fatal(err)
			}
			if err := book.SetCellStr("Rooms", cell, value); err != nil {
				t.Fatal(err)
			}
		}
	}
	var out bytes.Buffer
	if err := book.Write(&out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func yard(t testing.TB) office.State {
	t.Helper()
	events, err := office.Decide(office.New(), office.SetCatalogue{Catalogue: officetest.Catalogue()})
	if err != nil {
		t.Fatal(err)
	}
	return office.Evolve(office.New(), events[0])
}

func TestFormatsSayTheSame(t *testing.T) {
	text := file(t, "rooms.csv")
	want := []office.Row{
		{Job: "J-1042", JobName: "House at Tarnwick", Room: office.ScheduledRoom{
			Floor: "1", Room: "01", Name: "Hall", LayingOrder: 2, ClearSpanMM: 3000, WidthMM: 3060, SpanDirection: "x", BearingMM: 100,
			Category: "A", ImposedLoadNPerM2: officetest.Load(1500), FinishesLoadNPerM2: 500, Profile: "T150", WirePattern: "5W", Block: "K510", BeamsPerRow: 1}},
		{Job: "J-1042", JobName: "House at Tarnwick", Room: office.ScheduledRoom{
			Floor: "1", Room: "02", Name: "Living room", LayingOrder: 1, ClearSpanMM: 3400, WidthMM: 3000, SpanDirection: "y", BearingMM: 100,
			Category: "A", ImposedLoadNPerM2: officetest.Load(2000), FinishesLoadNPerM2: 625, Profile: "T150", WirePattern: "6W", Block: "K510", BeamsPerRow: 2}},
		{Job: "J-1042", JobName: "House at Tarnwick", Room: office.ScheduledRoom{
			Floor: "2", Room: "01", Name: "Bedroom", LayingOrder: 1, ClearSpanMM: 3270, WidthMM: 3400, SpanDirection: "x", Category: "A"}},
	}
	for _, c := range []struct {
		name    string
		format  sheet.Format
		content []byte
		where   string
	}{
		{"rooms.csv", sheet.CSV, text, "rooms.csv, row 2"},
		{"rooms.json", sheet.JSON, file(t, "rooms.json"), "rooms.json, row 1"},
		{"rooms.xlsx", sheet.XLSX, workbook(t, text), "rooms.xlsx, sheet Rooms, row 2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			command, err := schedule.Read(c.name, c.format, c.content)
			if err != nil || command.Unread != nil || command.SourceFile != c.name {
				t.Fatalf("got %v, unread %v, source %q", err, command.Unread, command.SourceFile)
			}
			if command.Rows[0].Where != c.where {
				t.Errorf("first row is at %q, want %q", command.Rows[0].Where, c.where)
			}
			for i := range command.Rows {
				command.Rows[i].Where = ""
			}
			if d := cmp.Diff(want, command.Rows); d != "" {
				t.Errorf("rows (-want +got):\n%s", d)
			}
		})
	}
}

// TestEveryMistakeAtOnce has mistakes of all kinds in one file: cells that
// cannot be read, rooms that the catalogue or the engine refuses, and rows
// that contradict each other.
func TestEveryMistakeAtOnce(t *testing.T) {
	text := strings.Join([]string{
		strings.SplitN(string(file(t, "rooms.csv")), "\n", 2)[0],
		"J1,House,1,01,Hall,1,3000,3060,x,100,A,1.5,0.5,T150,5W,K510,1",
		"J1,House,1,02,Hall,two,3000,wide,x,100,A,1.5,0.5,T150,5W,K510,1",
		"J1,House,1,01,Again,1,3000,3060,x,100,A,1.5,0.5,T150,5W,K510,1",
		"J1,Hut,1,a-b,,5,9000,3060,z,80,Z,1.5001,50.001,T150,9W,K510,4",
		",,,,,,,,,,,,,,,,",
		"J1,House,2,03,,1,30001,3060,x,,,,0.5,T999,5W,K999,",
	}, "\n")
	want := []string{
		"row 3, column laying_order", "row 3, column width_mm",
		"row 5, column span_direction", "row 5, column imposed_load_kn_m2", "row 5, column finishes_load_kn_m2", "row 5, column beams_per_row",
		"row 7, column clear_span_mm",
		"row 4, column room", "row 4, column laying_order",
		"row 5, column room", "row 5, column category", "row 5, column job_name", "row 5, column wire_pattern", "row 5, column bearing_mm",
		"row 7, column profile", "row 7, column block_kind",
	}
	for _, c := range []struct {
		name    string
		format  sheet.Format
		content []byte
		prefix  string
	}{
		{"rooms.csv", sheet.CSV, []byte(text), "rooms.csv, "},
		{"rooms.xlsx", sheet.XLSX, workbook(t, []byte(text)), "rooms.xlsx, sheet Rooms, "},
	} {
		t.Run(c.name, func(t *testing.T) {
			command, err := schedule.Read(c.name, c.format, c.content)
			if err != nil {
				t.Fatal(err)
			}
			events, err := office.Decide(yard(t), command)
			var f *fault.Error
			if events != nil || !errors.As(err, &f) || f.Kind != fault.Invalid || f.Reason != office.ReasonBadRows {
				t.Fatalf("%d events, %v", len(events), err)
			}
			var got []string
			for _, p := range f.Places {
				got = append(got, strings.TrimPrefix(p.Where, c.prefix))
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Errorf("places (-want +got):\n%s\n%v", d, err)
			}
		})
	}
}

func TestMissingColumnIsNamed(t *testing.T) {
	text := strings.Replace(string(file(t, "rooms.csv")), "width_mm", "breadth", 1)
	_, err := schedule.Read("rooms.csv", sheet.CSV, []byte(text))
	if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "width_mm") || !strings.Contains(err.Error(), "breadth") {
		t.Errorf("got %v", err)
	}
}

// FuzzRead: whatever the file holds, the office drafts every row of it or
// nothing, and nothing panics.
func FuzzRead(f *testing.F) {
	text := file(f, "rooms.csv")
	f.Add(uint8(sheet.CSV), text)
	f.Add(uint8(sheet.CSV), bytes.ReplaceAll(text, []byte(","), []byte(";")))
	f.Add(uint8(sheet.CSV), bytes.ReplaceAll(text, []byte("3000"), []byte("-1e9")))
	f.Add(uint8(sheet.CSV), append(text, "J-1042,x,1,01,,1,1,1,x,1,A,1,1,T150,5W,K510,3\n"...))
	f.Add(uint8(sheet.JSON), file(f, "rooms.json"))
	f.Add(uint8(sheet.JSON), []byte(`[{"job": null, "floor": [1, {}]}]`))
	f.Add(uint8(sheet.XLSX), workbook(f, text))
	f.Add(uint8(0), []byte{})
	state := yard(f)
	f.Fuzz(func(t *testing.T, format uint8, content []byte) {
		command, err := schedule.Read("rooms", sheet.Format(format), content)
		if err != nil {
			if fault.KindOf(err) != fault.Invalid {
				t.Fatalf("a file is the person's: %v", err)
			}
			return
		}
		events, err := office.Decide(state, command)
		if err != nil {
			if fault.KindOf(err) != fault.Invalid || len(events) > 0 {
				t.Fatalf("%d events, %v", len(events), err)
			}
			return
		}
		rooms := 0
		for _, e := range events {
			plan := e.(office.LayingPlanDrafted).Plan
			rooms += len(plan.Rooms)
			if totals := plan.Totals(); totals.Beams == 0 && totals.OpenPoints == 0 {
				t.Fatal("a plan without beams in which nothing is open")
			}
		}
		if len(command.Unread) > 0 || rooms != len(command.Rows) || rooms == 0 {
			t.Fatalf("%d rows, %d unread, %d rooms", len(command.Rows), len(command.Unread), rooms)
		}
	})
}
