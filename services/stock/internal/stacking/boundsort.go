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
		l.sound, l.keep = make([]int32, st.stacks), make([]int32, st.stacks)
		l.offers = make([]supplier, 0, st.stacks)
	}
	clear(l.need)
	fewest := int32(1 << 30)
	for s := range st.stacks {
		row, n := s*(st.width+1), st.inOrder(s)
		l.sound[s], l.keep[s] = int32(n), 0
		if st.limit[s] > 0 || st.high[s] > 0 {
			fewest = min(fewest, st.high[s]-int32(n))
		}
		for _, piece := range st.at[s*st.width+n : s*st.width+int(st.high[s])] {
			l.need[st.rank[piece]]++
		}
		l.need[min(st.low[row+n], st.last+1)] -= max(st.limit[s]-int32(n), 0)
	}
	// A rank that asks for nothing itself hardly asks for more than the
	// ranks above it.
	extra, need := int32(0), int32(0)
	for g := int(st.last) + 1; g > 0; g-- {
		if need += l.need[g]; need > 0 && l.need[g] > 0 {
			extra = max(extra, l.clearing(st, uint16(g), need))
		}
	}
	return st.bad + int(fewest+extra)
}

// clearing is the least number of pieces that leave before a rank and have to
// be taken off so that a number of places for it comes free.
func (l *looker) clearing(st *state, rank uint16, need int32) (cost int32) {
	l.offers = l.offers[:0]
	best := supplier{cost: 1 << 30}
	for s := range st.stacks {
		row, keep, sound := s*(st.width+1), l.keep[s], l.sound[s]
		for keep < sound && st.low[row+int(keep)+1] >= rank {
			keep++
		}
		l.keep[s] = keep
		if keep < sound && keep < st.limit[s] {
			o := supplier{sound - keep, st.limit[s] - keep}
			l.offers = append(l.offers, o)
			best = supplier{min(best.cost, o.cost), max(best.gain, o.gain)}
		}
	}
	if len(l.offers) == 0 {
		return 0
	}
	if need <= best.gain {
		return best.cost
	}
	// Stacks, as few as can offer enough: the k-th largest gain, the k-th
	// smallest cost.
	for k := 0; need > 0 && k < len(l.offers); k++ {
		o := l.offers[k]
		for i := k + 1; i < len(l.offers); i++ {
			p := l.offers[i]
			l.offers[i] = supplier{max(o.cost, p.cost), min(o.gain, p.gain)}
			o = supplier{min(o.cost, p.cost), max(o.gain, p.gain)}
		}
		need -= o.gain
		cost += o.cost
	}
	return cost
}
