package sheet

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"spanyard.example/services/kit/fault"
)

// refuse reads a table that must be refused and returns the error's text.
func refuse(t *testing.T, file string, format Format, content []byte, columns []Column, reason string) string {
	t.Helper()
	table, err := Read(file, format, content, columns)
	var f *fault.Error
	if table != nil || !errors.As(err, &f) || f.Kind != fault.Invalid || f.Reason != reason || len(f.Places) == 0 {
		t.Fatalf("got %v, %v; want an invalid fault %s with places", table, err, reason)
	}
	f.Cause = nil
	return f.Error()
}

func TestHeadersInWords(t *testing.T) {
	columns := []Column{{"room", true}, {"span_mm", true}, {"note", false}}
	const start = "The columns of rooms.csv are not those of this table; nothing was taken over."
	tests := map[string]struct{ content, want string }{
		"unknown, double and missing": {
			"room,Room,colour\n1,2,3\n", start + `
  rooms.csv, row 1: "Room" stands there twice; allowed: each column once
  rooms.csv, row 1: "colour" is not a known column; allowed: room, span_mm, note
  rooms.csv, row 1: has no column span_mm`,
		},
		"a filled column without a name": {
			"room,span_mm,,note\n1,2,3,4\n", start + `
  rooms.csv, row 1: has no name for column C, which is filled further down; allowed: a name above every filled column`,
		},
		"a cell beyond the header": {
			"\n\nroom,span_mm\n1,2\n1,2,3\n", start + `
  rooms.csv, row 3: has no name for column C, which is filled further down; allowed: a name above every filled column`,
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got := refuse(t, "rooms.csv", CSV, []byte(tt.content), columns, ReasonBadHeader); got != tt.want {
				t.Errorf("got:\n%s\nwant:\n%s", got, tt.want)
			}
		})
	}
	got := refuse(t, "rooms.json", JSON, []byte(`[{"room": 1}, {"colour": "red"}]`), columns, ReasonBadHeader)
	want := strings.ReplaceAll(start, ".csv", ".json") + `
  rooms.json: "colour" is not a known column; allowed: room, span_mm, note
  rooms.json: has no column span_mm`
	if got != want {
		t.Errorf("got:\n%s\nwant:\n%s", got, want)
	}
}

