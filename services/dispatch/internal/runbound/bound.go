package runbound

import "math"

// Run is a run of a plan that the proof starts from.
type Run struct {
	// Truck is the kind of truck.
	Truck int
	Parts []Part
}

// Part is what a run brings to a site: its units from From up to To.
type Part struct{ Site, From, To int }

const (
	// grain is how many groups at least a full load consists of.
	grain = 20
	// steadiest is how near the weights are kept to the best so far.
	steadiest = 0.5
	// keenest and laxest are how many times better than the best so far a run has
	// to be to be looked for, less 1.
	keenest, laxest = 1e-4, 0.02
)

// Proof looks for the best weights.
type Proof struct {
	p      *Problem
	pricer *pricer
	master *master
	// row of each unit of each site, and how many units each of these rows has.
	rows [][]int
	size []int
	// visits to each site at least; their rows follow those of the units.
	visits []int
	bound  Bound
	keen   float64
	steady float64
	// center are the weights that proved the bound.
	center []float64
	// ended says that no weights prove more.
	ended bool
}

// New begins a proof of how many runs the pieces need at least, from the runs of
// a plan that brings them. It proves nothing yet.
func New(p Problem, plan []Run) *Proof {
	s := &Proof{p: &p, pricer: newPricer(&p), keen: 1 + laxest, steady: steadiest}
	s.prepare()
	for _, r := range plan {
		s.enterRun(r)
	}
	return s
}

// Bound is what is proved so far.
func (s *Proof) Bound() Bound { return s.bound }

// Improve looks so many times for better weights, fewer when none prove more or
// as many runs as enough are proved. It asks stop between two times; a nil stop
// never stops.
func (s *Proof) Improve(times, enough int, stop func() bool) {
	for range times {
		if s.ended || s.bound.Runs >= enough || stop != nil && stop() {
			return
		}
		s.ended = s.round()
	}
}

// prepare makes the rows of the master and the first weights: masses.
func (s *Proof) prepare() {
	p := s.p
	var most int64
	for i := range p.Trucks {
		most = max(most, p.Trucks[i].CapacityG)
	}
	for i := range p.Sites {
		s.rows = append(s.rows, s.group(p.Sites[i].Units, most/grain))
	}
	covers := make([]float64, len(s.size))
	for i := range covers {
		covers[i] = 1
	}
	for site := range p.Sites {
		s.visits = append(s.visits, s.pricer.visits(site))
		covers = append(covers, float64(s.visits[site]))
	}
	var minutes []float64
	for i := range p.Trucks {
		minutes = append(minutes, float64(p.Trucks[i].FreeMinutes))
	}
	s.master = newMaster(covers, minutes)
	s.center = make([]float64, s.master.rows)
	for i := range p.Sites {
		for u, row := range s.rows[i] {
			s.center[row] += float64(p.Sites[i].Units[u].MassG) / float64(most)
		}
	}
}

// group puts units that follow each other into rows of equal weight: pallets
// that may change places, and beams up to a mass.
func (s *Proof) group(units []Unit, mostG int64) []int {
	var rows []int
	var sum int64
	for i := 0; i < len(units); {
		end := groupEnd(units, i)
		var mass int64
		for k := i; k < end; k++ {
			mass += units[k].MassG
		}
		if i == 0 || units[i].Pallet || units[i-1].Pallet || sum+mass > mostG {
			s.size = append(s.size, 0)
			sum = 0
		}
		sum += mass
		for ; i < end; i++ {
			rows = append(rows, len(s.size)-1)
			s.size[len(s.size)-1]++
		}
	}
	return rows
}

// enterRun brings a run of a plan into the master.
func (s *Proof) enterRun(r Run) {
	c := column{kind: r.Truck}
	for _, x := range r.Parts {
		for _, t := range s.pricer.all[r.Truck][x.Site] {
			if t.from == x.From && t.to == x.To {
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
			row := s.rows[x.site][u]
			if n := len(out); n > 0 && out[n-1].row == row {
				out[n-1].by += 1 / float64(s.size[row])
			} else {
				out = append(out, entry{row, 1 / float64(s.size[row])})
			}
		}
	}
	for _, x := range c.parts {
		out = append(out, entry{len(s.size) + x.site, 1})
	}
	return append(out, entry{s.master.covers + c.kind, float64(c.minutes)})
}

// round looks for better runs; true when there are none.
//
// The weights of the master swing widely as long as it knows few runs, so the
// runs are looked for under weights between them and those that proved most so
// far (P. Wentges, "Weighted Dantzig-Wolfe Decomposition for Linear Mixed-Integer
// Programming", International Transactions in Operational Research 4, 1997).
func (s *Proof) round() bool {
	s.master.price()
	duals := make([]float64, s.master.rows)
	for i, d := range s.master.dual {
		duals[i] = s.steady*s.center[i] + (1-s.steady)*d
	}
	weights := weights{units: s.prefix(duals), visit: duals[len(s.size):s.master.covers]}
	most := 1.0
	var found []column
	for kind := range s.p.Trucks {
		columns, above := s.pricer.best(kind, weights, max(0, -duals[s.master.covers+kind]), s.keen)
		found = append(found, columns...)
		most = max(most, above)
	}
	s.prove(duals, most)
	s.keen = 1 + min(laxest, max(keenest, 0.1*s.gap()))
	return s.enterFound(found) == 0 && !s.keener()
}

// gap is what the proof is behind the master, as a part of the master.
func (s *Proof) gap() float64 {
	sum := 0.0
	for i, v := range s.master.value {
		sum += v * s.master.cost[i]
	}
	return (sum - s.bound.Value) / sum
}

// enterFound brings in the runs that the master lacks, and says how many.
func (s *Proof) enterFound(found []column) int {
	entered := 0
	for i := range found {
		entries := s.entries(&found[i])
		s.master.price()
		worth := 0.0
		for _, e := range entries {
			worth += s.master.dual[e.row] * e.by
		}
		if worth > 1+tiny && s.master.enter(entries, 1) {
			entered++
		}
	}
	if entered > 0 {
		s.steady = steadiest
	}
	return entered
}

// keener looks more closely from now on; false when it does so already.
func (s *Proof) keener() bool {
	switch {
	case s.steady > 0:
		s.steady = 0
	case s.keen-1 > keenest:
		s.keen = 1 + (s.keen-1)/2
	default:
		return false
	}
	return true
}

// prefix is the weight of the units of each site before each of them.
func (s *Proof) prefix(duals []float64) [][]float64 {
	out := make([][]float64, len(s.rows))
	for site, rows := range s.rows {
		out[site] = make([]float64, len(rows)+1)
		for u, row := range rows {
			out[site][u+1] = out[site][u] + max(0, duals[row])/float64(s.size[row])
		}
	}
	return out
}

// prove notes what weights prove of which no run carries more than most.
func (s *Proof) prove(duals []float64, most float64) {
	b := Bound{Weights: make([]float64, len(s.p.Sites))}
	for site, before := range s.prefix(duals) {
		visits := float64(s.visits[site]) * max(0, duals[len(s.size)+site])
		b.Weights[site] = (before[len(before)-1] + visits) / most
		b.Value += b.Weights[site]
	}
	for kind := range s.p.Trucks {
		b.Price -= min(0, duals[s.master.covers+kind]) * float64(s.p.Trucks[kind].FreeMinutes) / most
	}
	b.Value -= b.Price
	if b.Value <= s.bound.Value || math.IsNaN(b.Value) {
		return
	}
	b.Runs = roundUp(b.Value)
	s.bound = b
	for i, d := range duals {
		s.center[i] = d / most
	}
}
