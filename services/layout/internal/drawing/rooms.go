package drawing

import (
	"fmt"
	"math"
	"strings"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

func (d *draughtsman) room(r design.RoomPlan) {
	d.ring(r.Room.Shape.Outline, Thick, false, layerWalls)
	for i, h := range r.Room.Shape.Holes {
		if i < len(r.Room.HoleSupports) && r.Room.HoleSupports[i] {
			d.ring(h, Thick, false, layerWalls)
		} else {
			d.opening(h)
		}
	}
	if r.Refused != nil {
		d.refused(r)
		return
	}
	for _, h := range r.Layout.Headers {
		d.line(d.paper(h.From), d.paper(h.To), Thick, false, layerOpening)
	}
	for _, p := range r.Room.Partitions {
		d.line(d.paper(p.From), d.paper(p.To), Broad, true, layerWalls)
	}
	for _, b := range r.Beams {
		d.ring(b.Quad[:], Broad, false, layerBeams)
	}
	if !d.sheet.Grouped {
		d.marks(r)
	}
	d.sizes(r)
}

// opening is a hole in the floor: an outline with its diagonals (ISO 128
// convention for holes).
func (d *draughtsman) opening(h []geometry.Point) {
	d.ring(h, Broad, false, layerOpening)
	low, high := geometry.Polygon{Outline: h}.Bounds()
	d.line(d.paper(low), d.paper(high), Thin, false, layerOpening)
	d.line(d.paper(geometry.Point{X: low.X, Y: high.Y}), d.paper(geometry.Point{X: high.X, Y: low.Y}), Thin, false, layerOpening)
}

// refused crosses a room out and says why.
func (d *draughtsman) refused(r design.RoomPlan) {
	low, high := r.Room.Shape.Bounds()
	d.line(d.paper(low), d.paper(high), Thin, true, layerRefused)
	d.line(d.paper(geometry.Point{X: low.X, Y: high.Y}), d.paper(geometry.Point{X: high.X, Y: low.Y}), Thin, true, layerRefused)
	at := d.paper(heart(r.Room.Shape))
	width := math.Max((high.X-low.X)/float64(d.sheet.Scale)-4, 24)
	lines := append([]string{fmt.Sprintf("%s %s: NOT LAID", r.Room.ID, r.Room.Name)}, wrapTo(r.Refused.Reason+" "+r.Refused.Help, labelMM, width)...)
	if most := int((high.Y - low.Y) / float64(d.sheet.Scale) / 4); len(lines) > max(most, 1) {
		lines = lines[:1] // the schedule has the whole text
	}
	for i, l := range lines {
		d.text(l, Point{at.X, at.Y + 2*float64(len(lines)-1) - 4*float64(i)}, labelMM, 0, true, layerRefused)
	}
}

// heart is a point well inside a room, for its caption: the best of a grid.
func heart(shape geometry.Polygon) geometry.Point {
	low, high := shape.Bounds()
	best, depth := geometry.Point{X: (low.X + high.X) / 2, Y: (low.Y + high.Y) / 2}, -1.0
	const n = 12
	for i := 1; i < n; i++ {
		for j := 1; j < n; j++ {
			p := geometry.Point{X: low.X + (high.X-low.X)*float64(i)/n, Y: low.Y + (high.Y-low.Y)*float64(j)/n}
			if !shape.Contains(p) {
				continue
			}
			away := geometry.DistanceToRing(shape.Outline, p)
			for _, h := range shape.Holes {
				away = math.Min(away, geometry.DistanceToRing(h, p))
			}
			if away > depth+1 {
				best, depth = p, away
			}
		}
	}
	return best
}

// marks writes mark and length along each beam, in the bay beside it: above
// it as one reads, or below where another row is too near.
func (d *draughtsman) marks(r design.RoomPlan) {
	n := float64(d.sheet.Scale)
	frame := geometry.NewFrame(r.Layout.DirectionDegrees)
	taken := map[[2]int]bool{} // bays that have a label, by their places on the paper
	for i, b := range r.Beams {
		if i+1 < len(r.Beams) && r.Beams[i+1].Row == b.Row && sameSpan(b, r.Beams[i+1]) {
			continue // the last of a double or triple row speaks for all
		}
		first := r.Beams[i-b.PerRow+1]
		label := fmt.Sprintf("%s  %.2f", b.Mark, float64(b.LengthMM)/1000)
		if b.PerRow > 1 {
			label = fmt.Sprintf("%s to %s  %dx %.2f", first.Mark, lastPart(b.Mark), b.PerRow, float64(b.LengthMM)/1000)
		}
		if along := float64(b.LengthMM) / n; textWidth(label, labelMM) > along-2 {
			label = lastPart(b.Mark)
			if textWidth(label, labelMM) > along-1 {
				continue // the schedule has it
			}
		}
		below, above := d.gaps(r, frame, first, b)
		direction := r.Layout.DirectionDegrees
		up := upright(direction) * math.Pi / 180
		if math.Abs(upright(direction)-math.Mod(direction+360, 360)) > 1 {
			below, above = above, below // it is read from the other side
		}
		half := r.Kit.WidthMM * float64(b.PerRow) / n / 2
		shift := half + 0.7
		middle := d.paper(geometry.Point{X: (first.Quad[0].X + b.Quad[2].X) / 2, Y: (first.Quad[0].Y + b.Quad[2].Y) / 2})
		place := func(shift float64) (Point, bool) {
			at := Point{middle.X - math.Sin(up)*shift, middle.Y + math.Cos(up)*shift}
			key := [2]int{int(math.Round(at.X / 3)), int(math.Round(at.Y / 3))}
			free := !taken[key]
			taken[key] = true
			return at, free
		}
		if above >= labelMM+1.2 {
			if at, free := place(shift); free {
				d.text(label, at, labelMM, direction, true, layerMarks)
				continue
			}
		}
		if below >= labelMM+1.2 {
			if at, free := place(-half - 0.7 - labelMM); free {
				d.text(label, at, labelMM, direction, true, layerMarks)
			}
		} // else the schedule has it
	}
}

// gaps are the free heights below and above a row of beams, on the paper, to
// the next beams that lie beside them.
func (d *draughtsman) gaps(r design.RoomPlan, frame geometry.Frame, first, last design.Beam) (below, above float64) {
	low, high := frame.In(first.Quad[0]), frame.In(last.Quad[2])
	floor, ceiling := frame.PolygonIn(r.Room.Shape).Bounds()
	below, above = low.Y-floor.Y, ceiling.Y-high.Y
	for _, o := range r.Beams {
		a, b := frame.In(o.Quad[0]), frame.In(o.Quad[2])
		if b.X <= low.X || a.X >= high.X {
			continue
		}
		if a.Y >= high.Y-1 {
			above = math.Min(above, a.Y-high.Y)
		}
		if b.Y <= low.Y+1 {
			below = math.Min(below, low.Y-b.Y)
		}
	}
	return below / float64(d.sheet.Scale), above / float64(d.sheet.Scale)
}

func sameSpan(a, b design.Beam) bool {
	return a.LengthMM == b.LengthMM && b.PerRow > 1 && near(a.Quad[3], b.Quad[0])
}

func near(a, b geometry.Point) bool { return math.Hypot(a.X-b.X, a.Y-b.Y) < 2 }

// lastPart is the number of a mark.
func lastPart(mark string) string {
	for i := len(mark) - 1; i >= 0; i-- {
		if mark[i] == '-' {
			return mark[i+1:]
		}
	}
	return mark
}

// caption names a room, its place in the laying order and what it needs; the
// arrow shows from which wall the crew lays.
func (d *draughtsman) caption(r design.RoomPlan) {
	n := float64(d.sheet.Scale)
	at := d.paper(heart(r.Room.Shape))
	low, high := r.Room.Shape.Bounds()
	wide, tall := (high.X-low.X)/n, (high.Y-low.Y)/n
	lines := []string{strings.TrimSpace(r.Room.ID + " " + r.Room.Name)}
	if r.Room.Name == r.Room.ID {
		lines[0] = r.Room.ID
	}
	whole, cut := 0, 0
	for _, b := range r.Layout.Bays {
		whole, cut = whole+b.Whole, cut+b.Cut
	}
	detail := []string{fmt.Sprintf("%d beams %s, %d blocks", len(r.Beams), r.Kit.Profile, whole+cut), fmt.Sprintf("%s; of them %d cut", r.Kit.Block, cut)}
	if d.sheet.Grouped {
		detail = append(groups(r), detail[0])
	}
	fits := tall > 4.2*float64(len(lines)+len(detail))+orderMM+3
	for _, t := range detail {
		fits = fits && textWidth(t, labelMM) < wide-2
	}
	if fits {
		lines = append(lines, detail...)
	}
	if textWidth(lines[0], labelMM) > wide-2 {
		lines[0] = r.Room.ID
	}
	radius := orderMM * 0.8
	if tall < 4*radius || wide < 2*radius+2 {
		radius = 2.2
	}
	d.arrow(r, heart(r.Room.Shape))
	d.circle(Point{at.X, at.Y + radius}, radius, layerOrder)
	d.text(fmt.Sprint(r.Room.Order), Point{at.X, at.Y + radius - radius*0.45}, radius*0.9, 0, true, layerOrder)
	for i, l := range lines {
		d.plate(l, Point{at.X, at.Y - 3.6 - 4*float64(i)})
	}
}

// plate writes a line on a cleared ground, so that beams do not run through
// it.
func (d *draughtsman) plate(value string, at Point) {
	half := textWidth(value, labelMM)/2 + 0.6
	d.add(Line{Points: []Point{{at.X - half, at.Y - 0.8}, {at.X + half, at.Y - 0.8}, {at.X + half, at.Y + labelMM + 0.6}, {at.X - half, at.Y + labelMM + 0.6}}, Closed: true, Layer: layerClear})
	d.text(value, at, labelMM, 0, true, layerMarks)
}

// groups lists runs of beams of one length: "01 to 07  4.20".
func groups(r design.RoomPlan) []string {
	var out []string
	for i := 0; i < len(r.Beams); {
		j := i
		for j+1 < len(r.Beams) && r.Beams[j+1].LengthMM == r.Beams[i].LengthMM {
			j++
		}
		out = append(out, fmt.Sprintf("%s to %s  %.2f m", r.Beams[i].Mark, lastPart(r.Beams[j].Mark), float64(r.Beams[i].LengthMM)/1000))
		i = j + 1
	}
	return out
}

func (d *draughtsman) circle(c Point, r float64, layer string) {
	const n = 24
	l := Line{Closed: true, Weight: Broad, Layer: layerClear}
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		l.Points = append(l.Points, Point{c.X + r*cos, c.Y + r*sin})
	}
	d.add(l)
	l.Layer = layer
	d.add(l)
}

