package runbound

// lengthGrain is what lengths of piles are rounded to, in millimetres.
const lengthGrain = 10

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

// from is the least of the lengths between two, both included; -1 if there is none.
func (l *lengths) from(least, most int) int {
	for n := least; n <= most && n < 64*len(l); n++ {
		if l[n/64]&(1<<(n%64)) != 0 {
			return n
		}
	}
	return -1
}
