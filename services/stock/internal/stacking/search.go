package stacking

// search is a depth-first search that is repeated with one more relocation
// allowed each time (iterative deepening, Korf 1985), so that the first plan
// it finds has the fewest.
//
// It leaves out:
//   - what the lower bound rules out;
//   - states that are known to need more than what is left (table);
//   - moves that could have been had more cheaply (state.pointless, wasteful):
//     no best plan has one;
//   - moves that were tried before the last move already and do not depend on
//     it (sleep sets, Godefroid 1996, from memory).
//
// These go together: let a best plan be the first one in the order of the
// search. No pruning by cost meets it. If one of its moves were asleep,
// swapping two moves would give an equally good plan that comes earlier; if
// one of its states had been visited by another way that is no longer, that
// way and the rest of the plan would be an equally good plan that comes
// earlier.
type search struct {
	st     *state
	look   *looker
	table  *table
	budget int64 // nodes
	nodes  int64
	stop   func() bool
	over   bool
	most   int // relocations allowed
	levels []*level
	path   []step
}

// level holds what a depth of the search needs.
type level struct {
	moves []choice
	asleep,
	tried []uint64 // by source: destinations
}

type choice struct {
	from, to int32
	order    int32 // smaller first
}

func newSearch(st *state, b Budget, t *table) *search {
	return &search{st: st, look: newLooker(st), table: t, stop: b.Stop}
}

// deepen looks for a plan with at most the given number of relocations.
// When it returns false and the budget is not over, there is none.
func (x *search) deepen(most int, budget int64) bool {
	x.most, x.over, x.path = most, false, x.path[:0]
	x.budget = x.nodes + budget
	first := x.level(0)
	clear(first.asleep)
	found, _ := x.visit(0)
	return found
}

func (x *search) level(depth int) *level {
	for len(x.levels) <= depth {
		n := x.st.stacks
		x.levels = append(x.levels, &level{moves: make([]choice, 0, n*n),
			asleep: make([]uint64, n), tried: make([]uint64, n)})
	}
	return x.levels[depth]
}

// visit searches below the present state at a depth. Cut says that something
// was left out for want of relocations: more of them may help.
func (x *search) visit(depth int) (found, cut bool) {
	if x.st.done() {
		return true, false
	}
	x.nodes++
	if x.nodes&63 == 0 && x.stop != nil && x.stop() || x.nodes > x.budget {
		x.over = true
		return false, true
	}
	here := x.level(depth)
	x.list(here)
	clear(here.tried)
	sum, check := x.st.sum, x.st.check
	for _, c := range here.moves {
		if here.asleep[c.from]>>c.to&1 != 0 {
			cut = true
			continue
		}
		if x.st.pointless(int(c.from), int(c.to)) {
			cut = true
			continue
		}
		u, wasteful := x.st.move(int(c.from), int(c.to))
		rest, short := x.promising(depth+1, wasteful)
		if rest {
			x.path = append(x.path, u)
			x.sleep(here, x.level(depth+1), c, u)
			if found, short = x.visit(depth + 1); found {
				return true, false
			}
			x.path = x.path[:len(x.path)-1]
		}
		cut = cut || short
		x.st.takeBack(u)
		if x.over {
			return false, true
		}
		if u.picks == 0 {
			here.tried[c.from] |= 1 << c.to
		}
	}
	left := x.most - depth + 1
	if !cut {
		left = never
	}
	if left < never || !cut {
		x.table.set(sum, check, left)
	}
	return false, cut
}

// promising says whether the state may end within the relocations left, and
// if not, whether for want of them.
func (x *search) promising(depth int, wasteful bool) (rest, short bool) {
	left := x.most - depth
	if wasteful || x.st.bad > left {
		return false, true
	}
	if known := x.table.get(x.st.sum, x.st.check); known > left {
		return false, known < never
	}
	return x.look.bound(x.st, left) <= left, true
}

// sleep marks what need not be tried after a choice: what was tried or asleep
// before it, in stacks that it left alone.
func (x *search) sleep(here, below *level, c choice, u step) {
	if x.st.kind == pickAboveNext || u.picks > 0 {
		clear(below.asleep)
		return
	}
	hit := uint64(1)<<c.from | uint64(1)<<c.to
	for s := range below.asleep {
		if hit>>s&1 != 0 {
			below.asleep[s] = 0
		} else {
			below.asleep[s] = (here.asleep[s] | here.tried[s]) &^ hit
		}
	}
}

// list fills in the allowed moves, most promising first. The order depends on
// the state alone.
func (x *search) list(here *level) {
	here.moves = here.moves[:0]
	st := x.st
	if st.kind == pickAboveNext {
		seen := uint64(0)
		for _, piece := range st.order[st.group[st.next]:st.group[st.next+1]] {
			if s := st.where[piece]; s >= 0 && seen>>s&1 == 0 {
				seen |= 1 << s
				x.listFrom(here, int(s))
			}
		}
	} else {
		for s := range st.stacks {
			if st.high[s] > 0 {
				x.listFrom(here, s)
			}
		}
	}
	moves := here.moves
	for i := 1; i < len(moves); i++ {
		m := moves[i]
		j := i
		for ; j > 0 && moves[j-1].order > m.order; j-- {
			moves[j] = moves[j-1]
		}
		moves[j] = m
	}
}

// listFrom adds the moves of the top of a stack. Of empty stacks that are
// alike the first one will do.
func (x *search) listFrom(here *level, from int) {
	st := x.st
	piece := st.top(from)
	rank := int32(st.rank[piece])
	good := st.rank[piece] <= st.low[from*(st.width+1)+int(st.high[from])-1]
	for to := range st.stacks {
		if to == from || !st.fits(piece, to) || st.high[to] == 0 && st.twin(to) {
			continue
		}
		low := int32(st.lowest(to))
		order := low - rank // placed well: the tightest first
		if low < rank {
			order = 1<<17 + rank - low // misplaced: above the latest first
		}
		if good {
			order += 1 << 18
		}
		here.moves = append(here.moves, choice{int32(from), int32(to), order})
	}
}

// twin says whether an earlier stack is empty too and has the same limit.
func (st *state) twin(s int) bool {
	for other := range s {
		if st.high[other] == 0 && st.limit[other] == st.limit[s] {
			return true
		}
	}
	return false
}

// relocations returns the moves of the path that was found.
func (x *search) relocations() []choice {
	out := make([]choice, len(x.path))
	for i, u := range x.path {
		out[i] = choice{from: int32(u.from), to: int32(u.to)}
	}
	return out
}

// rewind takes the path back.
func (x *search) rewind() {
	for i := len(x.path) - 1; i >= 0; i-- {
		x.st.takeBack(x.path[i])
	}
	x.path = x.path[:0]
}
