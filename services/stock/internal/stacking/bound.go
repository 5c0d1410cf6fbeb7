package stacking

// looker computes lower bounds of a state by looking ahead; it keeps its
// scratch space between calls.
type looker struct {
	high     []int32  // what is left of every stack
	free     []uint16 // lowest ranks of the other stacks
	blockers []uint16 // ranks, from the top down
	spans    []span   // of blockers, by stack
	chain    []uint16 // pieces with nothing earlier below, by stack*width
	chained  []int32  // how many, by stack
	used     []uint32 // by piece: the look in which it was counted
	look     uint32
	picked   []int32

	// For sorting:
	need   []int32    // by rank: pieces that have to move less places for them
	sound  []int32    // pieces by stack that need not move
	keep   []int32    // of these, by stack, those from a rank on
	offers []supplier // of stacks for a rank
}

type span struct{ stack, begin, end int }

func newLooker(st *state) *looker {
	return &looker{
		high:     make([]int32, st.stacks),
		free:     make([]uint16, 0, st.stacks),
		blockers: make([]uint16, 0, len(st.rank)),
		spans:    make([]span, 0, st.stacks),
		chain:    make([]uint16, st.stacks*st.width),
		chained:  make([]int32, st.stacks),
		used:     make([]uint32, len(st.rank)),
		picked:   make([]int32, st.stacks),
	}
}

// bound is a lower bound on the relocations that a state still needs. It may
// stop at any value above enough.
func (l *looker) bound(st *state, enough int) int {
	if st.bad == 0 || st.bad > enough {
		return st.bad
	}
	if st.kind == pickAboveNext {
		return l.boundAboveNext(st, enough)
	}
	if st.kind == sortOnly {
		n := l.boundSorting(st)
		if n <= enough {
			n = max(n, l.boundClosed(st))
		}
		return n
	}
	return l.boundAnyTop(st, enough)
}

// boundAboveNext counts every piece above an earlier one, and once more those
// that cannot be put where nothing earlier lies. It looks ahead from pick to
// pick: what was in the way of an earlier pick is left out of the yard then,
// which can only make the yard easier. (The idea of counting second moves by
// looking ahead is that of Zhu, Qin, Lim and Zhang 2012, the joint count of
// what lies in the way of one pick that of Tanaka and Takii 2016; both from
// memory.)
func (l *looker) boundAboveNext(st *state, enough int) int {
	total, open := st.bad, st.bad
	copy(l.high, st.high)
	for r := st.next; r <= st.last && open > 0; r++ {
		group := st.order[st.group[r]:st.group[r+1]]
		l.blockers, l.spans = l.blockers[:0], l.spans[:0]
		// Other pieces of the rank may leave first: all of them, and what
		// lies above them, go before the places are looked at.
		for _, piece := range group {
			if s := st.where[piece]; s >= 0 && int32(st.tier[piece]) < l.high[s] {
				l.dig(st, int(s), int32(st.tier[piece]), r)
			}
		}
		for _, sp := range l.spans {
			open -= sp.end - sp.begin
			total += l.misplaced(st, sp)
			if total > enough {
				return total
			}
		}
	}
	return total
}

// dig takes everything from a tier up off a stack and notes what was in the
// way of rank r there.
func (l *looker) dig(st *state, s int, tier int32, r uint16) {
	begin := len(l.blockers)
	row := s * st.width
	for t := l.high[s] - 1; t > tier; t-- {
		if rank := st.rank[st.at[row+int(t)]]; rank > r {
			l.blockers = append(l.blockers, rank)
		}
	}
	l.high[s] = tier
	if len(l.blockers) > begin {
		l.spans = append(l.spans, span{s, begin, len(l.blockers)})
	}
}

// misplaced is the least number of the blockers of one stack, moved from the
// top down, that come to lie above an earlier piece.
func (l *looker) misplaced(st *state, sp span) int {
	most := uint16(0)
	l.free = l.free[:0]
	least := l.blockers[sp.begin]
	for _, b := range l.blockers[sp.begin:sp.end] {
		least = min(least, b)
	}
	for s := range st.stacks {
		if s == sp.stack || l.high[s] >= st.limit[s] {
			continue
		}
		if low := st.low[s*(st.width+1)+int(l.high[s])]; low >= least {
			l.free = append(l.free, low)
			most = max(most, low)
		}
	}
	if len(l.free) == 0 {
		return sp.end - sp.begin
	}
	blockers := l.blockers[sp.begin:sp.end]
	if len(blockers) == 1 {
		return 0
	}
	return fewestMisplaced(blockers, l.free, len(blockers))
}

