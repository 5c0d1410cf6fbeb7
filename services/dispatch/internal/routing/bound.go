package routing

import (
	"fmt"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
)

// The lower bound on runs.
//
// Give every piece an amount, and every truck a capacity that no load's sum
// of amounts exceeds. Three amounts serve:
//
//   - mass: a load is at most the truck's CapacityG;
//   - deck area: piles do not overlap, so their areas add up to at most deck
//     width times (deck length + tail overhang). Of a pile n beams wide and at
//     most T tiers high, the beams that cross any one line across the deck are
//     at most n*T, so a beam can be charged width/T at every line it crosses:
//     length*width/T in all. A pallet is charged its own area.
//   - length of lane: at most max_lanes piles stand side by side, which is to
//     say nearer along the deck than the gap. Let every pile reach from its
//     front end to a gap behind its tail end: then no line across the deck
//     meets more than max_lanes of them, and all lie within deck length +
//     tail overhang + gap, so their lengths add up to at most max_lanes times
//     that. A pallet is charged its shorter side and a gap. A pile of beams
//     holds at most N = floor(deck width/beam width)*T of them, none longer
//     than itself, so each is charged (length + gap)/N.
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
	return int(n), fmt.Sprintf("%s of %s for %d sites that take at most %s a run make %d; the rest of %s in all, at most %s a run, makes %d",
		a.name, a.text(inClass), sites, a.text(c), x, a.text(all), a.text(a.most), n-x)
}

func (a amounts) text(amount int64) string {
	switch a.name {
	case "mass":
		return tonnes(amount)
	case "deck area":
		return fmt.Sprintf("%.1f m2", float64(amount)/1e6)
	default:
		return fmt.Sprintf("%.1f m", float64(amount)/1e6)
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
	a := w.newAmounts("deck area",
		func(t *morning.Truck) int64 {
			return int64(t.DeckWidthMM) * int64(t.DeckLengthMM+rules.MaxTailOverhangMM)
		},
		func(_ *morning.Truck, _ *morning.Site, whole int64) int64 { return whole })
	w.addUp(p, &a, func(u *loading.Unit) int64 {
		area := int64(u.LengthMM) * int64(u.WidthMM)
		if u.Item.Pallet() {
			return area
		}
		return area / w.tiers(u)
	})
	return a
}

// lanes counts lengths in thousandths of a millimetre.
func (w *world) lanes(p *plan) amounts {
	rules := w.problem.Rules
	widest := 0
	for _, t := range w.problem.Trucks {
		widest = max(widest, t.DeckWidthMM)
	}
	a := w.newAmounts("length of lane",
		func(t *morning.Truck) int64 {
			return int64(max(1, rules.MaxLanes)) * int64(t.DeckLengthMM+rules.MaxTailOverhangMM+rules.PileGapMM) * 1000
		},
		func(_ *morning.Truck, _ *morning.Site, whole int64) int64 { return whole })
	w.addUp(p, &a, func(u *loading.Unit) int64 {
		if u.Item.Pallet() {
			return int64(min(u.LengthMM, u.WidthMM)+rules.PileGapMM) * 1000
		}
		return int64(u.LengthMM+rules.PileGapMM) * 1000 / (int64(max(1, widest/max(1, u.WidthMM))) * w.tiers(u))
	})
	return a
}

// tiers is the most tiers that a pile of such beams may have.
func (w *world) tiers(u *loading.Unit) int64 {
	rules := w.problem.Rules
	return int64(max(1, min(rules.MaxTiers, rules.MaxPileHeightMM/max(1, u.HeightMM+rules.BearerHeightMM))))
}

// addUp adds the amount of every unit of a plan to that of its site.
func (w *world) addUp(p *plan, a *amounts, of func(*loading.Unit) int64) {
	for i := range p.runs {
		for _, s := range p.runs[i].drops {
			units := w.chains[s.chain].units[s.start:s.end]
			for j := range units {
				a.bySite[s.chain] += of(&units[j])
			}
		}
	}
}