// arrow runs across the beams beside the caption, from the first row towards
// the last, as far as the room goes there.
func (d *draughtsman) arrow(r design.RoomPlan, heart geometry.Point) {
	frame := geometry.NewFrame(r.Layout.DirectionDegrees)
	n := float64(d.sheet.Scale)
	first, last := frame.In(r.Beams[0].Quad[0]), frame.In(r.Beams[len(r.Beams)-1].Quad[2])
	at := frame.In(heart)
	for _, beside := range []float64{16 * n, -16 * n, 9 * n, -9 * n} {
		x := at.X + beside
		low, high := at.Y, at.Y
		inside := func(y float64) bool { return r.Room.Shape.Contains(frame.Out(geometry.Point{X: x, Y: y})) }
		for low > first.Y && inside(low-n) {
			low -= n
		}
		for high < last.Y && inside(high+n) {
			high += n
		}
		if !inside(at.Y) || (high-low)/n < 8 {
			continue
		}
		from, to := d.paper(frame.Out(geometry.Point{X: x, Y: low})), d.paper(frame.Out(geometry.Point{X: x, Y: high}))
		d.line(from, to, Broad, false, layerOrder)
		a := math.Atan2(to.Y-from.Y, to.X-from.X)
		for _, side := range []float64{2.7, -2.7} {
			s, c := math.Sincos(a + side)
			d.line(to, Point{to.X + 3*c, to.Y + 3*s}, Broad, false, layerOrder)
		}
		return
	}
}

