package routing

import (
	"fmt"
	"slices"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
)

// The lower bound on runs.
//
// Give every piece an amount, and every truck a capacity that no load's sum
// of amounts exceeds. Three amounts serve:
//
//   - mass: a load is at most the truck's CapacityG;
//   - deck area: no two piles are nearer than the gap both along and across the
//     deck. So piles that are thought larger by a gap, along and across, do not
//     overlap, and lie on a deck that is thought larger by a gap both ways: their
//     areas add up to at most (deck width + gap) times (deck length + tail
//     overhang + gap). A pile of beams is n of them wide, n at most m =
//     floor(deck width/width of a beam), and T tiers high at most; it holds at
//     most n*T, none longer than itself. Charge each beam (length + gap) *
//     (width + gap/m) / T: those of the pile are charged at most (length + gap) *
//     (n*width + n*gap/m), which is no more than its area, as n is at most m. A
//     pallet is charged its area, a gap larger both ways.
//   - length of lane: at most max_lanes piles stand side by side, which is to
//     say nearer along the deck than the gap. Let every pile reach from its
//     front end to a gap behind its tail end: then no line across the deck
//     meets more than max_lanes of them, and all lie within deck length +
//     tail overhang + gap, so their lengths add up to at most max_lanes times
//     that. A pallet is charged its shorter side and a gap. A pile holds beams
//     of one profile for one site, at most N = m*T of them. Take all piles of
//     the plan with a profile for a site, the longest first, and its beams
//     likewise. The first k-1 piles hold at most (k-1)*N beams, so one of the
//     (k-1)*N+1 longest beams is in a later pile: the k-th pile is at least as
//     long as the ((k-1)*N+1)-th beam. So the site is charged, for every N-th of
//     its beams from the longest on, that length and a gap. This counts whole
//     piles where the mass and the area count parts of them.
//
// For a site s let a(s) be the greatest amount that any truck can still carry
// when it arrives there, g(s) the greatest capacity of a truck that can get
// there, and cap the greatest capacity of all trucks. Take a class C of sites,
// c = max a(s) and g = max g(s) over C, and let A(C) and A be the amounts for
// C and for all sites.
//
// A run that visits C at all carries everything for C when it arrives at the
// first of its sites in C, so at most c. Hence x >= ceil(A(C)/c) runs visit C.
// These carry at most x*g altogether, and every other run at most cap, so the
// number of runs is at least n(x) = x + ceil((A - x*g)+ / cap). As g <= cap,
// one more x lowers the second term by at most one, so n does not fall with x
// and n(ceil(A(C)/c)) is a bound. With C all sites it is ceil(A/cap).
//
// C runs through {sites with a(s) <= a(s')} for every site s'. None of this
// uses times, so the bound holds for any plan that brings the same pieces.

// amounts is one kind of amount of the pieces of a plan.
type amounts struct {
	name string
	// bySite of the chains.
	bySite []int64
	// arriving is a(s), going is g(s), most is cap.
	arriving, going []int64
	most            int64
}

// boundAndReason returns the greatest of the bounds and how it comes about.
func (w *world) boundAndReason(p *plan) (int, string) {
	best, reason := 0, "nothing is brought"
	for _, a := range []amounts{w.masses(p), w.areas(p), w.lanes(p)} {
		for s := range w.chains {
			if a.bySite[s] == 0 {
				continue
			}
			if n, why := w.boundFor(a, a.arriving[s]); n > best {
				best, reason = n, why
			}
		}
	}
	return best, reason
}

// boundFor is n(x) for the class of sites that take at most c at a time.
func (w *world) boundFor(a amounts, c int64) (int, string) {
	var inClass, all, going int64
	sites := 0
	whole := true
	for s, amount := range a.bySite {
		all += amount
		switch {
		case amount == 0:
		case a.arriving[s] <= c:
			inClass += amount
			going = max(going, a.going[s])
			sites++
		default:
			whole = false
		}
	}
	if c <= 0 || a.most <= 0 {
		return 0, ""
	}
	x := ceilDiv(inClass, c)
	n := x + ceilDiv(max(0, all-x*going), a.most)
	if whole {
		return int(n), fmt.Sprintf("%s of %s in all, at most %s a run", a.name, a.text(all), a.text(c))
	}
	return int(n), fmt.Sprintf("%s of %s for sites that take at most %s a run (%d of them) makes %d; the rest of %s in all, at most %s a run, makes %d",
		a.name, a.text(inClass), a.text(c), sites, x, a.text(all), a.text(a.most), n-x)
}

func (a amounts) text(amount int64) string {
	switch a.name {
	case "mass":
		return tonnes(amount)
	case "deck area with gaps":
		return fmt.Sprintf("%.1f m2", float64(amount)/1e6)
	default:
		return fmt.Sprintf("%.1f m", float64(amount)/1e3)
	}
}

