// Package count reads an opening stock count: the table in which a yard writes
// down the batches that it holds, as XLSX, CSV or JSON with the same columns.
// A row is a number of equal beams on a stack, or the blocks of a batch; rows
// of one batch may follow each other, and then name what holds for the whole
// batch only once or always the same.
//
// A counted batch goes the way of every other: it is received, its test is
// judged, it is released only if it may be. All rows are good or nothing
// changes; every wrong cell is named by file, sheet, row and column.
package count

import (
	"errors"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/sheet"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
)

// Columns of a stock count.
func Columns() []sheet.Column {
	return []sheet.Column{
		{Name: "batch", Required: true},
		{Name: "kind", Required: true},
		{Name: "made_on", Required: true},
		{Name: "profile"},
		{Name: "wire_pattern"},
		{Name: "length_mm"},
		{Name: "block_kind"},
		{Name: "count", Required: true},
		{Name: "mass_kg_each", Required: true},
		{Name: "stack", Required: true},
		{Name: "fck_cylinder_mpa"},
		{Name: "fck_cube_mpa"},
		{Name: "declared_block_mpa"},
		{Name: "laboratory"},
		{Name: "test_id"},
		{Name: "tested_on"},
		{Name: "specimen"},
		{Name: "strengths_mpa"},
		{Name: "released_by"},
		{Name: "released_on"},
		{Name: "kept_for_job"},
	}
}

// testColumns belong together: all are given or none.
var testColumns = []string{"laboratory", "test_id", "tested_on", "specimen", "strengths_mpa"}

var specimens = map[string]yard.Specimen{"cylinder": yard.Cylinder, "cube": yard.Cube, "block": yard.Block}

// Count is a stock count that has been read.
type Count struct {
	batches []*counted
	// table remembers cells that could not be read, and rows that contradict
	// each other.
	table *sheet.Table
}

// counted is a batch of a count.
type counted struct {
	receive yard.ReceiveBatch
	test    *yard.RecordTest
	// testBroken says that there is a test of which cells are missing.
	testBroken bool
	releasedBy string
	// releasedOn is 0 for the day of the count.
	releasedOn civil.Day
	// rows that the batch was read from; the first holds what counts for all.
	rows []*sheet.Row
	// lines holds the row of each line of beams.
	lines []*sheet.Row
}

// Read reads a count. The error is a fault about the file or its header; wrong
// cells are told by Decide, together with what the yard has against them.
func Read(file string, format sheet.Format, content []byte) (*Count, error) {
	table, err := sheet.Read(file, format, content, Columns())
	if err != nil {
		return nil, err
	}
	c := &Count{table: table}
	byID := map[string]*counted{}
	for _, row := range table.Rows() {
		id := row.Text("batch", 64)
		b := byID[id]
		if b == nil {
			b = readBatch(row, id, file)
			byID[id] = b
			c.batches = append(c.batches, b)
		} else {
			b.agree(row)
		}
		b.add(row)
	}
	return c, nil
}

// readBatch reads what holds for a whole batch from its first row.
func readBatch(row *sheet.Row, id, file string) *counted {
	b := &counted{receive: yard.ReceiveBatch{BatchID: id, Counted: true, Source: sourceOf(file), MadeOn: row.Day("made_on")}}
	switch row.OneOf("kind", "beams", "blocks") {
	case "beams":
		b.receive.Kind = yard.Beams
		b.receive.Profile, b.receive.WirePattern = need(row, "profile"), need(row, "wire_pattern")
		b.receive.Concrete.FckCylinder, b.receive.Concrete.FckCube = strength(row, "fck_cylinder_mpa"), strength(row, "fck_cube_mpa")
	case "blocks":
		b.receive.Kind = yard.Blocks
		b.receive.Lot.BlockKind = need(row, "block_kind")
		b.receive.Concrete.DeclaredBlock = strength(row, "declared_block_mpa")
	}
	b.test, b.testBroken = readTest(row, id)
	if row.Has("released_by") {
		b.releasedBy = row.Text("released_by", 120)
	}
	if row.Has("released_on") {
		b.releasedOn = row.Day("released_on")
		if !row.Has("released_by") {
			row.Fail("released_by", "is missing, but the day of the release is given", "who released the batch")
		}
	}
	return b
}

