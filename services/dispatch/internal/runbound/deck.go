package runbound

import (
	"slices"

	"spanyard.example/services/dispatch/internal/lanesums"
)

// deck is a truck's deck as a proof sees it: lanes, and how wide it is.
//
// Every pile is thought to reach from its front end to a gap behind its tail
// end. No line across the deck meets more piles than there are lanes. Two piles
// that a line meets stand beside each other, with a gap between them across the
// deck. So what is wider than half the deck less a gap is broad: two broad piles
// are met by no line, and all the broad piles together are no longer than a lane.
type deck struct {
	lanes, laneMM int
	widthMM, gap  int
	// sizes of the pallets that are broad or narrow by how they are turned.
	sizes []size
}

// size of a pallet that may stand broad, its shorter side along the deck, or
// narrow, its longer side along it: its lengths, each with a gap.
type size struct{ broad, narrow int }

// wares are piles on a deck.
type wares struct {
	// piles are the lengths, each with a gap, of those that have only one.
	piles []int
	// broadMM is how long those of them are together that are broad.
	broadMM int
	// turned is how many pallets there are of each size of the deck.
	turned []int
}

// count of piles.
func (w *wares) count() int { return len(w.piles) + sum(w.turned) }

// reset takes everything away.
func (w *wares) reset() { *w = wares{piles: w.piles[:0], turned: w.turned[:0]} }

// add puts others with them.
func (w *wares) add(o wares) {
	w.piles = append(w.piles, o.piles...)
	w.broadMM += o.broadMM
	for i, n := range o.turned {
		if i == len(w.turned) {
			w.turned = append(w.turned, 0)
		}
		w.turned[i] += n
	}
}

// within says whether these, their piles sorted as those of a stretch, take the
// place of others: there are no more, and each is no longer.
func (w *wares) within(o *wares) bool {
	if len(w.piles) > len(o.piles) || w.broadMM > o.broadMM {
		return false
	}
	for k, l := range w.piles {
		if l > o.piles[k] {
			return false
		}
	}
	for i, n := range w.turned {
		if n > 0 && (i >= len(o.turned) || n > o.turned[i]) {
			return false
		}
	}
	return true
}

// newDeck looks at all pallets, so that their sizes have numbers.
func (p *Problem) newDeck(t *Truck) deck {
	d := deck{lanes: t.Lanes, laneMM: t.LaneMM, widthMM: t.WidthMM, gap: p.GapMM}
	for i := range p.Sites {
		for _, u := range p.Sites[i].Units {
			if s := d.sizeOf(&u); u.Pallet && d.turns(&u) && !slices.Contains(d.sizes, s) {
				d.sizes = append(d.sizes, s)
			}
		}
	}
	return d
}

// longest is how long one of the piles is at least, with its gap.
func (d *deck) longest(w *wares) int {
	longest := 0
	for _, l := range w.piles {
		longest = max(longest, l)
	}
	for i, n := range w.turned {
		if n > 0 {
			longest = max(longest, d.sizes[i].broad)
		}
	}
	return longest
}

// isBroad says whether no two piles of a width can stand beside each other.
func (d *deck) isBroad(widthMM int) bool { return d.lanes == 1 || 2*widthMM+d.gap > d.widthMM }

func (d *deck) sizeOf(u *Unit) size {
	return size{min(u.LengthMM, u.WidthMM) + d.gap, max(u.LengthMM, u.WidthMM) + d.gap}
}

// turns says whether it matters for a pallet which way it stands: it is shorter
// along the deck, but broad, the one way, and narrow the other.
func (d *deck) turns(u *Unit) bool {
	short, long := min(u.LengthMM, u.WidthMM), max(u.LengthMM, u.WidthMM)
	return short < long && long <= d.widthMM && d.isBroad(long) && !d.isBroad(short)
}

// add puts a pallet on the deck.
func (d *deck) add(w *wares, u *Unit) {
	if len(w.turned) < len(d.sizes) {
		w.turned = make([]int, len(d.sizes))
	}
	s := d.sizeOf(u)
	if d.turns(u) {
		w.turned[slices.Index(d.sizes, s)]++
		return
	}
	// Of two ways that are both narrow or both broad the shorter one is as good.
	length, width := s.broad, max(u.LengthMM, u.WidthMM)
	if width > d.widthMM {
		length, width = s.narrow, min(u.LengthMM, u.WidthMM)
	}
	w.piles = append(w.piles, length)
	if d.isBroad(width) {
		w.broadMM += length
	}
}

// none is the room on a deck that does not even hold what it has to.
const none = -1

// room is how long a pile, with its gap, could at most stand on the deck with others;
// none where not even they can, as far as a proof sees it.
//
// Some pallets are turned broad, no more than make a lane with all that is broad
// anyway. A pile that becomes shorter still stands where it stood, so of each size
// as many are turned broad as there is room for when it is clear how many of the
// sizes before it are.
func (d *deck) room(w *wares) int {
	if w.broadMM > d.laneMM {
		return none
	}
	return d.turn(w, slices.Clone(w.piles), 0, d.laneMM-w.broadMM)
}

// turn stands the pallets of the sizes from one on beside the piles, with so much
// of a lane for those that are broad.
func (d *deck) turn(w *wares, piles []int, of, lane int) int {
	if of >= len(w.turned) {
		return d.roomBeside(piles)
	}
	n, s := w.turned[of], d.sizes[of]
	most := min(n, lane/s.broad)
	least := most
	if sum(w.turned[of+1:]) > 0 {
		least = 0
	}
	best := none
	for broad := most; broad >= least; broad-- {
		with := piles
		for i := range n {
			if i < broad {
				with = append(with, s.broad)
			} else {
				with = append(with, s.narrow)
			}
		}
		best = max(best, d.turn(w, with, of+1, lane-broad*s.broad))
	}
	return best
}

// roomBeside is how long a pile can stand in the lanes with others, each length with
// a gap; none where they cannot stand themselves.
//
// Stretches of a line of which no more than n overlap anywhere can be given n
// colours so that none of one colour overlap, so the piles of each colour follow
// one another: with two lanes, some of the piles are no longer together than a
// lane, and neither are the others. With more lanes only all of them together are
// looked at.
func (d *deck) roomBeside(piles []int) int {
	all := 0
	for _, l := range piles {
		all += l
		if l > d.laneMM {
			return none
		}
	}
	if all > d.lanes*d.laneMM {
		return none
	}
	const grain = lanesums.GrainMM
	words := d.laneMM/grain/64 + 1
	if d.lanes != 2 || words > lanesums.Words {
		return min(d.laneMM, d.lanes*d.laneMM-all)
	}
	// Lengths are rounded down, what they may come to up: that errs towards
	// more room only.
	some := lanesums.Set{1}
	whole := 0
	for _, l := range piles {
		some.Add(l/grain, words)
		whole += l / grain
	}
	lane := d.laneMM / grain
	least := some.From(whole-lane, lane)
	if least < 0 {
		return none
	}
	return min(d.laneMM, (lane-least+1)*grain)
}

func sum(list []int) int {
	n := 0
	for _, v := range list {
		n += v
	}
	return n
}
