package stacking

import (
	"cmp"
	"slices"
)

// kind is what a search does: the two rules of picking, or sorting.
type kind int

const (
	pickAboveNext kind = iota
	pickAnyTop
	sortOnly
)

// none is the rank "below" the lowest piece of a stack: later than any.
const none = ^uint16(0)

// state is a yard in the middle of a search. A move changes it in place and
// is taken back by its step; nothing is allocated in between.
type state struct {
	kind   kind
	stacks int
	width  int      // tiers that a row of at has
	rank   []uint16 // by piece; dense from 1; last+1 stays
	last   uint16   // the last rank that is picked
	limit  []int32  // by stack
	rests  []uint64 // bit set by piece*pieces+below; nil: all may
	order  []uint16 // pieces that are picked, by rank
	group  []int32  // where a rank begins in order; last+2 entries

	at    []uint16 // piece by stack*width+tier
	low   []uint16 // lowest rank among the tiers below (0: has to move), by stack*(width+1)+tier
	high  []int32  // pieces by stack
	where []int16  // stack by piece; -1: picked
	tier  []int16  // by piece
	next  uint16   // rank that is picked next
	left  int32    // pieces of that rank still there
	bad   int      // pieces above one that leaves earlier; when sorting also all above them

	zobrist []uint64 // by (rank or piece)*width+tier
	seed    []uint64 // by stack: tells limits apart
	key     []uint64 // by stack
	sum     uint64   // of mixed keys: equal whatever the order of stacks
	check   uint64   // likewise, mixed in another way

	// What the rules of dominance look at.
	clock   int32
	touched []int32 // by stack: when it last changed
	put     []int32 // by piece: when it was last relocated; 0 never
	from    []int16 // by piece: where from
	log     []taken // picks in order
}

type taken struct {
	piece   uint16
	stack   int16
	touched int32
}

// step is what is needed to take a move back.
type step struct {
	from, to           int
	touchFrom, touchTo int32
	put                int32
	origin             int16
	picks              int
	next               uint16
	left               int32
}

// newState lays out the stacks of a problem that has been checked.
func newState(p Problem, k kind) *state {
	n := len(p.Rank)
	st := &state{kind: k, stacks: len(p.Stacks)}
	st.setRanks(p)
	st.limit = make([]int32, st.stacks)
	for s, stack := range p.Stacks {
		st.limit[s] = int32(n)
		if p.Tiers != nil && p.Tiers[s] > 0 {
			st.limit[s] = int32(min(p.Tiers[s], n))
		}
		st.width = max(st.width, len(stack), int(st.limit[s]))
	}
	st.setRests(p)
	st.at = make([]uint16, st.stacks*st.width)
	st.low = make([]uint16, st.stacks*(st.width+1))
	st.high = make([]int32, st.stacks)
	st.where = make([]int16, n)
	st.tier = make([]int16, n)
	st.setKeys(n)
	st.touched = make([]int32, st.stacks)
	st.put = make([]int32, n)
	st.from = make([]int16, n)
	st.log = make([]taken, 0, n)
	var flat []uint16
	high := make([]int32, st.stacks)
	for s, stack := range p.Stacks {
		high[s] = int32(len(stack))
		for _, piece := range stack {
			flat = append(flat, uint16(piece))
		}
	}
	st.load(flat, high)
	return st
}

// setRanks makes the ranks dense, which keeps the rows of the look-ahead short.
func (st *state) setRanks(p Problem) {
	var ranks []int
	for _, r := range p.Rank {
		if r != Stays {
			ranks = append(ranks, r)
		}
	}
	slices.Sort(ranks)
	ranks = slices.Compact(ranks)
	st.last = uint16(len(ranks))
	st.rank = make([]uint16, len(p.Rank))
	for piece, r := range p.Rank {
		st.rank[piece] = st.last + 1
		if r != Stays {
			i, _ := slices.BinarySearch(ranks, r)
			st.rank[piece] = uint16(i + 1)
			st.order = append(st.order, uint16(piece))
		}
	}
	slices.SortStableFunc(st.order, func(a, b uint16) int { return cmp.Compare(st.rank[a], st.rank[b]) })
	st.group = make([]int32, st.last+2)
	for i, piece := range st.order {
		st.group[st.rank[piece]+1] = int32(i + 1)
	}
}

