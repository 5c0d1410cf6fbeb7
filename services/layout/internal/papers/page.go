// Package papers makes the sheets that go with a laying plan: beam schedule
// and quantities, calculation sheets, tables of spans.
package papers

import (
	"fmt"
	"io"
	"math"
	"strings"
	"sync"

	"github.com/tdewolff/canvas"
	"github.com/tdewolff/canvas/renderers/pdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// A4 portrait, in millimetres.
const (
	pageWidth  = 210.0
	pageHeight = 297.0
	left       = 20.0
	right      = 12.0
	top        = 16.0
	foot       = 20.0
	// row is the distance of base lines, body the size of letters in points.
	row  = 4.4
	body = 8.0
)

var fonts = sync.OnceValues(func() (*canvas.FontFamily, error) {
	family := canvas.NewFontFamily("paper")
	if err := family.LoadFont(goregular.TTF, 0, canvas.FontRegular); err != nil {
		return nil, err
	}
	return family, family.LoadFont(gobold.TTF, 0, canvas.FontBold)
})

// paper is a document that is being written, page by page from the top.
type paper struct {
	title, caution string
	family         *canvas.FontFamily
	pages          []*canvas.Canvas
	ctx            *canvas.Context
	y              float64
}

func newPaper(title, caution string) (*paper, error) {
	family, err := fonts()
	if err != nil {
		return nil, fmt.Errorf("load the lettering: %w", err)
	}
	p := &paper{title: title, caution: caution, family: family}
	p.turn()
	return p, nil
}

// turn begins a new page.
func (p *paper) turn() {
	c := canvas.New(pageWidth, pageHeight)
	p.pages = append(p.pages, c)
	p.ctx = canvas.NewContext(c)
	p.ctx.SetFillColor(canvas.White)
	p.ctx.DrawPath(0, 0, canvas.Rectangle(pageWidth, pageHeight))
	p.y = pageHeight - top
	p.put(left, p.y, 11, true, p.title)
	p.y -= 3
	p.rule(left, p.y, pageWidth-right, p.y, 0.35)
	p.y -= 6
	y := foot - 6.0
	for _, l := range p.broken(p.caution, body, pageWidth-left-right-20) {
		p.put(left, y, body, false, l)
		y -= 3.6
	}
	p.rule(left, foot-2, pageWidth-right, foot-2, 0.18)
}

// room makes sure that so many rows fit on the page.
func (p *paper) room(rows float64) {
	if p.y-rows*row < foot {
		p.turn()
	}
}

func (p *paper) face(size float64, bold bool) *canvas.FontFace {
	style := canvas.FontRegular
	if bold {
		style = canvas.FontBold
	}
	return p.family.Face(size, canvas.Black, style, canvas.FontNormal)
}

func (p *paper) put(x, y, size float64, bold bool, text string) {
	p.ctx.DrawText(x, y, canvas.NewTextLine(p.face(size, bold), text, canvas.Left))
}

func (p *paper) rule(x0, y0, x1, y1, width float64) {
	path := &canvas.Path{}
	path.MoveTo(x0, y0)
	path.LineTo(x1, y1)
	p.stroke(path, width)
}

func (p *paper) stroke(path *canvas.Path, width float64) {
	p.ctx.SetFillColor(canvas.Transparent)
	p.ctx.SetStrokeColor(canvas.Black)
	p.ctx.SetStrokeWidth(width)
	p.ctx.DrawPath(0, 0, path)
}

// broken breaks a text at spaces to lines of a width.
func (p *paper) broken(text string, size, width float64) []string {
	face := p.face(size, false)
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && face.TextWidth(line+" "+word) > width {
			lines = append(lines, line)
			line = word
			continue
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(lines, line)
}

// heading begins a part.
func (p *paper) heading(text string) {
	p.room(4)
	p.y -= 2
	p.put(left, p.y, 9.5, true, text)
	p.y -= row + 0.6
}

// paragraph writes a text over the whole width.
func (p *paper) paragraph(text string) {
	for _, l := range p.broken(text, body, pageWidth-left-right) {
		p.room(1)
		p.put(left, p.y, body, false, l)
		p.y -= row
	}
}

// column of a table; numbers stand to the right.
type column struct {
	head  string
	width float64
	right bool
}

// table writes rows under heads that come again on every page.
func (p *paper) table(columns []column, rows [][]string) {
	p.cells(columns, heads(columns), true)
	for _, r := range rows {
		before := len(p.pages)
		p.room(float64(p.tallest(columns, r)))
		if len(p.pages) != before {
			p.cells(columns, heads(columns), true)
		}
		p.cells(columns, r, false)
	}
	p.y -= 1.5
}

func heads(columns []column) []string {
	out := make([]string, len(columns))
	for i, c := range columns {
		out[i] = c.head
	}
	return out
}

func (p *paper) tallest(columns []column, cells []string) int {
	n := 1
	for i, c := range columns {
		n = max(n, len(p.broken(cells[i], body, c.width-2)))
	}
	return n
}

func (p *paper) cells(columns []column, cells []string, bold bool) {
	x, n := left, p.tallest(columns, cells)
	for i, c := range columns {
		for k, l := range p.broken(cells[i], body, c.width-2) {
			at := x
			if c.right {
				at = x + c.width - 2 - p.face(body, bold).TextWidth(l)
			}
			p.put(at, p.y-row*float64(k), body, bold, l)
		}
		x += c.width
	}
	p.y -= row * float64(n)
	p.rule(left, p.y+row-1.2, pageWidth-right, p.y+row-1.2, 0.1)
}

// write numbers the pages and writes them as one PDF.
func (p *paper) write(w io.Writer) error {
	out := pdf.New(w, pageWidth, pageHeight, nil)
	for i, c := range p.pages {
		ctx := canvas.NewContext(c)
		ctx.DrawText(pageWidth-right, foot-6, canvas.NewTextLine(p.face(body, false), fmt.Sprintf("%d/%d", i+1, len(p.pages)), canvas.Right))
		if i > 0 {
			out.NewPage(pageWidth, pageHeight)
		}
		c.RenderTo(out)
	}
	return out.Close()
}

// figure prints a number with five significant digits and no exponent where
// it can be helped.
func figure(v float64) string {
	switch a := math.Abs(v); {
	case v == 0:
		return "0"
	case a >= 10_000:
		return fmt.Sprintf("%.0f", v)
	case a >= 1:
		return fmt.Sprintf("%.*f", 4-int(math.Floor(math.Log10(a))), v)
	default:
		return fmt.Sprintf("%.4g", v)
	}
}
