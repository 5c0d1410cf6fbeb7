package drawing

import (
	"fmt"
	"math"
	"strings"
)

// caution stands on every sheet.
const caution = "CAUTION. Heavy concrete can kill: nobody stands under a lift; beams are carried near both ends, right way up. " +
	"The structural design has to be checked and signed by a licensed engineer under the local code. " +
	"The floor is not loaded before it is finished as the plan says."

// band draws frame, legend, scale bar, caution and title block at the foot.
func (d *draughtsman) band(number, of int) {
	d.frame()
	d.legend()
	d.title(number, of)
}

func (d *draughtsman) frame() {
	w, h := d.page.WidthMM, d.page.HeightMM
	d.rectangle(Point{X: bind, Y: margin}, Point{X: w - margin, Y: h - margin}, Thick)
	d.line(Point{X: bind, Y: margin + bandMM}, Point{X: w - margin, Y: margin + bandMM}, Broad, Solid, layerFrame)
	d.line(Point{X: w - margin - titleMM, Y: margin}, Point{X: w - margin - titleMM, Y: margin + bandMM}, Broad, Solid, layerFrame)
}

func (d *draughtsman) rectangle(a, b Point, w Weight) {
	d.add(Line{Points: []Point{a, {X: b.X, Y: a.Y}, b, {X: a.X, Y: b.Y}}, Closed: true, Weight: w, Layer: layerFrame})
}

// sample of the legend: what is drawn at a place, and what it means.
type sample struct {
	draw func(x, y float64)
	text string
}

// sampleMM is the length of a sample.
const sampleMM = 12.0

// samples of all that a plan shows; y is the base line of the words.
func (d *draughtsman) samples() []sample {
	stroke := func(w Weight, k Kind) func(x, y float64) {
		return func(x, y float64) {
			d.line(Point{X: x, Y: y + 1}, Point{X: x + sampleMM, Y: y + 1}, w, k, layerFrame)
		}
	}
	bar := func(x, y float64, fill Shade) {
		d.add(Line{Points: []Point{{X: x, Y: y}, {X: x + sampleMM, Y: y}, {X: x + sampleMM, Y: y + 1.6}, {X: x, Y: y + 1.6}}, Closed: true, Weight: Broad, Fill: fill, Layer: layerFrame})
	}
	return []sample{
		{stroke(Thick, Solid), "edge on which beams bear"},
		{stroke(Broad, Solid), "other edge of the room"},
		{stroke(Broad, Dashed), "edge without a wall"},
		{stroke(Bold, Dashed), "partition on the floor"},
		{func(x, y float64) { bar(x, y+0.4, Pale) }, "beam with mark and length"},
		{func(x, y float64) { bar(x, y-0.4, Dark); bar(x, y+1.2, Dark) }, "beams side by side: 2x, 3x"},
		{d.sampleFiller, "filler: blocks cut lengthwise"},
		{func(x, y float64) {
			d.text(Text{Value: "8+2", At: Point{X: x + 3, Y: y}, HeightMM: labelMM, Layer: layerFrame})
		}, "bay of 8 whole blocks, 2 cut"},
		{d.sampleOpening, "opening; thick edge: trimmer"},
		{d.sampleOrder, "laying order; lay this way"},
		{d.sampleSize, "clear sizes; middles of rows"},
		{func(x, y float64) {
			d.line(Point{X: x, Y: y}, Point{X: x + sampleMM, Y: y + 2.4}, Thin, Dashed, layerFrame)
			d.line(Point{X: x, Y: y + 2.4}, Point{X: x + sampleMM, Y: y}, Thin, Dashed, layerFrame)
		}, "room that is NOT LAID"},
	}
}

func (d *draughtsman) sampleFiller(x, y float64) {
	d.line(Point{X: x, Y: y}, Point{X: x + sampleMM, Y: y}, Broad, Solid, layerFrame)
	d.line(Point{X: x, Y: y + 2.2}, Point{X: x + sampleMM, Y: y + 2.2}, Broad, Solid, layerFrame)
	for at := x; at < x+sampleMM-2.2; at += 1.4 {
		d.line(Point{X: at, Y: y}, Point{X: at + 2.2, Y: y + 2.2}, Thin, Solid, layerFrame)
	}
}

