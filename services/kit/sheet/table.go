package sheet

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"spanyard.example/services/kit/fault"
)

// Table is a table that was read. It is for one goroutine.
type Table struct {
	file  string
	sheet string
	// columns declared, by name; index into a row's cells or -1.
	columns map[string]column
	rows    []*Row
	places  []fault.Place
	wrong   int
}

type column struct {
	index    int
	required bool
}

// Row of a table.
type Row struct {
	table  *Table
	number int
	cells  []string
}

func newTable(file string, r *raw, columns []Column) (*Table, error) {
	t := &Table{file: file, sheet: r.sheet, columns: map[string]column{}}
	if err := t.matchHeader(r, columns); err != nil {
		return nil, err
	}
	for _, row := range r.rows {
		if blank(row.cells) {
			continue
		}
		t.rows = append(t.rows, &Row{table: t, number: row.number, cells: row.cells})
	}
	if len(t.rows) == 0 {
		return nil, badFile(place(file, r.sheet, 0, ""), "has no rows with something in them", "at least one row below the header")
	}
	return t, nil
}

// matchHeader finds each declared column in the header.
func (t *Table) matchHeader(r *raw, columns []Column) error {
	f := fault.New(fault.Invalid, ReasonBadHeader, "The columns of %s are not those of this table; nothing was taken over.", t.file)
	where := place(t.file, r.sheet, r.headerNumber, "")
	names := make([]string, 0, len(columns))
	for _, c := range columns {
		t.columns[c.Name] = column{index: -1, required: c.Required}
		names = append(names, c.Name)
	}
	for i, given := range r.fullHeader() {
		c, known := t.columns[headerKey(given)]
		switch {
		case strings.TrimSpace(given) == "":
			if columnFilled(r.rows, i) {
				f.At(where, "", fmt.Sprintf("has no name for column %s, which is filled further down", letters(i)), "a name above every filled column")
			}
		case !known:
			f.At(where, shorten(given), "is not a known column", strings.Join(names, ", "))
		case c.index >= 0:
			f.At(where, shorten(given), "stands there twice", "each column once")
		default:
			c.index = i
			t.columns[headerKey(given)] = c
		}
	}
	for _, c := range columns {
		if c.Required && t.columns[c.Name].index < 0 {
			f.At(where, "", "has no column "+c.Name, "")
		}
	}
	if len(f.Places) == 0 {
		return nil
	}
	if len(f.Places) > maxPlaces {
		f.Places = f.Places[:maxPlaces]
	}
	return f
}

// headerKey is what a header is compared by: "Clear span  mm" is
// clear_span_mm.
func headerKey(s string) string {
	words := strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
		return unicode.IsSpace(r) || r == '_'
	})
	return strings.Join(words, "_")
}

// fullHeader is as wide as the widest row, so that a cell beyond the last name
// is noticed.
func (r *raw) fullHeader() []string {
	width := len(r.header)
	for _, row := range r.rows {
		width = max(width, len(row.cells))
	}
	return append(slices.Clone(r.header), make([]string, width-len(r.header))...)
}

func columnFilled(rows []rawRow, i int) bool {
	return slices.ContainsFunc(rows, func(r rawRow) bool {
		return i < len(r.cells) && strings.TrimSpace(r.cells[i]) != ""
	})
}

// letters names a column as spreadsheets do.
func letters(index int) string {
	s := ""
	for n := index + 1; n > 0; n = (n - 1) / 26 {
		s = string(rune('A'+(n-1)%26)) + s
	}
	return s
}

func blank(cells []string) bool {
	return !slices.ContainsFunc(cells, func(c string) bool { return strings.TrimSpace(c) != "" })
}

// Rows returns the rows that hold something, in the file's order.
func (t *Table) Rows() []*Row { return t.rows }

// Err returns nil, or one fault with every wrong cell found so far.
func (t *Table) Err() error {
	if t.wrong == 0 {
		return nil
	}
	cells := "1 cell is"
	if t.wrong > 1 {
		cells = fmt.Sprintf("%d cells are", t.wrong)
	}
	f := fault.New(fault.Invalid, ReasonBadRows, "In %s %s wrong; nothing was taken over.", t.file, cells)
	f.Places = slices.Clone(t.places)
	if more := t.wrong - len(t.places); more > 0 {
		f.At(t.file, "", fmt.Sprintf("and %d more", more), "")
	}
	return f
}

// Number of the row as the file's reader shows it: in XLSX and CSV the header
// is row 1, in JSON the first object is.
func (r *Row) Number() int { return r.number }

// Where names a cell of the row, or the row when col is empty.
func (r *Row) Where(col string) string {
	return place(r.table.file, r.table.sheet, r.number, col)
}

// Has reports whether the row has something in a column.
func (r *Row) Has(col string) bool { return r.cell(col) != "" }

// Fail says that a cell is wrong, or the row when col is empty.
func (r *Row) Fail(col, problem, allowed string) {
	r.table.wrong++
	if len(r.table.places) == maxPlaces {
		return
	}
	r.table.places = append(r.table.places, fault.Place{
		Where: r.Where(col), Value: shorten(r.cell(col)), Problem: problem, Allowed: allowed,
	})
}

// cell returns a cell's text without the blanks around it.
func (r *Row) cell(col string) string {
	c, ok := r.table.columns[col]
	if !ok || c.index < 0 || c.index >= len(r.cells) {
		return ""
	}
	return strings.TrimSpace(r.cells[c.index])
}

// ask returns a cell's text and whether there is something to read. What is
// missing or cannot be a value is said.
func (r *Row) ask(col string) (string, bool) {
	c, declared := r.table.columns[col]
	s := r.cell(col)
	switch {
	case !declared:
		r.Fail(col, "is read by the program but is no column of this table", "")
		return "", false
	case s == "":
		if c.required {
			r.Fail(col, "is empty", "")
		}
		return "", false
	case spreadsheetErrors[s]:
		r.Fail(col, "is an error of the spreadsheet's formula", "a value")
		return "", false
	case utf8.RuneCountInString(s) > MaxCellChars:
		r.Fail(col, "is too long", fmt.Sprintf("at most %d characters", MaxCellChars))
		return "", false
	}
	return s, true
}

// spreadsheetErrors that a formula leaves in place of a value.
var spreadsheetErrors = map[string]bool{
	"#DIV/0!": true, "#N/A": true, "#NAME?": true, "#NULL!": true,
	"#NUM!": true, "#REF!": true, "#VALUE!": true, "#SPILL!": true, "#CALC!": true,
}

// maxShownChars of a wrong value in an error.
const maxShownChars = 60

func shorten(s string) string {
	s = strings.TrimSpace(s)
	if utf8.RuneCountInString(s) <= maxShownChars {
		return s
	}
	return string([]rune(s)[:maxShownChars]) + "…"
}