func (st *state) setRests(p Problem) {
	if p.Rests == nil {
		return
	}
	n := len(p.Rank)
	st.rests = make([]uint64, (n*n+63)/64)
	for piece := range n {
		for below := range n {
			if piece != below && p.Rests(piece, below) {
				bit := piece*n + below
				st.rests[bit>>6] |= 1 << (bit & 63)
			}
		}
	}
}

// setKeys makes the numbers that tell states apart. Pieces of one rank are
// the same to the search unless it matters what they lie on.
func (st *state) setKeys(n int) {
	classes := int(st.last) + 2
	if st.rests != nil {
		classes = n
	}
	st.zobrist = make([]uint64, classes*st.width)
	for i := range st.zobrist {
		st.zobrist[i] = mix(uint64(i) + 1)
	}
	st.seed = make([]uint64, st.stacks)
	for s := range st.seed {
		st.seed[s] = mix(uint64(st.limit[s]) << 32)
	}
	st.key = make([]uint64, st.stacks)
}

// mix is the finalizer of splitmix64 (from memory).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// remix is another scatter of a key, so that two sums must agree at once.
func remix(x uint64) uint64 {
	x ^= x >> 31
	x *= 0xd6e8feb86659fd93
	x ^= x >> 32
	return x * 0xff51afd7ed558ccd
}

// load puts the pieces of a snapshot in place: all stacks one after another
// from the ground up.
func (st *state) load(flat []uint16, high []int32) {
	for i := range st.where {
		st.where[i] = -1
	}
	// The sums leave out what the keys of empty stacks add: a constant.
	st.bad, st.sum, st.check = 0, 0, 0
	i := 0
	for s := range st.stacks {
		st.low[s*(st.width+1)] = none
		st.high[s] = 0
		st.key[s] = st.seed[s]
		for range high[s] {
			st.push(s, flat[i])
			i++
		}
	}
	st.findNext()
}

// findNext works out what is picked next from what is there.
func (st *state) findNext() {
	st.next, st.left = 0, 0
	if st.kind == sortOnly {
		st.next = st.last + 1
		return
	}
	for st.left == 0 && st.next <= st.last {
		st.next++
		if st.next <= st.last {
			st.left = st.count(st.next)
		}
	}
}

// count returns how many pieces of a rank are still there.
func (st *state) count(rank uint16) (left int32) {
	for _, piece := range st.order[st.group[rank]:st.group[rank+1]] {
		if st.where[piece] >= 0 {
			left++
		}
	}
	return left
}

// save appends the pieces and heights of the state to a snapshot.
func (st *state) save(flat []uint16, high []int32) ([]uint16, []int32) {
	for s := range st.stacks {
		row := s * st.width
		flat = append(flat, st.at[row:row+int(st.high[s])]...)
	}
	return flat, append(high, st.high...)
}

func (st *state) done() bool {
	if st.kind == sortOnly {
		return st.bad == 0
	}
	return st.next > st.last
}

func (st *state) top(s int) uint16 { return st.at[s*st.width+int(st.high[s])-1] }

// lowest is the lowest rank in a stack, none when it is empty.
func (st *state) lowest(s int) uint16 { return st.low[s*(st.width+1)+int(st.high[s])] }

// inOrder counts, when sorting, the pieces of a stack that need not move.
func (st *state) inOrder(s int) (n int) {
	row := s * (st.width + 1)
	for n < int(st.high[s]) && st.low[row+n+1] > 0 {
		n++
	}
	return n
}

func (st *state) class(piece uint16) int {
	if st.rests != nil {
		return int(piece)
	}
	return int(st.rank[piece])
}

func (st *state) push(s int, piece uint16) {
	t := int(st.high[s])
	row := s * (st.width + 1)
	low := st.low[row+t]
	rank := st.rank[piece]
	if rank > low {
		st.bad++
		if st.kind == sortOnly {
			low = 0 // whatever lies above it has to move as well
		}
	} else {
		low = rank
	}
	st.at[s*st.width+t] = piece
	st.low[row+t+1] = low
	st.high[s]++
	st.where[piece], st.tier[piece] = int16(s), int16(t)
	st.rekey(s, st.zobrist[st.class(piece)*st.width+t])
}

