package drawing

import (
	"fmt"
	"math"
)

// layerClear is filled with the paper's colour and drawn before what lies on
// it.
const layerClear = "CLEAR"

// caution stands on every sheet.
const caution = "CAUTION. Heavy concrete can kill: nobody stands under a lift; beams are carried near both ends, right way up. " +
	"The structural design has to be checked and signed by a licensed engineer under the local code. " +
	"The floor is not loaded before it is finished as the plan says."

// band draws legend, scale bar, caution and title block at the foot.
func (d *draughtsman) band() {
	d.legend()
	d.title()
}

func (d *draughtsman) legend() {
	left, top := bind+4, margin+bandMM-5
	right := d.sheet.WidthMM - margin - titleMM - 4
	type entry struct {
		draw func(x, y float64)
		text string
	}
	stroke := func(w Weight, dashed bool) func(x, y float64) {
		return func(x, y float64) { d.line(Point{x, y + 1}, Point{x + 12, y + 1}, w, dashed, layerFrame) }
	}
	box := func(x, y float64) {
		d.add(Line{Points: []Point{{x, y}, {x + 12, y}, {x + 12, y + 2.2}, {x, y + 2.2}}, Closed: true, Weight: Broad, Layer: layerFrame})
	}
	entries := []entry{
		{stroke(Thick, false), "edge of supporting wall"},
		{box, "beam; its mark and length in m above it"},
		{func(x, y float64) { box(x, y); box(x, y+2.2) }, "beams side by side (double, triple row)"},
		{stroke(Broad, true), "partition on the floor"},
		{func(x, y float64) {
			box(x, y)
			d.line(Point{x, y}, Point{x + 12, y + 2.2}, Thin, false, layerFrame)
			d.line(Point{x, y + 2.2}, Point{x + 12, y}, Thin, false, layerFrame)
		}, "opening; thick edge: header for cut beams"},
		{func(x, y float64) {
			d.circle(Point{x + 2.2, y + 1.2}, 2.2, layerFrame)
			d.line(Point{x + 6, y + 1}, Point{x + 12, y + 1}, Broad, false, layerFrame)
			d.line(Point{x + 12, y + 1}, Point{x + 10, y + 2}, Broad, false, layerFrame)
			d.line(Point{x + 12, y + 1}, Point{x + 10, y}, Broad, false, layerFrame)
		}, "laying order of rooms; lay in the arrow's way"},
	}
	column := (right - left) / 2
	for i, e := range entries {
		x, y := left+column*float64(i/3), top-6*float64(i%3)-2
		e.draw(x, y)
		for k, l := range wrapTo(e.text, labelMM, column-16) {
			d.text(l, Point{x + 15, y - 3.2*float64(k)}, labelMM, 0, false, layerFrame)
		}
	}
	d.scaleBar(Point{left, top - 24})
	for i, l := range wrapTo(caution, labelMM, right-left) {
		d.text(l, Point{left, top - 30 - 3.6*float64(i)}, labelMM, 0, false, layerFrame)
	}
	if d.options.NorthDegrees != nil {
		d.north(Point{right - 6, top - 8}, *d.options.NorthDegrees*math.Pi/180)
	}
}

// scaleBar is five lengths of a round number of metres.
func (d *draughtsman) scaleBar(at Point) {
	step := float64(d.sheet.Scale) / 1000 * 10 // metres for 10 mm of paper
	for i := range 5 {
		x := at.X + 10*float64(i)
		l := Line{Points: []Point{{x, at.Y}, {x + 10, at.Y}, {x + 10, at.Y + 1.6}, {x, at.Y + 1.6}}, Closed: true, Weight: Broad, Layer: layerFrame}
		d.add(l)
		if i%2 == 0 {
			d.line(Point{x, at.Y + 0.8}, Point{x + 10, at.Y + 0.8}, Thick, false, layerFrame)
		}
	}
	d.text(fmt.Sprintf("0 to %g m   scale 1:%d", step*5, d.sheet.Scale), Point{at.X + 54, at.Y}, labelMM, 0, false, layerFrame)
	if d.sheet.Grouped {
		d.text("Marks by groups: at this scale single marks could not be read.", Point{at.X + 110, at.Y}, labelMM, 0, false, layerFrame)
	}
}

func (d *draughtsman) north(at Point, a float64) {
	s, c := math.Sincos(a)
	tip := Point{at.X + 7*c, at.Y + 7*s}
	d.line(Point{at.X - 7*c, at.Y - 7*s}, tip, Broad, false, layerFrame)
	for _, side := range []float64{2.7, -2.7} {
		s, c := math.Sincos(a + side)
		d.line(tip, Point{tip.X + 3*c, tip.Y + 3*s}, Broad, false, layerFrame)
	}
	d.text("N", Point{tip.X + 3*c, tip.Y + 3*s - 1.2}, 3.5, 0, true, layerFrame)
}

// title draws the title block: the fields of ISO 7200.
func (d *draughtsman) title() {
	x0 := d.sheet.WidthMM - margin - titleMM
	field := func(x, y, width, height float64, name, value string, size float64) {
		d.add(Line{Points: []Point{{x, y}, {x + width, y}, {x + width, y + height}, {x, y + height}}, Closed: true, Weight: Thin, Layer: layerFrame})
		d.text(name, Point{x + 1, y + height - 3.2}, smallest, 0, false, layerFrame)
		if wide := textWidth(value, size); wide > width-3 {
			size = math.Max(smallest, size*(width-3)/wide)
		}
		lines := wrapTo(value, size, width-3)
		for i, l := range lines {
			d.text(l, Point{x + 1.5, y + 1.8 + (size+1)*float64(len(lines)-1-i)}, size, 0, false, layerFrame)
		}
	}
	f, y := d.plan.Floor, margin
	job := f.JobName
	if job == "" {
		job = f.Job
	}
	laid, refused, beams := 0, 0, 0
	for _, r := range d.plan.Rooms {
		if r.Refused != nil {
			refused++
			continue
		}
		laid++
		beams += len(r.Beams)
	}
	state := fmt.Sprintf("Rooms laid: %d; beams: %d, each checked by EN 1992-1-1", laid, beams)
	if refused > 0 {
		state += fmt.Sprintf("; rooms NOT LAID: %d", refused)
	}
	field(x0, y+39, 120, 13, "Title", "Laying plan, floor "+f.Floor, 5)
	field(x0+120, y+39, 60, 13, "Document type", "Laying plan", 3.5)
	field(x0, y+26, 120, 13, "Job", job, 3.5)
	field(x0+120, y+26, 60, 13, "Identification number", f.Job+"/"+f.Floor, 3.5)
	field(x0, y+13, 120, 13, "Contents", state, 3.5)
	field(x0+120, y+13, 30, 13, "Revision", d.options.Revision, 3.5)
	field(x0+150, y+13, 30, 13, "Scale", fmt.Sprintf("1:%d", d.sheet.Scale), 3.5)
	field(x0, y, 60, 13, "Drawn by", "Spanyard", 3.5)
	field(x0+60, y, 60, 13, "Checked and signed by (engineer)", "", 3.5)
	field(x0+120, y, 30, 13, "Date of issue", d.options.Date, 3.5)
	field(x0+150, y, 30, 13, "Sheet", "1/1", 3.5)
}
