package drawing

import (
	"fmt"
	"image/png"
	"io"
	"sync"

	"github.com/tdewolff/canvas"
	"github.com/tdewolff/canvas/renderers/pdf"
	"github.com/tdewolff/canvas/renderers/rasterizer"
	"github.com/tdewolff/canvas/renderers/svg"
	"golang.org/x/image/font/gofont/goregular"

	"spanyard.example/services/layout/internal/dxf"
)

var lettering = sync.OnceValues(func() (*canvas.FontFamily, error) {
	family := canvas.NewFontFamily("sheet")
	err := family.LoadFont(goregular.TTF, 0, canvas.FontRegular)
	return family, err
})

// capHeight is the height of a capital letter over the size of the font.
const capHeight = 0.72

// pointsPerMM turns millimetres into points of 1/72 inch.
const pointsPerMM = 72 / 25.4

// paint puts the sheet on a canvas.
func (s *Sheet) paint() (*canvas.Canvas, error) {
	family, err := lettering()
	if err != nil {
		return nil, fmt.Errorf("load the lettering: %w", err)
	}
	c := canvas.New(s.WidthMM, s.HeightMM)
	ctx := canvas.NewContext(c)
	ctx.SetFillColor(canvas.White)
	ctx.SetStrokeColor(canvas.Transparent)
	ctx.DrawPath(0, 0, canvas.Rectangle(s.WidthMM, s.HeightMM))
	for _, item := range s.Items {
		if item.Line != nil {
			stroke(ctx, *item.Line)
		} else {
			write(ctx, family, *item.Text)
		}
	}
	return c, nil
}

func stroke(ctx *canvas.Context, l Line) {
	p := &canvas.Path{}
	for i, q := range l.Points {
		if i == 0 {
			p.MoveTo(q.X, q.Y)
		} else {
			p.LineTo(q.X, q.Y)
		}
	}
	if l.Closed {
		p.Close()
	}
	ctx.SetFillColor(canvas.Transparent)
	ctx.SetStrokeColor(canvas.Black)
	ctx.SetStrokeWidth(float64(l.Weight))
	ctx.SetDashes(0)
	if l.Dashed {
		ctx.SetDashes(0, 3, 1.5)
	}
	if l.Layer == layerClear {
		ctx.SetFillColor(canvas.White)
		ctx.SetStrokeColor(canvas.Transparent)
	}
	ctx.DrawPath(0, 0, p)
}

func write(ctx *canvas.Context, family *canvas.FontFamily, t Text) {
	align := canvas.Left
	if t.Centred {
		align = canvas.Center
	}
	ctx.Push()
	ctx.ComposeView(canvas.Identity.Translate(t.At.X, t.At.Y).Rotate(t.Degrees))
	ctx.DrawText(0, 0, canvas.NewTextLine(face(family, t.HeightMM), t.Value, align))
	ctx.Pop()
}

// face is the lettering at a height of its capitals.
func face(family *canvas.FontFamily, heightMM float64) *canvas.FontFace {
	return family.Face(heightMM/capHeight*pointsPerMM, canvas.Black, canvas.FontRegular, canvas.FontNormal)
}

// textWidth is what a text takes on the paper, in millimetres.
func textWidth(s string, heightMM float64) float64 {
	family, err := lettering()
	if err != nil {
		return float64(len(s)) * heightMM
	}
	return face(family, heightMM).TextWidth(s)
}

// PDF writes the sheet as PDF.
func (s *Sheet) PDF(w io.Writer) error {
	c, err := s.paint()
	if err != nil {
		return err
	}
	out := pdf.New(w, s.WidthMM, s.HeightMM, nil)
	c.RenderTo(out)
	return out.Close()
}

// SVG writes the sheet as SVG; texts name a font and do not carry it.
func (s *Sheet) SVG(w io.Writer) error {
	c, err := s.paint()
	if err != nil {
		return err
	}
	out := svg.New(w, s.WidthMM, s.HeightMM, &svg.Options{EmbedFonts: false})
	c.RenderTo(out)
	return out.Close()
}

// dotsPerMM of a picture: enough to read the smallest lettering.
const dotsPerMM = 6

// PNG writes the sheet as a picture.
func (s *Sheet) PNG(w io.Writer) error {
	c, err := s.paint()
	if err != nil {
		return err
	}
	return png.Encode(w, rasterizer.Draw(c, canvas.DPMM(dotsPerMM), canvas.DefaultColorSpace))
}

// DXF writes the sheet in millimetres of the building, not of the paper: what
// is measured in it is the floor's own size.
func (s *Sheet) DXF(w io.Writer) error {
	n := float64(s.Scale)
	var d dxf.Written
	model := func(p Point) dxf.Point {
		return dxf.Point{X: s.origin.X + (p.X-s.offset.X)*n, Y: s.origin.Y + (p.Y-s.offset.Y)*n}
	}
	for _, item := range s.Items {
		if t := item.Text; t != nil {
			d.Texts = append(d.Texts, dxf.WrittenText{
				Text: dxf.Text{Value: t.Value, Layer: t.Layer, At: model(t.At)}, Height: t.HeightMM * n, Degrees: t.Degrees, Centred: t.Centred,
			})
			continue
		}
		if item.Line.Layer == layerClear {
			continue
		}
		p := dxf.Path{Layer: item.Line.Layer, Closed: item.Line.Closed}
		for _, q := range item.Line.Points {
			p.Points = append(p.Points, model(q))
		}
		d.Paths = append(d.Paths, p)
	}
	return dxf.Write(w, d)
}
