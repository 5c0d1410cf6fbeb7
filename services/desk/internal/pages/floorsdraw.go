package pages

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
)

// picture is rooms drawn to one scale: beams as bars as long as they are, in
// millimetres of the drawing from the picture's own corner, downwards.
type picture struct {
	// Width and height of what is shown.
	W, H float64
	// Font is the height of lettering, Halo the width of the white around it.
	Font, Halo float64
	// Side is the size of the rounds that number the sides.
	Side float64
	// Unit of patterns and lines: so many millimetres to a dot of a picture
	// that is as wide as a page's column.
	Unit  float64
	Rooms []roomShape
	// Marks says that every beam has its mark written on it.
	Marks bool
	// left and top of the drawing.
	left, top float64
}

// roomShape is a room of a picture.
type roomShape struct {
	Room, Name, State, Path string
	// Area is the outline with its holes, as a path.
	Area  string
	Holes []string
	Beams []beamShape
	// Trimmers and Fills, parts made good on site, as paths.
	Trimmers []labelled
	Fills    []string
	Walls    []wallShape
	// Open sides carry no beams.
	Open []lineShape
	// Sides with their numbers.
	Sides []labelled
	At    place
	// Font of its name, so that it fits.
	Font float64
}

// place on the picture.
type place struct{ X, Y float64 }

// beamShape is a beam, or beams side by side, with what is written on them.
type beamShape struct {
	Path string
	labelled
	// Changed says that it differs from the other revision.
	Changed bool
}

// labelled is a path with a text at a place.
type labelled struct {
	Outline string
	Text    string
	At      place
	Degrees float64
}

// lineShape is a line from point to point.
type lineShape struct{ X1, Y1, X2, Y2 float64 }

// wallShape is a partition.
type wallShape struct {
	lineShape
	labelled
}

// Shares of a picture's width: lettering that can be read on a phone, and the
// dots of a page's column.
const (
	fontShare   = 36
	columnDots  = 760
	edgeShare   = 0.05
	mostOfBay   = 0.62
	smallFontMM = 60
	haloShare   = 0.9
	sideShare   = 0.75
	// wallTextShare is half the width of a partition's load, in heights.
	wallTextShare = 3
	// bayShare leads from a row into the bay beside it.
	bayShare = 1.7
	// leastShare of its lettering that a small room's name keeps.
	leastShare = 0.5
)

// mostDrawnBeams of a floor that are drawn one by one; a larger floor is shown
// by its rooms alone, and each room on its own page.
const mostDrawnBeams = 3000

// newPicture of rooms.
func newPicture(rooms []*layouteventv1.RoomPlan) *picture {
	low, high := place{math.Inf(1), math.Inf(1)}, place{math.Inf(-1), math.Inf(-1)}
	grow := func(points []*layouteventv1.PlanPoint) {
		for _, p := range points {
			low = place{math.Min(low.X, p.GetXMm()), math.Min(low.Y, p.GetYMm())}
			high = place{math.Max(high.X, p.GetXMm()), math.Max(high.Y, p.GetYMm())}
		}
	}
	for _, r := range rooms {
		grow(r.GetOutline())
		for _, b := range r.GetBeams() {
			grow(b.GetCorners())
		}
	}
	if !(high.X > low.X && high.Y > low.Y) {
		return nil
	}
	edge := edgeShare * math.Max(high.X-low.X, high.Y-low.Y)
	p := &picture{left: low.X - edge, top: high.Y + edge, W: math.Round(high.X - low.X + 2*edge), H: math.Round(high.Y - low.Y + 2*edge)}
	p.Unit = math.Max(p.W, p.H) / columnDots
	p.setFont(math.Max(p.W, p.H) / fontShare)
	return p
}

func (p *picture) setFont(mm float64) {
	p.Font = math.Round(math.Max(mm, smallFontMM))
	p.Halo = math.Round(haloShare * p.Font)
}

// at turns a point of the drawing into one of the picture.
func (p *picture) at(q *layouteventv1.PlanPoint) place {
	return place{math.Round(q.GetXMm() - p.left), math.Round(p.top - q.GetYMm())}
}

// path through points and back.
func (p *picture) path(points []*layouteventv1.PlanPoint) string {
	var b strings.Builder
	for i, q := range points {
		at := p.at(q)
		letter := "L"
		if i == 0 {
			letter = "M"
		}
		fmt.Fprintf(&b, "%s%.0f %.0f", letter, at.X, at.Y)
	}
	if b.Len() > 0 {
		b.WriteString("Z")
	}
	return b.String()
}

// floorPicture shows a whole floor: its rooms, and their beams without marks.
func floorPicture(rooms []*layouteventv1.RoomPlan, path string) *picture {
	p := newPicture(rooms)
	if p == nil {
		return nil
	}
	beams := 0
	for _, r := range rooms {
		beams += len(r.GetBeams())
	}
	for _, r := range rooms {
		s := p.shape(r)
		s.Path = path
		s.Font = math.Round(math.Min(p.Font, math.Max(roomFont(r), leastShare*p.Font)))
		if beams <= mostDrawnBeams {
			for _, b := range r.GetBeams() {
				s.Beams = append(s.Beams, beamShape{Path: p.path(b.GetCorners())})
			}
		}
		p.Rooms = append(p.Rooms, s)
	}
	return p
}

