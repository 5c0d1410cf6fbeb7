package loading

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

const (
	// exactPiles is up to how many piles every order is tried in more than two
	// lanes.
	exactPiles = 5
	// shuffles is how many orders beyond the planned ones are tried there with
	// more piles than that.
	shuffles = 40
)

// arrange stands the piles on the deck so that the axle limits hold at every
// stage of the trip, and writes their places into them.
func (d *Deck) arrange(piles []pile, drops int) bool {
	order := make([]int, len(piles))
	try := func() bool { return d.place(piles, order, drops) }
	for _, less := range orders {
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(a, b int) int { return less(&piles[a], &piles[b]) })
		if try() {
			return true
		}
	}
	if d.lanes <= 2 {
		// What these orders miss is left to every.
		return false
	}
	if len(piles) <= exactPiles {
		return permute(order, 0, try)
	}
	random := rand.New(rand.NewPCG(uint64(len(piles)), 1))
	for range shuffles {
		random.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		if try() {
			return true
		}
	}
	return false
}

// orders from the front of the deck that usually work: the heavy or the long
// in front or at the tail, and what is unloaded first at the tail.
var orders = []func(a, b *pile) int{
	func(a, b *pile) int { return cmp.Or(cmp.Compare(b.drop, a.drop), cmp.Compare(b.length, a.length)) },
	func(a, b *pile) int { return cmp.Compare(b.length, a.length) },
	func(a, b *pile) int { return cmp.Compare(a.length, b.length) },
	func(a, b *pile) int { return cmp.Compare(b.mass, a.mass) },
	func(a, b *pile) int { return cmp.Compare(a.mass, b.mass) },
	func(a, b *pile) int { return cmp.Or(cmp.Compare(a.drop, b.drop), cmp.Compare(b.mass, a.mass)) },
}

// permute tries every order of the places from k on.
func permute(order []int, k int, try func() bool) bool {
	if k >= len(order)-1 {
		return try()
	}
	for i := k; i < len(order); i++ {
		order[k], order[i] = order[i], order[k]
		if permute(order, k+1, try) {
			return true
		}
		order[k], order[i] = order[i], order[k]
	}
	return false
}

// place stands the piles close together from the front of the deck, each in
// the lane that has room first, and then moves all of them towards the tail
// just as far as the axles ask for.
func (d *Deck) place(piles []pile, order []int, drops int) bool {
	var few [4]int
	next := few[:min(d.lanes, len(few))]
	if d.lanes > len(few) {
		next = make([]int, d.lanes)
	}
	reach := 0
	for _, i := range order {
		p := &piles[i]
		lane := 0
		for l := range next {
			if next[l] < next[lane] {
				lane = l
			}
		}
		p.from = next[lane]
		if p.wide {
			lane = 0
			p.from = slices.Max(next)
		}
		p.lane = lane + 1
		end := p.from + p.length
		if end > d.limitMM {
			return false
		}
		reach = max(reach, end)
		if p.wide {
			for l := range next {
				next[l] = end + d.rules.PileGapMM
			}
		} else {
			next[lane] = end + d.rules.PileGapMM
		}
	}
	s := d.shiftsOf(piles, drops, int64(d.limitMM-reach))
	if s.from > s.to {
		return false
	}
	for i := range piles {
		piles[i].from += int(s.from)
	}
	d.across(piles)
	return true
}

// shiftsOf returns by how much all piles can be moved towards the tail with
// the axle limits kept at departure and after every drop.
func (d *Deck) shiftsOf(piles []pile, drops int, room int64) shifts {
	s := shifts{from: 0, to: room}
	for after := 0; after < drops && s.from <= s.to; after++ {
		var sum, moment int64
		for i := range piles {
			if p := &piles[i]; p.drop > after {
				sum += p.mass
				moment += p.mass * d.lever2x(p)
			}
		}
		s = s.within(d.truck, sum, moment)
	}
	return s
}

// across gives each pile its place across the deck: in the middle of its
// lane, or of the deck when nothing stands beside it.
func (d *Deck) across(piles []pile) {
	for i := range piles {
		p := &piles[i]
		alone := true
		for j := range piles {
			q := &piles[j]
			if i != j && p.from < q.from+q.length+d.rules.PileGapMM && q.from < p.from+p.length+d.rules.PileGapMM {
				alone = false
			}
		}
		if alone || p.wide {
			p.lane = 1
			p.left = (d.truck.DeckWidthMM - p.width) / 2
			continue
		}
		p.left = (p.lane-1)*(d.laneMM+d.rules.PileGapMM) + (d.laneMM-p.width)/2
	}
}
