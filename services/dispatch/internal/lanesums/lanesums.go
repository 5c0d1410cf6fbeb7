// Package lanesums tells how much of a lane some of several piles take together:
// subset sums, one bit for each length.
package lanesums

// GrainMM is what lengths are rounded to.
const GrainMM = 10

// Words is how long a lane can be, in 64 grains each.
const Words = 32

// Set is the lengths that some of the piles come to, in grains. That of no piles
// is Set{1}.
type Set [Words]uint64

// Add lets a pile more be among them or not. Lengths beyond so many words are
// forgotten.
func (s *Set) Add(length, words int) {
	over, bits := length/64, length%64
	for i := words - 1; i >= over; i-- {
		moved := s[i-over] << bits
		if bits > 0 && i > over {
			moved |= s[i-over-1] >> (64 - bits)
		}
		s[i] |= moved
	}
}

// From is the least of the lengths between two, both included; -1 if there is none.
func (s *Set) From(least, most int) int {
	for n := max(0, least); n <= most && n < 64*len(s); n++ {
		if s[n/64]&(1<<(n%64)) != 0 {
			return n
		}
	}
	return -1
}
