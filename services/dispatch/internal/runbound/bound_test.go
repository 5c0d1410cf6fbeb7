package runbound

import (
	"fmt"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// drawn is a problem so small that all ways to bring everything can be tried.
func drawn(t *rapid.T) Problem {
	n := func(from, to int, what string) int { return rapid.IntRange(from, to).Draw(t, what) }
	p := Problem{LoadingMinutes: 20, GapMM: 100, OverhangMM: n(0, 300, "overhang")}
	for k := range n(1, 2, "kinds") {
		p.Trucks = append(p.Trucks, Truck{
			Name: fmt.Sprint("T", k), CapacityG: int64(n(800, 4000, "capacity")) * 1000, Lanes: n(1, 2, "lanes"), LaneMM: n(3000, 7000, "lane"), WidthMM: n(1000, 3000, "width"),
			PileHolds: []int{n(1, 4, "pile holds")}, MostDrops: n(1, 3, "drops"), OpensMinute: 0, ClosesMinute: n(300, 900, "closes"), FreeMinutes: n(100, 2000, "free"),
		})
	}
	for s := range n(1, 3, "sites") {
		site := Site{Name: fmt.Sprint("S", s), FixedMinutes: 10, MinutesPerPile: n(0, 5, "a pile")}
		for range p.Trucks {
			site.MostG = append(site.MostG, int64(n(600, 4000, "most there"))*1000)
		}
		for u := range n(1, 4, "units") {
			opens := n(0, 200, "opens")
			unit := Unit{MassG: int64(n(100, 1500, "mass")) * 1000, LengthMM: n(1000, 5000, "length"), WidthMM: 140, Number: u, OpensMinute: opens, ClosesMinute: opens + n(100, 600, "open for")}
			if n(0, 2, "pallet") == 0 {
				unit.Pallet, unit.LengthMM, unit.WidthMM = true, 100*n(6, 14, "one side"), 100*n(6, 14, "other side")
				if u > 0 && n(0, 1, "same number") == 0 {
					unit.Number = site.Units[u-1].Number
				}
			}
			site.Units = append(site.Units, unit)
		}
		p.Sites = append(p.Sites, site)
	}
	for i := range len(p.Sites) + 1 {
		var row []int
		for j := range len(p.Sites) + 1 {
			row = append(row, map[bool]int{true: 0, false: 10 + 7*((i+j)%3)}[i == j])
		}
		p.Minutes = append(p.Minutes, row)
	}
	return p
}

// brute tries every way to bring everything.
type brute struct {
	p    *Problem
	x    *pricer
	runs map[string]int
}

// fewest runs that bring what is left from the given units on within minutes of
// each kind of truck.
func (b *brute) fewest(next, minutes []int) int {
	key := fmt.Sprint(next, minutes)
	if n, ok := b.runs[key]; ok {
		return n
	}
	least := 0
	for s := range next {
		if next[s] < len(b.p.Sites[s].Units) {
			least = never
		}
	}
	if least > 0 {
		for kind := range b.p.Trucks {
			b.each(kind, 0, next, nil, func(parts []part) {
				takes, ok := b.p.minutes(kind, parts)
				if !ok || takes > minutes[kind] {
					return
				}
				after, left := slices.Clone(next), slices.Clone(minutes)
				for _, x := range parts {
					after[x.site] = x.to
				}
				left[kind] -= takes
				least = min(least, 1+b.fewest(after, left))
			})
		}
	}
	b.runs[key] = least
	return least
}

// each calls fn with every load of a kind of truck that begins where its sites
// are.
func (b *brute) each(kind, from int, next []int, parts []part, fn func([]part)) {
	t := &b.p.Trucks[kind]
	if len(parts) > 0 {
		var mass int64
		var all wares
		for _, x := range parts {
			mass += x.uses[0]
			all.add(x.wares)
		}
		if mass > t.CapacityG || b.x.decks[kind].room(&all) == none {
			return
		}
		fn(parts)
	}
	if len(parts) == t.MostDrops {
		return
	}
	for site := from; site < len(b.p.Sites); site++ {
		all := b.x.all[kind][site]
		for i := range all {
			if all[i].from == next[site] {
				b.each(kind, site+1, next, append(slices.Clone(parts), part{site, &all[i]}), fn)
			}
		}
	}
}

func TestNoPlanNeedsFewerRuns(t *testing.T) {
	met, cases := 0, 0
	check := func(t *rapid.T) {
		p := drawn(t)
		b := &brute{p: &p, x: newPricer(&p), runs: map[string]int{}}
		b.x.list(nil)
		var minutes []int
		for i := range p.Trucks {
			minutes = append(minutes, p.Trucks[i].FreeMinutes)
		}
		least := b.fewest(make([]int, len(p.Sites)), minutes)
		if least == never {
			return
		}
		proof := New(p, nil)
		proof.Improve(500, 1000, nil)
		bound := proof.Bound()
		if bound.Runs > least {
			t.Fatalf("%v is proved, %d are enough", bound, least)
		}
		again := New(p, nil)
		for calls := range 40 {
			left := calls
			again.Improve(500, 1000, func() bool { left--; return left < 0 })
		}
		if again.Bound().Runs > least {
			t.Fatalf("%v is proved between stops, %d are enough", again.Bound(), least)
		}
		again = New(p, nil)
		again.Improve(500, 1000, nil)
		if !reflect.DeepEqual(bound, again.Bound()) {
			t.Fatal("the same problem gives two bounds")
		}
		cases++
		if bound.Runs == least {
			met++
		}
	}
	// What is left out of a bound shows in few cases only.
	for range 20 {
		rapid.Check(t, check)
	}
	t.Logf("the bound is met in %d of %d", met, cases)
	if met*2 < cases {
		t.Errorf("the bound is met in %d of %d cases only", met, cases)
	}
}

func TestProofStops(t *testing.T) {
	p := Problem{
		Trucks:  []Truck{{CapacityG: 1000, Lanes: 1, LaneMM: 5000, PileHolds: []int{1}, MostDrops: 1, ClosesMinute: 900, FreeMinutes: 900}},
		Sites:   []Site{{Units: []Unit{{MassG: 900, LengthMM: 1000, ClosesMinute: 900}, {MassG: 900, LengthMM: 1000, Number: 1, ClosesMinute: 900}}, MostG: []int64{1000}}},
		Minutes: [][]int{{0, 10}, {10, 0}},
	}
	proof := New(p, nil)
	proof.Improve(100, 10, func() bool { return true })
	if b := proof.Bound(); b.Runs != 0 {
		t.Errorf("%d runs are proved in no time", b.Runs)
	}
	proof.Improve(100, 10, nil)
	if b := proof.Bound(); b.Runs != 2 {
		t.Errorf("%d runs are proved, want 2", b.Runs)
	}
}