// fewestMisplaced tries for every blocker in turn the tightest stack that
// takes it well (no other is better: it leaves the later ones no worse), and
// to misplace it, which leaves the stacks as they are.
func fewestMisplaced(blockers, free []uint16, enough int) int {
	for i, b := range blockers {
		best := -1
		for j, low := range free {
			if low >= b && (best < 0 || low < free[best]) {
				best = j
			}
		}
		if best < 0 {
			if enough == 0 {
				return 1
			}
			return 1 + fewestMisplaced(blockers[i+1:], free, enough-1)
		}
		if b == free[best] {
			continue
		}
		// Placing it well is one choice; misplacing it pays only when a
		// later blocker needs the stack as it was.
		if needed(blockers[i+1:], b, free[best]) {
			old := free[best]
			free[best] = b
			well := fewestMisplaced(blockers[i+1:], free, enough)
			free[best] = old
			if well == 0 {
				return 0
			}
			if enough = min(enough, well-1); enough == 0 {
				return well
			}
			return min(well, 1+fewestMisplaced(blockers[i+1:], free, enough-1))
		}
		old := free[best]
		free[best] = b
		fewest := fewestMisplaced(blockers[i+1:], free, enough)
		free[best] = old
		return fewest
	}
	return 0
}

// needed says whether a later blocker fits well between two ranks.
func needed(blockers []uint16, above, upTo uint16) bool {
	for _, b := range blockers {
		if b > above && b <= upTo {
			return true
		}
	}
	return false
}

// boundAnyTop counts every piece above an earlier one, and looks for disjoint
// sets of pieces of which each set needs one more move. Such a set is a piece
// that is in the way together with one piece in every other stack that leaves
// before it but after the pick that it blocks, and has nothing earlier below
// it: either the first moves twice, or one of the others moves although it
// need not. (Disjoint sets of this sort are used by Tricoire, Scagnetti and
// Beham 2018 and by Tanaka and Mizuno 2018, from memory; here the piece of
// each stack is chosen so that the next set still finds one.)
func (l *looker) boundAnyTop(st *state, enough int) int {
	total, open := st.bad, st.bad
	if !l.chains(st) {
		return total
	}
	copy(l.high, st.high)
	for r := st.next; r <= st.last && open > 0; r++ {
		for _, target := range st.order[st.group[r]:st.group[r+1]] {
			s := int(st.where[target])
			if s < 0 || int32(st.tier[target]) >= l.high[s] {
				continue
			}
			row := s * st.width
			for t := l.high[s] - 1; t > int32(st.tier[target]); t-- {
				piece := st.at[row+int(t)]
				if st.rank[piece] <= r {
					continue
				}
				open--
				if l.closed(st, s, r, piece) {
					if total++; total > enough {
						return total
					}
				}
			}
			l.high[s] = int32(st.tier[target])
		}
	}
	return total
}

// chains lists for every stack the pieces with nothing earlier below, from
// the ground up. It answers false when two stacks have none: then every piece
// finds a place.
func (l *looker) chains(st *state) bool {
	l.look++
	empty := 0
	for s := range st.stacks {
		row, n := s*st.width, int32(0)
		for t := range int(st.high[s]) {
			piece := st.at[row+t]
			if st.rank[piece] <= st.low[s*(st.width+1)+t] {
				l.chain[row+int(n)] = piece
				n++
			}
		}
		l.chained[s] = n
		if n == 0 && st.limit[s] > 0 {
			empty++
		}
	}
	return empty < 2
}

// closed says whether every stack but its own has an uncounted piece that
// keeps a piece from being placed well, and counts these pieces if so.
func (l *looker) closed(st *state, own int, r uint16, piece uint16) bool {
	rank := st.rank[piece]
	l.picked = l.picked[:0]
	for s := range st.stacks {
		if s == own || st.limit[s] == 0 {
			continue
		}
		row, found := s*st.width, false
		for i := range int(l.chained[s]) {
			other := st.chainRank(l, row+i)
			if other <= r {
				break
			}
			if other < rank && l.used[l.chain[row+i]] != l.look {
				l.picked = append(l.picked, int32(l.chain[row+i]))
				found = true
				break
			}
		}
		if found {
			continue
		}
		// A full stack without a misplaced piece must give one up first.
		n := l.chained[s]
		if n == 0 || n < st.high[s] || n < st.limit[s] {
			return false
		}
		if top := l.chain[row+int(n)-1]; st.rank[top] > r && l.used[top] != l.look {
			l.picked = append(l.picked, int32(top))
			continue
		}
		return false
	}
	for _, p := range l.picked {
		l.used[p] = l.look
	}
	return true
}

func (st *state) chainRank(l *looker, i int) uint16 { return st.rank[l.chain[i]] }
