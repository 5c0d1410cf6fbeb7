package loading

import (
	"fmt"
	"slices"
	"strconv"
)

// Refusal is a limit that no arrangement of a load can keep.
type Refusal struct {
	// Rule is a stable name of the limit, for instance "rear_axle".
	Rule string
	// Sentence for a dispatcher.
	Sentence string
}

// constraint is one limit of a deck. Its refuse returns a sentence when no
// arrangement of the drops can keep the limit, and nothing when one might: it
// compares what is needed at least with what there is at most.
type constraint interface {
	rule() string
	refuse(d *Deck, drops [][]Unit) string
}

// constraints in the order in which a dispatcher wants to hear of them.
var constraints = []constraint{
	payload{}, deckLength{}, pileHeight{}, deckWidth{}, pileCount{}, laneLength{}, axleLimit{rear: false}, axleLimit{rear: true},
}

// Explain returns every limit that these drops cannot keep on the deck however
// they are arranged. That it returns none does not prove that they can be
// loaded: limits can exclude each other.
func (d *Deck) Explain(drops [][]Unit) []Refusal {
	var out []Refusal
	for _, c := range constraints {
		if s := c.refuse(d, drops); s != "" {
			out = append(out, Refusal{Rule: c.rule(), Sentence: s})
		}
	}
	return out
}

// payload is the mass that the truck carries at departure.
type payload struct{}

func (payload) rule() string { return "payload" }

func (payload) refuse(d *Deck, drops [][]Unit) string {
	sum := massOf(drops)
	if sum <= d.capacityG {
		return ""
	}
	t := d.truck
	by := "payload"
	switch tare := t.TareFrontKg + t.TareRearKg; {
	case d.capacityG == int64(t.PayloadKg)*1000:
	case d.capacityG == int64(t.MaxGrossKg-tare)*1000:
		by = "gross mass less its own"
	default:
		by = "both axle limits less its own mass"
	}
	return fmt.Sprintf("the pieces weigh %d kg; the truck carries %d kg (%s)", (sum+999)/1000, d.capacityG/1000, by)
}

// deckLength is where a load may stand: the deck and what may hang over its
// tail.
type deckLength struct{}

func (deckLength) rule() string { return "deck_length" }

func (deckLength) refuse(d *Deck, drops [][]Unit) string {
	return d.first(drops, func(u *Unit) string {
		along := u.LengthMM
		if u.Item.Pallet() {
			along = min(along, u.WidthMM)
		}
		if along <= d.limitMM {
			return ""
		}
		return fmt.Sprintf("%s is longer than the %s that a load may take (deck %s, over the tail %d mm)",
			what(u), metres(d.limitMM), metres(d.truck.DeckLengthMM), max(0, d.limitMM-d.truck.DeckLengthMM))
	})
}

// pileHeight is how high a pile may be, bearers included.
type pileHeight struct{}

func (pileHeight) rule() string { return "pile_height" }

func (pileHeight) refuse(d *Deck, drops [][]Unit) string {
	return d.first(drops, func(u *Unit) string {
		high := u.HeightMM
		if !u.Item.Pallet() {
			high += d.rules.BearerHeightMM
		}
		if high <= d.rules.MaxPileHeightMM {
			return ""
		}
		return fmt.Sprintf("%s makes a pile %s high; the yard allows %s", what(u), metres(high), metres(d.rules.MaxPileHeightMM))
	})
}

// deckWidth is the width of the deck.
type deckWidth struct{}

func (deckWidth) rule() string { return "deck_width" }

func (deckWidth) refuse(d *Deck, drops [][]Unit) string {
	return d.first(drops, func(u *Unit) string {
		across := u.WidthMM
		if u.Item.Pallet() {
			across = min(across, u.LengthMM)
		}
		if across <= d.truck.DeckWidthMM {
			return ""
		}
		return fmt.Sprintf("%s is %s wide; the deck is %s wide", what(u), metres(across), metres(d.truck.DeckWidthMM))
	})
}

// pileCount is how many piles of beams stand on the deck behind and beside
// each other, by tiers, height, lanes and gaps. Beams at least as long as one
// of them need at least as many piles as if they were all of its length.
type pileCount struct{}

func (pileCount) rule() string { return "piles" }

func (pileCount) refuse(d *Deck, drops [][]Unit) string {
	for _, units := range drops {
		for _, beams := range byProfile(units) {
			if s := d.tooManyOf(beams); s != "" {
				return s
			}
		}
	}
	return ""
}