// sourceOf names the file in the record, as far as there is room.
func sourceOf(file string) string {
	text := strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, strings.ToValidUTF8("stock count "+filepath.Base(file), "?"))
	if runes := []rune(text); len(runes) > maxSource {
		text = string(runes[:maxSource])
	}
	return strings.TrimSpace(text)
}

// maxSource is the domain's limit.
const maxSource = 200

// need reads a cell that this kind of batch has to have.
func need(row *sheet.Row, column string) string {
	if !row.Has(column) {
		row.Fail(column, "is missing", "")
		return ""
	}
	return row.Text(column, 64)
}

const maxMPa = 250_000

func strength(row *sheet.Row, column string) conformity.MilliMPa {
	if !row.Has(column) {
		row.Fail(column, "is missing", "a strength in MPa")
		return 0
	}
	return conformity.MilliMPa(row.Decimal(column, 3, 1, maxMPa-1))
}

// readTest returns nil when there is no test, or one with cells missing.
func readTest(row *sheet.Row, id string) (test *yard.RecordTest, broken bool) {
	given := 0
	for _, column := range testColumns {
		if row.Has(column) {
			given++
		}
	}
	if given == 0 {
		return nil, false
	}
	for _, column := range testColumns {
		if !row.Has(column) {
			row.Fail(column, "is missing, but other cells of the test are given", "")
		}
	}
	if given < len(testColumns) {
		return nil, true
	}
	t := &yard.RecordTest{
		BatchID: id, TestID: row.Text("test_id", 64), Laboratory: row.Text("laboratory", 120), TestedOn: row.Day("tested_on"),
		Specimen: specimens[row.OneOf("specimen", "cylinder", "cube", "block")],
	}
	const most = 100
	for _, n := range row.Decimals("strengths_mpa", 3, 1, maxMPa-1, most) {
		t.Strengths = append(t.Strengths, conformity.MilliMPa(n))
	}
	return t, false
}

// batchColumns hold for a whole batch.
var batchColumns = append([]string{"kind", "made_on", "profile", "wire_pattern", "block_kind", "fck_cylinder_mpa", "fck_cube_mpa", "declared_block_mpa", "released_by", "released_on"}, testColumns...)

// agree refuses a later row that says something else of the batch than its
// first row.
func (b *counted) agree(row *sheet.Row) {
	first := b.rows[0]
	for _, column := range batchColumns {
		if slices.Contains(foreignColumns[b.receive.Kind], column) {
			continue // add refuses it
		}
		if row.Has(column) && row.Text(column, sheet.MaxCellChars) != first.Text(column, sheet.MaxCellChars) {
			row.Fail(column, fmt.Sprintf("differs from row %d of the same batch", first.Number()), "the same, or nothing")
		}
	}
}

// foreignColumns say something that a kind of batch does not have.
var foreignColumns = map[yard.Kind][]string{
	yard.Beams:  {"block_kind", "declared_block_mpa"},
	yard.Blocks: {"kept_for_job", "profile", "wire_pattern", "length_mm", "fck_cylinder_mpa", "fck_cube_mpa"},
}

