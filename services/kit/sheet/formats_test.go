package sheet

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"
)

// columns of a small table that tries every kind of cell.
var columns = []Column{
	{"room", true}, {"span_mm", true}, {"load_kn_m2", true}, {"made_on", false}, {"direction", true}, {"strengths_mpa", false}, {"note", false},
}

// line is a row of that table.
type line struct {
	Room      string
	SpanMM    int64
	LoadWpM2  int64
	MadeOn    string
	Direction string
	Strengths []int64
	Note      string
}

func readLines(t *Table) []line {
	var lines []line
	for _, r := range t.Rows() {
		l := line{
			Room: r.Text("room", 20), SpanMM: r.Int("span_mm", 1, 30000), LoadWpM2: r.Decimal("load_kn_m2", 3, 0, 20000),
			Direction: r.OneOf("direction", "x", "y"), Strengths: r.Decimals("strengths_mpa", 2, 0, 20000, 9), Note: r.Text("note", 100),
		}
		if r.Has("made_on") {
			l.MadeOn = r.Day("made_on").String()
		}
		lines = append(lines, l)
	}
	return lines
}

const linesCSV = `room,span_mm,load_kn_m2,made_on,direction,strengths_mpa,note
01,4200,1.5,2031-04-28,x,41.2; 43.0,"first, with a comma"

007,3200.0,0.125,,Y,,
A-3,17,20,2030-12-31,x,44.55,"Ünï ""quoted"
`

var wantLines = []line{
	{"01", 4200, 1500, "2031-04-28", "x", []int64{4120, 4300}, "first, with a comma"},
	{"007", 3200, 125, "", "y", nil, ""},
	{"A-3", 17, 20000, "2030-12-31", "x", []int64{4455}, `Ünï "quoted`},
}

const linesJSON = `[
	{"room": "01", "span_mm": 4200, "load_kn_m2": 1.5, "made_on": "2031-04-28", "direction": "x", "strengths_mpa": [41.2, 43.0], "note": "first, with a comma"},
	{},
	{"Room": "007", "span mm": "3200.0", "load_kn_m2": 0.125, "direction": "Y", "note": null},
	{"note": "Ünï \"quoted", "strengths_mpa": 44.55, "direction": "x", "made_on": "2030-12-31", "load_kn_m2": 20, "span_mm": 17, "room": "A-3"}
]`

// workbook writes cells as a person would: numbers as numbers that show
// differently, days as dates.
func workbook(t testing.TB, change func(*excelize.File)) []byte {
	t.Helper()
	book := excelize.NewFile()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(book.SetSheetName("Sheet1", "Rooms"))
	day := func(s string) time.Time {
		d, err := time.Parse(time.DateOnly, s)
		must(err)
		return d
	}
	rows := [][]any{
		{"Room", "Span MM", "load_kn_m2", "made on", "DIRECTION", "strengths_mpa", "note"},
		{"01", 4200, 1.5, day("2031-04-28"), "x", "41.2; 43.0", "first, with a comma"},
		{},
		{"007", 3200.0, 0.1 + 0.025, nil, "Y"},
		{"A-3", 17, 20, day("2030-12-31"), "x", 44.55, `Ünï "quoted`},
	}
	for i, row := range rows {
		must(book.SetSheetRow("Rooms", fmt.Sprintf("A%d", i+1), &row))
	}
	thousands, err := book.NewStyle(&excelize.Style{NumFmt: 3})
	must(err)
	must(book.SetCellStyle("Rooms", "B2", "B5", thousands))
	short := "d.m.yy"
	days, err := book.NewStyle(&excelize.Style{CustomNumFmt: &short})
	must(err)
	must(book.SetCellStyle("Rooms", "D5", "D5", days))
	if change != nil {
		change(book)
	}
	var b bytes.Buffer
	must(book.Write(&b))
	return b.Bytes()
}

