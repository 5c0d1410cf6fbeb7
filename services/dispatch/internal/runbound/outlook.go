package runbound

import "slices"

// slices of what there is of a measure in which what else a truck could carry is
// looked up, at most.
const parts = 200

// classes is how many lengths of piles are told apart in looking ahead.
const classes = 6

// outlooks are the outlooks by each measure on stretches whose piles are no longer
// than some lengths, the least first; the last length is any.
type outlooks struct {
	longest []int
	by      [][measures]outlook
}

// lookOut works the outlooks out; false when it is stopped.
func (h *hunt) lookOut() bool {
	var all []int
	for k := range h.lists {
		for i := range h.lists[k] {
			all = append(all, h.lists[k][i].longest)
		}
	}
	slices.Sort(all)
	h.outlooks = outlooks{}
	for c := 1; c < classes && len(all) > 0; c++ {
		h.outlooks.longest = append(h.outlooks.longest, all[(len(all)-1)*c/classes])
	}
	h.outlooks.longest = append(slices.Compact(h.outlooks.longest), h.decks[h.kind].laneMM)
	for k := range h.lists {
		for i := range h.lists[k] {
			h.lists[k][i].class = h.outlooks.class(h.lists[k][i].room)
		}
	}
	for _, most := range h.outlooks.longest {
		var by [measures]outlook
		for m := range by {
			if h.stop != nil && h.stop() {
				return false
			}
			by[m] = newOutlook(h.lists, h.whole[m], most, m)
		}
		h.outlooks.by = append(h.outlooks.by, by)
	}
	return true
}

// class is the first outlook on all the stretches that there is room for.
func (o *outlooks) class(room int) int {
	for c, l := range o.longest {
		if room <= l {
			return c
		}
	}
	return len(o.longest) - 1
}

// upwards keeps what a quotient is off by from counting a slice too few; it is less
// than a slice has of anything.
const upwards = 1e-9

// over says whether n drops at sites from the k-th on may be worth more than so
// much.
func (o *outlooks) over(much float64, class, k, n int, left *uses) bool {
	by := &o.by[class]
	for m := range by {
		// This is asked more often than anything else.
		o := &by[m]
		if o.most[(k*(MaxDrops+1)+n)*o.size+int(float64(left[m])*o.part+upwards)] <= much {
			return false
		}
	}
	return true
}

// outlook is what more drops are worth at most when only one thing counts that
// they use up.
type outlook struct {
	// slice of the measure is what is told apart, part is 1 divided by it, and size
	// how many are told apart.
	slice int64
	part  float64
	size  int
	// most is for k, n and b in turn what n drops more at sites from the k-th on are
	// worth at most with less than b+1 slices left.
	most []float64
}

func newOutlook(lists [][]offer, whole int64, longest int, m int) outlook {
	o := outlook{slice: sliceOf(lists, whole, m)}
	o.part, o.size = 1/float64(o.slice), int(whole/o.slice)+1
	o.most = make([]float64, (len(lists)+1)*(MaxDrops+1)*o.size)
	best := make([]float64, o.size)
	for k := len(lists) - 1; k >= 0; k-- {
		clear(best)
		for i := range lists[k] {
			// More than there is goes on no run.
			s := &lists[k][i]
			if b := s.uses[m] / o.slice; b < int64(o.size) && s.longest <= longest {
				best[b] = max(best[b], s.worth)
			}
		}
		for n := 1; n <= MaxDrops; n++ {
			row, rest := o.row(k, n), o.row(k+1, n-1)
			copy(row, o.row(k+1, n))
			for take, worth := range best {
				if worth <= 0 {
					continue
				}
				for b := take; b < len(row); b++ {
					row[b] = max(row[b], worth+rest[b-take])
				}
			}
		}
	}
	return o
}

// row is what n drops at sites from the k-th on are worth at most.
func (o *outlook) row(k, n int) []float64 {
	at := (k*(MaxDrops+1) + n) * o.size
	return o.most[at : at+o.size]
}

// sliceOf is the greatest amount that all uses are multiples of, so that nothing
// is lost by counting in it, or a larger one that makes few enough slices.
func sliceOf(lists [][]offer, whole int64, m int) int64 {
	least := max(1, (whole+parts-1)/parts)
	slice := int64(0)
	for k := range lists {
		for i := range lists[k] {
			for a, b := slice, lists[k][i].uses[m]; ; a, b = b, a%b {
				if b == 0 {
					slice = a
					break
				}
			}
			if slice > 0 && slice < least {
				return least
			}
		}
	}
	return max(slice, least)
}
