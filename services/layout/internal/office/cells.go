package office

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"spanyard.example/services/layout/internal/strength"
)

// Range is what a number in a room schedule may be.
type Range struct{ Min, Max int64 }

// Ranges of the room schedule's numbers. Loads are in N/m2 here and in kN/m2,
// with three decimals, in the schedule.
var (
	LayingOrderRange = Range{1, 10_000}
	ClearSpanRange   = Range{200, 30_000}
	WidthRange       = Range{200, 100_000}
	BearingRange     = Range{1, 500}
	LoadRange        = Range{0, 50_000}
	BeamsPerRowRange = Range{1, 3}
)

// Longest texts of a room schedule, in characters.
const (
	MaxJobChars      = 64
	MaxJobNameChars  = 120
	MaxTokenChars    = 8
	MaxRoomNameChars = 120
	MaxNameChars     = maxNameChars
)

// checkCells checks each value of a row by itself. What could not be
// read is named elsewhere.
func (d *scheduled) checkCells(row Row) {
	r := row.Room
	d.text(row, "job", row.Job, MaxJobChars, true)
	d.text(row, "job_name", row.JobName, MaxJobNameChars, true)
	d.token(row, "floor", r.Floor)
	d.token(row, "room", r.Room)
	d.text(row, "room_name", r.Name, MaxRoomNameChars, false)
	d.number(row, "laying_order", r.LayingOrder, LayingOrderRange)
	d.number(row, "clear_span_mm", r.ClearSpanMM, ClearSpanRange)
	d.number(row, "width_mm", r.WidthMM, WidthRange)
	if r.SpanDirection != "x" && r.SpanDirection != "y" && (r.SpanDirection != "" || !d.partial) {
		d.wrong(row, "span_direction", r.SpanDirection, "is no direction", "x or y")
	}
	if r.BearingMM != 0 {
		d.number(row, "bearing_mm", r.BearingMM, BearingRange)
	}
	if _, ok := strength.RecommendedPsi[r.Category]; !ok && r.Category != "" {
		d.wrong(row, "category", clip(string(r.Category)), "is no category of use", "A, B, C, D or E (EN 1991-1-1, table 6.1), or nothing")
	}
	if r.ImposedLoadNPerM2 == nil && r.Category == "" && !d.partial {
		d.wrong(row, "imposed_load_kn_m2", "", "is missing", "a load, or a category whose load is taken")
	}
	if r.ImposedLoadNPerM2 != nil {
		d.number(row, "imposed_load_kn_m2", *r.ImposedLoadNPerM2, LoadRange)
	}
	d.number(row, "finishes_load_kn_m2", r.FinishesLoadNPerM2, LoadRange)
	d.text(row, "profile", r.Profile, MaxNameChars, false)
	d.text(row, "wire_pattern", r.WirePattern, MaxNameChars, false)
	d.text(row, "block_kind", r.Block, MaxNameChars, false)
	if r.BeamsPerRow != 0 {
		d.number(row, "beams_per_row", r.BeamsPerRow, BeamsPerRowRange)
	}
}

func (d *scheduled) text(row Row, column, value string, most int, required bool) {
	if problem := textProblem(value, most); problem != "" && (value != "" || required && !d.partial) {
		d.wrong(row, column, "", problem, textAllowed(most))
	}
}

// textProblem says what is wrong with a text; empty when nothing is.
func textProblem(value string, most int) string {
	switch {
	case value == "":
		return "is missing"
	case !printable(value, false) || strings.TrimSpace(value) != value:
		return "has blanks at its ends or characters that cannot be printed"
	case utf8.RuneCountInString(value) > most:
		return "is too long"
	default:
		return ""
	}
}

func textAllowed(most int) string { return fmt.Sprintf("up to %d printable characters", most) }

// token checks a part of a mark.
func (d *scheduled) token(row Row, column, value string) {
	if problem := tokenProblem(value); problem != "" && (value != "" || !d.partial) {
		d.wrong(row, column, clip(value), problem, tokenAllowed)
	}
}

var tokenAllowed = fmt.Sprintf("1 to %d letters A-Z, a-z and digits: it becomes part of the mark on every beam", MaxTokenChars)

func tokenProblem(value string) string {
	switch {
	case value == "":
		return "is missing"
	case len(value) > MaxTokenChars || strings.ContainsFunc(value, notInToken):
		return "cannot be part of a mark"
	default:
		return ""
	}
}

func notInToken(r rune) bool {
	return (r < '0' || r > '9') && (r < 'A' || r > 'Z') && (r < 'a' || r > 'z')
}

func (d *scheduled) number(row Row, column string, value int, r Range) {
	if v := int64(value); v >= r.Min && v <= r.Max || value == 0 && d.partial {
		return
	}
	shown, allowed := strconv.Itoa(value), fmt.Sprintf("%d to %d", r.Min, r.Max)
	if r == LoadRange {
		shown, allowed = kilo(int64(value)), fmt.Sprintf("%s to %s", kilo(r.Min), kilo(r.Max))
	}
	d.wrong(row, column, shown, "is out of range", allowed)
}

// kilo writes thousandths with three decimals.
func kilo(n int64) string { return fmt.Sprintf("%.3f", float64(n)/1000) }

// clip keeps a wrong value short enough to repeat.
func clip(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) <= most {
		return strings.ToValidUTF8(s, "?")
	}
	return string([]rune(s)[:most]) + "..."
}
