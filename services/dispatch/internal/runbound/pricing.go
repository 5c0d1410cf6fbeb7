package runbound

import (
	"cmp"
	"math"
	"slices"
)

// part is a stretch of a site on a run.
type part struct {
	site int
	stretch
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
	// all stretches of each kind of truck and site.
	all [][][]stretch
}

// newPricer lists the stretches.
func newPricer(p *Problem) *pricer {
	x := &pricer{p: p}
	for kind := range p.Trucks {
		var of [][]stretch
		for site := range p.Sites {
			of = append(of, p.stretchesOf(kind, site))
		}
		x.all = append(x.all, of)
	}
	return x
}

// weights are looked for: of the units of each site before each of them, and of
// a visit to each site.
type weights struct {
	units [][]float64
	visit []float64
}

const (
	// slices of a truck's capacity in which what else it could carry is looked
	// up.
	parts = 200
	// patience is how many ways a search for the best run of a kind tries.
	patience = 30_000
)

// hunt looks for the best runs of one kind of truck under given weights.
type hunt struct {
	*pricer
	kind  int
	truck *Truck
	price float64
	// sites that have something to bring, and their stretches worth looking at,
	// the most worth first.
	sites []int
	lists [][]stretch
	// byMass and byLane are what more drops are worth at most with so much mass
	// or lane left.
	byMass, byLane outlook
	now            []part
	piles          []int
	best           column
	tries          int
	// keen is how many times better than the best so far a run has to be to be
	// looked for.
	keen float64
	// cut says that patience ended.
	cut bool
}

// best returns the best run for each site of lowest number on it, as far as it
// is worth more than 1, and what no run of the kind is worth more than.
func (x *pricer) best(kind int, weights weights, price, keen float64) ([]column, float64) {
	h := &hunt{pricer: x, kind: kind, keen: keen, truck: &x.p.Trucks[kind], price: price}
	for site := range x.p.Sites {
		if list := h.worthwhile(site, weights.units[site], max(0, weights.visit[site])); len(list) > 0 {
			h.sites, h.lists = append(h.sites, site), append(h.lists, list)
		}
	}
	h.byMass = newOutlook(h.lists, h.truck.CapacityG, func(s *stretch) int64 { return s.massG })
	h.byLane = newOutlook(h.lists, int64(h.truck.Lanes*h.truck.LaneMM), func(s *stretch) int64 { return int64(s.laneMM) })
	start := -price * (float64(x.p.LoadingMinutes) + x.p.nearby(0))
	var found []column
	most := 1.0
	for first := range h.sites {
		h.best = column{worth: 1 + (most-1)/2}
		h.from(first, first+1, h.truck.CapacityG, h.truck.Lanes*h.truck.LaneMM, start)
		if len(h.best.parts) > 0 {
			found = append(found, h.best)
			most = max(most, h.best.worth)
		}
	}
	if h.cut {
		// What lies ahead of an empty truck is more than any run is worth.
		most = max(most*keen, start+h.ahead(0, h.truck.MostDrops, h.truck.CapacityG, h.truck.Lanes*h.truck.LaneMM))
	} else {
		most *= keen
	}
	return found, most
}

// worthwhile are the stretches of a site that no other one of it does better
// in everything.
func (h *hunt) worthwhile(site int, weight []float64, visit float64) []stretch {
	var out []stretch
	all := h.all[h.kind][site]
	near := h.p.nearby(site + 1)
	for i := range all {
		s := all[i]
		s.weight = weight[s.to] - weight[s.from] + visit
		s.worth = s.weight - h.price*(float64(s.unload)+near)
		if s.weight > tiny && !slices.ContainsFunc(out, func(o stretch) bool { return o.asGood(&s) }) {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b stretch) int { return cmp.Compare(b.worth, a.worth) })
	return out
}

// asGood says whether a stretch that is no heavier than another can take its
// place on any run.
func (o *stretch) asGood(s *stretch) bool {
	if o.weight < s.weight || o.laneMM > s.laneMM || len(o.piles) > len(s.piles) || o.opens > s.opens || o.close < s.close {
		return false
	}
	for k, l := range o.piles {
		if l > s.piles[k] {
			return false
		}
	}
	return true
}

// outlook is what more drops are worth at most when only one thing counts that
// they use up.
type outlook struct {
	// slice of it is what is told apart.
	slice int64
	// most[k][n][b] is what n drops more at sites from the k-th on are worth at
	// most with less than b+1 slices left.
	most [][MaxDrops + 1][]float64
}

func newOutlook(lists [][]stretch, whole int64, uses func(*stretch) int64) outlook {
	// Rounded up, so that no more than so many slices make the whole.
	o := outlook{slice: max(1, (whole+parts-1)/parts), most: make([][MaxDrops + 1][]float64, len(lists)+1)}
	for n := range MaxDrops + 1 {
		o.most[len(lists)][n] = make([]float64, parts+2)
	}
	for k := len(lists) - 1; k >= 0; k-- {
		best := make([]float64, parts+2)
		for i := range lists[k] {
			b := min(int64(parts+1), uses(&lists[k][i])/o.slice)
			best[b] = max(best[b], lists[k][i].worth)
		}
		o.most[k][0] = o.most[k+1][0]
		for n := 1; n <= MaxDrops; n++ {
			row := slices.Clone(o.most[k+1][n])
			rest := o.most[k+1][n-1]
			for take, worth := range best {
				if worth <= 0 {
					continue
				}
				for b := take; b < len(row); b++ {
					row[b] = max(row[b], worth+rest[b-take])
				}
			}
			o.most[k][n] = row
		}
	}
	return o
}