func (d *draughtsman) sampleOpening(x, y float64) {
	ring := []Point{{X: x, Y: y - 0.4}, {X: x + sampleMM, Y: y - 0.4}, {X: x + sampleMM, Y: y + 2.6}, {X: x, Y: y + 2.6}}
	d.add(Line{Points: ring, Closed: true, Weight: Broad, Layer: layerFrame})
	d.line(ring[0], ring[2], Thin, Solid, layerFrame)
	d.line(ring[1], ring[3], Thin, Solid, layerFrame)
	d.line(ring[0], ring[3], Thick, Solid, layerFrame)
}

func (d *draughtsman) sampleOrder(x, y float64) {
	d.round(Round{Centre: Point{X: x + 2.1, Y: y + 1.2}, Radius: 2.1, Weight: Broad, Layer: layerFrame})
	d.text(Text{Value: "3", At: Point{X: x + 2.1, Y: y}, HeightMM: labelMM, Centred: true, Bold: true, Layer: layerFrame})
	d.arrow(Point{X: x + 4.4, Y: y + 1.2}, Point{X: x + sampleMM, Y: y + 1.2}, layerFrame)
}

func (d *draughtsman) sampleSize(x, y float64) {
	d.line(Point{X: x, Y: y + 1.2}, Point{X: x + sampleMM, Y: y + 1.2}, Thin, Solid, layerFrame)
	for _, at := range []float64{0, 4, 8, sampleMM} {
		d.line(Point{X: x + at - 0.8, Y: y + 0.4}, Point{X: x + at + 0.8, Y: y + 2}, Broad, Solid, layerFrame)
	}
}

func (d *draughtsman) legend() {
	left, top := bind+4, margin+bandMM-6
	right := d.page.WidthMM - margin - titleMM - 4
	const rows, apart = 4, 5.4
	samples := d.samples()
	column := math.Min((right-left)/float64(len(samples)/rows), 78)
	for i, s := range samples {
		x, y := left+column*float64(i/rows), top-apart*float64(i%rows)
		s.draw(x, y)
		d.text(Text{Value: s.text, At: Point{X: x + sampleMM + 2.5, Y: y}, HeightMM: labelMM, Layer: layerFrame})
	}
	y := top - apart*rows
	if d.page.Scale > 0 {
		d.scaleBar(Point{X: left, Y: y - 1})
	}
	for i, l := range wrapTo(strings.TrimSpace(d.options.Note+" "+caution), labelMM, math.Min(right-left, 220)) {
		d.text(Text{Value: l, At: Point{X: left, Y: y - 8.5 - rowMM*float64(i)}, HeightMM: labelMM, Layer: layerFrame})
	}
	if n := d.options.NorthDegrees; n != nil && d.page.Scale > 0 {
		d.north(Point{X: bind + 14, Y: d.page.HeightMM - margin - 14}, *n)
	}
}

// scaleBar is five lengths of a round number of metres.
func (d *draughtsman) scaleBar(at Point) {
	step := float64(d.page.Scale) / 1000 * 10 // metres for 10 mm of paper
	for i := range 5 {
		x := at.X + 10*float64(i)
		fill := Clear
		if i%2 == 0 {
			fill = Ink
		}
		d.add(Line{Points: []Point{{X: x, Y: at.Y}, {X: x + 10, Y: at.Y}, {X: x + 10, Y: at.Y + 1.6}, {X: x, Y: at.Y + 1.6}}, Closed: true, Weight: Broad, Fill: fill, Layer: layerFrame})
	}
	text := fmt.Sprintf("0 to %g m at 1:%d. Lengths of beams and trimmers in m, all other sizes in mm.", step*5, d.page.Scale)
	d.text(Text{Value: text, At: Point{X: at.X + 54, Y: at.Y - 0.4}, HeightMM: labelMM, Layer: layerFrame})
}