// add reads what a row holds: beams of one length on a stack, or the blocks.
func (b *counted) add(row *sheet.Row) {
	b.rows = append(b.rows, row)
	for _, column := range foreignColumns[b.receive.Kind] {
		if row.Has(column) {
			row.Fail(column, fmt.Sprintf("does not belong to %v", b.receive.Kind), "an empty cell")
		}
	}
	grams := row.Decimal("mass_kg_each", 3, 1, 20_000_000)
	stack := row.Text("stack", 64)
	switch b.receive.Kind {
	case yard.Beams:
		line := yard.BeamLine{Count: int(row.Int("count", 1, yard.MaxBeamsPerBatch)), MassGEach: grams, StackID: stack}
		if row.Has("length_mm") {
			line.LengthMM = int(row.Int("length_mm", 200, 30_000))
		} else {
			row.Fail("length_mm", "is missing", "a length in mm")
		}
		if row.Has("kept_for_job") {
			line.KeptJob = row.Text("kept_for_job", 64)
		}
		b.receive.Lines = append(b.receive.Lines, line)
		b.lines = append(b.lines, row)
	case yard.Blocks:
		if len(b.rows) > 1 {
			row.Fail("batch", fmt.Sprintf("is a batch of blocks that row %d has counted already", b.rows[0].Number()), "one row for each batch of blocks")
			return
		}
		b.receive.Lot.Count, b.receive.Lot.MassGEach, b.receive.Lot.StackID = int(row.Int("count", 1, 1_000_000)), grams, stack
	}
}

// Decide returns the events of the count, or one fault that names every wrong
// cell: those that cannot be read and those that the yard has something
// against. by is who has the count recorded.
func (c *Count) Decide(s yard.State, by string, at time.Time) ([]yard.Event, error) {
	if !s.Open() {
		_, err := yard.Decide(s, yard.ReleaseBatch{})
		return nil, err
	}
	if n := c.beams(); n > maxBeams {
		return nil, fault.New(fault.Invalid, "TOO_MUCH_AT_ONCE", "This count has %d beams; at most %d are taken in one step. Split the file.", n, maxBeams)
	}
	var places []fault.Place
	unread := map[string]bool{}
	if f := c.unreadable(); f != nil {
		if len(f.Places) > maxPlaces {
			return nil, f // no room for more
		}
		places = f.Places
		for _, p := range f.Places {
			unread[p.Where] = true
		}
	}
	var events []yard.Event
	for _, b := range c.batches {
		done, against, err := b.decide(s, by, at)
		if err != nil {
			return nil, err
		}
		for _, p := range against {
			// What stands in for a cell that cannot be read is no second fault.
			if !unread[p.Where] {
				places = append(places, p)
			}
		}
		s = yard.EvolveAll(s, done)
		events = append(events, done...)
	}
	if len(places) > 0 {
		return nil, notTaken(places)
	}
	if len(events) > yard.MaxEvents {
		return nil, fault.New(fault.Invalid, "TOO_MUCH_AT_ONCE",
			"This count needs %d records; the ledger takes at most %d in one step. Split the file.", len(events), yard.MaxEvents)
	}
	return events, nil
}

// maxBeams of one count keeps it well within memory.
const maxBeams = 100_000

func (c *Count) beams() int {
	n := 0
	for _, b := range c.batches {
		for _, line := range b.receive.Lines {
			n += line.Count
		}
	}
	return n
}

// unreadable returns the cells that could not be read; nil when there are none.
func (c *Count) unreadable() *fault.Error {
	var f *fault.Error
	errors.As(c.table.Err(), &f) // the table's faults are of this type only
	return f
}

func notTaken(places []fault.Place) error {
	cells := "1 cell is"
	if len(places) > 1 {
		cells = fmt.Sprintf("%d cells are", len(places))
	}
	f := fault.New(fault.Invalid, "BAD_ROWS", "The stock count was not taken: %s not right. Nothing was changed.", cells)
	f.Places = places
	if more := len(places) - maxPlaces; more > 0 {
		f.Places = places[:maxPlaces:maxPlaces]
		f.At("", "", fmt.Sprintf("and %d more", more), "")
	}
	return f
}

