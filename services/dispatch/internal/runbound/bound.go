package runbound

import (
	"math"
	"slices"
)

// Run is a run of a plan that the proof starts from.
type Run struct {
	// Truck is the kind of truck.
	Truck int
	Parts []Part
}

// Part is what a run brings to a site: its units from From up to To.
type Part struct{ Site, From, To int }

const (
	// steadiest is how near the weights are kept to the best so far.
	steadiest = 0.5
	// keenest and laxest are how many times better than the best so far a run has
	// to be to be looked for, less 1.
	keenest, laxest = 1e-4, 0.05
)

// Proof looks for the best weights.
type Proof struct {
	p      *Problem
	plan   []Run
	pricer *pricer
	rows   rows
	master *master
	// pool are runs with several drops that were found.
	pool  []column
	bound Bound
	// keen is how many times better than the best so far a run has to be to be
	// looked for, and steady how near to center weights are kept.
	keen, steady float64
	// center are the weights that proved the bound.
	center []float64
	// begun says that some weights were looked at, ended that none prove more.
	begun, ended bool
}

// New begins a proof of how many runs the pieces need at least, from the runs of
// a plan that brings them. It proves nothing yet, and takes next to no time.
func New(p Problem, plan []Run) *Proof {
	return &Proof{p: &p, plan: plan, pricer: newPricer(&p)}
}

// Bound is what is proved so far.
func (s *Proof) Bound() Bound { return s.bound }

// Improve looks so many times for better weights, fewer when none prove more or
// as many runs as enough are proved. It asks stop every few milliseconds, and what
// is begun then is lost; a nil stop never stops.
func (s *Proof) Improve(times, enough int, stop func() bool) {
	if s.ended || !s.pricer.list(stop) {
		return
	}
	if s.master == nil {
		s.begin(s.newRows(coarse))
	}
	// A search that is more patient takes as many times as long.
	for spent := 0; spent < times; spent += s.pricer.patience / littlePatience {
		if s.ended || s.bound.Runs >= enough || stop != nil && stop() {
			return
		}
		if s.round(stop) && !s.refine() {
			s.ended = true
		}
	}
}

// begin begins with a new master.
func (s *Proof) begin(r rows) {
	s.rows = r
	s.keen, s.steady = 1+laxest, steadiest
	s.pricer.patience = littlePatience
	s.master = s.newMaster()
	s.center = s.firstWeights()
	for _, r := range s.plan {
		s.enterRun(r)
	}
}

// refine begins again with finer rows; false where the rows are fine or would be
// too many.
func (s *Proof) refine() bool {
	if s.rows.grain == fine {
		return false
	}
	r := s.newRows(fine)
	if len(r.size) > mostRows {
		return false
	}
	var center []float64
	for site, before := range s.prefix(s.center) {
		for u, row := range r.of[site] {
			for len(center) <= row {
				center = append(center, 0)
			}
			center[row] += before[u+1] - before[u]
		}
	}
	center = append(center, s.center[len(s.rows.size):]...)
	s.begin(r)
	s.center = center
	return true
}

// round looks for better runs; true when better weights prove no run more.
//
// The weights of the master swing widely as long as it knows few runs, so the
// runs are looked for under weights between them and those that proved most so
// far (P. Wentges, "Weighted Dantzig-Wolfe Decomposition for Linear Mixed-Integer
// Programming", International Transactions in Operational Research 4, 1997).
func (s *Proof) round(stop func() bool) bool {
	if !s.settle(stop) {
		return false
	}
	// The first weights prove something as they are.
	duals := slices.Clone(s.center)
	if s.begun {
		for i, d := range s.master.dual {
			duals[i] = s.steady*s.center[i] + (1-s.steady)*d
		}
	}
	weights := weights{units: s.prefix(duals), visit: duals[len(s.rows.size):s.master.covers]}
	most := 1.0
	var found []column
	for kind := range s.p.Trucks {
		columns, above, ok := s.pricer.best(kind, weights, s.priceOf(duals, kind), s.keen, stop)
		if !ok {
			return false
		}
		found = append(found, columns...)
		most = max(most, above)
	}
	s.prove(duals, most)
	s.begun = true
	// No weights prove more than the master comes to.
	if roundUp(s.master.sum()) <= s.bound.Runs {
		return true
	}
	s.keen = min(s.keen, 1+max(keenest, 0.1*(s.master.sum()-s.bound.Value)/s.master.sum()))
	return s.enterFound(found) == 0 && !s.keener()
}

// priceOf a minute of a kind of truck.
func (s *Proof) priceOf(duals []float64, kind int) float64 {
	return max(0, -duals[s.master.covers+kind])
}

// keener looks more closely from now on; false when it does so already.
func (s *Proof) keener() bool {
	switch {
	case s.steady > 0:
		s.steady = 0
	case s.keen-1 > keenest:
		s.keen = 1 + max(keenest, (s.keen-1)/4)
	case s.pricer.hasty() && s.pricer.patience < mostPatience:
		s.pricer.patience *= 4
	default:
		return false
	}
	return true
}

// prefix is the weight of the units of each site before each of them.
func (s *Proof) prefix(duals []float64) [][]float64 {
	out := make([][]float64, len(s.rows.of))
	for site, rows := range s.rows.of {
		out[site] = make([]float64, len(rows)+1)
		for u, row := range rows {
			out[site][u+1] = out[site][u] + max(0, duals[row])/float64(s.rows.size[row])
		}
	}
	return out
}

// prove notes what weights prove of which no run carries more than most.
func (s *Proof) prove(duals []float64, most float64) {
	b := Bound{Weights: make([]float64, len(s.p.Sites))}
	for site, before := range s.prefix(duals) {
		visits := float64(s.rows.visits[site]) * max(0, duals[len(s.rows.size)+site])
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
