package scenario_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/demo"
	"spanyard.example/services/spanyard/internal/scenario"
)

// demoFolder also holds the source of the workbook.
var demoFolder = os.DirFS("../../demo")

// changed is the demo's folder with one file replaced, or taken away.
func changed(t *testing.T, name string, change func(string) string) fs.FS {
	t.Helper()
	folder := fstest.MapFS{}
	entries, err := fs.ReadDir(demo.Files, ".")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		content, err := fs.ReadFile(demo.Files, e.Name())
		if err != nil {
			t.Fatal(err)
		}
		if e.Name() == name {
			if change == nil {
				continue
			}
			content = []byte(change(string(content)))
		}
		folder[e.Name()] = &fstest.MapFile{Data: content}
	}
	return folder
}

func replace(from, to string) func(string) string {
	return func(s string) string { return strings.Replace(s, from, to, 1) }
}

func TestReadRefuses(t *testing.T) {
	for _, tc := range []struct {
		name, file string
		change     func(string) string
		want       string
	}{
		{"no main file", "demo.yaml", nil, "The scenario has no file demo.yaml."},
		{"no rooms", "rooms.csv", nil, "The scenario has no file rooms.csv."},
		{"unknown key", "demo.yaml", replace("yard: demo", "yard: demo\nyards: x"), "field yards not found"},
		{"no yard", "demo.yaml", replace("yard: demo\n", ""), "demo.yaml, yard: is missing"},
		{"bad day", "demo.yaml", replace(`day: "2027-03-17"`, "day: soon"), `demo.yaml, day: "soon" is no day`},
		{"bad clock", "demo.yaml", replace("2027-03-16T15:30:00Z", "noon"), `demo.yaml, clock: "noon" is no time`},
		{"outside", "demo.yaml", replace("trucks: trucks.yaml", "trucks: ../trucks.yaml"), "is no file inside the scenario's folder"},
		{"unknown field of a truck", "trucks.yaml", replace("payload_kg", "payload"), "trucks.yaml, line 10: \"payload\" is not a field here"},
		{"no dispatch rules", "yard.yaml", replace("dispatch:", "despatch:"), "section dispatch is missing"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := scenario.Read(changed(t, tc.file, tc.change))
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want %q in it", err, tc.want)
			}
			if kind := fault.KindOf(err); kind != fault.Invalid && kind != fault.NotFound {
				t.Errorf("kind %s", kind)
			}
		})
	}
}

// TestDemoLengthsAreInStock works the lengths out by hand: clear span and two
// bearings, rounded up to the length step of 50 mm. The yard holds beams of
// each length, released or not, of the profile and wires that the room asks
// for, if it asks.
func TestDemoLengthsAreInStock(t *testing.T) {
	stock := map[string]bool{}
	for _, row := range csvRows(t, "stock-count.csv") {
		for _, profile := range []string{"", row["profile"]} {
			for _, wires := range []string{"", row["wire_pattern"]} {
				stock[profile+"/"+wires+"/"+row["length_mm"]] = true
			}
		}
	}
	rooms := csvRows(t, "rooms.csv")
	rooms = append(rooms, csvRows(t, "source/tanglewick-mill.csv")...)
	rooms = append(rooms, jsonRows(t, "mossbutton-green.json")...)
	if len(rooms) < 40 {
		t.Fatalf("%d rooms", len(rooms))
	}
	for _, room := range rooms {
		length := number(t, room["clear_span_mm"]) + 2*number(t, room["bearing_mm"])
		length = (length + 49) / 50 * 50
		key := fmt.Sprintf("%s/%s/%d", room["profile"], room["wire_pattern"], length)
		if !stock[key] {
			t.Errorf("room %s-%s-%s needs %s; the yard holds none", room["job"], room["floor"], room["room"], key)
		}
	}
}

func number(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func csvRows(t *testing.T, name string) []map[string]string {
	t.Helper()
	content, err := fs.ReadFile(demoFolder, name)
	if err != nil {
		t.Fatal(err)
	}
	table, err := csv.NewReader(bytes.NewReader(content)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, cells := range table[1:] {
		row := map[string]string{}
		for i, head := range table[0] {
			row[head] = cells[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func jsonRows(t *testing.T, name string) []map[string]string {
	t.Helper()
	content, err := fs.ReadFile(demoFolder, name)
	if err != nil {
		t.Fatal(err)
	}
	var objects []map[string]any
	if err := json.Unmarshal(content, &objects); err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, o := range objects {
		row := map[string]string{}
		for k, v := range o {
			row[k] = fmt.Sprint(v)
		}
		rows = append(rows, row)
	}
	return rows
}
