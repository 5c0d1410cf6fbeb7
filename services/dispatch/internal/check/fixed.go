package check

import (
	"fmt"

	"spanyard.example/services/dispatch/internal/morning"
)

// fixedStand checks that the plan has the fixed runs of the problem: truck,
// times, drops, and what lies where.
func (c *checker) fixedStand() {
	for _, f := range c.problem.Fixed {
		found := false
		for _, r := range c.plan.Runs {
			found = found || standsAs(f, r)
		}
		if !found {
			c.add("fixed", "the run of truck %s that loads at minute %d was to stay as it is and does not", f.TruckID, f.LoadingMinute)
		}
	}
}

func standsAs(f, r morning.Run) bool {
	if f.TruckID != r.TruckID || f.LoadingMinute != r.LoadingMinute || f.LeaveMinute != r.LeaveMinute || f.BackMinute != r.BackMinute ||
		len(f.Drops) != len(r.Drops) || len(f.Piles) != len(r.Piles) {
		return false
	}
	for i, d := range f.Drops {
		o := r.Drops[i]
		if d.SiteID != o.SiteID || d.ArriveMinute != o.ArriveMinute || d.UnloadMinute != o.UnloadMinute || d.LeaveMinute != o.LeaveMinute {
			return false
		}
	}
	for i, p := range f.Piles {
		o := r.Piles[i]
		if p.DropNumber != o.DropNumber || p.Lane != o.Lane || p.FromMM != o.FromMM || p.LeftMM != o.LeftMM || len(p.Tiers) != len(o.Tiers) {
			return false
		}
		for t := range p.Tiers {
			if !sameThings(p.Tiers[t], o.Tiers[t]) {
				return false
			}
		}
	}
	return true
}

// sameThings tells whether two tiers hold the same marks and blocks, in
// whichever order they are picked.
func sameThings(a, b morning.Tier) bool {
	count := map[string]int{}
	name := func(i morning.Item) string {
		return fmt.Sprint(i.CallOffID, "|", i.Room, "|", i.Mark, "|", i.BlockKind, "|", i.BlockCount)
	}
	for _, i := range a.Items {
		count[name(i)]++
	}
	for _, i := range b.Items {
		count[name(i)]--
	}
	for _, n := range count {
		if n != 0 {
			return false
		}
	}
	return true
}
