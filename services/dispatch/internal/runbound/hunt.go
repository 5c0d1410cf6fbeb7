package runbound

import (
	"cmp"
	"slices"
)

// weights are looked for: of the units of each site before each of them, and of
// a visit to each site.
type weights struct {
	units [][]float64
	visit []float64
}

const (
	// littlePatience and mostPatience are after how many looks at stretches a search
	// for the best run ends, at first and at most when nothing better is found.
	littlePatience, mostPatience = 500_000, 1_000_000_000
	// askEvery is after how many looks stop is asked.
	askEvery = 20_000
)

// offer is a stretch that a run may bring.
type offer struct {
	*stretch
	// weight of its units, and what is left of it when unloading and the shortest
	// ways that could lead there and on are paid for.
	weight, worth float64
	// class of the outlook on what there is room for beside it.
	class int
}

// hunt looks for the best runs of one kind of truck under given weights.
type hunt struct {
	*pricer
	kind  int
	truck *Truck
	price float64
	// sites that have something to bring, and what is worth looking at there, the
	// most worth first.
	sites []int
	lists [][]offer
	// whole is how much there is of each measure, and outlooks are what more drops
	// are worth at most with so much of it left.
	whole    uses
	outlooks outlooks
	now      []part
	wares    wares
	// best is what the best run is worth, good are the best by their last site.
	best  float64
	good  []column
	looks int
	// keen is how many times better than the best so far a run has to be to be
	// looked for.
	keen float64
	// cut says that patience ended, stopped that stop said so.
	cut, stopped bool
	stop         func() bool
}

// prepare looks for stretches that are worth anything and works the outlooks out;
// false when it is stopped.
func (h *hunt) prepare(weights weights) bool {
	for site := range h.p.Sites {
		if h.stop != nil && h.stop() {
			return false
		}
		if list := h.worthwhile(site, weights.units[site], max(0, weights.visit[site])); len(list) > 0 {
			h.sites, h.lists = append(h.sites, site), append(h.lists, list)
		}
	}
	h.whole[0] = h.truck.CapacityG
	for m := range h.measures[h.kind] {
		h.whole[m+1] = h.measures[h.kind][m].whole
	}
	return h.lookOut()
}

// worthwhile are the stretches of a site that no other one of it does better
// in everything.
func (h *hunt) worthwhile(site int, weight []float64, visit float64) []offer {
	var out []offer
	all := h.all[h.kind][site]
	near := h.near[site+1]
	for i := range all {
		s := &all[i]
		// Without a unit of no weight at an end it is as good.
		if s.to-s.from > 1 && (weight[s.to] <= weight[s.to-1] || weight[s.from+1] <= weight[s.from]) {
			continue
		}
		next := offer{stretch: s, weight: weight[s.to] - weight[s.from] + visit}
		next.worth = next.weight - h.price*(float64(s.unload)+near)
		if next.weight > tiny && !slices.ContainsFunc(out, func(o offer) bool { return o.asGood(&next) }) {
			out = append(out, next)
		}
	}
	slices.SortStableFunc(out, func(a, b offer) int { return cmp.Compare(b.worth, a.worth) })
	return out
}

// asGood says whether a stretch can take the place of another on any run.
func (o *offer) asGood(s *offer) bool {
	if o.weight < s.weight || o.opens > s.opens || o.close < s.close || !o.uses.fit(&s.uses) {
		return false
	}
	return o.unload <= s.unload && o.wares.within(&s.wares)
}

// start looks for runs whose site of lowest number is one of the sites.
func (h *hunt) start(first int) {
	h.cut, h.looks = false, 0
	way := -h.price * (float64(h.p.LoadingMinutes) + h.near[0])
	h.from(first, first+1, ahead{left: h.whole, room: h.decks[h.kind].laneMM, worth: way})
}

// ahead is what a run that is begun leaves open.
type ahead struct {
	left uses
	// room is how long a pile can be at most.
	room int
	// weight that is on the run, and what it is worth at most.
	weight, worth float64
}

// from extends the run by a stretch of one of the sites at first to end-1, and
// then by later sites.
func (h *hunt) from(first, end int, a ahead) {
	drops := h.truck.MostDrops - len(h.now)
	short := h.outlooks.class(a.room)
	for k := first; k < end && drops > 0; k++ {
		if !h.outlooks.over(h.best*h.keen-a.worth, short, k, drops, &a.left) {
			return
		}
		for i := range h.lists[k] {
			s := &h.lists[k][i]
			lacks := h.best*h.keen - a.worth - s.worth
			if !h.outlooks.over(lacks, short, k+1, drops-1, &a.left) {
				break
			}
			if !h.look() {
				return
			}
			if s.longest > a.room || !s.uses.fit(&a.left) {
				continue
			}
			then := ahead{left: a.left.less(&s.uses), room: s.room, weight: a.weight + s.weight, worth: a.worth + s.worth}
			if !h.outlooks.over(lacks, min(short, s.class), k+1, drops-1, &then.left) {
				continue
			}
			h.take(k, s, then)
			if h.cut || h.stopped {
				return
			}
		}
	}
}

// look counts a look at a stretch and says whether to go on.
func (h *hunt) look() bool {
	if h.looks++; h.looks > h.patience {
		h.cut = true
	} else if h.looks%askEvery == 0 && h.stop != nil && h.stop() {
		h.stopped = true
	}
	return !h.cut && !h.stopped
}

// take puts a stretch on the run and goes on from there.
func (h *hunt) take(k int, s *offer, a ahead) {
	h.now = append(h.now, part{h.sites[k], s.stretch})
	defer func() { h.now = h.now[:len(h.now)-1] }()
	if len(h.now) > 1 {
		a.room = h.room()
	}
	if a.room == none {
		return
	}
	minutes, ok := h.p.minutes(h.kind, h.now)
	if !ok {
		return
	}
	worth := a.weight - h.price*float64(minutes)
	if last := &h.good[h.sites[k]]; worth > max(1+better, last.worth) {
		*last = column{kind: h.kind, parts: slices.Clone(h.now), minutes: minutes, worth: worth}
		h.best = max(h.best, worth)
	}
	if len(h.now) < h.truck.MostDrops {
		h.from(k+1, len(h.lists), a)
	}
}

// room is how long a pile could be that stands on the deck with those of the run.
func (h *hunt) room() int {
	h.wares.reset()
	for i := range h.now {
		h.wares.add(h.now[i].wares)
	}
	return h.decks[h.kind].room(&h.wares)
}
