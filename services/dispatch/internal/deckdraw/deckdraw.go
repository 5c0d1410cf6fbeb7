// Package deckdraw draws a load: from the side, lane by lane, and from above,
// with what rests on the axles at departure and after every drop. A drawing is
// a list of shapes; it becomes an SVG here and part of a printed sheet in
// package papers. Drops are told apart by hatching and by number, never by
// colour.
package deckdraw

import (
	"fmt"
	"math"
	"slices"

	"spanyard.example/services/dispatch/internal/daybook"
)

// Pens and letters, in millimetres of the paper.
const (
	hairMM   = 0.1
	thinMM   = 0.2
	broadMM  = 0.5
	letterMM = 3.0
	smallMM  = 2.5
	leastMM  = 1.8
	// hatchMM is between the lines of a hatching.
	hatchMM = 1.6
)

// Parts of a truck that no yard measures, in millimetres of the truck.
const (
	deckThickMM   = 250.0
	wheelRadiusMM = 480.0
	cabHeightMM   = 2100.0
	// leastCabMM is drawn where the truck's length leaves less for its cab.
	leastCabMM = 1200.0
	frontMM    = 900.0
)

// Input is a run with the truck that carries it and the rules it is loaded by.
type Input struct {
	Run   daybook.Run
	Truck daybook.Truck
	Rules daybook.Rules
	// WidthMM of the paper that the drawing may take.
	WidthMM float64
}

// Draw draws the load of a run. Front is to the left in all views; from above,
// the left side of the truck is at the bottom.
func Draw(in Input) Drawing {
	p := newPlan(in)
	for lane := 1; lane <= p.lanes; lane++ {
		p.side(lane)
	}
	p.above()
	p.drawing.WidthMM, p.drawing.HeightMM = in.WidthMM, p.y
	p.drawing.Title = fmt.Sprintf("Load of run %s on truck %s: %d piles, %.0f kg, from the side and from above",
		in.Run.ID, in.Truck.ID, len(in.Run.Piles), float64(in.Run.MassG)/1000)
	return p.drawing
}

// plan is a drawing while it is made.
type plan struct {
	Input
	drawing Drawing
	lanes   int
	// scale is millimetres of the paper to one of the truck; firstMM is what
	// stands at the left edge, from the front of the deck.
	scale, firstMM float64
	// y is how far down the paper the drawing has come.
	y float64
}

func newPlan(in Input) *plan {
	p := &plan{Input: in, lanes: 1}
	last := float64(in.Truck.DeckLengthMM)
	for _, pile := range in.Run.Piles {
		p.lanes = max(p.lanes, pile.Lane)
		last = math.Max(last, float64(pile.FromMM+pile.LengthMM))
	}
	p.firstMM = math.Min(float64(in.Truck.DeckLengthMM-in.Truck.OverallLengthMM), -leastCabMM)
	p.firstMM = math.Min(p.firstMM, -float64(in.Truck.DeckStartMM)-frontMM)
	p.scale = in.WidthMM / (last - p.firstMM + 200)
	return p
}

// x turns millimetres from the front of the deck into those of the paper.
func (p *plan) x(mm int) float64 { return (float64(mm) - p.firstMM) * p.scale }

func (p *plan) add(s ...Shape) { p.drawing.Shapes = append(p.drawing.Shapes, s...) }

func (p *plan) rect(x, y, w, h, weight float64, fill Fill) {
	p.add(Shape{Kind: Rectangle, XMM: x, YMM: y, X2MM: w, Y2MM: h, WeightMM: weight, Fill: fill})
}

func (p *plan) text(x, y, size float64, anchor Anchor, bold bool, value string) {
	p.add(Shape{Kind: Text, XMM: x, YMM: y, SizeMM: size, Anchor: anchor, Bold: bold, Value: value})
}

// inLane says whether a pile stands in a lane; a wide one stands in all.
func (p *plan) inLane(pile daybook.Pile, lane int) bool {
	half := p.Truck.DeckWidthMM / p.lanes
	from, to := (lane-1)*half, lane*half
	overlap := min(pile.LeftMM+pile.WidthMM, to) - max(pile.LeftMM, from)
	return pile.Lane == lane || overlap > half/2
}

