package drawing

import (
	"fmt"
	"image/png"
	"io"
	"math"
	"sync"

	"github.com/tdewolff/canvas"
	"github.com/tdewolff/canvas/renderers/pdf"
	"github.com/tdewolff/canvas/renderers/rasterizer"
	"github.com/tdewolff/canvas/renderers/svg"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

var lettering = sync.OnceValues(func() (*canvas.FontFamily, error) {
	family := canvas.NewFontFamily("sheet")
	if err := family.LoadFont(goregular.TTF, 0, canvas.FontRegular); err != nil {
		return nil, err
	}
	return family, family.LoadFont(gobold.TTF, 0, canvas.FontBold)
})

// capHeight is the height of a capital letter over the size of the font.
const capHeight = 0.72

// pointsPerMM turns millimetres into points of 1/72 inch.
const pointsPerMM = 72 / 25.4

// face is the lettering at a height of its capitals.
func face(family *canvas.FontFamily, heightMM float64, bold bool) *canvas.FontFace {
	style := canvas.FontRegular
	if bold {
		style = canvas.FontBold
	}
	return family.Face(heightMM/capHeight*pointsPerMM, canvas.Black, style, canvas.FontNormal)
}

// measured are the widths of texts that have been measured, for letters 1 mm
// high: the same marks are measured many times while a place is sought for
// them.
var measured struct {
	sync.Mutex
	widths map[lettered]float64
}

type lettered struct {
	text string
	bold bool
}

// mostMeasured is how many are remembered, all sheets together.
const mostMeasured = 100_000

// textWidth is what a text takes on the paper, in millimetres.
func textWidth(s string, heightMM float64, bold bool) float64 {
	family, err := lettering()
	if err != nil {
		return float64(len(s)) * heightMM
	}
	key := lettered{s, bold}
	measured.Lock()
	defer measured.Unlock()
	width, ok := measured.widths[key]
	if !ok {
		width = face(family, 1, bold).TextWidth(s)
		if len(measured.widths) >= mostMeasured || measured.widths == nil {
			measured.widths = map[lettered]float64{}
		}
		measured.widths[key] = width
	}
	return width * heightMM
}

// shades on the paper.
var shades = map[Shade]canvas.Paint{
	Clear: {Color: canvas.Transparent}, Paper: {Color: canvas.White}, Pale: {Color: canvas.Hex("#e6e6e6")},
	Dark: {Color: canvas.Hex("#b4b4b4")}, Ink: {Color: canvas.Black},
}

// paint puts a page on a canvas, its lower left corner at a point.
func (p *Page) paint(ctx *canvas.Context, family *canvas.FontFamily, x, y float64) {
	ctx.Push()
	defer ctx.Pop()
	ctx.ComposeView(canvas.Identity.Translate(x, y))
	ctx.SetFillColor(canvas.White)
	ctx.SetStrokeColor(canvas.Transparent)
	ctx.DrawPath(0, 0, canvas.Rectangle(p.WidthMM, p.HeightMM))
	for _, item := range p.Items {
		switch {
		case item.Line != nil:
			stroke(ctx, path(item.Line.Points, item.Line.Closed), item.Line.Weight, item.Line.Kind, item.Line.Fill)
		case item.Round != nil:
			stroke(ctx, item.Round.path(), item.Round.Weight, Solid, item.Round.Fill)
		default:
			write(ctx, family, *item.Text)
		}
	}
}

func path(points []Point, closed bool) *canvas.Path {
	p := &canvas.Path{}
	for i, q := range points {
		if i == 0 {
			p.MoveTo(q.X, q.Y)
		} else {
			p.LineTo(q.X, q.Y)
		}
	}
	if closed {
		p.Close()
	}
	return p
}

func (r Round) path() *canvas.Path {
	return canvas.Circle(r.Radius).Translate(r.Centre.X, r.Centre.Y)
}

func stroke(ctx *canvas.Context, p *canvas.Path, w Weight, k Kind, fill Shade) {
	ctx.SetFill(shades[fill])
	ctx.SetStrokeColor(canvas.Black)
	if w == 0 {
		ctx.SetStrokeColor(canvas.Transparent)
	}
	ctx.SetStrokeWidth(float64(w))
	var dashes []float64
	for _, l := range k.parts() {
		dashes = append(dashes, l*float64(w))
	}
	ctx.SetDashes(0, dashes...)
	ctx.DrawPath(0, 0, p)
	ctx.SetDashes(0)
}

func write(ctx *canvas.Context, family *canvas.FontFamily, t Text) {
	align := canvas.Left
	if t.Centred {
		align = canvas.Center
	}
	ctx.Push()
	ctx.ComposeView(canvas.Identity.Translate(t.At.X, t.At.Y).Rotate(t.Degrees))
	ctx.DrawText(0, 0, canvas.NewTextLine(face(family, t.HeightMM, t.Bold), t.Value, align))
	ctx.Pop()
}

// stack puts pages below each other on one canvas.
func (s *Sheet) stack(pages []*Page) (*canvas.Canvas, error) {
	family, err := lettering()
	if err != nil {
		return nil, fmt.Errorf("load the lettering: %w", err)
	}
	height := s.HeightMM * float64(len(pages))
	c := canvas.New(s.WidthMM, height)
	ctx := canvas.NewContext(c)
	for i, p := range pages {
		p.paint(ctx, family, 0, height-s.HeightMM*float64(i+1))
	}
	return c, nil
}

// PDF writes each page as one of a PDF.
func (s *Sheet) PDF(w io.Writer) error {
	out := pdf.New(w, s.WidthMM, s.HeightMM, nil)
	for i := range s.Pages {
		if i > 0 {
			out.NewPage(s.WidthMM, s.HeightMM)
		}
		c, err := s.stack(s.Pages[i : i+1])
		if err != nil {
			return err
		}
		c.RenderTo(out)
	}
	return out.Close()
}

// SVG writes the pages below each other. The lettering is in the file: another
// one would not keep to the places that were measured for it.
func (s *Sheet) SVG(w io.Writer) error {
	c, err := s.stack(s.Pages)
	if err != nil {
		return err
	}
	out := svg.New(w, s.WidthMM, c.H, &svg.Options{EmbedFonts: true, SizeUnits: "mm"})
	c.RenderTo(out)
	return out.Close()
}

// Limits of a picture: dots to a millimetre at which the smallest lettering can
// be read, at best and at least, and dots in all.
const (
	bestDots, leastDots = 6.0, 4.0
	mostDots            = 60e6
)

// PNG writes the pages below each other as one picture. What is more than a
// picture can hold is left out; every page says how many there are.
func (s *Sheet) PNG(w io.Writer) error {
	area := s.WidthMM * s.HeightMM
	pages := s.Pages[:min(len(s.Pages), int(mostDots/(leastDots*leastDots*area)))]
	dots := math.Min(bestDots, math.Sqrt(mostDots/(area*float64(len(pages)))))
	c, err := s.stack(pages)
	if err != nil {
		return err
	}
	return png.Encode(w, rasterizer.Draw(c, canvas.DPMM(dots), canvas.DefaultColorSpace))
}
