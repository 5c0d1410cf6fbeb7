package loading_test

import (
	"slices"
	"strings"
	"testing"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/morning/morningtest"
	"spanyard.example/services/dispatch/internal/picking"
)

// asked is a load that a planner asks for.
type asked struct {
	truck    morning.Truck
	rules    morning.Rules
	overhang int
	drops    [][]loading.Unit
}

// full draws the loads that a planner asks for when it looks for the longest
// stretch of a site's laying order that a truck can take, alone or behind a
// first drop: all from the longest that might fit down to the one that does.
// try says whether one does.
func full(seed uint64, hard bool, try func(d *loading.Deck, a asked) bool) {
	p := morningtest.Make(morningtest.Options{Seed: seed, Trucks: 3, CallOffs: 8, Rooms: 4, BeamsPerRoom: 12, Hard: hard})
	lots := picking.Allot(p, nil)
	var chains [][]loading.Unit
	bySite := picking.BySite(p.Orders)
	var sites []string
	for id := range bySite {
		sites = append(sites, id)
	}
	slices.SortFunc(sites, strings.Compare)
	for _, id := range sites {
		var units []loading.Unit
		for _, o := range bySite[id] {
			units = append(units, lots[o].Units...)
		}
		chains = append(chains, units)
	}
	for k, units := range chains {
		other := chains[(k+1)%len(chains)]
		for start := 0; start < len(units); start += 11 {
			for _, t := range p.Trucks {
				a := asked{truck: t, rules: p.Rules, overhang: p.Rules.MaxTailOverhangMM}
				d := loading.NewDeck(a.truck, a.rules, a.overhang)
				for _, before := range []int{0, min(start/2, len(other))} {
					var there [][]loading.Unit
					if before > 0 {
						there = [][]loading.Unit{other[:before]}
					}
					for end := start + d.AtMost(there, units[start:]); end > start; end-- {
						a.drops = append(slices.Clone(there), units[start:end])
						if try(d, a) {
							break
						}
					}
				}
			}
		}
	}
}

// TestFullLoadsAreDecided: of the loads that a planner asks for, hardly any is
// left undecided, and all that are built keep the rules.
func TestFullLoadsAreDecided(t *testing.T) {
	all, undecided := 0, 0
	for seed := range uint64(6) {
		full(seed, seed%2 == 1, func(d *loading.Deck, a asked) bool {
			all++
			l, v := d.Build(a.drops)
			switch v {
			case loading.Built:
				loading.HoldsRules(t, a.truck, a.rules, a.overhang, l, a.drops)
			case loading.Undecided:
				undecided++
			}
			return v == loading.Built
		})
	}
	t.Logf("%d of %d loads were left undecided", undecided, all)
	if all < 1000 || undecided*200 > all {
		t.Errorf("%d of %d loads were left undecided", undecided, all)
	}
}

// BenchmarkFullLoads is the time for one load that a planner asks for.
func BenchmarkFullLoads(b *testing.B) {
	var list []asked
	var decks []*loading.Deck
	full(5, false, func(d *loading.Deck, a asked) bool {
		list, decks = append(list, a), append(decks, d)
		_, ok := d.Load(a.drops)
		return ok
	})
	for i := 0; b.Loop(); i++ {
		decks[i%len(list)].Build(list[i%len(list)].drops)
	}
}
