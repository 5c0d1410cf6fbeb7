package lifo

import (
	"cmp"
	"slices"
)

// label is the load of the last customers of a route: who was loaded last is
// delivered first. What is on the deck after any delivery is a label of its
// own, so a route may be extended only from one that keeps the limits.
type label struct {
	on           set
	last         int
	count        int
	mass, moment int
	// distance from the customer loaded last to the depot.
	distance float64
	parent   int32
}

// column is the shortest route that visits a set of customers.
type column struct {
	of   set
	cost float64
	// reduced is the cost less the prices of the customers visited.
	reduced float64
	label   int32
}

// routes are all loadable routes of a problem, or the promising ones.
type routes struct {
	problem *Problem
	labels  []label
	columns []column
	// cut says that labels were left out.
	cut bool
}

// enumerate finds, for every set of customers that can be loaded, the shortest
// route. At most keep labels are extended at each number of customers: those
// whose routes cost least less the prices.
func enumerate(p *Problem, keep int, price []float64) *routes {
	r := &routes{problem: p}
	level := make([]label, 0, len(p.Masses))
	for c := range p.Masses {
		if l, ok := r.extend(&label{last: -1, parent: -1}, c); ok {
			level = append(level, l)
		}
	}
	for len(level) > 0 {
		level = r.undominated(level)
		if len(level) > keep {
			r.cut = true
			cost := func(l *label) float64 { return l.distance + p.Distance[l.last+1][0] - l.on.sum(price) }
			slices.SortFunc(level, func(a, b label) int {
				return cmp.Or(cmp.Compare(cost(&a), cost(&b)), a.on.compare(b.on), cmp.Compare(a.last, b.last))
			})
			level = r.undominated(spread(level, keep, len(p.Masses)))
		}
		level = r.next(level)
	}
	return r
}

// spread keeps the first labels of a sorted level, as many for each customer
// loaded last, so that nobody is left without routes.
func spread(level []label, keep, customers int) []label {
	each := max(1, keep/customers)
	count := make([]int, customers)
	kept := level[:0]
	for _, l := range level {
		if count[l.last]++; count[l.last] <= each {
			kept = append(kept, l)
		}
	}
	return kept
}

// next keeps a level, makes columns of it, and returns what extends it.
func (r *routes) next(level []label) []label {
	first := int32(len(r.labels))
	r.labels = append(r.labels, level...)
	var longer []label
	for i := range level {
		l := level[i]
		at := first + int32(i)
		cost := l.distance + r.problem.Distance[l.last+1][0]
		if n := len(r.columns); n > 0 && r.columns[n-1].of == l.on {
			if cost < r.columns[n-1].cost {
				r.columns[n-1].cost, r.columns[n-1].label = cost, at
			}
		} else {
			r.columns = append(r.columns, column{of: l.on, cost: cost, label: at})
		}
		for c := range r.problem.Masses {
			if l.on.has(c) {
				continue
			}
			if n, ok := r.extend(&l, c); ok {
				n.parent = at
				longer = append(longer, n)
			}
		}
	}
	return longer
}

// extend loads a customer behind what is on the deck.
func (r *routes) extend(l *label, c int) (label, bool) {
	p := r.problem
	n := label{
		on: l.on.with(c), last: c, count: l.count + len(p.Masses[c]), mass: l.mass, moment: l.moment, parent: l.parent,
		distance: l.distance + p.Distance[c+1][l.last+1],
	}
	if n.count > p.Places {
		return n, false
	}
	for k, mass := range p.Masses[c] {
		n.mass += mass
		if a := p.Axles; a != nil {
			n.moment += mass * (a.First + a.Row*((l.count+k)/p.Abreast))
		}
	}
	return n, n.mass <= p.MaxMass && (p.Axles == nil || p.Axles.Within(n.mass, n.moment))
}

// undominated sorts labels by set and drops each that another one of the same
// set and last customer replaces in every longer route.
func (r *routes) undominated(level []label) []label {
	slices.SortFunc(level, func(a, b label) int {
		return cmp.Or(a.on.compare(b.on), cmp.Compare(a.last, b.last), cmp.Compare(a.distance, b.distance),
			cmp.Compare(a.moment, b.moment))
	})
	kept := level[:0]
	for _, l := range level {
		replaced := false
		for i := len(kept) - 1; i >= 0 && !replaced && kept[i].last == l.last && kept[i].on == l.on; i-- {
			replaced = r.replaces(&kept[i], &l)
		}
		if !replaced {
			kept = append(kept, l)
		}
	}
	return kept
}

// replaces says whether whatever can be loaded behind b can be loaded behind
// a, which is no longer. Both hold the same pallets, so later ones add the
// same moments to both: only a limit on the side of a's difference matters,
// and not even that when a can never reach it.
func (r *routes) replaces(a, b *label) bool {
	x := r.problem.Axles
	switch {
	case x == nil || a.moment == b.moment:
		return true
	case a.moment > b.moment:
		last := x.First + x.Row*((r.problem.Places-1)/r.problem.Abreast)
		return a.moment+(r.problem.MaxMass-a.mass)*max(0, last) <= x.MaxRear*x.Wheelbase
	default:
		next := x.First + x.Row*(a.count/r.problem.Abreast) - x.Wheelbase
		return a.mass*x.Wheelbase-a.moment+(r.problem.MaxMass-a.mass)*max(0, -next) <= x.MaxFront*x.Wheelbase
	}
}

// route lists the customers of a column in the order of delivery.
func (r *routes) route(c *column) []int {
	var out []int
	for at := c.label; at >= 0; at = r.labels[at].parent {
		out = append(out, r.labels[at].last)
	}
	return out
}
