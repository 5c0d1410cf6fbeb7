package lifo

import (
	"cmp"
	"math/bits"
	"slices"
)

// cover looks for the cheapest columns that together hold every customer
// once. Its cost is the bound plus the reduced costs of the columns taken.
type cover struct {
	rows    int
	allowed float64
	// starting are the usable columns by the member that comes first in order.
	starting [][]*column
	order    []int
	seen     map[set]float64
	taken    []*column
	best     []*column
	// left is how many steps may still be taken.
	left int
}

// covered returns the cheapest cover, and whether it is proved to be so
// among the columns given. It looks at all covers within a gap above the
// bound, and widens the gap until there is one.
func covered(columns []column, rows int, bound float64, steps int) ([]*column, bool) {
	for gap := max(bound/500, tiny); ; gap *= 2 {
		c := &cover{rows: rows, allowed: gap, seen: map[set]float64{}, left: steps}
		all := c.sort(columns)
		c.search(0, set{}, 0)
		switch {
		case c.best != nil:
			return c.best, c.left > 0
		case c.left <= 0, all:
			return nil, false
		}
	}
}

// sort sets the order in which customers are covered: first who has the fewest
// columns. It says whether all columns are usable.
func (c *cover) sort(columns []column) bool {
	counts := make([]int, c.rows)
	usable := 0
	for i := range columns {
		if columns[i].reduced <= c.allowed {
			usable++
			for k := range c.rows {
				if columns[i].of.has(k) {
					counts[k]++
				}
			}
		}
	}
	c.order = make([]int, c.rows)
	for i := range c.order {
		c.order[i] = i
	}
	slices.SortStableFunc(c.order, func(a, b int) int { return cmp.Compare(counts[a], counts[b]) })
	c.starting = make([][]*column, c.rows)
	for i := range columns {
		if columns[i].reduced > c.allowed {
			continue
		}
		for at, k := range c.order {
			if columns[i].of.has(k) {
				c.starting[at] = append(c.starting[at], &columns[i])
				break
			}
		}
	}
	for _, s := range c.starting {
		slices.SortFunc(s, func(a, b *column) int { return cmp.Or(cmp.Compare(a.reduced, b.reduced), a.of.compare(b.of)) })
	}
	return usable == len(columns)
}

// search covers the customers from the place at in the order on.
func (c *cover) search(at int, done set, spent float64) {
	for at < c.rows && done.has(c.order[at]) {
		at++
	}
	if at == c.rows {
		c.best = slices.Clone(c.taken)
		c.allowed = spent - tiny
		return
	}
	if before, ok := c.seen[done]; ok && before <= spent {
		return
	}
	c.seen[done] = spent
	for _, next := range c.starting[at] {
		if spent+next.reduced > c.allowed || c.left <= 0 {
			return
		}
		if next.of.meets(done) {
			continue
		}
		c.left--
		c.taken = append(c.taken, next)
		c.search(at+1, done.join(next.of), spent+next.reduced)
		c.taken = c.taken[:len(c.taken)-1]
	}
}

// greedy covers the customers by the columns with the least reduced cost for
// each customer, or not at all.
func greedy(columns []column, rows int) []*column {
	byWorth := make([]*column, len(columns))
	for i := range columns {
		byWorth[i] = &columns[i]
	}
	worth := func(c *column) float64 {
		return c.reduced / float64(bits.OnesCount64(c.of[0])+bits.OnesCount64(c.of[1]))
	}
	slices.SortFunc(byWorth, func(a, b *column) int { return cmp.Or(cmp.Compare(worth(a), worth(b)), a.of.compare(b.of)) })
	var done set
	var taken []*column
	for _, c := range byWorth {
		if !c.of.meets(done) {
			done = done.join(c.of)
			taken = append(taken, c)
		}
	}
	if bits.OnesCount64(done[0])+bits.OnesCount64(done[1]) < rows {
		return nil
	}
	return taken
}
