package stacking

// supplier is what a stack offers to a rank when what leaves before it is
// taken off.
type supplier struct{ cost, gain int32 }

// boundClosed counts for sorting every piece that has to move, and the sets
// of boundAnyTop.
func (l *looker) boundClosed(st *state) int {
	total := st.bad
	if !l.chains(st) {
		return total
	}
	for s := range st.stacks {
		row := s * st.width
		for t := range int(st.high[s]) {
			if piece := st.at[row+t]; st.rank[piece] > st.low[s*(st.width+1)+t] && l.closed(st, s, 0, piece) {
				total++
			}
		}
	}
	return total
}

// boundSorting counts three kinds of moves, none twice (Bortfeldt and Forster
// 2012, from memory):
//   - one of every piece that has to move;
//   - as long as no stack is in order, such a piece can only come to lie where
//     it has to move again: at least as many as lie in the stack that has the
//     fewest;
//   - pieces that lie well but where later ones have to go: for every rank the
//     pieces of this rank or later ones that have to move need places on such
//     pieces or on the ground. Where there are too few, stacks are cleared of
//     what leaves earlier; how many at least follows from what each can offer
//     at most, and so many of the cheapest are a bound.
func (l *looker) boundSorting(st *state) int {
	if l.need == nil {
		l.need = make([]int32, int(st.last)+3)
		l.sound = make([]int32, st.stacks)
		l.offers = make([]supplier, 0, st.stacks)
	}
	clear(l.need)
	fewest := int32(1 << 30)
	for s := range st.stacks {
		row, n := s*(st.width+1), 0
		for n < int(st.high[s]) && st.low[row+n+1] > 0 {
			n++
		}
		l.sound[s] = int32(n)
		if st.limit[s] > 0 || st.high[s] > 0 {
			fewest = min(fewest, st.high[s]-int32(n))
		}
		for _, piece := range st.at[s*st.width+n : s*st.width+int(st.high[s])] {
			l.need[st.rank[piece]]++
		}
		l.need[min(st.low[row+n], st.last+1)] -= max(st.limit[s]-int32(n), 0)
	}
	extra, need := int32(0), int32(0)
	for g := int(st.last) + 1; g > 0; g-- {
		if need += l.need[g]; need > 0 {
			extra = max(extra, l.clearing(st, uint16(g), need))
		}
	}
	return st.bad + int(fewest+extra)
}

// clearing is the least number of pieces that leave before a rank and have to
// be taken off so that a number of places for it comes free.
func (l *looker) clearing(st *state, rank uint16, need int32) (cost int32) {
	l.offers = l.offers[:0]
	for s := range st.stacks {
		row, keep := s*(st.width+1), l.sound[s]
		for keep > 0 && st.low[row+int(keep)] < rank {
			keep--
		}
		if keep < l.sound[s] && keep < st.limit[s] {
			l.offers = append(l.offers, supplier{l.sound[s] - keep, st.limit[s] - keep})
		}
	}
	// Stacks, as few as can offer enough: the k-th largest gain, the k-th
	// smallest cost.
	for k := 0; need > 0 && k < len(l.offers); k++ {
		for i := k + 1; i < len(l.offers); i++ {
			l.offers[k].gain, l.offers[i].gain = max(l.offers[k].gain, l.offers[i].gain), min(l.offers[k].gain, l.offers[i].gain)
			l.offers[k].cost, l.offers[i].cost = min(l.offers[k].cost, l.offers[i].cost), max(l.offers[k].cost, l.offers[i].cost)
		}
		need -= l.offers[k].gain
		cost += l.offers[k].cost
	}
	return cost
}
