package stacking

// table remembers for visited states how many relocations they need at least.
// An entry holds 56 bits of one sum of a state and the bound in the other 8;
// its place comes from the other sum, so that two states are taken for one
// only when about 70 bits agree.
type table struct {
	entries []uint64
	mask    uint64
	filled  int
	most    int // entries to grow to
}

// never is the bound of a state from which nothing leads to the end.
const never = 255

const bucket = 4

func newTable(bits int) *table {
	bits = min(max(bits, 8), 28)
	t := &table{most: 1 << bits}
	t.resize(1 << min(bits, 14))
	return t
}

func (t *table) resize(n int) {
	t.entries = make([]uint64, n)
	t.mask = uint64(n-1) &^ (bucket - 1)
	t.filled = 0
}

// get returns the bound known for a state; 0 if there is none.
func (t *table) get(sum, check uint64) int {
	at := check & t.mask
	for _, e := range t.entries[at : at+bucket] {
		if (e^sum)>>8 == 0 {
			return int(e & 255)
		}
	}
	return 0
}

// set notes a bound. A full bucket gives up the entry with the lowest bound,
// which saved the least work.
func (t *table) set(sum, check uint64, bound int) {
	if bound > never {
		return
	}
	// Doubling throws the entries away: they come back, at half the cost of
	// what has been searched so far at most.
	if t.filled > len(t.entries)/4*3 && len(t.entries) < t.most {
		t.resize(min(len(t.entries)*8, t.most))
	}
	at := check & t.mask
	b := t.entries[at : at+bucket]
	worst := 0
	for i, e := range b {
		if (e^sum)>>8 == 0 {
			b[i] = sum&^255 | uint64(max(bound, int(e&255)))
			return
		}
		if e&255 < b[worst]&255 {
			worst = i
		}
	}
	if b[worst] == 0 {
		t.filled++
	}
	b[worst] = sum&^255 | uint64(bound)
}