// rekey changes the key of a stack and with it the sums.
func (st *state) rekey(s int, change uint64) {
	old := st.key[s]
	now := old ^ change
	st.key[s] = now
	st.sum += mix(now) - mix(old)
	st.check += remix(now) - remix(old)
}

func (st *state) pop(s int) uint16 {
	t := int(st.high[s]) - 1
	piece := st.at[s*st.width+t]
	if st.rank[piece] > st.low[s*(st.width+1)+t] {
		st.bad--
	}
	st.high[s] = int32(t)
	st.rekey(s, st.zobrist[st.class(piece)*st.width+t])
	return piece
}

// fits says whether the piece may be put on a stack.
func (st *state) fits(piece uint16, s int) bool {
	if st.high[s] >= st.limit[s] {
		return false
	}
	return st.rests == nil || st.high[s] == 0 || st.mayRest(piece, st.top(s))
}

// mayRest says whether a piece may lie on another, where that matters at all.
func (st *state) mayRest(piece, below uint16) bool {
	bit := int(piece)*len(st.rank) + int(below)
	return st.rests[bit>>6]>>(bit&63)&1 != 0
}

// move relocates the top of one stack to another and picks whatever can be
// picked then: it is never better to wait with a pick. A plan is wasteful
// when the same could be had with fewer moves.
func (st *state) move(from, to int) (u step, wasteful bool) {
	piece := st.pop(from)
	u = step{from: from, to: to, touchFrom: st.touched[from], touchTo: st.touched[to],
		put: st.put[piece], origin: st.from[piece], next: st.next, left: st.left, picks: len(st.log)}
	st.push(to, piece)
	st.clock++
	st.touched[from], st.touched[to] = st.clock, st.clock
	st.put[piece], st.from[piece] = st.clock, int16(from)
	wasteful = st.pickAll()
	u.picks = len(st.log) - u.picks
	return u, wasteful
}

// takeBack undoes the last move.
func (st *state) takeBack(u step) {
	st.unpick(u.picks)
	st.next, st.left = u.next, u.left
	piece := st.pop(u.to)
	st.push(u.from, piece)
	st.touched[u.from], st.touched[u.to] = u.touchFrom, u.touchTo
	st.put[piece], st.from[piece] = u.put, u.origin
	st.clock--
}

// unpick puts the last picks back; what is next is the caller's to restore.
func (st *state) unpick(picks int) {
	for range picks {
		t := st.log[len(st.log)-1]
		st.log = st.log[:len(st.log)-1]
		st.push(int(t.stack), t.piece)
		st.touched[t.stack] = t.touched
		st.clock--
	}
}

// pickAll picks until something is in the way. It is wasteful to have
// relocated a piece that would have been as free where it was.
func (st *state) pickAll() (wasteful bool) {
	for st.next <= st.last {
		found := false
		for _, piece := range st.order[st.group[st.next]:st.group[st.next+1]] {
			s := st.where[piece]
			if s < 0 || int32(st.tier[piece]) != st.high[s]-1 {
				continue
			}
			found = true
			if at := st.put[piece]; at > 0 && st.rests == nil && st.touched[st.from[piece]] <= at {
				wasteful = true
			}
			st.pop(int(s))
			st.where[piece] = -1
			st.log = append(st.log, taken{piece, s, st.touched[s]})
			st.clock++
			st.touched[s] = st.clock
			st.left--
		}
		if st.left == 0 {
			st.next++
			if st.next <= st.last {
				st.left = st.count(st.next)
			}
			continue
		}
		if !found {
			return wasteful
		}
	}
	return wasteful
}

// pointless says whether moving the top of one stack to another could have
// been had more cheaply: its last relocation could have brought it there at
// once, or, where any top may move at any time, could have waited until now.
func (st *state) pointless(from, to int) bool {
	piece := st.top(from)
	at := st.put[piece]
	if at == 0 || st.rests != nil {
		return false
	}
	if st.touched[to] <= at {
		return true
	}
	return st.kind != pickAboveNext && st.touched[st.from[piece]] <= at
}
