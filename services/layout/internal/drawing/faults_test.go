package drawing

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/sharedtest"
)

// faults looks at a drawing as a foreman would and says what could not be
// read, or be misread.
func faults(plan design.Plan, s *Sheet) []string {
	var out []string
	for i, p := range append(slices.Clone(s.Pages), s.whole) {
		for _, f := range append(pageFaults(p), labelFaults(plan, p)...) {
			out = append(out, fmt.Sprintf("page %d of %d, 1:%d: %s", i+1, len(s.Pages), p.Scale, f))
		}
	}
	return append(append(out, missing(plan, s.Pages)...), missing(plan, []*Page{s.whole})...)
}

// textBox is what a text covers, with what hangs below its base line.
func textBox(t Text) geometry.Quad {
	width, sin, cos := textWidth(t.Value, t.HeightMM, t.Bold), math.Sin(t.Degrees*math.Pi/180), math.Cos(t.Degrees*math.Pi/180)
	along, up := width/2, (t.HeightMM-below(t))/2
	if t.Centred {
		along = 0
	}
	return box(Point{X: t.At.X + along*cos - up*sin, Y: t.At.Y + along*sin + up*cos}, width, t.HeightMM+below(t), t.Degrees)
}

// pageFaults: texts that touch each other, leave the page, are too small, or
// have a line running through them.
func pageFaults(p *Page) []string {
	var out []string
	note := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	seen := plotter{page: p}
	seen.plot()
	var boxes []geometry.Quad
	for _, t := range seen.texts {
		boxes = append(boxes, textBox(t))
	}
	sheet := window{Point{X: bind, Y: margin}, Point{X: p.WidthMM - margin, Y: p.HeightMM - margin}}
	for i, t := range seen.texts {
		if t.HeightMM < smallMM {
			note("%q is %.1f mm high", t.Value, t.HeightMM)
		}
		if !sheet.holds(boxes[i]) {
			note("%q leaves the sheet", t.Value)
		}
		for k := range i {
			if apart(t, seen.texts[k]) {
				continue
			}
			if geometry.Overlap(boxes[i], boxes[k]) > 0.1 {
				note("%q lies on %q", t.Value, seen.texts[k].Value)
			}
		}
	}
	through := func(layer string, a, b Point) {
		line := segment(a, b)
		for i, t := range seen.texts {
			const reach = 110
			if max(a.X, b.X) < t.At.X-reach || min(a.X, b.X) > t.At.X+reach || max(a.Y, b.Y) < t.At.Y-reach || min(a.Y, b.Y) > t.At.Y+reach {
				continue
			}
			if t.Degrees == 0 && (max(a.Y, b.Y) < t.At.Y-2 || min(a.Y, b.Y) > t.At.Y+7) {
				continue
			}
			if geometry.Overlap(boxes[i], line) > 0.05 {
				note("a line of %s runs through %q", layer, t.Value)
			}
		}
	}
	for _, l := range seen.lines {
		for i := range l.Points {
			if i+1 < len(l.Points) || l.Closed {
				through(l.Layer, l.Points[i], l.Points[(i+1)%len(l.Points)])
			}
		}
		for _, q := range l.Points {
			if q.X < 0 || q.Y < 0 || q.X > p.WidthMM || q.Y > p.HeightMM {
				note("a line of %s leaves the sheet at (%.1f, %.1f)", l.Layer, q.X, q.Y)
			}
		}
	}
	for _, r := range seen.rounds {
		ring := r.ring()
		for i := range ring {
			through(r.Layer, ring[i], ring[(i+1)%len(ring)])
		}
	}
	return out
}

// apart says that two texts are too far from each other to touch.
func apart(a, b Text) bool {
	const reach = 220
	return math.Abs(a.At.X-b.At.X) > reach || math.Abs(a.At.Y-b.At.Y) > reach || a.Degrees == 0 && b.Degrees == 0 && math.Abs(a.At.Y-b.At.Y) > 9
}

// segment is a line as a rectangle of its thinnest weight.
func segment(a, b Point) geometry.Quad {
	return box(middle(a, b), math.Hypot(b.X-a.X, b.Y-a.Y), 0.18, math.Atan2(b.Y-a.Y, b.X-a.X)*180/math.Pi)
}

