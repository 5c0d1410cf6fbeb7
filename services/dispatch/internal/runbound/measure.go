package runbound

import "slices"

// measures is how many things are counted that a load uses up, masses among them.
const measures = 6

// uses is how much of each a stretch takes.
type uses [measures]int64

// fit says whether no more is used than there is.
func (u *uses) fit(left *uses) bool {
	for m := range u {
		if u[m] > left[m] {
			return false
		}
	}
	return true
}

// less is what is left when something is used.
func (u uses) less(by *uses) uses {
	for m := range u {
		u[m] -= by[m]
	}
	return u
}

// measure gives every pile a number such that those of the piles on a deck come
// to no more than whole.
//
// A lane is thought of as cut into parts of equal length, and a pile charged for
// every one that it is longer than: the lengths in parts of the piles of a lane
// are no more than the parts together, and a charge is less than a length, so that
// the charges are fewer than the parts (S. Fekete, J. Schepers, "New Classes of
// Fast Lower Bounds for Bin Packing Problems", Mathematical Programming 91, 2001).
// Without parts a pile is charged its length. By either, all the piles of the
// lanes of a deck come to no more than lanes times a lane, and those that are broad,
// of which no two stand beside each other, to no more than one lane. So what is
// broad may be charged more: by extra parts in a hundred, when a deck is counted
// larger by as much of a lane. A pallet that may stand either way is charged the
// lesser of the two.
type measure struct {
	d     *deck
	parts int
	extra int64
	whole int64
	// turned is the charge of a pallet of each size.
	turned []int64
}

// hundred is what charges are counted in.
const hundred = 100

func newMeasure(d *deck, parts int, extra int64) measure {
	m := measure{d: d, parts: parts, extra: extra, whole: int64(d.laneMM)}
	if parts > 0 {
		m.whole = int64(parts - 1)
	}
	m.whole *= int64(d.lanes)*hundred + extra
	for _, s := range d.sizes {
		m.turned = append(m.turned, min(m.charge(s.narrow)*hundred, m.charge(s.broad)*(hundred+extra)))
	}
	return m
}

// charge of a narrow pile.
func (m *measure) charge(length int) int64 {
	if m.parts == 0 {
		return int64(length)
	}
	return int64(max(0, (m.parts*length+m.d.laneMM-1)/m.d.laneMM-1))
}

// of adds up what piles are charged.
func (m *measure) of(w *wares) int64 {
	var all int64
	for _, l := range w.piles {
		all += hundred * m.charge(l)
	}
	for i, n := range w.turned {
		all += int64(n) * m.turned[i]
	}
	return all
}

// mostParts is into how many parts a lane is cut at most.
const mostParts = 24

// mostSamples is how much that is too much for a deck is looked at.
const mostSamples = 300

// sample is some of many loads.
type sample struct {
	of   []wares
	seen int
}

func (s *sample) add(w wares) {
	if len(s.of) < mostSamples {
		s.of = append(s.of, w)
	} else {
		s.of[s.seen%mostSamples] = w
	}
	s.seen++
}

// bestMeasures are by which it shows best that some piles are too much for the deck:
// each the one by which it shows for most of those for which it shows by none before.
func (d *deck) bestMeasures(tooMuch []wares) []measure {
	list := d.allMeasures()
	hidden := slices.Clone(tooMuch)
	var out []measure
	for len(out) < measures-1 {
		best, most := 0, -1
		for i := range list {
			n := 0
			for k := range hidden {
				if list[i].shows(&hidden[k]) {
					n++
				}
			}
			if n > most {
				best, most = i, n
			}
		}
		out = append(out, list[best])
		hidden = slices.DeleteFunc(hidden, func(w wares) bool { return list[best].shows(&w) })
		list = slices.Delete(list, best, best+1)
	}
	return out
}

// shows says whether it shows by the measure that piles are too much for the deck.
func (m *measure) shows(w *wares) bool { return m.of(w) > m.whole }

// allMeasures are those worth looking at; with most pallets turned broad first.
func (d *deck) allMeasures() []measure {
	var list []measure
	for parts := range mostParts + 1 {
		if parts == 1 {
			continue
		}
		plain := newMeasure(d, parts, 0)
		for _, s := range d.sizes {
			if broad, narrow := plain.charge(s.broad), plain.charge(s.narrow); broad > 0 && narrow > broad {
				list = append(list, newMeasure(d, parts, (narrow-broad)*hundred/broad))
			}
		}
		list = append(list, plain)
	}
	return list
}
