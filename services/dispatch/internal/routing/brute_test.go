package routing

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/morning/morningtest"
	"spanyard.example/services/dispatch/internal/picking"
)

// tiny is a morning with so few pieces that every way to bring them can be
// tried, and with so much time that only loads count.
func tiny(t *rapid.T) morning.Problem {
	p := morningtest.Make(morningtest.Options{
		Seed: rapid.Uint64Range(0, 1<<20).Draw(t, "seed"), Trucks: rapid.IntRange(1, 4).Draw(t, "trucks"),
		CallOffs: rapid.IntRange(1, 3).Draw(t, "call-offs"), Rooms: rapid.IntRange(1, 2).Draw(t, "rooms"), BeamsPerRoom: 4,
	})
	// Heavy pieces on small trucks: a few fill a load.
	for i := range p.Trucks {
		p.Trucks[i].PayloadKg = rapid.IntRange(900, 2200).Draw(t, "payload")
		p.Trucks[i].Hours = morning.Window{OpensMinute: 0, ClosesMinute: 100_000}
		p.Trucks[i].HasCrane = true
	}
	for i := range p.Sites {
		p.Sites[i].Opens = morning.Window{OpensMinute: 0, ClosesMinute: 100_000}
		if p.Sites[i].MaxGrossKg > 0 {
			p.Sites[i].MaxGrossKg = 6500
		}
	}
	for i := range p.Orders {
		p.Orders[i].Window = morning.Window{OpensMinute: 0, ClosesMinute: 100_000}
	}
	return p
}

// mostUnits is how many units are tried every way.
const mostUnits = 11

// worldOfFew prepares a morning, with as much taken out of it as makes it small
// enough to try every way. It skips one in which nothing can be brought.
func worldOfFew(t *rapid.T, p *morning.Problem) *world {
	for {
		w := settle(*p, map[string]picking.Cut{})
		units := 0
		for i := range w.chains {
			units += len(w.chains[i].units)
		}
		if units == 0 {
			t.Skip("nothing to bring")
		}
		if units <= mostUnits {
			return w
		}
		o := &p.Orders[len(p.Orders)-1]
		switch room := &o.Rooms[len(o.Rooms)-1]; {
		case len(p.Orders) > 1:
			p.Orders = p.Orders[:len(p.Orders)-1]
		case len(o.Rooms) > 1:
			o.Rooms = o.Rooms[:len(o.Rooms)-1]
		default:
			room.Beams, room.BlockCount = room.Beams[:len(room.Beams)/2], room.BlockCount/2
		}
	}
}

// fewest is the least number of runs that brings everything from the given
// units on, over all trucks, stretches and orders of drops.
func (w *world) fewest(next []int, known map[[4]int]int) int {
	var key [4]int
	copy(key[:], next)
	if n, ok := known[key]; ok {
		return n
	}
	best := 1 << 20
	done := true
	for c := range w.chains {
		done = done && next[c] == len(w.chains[c].units)
	}
	if done {
		best = 0
	} else {
		w.loadsFrom(next, nil, func(drops []stretch) {
			after := slices.Clone(next)
			for _, d := range drops {
				after[d.chain] = d.end
			}
			best = min(best, 1+w.fewest(after, known))
		})
	}
	known[key] = best
	return best
}

// loadsFrom calls use with every load that some truck can take.
func (w *world) loadsFrom(next []int, drops []stretch, use func([]stretch)) {
	for c := range w.chains {
		if visits(drops, c) {
			continue
		}
		for end := next[c] + 1; end <= len(w.chains[c].units); end++ {
			more := append(slices.Clone(drops), stretch{c, next[c], end})
			for t := range w.problem.Trucks {
				can := !slices.ContainsFunc(more, func(s stretch) bool { return !slices.Contains(w.chains[s.chain].trucks, t) })
				if can && w.load(t, more).ok {
					use(more)
					break
				}
			}
			w.loadsFrom(next, more, use)
		}
	}
}