// north is an arrow in the corner of the field, on cleared ground.
func (d *draughtsman) north(at Point, degrees float64) {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	d.round(Round{Centre: at, Radius: 9.5, Weight: Thin, Fill: Paper, Layer: layerFrame})
	d.arrow(Point{X: at.X - 6.5*cos, Y: at.Y - 6.5*sin}, Point{X: at.X + 3*cos, Y: at.Y + 3*sin}, layerFrame)
	d.text(Text{Value: "N", At: Point{X: at.X + 6*cos, Y: at.Y + 6*sin - tagMM/2}, HeightMM: tagMM, Centred: true, Bold: true, Layer: layerFrame})
}

// title draws the title block with the fields of ISO 7200.
func (d *draughtsman) title(number, of int) {
	x0, y := d.page.WidthMM-margin-titleMM, margin
	const tall = bandMM / 4
	field := func(column, row, wide float64, name, value string, size float64) {
		a := Point{X: x0 + column, Y: y + tall*row}
		d.rectangle(a, Point{X: a.X + wide, Y: a.Y + tall}, Thin)
		d.text(Text{Value: name, At: Point{X: a.X + 1.2, Y: a.Y + tall - 3.2}, HeightMM: smallMM, Layer: layerFrame})
		for size > labelMM && textWidth(value, size, false) > wide-3 {
			size = labelMM
		}
		lines := wrapTo(value, size, wide-3)
		if len(lines) > 2 {
			lines = append(lines[:1], shortened(lines[1]+" "+lines[2], size, wide-3))
		}
		for i, l := range lines {
			d.text(Text{Value: l, At: Point{X: a.X + 1.5, Y: a.Y + 1.6 + (size+1.3)*float64(len(lines)-1-i)}, HeightMM: size, Layer: layerFrame})
		}
	}
	f, o := d.plan.Floor, d.options
	job := f.JobName
	if job == "" {
		job = f.Job
	}
	kind, scale := "Laying plan", fmt.Sprintf("1:%d", d.page.Scale)
	switch d.page.Kind {
	case KeyPage:
		kind = "Laying plan: key"
	case TablePage:
		kind, scale = "Laying plan: rooms", "-"
	}
	drawnBy := o.DrawnBy
	if drawnBy == "" {
		drawnBy = "Spanyard"
	}
	field(0, 3, 90, "Title", "Beams and blocks, floor "+f.Floor, 3.5)
	field(90, 3, 45, "Document type", kind, 3.5)
	field(135, 3, 45, "Identification number", f.Job+"/"+f.Floor, 3.5)
	field(0, 2, 90, "Job", job, 3.5)
	field(90, 2, 90, "Legal owner", o.Owner, 3.5)
	field(0, 1, 90, "Contents of all sheets", d.contents(), labelMM)
	field(90, 1, 45, "Created by", drawnBy, labelMM)
	field(135, 1, 45, "Approved by", o.ApprovedBy, labelMM)
	field(0, 0, 90, "Checked and signed under the local code (licensed engineer)", "", labelMM)
	field(90, 0, 20, "Scale", scale, 3.5)
	field(110, 0, 20, "Revision", o.Revision, 3.5)
	field(130, 0, 30, "Date of issue", o.Date, 3.5)
	field(160, 0, 20, "Sheet", fmt.Sprintf("%d/%d", number, of), 3.5)
}

// contents counts what is laid and what is not.
func (d *draughtsman) contents() string {
	laid, refused, beams := 0, 0, 0
	for _, r := range d.plan.Rooms {
		if r.Refused != nil {
			refused++
			continue
		}
		laid++
		beams += len(r.Beams)
	}
	s := fmt.Sprintf("%d rooms laid with %d beams, each checked by EN 1992-1-1", laid, beams)
	if refused > 0 {
		s += fmt.Sprintf("; %d rooms NOT LAID", refused)
	}
	return s
}
