// Package papers makes the files that people take along: a recall as a table
// and as a page to print. It knows neither the ledger nor the view.
package papers

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/xuri/excelize/v2"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	"spanyard.example/services/stock/internal/recall"
	"spanyard.example/services/stock/internal/yard"
)

// Contact is whom to call at a site.
type Contact struct{ Name, Call string }

// Recall is a recall with what is printed beside it.
type Recall struct {
	recall.Recall
	Yard string
	// At is when the places were looked up, in the yard's own zone.
	At time.Time
	// Contacts by site id.
	Contacts map[string]Contact
}

// Caution stands on every paper of a recall.
const Caution = "Nothing of this batch may be lifted, laid or loaded before a licensed engineer has decided about it. " +
	"Heavy concrete can kill: nobody stands under a lift or on a floor that has these pieces in it."

// Call says whom to call about a place.
func (r Recall) Call(p recall.Place) string {
	c := r.Contacts[p.SiteID]
	switch {
	case p.SiteID == "":
		return "the yard"
	case c.Call == "":
		return "site " + p.SiteID + " (no contact is known)"
	case c.Name == "":
		return c.Call
	default:
		return c.Call + ", " + c.Name
	}
}

// Where says in words where a place is.
func Where(p recall.Place) string {
	switch p.Kind {
	case recall.OnTruck:
		return fmt.Sprintf("on truck %s, run %s, to site %s", orDash(p.TruckID), p.RunID, orDash(p.SiteID))
	case recall.AtSite:
		return fmt.Sprintf("at site %s, from run %s", orDash(p.SiteID), p.RunID)
	case recall.BesideTruck:
		return fmt.Sprintf("picked for run %s to site %s", p.RunID, orDash(p.SiteID))
	case recall.InStack:
		return "in stack " + orDash(p.StackID)
	default:
		return "written off"
	}
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// what the batch is, and the results it has.
func (r Recall) facts() []string {
	b := r.Batch
	of := fmt.Sprintf("%s of profile %s with wires %s", counted(b.Counts.Made, "beam"), b.Profile, b.WirePattern)
	if b.Kind == yard.Blocks {
		of = counted(b.Counts.Made, "block") + " " + b.Lot.BlockKind
	}
	lines := []string{
		fmt.Sprintf("Batch %s of yard %s: %s, made on %v; from %s.", b.ID, r.Yard, of, b.MadeOn, orDash(b.Source)),
		"Places as of " + r.At.Format("2006-01-02 15:04") + ".",
	}
	switch b.State {
	case yard.Quarantined:
		lines = append(lines, fmt.Sprintf("Quarantined by %s: %s", b.QuarantinedBy, b.QuarantineReason))
	case yard.Released:
		lines = append(lines, fmt.Sprintf("Released by %s on %v, %d days old.", b.Release.By, b.Release.On, b.Release.AgeDays))
	default:
		lines = append(lines, "Not released.")
	}
	for _, t := range b.Tests {
		lines = append(lines, fmt.Sprintf("Test %s by %s on %v.", t.ID, t.Laboratory, t.TestedOn))
	}
	for _, j := range b.Judgements() {
		lines = append(lines, j.Verdict.Sentence)
	}
	return lines
}

// columns of the list of pieces.
var columns = []string{"where", "call", "piece", "length mm", "blocks", "mass kg", "tier", "pieces above", "job", "mark", "call-off", "delivered", "received by"}

// orEmpty leaves a cell empty that would say 0 of what the piece has not.
func orEmpty(n int) any {
	if n == 0 {
		return ""
	}
	return n
}

// counted is a number of things in words: "1 beam", "2 beams".
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (r Recall) row(p recall.Place, piece recall.Piece) []any {
	row := []any{Where(p), r.Call(p), piece.ID, orEmpty(piece.LengthMM), orEmpty(piece.Blocks), float64(piece.MassG) / 1000, "", "", "", "", "", "", piece.ReceivedBy}
	if piece.Tier > 0 {
		row[6], row[7] = piece.Tier, piece.Above
	}
	if a := piece.Allocation; a != nil {
		row[8], row[9], row[10] = a.JobID, a.Mark, a.CallOffID
	}
	if !piece.DeliveredAt.IsZero() {
		row[11] = piece.DeliveredAt.In(r.At.Location()).Format("2006-01-02 15:04")
	}
	return row
}

// loose is the row of blocks on no pallet.
func (r Recall) loose(p recall.Place) []any {
	return []any{Where(p), r.Call(p), "loose blocks", "", p.LooseBlocks, float64(int64(p.LooseBlocks)*r.Batch.Lot.MassGEach) / 1000, "", "", "", "", "", "", ""}
}

func (r Recall) rows(each func([]any) error) error {
	for _, p := range r.Places {
		for _, piece := range p.Pieces {
			if err := each(r.row(p, piece)); err != nil {
				return err
			}
		}
		if p.LooseBlocks > 0 {
			if err := each(r.loose(p)); err != nil {
				return err
			}
		}
	}
	return nil
}

// XLSX returns a workbook: one sheet with a line for each place, one with a
// line for each piece.
func (r Recall) XLSX() ([]byte, error) {
	book := excelize.NewFile()
	defer func() { _ = book.Close() }() // in memory only
	const places, pieces = "places", "pieces"
	if err := book.SetSheetName("Sheet1", places); err != nil {
		return nil, err
	}
	if _, err := book.NewSheet(pieces); err != nil {
		return nil, err
	}
	var lines [][]any
	for _, fact := range append(r.facts(), "CAUTION: "+Caution) {
		lines = append(lines, []any{fact})
	}
	lines = append(lines, nil, []any{"where", "call", "units", "mass kg"})
	for _, p := range r.Places {
		lines = append(lines, []any{Where(p), r.Call(p), p.Units, float64(p.MassG) / 1000})
	}
	if err := fill(book, places, func(put func([]any) error) error {
		for _, line := range lines {
			if err := put(line); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		return nil, err
	}
	if err := fill(book, pieces, func(put func([]any) error) error {
		head := make([]any, len(columns))
		for i, c := range columns {
			head[i] = c
		}
		if err := put(head); err != nil {
			return err
		}
		return r.rows(put)
	}); err != nil {
		return nil, err
	}
	out, err := book.WriteToBuffer()
	if err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// fill writes a sheet row by row.
func fill(book *excelize.File, sheet string, rows func(put func([]any) error) error) error {
	w, err := book.NewStreamWriter(sheet)
	if err != nil {
		return err
	}
	if err := w.SetColWidth(1, 2, 42); err != nil {
		return err
	}
	n := 0
	err = rows(func(cells []any) error {
		n++
		return w.SetRow(fmt.Sprintf("A%d", n), cells)
	})
	if err != nil {
		return err
	}
	return w.Flush()
}

// Measures of the printed page: A4 upright, in millimetres.
const (
	margin    = 15.0
	lineMM    = 4.6
	textPt    = 9.0
	titlePt   = 14.0
	pageWidth = 210.0
)

// printed columns and their widths.
var printed = []struct {
	name  string
	width float64
	right bool
}{{"piece", 46, false}, {"length mm", 18, true}, {"blocks", 14, true}, {"mass kg", 18, true}, {"tier", 10, true}, {"above", 12, true}, {"job", 26, false}, {"mark", 36, false}}

// PDF returns the recall as pages to print: who to call first, then piece by
// piece.
func (r Recall) PDF() ([]byte, error) {
	doc := fpdf.New("P", "mm", "A4", "")
	doc.SetCreationDate(r.At)
	doc.SetModificationDate(r.At)
	doc.SetCatalogSort(true) // the same recall prints the same bytes
	doc.AddUTF8FontFromBytes("page", "", goregular.TTF)
	doc.AddUTF8FontFromBytes("page", "B", gobold.TTF)
	doc.SetMargins(margin, margin, margin)
	doc.SetAutoPageBreak(true, margin+lineMM)
	doc.SetFooterFunc(func() {
		doc.SetY(-margin)
		doc.SetFont("page", "", textPt-1)
		doc.CellFormat(0, lineMM, fmt.Sprintf("Recall of batch %s, page %d", r.Batch.ID, doc.PageNo()), "", 0, "R", false, 0, "")
	})
	doc.AddPage()
	doc.SetFont("page", "B", titlePt)
	doc.CellFormat(0, 8, "RECALL OF BATCH "+r.Batch.ID, "", 1, "L", false, 0, "")
	r.paragraphs(doc)
	for _, p := range r.Places {
		r.printPlace(doc, p)
	}
	var out bytes.Buffer
	if err := doc.Output(&out); err != nil {
		return nil, fmt.Errorf("print the recall of batch %s: %w", r.Batch.ID, err)
	}
	return out.Bytes(), nil
}

func (r Recall) paragraphs(doc *fpdf.Fpdf) {
	doc.SetFont("page", "", textPt)
	doc.MultiCell(pageWidth-2*margin, lineMM, strings.Join(r.facts(), "\n"), "", "L", false)
	doc.SetFont("page", "B", textPt)
	doc.MultiCell(pageWidth-2*margin, lineMM, "CAUTION  "+Caution, "", "L", false)
	doc.Ln(lineMM / 2)
	for _, p := range r.Places {
		doc.SetFont("page", "B", textPt)
		doc.MultiCell(pageWidth-2*margin, lineMM, fmt.Sprintf("%s %s: call %s", counted(p.Units, strings.TrimSuffix(r.Batch.Kind.String(), "s")), Where(p), r.Call(p)), "", "L", false)
	}
}

func (r Recall) printPlace(doc *fpdf.Fpdf, p recall.Place) {
	doc.Ln(lineMM)
	doc.SetFont("page", "B", textPt)
	doc.MultiCell(pageWidth-2*margin, lineMM, fmt.Sprintf("%s. Call %s.", Where(p), r.Call(p)), "", "L", false)
	cells := func(text func(i int) string) {
		for i, c := range printed {
			align := "L"
			if c.right {
				align = "R"
			}
			// Never cut: a number that is too long is printed smaller.
			size := textPt
			if need := doc.GetStringWidth(text(i)) + 2; need > c.width {
				size *= c.width / need
			}
			doc.SetFontSize(size)
			doc.CellFormat(c.width, lineMM, text(i), "", 0, align, false, 0, "")
			doc.SetFontSize(textPt)
		}
		doc.Ln(lineMM)
	}
	cells(func(i int) string { return printed[i].name })
	doc.SetFont("page", "", textPt)
	for _, piece := range p.Pieces {
		row := r.row(p, piece)
		shown := []any{row[2], row[3], row[4], fmt.Sprintf("%.1f", row[5]), row[6], row[7], row[8], row[9]}
		cells(func(i int) string { return fmt.Sprint(shown[i]) })
	}
	if p.LooseBlocks > 0 {
		cells(func(i int) string {
			return []string{"loose blocks", "", fmt.Sprint(p.LooseBlocks), fmt.Sprintf("%.1f", float64(int64(p.LooseBlocks)*r.Batch.Lot.MassGEach)/1000), "", "", "", ""}[i]
		})
	}
}