func TestFilesThatAreNoTables(t *testing.T) {
	const quotes = `; allowed: quotation marks around a whole cell, doubled ("") inside it`
	const object = `; allowed: [{"room": "01", "clear_span_mm": 4200}]`
	tests := map[string]struct {
		format  Format
		content string
		want    string
	}{
		"empty CSV":           {CSV, "\n \n", "t: is empty; allowed: a header row with the names of the columns, and rows below it"},
		"header only":         {CSV, "n\n\n", "t: has no rows with something in them; allowed: at least one row below the header"},
		"not UTF-8":           {CSV, "n\nGr\xf6\xdfe\n", "t: is not UTF-8 text; allowed: CSV saved as UTF-8"},
		"binary":              {CSV, "n\n\x00\n", "t: is not text; allowed: CSV saved as UTF-8"},
		"open quotes":         {CSV, "n\nx\n\"a\n", "t, row 3: has a quotation mark that is opened or closed in the middle of a cell" + quotes},
		"bare quotes":         {CSV, "n\nx\"y\n", "t, row 2: has a quotation mark inside a cell without quotation marks around it" + quotes},
		"too many rows":       {CSV, "n\n" + strings.Repeat("1\n", MaxRows+1), "t: has too many rows; allowed: at most 20000; split the file"},
		"too many columns":    {CSV, "n\n" + strings.Repeat("1,", MaxColumns+1), "t, row 2: has 201 columns; allowed: at most 200"},
		"columns by millions": {CSV, "n\n1\n" + strings.Repeat(",", 3_000_000) + "\n", "t, row 3: has too many columns; allowed: at most 200"},
		"empty JSON":          {JSON, "", "t, line 1: is not JSON; allowed: a list of objects, as in" + strings.TrimPrefix(object, "; allowed:")},
		"JSON object":         {JSON, "{}", "t: is not a list of objects" + object},
		"empty list":          {JSON, "[]", "t: is an empty list" + object},
		"list of numbers":     {JSON, "[1]", "t, row 1: is not an object" + object},
		"object in a row":     {JSON, `[{"n": {"a": 1}}]`, "t, row 1, column n: is an object inside the row; allowed: a text, a number, or a list of numbers"},
		"list of lists":       {JSON, `[{"n": 1}, {"n": [[1]]}]`, "t, row 2, column n: is a list of something else than numbers or texts; allowed: a list of numbers"},
		"key twice":           {JSON, `[{"n": 1, "N": 2}]`, "t, row 1, column N: stands there twice; allowed: each column once"},
		"comma too many":      {JSON, "[{\"n\": 1},\n{\"n\": 2},\n]", "t, line 3: is not JSON; allowed: a list of objects, as in" + strings.TrimPrefix(object, "; allowed:")},
		"something after":     {JSON, `[{"n": 1}] 2`, "t: has something after the end of the list; allowed: one list of objects"},
		"too many JSON rows":  {JSON, "[" + strings.Repeat(`{"n":1},`, MaxRows) + `{"n":1}]`, "t: has too many rows; allowed: at most 20000; split the file"},
		"list too long":       {JSON, `[{"n": [` + strings.Repeat("1,", 1000) + `1]}]`, "t, row 1, column n: is too long; allowed: at most 2000 characters"},
		"no workbook":         {XLSX, "PK\x03\x04 not really", "t: is not a readable XLSX workbook; allowed: a workbook saved as .xlsx without a password, unpacked at most 64 MiB"},
		"unknown format":      {0, "n\n1\n", "t: is of an unknown kind; allowed: XLSX, CSV or JSON"},
		"too large":           {CSV, strings.Repeat("n", MaxFileBytes+1), "t: is larger than can be taken; allowed: at most 16 MiB"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got := refuse(t, "t", tt.format, []byte(tt.content), []Column{{"n", true}}, ReasonBadFile)
			if want := "The file cannot be read as a table; nothing was taken over.\n  " + tt.want; got != want {
				t.Errorf("got:\n%s\nwant:\n%s", got, want)
			}
		})
	}
}

func TestWorkbookCells(t *testing.T) {
	content := workbook(t, func(book *excelize.File) {
		for cell, value := range map[string]any{"B2": "4,200", "C2": 41.2519, "D2": 45000, "D5": 45000.25, "F2": "#DIV/0!"} {
			if err := book.SetCellValue("Rooms", cell, value); err != nil {
				t.Fatal(err)
			}
		}
	})
	table, err := Read("rooms.xlsx", XLSX, content, columns)
	if err != nil {
		t.Fatal(err)
	}
	readLines(table)
	const want = `In rooms.xlsx 4 cells are wrong; nothing was taken over.
  rooms.xlsx, sheet Rooms, row 2, column span_mm: "4,200" has a comma, which could mean decimals or thousands; allowed: digits with a point before the decimals and nothing between thousands, as in 1250 or 1.25
  rooms.xlsx, sheet Rooms, row 2, column load_kn_m2: "41.2519" has too many decimals; allowed: at most 3 decimals
  rooms.xlsx, sheet Rooms, row 2, column strengths_mpa: "#DIV/0!" is an error of the spreadsheet's formula; allowed: a value
  rooms.xlsx, sheet Rooms, row 5, column made_on: "2023-03-15 06:00:00" is not a day; allowed: a day written YYYY-MM-DD, as in 2031-04-28`
	if err := table.Err(); err == nil || err.Error() != want {
		t.Errorf("got:\n%v\nwant:\n%s", err, want)
	}
	// A day's number in a cell that does not show a day stays a number.
	plain := workbook(t, func(book *excelize.File) {
		general, err := book.NewStyle(&excelize.Style{})
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(book.SetCellValue("Rooms", "D2", 45000), book.SetCellStyle("Rooms", "D2", "D2", general)); err != nil {
			t.Fatal(err)
		}
	})
	table, err = Read("rooms.xlsx", XLSX, plain, columns)
	if err != nil {
		t.Fatal(err)
	}
	readLines(table)
	if err := table.Err(); err == nil || !strings.Contains(err.Error(), `"45000" is not a day`) {
		t.Errorf("a bare number as a day: %v", err)
	}
}

