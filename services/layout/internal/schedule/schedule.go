// Package schedule reads a room schedule: the table in which the drawing
// office receives the rooms of a building, as XLSX, CSV or JSON with the same
// columns.
//
// The package reads cells and remembers which it could not read. Whether the
// rooms make sense, by themselves, beside each other and for the yard's
// catalogue, is for package office to say, which refuses the whole schedule
// when anything is wrong: a schedule is never half imported.
package schedule

import (
	"errors"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/sheet"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/strength"
)

// Columns of a room schedule. Where a column that is not required is empty, the
// drawing office chooses; imposed_load_kn_m2 or category has to be there.
func Columns() []sheet.Column {
	return []sheet.Column{
		{Name: "job", Required: true},
		{Name: "job_name", Required: true},
		{Name: "floor", Required: true},
		{Name: "room", Required: true},
		{Name: "room_name"},
		{Name: "laying_order", Required: true},
		{Name: "clear_span_mm", Required: true},
		{Name: "width_mm", Required: true},
		{Name: "span_direction", Required: true},
		{Name: "bearing_mm"},
		{Name: "category"},
		{Name: "imposed_load_kn_m2"},
		{Name: "finishes_load_kn_m2", Required: true},
		{Name: "profile"},
		{Name: "wire_pattern"},
		{Name: "block_kind"},
		{Name: "beams_per_row"},
	}
}

// Read reads a schedule. The error is a fault about the file or its header;
// cells that cannot be read are named in the command, which the office then
// refuses together with everything else that is wrong.
func Read(file string, format sheet.Format, content []byte) (office.DraftPlans, error) {
	table, err := sheet.Read(file, format, content, Columns())
	if err != nil {
		return office.DraftPlans{}, err
	}
	command := office.DraftPlans{SourceFile: file}
	for _, row := range table.Rows() {
		command.Rows = append(command.Rows, office.Row{
			Where:   row.Where(""),
			Job:     row.Text("job", office.MaxJobChars),
			JobName: row.Text("job_name", office.MaxJobNameChars),
			Room:    room(row),
		})
	}
	if err := table.Err(); err != nil {
		var f *fault.Error
		if !errors.As(err, &f) {
			return office.DraftPlans{}, err
		}
		command.Unread = f.Places
	}
	return command, nil
}

// room reads the cells of a row in the order of the columns, in which their
// mistakes are then named.
func room(row *sheet.Row) office.ScheduledRoom {
	return office.ScheduledRoom{
		Floor:              row.Text("floor", sheet.MaxCellChars),
		Room:               row.Text("room", sheet.MaxCellChars),
		Name:               row.Text("room_name", office.MaxRoomNameChars),
		LayingOrder:        number(row, "laying_order", office.LayingOrderRange),
		ClearSpanMM:        number(row, "clear_span_mm", office.ClearSpanRange),
		WidthMM:            number(row, "width_mm", office.WidthRange),
		SpanDirection:      row.OneOf("span_direction", "x", "y"),
		BearingMM:          wish(row, "bearing_mm", office.BearingRange),
		Category:           strength.Category(row.Text("category", office.MaxNameChars)),
		ImposedLoadNPerM2:  imposed(row),
		FinishesLoadNPerM2: load(row, "finishes_load_kn_m2"),
		Profile:            row.Text("profile", office.MaxNameChars),
		WirePattern:        row.Text("wire_pattern", office.MaxNameChars),
		Block:              row.Text("block_kind", office.MaxNameChars),
		BeamsPerRow:        wish(row, "beams_per_row", office.BeamsPerRowRange),
	}
}

// wish reads a number that may be left open, which is 0.
func wish(row *sheet.Row, column string, r office.Range) int {
	if !row.Has(column) {
		return 0
	}
	return number(row, column, r)
}

// imposed reads the imposed load; nil leaves it to the category.
func imposed(row *sheet.Row) *int {
	const column = "imposed_load_kn_m2"
	if !row.Has(column) {
		return nil
	}
	n := load(row, column)
	return &n
}

func number(row *sheet.Row, column string, r office.Range) int {
	return int(row.Int(column, r.Min, r.Max))
}

// load reads kN/m2 with three decimals as N/m2.
func load(row *sheet.Row, column string) int {
	return int(row.Decimal(column, 3, office.LoadRange.Min, office.LoadRange.Max))
}
