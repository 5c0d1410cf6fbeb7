package drawing

import (
	"fmt"
	"math"
	"strings"

	"spanyard.example/services/layout/internal/design"
)

// The table of rooms: distances of its base lines and its air.
const (
	headRowMM = 5.2
	rowMM     = 3.9
	airMM     = 2.0
	padMM     = 3.0
)

// entry is a room's part of the table: its number in the laying order, its
// name, and what there is to say.
type entry struct {
	number, head string
	lines        []string
}

func (e *entry) paragraph(text string) {
	e.lines = append(e.lines, wrapTo(text, labelMM, tableMM-2*padMM)...)
}

func (e entry) height() float64 { return headRowMM + rowMM*float64(len(e.lines)) + airMM }

// table lists the rooms of a page in the order of laying.
func (d *draughtsman) table(t tile) {
	var entries []entry
	for _, r := range t.rooms {
		entries = append(entries, d.entry(r))
	}
	d.tabulate("Rooms on this sheet, in the order of laying", entries)
}

// tableHeight is what a tile's rooms take of a page's table.
func (b *book) tableHeight(t tile) float64 {
	sum := headRowMM + 2*airMM
	for _, r := range t.rooms {
		sum += b.entry(r).height()
	}
	return sum
}

// entry tells all that a crew needs to know of a room.
func (b *book) entry(room int) entry {
	r := b.plan.Rooms[room]
	e := entry{number: fmt.Sprint(b.order(room)), head: title(r)}
	if r.Refused != nil || len(r.Beams) == 0 {
		e.head = strings.TrimSpace(r.Room.ID+" "+nameOf(r)) + ": NOT LAID"
		e.paragraph(why(r))
		return e
	}
	for _, run := range alike(r.Beams) {
		e.paragraph(beamsLine(r, run[0], run[1]))
	}
	e.paragraph(blocksLine(r))
	// The place on the paper cancels out: a site of a page that is not drawn.
	one := &draughtsman{book: b, page: &Page{Scale: 1}}
	for _, l := range one.site(r).setOutLines() {
		e.paragraph(l)
	}
	for _, t := range r.Trimmers {
		e.paragraph(fmt.Sprintf("Trimmer %s %s: 1 of %s m", number(t.Mark), t.Name, metres(t.LengthMM)))
	}
	if m2 := r.Layout.FillMM2 / 1e6; m2 >= 0.005 {
		e.paragraph(fmt.Sprintf("To be made good on site: %.2f m2", m2))
	}
	return e
}

// beamsLine tells a stretch of equal beams.
func beamsLine(r design.RoomPlan, first, last int) string {
	b := r.Beams[first]
	text := fmt.Sprintf("%s %s %s: %d of %s m", marksLine(r, first, last), b.Profile, b.Pattern, last-first+1, metres(b.LengthMM))
	switch b.PerRow {
	case 2:
		text += ", laid double"
	case 3:
		text += ", laid triple"
	}
	return text
}

func marksLine(r design.RoomPlan, first, last int) string {
	if first == last {
		return number(r.Beams[first].Mark)
	}
	return number(r.Beams[first].Mark) + " to " + number(r.Beams[last].Mark)
}

func blocksLine(r design.RoomPlan) string {
	whole, cut, filler := 0, 0, 0
	for _, b := range r.Layout.Bays {
		if b.Filler {
			filler += b.Whole + b.Cut
			continue
		}
		whole, cut = whole+b.Whole, cut+b.Cut
	}
	text := fmt.Sprintf("Blocks %s: %d whole", r.Kit.Block, whole)
	if cut > 0 {
		text += fmt.Sprintf(", %d cut short", cut)
	}
	if filler > 0 {
		text += fmt.Sprintf(", %d cut for filler bays", filler)
	}
	return text
}

// tabulate writes entries into the column beside the field; those that find no
// room there go on on a later page.
func (d *draughtsman) tabulate(heading string, entries []entry) {
	left := d.page.WidthMM - margin - tableMM
	top := d.page.HeightMM - margin
	d.line(Point{X: left, Y: margin + bandMM}, Point{X: left, Y: top}, Broad, Solid, layerTable)
	rest := d.column(left, heading, entries)
	if len(rest) > 0 {
		d.over = append(d.over, rest...)
	}
}

