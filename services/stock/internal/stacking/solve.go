package stacking

// Solve plans the picks of a problem with as few relocations as it can.
// Pieces are picked as soon as they can be. It returns ErrBlocked when there
// is no plan and ErrGaveUp when the budget ended before one was found; the
// bound of the answer holds then as well.
func Solve(p Problem, b Budget) (Answer, error) {
	if err := p.check(); err != nil {
		return Answer{}, err
	}
	return solve(p, kindOf(p.Rule), b)
}

func kindOf(r Rule) kind {
	if r == AnyTop {
		return pickAnyTop
	}
	return pickAboveNext
}

func (b Budget) withDefaults() Budget {
	if b.Nodes <= 0 {
		b.Nodes = 2_000_000
	}
	if b.Width <= 0 {
		b.Width = 200
	}
	if b.TableBits <= 0 {
		b.TableBits = 22
	}
	return b
}

// farthest is more relocations than any plan has that the search looks for.
func farthest(st *state) int { return 4*len(st.rank) + 16 }

func solve(p Problem, k kind, b Budget) (Answer, error) {
	b = b.withDefaults()
	st := newState(p, k)
	st.pickAll()
	st.log = st.log[:0]
	x := newSearch(st, b, newTable(b.TableBits))
	r := &race{p: p, st: st, x: x, beam: newBeam(st, b.Stop), b: b,
		bound: x.look.bound(st, farthest(st)), fewest: farthest(st) + 1}
	if st.done() {
		r.found, r.fewest = true, 0
	}
	r.seed(k)
	err := r.run()
	a := Answer{Relocations: r.fewest, Bound: r.bound, Nodes: x.nodes}
	if err != nil {
		return Answer{Bound: r.bound, Nodes: x.nodes}, err
	}
	a.Proved = a.Relocations == a.Bound
	a.Moves = spell(p, k, r.plan)
	return a, nil
}

// race lets the beam and the exact search take turns, each with a multiple of
// the effort of its last turn: the beam lowers the best plan, the exact search
// raises the bound, until they meet.
type race struct {
	p      Problem
	st     *state
	x      *search
	beam   *beam
	b      Budget
	bound  int
	fewest int
	plan   []choice
	found  bool
}

// seed starts with a plan by a fixed rule, so that there is one however short
// the time is. Where any top may move, a plan that moves only what is in the
// way is allowed too.
func (r *race) seed(k kind) {
	if n := r.beam.roll.run(4 * r.fewest); r.beam.roll.done && n < r.fewest {
		r.plan, r.fewest, r.found = r.plan[:0], n, true
		for _, u := range r.beam.roll.steps {
			r.plan = append(r.plan, choice{from: int32(u.from), to: int32(u.to)})
		}
	}
	if k != pickAnyTop || r.fewest == r.bound {
		return
	}
	st := newState(r.p, pickAboveNext)
	st.pickAll()
	if plan, ok := newBeam(st, r.b.Stop).run(r.b.Width/8+1, r.fewest-1); ok {
		r.plan, r.fewest, r.found = plan, len(plan), true
	}
}

func (r *race) run() error {
	width, nodes := max(r.b.Width/16, 4), int64(2_000)
	for r.bound < r.fewest {
		if plan, ok := r.beam.run(width, r.fewest-1); ok {
			r.plan, r.fewest, r.found = plan, len(plan), true
		}
		r.polish(width)
		for r.bound < r.fewest {
			left := r.b.Nodes - r.x.nodes
			if r.x.deepen(r.bound, min(nodes, left)) {
				r.plan, r.fewest, r.found = r.x.relocations(), r.bound, true
				r.x.rewind()
				break
			}
			if r.x.over {
				break
			}
			if r.x.table.get(r.st.sum, r.st.check) == never {
				return ErrBlocked
			}
			r.bound++
		}
		if r.x.nodes >= r.b.Nodes || r.b.Stop != nil && r.b.Stop() {
			break
		}
		width, nodes = width*2, nodes*3
	}
	if !r.found {
		return ErrGaveUp
	}
	return nil
}

// polish plans anew what follows from several points of the plan: the beam
// that found it had room for few of the states that follow from there.
func (r *race) polish(width int) {
	for part := 1; part < parts && r.found && r.fewest > r.bound; part++ {
		at := r.fewest * part / parts
		var first shelf
		first.add(r.st)
		for _, c := range r.plan[:at] {
			r.st.move(int(c.from), int(c.to))
		}
		rest, better := r.beam.run(width, r.fewest-1-at)
		first.take(r.st, 0)
		if better {
			r.plan = append(r.plan[:at:at], rest...)
			r.fewest = len(r.plan)
		}
	}
}

// parts is how many parts of a plan are planned anew, each to the end.
const parts = 4

// spell writes a plan out, with the picks in between.
func spell(p Problem, k kind, plan []choice) []Move {
	st := newState(p, k)
	var moves []Move
	picks := func() {
		for _, t := range st.log {
			moves = append(moves, Move{int(t.piece), int(t.stack), Out})
		}
		st.log = st.log[:0]
	}
	st.pickAll()
	picks()
	for _, c := range plan {
		moves = append(moves, Move{int(st.top(int(c.from))), int(c.from), int(c.to)})
		st.move(int(c.from), int(c.to))
		picks()
	}
	return moves
}