// tooManyOf looks at beams of one drop and profile, the longest first.
func (d *Deck) tooManyOf(beams []*Unit) string {
	wide, fitsWide := d.shapeOf(beams[0].WidthMM, beams[0].HeightMM, true)
	lane, fitsLane := d.shapeOf(beams[0].WidthMM, beams[0].HeightMM, false)
	if !fitsWide || !fitsLane {
		return ""
	}
	side, each := 1, wide.across*wide.tiers
	if !lane.wide && d.lanes*lane.across >= wide.across {
		side, each = d.lanes, lane.across*lane.tiers
	}
	for n, u := range beams {
		takes := side * ((d.limitMM + d.rules.PileGapMM) / (u.LengthMM + d.rules.PileGapMM))
		if n < takes*each {
			continue
		}
		last := n
		for last+1 < len(beams) && beams[last+1].LengthMM == u.LengthMM {
			last++
		}
		and := ""
		if beams[0].LengthMM > u.LengthMM {
			and = " and longer"
		}
		return fmt.Sprintf("%s of %s%s need %s; the deck takes %d",
			counted(last+1, "beam"), metres(u.LengthMM), and, pilesOf((last+each)/each, each), takes)
	}
	return ""
}

// pilesOf says how many piles of at most so many beams.
func pilesOf(n, each int) string { return fmt.Sprintf("%s of up to %d", counted(n, "pile"), each) }

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// laneLength is the length of all lanes together.
type laneLength struct{}

func (laneLength) rule() string { return "lane_length" }

func (laneLength) refuse(d *Deck, drops [][]Unit) string {
	t := tally{d: d}
	for i, units := range drops {
		for j := range units {
			if !t.add(i, &units[j]) {
				return ""
			}
		}
	}
	need, room := t.lane(), d.lanesMM()
	if need <= room {
		return ""
	}
	return fmt.Sprintf("the piles take at least %s of lane; the deck has %s in %d", metres(need), metres(room), d.lanes)
}

// axleLimit is the limit of one axle, at departure and after every drop. The
// least that can rest on the rear axle is with every piece at the front of the
// deck, on the front axle with every piece at its tail.
type axleLimit struct{ rear bool }

func (a axleLimit) rule() string {
	if a.rear {
		return "rear_axle"
	}
	return "front_axle"
}

func (a axleLimit) refuse(d *Deck, drops [][]Unit) string {
	t := d.truck
	for after := range drops {
		var on []mass
		for _, units := range drops[after:] {
			for i := range units {
				on = append(on, mass{g: units[i].Item.MassG, lever2x: d.farthest(&units[i], a.rear)})
			}
		}
		front, rear := axles(t, on)
		name, least, most := "front", front, t.MaxFrontKg
		if a.rear {
			name, least, most = "rear", rear, t.MaxRearKg
		}
		if least <= float64(most)*1000 {
			continue
		}
		when := "at departure"
		if after > 0 {
			when = "after drop " + strconv.Itoa(after)
		}
		return fmt.Sprintf("%s at least %d kg rest on the %s axle, wherever the piles stand; it carries %d kg",
			when, int(least/1000+0.999), name, most)
	}
	return ""
}

// farthest is twice the lever of a piece at the front of the deck, or at the
// tail. In a pile with longer beams its mass counts at the pile's middle, which
// is nearer to the middle of the deck than its own would be.
func (d *Deck) farthest(u *Unit, front bool) int64 {
	half2x := u.LengthMM
	if u.Item.Pallet() {
		half2x = min(u.LengthMM, u.WidthMM)
	}
	if front {
		return int64(2*d.truck.DeckStartMM + half2x)
	}
	return int64(2*(d.truck.DeckStartMM+d.limitMM) - half2x)
}

// first returns the first sentence about a piece.
func (d *Deck) first(drops [][]Unit, about func(*Unit) string) string {
	for _, units := range drops {
		for i := range units {
			if s := about(&units[i]); s != "" {
				return s
			}
		}
	}
	return ""
}

// byProfile parts beams by profile, the longest first.
func byProfile(units []Unit) [][]*Unit {
	var out [][]*Unit
	at := map[string]int{}
	for i := range units {
		u := &units[i]
		if u.Item.Pallet() {
			continue
		}
		k, ok := at[u.Item.Beam.Profile]
		if !ok {
			k = len(out)
			at[u.Item.Beam.Profile] = k
			out = append(out, nil)
		}
		out[k] = append(out[k], u)
	}
	for _, beams := range out {
		slices.SortStableFunc(beams, func(a, b *Unit) int { return b.LengthMM - a.LengthMM })
	}
	return out
}

func massOf(drops [][]Unit) int64 {
	var sum int64
	for _, units := range drops {
		for i := range units {
			sum += units[i].Item.MassG
		}
	}
	return sum
}

func what(u *Unit) string {
	if u.Item.Pallet() {
		return "a pallet of blocks " + u.Item.BlockKind
	}
	return fmt.Sprintf("the beam %s of %s", u.Item.Mark, metres(u.LengthMM))
}

func metres(mm int) string { return fmt.Sprintf("%.2f m", float64(mm)/1000) }
