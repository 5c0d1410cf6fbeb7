package runbound

import "slices"

// part is a stretch of a site on a run.
type part struct {
	site int
	*stretch
}

// column is a run that a kind of truck could make.
type column struct {
	kind    int
	parts   []part
	minutes int
	// worth is its weights less the price of its minutes.
	worth float64
}

// pricer looks for the runs that carry most weight.
type pricer struct {
	p *Problem
	// decks of each kind of truck, some of what is just too much for them, and what
	// is measured of loads.
	decks    []deck
	tooMuch  []sample
	measures [][]measure
	// all stretches of each kind of truck and site; listed and measured count for
	// how many of them that is done.
	all              [][][]stretch
	listed, measured int
	// near is half of the shortest ways to each place and from it.
	near []float64
	// keen of each kind: how many times better than the best so far a run has had
	// to be to be looked for within patience, less 1.
	keen []float64
	// patience is after how many looks at stretches a search for the best run ends,
	// and begins again for better ones only.
	patience int
}

// newPricer takes the decks over. It lists no stretches yet.
func newPricer(p *Problem) *pricer {
	x := &pricer{p: p, patience: littlePatience, keen: make([]float64, len(p.Trucks)), tooMuch: make([]sample, len(p.Trucks)), measures: make([][]measure, len(p.Trucks))}
	for place := range p.Minutes {
		x.near = append(x.near, p.nearby(place))
	}
	for kind := range p.Trucks {
		x.decks = append(x.decks, p.newDeck(&p.Trucks[kind]))
		x.all = append(x.all, make([][]stretch, len(p.Sites)))
	}
	return x
}

// list lists the stretches of all sites and measures them; false when it is stopped
// before.
func (x *pricer) list(stop func() bool) bool {
	sites := len(x.p.Sites)
	all := sites * len(x.p.Trucks)
	for ; x.listed < all; x.listed++ {
		kind, site := x.listed/sites, x.listed%sites
		list, ok := x.stretchesOf(kind, site, stop)
		if !ok {
			return false
		}
		x.all[kind][site] = list
	}
	for ; x.measured < all; x.measured++ {
		if stop != nil && stop() {
			return false
		}
		kind, site := x.measured/sites, x.measured%sites
		if site == 0 {
			x.measures[kind] = x.decks[kind].bestMeasures(x.tooMuch[kind].of)
		}
		x.measure(kind, site)
	}
	return true
}

// measure works out what the stretches of a site use, and puts the least first.
func (x *pricer) measure(kind, site int) {
	list := x.all[kind][site]
	for i := range list {
		for m := range x.measures[kind] {
			list[i].uses[m+1] = x.measures[kind][m].of(&list[i].wares)
		}
	}
	slices.SortStableFunc(list, func(a, b stretch) int { return slices.Compare(a.uses[:], b.uses[:]) })
}

// hasty says whether patience ended in the last search for some runs.
func (x *pricer) hasty() bool {
	return slices.ContainsFunc(x.keen, func(k float64) bool { return k > keenest })
}

// best returns good runs for each site of lowest number on them, as far as they are
// worth more than 1, and what no run of the kind is worth more than; false when it is
// stopped.
func (x *pricer) best(kind int, weights weights, price, keen float64, stop func() bool) ([]column, float64, bool) {
	h := &hunt{pricer: x, kind: kind, truck: &x.p.Trucks[kind], price: price, stop: stop, keen: max(keen, 1+x.keen[kind])}
	if !h.prepare(weights) {
		return nil, 0, false
	}
	var found []column
	most, above := 1.0, 1.0
	x.keen[kind] = (h.keen - 1) / 2
	for first := range h.sites {
		for h.cut = true; h.cut; {
			h.best, h.good = 1+(most-1)/2, make([]column, len(x.p.Sites))
			h.start(first)
			if h.stopped {
				return nil, 0, false
			}
			if h.cut {
				x.keen[kind] = 2 * (h.keen - 1)
				h.keen = 1 + x.keen[kind]
			}
		}
		most, above = max(most, h.best), max(above, h.best*h.keen)
		found = append(found, slices.DeleteFunc(h.good, func(c column) bool { return len(c.parts) == 0 })...)
	}
	return found, above, true
}
