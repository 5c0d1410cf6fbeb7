package sheet

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// readCSV reads UTF-8 with comma, semicolon or tab between the cells,
// whichever the header uses.
func readCSV(file string, content []byte) (*raw, error) {
	content = bytes.TrimPrefix(content, []byte("\xEF\xBB\xBF"))
	if !utf8.Valid(content) {
		return nil, badFile(file, "is not UTF-8 text", "CSV saved as UTF-8")
	}
	if bytes.IndexByte(content, 0) >= 0 {
		return nil, badFile(file, "is not text", "CSV saved as UTF-8")
	}
	comma := separator(content)
	if line := overwideRecord(content, byte(comma)); line > 0 {
		return nil, badFile(place(file, "", line, ""), "has too many columns", fmt.Sprintf("at most %d", MaxColumns))
	}
	reader := csv.NewReader(bytes.NewReader(content))
	reader.Comma = comma
	reader.FieldsPerRecord = -1
	r := &raw{}
	for {
		cells, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, badCSV(file, err)
		}
		line, _ := reader.FieldPos(0)
		if blank(cells) {
			continue
		}
		if err := r.add(file, line, cells); err != nil {
			return nil, err
		}
	}
	return r, r.checkHeader(file)
}

// add takes a row that is not blank: the first is the header.
func (r *raw) add(file string, number int, cells []string) error {
	for len(cells) > 0 && strings.TrimSpace(cells[len(cells)-1]) == "" {
		cells = cells[:len(cells)-1]
	}
	switch {
	case len(cells) > MaxColumns:
		return badFile(place(file, r.sheet, number, ""), fmt.Sprintf("has %d columns", len(cells)), fmt.Sprintf("at most %d", MaxColumns))
	case r.header == nil:
		r.header, r.headerNumber = cells, number
	case len(r.rows) == MaxRows:
		return badFile(place(file, r.sheet, 0, ""), "has too many rows", fmt.Sprintf("at most %d; split the file", MaxRows))
	default:
		r.rows = append(r.rows, rawRow{number: number, cells: cells})
	}
	return nil
}

func (r *raw) checkHeader(file string) error {
	if r.header == nil {
		return badFile(place(file, r.sheet, 0, ""), "is empty", "a header row with the names of the columns, and rows below it")
	}
	return nil
}

// separator that the first line with something in it uses most.
func separator(content []byte) rune {
	line := content
	for len(line) > 0 {
		var rest []byte
		line, rest, _ = bytes.Cut(line, []byte("\n"))
		if len(bytes.TrimSpace(line)) > 0 {
			break
		}
		line = rest
	}
	best, most := ',', 0
	for _, c := range []rune{',', ';', '\t'} {
		if n := bytes.Count(line, []byte(string(c))); n > most {
			best, most = c, n
		}
	}
	return best
}

// widestRecord that the reader is let at: a spreadsheet may save thousands of
// empty columns, but a line of millions would fill the memory.
const widestRecord = 20_000

// overwideRecord returns the line of a record with more separators than that
// outside quotation marks; 0 when there is none.
func overwideRecord(content []byte, comma byte) int {
	line, begun, separators, quoted := 1, 1, 0, false
	for _, c := range content {
		switch {
		case c == '"':
			quoted = !quoted
		case c == '\n':
			line++
			if !quoted {
				begun, separators = line, 0
			}
		case c == comma && !quoted:
			if separators++; separators > widestRecord {
				return begun
			}
		}
	}
	return 0
}

func badCSV(file string, err error) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return badFile(file, "cannot be read", "CSV saved as UTF-8")
	}
	where := place(file, "", parse.StartLine, "")
	switch {
	case errors.Is(err, csv.ErrQuote):
		return badFile(where, "has a quotation mark that is opened or closed in the middle of a cell", `quotation marks around a whole cell, doubled ("") inside it`)
	case errors.Is(err, csv.ErrBareQuote):
		return badFile(where, "has a quotation mark inside a cell without quotation marks around it", `quotation marks around a whole cell, doubled ("") inside it`)
	default:
		return badFile(where, "cannot be read", "CSV saved as UTF-8")
	}
}
