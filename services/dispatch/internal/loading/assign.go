package loading

import (
	"cmp"
	"slices"
)

// settle says which piece goes into which pile, now that all are placed, and
// moves the piles towards the tail until every stage is kept.
func (x *exact) settle() bool {
	piles := make([]pile, len(x.spots))
	for i, s := range x.spots {
		k := &x.kinds[s.kind]
		piles[i] = pile{drop: k.drop, length: k.length, width: k.width, lane: s.lane, from: s.from}
	}
	a := assignment{x: x, piles: piles}
	a.room, a.behind = x.rooms(piles)
	// The least moment has the heaviest pieces in front, with all piles as far
	// to the front as can be; the most has them behind, with all at the tail.
	front, behind := a.orders()
	a.inOrder(front)
	for s := range x.stages {
		if x.d.momentOf(&x.stages[s], piles) > x.stages[s].most {
			return false
		}
	}
	a.inOrder(behind)
	for s := range x.stages {
		st := &x.stages[s]
		if x.d.momentOf(st, piles)+a.play(st) < st.least {
			return false
		}
	}
	if a.kept() {
		return true
	}
	if !a.choice() {
		return false
	}
	a.inOrder(front)
	return a.kept() || a.others()
}

// assignment gives pieces to the piles that are placed.
type assignment struct {
	x      *exact
	piles  []pile
	room   []int
	behind []next
	// wants is what each pile has still to get, while every way is tried.
	wants [][]part
}

// orders are the piles from the front, all as far to the front as can be, and
// from the tail, all as far behind as can be.
func (a *assignment) orders() (front, behind []int) {
	front = make([]int, len(a.piles))
	for i := range front {
		front[i] = i
	}
	behind = slices.Clone(front)
	slices.SortStableFunc(front, func(i, j int) int {
		return cmp.Compare(a.x.d.lever2x(&a.piles[i]), a.x.d.lever2x(&a.piles[j]))
	})
	tail := func(i int) int64 { return a.x.d.lever2x(&a.piles[i]) + 2*int64(a.room[i]) }
	slices.SortStableFunc(behind, func(i, j int) int { return cmp.Compare(tail(j), tail(i)) })
	return front, behind
}

// choice tells whether there is more than one way to give the pieces to the
// piles: some that are alike but for their mass are in several.
func (a *assignment) choice() bool {
	for c := range a.x.classes {
		units := a.x.classes[c].units
		if units[0].Item.MassG == units[len(units)-1].Item.MassG {
			continue
		}
		in := 0
		for _, s := range a.x.spots {
			for _, p := range a.x.kinds[s.kind].parts {
				if p.class == c {
					in++
				}
			}
		}
		if in > 1 {
			return true
		}
	}
	return false
}

// inOrder gives the piles their pieces, of each class the heaviest first. All
// are used in the end, as they were before.
func (a *assignment) inOrder(order []int) {
	clear(a.x.used)
	for _, i := range order {
		p := &a.piles[i]
		p.units, p.mass = p.units[:0], 0
		for _, part := range a.x.kinds[a.x.spots[i].kind].parts {
			c, u := &a.x.classes[part.class], a.x.used[part.class]
			p.units = append(p.units, c.units[u:u+part.n]...)
			p.mass += c.heavy[u+part.n] - c.heavy[u]
			a.x.used[part.class] += part.n
		}
	}
}

// others tries every way to give the pieces to the piles.
func (a *assignment) others() bool {
	a.wants = make([][]part, len(a.piles))
	for i := range a.piles {
		a.piles[i].units, a.piles[i].mass = nil, 0
		a.wants[i] = slices.Clone(a.x.kinds[a.x.spots[i].kind].parts)
	}
	return a.piece(0, 0, 0)
}

// piece gives a piece of a class, and all after it, to the piles; those before
// least have had their chance of one of its mass.
func (a *assignment) piece(class, n, least int) bool {
	x := a.x
	if !x.step() {
		return false
	}
	if class == len(x.classes) {
		return a.kept()
	}
	c := &x.classes[class]
	if n == len(c.units) {
		return a.piece(class+1, 0, 0)
	}
	u := c.units[n]
	if n == 0 || c.units[n-1].Item.MassG != u.Item.MassG {
		least = 0
	}
	for i := least; i < len(a.piles); i++ {
		k := slices.IndexFunc(a.wants[i], func(p part) bool { return p.class == class && p.n > 0 })
		if k < 0 {
			continue
		}
		p, before := &a.piles[i], a.piles[i]
		p.units = append(p.units, u)
		p.mass += u.Item.MassG
		a.wants[i][k].n--
		if a.piece(class, n+1, i) {
			return true
		}
		a.wants[i][k].n++
		*p = before
	}
	return false
}

// kept moves the piles until every stage is kept, if they can be.
func (a *assignment) kept() bool {
	x := a.x
	if !a.mayHold() {
		return false
	}
	piles := slices.Clone(a.piles)
	if !x.kept(piles) && !a.slide(piles) {
		shift, short := x.shiftsFor(piles, a.room, a.behind)
		if short > 1+roundOff {
			return false
		}
		for i := range piles {
			piles[i].from += shift[i]
		}
		if !x.kept(piles) {
			// Between whole millimetres there may be a place.
			x.cut = true
			return false
		}
	}
	for i := range piles {
		k := &x.kinds[x.spots[i].kind]
		piles[i].units = slices.Clone(piles[i].units)
		if g := x.groupOf(k.parts[0].class); g != nil {
			x.d.abreast(&piles[i], (k.beams+g.tiers-1)/g.tiers)
		} else {
			piles[i].across, piles[i].height = 1, piles[i].units[0].HeightMM
		}
	}
	x.piles = piles
	return true
}

// mayHold tells whether each stage is kept with all piles somewhere between
// the front and the tail.
func (a *assignment) mayHold() bool {
	for s := range a.x.stages {
		st := &a.x.stages[s]
		least := a.x.d.momentOf(st, a.piles)
		if least > st.most || least+a.play(st) < st.least {
			return false
		}
	}
	return true
}

// play is by how much a stage's moment grows when all piles are moved to the
// tail.
func (a *assignment) play(st *stage) int64 {
	var by int64
	for i := range a.piles {
		if p := &a.piles[i]; p.drop > st.after {
			by += 2 * p.mass * int64(a.room[i])
		}
	}
	return by
}

// groupOf is the group of a class; pallets have none.
func (x *exact) groupOf(class int) *group {
	for i := range x.groups {
		if class < x.groups[i].end {
			return &x.groups[i]
		}
	}
	return nil
}

// slide moves all piles by the same part of the room behind them, which keeps
// them apart, and leaves them where they were when that does not do.
func (a *assignment) slide(piles []pile) bool {
	x := a.x
	least, most := 0.0, 1.0
	for s := range x.stages {
		st := &x.stages[s]
		has, by := x.d.momentOf(st, piles), a.play(st)
		if by == 0 {
			continue
		}
		// A millimetre more makes up for rounding down.
		least = max(least, float64(st.least+2*st.sum-has)/float64(by))
		most = min(most, float64(st.most-has)/float64(by))
	}
	if least > most {
		return false
	}
	for i := range piles {
		piles[i].from += int(least * float64(a.room[i]))
	}
	if x.kept(piles) {
		return true
	}
	for i := range piles {
		piles[i].from = a.piles[i].from
	}
	return false
}

func (x *exact) kept(piles []pile) bool {
	for s := range x.stages {
		if m := x.d.momentOf(&x.stages[s], piles); m < x.stages[s].least || m > x.stages[s].most {
			return false
		}
	}
	return true
}