var (
	marked = regexp.MustCompile(`^(?:\dx )?(?:\S+-)?(\d+(?:\+\d+)*)(?:  \d+\.\d+)?$`)
	ranged = regexp.MustCompile(`^(?:\S+-)?(\d+) to (\d+)  \d+\.\d+$`)
)

// numbersOf are the numbers of the beams that a label speaks for.
func numbersOf(label string) map[int]bool {
	out := map[int]bool{}
	if m := ranged.FindStringSubmatch(label); m != nil {
		low, _ := strconv.Atoi(m[1])
		high, _ := strconv.Atoi(m[2])
		for n := low; n <= high; n++ {
			out[n] = true
		}
		return out
	}
	if m := marked.FindStringSubmatch(label); m != nil {
		for _, part := range strings.Split(m[1], "+") {
			n, _ := strconv.Atoi(part)
			out[n] = true
		}
	}
	return out
}

// labelFaults: marks that lie on a beam that is not theirs.
func labelFaults(plan design.Plan, p *Page) []string {
	var out []string
	d := &draughtsman{page: p}
	for _, item := range p.Items {
		if item.Text == nil || item.Text.Layer != layerMarks {
			continue
		}
		t := *item.Text
		numbers, on := numbersOf(t.Value), textBox(t)
		if len(numbers) == 0 {
			out = append(out, fmt.Sprintf("%q is no mark", t.Value))
		}
		own := false
		for _, r := range plan.Rooms {
			if !slices.Contains(p.Rooms, r.Room.ID) {
				continue
			}
			in := geometry.Polygon{Outline: d.papers(r.Room.Shape.Outline)}.Contains(middle(on[0], on[2]))
			for i, b := range r.Beams {
				q := d.papers(b.Quad[:])
				if geometry.Overlap(on, geometry.Quad(q)) <= touching {
					continue
				}
				if !in || !numbers[i+1] {
					out = append(out, fmt.Sprintf("%q lies on beam %s", t.Value, b.Mark))
				} else {
					own = true
				}
			}
		}
		if !own {
			out = append(out, fmt.Sprintf("%q lies on no beam of its own", t.Value))
		}
	}
	return out
}

// missing are beams that are not drawn once, or of which the drawing does not
// say the mark.
func missing(plan design.Plan, pages []*Page) []string {
	var out []string
	for _, r := range plan.Rooms {
		drawn, said := 0, map[int]bool{}
		for _, p := range pages {
			if !slices.Contains(p.Rooms, r.Room.ID) {
				continue
			}
			d := &draughtsman{page: p}
			shape := geometry.Polygon{Outline: d.papers(r.Room.Shape.Outline)}
			for _, item := range p.Items {
				switch {
				case item.Line != nil && slices.Contains(layerBeams[:], item.Line.Layer):
					for _, b := range r.Beams {
						if d.paper(b.Quad[0]) == item.Line.Points[0] && d.paper(b.Quad[2]) == item.Line.Points[2] {
							drawn++
						}
					}
				case item.Text != nil && item.Text.Layer == layerMarks:
					if on := textBox(*item.Text); shape.Contains(middle(on[0], on[2])) {
						for n := range numbersOf(item.Text.Value) {
							said[n] = true
						}
					}
				}
			}
			if slices.Contains(p.Unmarked, r.Room.ID) {
				said = nil // the table of rooms has them
			}
		}
		if drawn != len(r.Beams) {
			out = append(out, fmt.Sprintf("room %s: %d of %d beams are drawn", r.Room.ID, drawn, len(r.Beams)))
		}
		if said != nil && len(said) != len(r.Beams) {
			out = append(out, fmt.Sprintf("room %s: %d of %d marks are on the drawing", r.Room.ID, len(said), len(r.Beams)))
		}
	}
	return out
}

