package routing

import (
	"slices"
	"strings"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/picking"
)

// maxDrops is how many sites a run visits at most.
const maxDrops = 4

// chain is all that goes to one site, in the site's laying order. Loads take
// consecutive stretches of it.
type chain struct {
	site  *morning.Site
	units []loading.Unit
	// order and its window, by unit.
	order  []int
	window []morning.Window
	// massG and beams before each unit.
	massG []int64
	beams []int
	// fixed are the minutes at which fixed runs start to be unloaded.
	fixed []int
	// windowEnds are the units whose window is not that of the unit before.
	windowEnds []int
	// ends of the orders' parts, ascending; the last is len(units).
	ends []int
	// orders of the site, also those without units.
	orders []int
	// trucks that can get to the site and be unloaded there.
	trucks []int
	// runs is the least number of runs of its own that a chain needs from a
	// unit on, as far as known; 0 is not yet known.
	runs []int
}

// stretch is a part of a chain: units from start up to end.
type stretch struct{ chain, start, end int }

// world is a morning prepared for search.
type world struct {
	problem morning.Problem
	lots    []picking.Lot
	chains  []chain
	// fixed runs of the problem, and all that hold trucks and places: they, and
	// the confirmed ones.
	fixed []morning.Run
	busy  []morning.BusyRun
	roads roads
	// largestG is the greatest load of any truck.
	largestG int64
	// class numbers trucks that are alike for loading.
	class []int
	decks map[deckKey]*loading.Deck
	loads map[loadKey]loaded
	ends  map[loadKey]int
}

type deckKey struct{ class, overhangMM int }

// loadKey names a load: who carries which stretches, the first drop first.
type loadKey struct {
	class int
	drops [maxDrops]stretch
}

// remembered is how many loads and ends are remembered at a time; whichever are,
// the plans are the same.
const remembered = 100_000

// loaded remembers whether a load can be built, and how.
type loaded struct {
	load  loading.Load
	piles [maxDrops]int
	ok    bool
}

func newWorld(p morning.Problem, lots []picking.Lot) *world {
	w := &world{
		problem: p, lots: lots,
		decks: map[deckKey]*loading.Deck{}, loads: map[loadKey]loaded{}, ends: map[loadKey]int{},
	}
	w.classify()
	w.largestG = w.largest()
	sites := siteIndex(p.Sites)
	bySite := picking.BySite(p.Orders)
	ids := make([]string, 0, len(bySite))
	for id := range bySite {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, strings.Compare)
	var visited []*morning.Site
	for _, id := range ids {
		site, known := sites[id]
		if !known {
			continue
		}
		c := newChain(site, lots, bySite[id])
		for t := range p.Trucks {
			if noEntry(&p.Trucks[t], site) == "" {
				c.trucks = append(c.trucks, t)
			}
		}
		w.chains = append(w.chains, c)
		visited = append(visited, site)
	}
	w.roads = newRoads(p.Rules, visited, p.Travel)
	w.takeFixed()
	return w
}

func siteIndex(sites []morning.Site) map[string]*morning.Site {
	index := make(map[string]*morning.Site, len(sites))
	for i := range sites {
		index[sites[i].ID] = &sites[i]
	}
	return index
}

func newChain(site *morning.Site, lots []picking.Lot, orders []int) chain {
	c := chain{site: site, massG: []int64{0}, beams: []int{0}, orders: orders}
	for _, o := range orders {
		window := intersect(lots[o].Order.Window, site.Opens)
		for _, u := range lots[o].Units {
			c.units = append(c.units, u)
			c.order = append(c.order, o)
			c.window = append(c.window, window)
			c.massG = append(c.massG, c.massG[len(c.massG)-1]+u.Item.MassG)
			n := c.beams[len(c.beams)-1]
			if !u.Item.Pallet() {
				n++
			}
			c.beams = append(c.beams, n)
		}
		if n := len(c.units); len(lots[o].Units) > 0 {
			c.ends = append(c.ends, n)
		}
	}
	c.runs = make([]int, len(c.units)+1)
	return c
}

func intersect(a, b morning.Window) morning.Window {
	return morning.Window{
		OpensMinute:  max(a.OpensMinute, b.OpensMinute),
		ClosesMinute: min(a.ClosesMinute, b.ClosesMinute),
	}
}

// classify gives trucks that are alike for loading the same number: trucks of
// one build that must not bring the same orders.
func (w *world) classify() {
	type kind struct {
		truck  morning.Truck
		barred string
	}
	seen := map[kind]int{}
	for _, t := range w.problem.Trucks {
		k := kind{truck: t}
		for _, o := range w.problem.Orders {
			if slices.Contains(o.NotBy, t.ID) {
				k.barred += o.CallOffID + "\x1f"
			}
		}
		k.truck.ID, k.truck.Name, k.truck.Hours = "", "", morning.Window{}
		if _, ok := seen[k]; !ok {
			seen[k] = len(seen)
		}
		w.class = append(w.class, seen[k])
	}
}

// forbidden tells whether a truck must not bring something of a stretch.
func (w *world) forbidden(truckID string, s stretch) bool {
	c := &w.chains[s.chain]
	for at := s.start; at < s.end; at = c.orderEnd(at) {
		if slices.Contains(w.lots[c.order[at]].Order.NotBy, truckID) {
			return true
		}
	}
	return false
}

