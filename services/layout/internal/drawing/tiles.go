package drawing

import (
	"fmt"
	"math"
	"slices"

	"spanyard.example/services/layout/internal/geometry"
)

// tile is a group of rooms that are drawn on one page, with their bounds on
// the floor.
type tile struct {
	window
	rooms []int
	scale int
}

// wallMM is left around the rooms of a tile for the ends of beams.
const wallMM = 300

// tile groups rooms and finds the largest scale at which the field holds them.
func (b *book) tile(rooms []int) tile {
	t := tile{rooms: rooms, window: window{Point{X: math.Inf(1), Y: math.Inf(1)}, Point{X: math.Inf(-1), Y: math.Inf(-1)}}}
	for _, r := range rooms {
		low, high := b.plan.Rooms[r].Room.Shape.Bounds()
		t.low = Point{X: math.Min(t.low.X, low.X-wallMM), Y: math.Min(t.low.Y, low.Y-wallMM)}
		t.high = Point{X: math.Max(t.high.X, high.X+wallMM), Y: math.Max(t.high.Y, high.Y+wallMM)}
	}
	t.scale = scales[len(scales)-1]
	for _, n := range scales {
		if x, y := b.overshoot(t.window, n); x <= 1 && y <= 1 {
			t.scale = n
			break
		}
	}
	return t
}

// overshoot is the size of a window at a scale over that of the field.
func (b *book) overshoot(w window, scale int) (x, y float64) {
	f, n := b.field(), float64(scale)
	const air = 6
	return (w.high.X - w.low.X) / n / (f.high.X - f.low.X - air), (w.high.Y - w.low.Y) / n / (f.high.Y - f.low.Y - air)
}

// divide groups the rooms into as few legible pages as a simple cutting finds:
// halves of halves until each fits, then neighbours together again as far as
// they fit. A single room that is too large gets a smaller scale.
func (b *book) divide(rooms []int) []tile {
	whole := b.tile(rooms)
	if whole.scale <= b.legible {
		return []tile{whole}
	}
	tiles := b.merge(b.cut(whole))
	for i := range tiles {
		slices.SortStableFunc(tiles[i].rooms, func(x, y int) int { return b.order(x) - b.order(y) })
		tiles[i].scale = max(tiles[i].scale, b.legible)
	}
	slices.SortStableFunc(tiles, func(x, y tile) int { return b.order(x.rooms[0]) - b.order(y.rooms[0]) })
	return tiles
}

func (b *book) cut(t tile) []tile {
	if t.scale <= b.legible || len(t.rooms) == 1 {
		return []tile{t}
	}
	x, y := b.overshoot(t.window, b.legible)
	along := func(room int) float64 {
		low, high := b.plan.Rooms[room].Room.Shape.Bounds()
		if x >= y {
			return low.X + high.X
		}
		return low.Y + high.Y
	}
	sorted := slices.Clone(t.rooms)
	slices.SortStableFunc(sorted, func(i, j int) int {
		switch a, b := along(i), along(j); {
		case a < b:
			return -1
		case a > b:
			return 1
		}
		return i - j
	})
	half := t.low.X + t.high.X
	if x < y {
		half = t.low.Y + t.high.Y
	}
	at := 0
	for at < len(sorted) && along(sorted[at]) < half {
		at++
	}
	if at == 0 || at == len(sorted) {
		at = len(sorted) / 2
	}
	return append(b.cut(b.tile(sorted[:at])), b.cut(b.tile(sorted[at:]))...)
}

func (b *book) merge(tiles []tile) []tile {
	for i := 0; i < len(tiles); i++ {
		for k := i + 1; k < len(tiles); k++ {
			both := b.tile(slices.Concat(tiles[i].rooms, tiles[k].rooms))
			if both.scale <= b.legible {
				tiles[i] = both
				tiles = slices.Delete(tiles, k, k+1)
				k = i
			}
		}
	}
	return tiles
}

// beside draws the rooms of another page thin, as far as they are in the field.
func (d *draughtsman) beside(other tile, sheet int) {
	f := d.field()
	for _, r := range other.rooms {
		ring := d.papers(d.plan.Rooms[r].Room.Shape.Outline)
		note := Text{Value: fmt.Sprintf("%s: sheet %d", d.plan.Rooms[r].Room.ID, sheet), HeightMM: labelMM, Layer: layerBeside}
		shape := geometry.Polygon{Outline: ring}
		at := heart(shape)
		if q := plateBox(note, at); fitsIn(shape, q) && f.holds(q) {
			d.plate(note, at)
		}
		for i, a := range ring {
			if p, q, ok := f.clip(a, ring[(i+1)%len(ring)]); ok {
				d.line(p, q, Thin, TwoDots, layerBeside)
			}
		}
	}
}