// anyFloor draws rooms of any size on a grid, some L-shaped, slanted, with an
// opening or a partition, in any direction.
func anyFloor(t *rapid.T) design.Floor {
	f := design.Floor{Job: "J1", Floor: rapid.SampledFrom([]string{"1", "12", "G"}).Draw(t, "floor")}
	turn := geometry.NewFrame(rapid.SampledFrom([]float64{0, 0, 0, 90, 17, 211.5}).Draw(t, "turn"))
	columns, rows := rapid.IntRange(1, 4).Draw(t, "columns"), rapid.IntRange(1, 3).Draw(t, "rows")
	y := 0.0
	for k := range rows {
		x, deepest := 0.0, 0.0
		for i := range columns {
			wide, tall := float64(rapid.IntRange(900, 6500).Draw(t, "wide")), float64(rapid.IntRange(900, 7500).Draw(t, "tall"))
			ring := []Point{{X: x, Y: y}, {X: x + wide, Y: y}, {X: x + wide, Y: y + tall}, {X: x, Y: y + tall}}
			r := design.Room{ID: fmt.Sprintf("%02d", k*columns+i+1), Name: rapid.SampledFrom([]string{"", "Hall", "Room with a long name of its own"}).Draw(t, "name"),
				Order: k*columns + i + 1, Loads: design.Loads{Category: "A", ImposedKNPerM2: 2, FinishesKNPerM2: 0.15}}
			switch rapid.IntRange(0, 5).Draw(t, "shape") {
			case 0:
				ring = []Point{ring[0], ring[1], {X: x + wide, Y: y + tall/2}, {X: x + wide*0.6, Y: y + tall/2}, {X: x + wide*0.6, Y: y + tall}, ring[3]}
			case 1:
				ring[2].Y -= tall / 3
			case 2:
				r.Shape.Holes = [][]Point{{{X: x + wide*0.4, Y: y + tall*0.4}, {X: x + wide*0.4, Y: y + tall*0.6}, {X: x + wide*0.6, Y: y + tall*0.6}, {X: x + wide*0.6, Y: y + tall*0.4}}}
			}
			r.Shape.Outline = ring
			for n, ring := range append([][]Point{ring}, r.Shape.Holes...) {
				turned := make([]Point, len(ring))
				for j, p := range ring {
					turned[j] = turn.Out(p)
				}
				if n == 0 {
					r.Shape.Outline = turned
				} else {
					r.Shape.Holes[n-1] = turned
				}
			}
			f.Rooms = append(f.Rooms, r)
			x, deepest = x+wide+300, math.Max(deepest, tall)
		}
		y += deepest + 300
	}
	return f
}

func TestAnyFloorCanBeRead(t *testing.T) {
	d := designer(t)
	rapid.Check(t, func(t *rapid.T) {
		plan := d.Lay(anyFloor(t))
		s, err := New(plan, Options{Sheet: rapid.SampledFrom([]string{"A3", "A1"}).Draw(t, "sheet")})
		if err != nil {
			t.Fatal(err)
		}
		if f := faults(plan, s); len(f) > 0 {
			t.Fatal(strings.Join(f, "\n"))
		}
	})
}

// TestRealFloorsCanBeRead draws public floors of all kinds.
func TestRealFloorsCanBeRead(t *testing.T) {
	file, err := os.Open(filepath.Join(sharedtest.Dir(t, "floors"), "plans.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	floors, err := design.ReadFloors(file, design.Loads{Category: "A", ImposedKNPerM2: 2, FinishesKNPerM2: 0.15})
	if err != nil {
		t.Fatal(err)
	}
	every, most := 4, 60 // of floors, and rooms in one: looking at every pair of texts takes long
	if testing.Short() {
		every, most = 24, 20
	}
	d := designer(t)
	count := map[string]int{}
	for i := 0; i < len(floors); i += every {
		if len(floors[i].Rooms) > most {
			continue
		}
		plan := d.Lay(floors[i])
		s, err := New(plan, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if found := faults(plan, s); len(found) > 0 {
			t.Logf("floor %d: %s", i, found[0])
			count["with faults"]++
		}
		count["floors"]++
		count["pages"] += len(s.Pages)
		for _, p := range s.Pages {
			count["rooms"] += len(p.Rooms)
			count["grouped"] += len(p.Grouped)
			count["unmarked"] += len(p.Unmarked)
		}
	}
	t.Log(count)
	// Where rooms lie in each other, the lines of one may cross the words of the
	// other.
	if 10*count["with faults"] > count["floors"] {
		t.Errorf("%d of %d floors have something that is hard to read", count["with faults"], count["floors"])
	}
	// What the drawing itself cannot say is the exception.
	if 20*count["unmarked"] > count["rooms"] {
		t.Errorf("%d of %d rooms have a beam whose mark stands in the table only", count["unmarked"], count["rooms"])
	}
}