// side draws the truck from its left side with the piles of one lane.
func (p *plan) side(lane int) {
	title := "From the side"
	if p.lanes > 1 {
		title = fmt.Sprintf("From the side: lane %d of %d, counted from the left of the truck", lane, p.lanes)
	}
	p.y += letterMM + 1
	p.text(0, p.y, letterMM, Start, true, title)
	p.y += 3
	highest := cabHeightMM
	for _, pile := range p.Run.Piles {
		highest = math.Max(highest, float64(pile.HeightMM))
	}
	deck := p.y + highest*p.scale
	p.truck(deck)
	for _, pile := range p.Run.Piles {
		if p.inLane(pile, lane) {
			p.pileFromSide(pile, deck)
		}
	}
	p.y = deck + (deckThickMM+2*wheelRadiusMM)*p.scale + 1
	if lane == p.lanes {
		p.axles()
	}
}

// truck draws cab, deck and wheels; deck is where the top of the deck is.
func (p *plan) truck(deck float64) {
	tall := cabHeightMM * p.scale
	p.rect(0, deck-tall, p.x(-150), tall+deckThickMM*p.scale, thinMM, Pale)
	if w := p.x(-150) * 0.55; w > 2 {
		p.rect(1, deck-tall+1, w, tall*0.4, thinMM, Paper)
	}
	p.rect(p.x(0), deck, float64(p.Truck.DeckLengthMM)*p.scale, deckThickMM*p.scale, broadMM, Pale)
	for _, at := range []int{-p.Truck.DeckStartMM, p.Truck.WheelbaseMM - p.Truck.DeckStartMM} {
		centre := Shape{Kind: Circle, XMM: p.x(at), YMM: deck + (deckThickMM+wheelRadiusMM)*p.scale, WeightMM: broadMM, Fill: Paper}
		centre.RadiusMM = wheelRadiusMM * p.scale
		p.add(centre)
		centre.RadiusMM, centre.Fill = centre.RadiusMM/5, Ink
		p.add(centre)
	}
}

// pileFromSide draws the tiers of a pile on their bearers.
func (p *plan) pileFromSide(pile daybook.Pile, deck float64) {
	left, wide := p.x(pile.FromMM), float64(pile.LengthMM)*p.scale
	height := float64(pile.HeightMM) * p.scale
	if longest, _ := lengths(pile); longest == 0 {
		p.rect(left, deck-height, wide, height, thinMM, Paper)
		p.add(hatch(left, deck-height, wide, height, hatchingOf(pile.DropNumber), hatchMM)...)
		p.label(left, deck-height, wide, height, pile, true)
		return
	}
	each := height / float64(len(pile.Tiers))
	bearer := math.Min(float64(p.Rules.BearerHeightMM)*p.scale, each/2)
	middle := left + wide/2
	for i, tier := range pile.Tiers {
		foot := deck - float64(i)*each
		longest := 0
		for _, item := range tier {
			longest = max(longest, item.Beam.LengthMM)
		}
		w := float64(longest) * p.scale
		p.rect(middle-w/2, foot-each, w, each-bearer, thinMM, Paper)
		p.add(hatch(middle-w/2, foot-each, w, each-bearer, hatchingOf(pile.DropNumber), hatchMM)...)
		for _, at := range []float64{-1, 1} {
			centre := middle + at*float64(bearersApartMM(pile, p.Rules))*p.scale/2
			p.rect(centre-0.6, foot-bearer, 1.2, bearer, thinMM, Ink)
		}
	}
	p.label(left, deck-height, wide, height, pile, true)
}

// lengths returns those of a pile's longest and shortest beams; 0 for pallets.
func lengths(pile daybook.Pile) (longest, shortest int) {
	for _, tier := range pile.Tiers {
		for _, item := range tier {
			if item.IsPallet() {
				continue
			}
			longest = max(longest, item.Beam.LengthMM)
			if shortest == 0 || item.Beam.LengthMM < shortest {
				shortest = item.Beam.LengthMM
			}
		}
	}
	return longest, shortest
}

// bearersApartMM is the distance between the two lines of bearers of a pile:
// where the yard sets them under the shortest beam, but never so close that
// the longest one hangs over further than it may.
func bearersApartMM(pile daybook.Pile, r daybook.Rules) int {
	longest, shortest := lengths(pile)
	overhang := min(r.MaxOverhangMM, longest/5)
	return min(shortest, max(shortest-2*min(r.BearerInsetMM, shortest/5), longest-2*overhang))
}

