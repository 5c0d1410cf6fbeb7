package papers

import (
	"bytes"
	"fmt"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"rsc.io/qr"

	"spanyard.example/services/dispatch/internal/deckdraw"
)

// Measures of the printed page: A4 upright, in millimetres and points.
const (
	marginMM  = 14.0
	lineMM    = 5.0
	rowMM     = 5.4
	textPt    = 9.5
	headPt    = 11.0
	titlePt   = 17.0
	contentMM = 210.0 - 2*marginMM
	bottomMM  = 297.0 - marginMM - lineMM
	ptPerMM   = 72 / 25.4
)

// page is a sheet of paper while it is written.
type page struct {
	doc   *fpdf.Fpdf
	title string
}

// newPage begins a sheet. The footer names it on every page, since pages of
// several runs lie on one table.
func newPage(title, footer string, at time.Time) *page {
	doc := fpdf.New("P", "mm", "A4", "")
	doc.SetCreationDate(at)
	doc.SetModificationDate(at)
	doc.SetCatalogSort(true) // the same run prints the same bytes
	doc.SetTitle(title, true)
	doc.AddUTF8FontFromBytes("page", "", goregular.TTF)
	doc.AddUTF8FontFromBytes("page", "B", gobold.TTF)
	doc.SetMargins(marginMM, marginMM, marginMM)
	doc.SetCellMargin(0.6)
	doc.SetAutoPageBreak(false, 0)
	doc.SetFooterFunc(func() {
		doc.SetY(297 - marginMM)
		doc.SetFont("page", "", textPt-1.5)
		doc.CellFormat(contentMM/2, lineMM, footer, "T", 0, "L", false, 0, "")
		doc.CellFormat(contentMM/2, lineMM, fmt.Sprintf("printed %s, page %d", at.Format("2006-01-02 15:04"), doc.PageNo()), "T", 0, "R", false, 0, "")
	})
	p := &page{doc: doc, title: title}
	doc.AddPage()
	doc.SetFont("page", "B", titlePt)
	doc.MultiCell(contentMM, 8, title, "", "L", false)
	doc.Ln(1)
	return p
}

// bytes ends the sheet.
func (p *page) bytes() ([]byte, error) {
	var out bytes.Buffer
	if err := p.doc.Output(&out); err != nil {
		return nil, fmt.Errorf("print %q: %w", p.title, err)
	}
	return out.Bytes(), nil
}

// room begins a new page where less than so much is left of this one.
func (p *page) room(heightMM float64) {
	if p.doc.GetY()+heightMM > bottomMM {
		p.doc.AddPage()
	}
}

func (p *page) heading(text string) {
	p.room(3 * lineMM)
	p.doc.Ln(lineMM / 2)
	p.doc.SetFont("page", "B", headPt)
	p.doc.MultiCell(contentMM, lineMM+0.5, text, "", "L", false)
	p.doc.Ln(0.5)
}

func (p *page) paragraph(text string, bold bool) {
	style := ""
	if bold {
		style = "B"
	}
	p.doc.SetFont("page", style, textPt)
	p.room(lineMM * float64(len(p.doc.SplitText(text, contentMM))))
	p.doc.MultiCell(contentMM, lineMM, text, "", "L", false)
}

// box frames what must not be overlooked.
func (p *page) box(head string, lines []string) {
	p.doc.SetFont("page", "", textPt)
	tall := lineMM
	for _, line := range lines {
		tall += lineMM * float64(len(p.doc.SplitText(line, contentMM-4)))
	}
	p.room(tall + 4)
	p.doc.Ln(1.5)
	x, y := p.doc.GetXY()
	p.doc.SetLineWidth(0.6)
	p.doc.Rect(x, y, contentMM, tall+2, "D")
	p.doc.SetLineWidth(0.2)
	p.doc.SetXY(x+2, y+1)
	p.doc.SetFont("page", "B", textPt)
	p.doc.CellFormat(contentMM-4, lineMM, head, "", 1, "L", false, 0, "")
	p.doc.SetFont("page", "", textPt)
	for _, line := range lines {
		p.doc.SetX(x + 2)
		p.doc.MultiCell(contentMM-4, lineMM, line, "", "L", false)
	}
	p.doc.SetXY(x, y+tall+3.5)
}

// column of a table.
type column struct {
	name    string
	widthMM float64
	right   bool
}

// table is written row by row; its head is repeated on every page.
type table struct {
	page    *page
	columns []column
}

func (p *page) table(columns ...column) *table {
	t := &table{page: p, columns: columns}
	p.room(3 * rowMM)
	t.head()
	return t
}

func (t *table) head() {
	names := make([]string, len(t.columns))
	for i, c := range t.columns {
		names[i] = c.name
	}
	t.cells(names, true, "B")
}