// at is what n drops at sites from the k-th on are worth at most with so much
// left.
func (o *outlook) at(k, n int, left int64) float64 {
	return o.most[k][n][min(int64(parts+1), left/o.slice)]
}

// ahead is what n drops at sites from the k-th on are worth at most.
func (h *hunt) ahead(k, n int, leftG int64, leftMM int) float64 {
	return min(h.byMass.at(k, n, leftG), h.byLane.at(k, n, int64(leftMM)))
}

// from extends the run by a stretch of one of the sites at first to end-1, and
// then by later sites.
func (h *hunt) from(first, end int, leftG int64, leftMM int, worth float64) {
	drops := h.truck.MostDrops - len(h.now)
	for k := first; k < end && drops > 0; k++ {
		if worth+h.ahead(k, drops, leftG, leftMM) <= h.best.worth*h.keen {
			return
		}
		after := h.ahead(k+1, drops-1, leftG, leftMM)
		for i := range h.lists[k] {
			s := &h.lists[k][i]
			all := worth + s.worth
			if all+after <= h.best.worth*h.keen {
				break
			}
			if s.massG > leftG || s.laneMM > leftMM || all+h.ahead(k+1, drops-1, leftG-s.massG, leftMM-s.laneMM) <= h.best.worth*h.keen {
				continue
			}
			if h.tries++; h.tries > patience {
				h.cut = true
				return
			}
			h.take(k, s, leftG, leftMM, worth)
		}
	}
}

// take puts a stretch on the run and goes on from there.
func (h *hunt) take(k int, s *stretch, leftG int64, leftMM int, worth float64) {
	h.now = append(h.now, part{h.sites[k], *s})
	defer func() { h.now = h.now[:len(h.now)-1] }()
	minutes, ok := h.p.minutes(h.kind, h.now)
	if !ok || !h.hold() {
		return
	}
	weight := 0.0
	for i := range h.now {
		weight += h.now[i].weight
	}
	if exact := weight - h.price*float64(minutes); exact > h.best.worth {
		h.best = column{kind: h.kind, parts: slices.Clone(h.now), minutes: minutes, worth: exact}
	}
	if len(h.now) < h.truck.MostDrops {
		h.from(k+1, len(h.lists), leftG-s.massG, leftMM-s.laneMM, worth+s.worth)
	}
}

// hold says whether the piles of the run can stand in the lanes.
func (h *hunt) hold() bool {
	if len(h.now) == 1 {
		return true
	}
	h.piles = h.piles[:0]
	for i := range h.now {
		h.piles = append(h.piles, h.now[i].piles...)
	}
	return h.truck.lanesHold(h.piles)
}

// nearby is half of the shortest ways to a place and from it: whatever the order
// of a run's places, its ways are at least as long as these together.
func (p *Problem) nearby(place int) float64 {
	in, out := math.MaxInt, math.MaxInt
	for other := range p.Minutes {
		if other != place {
			in, out = min(in, p.Minutes[other][place]), min(out, p.Minutes[place][other])
		}
	}
	return float64(in+out) / 2
}

// minutes is the shortest time from loading to being back of a run with these
// drops in any order; false where no order keeps windows and limits.
func (p *Problem) minutes(kind int, drops []part) (int, bool) {
	var aboard int64
	for i := range drops {
		aboard += drops[i].massG
	}
	t := &p.Trucks[kind]
	o := orders{p: p, kind: kind, drops: drops, least: math.MaxInt}
	o.after(0, 0, aboard, trip{p.LoadingMinutes, t.OpensMinute, t.ClosesMinute})
	return o.least, o.least < math.MaxInt
}

// trip is a part of a run: how long it takes, and when it starts at the
// earliest and at the latest without waiting more than it must.
type trip struct{ minutes, early, late int }

// then adds a place where the next thing starts within a window.
func (t trip) then(drive, opens, closes, takes int) (trip, bool) {
	before := t.minutes + drive
	if t.early+before > closes {
		return t, false
	}
	wait := max(0, opens-before-t.late)
	return trip{before + wait + takes, max(opens-before, t.early) - wait, min(closes-before, t.late)}, true
}

// orders tries the orders of drops.
type orders struct {
	p     *Problem
	kind  int
	drops []part
	used  [MaxDrops]bool
	least int
}

func (o *orders) after(done, at int, aboard int64, t trip) {
	if done == len(o.drops) {
		closes := o.p.Trucks[o.kind].ClosesMinute
		if back, ok := t.then(o.p.Minutes[at][0], 0, closes, 0); ok {
			o.least = min(o.least, back.minutes)
		}
		return
	}
	for i := range o.drops {
		d := &o.drops[i]
		if o.used[i] || aboard > o.p.Sites[d.site].MostG[o.kind] {
			continue
		}
		if next, ok := t.then(o.p.Minutes[at][d.site+1], d.opens, d.close, d.unload); ok {
			o.used[i] = true
			o.after(done+1, d.site+1, aboard-d.massG, next)
			o.used[i] = false
		}
	}
}