// holds says that a box lies wholly in the window.
func (w window) holds(q geometry.Quad) bool {
	for _, p := range q {
		if p.X < w.low.X || p.X > w.high.X || p.Y < w.low.Y || p.Y > w.high.Y {
			return false
		}
	}
	return true
}

// clip cuts a segment to the window (Liang and Barsky's way: the parameters at
// which it enters and leaves each side).
func (w window) clip(a, b Point) (Point, Point, bool) {
	from, to := 0.0, 1.0
	for _, side := range [4][2]float64{
		{a.X - b.X, a.X - w.low.X}, {b.X - a.X, w.high.X - a.X},
		{a.Y - b.Y, a.Y - w.low.Y}, {b.Y - a.Y, w.high.Y - a.Y},
	} {
		switch step, room := side[0], side[1]; {
		case step == 0 && room < 0:
			return a, b, false
		case step < 0:
			from = math.Max(from, room/step)
		case step > 0:
			to = math.Min(to, room/step)
		}
	}
	at := func(t float64) Point { return Point{X: a.X + (b.X-a.X)*t, Y: a.Y + (b.Y-a.Y)*t} }
	return at(from), at(to), from < to
}

// key is the first page of several: the whole floor in outline, which sheet
// shows which rooms, and the order of laying.
func (b *book) key(tiles []tile) {
	var all []int
	for _, t := range tiles {
		all = append(all, t.rooms...)
	}
	whole := b.tile(all)
	d := b.page(KeyPage, whole)
	var entries []entry
	for i, t := range tiles {
		frame := d.papers([]geometry.Point{t.low, {X: t.high.X, Y: t.low.Y}, t.high, {X: t.low.X, Y: t.high.Y}})
		d.add(Line{Points: frame, Closed: true, Weight: Broad, Kind: Dashed, Layer: layerKey})
		e := entry{head: fmt.Sprintf("Sheet %d", i+2)}
		names := ""
		for _, r := range t.rooms {
			ring := d.papers(b.plan.Rooms[r].Room.Shape.Outline)
			d.add(Line{Points: ring, Closed: true, Weight: Thin, Layer: layerKey})
			if names != "" {
				names += ", "
			}
			names += b.plan.Rooms[r].Room.ID
			if b.plan.Rooms[r].Refused != nil {
				names += " (NOT LAID)"
			}
		}
		e.paragraph("Rooms " + names)
		entries = append(entries, e)
	}
	d.keyPlates(tiles)
	d.tabulate("Key: sheets and their rooms", entries)
}

// keyPlates names the sheets and, where there is room left, the rooms. What
// finds no place stands in the table alone.
func (d *draughtsman) keyPlates(tiles []tile) {
	var used []geometry.Quad
	put := func(t Text, places ...Point) {
		for _, at := range places {
			on := plateBox(t, at)
			free := !slices.ContainsFunc(used, func(q geometry.Quad) bool { return geometry.Overlap(on, q) > 0 })
			if free {
				used = append(used, on)
				d.plate(t, at)
				return
			}
		}
	}
	for i, t := range tiles {
		number := Text{Value: fmt.Sprintf("Sheet %d", i+2), HeightMM: tagMM, Bold: true, Layer: layerKey}
		low, high := d.paper(t.low), d.paper(t.high)
		in := textWidth(number.Value, tagMM, true)/2 + 1.2
		put(number, Point{X: low.X + in, Y: high.Y - 2.6}, Point{X: high.X - in, Y: high.Y - 2.6}, Point{X: low.X + in, Y: low.Y + 2.6},
			Point{X: high.X - in, Y: low.Y + 2.6}, middle(low, high))
	}
	for _, t := range tiles {
		for _, room := range t.rooms {
			shape := geometry.Polygon{Outline: d.papers(d.plan.Rooms[room].Room.Shape.Outline)}
			id := Text{Value: d.plan.Rooms[room].Room.ID, HeightMM: labelMM, Layer: layerKey}
			if at := heart(shape); fitsIn(shape, plateBox(id, at)) {
				put(id, at)
			}
		}
	}
}
