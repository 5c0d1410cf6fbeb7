package stacking

// settler sorts by a fixed rule: of the pieces that have to move the one that
// leaves last comes first; it goes where least has to be cleared away for it,
// and what leaves earlier fills up what is finished. (Expósito-Izquierdo,
// Melián-Batista and Moreno-Vega 2012 proceed in this order, from memory.) It
// remembers nothing from move to move: clearing away makes the chosen place
// cheaper, so that it is chosen again.
type settler struct {
	sound []int32 // pieces by stack that need not move
	worst []uint16
	last  uint16 // the highest rank that has to move
}

// target is a piece that has to move, where it lies, and where it goes.
type target struct {
	from, to int
	tier     int // of the piece
	keep     int // pieces that stay below it
}

// next returns the next move; to is -1 when nothing is allowed.
func (z *settler) next(st *state) (from, to int) {
	z.survey(st)
	goal, found := z.aim(st)
	if from, to = z.fill(st, goal, found); to >= 0 || !found {
		return from, to
	}
	from = z.dig(st, goal)
	if to = z.aside(st, from, goal.from, goal.to); to < 0 {
		to = z.aside(st, from, from, from)
	}
	return from, to
}

// survey counts what is in order in every stack, and finds the highest ranks
// that are not.
func (z *settler) survey(st *state) {
	if z.sound == nil {
		z.sound, z.worst = make([]int32, st.stacks), make([]uint16, st.stacks)
	}
	z.last = 0
	for s := range st.stacks {
		n := st.inOrder(s)
		z.sound[s], z.worst[s] = int32(n), 0
		for _, piece := range st.at[s*st.width+n : s*st.width+int(st.high[s])] {
			z.worst[s] = max(z.worst[s], st.rank[piece])
		}
		z.last = max(z.last, z.worst[s])
	}
}

// aim chooses the piece of the highest rank, and the stack, for which least
// has to be cleared away. What is in order counts twice, and a stack counts
// last when the others cannot take what lies in the way.
func (z *settler) aim(st *state) (best target, found bool) {
	least := 1 << 30
	room := int32(0)
	for s := range st.stacks {
		room += max(st.limit[s]-st.high[s], 0)
	}
	for s := range st.stacks {
		if z.worst[s] != z.last || z.last == 0 {
			continue
		}
		tier := int(st.high[s]) - 1
		for st.rank[st.at[s*st.width+tier]] != z.last {
			tier--
		}
		for d := range st.stacks {
			row, keep := d*(st.width+1), int(z.sound[d])
			for keep > 0 && st.low[row+keep] < z.last {
				keep--
			}
			if keep >= int(st.limit[d]) || keep > 0 && st.rests != nil && !st.mayRest(st.at[s*st.width+tier], st.at[d*st.width+keep-1]) {
				continue
			}
			above := int(st.high[s]) - 1 - tier
			away := int(st.high[d]) - keep
			cost, free := away+int(z.sound[d])-keep, room-max(st.limit[d]-st.high[d], 0)
			if d == s {
				cost++
			} else {
				cost, away = cost+above, away+above
				free -= max(st.limit[s]-st.high[s], 0)
			}
			if away > int(free) {
				cost += 1000
			}
			if cost < least {
				least, best, found = cost, target{s, d, tier, keep}, true
			}
		}
	}
	return best, found
}

// fill looks for a top that has to move and goes well elsewhere: the piece
// aimed at, or any other where the pieces of the highest rank do not go.
func (z *settler) fill(st *state, goal target, found bool) (from, to int) {
	to = -1
	best := int32(1 << 30)
	for d := range st.stacks {
		if st.high[d] > z.sound[d] {
			continue
		}
		low := min(st.lowest(d), st.last+1)
		for s := range st.stacks {
			if s == d || st.high[s] == z.sound[s] {
				continue
			}
			piece := st.top(s)
			rank := st.rank[piece]
			if rank > low || rank != z.last && (low >= z.last || found && d == goal.to) || !st.fits(piece, d) {
				continue
			}
			if gap := int32(low-rank)<<12 - int32(rank); gap < best {
				from, to, best = s, d, gap
			}
		}
	}
	return from, to
}

// dig is the stack whose top is cleared away next: of the two the one with
// the later top, so that it comes to lie below the other.
func (z *settler) dig(st *state, goal target) int {
	if goal.from == goal.to || int(st.high[goal.from])-1 == goal.tier {
		return goal.to
	}
	if int(st.high[goal.to]) == goal.keep || st.rank[st.top(goal.from)] >= st.rank[st.top(goal.to)] {
		return goal.from
	}
	return goal.to
}

// aside is where the top of a stack goes while room is made, away from two
// stacks: well; or on pieces that have to move in any case and leave earlier,
// so that it is at hand before them; or where it spoils least.
func (z *settler) aside(st *state, from, not, nor int) (to int) {
	piece := st.top(from)
	rank := st.rank[piece]
	to = -1
	best := int32(1 << 30)
	for s := range st.stacks {
		if s == from || s == not || s == nor || !st.fits(piece, s) {
			continue
		}
		worth := z.spoils(st, rank, s)
		if worth < best {
			to, best = s, worth
		}
	}
	return to
}

// spoils ranks the stacks that could take a piece of a rank; smaller is
// better.
func (z *settler) spoils(st *state, rank uint16, s int) int32 {
	low := min(st.lowest(s), st.last+1)
	switch {
	case st.high[s] == 0:
		return 1 << 19
	case low > 0 && low >= rank && low < z.last:
		return int32(low - rank)
	case low > 0 && low >= rank:
		return 1<<16 + int32(low-rank)
	case low > 0:
		return 1<<18 + int32(low)
	case z.worst[s] <= rank:
		return 1<<16 + int32(rank-z.worst[s])
	}
	return 1<<17 + int32(z.worst[s]-rank)
}
