// Package sheet reads the tables that people send: XLSX, CSV and JSON with the
// same columns. A table is taken whole or not at all, and everything that is
// wrong in it is named by file, sheet, row and column, in words that the
// person who filled it in understands.
//
// Invariants: no input makes the package panic or use more memory than its
// limits allow; a number is read exactly as written, never through a float;
// what is ambiguous ("1,250") is refused, never guessed.
package sheet

import (
	"fmt"
	"path/filepath"
	"strings"

	"spanyard.example/services/kit/fault"
)

// Limits of a table.
const (
	// MaxFileBytes of a file as sent.
	MaxFileBytes = 16 << 20
	// MaxRows with something in them, without the header.
	MaxRows = 20_000
	// MaxColumns of a row.
	MaxColumns = 200
	// MaxCellChars of one cell.
	MaxCellChars = 2_000
	// maxUnzippedBytes of an XLSX file.
	maxUnzippedBytes = 64 << 20
	// maxPlaces that an error names.
	maxPlaces = 100
)

// Reasons of the faults.
const (
	// ReasonBadFile: the file cannot be read as a table.
	ReasonBadFile = "BAD_FILE"
	// ReasonBadHeader: columns are missing, unknown or double.
	ReasonBadHeader = "BAD_HEADER"
	// ReasonBadRows: cells are wrong.
	ReasonBadRows = "BAD_ROWS"
)

// Format of a file.
type Format int

// The formats.
const (
	XLSX Format = iota + 1
	CSV
	JSON
)

// Column that a table may have. A required column must be there and must be
// filled in every row in which it is asked for.
type Column struct {
	Name     string
	Required bool
}

// raw is a table as its file holds it.
type raw struct {
	// sheet is the name of the worksheet; empty where there is none.
	sheet string
	// header row's number, as the person sees it; 0 where there is none.
	headerNumber int
	header       []string
	rows         []rawRow
}

type rawRow struct {
	number int
	cells  []string
}

// Read reads a table. The error is a fault that names everything wrong with
// the file itself or its header; wrong cells are found while the rows are
// read, and told by Table.Err.
func Read(file string, f Format, content []byte, columns []Column) (*Table, error) {
	file = filepath.Base(file)
	if len(content) > MaxFileBytes {
		return nil, badFile(file, "is larger than can be taken", fmt.Sprintf("at most %d MiB", MaxFileBytes>>20))
	}
	var r *raw
	var err error
	switch f {
	case XLSX:
		r, err = readXLSX(file, content)
	case CSV:
		r, err = readCSV(file, content)
	case JSON:
		r, err = readJSON(file, content)
	default:
		err = badFile(file, "is of an unknown kind", "XLSX, CSV or JSON")
	}
	if err != nil {
		return nil, err
	}
	return newTable(file, r, columns)
}

func badFile(where, problem, allowed string) *fault.Error {
	return fault.New(fault.Invalid, ReasonBadFile, "The file cannot be read as a table; nothing was taken over.").
		At(where, "", problem, allowed)
}

// place names a spot in a file; row 0 and an empty column are left out.
func place(file, sheet string, row int, column string) string {
	parts := []string{file}
	if sheet != "" {
		parts = append(parts, "sheet "+sheet)
	}
	if row > 0 {
		parts = append(parts, fmt.Sprintf("row %d", row))
	}
	if column != "" {
		parts = append(parts, "column "+column)
	}
	return strings.Join(parts, ", ")
}