// roomFont is lettering that stays in a room.
func roomFont(r *layouteventv1.RoomPlan) float64 {
	low, high := boundsOf(r.GetOutline())
	return math.Min((high.X-low.X)/(0.7*float64(max(2, len(r.GetRoom())))), (high.Y-low.Y)/1.4)
}

// roomPicture shows one room with all that is in it. changed are marks that
// differ from another revision.
func roomPicture(r *layouteventv1.RoomPlan, changed map[string]bool) *picture {
	p := newPicture([]*layouteventv1.RoomPlan{r})
	if p == nil {
		return nil
	}
	p.Marks = true
	if bay := float64(r.GetPitchMm()) - r.GetKit().GetWidthMm(); bay > 0 {
		p.setFont(math.Min(p.Font, mostOfBay*bay))
	}
	s := p.shape(r)
	for i, b := range r.GetBeams() {
		shape := beamShape{Path: p.path(b.GetCorners()), Changed: changed[b.GetMark()]}
		if b.GetPlaceInRow() <= 1 {
			shape.labelled = p.markOf(r.GetBeams()[i:])
		}
		s.Beams = append(s.Beams, shape)
	}
	for _, t := range r.GetTrimmers() {
		l := labelled{Outline: p.path(t.GetCorners()), Text: t.GetMark(), At: p.between(t.GetFrom(), t.GetTo()), Degrees: p.upright(t.GetFrom(), t.GetTo())}
		s.Trimmers = append(s.Trimmers, l)
	}
	for i := 0; i+4 <= len(r.GetFillCorners()); i += 4 {
		s.Fills = append(s.Fills, p.path(r.GetFillCorners()[i:i+4]))
	}
	for _, w := range r.GetPartitions() {
		s.Walls = append(s.Walls, wallShape{p.line(w.GetFrom(), w.GetTo()), labelled{
			Text: figureOf(w.GetKnPerM()) + " kN/m", At: p.besideWall(w, r.GetDirectionDegrees()),
		}})
	}
	p.Rooms = []roomShape{s}
	return p
}

// markOf the beams that lie side by side from the first one on: one text for
// all of them, with their length.
func (p *picture) markOf(beams []*layouteventv1.BeamPlan) labelled {
	first := beams[0]
	last := first
	for _, b := range beams[1:] {
		if b.GetRow() != first.GetRow() || b.GetPlaceInRow() <= last.GetPlaceInRow() {
			break
		}
		last = b
	}
	text := first.GetMark()
	if last != first {
		text += "/" + last.GetMark()[strings.LastIndex(last.GetMark(), "-")+1:]
	}
	c, d := first.GetCorners(), last.GetCorners()
	if len(c) < 4 || len(d) < 4 {
		return labelled{}
	}
	middle := &layouteventv1.PlanPoint{
		XMm: (c[0].GetXMm() + c[1].GetXMm() + d[2].GetXMm() + d[3].GetXMm()) / 4, YMm: (c[0].GetYMm() + c[1].GetYMm() + d[2].GetYMm() + d[3].GetYMm()) / 4,
	}
	text += "  " + inMetres(float64(first.GetProduct().GetLengthMm())) + " m"
	if long := first.GetProduct().GetLengthMm(); float64(long) < 0.6*p.Font*float64(len(text)) {
		text = first.GetMark()
	}
	return labelled{Text: text, At: p.at(middle), Degrees: p.upright(c[0], c[1])}
}

// shape of a room without what lies in it.
func (p *picture) shape(r *layouteventv1.RoomPlan) roomShape {
	s := roomShape{Room: r.GetRoom(), Name: r.GetRoomName(), State: roomState(r), Area: p.path(r.GetOutline()), Font: p.Font}
	for _, h := range r.GetHoles() {
		s.Holes = append(s.Holes, p.path(h.GetCorners()))
		s.Area += p.path(h.GetCorners())
	}
	for _, side := range r.GetOpenSides() {
		if n := len(r.GetOutline()); int(side) < n {
			s.Open = append(s.Open, p.line(r.GetOutline()[side], r.GetOutline()[(int(side)+1)%n]))
		}
	}
	s.At = p.at(heartOf(r.GetOutline()))
	return s
}

// numberSides writes the number of each side, from 1, inside of it.
func (p *picture) numberSides(r *layouteventv1.RoomPlan) {
	n := len(r.GetOutline())
	p.Side = math.Round(sideShare * p.Font)
	if len(p.Rooms) != 1 || n == 0 || n > mostNumberedSides {
		return
	}
	for i, a := range r.GetOutline() {
		b := r.GetOutline()[(i+1)%n]
		p.Rooms[0].Sides = append(p.Rooms[0].Sides, labelled{Text: strconv.Itoa(i + 1), At: p.between(a, b)})
	}
}

// mostNumberedSides of a room that can be picked one by one.
const mostNumberedSides = 40

