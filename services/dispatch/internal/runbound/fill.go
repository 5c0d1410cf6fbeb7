package runbound

// enterRun brings a run of a plan into the master.
func (s *Proof) enterRun(r Run) {
	c := column{kind: r.Truck}
	for _, x := range r.Parts {
		all := s.pricer.all[r.Truck][x.Site]
		for i := range all {
			if t := &all[i]; t.from == x.From && t.to == x.To {
				c.parts = append(c.parts, part{x.Site, t})
			}
		}
	}
	minutes, ok := s.p.minutes(c.kind, c.parts)
	if !ok || len(c.parts) < len(r.Parts) {
		return
	}
	c.minutes = minutes
	s.master.enter(s.entries(&c), 1)
}

// entries are the coefficients of a run: the part of each row that it brings,
// its visits, and its minutes.
func (s *Proof) entries(c *column) []entry {
	var out []entry
	for _, x := range c.parts {
		for u := x.from; u < x.to; u++ {
			row := s.rows.of[x.site][u]
			if n := len(out); n > 0 && out[n-1].row == row {
				out[n-1].by += 1 / float64(s.rows.size[row])
			} else {
				out = append(out, entry{row, 1 / float64(s.rows.size[row])})
			}
		}
	}
	for _, x := range c.parts {
		out = append(out, entry{len(s.rows.size) + x.site, 1})
	}
	return append(out, entry{s.master.covers + c.kind, float64(c.minutes)})
}

// settle brings in runs that need not be searched for, as long as there are better
// ones than the master has: those to one site, and those that were found before.
// False when it is stopped.
func (s *Proof) settle(stop func() bool) bool {
	for again := true; again; {
		s.master.price()
		again = false
		for i := range s.pool {
			if i%askPool == 0 && stop != nil && stop() {
				return false
			}
			again = s.enterColumn(&s.pool[i]) || again
		}
		before := s.prefix(s.master.dual)
		for site := range s.p.Sites {
			if stop != nil && stop() {
				return false
			}
			for kind := range s.p.Trucks {
				if c, ok := s.bestAlone(kind, site, before[site]); ok {
					again = s.enterColumn(&c) || again
				}
			}
		}
	}
	return true
}

// askPool is after how many runs of the pool stop is asked.
const askPool = 50

// bestAlone is the best run of a kind to one site, of units with weights before
// them, if it is worth more than 1.
func (s *Proof) bestAlone(kind, site int, before []float64) (column, bool) {
	all := s.pricer.all[kind][site]
	price, visit := s.priceOf(s.master.dual, kind), s.master.dual[len(s.rows.size)+site]
	best, most := -1, 1+better
	for i := range all {
		t := &all[i]
		if worth := before[t.to] - before[t.from] + visit - price*float64(t.alone); worth > most && t.alone < never {
			best, most = i, worth
		}
	}
	if best < 0 {
		return column{}, false
	}
	return column{kind: kind, parts: []part{{site, &all[best]}}, minutes: all[best].alone}, true
}

// better is by how much a run has to be worth more than 1 to be brought in.
const better = 1e-7

// enterColumn brings a run in if that makes the master better.
func (s *Proof) enterColumn(c *column) bool {
	entries := s.entries(c)
	return s.master.worth(entries) > 1+better && s.master.enter(entries, 1)
}

// enterFound brings in the runs that the master lacks, and says how many.
func (s *Proof) enterFound(found []column) int {
	entered := 0
	for i := range found {
		if len(found[i].parts) > 1 {
			s.pool = append(s.pool, found[i])
		}
		s.master.price()
		if s.enterColumn(&found[i]) {
			entered++
		}
	}
	if entered > 0 {
		s.steady = steadiest
	}
	return entered
}