func ceilDiv(a, b int64) int64 { return (a + b - 1) / b }

// newAmounts has a capacity for each truck; forSite lowers it on arrival.
func (w *world) newAmounts(name string, capacity func(*morning.Truck) int64, forSite func(*morning.Truck, *morning.Site, int64) int64) amounts {
	n := len(w.chains)
	a := amounts{name: name, bySite: make([]int64, n), arriving: make([]int64, n), going: make([]int64, n)}
	for i := range w.problem.Trucks {
		a.most = max(a.most, capacity(&w.problem.Trucks[i]))
	}
	for s := range w.chains {
		for _, t := range w.chains[s].trucks {
			truck := &w.problem.Trucks[t]
			whole := capacity(truck)
			a.going[s] = max(a.going[s], whole)
			a.arriving[s] = max(a.arriving[s], forSite(truck, w.chains[s].site, whole))
		}
	}
	return a
}

func (w *world) masses(p *plan) amounts {
	a := w.newAmounts("mass",
		func(t *morning.Truck) int64 { return loading.CapacityG(*t) },
		func(t *morning.Truck, s *morning.Site, whole int64) int64 {
			if s.MaxGrossKg == 0 {
				return whole
			}
			return min(whole, int64(s.MaxGrossKg-t.TareFrontKg-t.TareRearKg)*1000)
		})
	w.addUp(p, &a, func(u *loading.Unit) int64 { return u.Item.MassG })
	return a
}

func (w *world) areas(p *plan) amounts {
	rules := w.problem.Rules
	gap := int64(rules.PileGapMM)
	a := w.newAmounts("deck area with gaps",
		func(t *morning.Truck) int64 {
			return (int64(t.DeckWidthMM) + gap) * (int64(t.DeckLengthMM+rules.MaxTailOverhangMM) + gap)
		},
		func(_ *morning.Truck, _ *morning.Site, whole int64) int64 { return whole })
	w.addUp(p, &a, func(u *loading.Unit) int64 {
		length, width := int64(u.LengthMM)+gap, int64(u.WidthMM)
		if u.Item.Pallet() {
			return length * (width + gap)
		}
		m := w.abreast(u)
		return length * (m*width + gap) / (m * w.tiers(u))
	})
	return a
}

// abreast is how many beams like this one lie side by side on the widest deck.
func (w *world) abreast(u *loading.Unit) int64 {
	widest := 0
	for _, t := range w.problem.Trucks {
		widest = max(widest, t.DeckWidthMM)
	}
	return int64(max(1, widest/max(1, u.WidthMM)))
}

// lanes counts whole piles, and lengths in millimetres.
func (w *world) lanes(p *plan) amounts {
	rules := w.problem.Rules
	a := w.newAmounts("length of lane",
		func(t *morning.Truck) int64 {
			return int64(max(1, rules.MaxLanes)) * int64(t.DeckLengthMM+rules.MaxTailOverhangMM+rules.PileGapMM)
		},
		func(_ *morning.Truck, _ *morning.Site, whole int64) int64 { return whole })
	// The beams of each site by profile, and how many a pile of them holds.
	type sort struct {
		site    int
		profile string
	}
	lengths, holds := map[sort][]int{}, map[sort]int64{}
	w.eachUnit(p, func(site int, u *loading.Unit) {
		if u.Item.Pallet() {
			a.bySite[site] += int64(min(u.LengthMM, u.WidthMM) + rules.PileGapMM)
			return
		}
		key := sort{site, u.Item.Beam.Profile}
		lengths[key] = append(lengths[key], u.LengthMM)
		holds[key] = max(holds[key], w.abreast(u)*w.tiers(u))
	})
	for key, list := range lengths {
		slices.Sort(list)
		for i := len(list) - 1; i >= 0; i -= int(holds[key]) {
			a.bySite[key.site] += int64(list[i] + rules.PileGapMM)
		}
	}
	return a
}

// tiers is the most tiers that a pile of such beams may have.
func (w *world) tiers(u *loading.Unit) int64 {
	rules := w.problem.Rules
	return int64(max(1, min(rules.MaxTiers, rules.MaxPileHeightMM/max(1, u.HeightMM+rules.BearerHeightMM))))
}

// addUp adds the amount of every unit of a plan to that of its site.
func (w *world) addUp(p *plan, a *amounts, of func(*loading.Unit) int64) {
	w.eachUnit(p, func(site int, u *loading.Unit) { a.bySite[site] += of(u) })
}

// eachUnit calls fn for every unit of a plan with the chain of its site.
func (w *world) eachUnit(p *plan, fn func(site int, u *loading.Unit)) {
	for i := range p.runs {
		for _, s := range p.runs[i].drops {
			units := w.chains[s.chain].units[s.start:s.end]
			for j := range units {
				fn(s.chain, &units[j])
			}
		}
	}
}