func (p *picture) line(a, b *layouteventv1.PlanPoint) lineShape {
	from, to := p.at(a), p.at(b)
	return lineShape{from.X, from.Y, to.X, to.Y}
}

func (p *picture) between(a, b *layouteventv1.PlanPoint) place {
	return p.at(&layouteventv1.PlanPoint{XMm: (a.GetXMm() + b.GetXMm()) / 2, YMm: (a.GetYMm() + b.GetYMm()) / 2})
}

// besideWall is where the load of a partition hides no mark: in the bay beside
// one that stands along the beams, behind the end of one across them.
func (p *picture) besideWall(w *layouteventv1.PlanPartition, beamDegrees float64) place {
	from, to := p.at(w.GetFrom()), p.at(w.GetTo())
	length := math.Max(1, math.Hypot(to.X-from.X, to.Y-from.Y))
	along := place{(to.X - from.X) / length, (to.Y - from.Y) / length}
	turn := beamDegrees * math.Pi / 180
	if math.Abs(along.X*math.Cos(turn)-along.Y*math.Sin(turn)) < math.Sqrt2/2 {
		return place{math.Round(to.X + wallTextShare*p.Font*along.X), math.Round(to.Y + p.Font*along.Y)}
	}
	middle := p.between(w.GetFrom(), w.GetTo())
	if along.X < 0 {
		along = place{-along.X, -along.Y}
	}
	return place{math.Round(middle.X + bayShare*p.Font*along.Y), math.Round(middle.Y - bayShare*p.Font*along.X)}
}

// upright is the turn of a text along a line that is read from below or from
// the right.
func (p *picture) upright(a, b *layouteventv1.PlanPoint) float64 {
	degrees := -math.Atan2(b.GetYMm()-a.GetYMm(), b.GetXMm()-a.GetXMm()) * 180 / math.Pi
	switch {
	case degrees >= 90-1e-6:
		degrees -= 180
	case degrees < -90-1e-6:
		degrees += 180
	}
	return math.Round(10*degrees) / 10
}

func boundsOf(outline []*layouteventv1.PlanPoint) (low, high place) {
	if len(outline) == 0 {
		return place{}, place{}
	}
	low, high = place{math.Inf(1), math.Inf(1)}, place{math.Inf(-1), math.Inf(-1)}
	for _, p := range outline {
		low = place{math.Min(low.X, p.GetXMm()), math.Min(low.Y, p.GetYMm())}
		high = place{math.Max(high.X, p.GetXMm()), math.Max(high.Y, p.GetYMm())}
	}
	return low, high
}

// heartOf an outline is a point well inside of it: the best of a grid.
func heartOf(outline []*layouteventv1.PlanPoint) *layouteventv1.PlanPoint {
	low, high := boundsOf(outline)
	best, depth := &layouteventv1.PlanPoint{XMm: (low.X + high.X) / 2, YMm: (low.Y + high.Y) / 2}, -1.0
	const n = 12
	for i := 1; i < n; i++ {
		for j := 1; j < n; j++ {
			// The middle comes first: a little deeper is not worth leaving it.
			x, y := low.X+(high.X-low.X)*spread(i, n), low.Y+(high.Y-low.Y)*spread(j, n)
			if d := depthIn(outline, x, y); d > depth*1.05 {
				best, depth = &layouteventv1.PlanPoint{XMm: x, YMm: y}, d
			}
		}
	}
	return best
}

// spread counts from the middle outwards.
func spread(i, n int) float64 {
	away := float64(i/2) / float64(n)
	if i%2 == 0 {
		away = -away
	}
	return 0.5 + away
}

// depthIn is how far a point lies inside an outline; negative outside.
func depthIn(outline []*layouteventv1.PlanPoint, x, y float64) float64 {
	inside, nearest := false, math.Inf(1)
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		ax, ay, bx, by := a.GetXMm(), a.GetYMm(), b.GetXMm(), b.GetYMm()
		if (ay > y) != (by > y) && x < ax+(y-ay)*(bx-ax)/(by-ay) {
			inside = !inside
		}
		dx, dy := bx-ax, by-ay
		t := 0.0
		if length := dx*dx + dy*dy; length > 0 {
			t = math.Max(0, math.Min(1, ((x-ax)*dx+(y-ay)*dy)/length))
		}
		nearest = math.Min(nearest, math.Hypot(x-ax-t*dx, y-ay-t*dy))
	}
	if !inside {
		return -nearest
	}
	return nearest
}

// areaOf a room's outline without its holes, in square millimetres.
func areaOf(r *layouteventv1.RoomPlan) float64 {
	area := ringArea(r.GetOutline())
	for _, h := range r.GetHoles() {
		area -= ringArea(h.GetCorners())
	}
	return area
}

func ringArea(points []*layouteventv1.PlanPoint) float64 {
	twice := 0.0
	for i, a := range points {
		b := points[(i+1)%len(points)]
		twice += a.GetXMm()*b.GetYMm() - b.GetXMm()*a.GetYMm()
	}
	return math.Abs(twice) / 2
}

// figureOf a number, as short as it is.
func figureOf(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