// decide takes one batch the way of every other and returns the events, and
// what the yard has against it, by cell. Every step is looked at: the later
// ones as if nothing stood against the earlier ones.
func (b *counted) decide(s yard.State, by string, at time.Time) (events []yard.Event, against []fault.Place, err error) {
	for _, command := range b.commands(by, at) {
		done, err := yard.Decide(s, command)
		var f *fault.Error
		switch {
		case errors.As(err, &f):
			against = append(against, b.places(f, command)...)
			switch c := command.(type) {
			case yard.ReceiveBatch:
				done = []yard.Event{c.Event()}
			case yard.RecordTest:
				// Whether it may be released hangs on a test that is not there.
				return events, against, nil
			}
		case err != nil:
			return nil, nil, err
		}
		s = yard.EvolveAll(s, done)
		events = append(events, done...)
	}
	return events, against, nil
}

// commands are what a counted batch goes through.
func (b *counted) commands(by string, at time.Time) []yard.Command {
	receive := b.receive
	receive.At = at
	commands := []yard.Command{receive}
	if b.test != nil {
		test := *b.test
		test.By, test.At = by, at
		commands = append(commands, test)
	}
	if b.releasedBy != "" && !b.testBroken {
		commands = append(commands, yard.ReleaseBatch{BatchID: receive.BatchID, By: b.releasedBy, At: at, On: b.releasedOn})
	}
	return commands
}

// maxPlaces that a fault names.
const maxPlaces = 100

var lineField = regexp.MustCompile(`^beams\.lines\[(\d+)\]\.(.*)$`)

// columnOf names the column that a field of a command was read from.
var columnOf = map[string]string{
	"batch_id": "batch", "kind": "kind", "made_on": "made_on", "beams.profile": "profile", "beams.wire_pattern": "wire_pattern",
	"concrete.fck_cylinder_mpa": "fck_cylinder_mpa", "concrete.fck_cube_mpa": "fck_cube_mpa", "concrete.declared_block_mpa": "declared_block_mpa",
	"blocks.block_kind": "block_kind", "blocks.count": "count", "blocks.mass_g_each": "mass_kg_each", "blocks.stack_id": "stack",
	"length_mm": "length_mm", "count": "count", "mass_g_each": "mass_kg_each", "stack_id": "stack", "beams.lines": "count",
	"test_id": "test_id", "laboratory": "laboratory", "tested_on": "tested_on", "specimen": "specimen", "strengths_mpa": "strengths_mpa",
	"released_by": "released_by", "released_on": "released_on", "tests": "strengths_mpa", "age": "made_on", "state": "released_by",
}

// places turns what the yard has against a command into cells.
func (b *counted) places(f *fault.Error, command yard.Command) []fault.Place {
	if len(f.Places) == 0 {
		return []fault.Place{{Where: b.rows[0].Where("batch"), Value: b.receive.BatchID, Problem: "cannot be taken: " + f.Sentence}}
	}
	var out []fault.Place
	for _, p := range f.Places {
		row, field := b.rows[0], p.Where
		if m := lineField.FindStringSubmatch(field); m != nil {
			if i, err := strconv.Atoi(m[1]); err == nil && i < len(b.lines) {
				row, field = b.lines[i], m[2]
			}
		}
		field, _, _ = strings.Cut(field, "[")
		column := columnOf[field]
		if column == "" {
			column = "batch"
		}
		if _, releases := command.(yard.ReleaseBatch); releases {
			p.Problem = "the batch cannot be released: " + p.Problem
			if field != "released_on" {
				column, p.Value = "released_by", b.releasedBy
			}
		}
		out = append(out, fault.Place{Where: row.Where(column), Value: p.Value, Problem: p.Problem, Allowed: p.Allowed})
	}
	return out
}

// Totals of a count's events.
type Totals struct {
	BatchIDs      []string
	Beams, Blocks int
}

// TotalsOf counts what events received.
func TotalsOf(events []yard.Event) Totals {
	var t Totals
	for _, e := range events {
		if r, ok := e.(yard.BatchReceived); ok {
			t.BatchIDs = append(t.BatchIDs, r.BatchID)
			t.Beams += len(r.Beams)
			t.Blocks += r.Lot.Count
		}
	}
	return t
}
