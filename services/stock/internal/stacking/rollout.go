package stacking

// rollout finishes a plan from a state by a fixed rule and takes everything
// back: how many relocations that takes is an estimate of what the state is
// worth.
type rollout struct {
	st     *state
	steps  []step
	settle settler
	done   bool // the plan is whole
}

// run returns the relocations of the plan, and more when it gets stuck or
// would need more than enough.
func (r *rollout) run(enough int) int {
	st := r.st
	r.steps = r.steps[:0]
	for !st.done() && len(r.steps) < enough {
		from, to := r.next()
		if to < 0 {
			break
		}
		u, _ := st.move(from, to)
		r.steps = append(r.steps, u)
	}
	n := len(r.steps)
	r.done = st.done()
	if !r.done {
		n += 2 + 2*st.bad
	}
	for i := len(r.steps) - 1; i >= 0; i-- {
		st.takeBack(r.steps[i])
	}
	return n
}

func (r *rollout) next() (from, to int) {
	if r.st.kind == sortOnly {
		return r.settle.next(r.st)
	}
	from = r.nearest()
	to = r.place(from)
	if r.st.kind == pickAnyTop && (to < 0 || r.st.lowest(to) < r.st.rank[r.st.top(from)]) {
		if f, t := r.makeRoom(from); t >= 0 {
			return f, t
		}
	}
	return from, to
}

// nearest is the stack with the least above a piece that is next.
func (r *rollout) nearest() (from int) {
	st := r.st
	least := int32(1 << 30)
	for _, piece := range st.order[st.group[st.next]:st.group[st.next+1]] {
		if s := st.where[piece]; s >= 0 {
			if above := st.high[s] - 1 - int32(st.tier[piece]); above < least {
				from, least = int(s), above
			}
		}
	}
	return from
}

// place is where the top of a stack goes: well where a stack allows it, the
// tightest one; else above what leaves last. It is -1 when nothing takes it.
func (r *rollout) place(from int) (to int) {
	st := r.st
	piece := st.top(from)
	rank := st.rank[piece]
	to = -1
	best := int32(1 << 30)
	for s := range st.stacks {
		if s == from || !st.fits(piece, s) {
			continue
		}
		low := st.lowest(s)
		worth := int32(low)
		if low < rank {
			worth = 1<<20 - int32(low)
		}
		if worth < best {
			to, best = s, worth
		}
	}
	return to
}

// makeRoom looks for a top that can go well elsewhere, so that the top of a
// stack finds a good place where it lay.
func (r *rollout) makeRoom(from int) (source, to int) {
	st := r.st
	rank := st.rank[st.top(from)]
	to = -1
	best := int32(1 << 30)
	for s := range st.stacks {
		if s == from || st.high[s] == 0 || st.low[s*(st.width+1)+int(st.high[s])-1] < rank {
			continue
		}
		other := st.top(s)
		for d := range st.stacks {
			if d == s || d == from || !st.fits(other, d) || st.lowest(d) < st.rank[other] {
				continue
			}
			if gap := int32(st.lowest(d) - st.rank[other]); gap < best {
				source, to, best = s, d, gap
			}
		}
	}
	return source, to
}