func TestWorkbookTakesTheFirstVisibleSheet(t *testing.T) {
	content := workbook(t, func(book *excelize.File) {
		if _, err := book.NewSheet("Second"); err != nil {
			t.Fatal(err)
		}
		book.SetActiveSheet(1)
		if err := book.SetSheetVisible("Rooms", false); err != nil {
			t.Fatal(err)
		}
		if err := book.SetSheetRow("Second", "A1", &[]any{"room", "span_mm", "load_kn_m2", "direction"}); err != nil {
			t.Fatal(err)
		}
		if err := book.SetSheetRow("Second", "A2", &[]any{"X", 1, 2, "x"}); err != nil {
			t.Fatal(err)
		}
	})
	table, err := Read("rooms.xlsx", XLSX, content, columns)
	if err != nil {
		t.Fatal(err)
	}
	if got := readLines(table); len(got) != 1 || got[0].Room != "X" {
		t.Errorf("got %v, want the row of the visible sheet", got)
	}
}

// One cell far out, and parts that unpack to hundreds of megabytes, must cost
// neither memory nor time.
func TestWorkbooksThatWouldFillTheMemory(t *testing.T) {
	far := workbook(t, func(book *excelize.File) {
		if err := book.SetCellValue("Rooms", "XFD1048576", 1); err != nil {
			t.Fatal(err)
		}
	})
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	got := refuse(t, "far.xlsx", XLSX, far, columns, ReasonBadFile)
	runtime.ReadMemStats(&after)
	if want := "far.xlsx, sheet Rooms, row 1048576: has 16384 columns; allowed: at most 200"; !strings.Contains(got, want) {
		t.Errorf("got:\n%s\nwant:\n%s", got, want)
	}
	if used := (after.TotalAlloc - before.TotalAlloc) >> 20; used > 200 {
		t.Errorf("%d MiB were used for one cell", used)
	}

	var bomb bytes.Buffer
	z := zip.NewWriter(&bomb)
	part, err := z.Create("xl/worksheets/sheet1.xml")
	if err != nil {
		t.Fatal(err)
	}
	zeros := make([]byte, 1<<20)
	for range maxUnzippedBytes>>20 + 1 {
		if _, err := part.Write(zeros); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	refuse(t, "bomb.xlsx", XLSX, bomb.Bytes(), columns, ReasonBadFile)
}

func TestLongDatesAndFormats(t *testing.T) {
	for format, want := range map[string]bool{
		"yyyy-mm-dd": true, "d.m.yy": true, "[$-407]dd. mmmm yyyy": true, `"Day" 0`: false, "0.00": false, "#,##0": false,
		"h:mm": false, `0\d`: false, "[Red]0": false, "_d0": false, "General": false, `0"`: false, "[": false, `\`: false,
	} {
		if got := isDate(&excelize.Style{CustomNumFmt: &format}); got != want {
			t.Errorf("isDate(%q) = %v", format, got)
		}
	}
}

// reading exercises everything that a table offers; it must never panic.
func reading(t *testing.T, format Format, content []byte) {
	table, err := Read("fuzz", format, content, columns)
	if err != nil {
		if fault.KindOf(err) != fault.Invalid {
			t.Errorf("%v is no invalid fault", err)
		}
		return
	}
	if n := len(table.Rows()); n == 0 || n > MaxRows {
		t.Errorf("a table with %d rows", n)
	}
	readLines(table)
	if err := table.Err(); err != nil && fault.ReasonOf(err) != ReasonBadRows {
		t.Errorf("got %v", err)
	}
}

func FuzzCSV(f *testing.F) {
	for _, s := range []string{linesCSV, strings.ReplaceAll(linesCSV, ",", ";"), "\xEF\xBB\xBFroom\n1", "room,span_mm,load_kn_m2,direction\n\"a\n\",1e9,,\n", "\"", "a\tb\n", "\r\n\r"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, content []byte) { reading(t, CSV, content) })
}

func FuzzJSON(f *testing.F) {
	for _, s := range []string{linesJSON, "[]", "[{}]", `[{"room": [1, "x", true, null]}]`, `[{"room": {"a": []}}]`, `[{"room": 1e999999}]`, "[{\"room\": \"\\ud800\"}]", "["} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, content []byte) { reading(t, JSON, content) })
}

// FuzzXLSX changes the parts of a workbook rather than its compressed bytes:
// a sheet's own text, and the styles it refers to.
func FuzzXLSX(f *testing.F) {
	parts := unzip(f, workbook(f, nil))
	f.Add(parts["xl/worksheets/sheet1.xml"], parts["xl/styles.xml"], parts["xl/sharedStrings.xml"])
	f.Add([]byte(`<worksheet><sheetData><row r="1"><c r="A1" t="s"><v>99</v></c></row></sheetData></worksheet>`), []byte("<styleSheet/>"), []byte(""))
	f.Add([]byte(`<worksheet><sheetData><row r="-1"><c r="ZZZZZ1" s="7"><v>1</v></c></row></sheetData></worksheet>`), []byte(""), []byte("<sst>"))
	f.Add([]byte(`<worksheet><sheetData><row><c t="inlineStr"><is><t>room</t></is></c></row></sheetData>`), []byte("<styleSheet><cellXfs><xf/></cellXfs></styleSheet>"), []byte("<sst/>"))
	f.Fuzz(func(t *testing.T, sheet, styles, strs []byte) {
		reading(t, XLSX, zipped(t, parts, map[string][]byte{
			"xl/worksheets/sheet1.xml": sheet, "xl/styles.xml": styles, "xl/sharedStrings.xml": strs,
		}))
	})
}

// A part that breaks off must not read as a table with fewer rows.
func TestWorkbookThatBreaksOff(t *testing.T) {
	parts := unzip(t, workbook(t, nil))
	const name = "xl/worksheets/sheet1.xml"
	whole := parts[name]
	fourth := bytes.Index(whole, []byte(`<row r="4"`))
	if fourth < 0 {
		t.Fatal("the workbook has no fourth row")
	}
	for what, sheet := range map[string][]byte{
		"between rows": whole[:fourth], "inside a tag": whole[:fourth+6], "at the end": whole[:len(whole)-1],
	} {
		t.Run(what, func(t *testing.T) {
			refuse(t, "rooms.xlsx", XLSX, zipped(t, parts, map[string][]byte{name: sheet}), columns, ReasonBadFile)
		})
	}
}

// zipped is a workbook of parts, some of them changed.
func zipped(t testing.TB, parts, changed map[string][]byte) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, content := range parts {
		if c, ok := changed[name]; ok {
			content = c
		}
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(content); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func unzip(t testing.TB, content []byte) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		t.Fatal(err)
	}
	parts := map[string][]byte{}
	for _, file := range z.File {
		r, err := file.Open()
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := b.ReadFrom(r); err != nil {
			t.Fatal(err)
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		parts[file.Name] = b.Bytes()
	}
	return parts
}

func BenchmarkRead(b *testing.B) {
	rows := func(row string) string { return strings.Repeat(row, 5000) }
	csvText := []byte("room,span_mm,load_kn_m2,made_on,direction,strengths_mpa,note\n" + rows("01,4200,1.5,2031-04-28,x,41.2; 43.0,text\n"))
	book := excelize.NewFile()
	for i := range 5001 {
		row := []any{"01", 4200, 1.5, "2031-04-28", "x", "41.2; 43.0", "text"}
		if i == 0 {
			row = []any{"room", "span_mm", "load_kn_m2", "made_on", "direction", "strengths_mpa", "note"}
		}
		if err := book.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
			b.Fatal(err)
		}
	}
	var xlsx bytes.Buffer
	if err := book.Write(&xlsx); err != nil {
		b.Fatal(err)
	}
	for name, tt := range map[string]struct {
		format  Format
		content []byte
	}{"CSV 5,000 rows": {CSV, csvText}, "XLSX 5,000 rows": {XLSX, xlsx.Bytes()}} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				table, err := Read("x", tt.format, tt.content, columns)
				if err != nil {
					b.Fatal(err)
				}
				readLines(table)
				if err := table.Err(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