// label writes a pile's number, its drop and, where there is room, its mass.
func (p *plan) label(x, y, w, h float64, pile daybook.Pile, mass bool) {
	lines := []string{fmt.Sprintf("%d", pile.Number)}
	if len(p.Run.Drops) > 1 {
		lines[0] = fmt.Sprintf("%d (drop %d)", pile.Number, pile.DropNumber)
	}
	if mass {
		lines = append(lines, fmt.Sprintf("%.0f kg", float64(pile.MassG)/1000))
	}
	size := letterMM
	widest := slices.Max([]float64{TextWidthMM(lines[0], 1), TextWidthMM(lines[len(lines)-1], 1)})
	size = math.Max(leastMM, math.Min(size, math.Min((w-1)/widest, (h-1)/(1.15*float64(len(lines))))))
	if len(lines) > 1 && (widest*size > w-0.5 || 1.15*size*float64(len(lines)) > h) {
		lines = lines[:1]
		widest = TextWidthMM(lines[0], 1)
	}
	tall := 1.15 * size * float64(len(lines))
	// The ground under the words leaves the edges of the pile as they are.
	ground := math.Min(widest*size+0.8, w-0.5)
	p.rect(x+w/2-ground/2, y+h/2-tall/2, ground, tall+0.3, 0, Paper)
	for i, line := range lines {
		p.text(x+w/2, y+h/2-tall/2+size*(0.92+1.15*float64(i)), size, Middle, i == 0, line)
	}
}

// axles writes what rests on each axle, at departure and after every drop,
// each under its wheel.
func (p *plan) axles() {
	front, rear := p.x(-p.Truck.DeckStartMM), p.x(p.Truck.WheelbaseMM-p.Truck.DeckStartMM)
	p.y += smallMM
	// The words keep to the paper on the left.
	write := func(at float64, value string, bold bool) {
		anchor := Middle
		if half := TextWidthMM(value, smallMM) / 2; at-half < 0 {
			at, anchor = 0, Start
		} else if at+half > p.WidthMM {
			at, anchor = p.WidthMM, End
		}
		p.text(at, p.y, smallMM, anchor, bold, value)
	}
	write(front, fmt.Sprintf("front, at most %d kg", p.Truck.MaxFrontKG), true)
	write(rear, fmt.Sprintf("rear, at most %d kg", p.Truck.MaxRearKG), true)
	for _, a := range p.Run.AxleLoads {
		p.y += smallMM * 1.25
		when := "leaving"
		if a.AfterDrop > 0 {
			when = fmt.Sprintf("after drop %d", a.AfterDrop)
		}
		write(front, fmt.Sprintf("%s %d kg", when, a.FrontKG), false)
		write(rear, fmt.Sprintf("%s %d kg", when, a.RearKG), false)
	}
	p.y += smallMM
}

// above draws the deck from above.
func (p *plan) above() {
	p.y += letterMM + 1
	p.text(0, p.y, letterMM, Start, true, "From above, front of the truck to the left")
	p.y += 2
	wide := float64(p.Truck.DeckWidthMM) * p.scale
	p.rect(0, p.y, p.x(-150), wide, thinMM, Pale)
	p.rect(p.x(0), p.y, float64(p.Truck.DeckLengthMM)*p.scale, wide, broadMM, Paper)
	for _, pile := range p.Run.Piles {
		x, w := p.x(pile.FromMM), float64(pile.LengthMM)*p.scale
		h := float64(pile.WidthMM) * p.scale
		y := p.y + wide - float64(pile.LeftMM)*p.scale - h
		p.rect(x, y, w, h, thinMM, Paper)
		p.add(hatch(x, y, w, h, hatchingOf(pile.DropNumber), hatchMM)...)
		p.label(x, y, w, h, pile, false)
	}
	p.y += wide + 1
	p.measure()
}

// measure draws where every pile begins, from the front of the deck.
func (p *plan) measure() {
	var at []int
	for _, pile := range p.Run.Piles {
		at = append(at, pile.FromMM, pile.FromMM+pile.LengthMM)
	}
	slices.Sort(at)
	p.y += smallMM + 1
	last := -1.0
	for _, mm := range slices.Compact(at) {
		x := p.x(mm)
		p.add(Shape{Kind: Line, XMM: x, YMM: p.y - smallMM - 1, X2MM: x, Y2MM: p.y - smallMM + 0.3, WeightMM: thinMM})
		value := fmt.Sprint(mm)
		half := TextWidthMM(value, smallMM) / 2
		// A figure that would run into the one before it is left to the list.
		if x-half > last {
			p.text(x, p.y+0.4, smallMM, Middle, false, value)
			last = x + half
		}
	}
	p.y += 2
	p.text(0, p.y+smallMM, smallMM, Start, false, "mm from the front of the deck to the ends of the piles")
	p.y += smallMM + 1.5
}