// row writes a row; a bold one stands for what belongs together below it.
func (t *table) row(bold bool, cells ...string) {
	if t.page.doc.GetY()+rowMM > bottomMM {
		t.page.doc.AddPage()
		t.head()
	}
	t.cells(cells, bold, "B")
}

func (t *table) cells(cells []string, bold bool, border string) {
	doc, style := t.page.doc, ""
	if bold {
		style = "B"
	}
	doc.SetDrawColor(150, 150, 150)
	doc.SetFont("page", style, textPt)
	for i, c := range t.columns {
		align := "L"
		if c.right {
			align = "R"
		}
		// Never cut: what is too long is printed smaller.
		size := textPt
		if need := doc.GetStringWidth(cells[i]) + 2.2; need > c.widthMM {
			size *= c.widthMM / need
		}
		doc.SetFontSize(size)
		doc.CellFormat(c.widthMM, rowMM, cells[i], border, 0, align, false, 0, "")
		doc.SetFontSize(textPt)
	}
	doc.SetDrawColor(0, 0, 0)
	doc.Ln(rowMM)
}

// tick draws a box to tick at the right end of the row that was just written.
func (t *table) tick() {
	doc := t.page.doc
	doc.Rect(marginMM+contentMM-4.2, doc.GetY()-rowMM+0.9, 3.6, 3.6, "D")
}

// signatures leaves lines to sign on.
func (p *page) signatures(names ...string) {
	p.room(4 * lineMM)
	p.doc.Ln(2.5 * lineMM)
	each := contentMM / float64(len(names))
	y := p.doc.GetY()
	p.doc.SetFont("page", "", textPt-1)
	for i, name := range names {
		x := marginMM + each*float64(i)
		p.doc.Line(x, y, x+each-5, y)
		p.doc.SetXY(x, y+0.5)
		p.doc.CellFormat(each-5, lineMM, name, "", 0, "L", false, 0, "")
	}
	p.doc.SetXY(marginMM, y+lineMM+1)
}

// drawing paints a drawing across the page.
func (p *page) drawing(d deckdraw.Drawing) {
	p.room(d.HeightMM + 2)
	x, y := marginMM, p.doc.GetY()
	for _, s := range d.Shapes {
		p.shape(s, x, y)
	}
	p.doc.SetLineWidth(0.2)
	p.doc.SetXY(x, y+d.HeightMM+1)
}

func (p *page) shape(s deckdraw.Shape, x, y float64) {
	doc, style := p.doc, ""
	grey := map[deckdraw.Fill]int{deckdraw.Paper: 255, deckdraw.Pale: 233, deckdraw.Ink: 17}
	if g, filled := grey[s.Fill]; filled {
		doc.SetFillColor(g, g, g)
		style = "F"
	}
	if s.WeightMM > 0 {
		style += "D"
		doc.SetLineWidth(s.WeightMM)
	}
	switch s.Kind {
	case deckdraw.Line:
		doc.Line(x+s.XMM, y+s.YMM, x+s.X2MM, y+s.Y2MM)
	case deckdraw.Rectangle:
		doc.Rect(x+s.XMM, y+s.YMM, s.X2MM, s.Y2MM, style)
	case deckdraw.Circle:
		doc.Circle(x+s.XMM, y+s.YMM, s.RadiusMM, style)
	case deckdraw.Text:
		weight := ""
		if s.Bold {
			weight = "B"
		}
		doc.SetFont("page", weight, s.SizeMM*ptPerMM)
		at := x + s.XMM
		switch s.Anchor {
		case deckdraw.Middle:
			at -= doc.GetStringWidth(s.Value) / 2
		case deckdraw.End:
			at -= doc.GetStringWidth(s.Value)
		}
		doc.Text(at, y+s.YMM, s.Value)
	}
}

// quietModules is the free edge that a reader needs around a code
// (ISO/IEC 18004: four modules).
const quietModules = 4

// code prints a QR code (ISO/IEC 18004, error correction M) of a link with
// its upper right corner at the page's right margin, so big.
func (p *page) code(link string, topMM, sizeMM float64) error {
	code, err := qr.Encode(link, qr.M)
	if err != nil {
		return fmt.Errorf("encode the link of %q: %w", p.title, err)
	}
	module := sizeMM / float64(code.Size+2*quietModules)
	left := 210 - marginMM - sizeMM
	p.doc.SetFillColor(0, 0, 0)
	for row := range code.Size {
		for col := range code.Size {
			if code.Black(col, row) {
				// A hair wider than a module: no reader sees seams.
				p.doc.Rect(left+module*float64(col+quietModules), topMM+module*float64(row+quietModules), module+0.02, module+0.02, "F")
			}
		}
	}
	return nil
}
