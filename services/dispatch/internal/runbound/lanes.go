package runbound

// lengths is a set of lengths of lane that some of the piles of a run can take
// together, in units of lengthGrain: one bit for each.
type lengths [longestLane]uint64

// longestLane is how long a lane can be, in 64 lengthGrain.
const longestLane = 32

// add lets a pile more be among them or not.
func (l *lengths) add(length, words int) {
	over, bits := length/64, length%64
	for i := words - 1; i >= over; i-- {
		moved := l[i-over] << bits
		if bits > 0 && i > over {
			moved |= l[i-over-1] >> (64 - bits)
		}
		l[i] |= moved
	}
}

// between says whether one of the lengths lies between two, both included.
func (l *lengths) between(least, most int) bool {
	for n := max(0, least); n <= most && n < 64*len(l); n++ {
		if l[n/64]&(1<<(n%64)) != 0 {
			return true
		}
	}
	return false
}

// lanesHold says whether piles of these lengths, each with a gap, can stand in
// the lanes of a deck.
//
// No line across a deck meets more piles than there are lanes. Stretches of a
// line of which no more than n overlap anywhere can be given n colours so that
// none of one colour overlap, so the piles of each colour follow one another:
// with two lanes, some of the piles are no longer together than a lane, and
// neither are the others. With more lanes only all of them together are
// looked at.
func (t *Truck) lanesHold(piles []int) bool {
	sum := 0
	for _, l := range piles {
		sum += l
		if l > t.LaneMM {
			return false
		}
	}
	if sum > t.Lanes*t.LaneMM {
		return false
	}
	if t.Lanes != 2 || sum <= t.LaneMM {
		return true
	}
	// Lengths are rounded down, what they may come to up: that errs towards
	// yes only.
	words := t.LaneMM/lengthGrain/64 + 1
	if words > longestLane {
		return true
	}
	some := lengths{1}
	whole := 0
	for _, l := range piles {
		some.add(l/lengthGrain, words)
		whole += l / lengthGrain
	}
	return some.between(whole-t.LaneMM/lengthGrain, t.LaneMM/lengthGrain)
}

// lengthGrain is what lengths of piles are rounded to, in millimetres.
const lengthGrain = 10