// mostDrops is how many sites a run of a truck visits at most.
func (w *world) mostDrops(truck int) int {
	if n := w.problem.Trucks[truck].MaxDrops; n > 0 {
		return min(n, maxDrops)
	}
	return maxDrops
}

// windowOf is when unloading of a stretch may start; empty when its units have
// no common window.
func (c *chain) windowOf(start, end int) morning.Window {
	out := c.window[start]
	for _, at := range c.windowEnds {
		if start < at && at < end {
			out = intersect(out, c.window[at])
		}
	}
	return out
}

// holds tells whether the site can hold what a stretch brings, with nothing
// there yet.
func (c *chain) holds(start, end int) bool {
	return !c.bounded() || c.beams[end]-c.beams[start] <= c.site.HoldsBeams
}

// bounded tells whether it is known how much may lie at the site, and when it is
// laid.
func (c *chain) bounded() bool { return c.site.HoldsBeams > 0 && c.site.LaidPerHour > 0 }

// orderEnd is where the part of the order of a unit ends.
func (c *chain) orderEnd(unit int) int {
	for _, e := range c.ends {
		if e > unit {
			return e
		}
	}
	return len(c.units)
}

// deckFor returns the deck of a truck on its way to sites of the chains. What
// hangs over the tail counts towards the length of the vehicle.
func (w *world) deckFor(truck int, drops []stretch) *loading.Deck {
	t := &w.problem.Trucks[truck]
	overhang := w.problem.Rules.MaxTailOverhangMM
	for _, d := range drops {
		if most := w.chains[d.chain].site.MaxVehicleLengthMM; most > 0 {
			overhang = min(overhang, most-t.OverallLengthMM)
		}
	}
	key := deckKey{w.class[truck], overhang}
	deck := w.decks[key]
	if deck == nil {
		deck = loading.NewDeck(*t, w.problem.Rules, overhang)
		w.decks[key] = deck
	}
	return deck
}

// load builds the load of a truck, or says that it cannot be built.
func (w *world) load(truck int, drops []stretch) loaded {
	key := loadKey{class: w.class[truck]}
	copy(key.drops[:], drops)
	if l, ok := w.loads[key]; ok {
		return l
	}
	var l loaded
	if w.massesFit(truck, drops) {
		parts := make([][]loading.Unit, len(drops))
		for i, d := range drops {
			parts[i] = w.chains[d.chain].units[d.start:d.end]
		}
		l.load, l.ok = w.deckFor(truck, drops).Load(parts)
		for i := range drops {
			l.piles[i] = l.load.PilesOf(i + 1)
		}
	}
	if len(w.loads) >= remembered {
		clear(w.loads)
	}
	w.loads[key] = l
	return l
}

// massesFit checks the load as a whole, and the vehicle's mass where it
// arrives with what is still on it. No load holds what the truck must not
// bring.
func (w *world) massesFit(truck int, drops []stretch) bool {
	t := &w.problem.Trucks[truck]
	if slices.ContainsFunc(drops, func(s stretch) bool { return w.forbidden(t.ID, s) }) {
		return false
	}
	tare := int64(t.TareFrontKg+t.TareRearKg) * 1000
	var aboard int64
	for i := len(drops) - 1; i >= 0; i-- {
		c := &w.chains[drops[i].chain]
		aboard += c.massG[drops[i].end] - c.massG[drops[i].start]
		if most := int64(c.site.MaxGrossKg) * 1000; most > 0 && tare+aboard > most {
			return false
		}
	}
	return aboard <= loading.CapacityG(*t)
}

// longest returns the greatest end of a stretch from start that the truck can
// take as one more, last drop; start itself when it can take nothing.
//
// Fitting is not strictly monotone (one beam more can let the axles balance),
// so ends are tried from the greatest that masses and room allow downwards.
func (w *world) longest(truck int, drops []stretch, chain, start int) int {
	if len(drops) >= w.mostDrops(truck) || start >= len(w.chains[chain].units) {
		return start
	}
	key := loadKey{class: w.class[truck]}
	n := copy(key.drops[:], drops)
	key.drops[n] = stretch{chain, start, start}
	if end, ok := w.ends[key]; ok {
		return end
	}
	c := &w.chains[chain]
	all := append(slices.Clone(drops), stretch{chain, start, start + 1})
	there := make([][]loading.Unit, n)
	for i, d := range drops {
		there[i] = w.chains[d.chain].units[d.start:d.end]
	}
	end := start + w.deckFor(truck, all).AtMost(there, c.units[start:])
	for ; end > start; end-- {
		all[n] = stretch{chain, start, end}
		if win := c.windowOf(start, end); win.OpensMinute > win.ClosesMinute || !c.holds(start, end) || !w.massesFit(truck, all) {
			continue
		}
		if w.load(truck, all).ok {
			break
		}
	}
	if len(w.ends) >= remembered {
		clear(w.ends)
	}
	w.ends[key] = end
	return end
}

// runsFrom is the least number of runs that a chain needs from a unit on when
// each takes the longest stretch that any truck can.
func (w *world) runsFrom(chain, start int) int {
	c := &w.chains[chain]
	if start >= len(c.units) {
		return 0
	}
	if c.runs[start] == 0 {
		end := start
		for _, t := range c.trucks {
			end = max(end, w.longest(t, nil, chain, start))
		}
		if end == start {
			end = c.orderEnd(start)
		}
		c.runs[start] = 1 + w.runsFrom(chain, end)
	}
	return c.runs[start]
}
