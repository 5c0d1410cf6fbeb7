// Package loading builds a truck's load: it divides what is to go into piles,
// stands them on the deck, and keeps payload, axle and deck limits at
// departure and after every drop.
//
// Masses are those of the chosen pieces, with the pallets under the blocks.
// Bearers between the tiers are left out of the mass: they stay on the truck
// as part of its equipment, within its weighed empty mass.
//
// A load that Deck.Load returns always keeps the rules. What is too heavy, or
// what whole piles would be too long for, is refused at once (tally). Usual
// piles and places are tried next. Where none of them works, every division
// into piles, every way to turn the pallets, every order in one or two lanes
// and every distance are tried, by numbers of pieces alike, so that Deck.Build
// can say that there is no load. With more than two lanes, or after many steps,
// it says that it does not know.
//
// The usual ways alone miss about one small load with weak axles in fifty, and
// most of the fullest loads of a morning: they turn no pallets, and stand nothing
// wider than a lane beside what is narrower. TestEveryWayAgainstEnumeration and
// TestAlikeAgainstEnumeration compare with an enumeration; Build calls nothing
// impossible that it finds, and leaves hardly any load undecided.
package loading

import (
	"cmp"
	"slices"

	"spanyard.example/services/dispatch/internal/morning"
)

// Deck is a truck's deck under a yard's rules.
type Deck struct {
	truck morning.Truck
	rules morning.Rules
	lanes int
	// laneMM is the width of one lane.
	laneMM int
	// limitMM is how far a load may reach towards the tail.
	limitMM   int
	capacityG int64
}

// NewDeck returns the deck of a truck; nothing may hang over its tail by more
// than overhangMM.
func NewDeck(t morning.Truck, r morning.Rules, overhangMM int) *Deck {
	d := &Deck{truck: t, rules: r, lanes: max(1, r.MaxLanes), limitMM: t.DeckLengthMM + overhangMM, capacityG: CapacityG(t)}
	d.laneMM = (t.DeckWidthMM - (d.lanes-1)*r.PileGapMM) / d.lanes
	return d
}

// CapacityG is the greatest load of the deck's truck.
func (d *Deck) CapacityG() int64 { return d.capacityG }

// Load arranges what the drops bring, each in laying order, the first drop
// first. It prefers few piles, and piles near the front of the deck.
func (d *Deck) Load(drops [][]Unit) (Load, bool) {
	l, v := d.Build(drops)
	return l, v == Built
}

// Build does so and says, where it builds none, whether there is none.
func (d *Deck) Build(drops [][]Unit) (Load, Verdict) {
	sum := massOf(drops)
	if sum > d.capacityG {
		return Load{}, Impossible
	}
	if d.tooLong(drops) {
		return Load{}, Impossible
	}
	pallets, batches, ok := d.sort(drops)
	if !ok {
		return Load{}, Impossible
	}
	l := Load{deck: d, drops: len(drops), massG: sum}
	if l.piles, ok = d.planned(pallets, batches, len(drops)); ok {
		return l, Built
	}
	if d.lanes > 2 {
		if len(d.Explain(drops)) > 0 {
			return Load{}, Impossible
		}
		return Load{}, Undecided
	}
	piles, v := d.every(pallets, batches, len(drops))
	if v != Built {
		return Load{}, v
	}
	stack(piles)
	l.piles = piles
	return l, Built
}

// planned makes and places piles in ways that usually work.
func (d *Deck) planned(pallets []pile, batches []batchOf, drops int) ([]pile, bool) {
	for _, g := range [...]grouping{even, full, short, spare} {
		for _, wide := range [...]bool{true, false} {
			// Pallets have room behind them for the piles of beams, so both
			// share one array; a failed attempt leaves the pallets as they
			// were but for their places.
			piles, ok := d.pilesOf(pallets, batches, wide, g)
			if !ok || wide && d.lanes == 1 || !d.mayFit(piles) {
				continue
			}
			if d.arrange(piles, drops) {
				stack(piles)
				return piles, true
			}
		}
	}
	return nil, false
}

// mayFit refuses at once what is too long for the deck however it is arranged.
func (d *Deck) mayFit(piles []pile) bool {
	need := 0
	for i := range piles {
		if piles[i].length > d.limitMM {
			return false
		}
		lanes := 1
		if piles[i].wide {
			lanes = d.lanes
		}
		need += lanes * (piles[i].length + d.rules.PileGapMM)
	}
	return need <= d.lanesMM()
}

// Load is an arrangement that keeps every rule of the deck.
type Load struct {
	deck  *Deck
	piles []pile
	drops int
	massG int64
}

// MassG is the mass of the load.
func (l Load) MassG() int64 { return l.massG }

// PilesOf counts the piles of a drop, from 1.
func (l Load) PilesOf(drop int) int {
	n := 0
	for i := range l.piles {
		if l.piles[i].drop == drop {
			n++
		}
	}
	return n
}

// Piles returns the load as a plan shows it, from the front to the tail.
func (l Load) Piles() []morning.Pile {
	ordered := slices.Clone(l.piles)
	l.deck.balance(ordered, l.drops)
	slices.SortStableFunc(ordered, func(a, b pile) int {
		return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.left, b.left))
	})
	out := make([]morning.Pile, len(ordered))
	for i, p := range ordered {
		out[i] = morning.Pile{
			Number: i + 1, DropNumber: p.drop, Lane: p.lane, FromMM: p.from, LengthMM: p.length,
			LeftMM: p.left, WidthMM: p.width, HeightMM: p.height, MassG: p.mass,
		}
		for from := 0; from < len(p.units); from += p.across {
			var tier morning.Tier
			for _, u := range p.units[from:min(from+p.across, len(p.units))] {
				tier.Items = append(tier.Items, u.Item)
			}
			out[i].Tiers = append(out[i].Tiers, tier)
		}
	}
	return out
}

// AxleLoads returns what rests on the axles at departure and after each drop.
func (l Load) AxleLoads() []morning.AxleLoads {
	out := make([]morning.AxleLoads, 0, l.drops+1)
	for after := 0; after <= l.drops; after++ {
		var left []mass
		for i := range l.piles {
			if p := &l.piles[i]; p.drop > after {
				left = append(left, mass{g: p.mass, lever2x: l.deck.lever2x(p)})
			}
		}
		front, rear := axles(l.deck.truck, left)
		out = append(out, morning.AxleLoads{AfterDrop: after, FrontKg: kilograms(front), RearKg: kilograms(rear)})
	}
	return out
}

// lever2x is twice the distance from the front axle to the middle of a pile.
func (d *Deck) lever2x(p *pile) int64 {
	return int64(2*(d.truck.DeckStartMM+p.from) + p.length)
}
