package picking

import (
	"cmp"
	"slices"

	"spanyard.example/services/dispatch/internal/morning"
)

// BySite returns the indices of the orders of each site, in the laying order
// of the site: what has to be there first comes first.
func BySite(orders []morning.Order) map[string][]int {
	sites := map[string][]int{}
	for i, o := range orders {
		sites[o.SiteID] = append(sites[o.SiteID], i)
	}
	for _, of := range sites {
		slices.SortFunc(of, func(a, b int) int {
			x, y := &orders[a], &orders[b]
			return cmp.Or(
				cmp.Compare(x.Window.ClosesMinute, y.Window.ClosesMinute),
				cmp.Compare(x.Window.OpensMinute, y.Window.OpensMinute),
				cmp.Compare(x.CallOffID, y.CallOffID))
		})
	}
	return sites
}

// firstNumbers returns the laying number of the first thing of each order.
func firstNumbers(orders []morning.Order) []int {
	first := make([]int, len(orders))
	for _, of := range BySite(orders) {
		next := 1
		for _, i := range of {
			first[i] = next
			for _, r := range orders[i].Rooms {
				next += numbersIn(r)
			}
		}
	}
	return first
}

// numbersIn counts the laying numbers of a room: one for its blocks together,
// one for each beam.
func numbersIn(r morning.Room) int {
	if r.BlockCount > 0 {
		return len(r.Beams) + 1
	}
	return len(r.Beams)
}

// byUrgency returns the indices of the orders in which scarce pieces are
// given out: the earliest window first.
func byUrgency(orders []morning.Order) []int {
	of := make([]int, len(orders))
	for i := range of {
		of[i] = i
	}
	slices.SortFunc(of, func(a, b int) int {
		x, y := &orders[a], &orders[b]
		return cmp.Or(
			cmp.Compare(x.Window.OpensMinute, y.Window.OpensMinute),
			cmp.Compare(x.Window.ClosesMinute, y.Window.ClosesMinute),
			cmp.Compare(x.CallOffID, y.CallOffID))
	})
	return of
}