// sizes writes the room's size along and across the beams on the walls'
// inside.
func (d *draughtsman) sizes(r design.RoomPlan) {
	frame := geometry.NewFrame(r.Layout.DirectionDegrees)
	low, high := frame.PolygonIn(r.Room.Shape).Bounds()
	n := float64(d.sheet.Scale)
	if (high.X-low.X)/n < 16 || (high.Y-low.Y)/n < 12 {
		return
	}
	inset := 2.2 * n
	put := func(a, b geometry.Point, length float64) {
		p, q := d.paper(frame.Out(a)), d.paper(frame.Out(b))
		d.line(p, q, Thin, false, layerSizes)
		angle := math.Atan2(q.Y-p.Y, q.X-p.X)
		for _, end := range []Point{p, q} {
			s, c := math.Sincos(angle + math.Pi/4)
			d.line(Point{end.X - 1.2*c, end.Y - 1.2*s}, Point{end.X + 1.2*c, end.Y + 1.2*s}, Broad, false, layerSizes)
		}
		up := upright(angle*180/math.Pi) * math.Pi / 180
		at := Point{p.X + (q.X-p.X)*0.2 - 0.6*math.Sin(up), p.Y + (q.Y-p.Y)*0.2 + 0.6*math.Cos(up)}
		d.text(fmt.Sprintf("%.0f", length), at, labelMM, angle*180/math.Pi, true, layerSizes)
	}
	put(geometry.Point{X: low.X, Y: low.Y + inset}, geometry.Point{X: high.X, Y: low.Y + inset}, high.X-low.X)
	put(geometry.Point{X: low.X + inset, Y: low.Y}, geometry.Point{X: low.X + inset, Y: high.Y}, high.Y-low.Y)
}