func TestAllFormatsReadTheSame(t *testing.T) {
	tests := map[string]struct {
		format  Format
		content []byte
		numbers []int
	}{
		"CSV":            {CSV, []byte(linesCSV), []int{2, 4, 5}},
		"CSV with BOM":   {CSV, []byte("\xEF\xBB\xBF" + linesCSV), []int{2, 4, 5}},
		"CSV of Windows": {CSV, []byte(strings.ReplaceAll(linesCSV, "\n", "\r\n")), []int{2, 4, 5}},
		"CSV semicolons": {CSV, withSeparator(t, ';'), []int{2, 3, 4}},
		"CSV tabs":       {CSV, withSeparator(t, '\t'), []int{2, 3, 4}},
		"JSON":           {JSON, []byte(linesJSON), []int{1, 3, 4}},
		"XLSX":           {XLSX, workbook(t, nil), []int{2, 4, 5}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			table, err := Read("folder/rooms", tt.format, tt.content, columns)
			if err != nil {
				t.Fatal(err)
			}
			got := readLines(table)
			if err := table.Err(); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(wantLines, got); diff != "" {
				t.Errorf("lines (-want +got):\n%s", diff)
			}
			var numbers []int
			for _, r := range table.Rows() {
				numbers = append(numbers, r.Number())
			}
			if diff := cmp.Diff(tt.numbers, numbers); diff != "" {
				t.Errorf("row numbers (-want +got):\n%s", diff)
			}
		})
	}
}

// withSeparator is the table with every cell in quotation marks.
func withSeparator(t *testing.T, comma rune) []byte {
	t.Helper()
	r, err := readCSV("x", []byte(linesCSV))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	write := func(cells []string) {
		for i, c := range cells {
			if i > 0 {
				b.WriteRune(comma)
			}
			b.WriteString(`"` + strings.ReplaceAll(c, `"`, `""`) + `"`)
		}
		b.WriteByte('\n')
	}
	write(r.header)
	for _, row := range r.rows {
		write(row.cells)
	}
	return []byte(b.String())
}

// Whatever texts a table holds, CSV and JSON and XLSX give them back.
func TestTextsSurviveEveryFormat(t *testing.T) {
	text := rapid.StringOfN(rapid.RuneFrom([]rune("ab ,;\t\"'é夜0.-=#\n")), 1, 30, -1).Filter(func(s string) bool {
		return strings.TrimSpace(s) == s
	})
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(text, 1, 5).Draw(t, "values")
		for _, format := range []Format{CSV, JSON, XLSX} {
			table, err := Read("x", format, oneColumn(t, format, values), []Column{{"name", true}})
			if err != nil {
				t.Fatalf("%d: %v", format, err)
			}
			var got []string
			for _, r := range table.Rows() {
				got = append(got, r.cell("name"))
			}
			if diff := cmp.Diff(values, got); diff != "" {
				t.Fatalf("%d (-want +got):\n%s", format, diff)
			}
		}
	})
}

func oneColumn(t *rapid.T, format Format, values []string) []byte {
	var b bytes.Buffer
	switch format {
	case CSV:
		b.WriteString("name\n")
		for _, v := range values {
			b.WriteString(`"` + strings.ReplaceAll(v, `"`, `""`) + "\"\n")
		}
	case JSON:
		var rows []map[string]string
		for _, v := range values {
			rows = append(rows, map[string]string{"name": v})
		}
		if err := json.NewEncoder(&b).Encode(rows); err != nil {
			t.Fatal(err)
		}
	case XLSX:
		book := excelize.NewFile()
		for i, v := range append([]string{"name"}, values...) {
			if err := book.SetCellStr("Sheet1", fmt.Sprintf("A%d", i+1), v); err != nil {
				t.Fatal(err)
			}
		}
		if err := book.Write(&b); err != nil {
			t.Fatal(err)
		}
	}
	return b.Bytes()
}
