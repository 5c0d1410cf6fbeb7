package routing

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/runbound"
)

// mostProved is how many units, counted once for each kind of truck, a proof takes
// on: it lists some thirty stretches that begin with each of them.
const mostProved = 12_000

// bound is what is proved of the plans that leave the same pieces behind.
type bound struct {
	late   []stretch
	runs   int
	reason string
	// pieces and closer are nil until more is to be proved than by adding up.
	pieces *proof
	closer *runbound.Proof
}

// boundOf begins with what adding up proves.
func (w *world) boundOf(p *plan) bound {
	b := bound{late: lateOf(p)}
	b.runs, b.reason = w.boundAndReason(p)
	return b
}

// prove looks so many times for a better bound of a plan.
func (b *bound) prove(w *world, p *plan, times int, stop func() bool) {
	if b.runs >= len(p.runs) {
		return
	}
	if b.closer == nil {
		b.pieces = newProof(w, p)
		b.closer = runbound.New(b.pieces.problem, b.pieces.runs(p))
	}
	if b.pieces.units()*len(b.pieces.problem.Trucks) > mostProved {
		return
	}
	b.closer.Improve(times, len(p.runs), stop)
	if proved := b.closer.Bound(); proved.Runs > b.runs {
		b.runs, b.reason = proved.Runs, b.pieces.reason(proved)
	}
}

// units that the plan brings.
func (x *proof) units() int {
	n := 0
	for i := range x.problem.Sites {
		n += len(x.problem.Sites[i].Units)
	}
	return n
}

// lateOf are the stretches that a plan leaves, in order.
func lateOf(p *plan) []stretch {
	return slices.SortedFunc(slices.Values(p.late), func(a, b stretch) int {
		return cmp.Or(cmp.Compare(a.chain, b.chain), cmp.Compare(a.start, b.start))
	})
}

// reason says what a bound rests on.
func (x *proof) reason(b runbound.Bound) string {
	var each []string
	for c := range x.chains {
		if s := x.site[c]; s >= 0 {
			each = append(each, fmt.Sprintf("%s %.2f", x.chains[c].site.ID, b.Weights[s]))
		}
	}
	less := ""
	if b.Price > 0.005 {
		less = fmt.Sprintf(", less %.2f for all the hours of the trucks", b.Price)
	}
	return fmt.Sprintf("the sites' pieces weigh %s runs%s, which makes %.2f; no run that keeps masses, lanes, piles, windows and driving times carries more than one",
		strings.Join(each, ", "), less, b.Value)
}

// proof is a plan's pieces as package runbound wants them.
type proof struct {
	*world
	problem runbound.Problem
	// kind of each truck, and number of each profile.
	kind     []int
	profiles []string
	// site of each chain, -1 where the plan brings nothing; place is where each
	// of its units stands among those that are brought.
	site  []int
	place [][]int
}

// newProof takes over what a plan brings, and what may bring it.
func newProof(w *world, p *plan) *proof {
	rules := w.problem.Rules
	x := &proof{world: w, kind: make([]int, len(w.problem.Trucks))}
	x.problem.LoadingMinutes, x.problem.GapMM, x.problem.OverhangMM = rules.LoadingMinutes, rules.PileGapMM, rules.MaxOverhangMM
	x.addUnits(p)
	x.addTrucks()
	for c := range w.chains {
		if x.site[c] >= 0 {
			x.problem.Sites[x.site[c]].MostG = x.mostG(&w.chains[c])
		}
	}
	x.shortestWays()
	return x
}

// addUnits takes over the units that the plan brings.
func (x *proof) addUnits(p *plan) {
	brought := make([][]bool, len(x.chains))
	for c := range x.chains {
		brought[c] = make([]bool, len(x.chains[c].units))
	}
	for i := range p.runs {
		for _, s := range p.runs[i].drops {
			for u := s.start; u < s.end; u++ {
				brought[s.chain][u] = true
			}
		}
	}
	least := x.leastMasses()
	for c := range x.chains {
		chain := &x.chains[c]
		site := runbound.Site{
			Name: chain.site.Name, FixedMinutes: chain.site.UnloadFixedMinutes, MinutesPerPile: chain.site.UnloadMinutesPerPile,
		}
		place := make([]int, len(chain.units))
		for u := range chain.units {
			place[u] = len(site.Units)
			if brought[c][u] {
				site.Units = append(site.Units, x.unit(chain, u, least))
			}
		}
		x.place = append(x.place, place)
		x.site = append(x.site, -1)
		if len(site.Units) > 0 {
			x.site[c] = len(x.problem.Sites)
			x.problem.Sites = append(x.problem.Sites, site)
		}
	}
}

// leastMasses is the least mass of each product: which piece of a product goes
// where is not asked for.
func (w *world) leastMasses() map[morning.Product]int64 {
	least := map[morning.Product]int64{}
	for c := range w.chains {
		for _, u := range w.chains[c].units {
			if m, ok := least[u.Item.Beam]; !u.Item.Pallet() && (!ok || u.Item.MassG < m) {
				least[u.Item.Beam] = u.Item.MassG
			}
		}
	}
	return least
}