// TestRunsAgainstEveryWay: the bound never exceeds the true least number of
// runs, and the search finds plans that are at most one run above it.
func TestRunsAgainstEveryWay(t *testing.T) {
	cases, equal := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := tiny(t)
		w := worldOfFew(t, &p)
		least := w.fewest(make([]int, len(w.chains)), map[[4]int]int{})
		count := 0
		plan := Plan(p, func() bool { count++; return count > 200 })
		cases++
		if len(plan.Runs) == least {
			equal++
		}
		if plan.LowerBound > least || least > len(plan.Runs) || len(plan.Runs) > least+1 {
			t.Fatalf("bound %d, least %d, plan %d runs", plan.LowerBound, least, len(plan.Runs))
		}
	})
	t.Logf("the plan has the least number of runs in %d of %d mornings", equal, cases)
	if equal*20 < cases*19 {
		t.Errorf("only %d of %d plans have the least number of runs", equal, cases)
	}
}

// TestLongestStretch: no truck can take a longer stretch than is found.
func TestLongestStretch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := morningtest.Make(morningtest.Options{
			Seed: rapid.Uint64Range(0, 1<<20).Draw(t, "seed"), Trucks: 3, CallOffs: 2, Rooms: 2, BeamsPerRoom: 8,
		})
		w := settle(p, map[string]picking.Cut{})
		for c := range w.chains {
			for _, truck := range w.chains[c].trucks {
				start := rapid.IntRange(0, len(w.chains[c].units)).Draw(t, "start")
				for end := w.longest(truck, nil, c, start) + 1; end <= len(w.chains[c].units); end++ {
					win := w.chains[c].windowOf(start, end)
					if win.OpensMinute <= win.ClosesMinute && w.load(truck, []stretch{{c, start, end}}).ok {
						t.Fatalf("the truck takes units %d to %d", start, end)
					}
				}
			}
		}
	})
}

// cutting is the fewest runs that a chain needs from a unit on when each takes
// a stretch that the truck can take, by trying all cuttings.
func (w *world) cutting(truck, start int) int {
	units := len(w.chains[0].units)
	best := 1 << 20
	for cuts := range 1 << (units - start - 1) {
		runs, from, ok := 0, start, true
		for end := start + 1; end <= units && ok; end++ {
			if end < units && cuts&(1<<(end-start-1)) == 0 {
				continue
			}
			win := w.chains[0].windowOf(from, end)
			ok = win.OpensMinute <= win.ClosesMinute && w.load(truck, []stretch{{0, from, end}}).ok
			runs, from = runs+1, end
		}
		if ok {
			best = min(best, runs)
		}
	}
	return best
}

// TestCuttingOfOneSite: the longest stretch that the truck takes, again and
// again, makes the fewest runs of one kind of truck for a site's laying order:
// as few as the best of all cuttings, also with weak axles.
func TestCuttingOfOneSite(t *testing.T) {
	cases, several := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := tiny(t)
		p.Trucks = p.Trucks[:1]
		p.Trucks[0].MaxFrontKg = p.Trucks[0].TareFrontKg + rapid.IntRange(100, 1500).Draw(t, "front")
		p.Trucks[0].MaxRearKg = p.Trucks[0].TareRearKg + rapid.IntRange(300, 2000).Draw(t, "rear")
		p.Orders = p.Orders[:1]
		w := settle(p, map[string]picking.Cut{})
		if len(w.chains) != 1 || len(w.chains[0].trucks) == 0 || len(w.chains[0].units) == 0 || len(w.chains[0].units) > 12 {
			t.Skip("not one site with few pieces")
		}
		least := w.cutting(0, 0)
		if least == 1<<20 {
			return // not everything can be brought
		}
		cases++
		if least > 1 {
			several++
		}
		if got := w.runsFrom(0, 0); got != least {
			t.Fatalf("%d runs; the best cutting has %d", got, least)
		}
	})
	t.Logf("%d sites, %d of them with several runs", cases, several)
}
