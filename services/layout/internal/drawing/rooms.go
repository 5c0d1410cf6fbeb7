package drawing

import (
	"fmt"
	"math"
	"strings"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

// rooms draws the rooms of a page: first all that is built, then all lettering,
// so that nothing of one room comes to lie on the words of another.
func (d *draughtsman) rooms(rooms []int) {
	var sites []*site
	for _, room := range rooms {
		s := d.site(d.plan.Rooms[room])
		s.number = d.order(room)
		sites = append(sites, s)
		d.page.Rooms = append(d.page.Rooms, s.r.Room.ID)
		s.built()
	}
	for i, s := range sites {
		for k, o := range sites {
			if k != i {
				s.mind(o)
			}
		}
		s.lettering()
	}
}

// built draws beams, walls, openings, partitions and trimmers.
func (s *site) built() {
	if s.laid() {
		s.fillers()
		for _, b := range s.r.Beams {
			shade := Pale
			if b.PerRow > 1 {
				shade = Dark
			}
			s.add(Line{Points: s.papers(b.Quad[:]), Closed: true, Weight: Broad, Fill: shade, Layer: layerBeams[min(max(b.PerRow, 1), len(layerBeams))-1]})
		}
	}
	s.walls()
	for i, h := range s.shape.Holes {
		if i < len(s.r.Room.HoleSupports) && s.r.Room.HoleSupports[i] {
			s.add(Line{Points: h, Closed: true, Weight: Thick, Layer: layerWalls})
		} else {
			s.opening(h)
		}
	}
	for _, p := range s.r.Room.Partitions {
		s.line(s.paper(p.From), s.paper(p.To), Bold, Dashed, layerPartitions)
	}
	for _, h := range s.r.Layout.Headers {
		s.line(s.paper(h.From), s.paper(h.To), Thick, Solid, layerOpening)
	}
}

// laid says that there are beams to be drawn.
func (s *site) laid() bool { return s.r.Refused == nil && len(s.r.Beams) > 0 }

// lettering writes all that stands in the room, the most needed first: what
// comes later has to do with the room that is left.
func (s *site) lettering() {
	if !s.laid() {
		s.refused()
		return
	}
	s.startsAt()
	s.span()
	s.width()
	s.tag()
	s.marks()
	s.trimmers()
	s.setOut()
	s.counts()
	switch s.fallback {
	case grouped:
		s.page.Grouped = append(s.page.Grouped, s.r.Room.ID)
	case incomplete:
		s.page.Unmarked = append(s.page.Unmarked, s.r.Room.ID)
	}
}

// walls draws the room's edge: thick where beams bear on it, broad beside
// them, dashed where there is no wall.
func (s *site) walls() {
	n := len(s.shape.Outline)
	for i, a := range s.shape.Outline {
		b := s.shape.Outline[(i+1)%n]
		switch {
		case s.r.Room.OpenSides[i]:
			s.line(a, b, Broad, Dashed, layerWalls)
		case s.r.Refused != nil || s.bears(a, b):
			s.line(a, b, Thick, Solid, layerWalls)
		default:
			s.line(a, b, Broad, Solid, layerWalls)
		}
	}
}

// bears says whether the axis of any beam crosses an edge.
func (s *site) bears(a, b Point) bool {
	for _, beam := range s.r.Beams {
		q := s.papers(beam.Quad[:])
		if geometry.Touch(a, b, middle(q[0], q[3]), middle(q[1], q[2])) {
			return true
		}
	}
	return false
}

// opening is a hole in the floor: an outline with its diagonals (ISO 128
// convention for holes).
func (d *draughtsman) opening(ring []Point) {
	d.add(Line{Points: ring, Closed: true, Weight: Broad, Fill: Paper, Layer: layerOpening})
	n := len(ring)
	d.line(ring[0], ring[n/2], Thin, Solid, layerOpening)
	d.line(ring[n/4], ring[(n/4+n/2)%n], Thin, Solid, layerOpening)
}

// fillers hatches bays that take no whole block, across the beams and slanted.
func (s *site) fillers() {
	const every, slant = 1.4, 45.0
	turn := geometry.NewFrame(s.r.Layout.DirectionDegrees + slant)
	shape := turn.PolygonIn(s.shape)
	low, high := shape.Bounds()
	for _, bay := range s.r.Layout.Bays {
		if !bay.Filler {
			continue
		}
		from, to := s.level(bay.Low), s.level(bay.High)
		for y := math.Ceil(low.Y/every) * every; y < high.Y; y += every {
			for _, i := range shape.At(y + 1e-7) {
				// Along the hatch the height in the beams' frame grows with X.
				a, b := turn.Out(Point{X: i.From, Y: y}), turn.Out(Point{X: i.To, Y: y})
				ya, yb := s.frame.In(a).Y, s.frame.In(b).Y
				at := func(h float64) float64 { return math.Max(0, math.Min(1, (h-ya)/(yb-ya))) }
				t0, t1 := at(from), at(to)
				if t1 <= t0 {
					continue
				}
				s.line(Point{X: a.X + (b.X-a.X)*t0, Y: a.Y + (b.Y-a.Y)*t0}, Point{X: a.X + (b.X-a.X)*t1, Y: a.Y + (b.Y-a.Y)*t1}, Thin, Solid, layerBlocks)
			}
		}
	}
}

// refused crosses a room out and says why; the table of rooms has the whole
// text in any case.
func (s *site) refused() {
	low, high := s.shape.Bounds()
	for _, diagonal := range [2][2]Point{{low, high}, {{X: low.X, Y: high.Y}, {X: high.X, Y: low.Y}}} {
		s.inside(diagonal[0], diagonal[1])
	}
	head := strings.TrimSpace(s.r.Room.ID) + " NOT LAID"
	lines := []Text{{Value: head, HeightMM: tagMM, Bold: true, Layer: layerRefused}}
	for _, l := range wrapTo(why(s.r), labelMM, math.Max((high.X-low.X)*0.7, 30)) {
		lines = append(lines, Text{Value: l, HeightMM: labelMM, Layer: layerRefused})
	}
	at := heart(s.shape)
	for len(lines) > 1 {
		if s.stack(lines, at) {
			return
		}
		lines = lines[:1]
	}
	if !s.stack(lines, at) {
		// However small the room is; the table names it.
		s.put(Text{Value: "NOT LAID", HeightMM: smallMM, Bold: true, Layer: layerRefused}, s.spread(), nil)
	}
}

// spread is a grid of places over the room.
func (s *site) spread() []Point {
	low, high := s.shape.Bounds()
	places := []Point{heart(s.shape)}
	const n = 8
	for i := 1; i < n; i++ {
		for k := 1; k < n; k++ {
			places = append(places, Point{X: low.X + (high.X-low.X)*float64(k)/n, Y: low.Y + (high.Y-low.Y)*float64(i)/n})
		}
	}
	return places
}

// stack writes lines below each other around a middle, if all of them fit.
func (s *site) stack(lines []Text, at Point) bool {
	const apart = 4.2
	place := func(i int) Point { return Point{X: at.X, Y: at.Y + apart*(float64(len(lines)-1)/2-float64(i))} }
	for i, l := range lines {
		if !fitsIn(s.shape, plateBox(l, place(i))) {
			return false
		}
	}
	for i, l := range lines {
		s.plate(l, place(i))
	}
	return true
}

// inside draws that part of a dashed line that lies in the room.
func (s *site) inside(a, b Point) {
	f := geometry.NewFrame(math.Atan2(b.Y-a.Y, b.X-a.X) * 180 / math.Pi)
	for _, i := range f.PolygonIn(s.shape).At(f.In(a).Y + 1e-7) {
		s.line(f.Out(Point{X: i.From, Y: f.In(a).Y}), f.Out(Point{X: i.To, Y: f.In(a).Y}), Thin, Dashed, layerRefused)
	}
}

func why(r design.RoomPlan) string {
	if r.Refused == nil {
		return "The room has no beams."
	}
	return strings.TrimSpace(r.Refused.Reason + " " + r.Refused.Help)
}

// metres prints a length as it is cut: in metres to the centimetre, or to the
// millimetre where that is needed.
func metres(mm int) string {
	if mm%10 == 0 {
		return fmt.Sprintf("%.2f", float64(mm)/1000)
	}
	return fmt.Sprintf("%.3f", float64(mm)/1000)
}

// number is the last part of a mark.
func number(mark string) string { return mark[strings.LastIndexByte(mark, '-')+1:] }

// prefix of a room's marks: what its short marks leave out.
func prefix(r design.RoomPlan) string {
	if len(r.Beams) == 0 {
		return r.Room.ID
	}
	return strings.TrimSuffix(r.Beams[0].Mark, "-"+number(r.Beams[0].Mark))
}

// title of a room: the prefix of its marks and its name.
func title(r design.RoomPlan) string { return strings.TrimSpace(prefix(r) + " " + nameOf(r)) }

// nameOf a room, unless it says the same as its ID.
func nameOf(r design.RoomPlan) string {
	if r.Room.Name == r.Room.ID {
		return ""
	}
	return r.Room.Name
}