// column writes as many entries as there is room for and returns the others.
func (d *draughtsman) column(left float64, heading string, entries []entry) []entry {
	const goesOn = 4.5
	y := d.page.HeightMM - margin - headRowMM
	d.text(Text{Value: heading, At: Point{X: left + padMM, Y: y}, HeightMM: labelMM, Bold: true, Layer: layerTable})
	y -= airMM
	for i, e := range entries {
		if y-e.height() < margin+bandMM+goesOn {
			if d.page.Kind != TablePage {
				d.text(Text{Value: "The other rooms: on the last sheets", At: Point{X: left + padMM, Y: margin + bandMM + 1.4}, HeightMM: labelMM, Bold: true, Layer: layerTable})
			}
			return entries[i:]
		}
		d.line(Point{X: left, Y: y}, Point{X: left + tableMM, Y: y}, Thin, Solid, layerTable)
		x := left + padMM
		if e.number != "" {
			x += d.numbered(Point{X: x, Y: y - headRowMM + 1}, e.number)
		}
		d.text(Text{Value: shortened(e.head, labelMM, left+tableMM-1-x), At: Point{X: x, Y: y - headRowMM + 1}, HeightMM: labelMM, Bold: true, Layer: layerTable})
		for k, l := range e.lines {
			d.text(Text{Value: l, At: Point{X: left + padMM, Y: y - headRowMM - rowMM*float64(k+1) + 1}, HeightMM: labelMM, Layer: layerTable})
		}
		y -= e.height()
	}
	return nil
}

// numbered writes a number in a ring, as on the plan, and returns the width
// that it takes.
func (d *draughtsman) numbered(at Point, value string) float64 {
	height := labelMM
	if len(value) > 2 {
		height = smallMM
	}
	wide := textWidth(value, height, true)
	radius := math.Max(2.1, wide/2+0.45)
	d.round(Round{Centre: Point{X: at.X + radius, Y: at.Y + labelMM/2}, Radius: radius, Weight: Broad, Layer: layerTable})
	d.text(Text{Value: value, At: Point{X: at.X + radius, Y: at.Y + (labelMM-height)/2}, HeightMM: height, Centred: true, Bold: true, Layer: layerTable})
	return 2*radius + 1.5
}

// continued makes pages of what the columns had no room for.
func (b *book) continued() {
	for len(b.over) > 0 {
		before := len(b.over)
		d := &draughtsman{book: b, page: &Page{Kind: TablePage, WidthMM: b.widthMM, HeightMM: b.heightMM}}
		for left := bind; left+tableMM <= b.widthMM-margin && len(b.over) > 0; left += tableMM {
			b.over = d.column(left, "Rooms, continued", b.over)
			d.line(Point{X: left + tableMM, Y: margin + bandMM}, Point{X: left + tableMM, Y: b.heightMM - margin}, Broad, Solid, layerTable)
		}
		if len(b.over) == before { // one entry longer than a sheet: its beginning has to do
			b.over[0].lines = b.over[0].lines[:min(len(b.over[0].lines), 40)]
			continue
		}
		b.pages = append(b.pages, d.page)
	}
}

// wrapTo breaks a text at spaces to lines of a width, and a word that is
// longer than a line where it has to.
func wrapTo(s string, height, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && textWidth(line+" "+word, height, false) > width {
			lines = append(lines, line)
			line = word
		} else {
			line = strings.TrimSpace(line + " " + word)
		}
		for textWidth(line, height, false) > width && len([]rune(line)) > 1 {
			head := beginning(line, height, width)
			lines, line = append(lines, head), line[len(head):]
		}
	}
	if line == "" {
		return lines
	}
	return append(lines, line)
}

// beginning is the longest beginning of a text that a width takes, one letter
// at least.
func beginning(s string, height, width float64) string {
	letters := []rune(s)
	n := len(letters)
	for n > 1 && textWidth(string(letters[:n]), height, false) > width {
		n--
	}
	return string(letters[:n])
}

// shortened cuts a text to a width and says so with dots.
func shortened(s string, height, width float64) string {
	if textWidth(s, height, true) <= width {
		return s
	}
	letters := []rune(s)
	for len(letters) > 0 && textWidth(string(letters)+"...", height, true) > width {
		letters = letters[:len(letters)-1]
	}
	return string(letters) + "..."
}