func (x *proof) unit(c *chain, at int, least map[morning.Product]int64) runbound.Unit {
	u := &c.units[at]
	out := runbound.Unit{
		MassG: u.Item.MassG, Pallet: u.Item.Pallet(), LengthMM: u.LengthMM, WidthMM: u.WidthMM, Number: u.Item.LayingNumber,
		OpensMinute: c.window[at].OpensMinute, ClosesMinute: c.window[at].ClosesMinute,
	}
	if out.Pallet {
		return out
	}
	out.MassG = least[u.Item.Beam]
	out.Profile = slices.Index(x.profiles, u.Item.Beam.Profile)
	if out.Profile < 0 {
		out.Profile = len(x.profiles)
		x.profiles = append(x.profiles, u.Item.Beam.Profile)
	}
	return out
}

// addTrucks counts trucks as one kind that are alike for loading and drive at
// the same hours.
func (x *proof) addTrucks() {
	type alike struct {
		class int
		hours morning.Window
	}
	kinds := map[alike]int{}
	rules := x.world.problem.Rules
	for i := range x.world.problem.Trucks {
		t := &x.world.problem.Trucks[i]
		hours := t.Hours
		hours.OpensMinute = max(hours.OpensMinute, x.world.problem.EarliestLoadingMinute)
		key := alike{x.class[i], hours}
		k, ok := kinds[key]
		if !ok {
			k = len(x.problem.Trucks)
			kinds[key] = k
			x.problem.Trucks = append(x.problem.Trucks, runbound.Truck{
				Name: t.Name, CapacityG: loading.CapacityG(*t), OpensMinute: hours.OpensMinute, ClosesMinute: hours.ClosesMinute,
				Lanes: max(1, rules.MaxLanes), LaneMM: t.DeckLengthMM + rules.MaxTailOverhangMM + rules.PileGapMM,
				WidthMM:   t.DeckWidthMM,
				PileHolds: x.pileHolds(t), MostDrops: x.mostDrops(i),
			})
		}
		x.kind[i] = k
		x.problem.Trucks[k].FreeMinutes += x.freeMinutes(t.ID, hours)
	}
}

// pileHolds is how many beams of each profile lie on a pile at most, as wide as
// the deck.
func (x *proof) pileHolds(t *morning.Truck) []int {
	out := make([]int, len(x.profiles))
	for c := range x.chains {
		for i := range x.chains[c].units {
			u := &x.chains[c].units[i]
			if at := slices.Index(x.profiles, u.Item.Beam.Profile); at >= 0 && !u.Item.Pallet() {
				out[at] = max(out[at], max(1, t.DeckWidthMM/max(1, u.WidthMM))*int(x.tiers(u)))
			}
		}
	}
	return out
}

// freeMinutes of a truck within its hours, confirmed runs taken off.
func (x *proof) freeMinutes(truckID string, hours morning.Window) int {
	free := max(0, hours.ClosesMinute-hours.OpensMinute)
	var taken []span
	for _, b := range x.busy {
		if b.TruckID == truckID {
			taken = insertSpan(taken, span{max(b.LoadingMinute, hours.OpensMinute), min(b.BackMinute, hours.ClosesMinute)})
		}
	}
	until := hours.OpensMinute
	for _, s := range taken {
		if from := max(s.from, until); s.to > from {
			free -= s.to - from
			until = s.to
		}
	}
	return free
}

// mostG is what each kind of truck may have aboard when it comes to the site
// of a chain.
func (x *proof) mostG(c *chain) []int64 {
	out := make([]int64, len(x.problem.Trucks))
	for k := range out {
		out[k] = -1
	}
	for _, i := range c.trucks {
		t := &x.world.problem.Trucks[i]
		out[x.kind[i]] = loading.CapacityG(*t)
		if most := int64(c.site.MaxGrossKg-t.TareFrontKg-t.TareRearKg) * 1000; c.site.MaxGrossKg > 0 {
			out[x.kind[i]] = min(out[x.kind[i]], most)
		}
	}
	return out
}

// shortestWays works out driving times by whichever other sites.
func (x *proof) shortestWays() {
	at := []int{0}
	for c := range x.chains {
		if x.site[c] >= 0 {
			at = append(at, c+1)
		}
	}
	ways := make([][]int, len(at))
	for i, a := range at {
		for _, b := range at {
			ways[i] = append(ways[i], x.roads.minutes[a][b])
		}
	}
	for k := range ways {
		for i := range ways {
			for j := range ways {
				ways[i][j] = min(ways[i][j], ways[i][k]+ways[k][j])
			}
		}
	}
	x.problem.Minutes = ways
}

// runs of the plan, as the proof starts from them.
func (x *proof) runs(p *plan) []runbound.Run {
	var out []runbound.Run
	for i := range p.runs {
		r := runbound.Run{Truck: x.kind[p.runs[i].truck]}
		for _, s := range p.runs[i].drops {
			from := x.place[s.chain][s.start]
			r.Parts = append(r.Parts, runbound.Part{Site: x.site[s.chain], From: from, To: from + s.end - s.start})
		}
		out = append(out, r)
	}
	return out
}
