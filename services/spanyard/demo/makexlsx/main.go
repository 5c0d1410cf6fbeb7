// Command makexlsx turns a CSV table into a workbook with one sheet, numbers
// as numbers. It makes the demo's workbook; the same input gives the same
// bytes.
package main

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "use: makexlsx TABLE.csv WORKBOOK.xlsx")
		os.Exit(2)
	}
	if err := convert(os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, "makexlsx:", err)
		os.Exit(1)
	}
}

func convert(from, to string) (err error) {
	in, err := os.Open(filepath.Clean(from))
	if err != nil {
		return err
	}
	defer in.Close()
	rows, err := csv.NewReader(in).ReadAll()
	if err != nil {
		return err
	}
	book := excelize.NewFile()
	defer func() { err = firstError(err, book.Close()) }()
	const sheet = "Rooms"
	if err := book.SetSheetName("Sheet1", sheet); err != nil {
		return err
	}
	// Fixed, so that the same table gives the same bytes, and in nobody's name.
	if err := book.SetDocProps(&excelize.DocProperties{
		Creator: "makexlsx", Created: "2027-01-01T00:00:00Z", Modified: "2027-01-01T00:00:00Z",
	}); err != nil {
		return err
	}
	for r, row := range rows {
		for c, text := range row {
			cell, err := excelize.CoordinatesToCellName(c+1, r+1)
			if err != nil {
				return err
			}
			if err := book.SetCellValue(sheet, cell, value(text)); err != nil {
				return err
			}
		}
	}
	return book.SaveAs(to)
}

// value is a number where the text is one that a number gives back unchanged;
// "01" is the name of a room and stays text.
func value(text string) any {
	if strings.HasPrefix(text, "0") && !strings.HasPrefix(text, "0.") {
		return text
	}
	if n, err := strconv.ParseFloat(text, 64); err == nil {
		return n
	}
	return text
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
