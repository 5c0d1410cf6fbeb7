package stacking

import (
	"cmp"
	"slices"
)

// beam carries the most promising states from one relocation to the next: a
// breadth-first search that keeps a fixed number of them.
type beam struct {
	st    *state
	look  *looker
	stop  func() bool
	seen  map[uint64]struct{}
	cands []candidate
	near  []candidate // of one state
	nth   []int64     // by stack: moves from it so far
	roll  rollout
	far   int // where an estimate may stop

	// Of one run:
	trail [][]link // by depth and place on the shelf
	best  []choice
	most  int // relocations that a better plan has
	found bool
}

// candidate is a state that one move leads to.
type candidate struct {
	order    int64
	parent   int32
	from, to int8
	sum      uint64
}

// shelf holds the states of one depth.
type shelf struct {
	flat  []uint16
	begin []int32 // where a state's pieces begin in flat
	high  []int32 // stacks by state
}

func newBeam(st *state, stop func() bool) *beam {
	return &beam{st: st, look: newLooker(st), roll: rollout{st: st}, nth: make([]int64, st.stacks), stop: stop, far: farthest(st), seen: map[uint64]struct{}{}}
}

type link struct {
	parent   int32
	from, to int8
}

// run returns the relocations of the best plan it meets that has at most the
// given number of them; false if it meets none. The state is left where it
// was.
func (b *beam) run(width, most int) ([]choice, bool) {
	b.trail, b.best, b.most, b.found = b.trail[:0], b.best[:0], most, false
	var now, then shelf
	now.add(b.st)
	first := shelf{flat: slices.Clone(now.flat), begin: slices.Clone(now.begin), high: slices.Clone(now.high)}
	defer func() { first.take(b.st, 0) }()
	if b.st.done() {
		return nil, true
	}
	for depth := 1; depth <= b.most; depth++ {
		if !b.spread(&now, depth) || len(b.cands) == 0 {
			break
		}
		b.choose(width)
		then.reset()
		links := make([]link, len(b.cands))
		for i, c := range b.cands {
			links[i] = link{c.parent, c.from, c.to}
			now.take(b.st, int(c.parent))
			b.st.move(int(c.from), int(c.to))
			then.add(b.st)
		}
		b.trail = append(b.trail, links)
		now, then = then, now
	}
	return slices.Clone(b.best), b.found
}

// note keeps the plan that the estimate of a candidate amounts to, if it is
// the best so far. The present state is the candidate.
func (b *beam) note(c candidate, depth int) {
	n := len(b.roll.steps)
	if !b.roll.done || depth+n > b.most {
		return
	}
	b.best = append(follow(b.trail, c.parent), choice{from: int32(c.from), to: int32(c.to)})
	for _, u := range b.roll.steps {
		b.best = append(b.best, choice{from: int32(u.from), to: int32(u.to)})
	}
	b.most, b.found = depth+n-1, true
}

func follow(trail [][]link, at int32) []choice {
	out := make([]choice, len(trail), len(trail)+1)
	for i := len(trail) - 1; i >= 0; i-- {
		l := trail[i][at]
		out[i] = choice{from: int32(l.from), to: int32(l.to)}
		at = l.parent
	}
	return out
}

func (h *shelf) reset() { h.flat, h.begin, h.high = h.flat[:0], h.begin[:0], h.high[:0] }

func (h *shelf) add(st *state) {
	h.begin = append(h.begin, int32(len(h.flat)))
	h.flat, h.high = st.save(h.flat, h.high)
}

func (h *shelf) take(st *state, i int) {
	st.load(h.flat[h.begin[i]:], h.high[i*st.stacks:(i+1)*st.stacks])
	clear(st.put)
	st.log = st.log[:0]
}

// spread fills in the most promising of what one move leads to from each
// state of a shelf and what may end within the relocations left after it. It
// answers false when it was stopped.
func (b *beam) spread(now *shelf, depth int) bool {
	b.cands = b.cands[:0]
	clear(b.seen)
	x := search{st: b.st}
	here := &level{}
	for i := range now.begin {
		if b.stop != nil && b.stop() {
			return false
		}
		left := b.most - depth
		now.take(b.st, i)
		x.list(here)
		b.rank(here)
		b.near = b.near[:0]
		for _, c := range here.moves {
			if b.idle(c) {
				continue
			}
			b.nth[c.from]++
			u, _ := b.st.move(int(c.from), int(c.to))
			if bound := b.look.bound(b.st, left); bound <= left && !b.known() {
				b.near = append(b.near, candidate{int64(bound)<<32 + b.nth[c.from]<<24 + int64(c.order), int32(i), int8(c.from), int8(c.to), b.st.sum})
			}
			b.st.takeBack(u)
		}
		b.near = narrow(b.near, branch)
		for _, c := range b.near {
			u, _ := b.st.move(int(c.from), int(c.to))
			c.order = b.order(int(c.order >> 32))
			b.cands = append(b.cands, c)
			b.note(c, depth)
			b.st.takeBack(u)
		}
	}
	return true
}

// branch is how many of the states that one move leads to from a state are
// looked at closely.
const branch = 8

// rank puts the moves of a state in order: when sorting, by what they spoil.
func (b *beam) rank(here *level) {
	clear(b.nth)
	if b.st.kind != sortOnly {
		return
	}
	b.roll.settle.survey(b.st)
	for i, c := range here.moves {
		here.moves[i].order = b.roll.settle.spoils(b.st, b.st.rank[b.st.top(int(c.from))], int(c.to))
	}
	slices.SortStableFunc(here.moves, func(x, y choice) int { return cmp.Compare(x.order, y.order) })
}

// known says whether the present state was met before at this depth.
func (b *beam) known() bool {
	if _, known := b.seen[b.st.sum]; known {
		return true
	}
	b.seen[b.st.sum] = struct{}{}
	return false
}

// idle says whether a move is left out although it is allowed. When picking:
// it touches nothing that lies above the next pick, and brings a piece to lie
// above an earlier one. When sorting: it spoils a stack that is in order while
// another takes the piece that is not. The exact search leaves no such move
// out.
func (b *beam) idle(c choice) bool {
	st := b.st
	from, to := int(c.from), int(c.to)
	if st.kind == pickAboveNext || st.rank[st.top(from)] <= st.lowest(to) {
		return false
	}
	if st.kind == pickAnyTop {
		return st.lowest(from) != st.next
	}
	if st.lowest(to) == 0 {
		return false
	}
	for s := range st.stacks {
		if s != from && st.lowest(s) == 0 && st.fits(st.top(from), s) {
			return true
		}
	}
	return false
}

// order ranks states; smaller is more promising. The bound alone cannot tell
// enough of them apart, the estimate alone forgets how sure the bound is.
func (b *beam) order(bound int) int64 {
	return int64(2*bound + b.roll.run(b.enough()))
}

// choose keeps the most promising candidates.
func (b *beam) choose(width int) {
	b.cands = narrow(b.cands, width)
}

// enough is where an estimate stops: sorting by the fixed rule may go round
// in circles.
func (b *beam) enough() int {
	if b.st.kind == sortOnly {
		return 3*b.st.bad + 8
	}
	return b.far
}
