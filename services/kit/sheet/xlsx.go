package sheet

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/xuri/excelize/v2"

	"spanyard.example/services/kit/fault"
)

// readXLSX reads the first visible sheet, row by row, so that a workbook with
// one cell far out does not fill the memory. A panic of the library on a
// damaged file is a damaged file.
func readXLSX(file string, content []byte) (r *raw, err error) {
	defer func() {
		if p := recover(); p != nil {
			r, err = nil, damagedXLSX(file, fmt.Errorf("panic: %v", p))
		}
	}()
	// Equal limits keep the library from unpacking into a temporary folder,
	// which a container may not have.
	book, err := excelize.OpenReader(bytes.NewReader(content), excelize.Options{
		UnzipSizeLimit: maxUnzippedBytes, UnzipXMLSizeLimit: maxUnzippedBytes,
	})
	if err != nil {
		return nil, damagedXLSX(file, err)
	}
	defer func() { _ = book.Close() }() // it was read from memory
	if err := checkParts(content); err != nil {
		return nil, damagedXLSX(file, err)
	}
	name := firstVisibleSheet(book)
	if name == "" {
		return nil, badFile(file, "has no sheet that can be seen", "a table on the first sheet")
	}
	if err := plainFormats(book); err != nil {
		return nil, damagedXLSX(file, err)
	}
	r, err = readSheet(file, book, name)
	if err != nil {
		var already *fault.Error
		if errors.As(err, &already) {
			return nil, err
		}
		return nil, damagedXLSX(file, err)
	}
	return r, r.checkHeader(file)
}

// checkParts reads every part of the workbook to its end: the library takes a
// part that breaks off for one that ends there, and rows would be missing
// without a word. It has bounded the parts' sizes before.
func checkParts(content []byte) error {
	parts, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		return err
	}
	for _, part := range parts.File {
		if !strings.HasSuffix(part.Name, ".xml") {
			continue
		}
		if err := checkPart(part); err != nil {
			return fmt.Errorf("part %s: %w", part.Name, err)
		}
	}
	return nil
}

func checkPart(part *zip.File) error {
	r, err := part.Open()
	if err != nil {
		return err
	}
	defer func() { _ = r.Close() }() // it was read from memory
	decoder := xml.NewDecoder(r)
	for {
		if _, err := decoder.Token(); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

func damagedXLSX(file string, cause error) error {
	return badFile(file, "is not a readable XLSX workbook", fmt.Sprintf("a workbook saved as .xlsx without a password, unpacked at most %d MiB", maxUnzippedBytes>>20)).Because(cause)
}

func firstVisibleSheet(book *excelize.File) string {
	for _, name := range book.GetSheetList() {
		if visible, err := book.GetSheetVisible(name); err == nil && visible {
			return name
		}
	}
	return ""
}

func readSheet(file string, book *excelize.File, name string) (*raw, error) {
	rows, err := book.Rows(name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }() // nothing is written
	r := &raw{sheet: name}
	for number := 1; rows.Next(); number++ {
		cells, err := rows.Columns()
		if err != nil {
			return nil, err
		}
		if blank(cells) {
			continue
		}
		for i, c := range cells {
			cells[i] = strings.TrimSuffix(c, midnight)
		}
		if err := r.add(file, number, cells); err != nil {
			return nil, err
		}
	}
	return r, rows.Error()
}

// Dates are read as days; a date with a time of day keeps it, and is no day.
const (
	dateFormat = "yyyy-mm-dd hh:mm:ss"
	midnight   = " 00:00:00"
)

// plainFormats changes the workbook's number formats, in memory, to two: dates
// as YYYY-MM-DD and everything else as the bare number. The person's own
// formats are for eyes: they hide decimals and put in separators.
func plainFormats(book *excelize.File) error {
	date, err := book.NewStyle(&excelize.Style{CustomNumFmt: new(string(dateFormat))})
	if err != nil {
		return err
	}
	formats := book.Styles.CellXfs.Xf
	general := 0
	for i := range formats[:date] {
		style, err := book.GetStyle(i)
		if err != nil {
			return err
		}
		if isDate(style) {
			formats[i].NumFmtID = formats[date].NumFmtID
		} else {
			formats[i].NumFmtID = &general
		}
	}
	return nil
}

// isDate reports whether a number format shows days. The built-in numbers are
// those of ECMA-376 part 1, 18.8.30 (22 has a time too, 18 to 21 and 45 to 47
// have only one); the others from 27 on are the dates of East Asian locales.
func isDate(style *excelize.Style) bool {
	if style.CustomNumFmt != nil {
		return strings.ContainsAny(bareFormat(*style.CustomNumFmt), "dDyY")
	}
	n := style.NumFmt
	return n >= 14 && n <= 17 || n == 22 || n >= 27 && n <= 31 || n == 36 || n >= 50 && n <= 58
}

// bareFormat leaves out what a number format shows literally: text in
// quotation marks, characters after a backslash, and colours or locales in
// brackets.
func bareFormat(format string) string {
	var b strings.Builder
	for i := 0; i < len(format); i++ {
		end := byte(0)
		switch format[i] {
		case '"':
			end = '"'
		case '[':
			end = ']'
		case '\\', '_', '*':
			i++
			continue
		default:
			b.WriteByte(format[i])
			continue
		}
		skip := strings.IndexByte(format[i+1:], end)
		if skip < 0 {
			break
		}
		i += skip + 1
	}
	return b.String()
}
