package routing

import (
	"fmt"
	"slices"

	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/picking"
)

// Runs that are fixed stand in a plan as they are. Trucks, bays and places are
// taken by them as by confirmed runs; and what their sites' laying order has
// before or after what they bring is unloaded before or after them.

// fixedStop is a drop of a fixed run, with the laying numbers that it brings.
type fixedStop struct {
	siteID   string
	unload   int
	low, top int
}

// takeFixed takes the fixed runs of the problem over.
func (w *world) takeFixed() {
	w.busy = slices.Clone(w.problem.Busy)
	number := picking.Numbers(w.problem.Orders)
	for _, r := range w.problem.Fixed {
		r = r.Copy()
		r.Items(func(_ *morning.Pile, item *morning.Item) { item.LayingNumber = number(item) })
		w.fixed = append(w.fixed, r)
		w.busy = append(w.busy, busyRun(&r))
	}
	for i := range w.chains {
		stops := w.stopsAt(w.chains[i].site.ID)
		w.chains[i].around(stops)
		for _, s := range stops {
			w.chains[i].fixed = append(w.chains[i].fixed, s.unload)
		}
	}
}

// busyRun is a fixed run as one that is promised.
func busyRun(r *morning.Run) morning.BusyRun {
	b := morning.BusyRun{TruckID: r.TruckID, Trip: r.Trip, LoadingMinute: r.LoadingMinute, LeaveMinute: r.LeaveMinute, BackMinute: r.BackMinute}
	beams := map[int]int{}
	r.Items(func(p *morning.Pile, item *morning.Item) {
		if !item.Pallet() {
			beams[p.DropNumber]++
		}
	})
	left := r.LeaveMinute
	for _, d := range r.Drops {
		b.Stops = append(b.Stops, morning.BusyStop{SiteID: d.SiteID, UnloadMinute: d.UnloadMinute, LeaveMinute: d.LeaveMinute, Beams: beams[d.Number]})
		b.DrivingMinutes += d.ArriveMinute - left
		left = d.LeaveMinute
	}
	b.DrivingMinutes += r.BackMinute - left
	return b
}

// stopsAt are the drops of fixed runs at a site.
func (w *world) stopsAt(siteID string) []fixedStop {
	var out []fixedStop
	for i := range w.fixed {
		r := &w.fixed[i]
		for _, d := range r.Drops {
			if d.SiteID != siteID {
				continue
			}
			stop := fixedStop{siteID: siteID, unload: d.UnloadMinute}
			r.Items(func(p *morning.Pile, item *morning.Item) {
				if p.DropNumber == d.Number {
					stop.top = max(stop.top, item.LayingNumber)
					if stop.low == 0 || item.LayingNumber < stop.low {
						stop.low = item.LayingNumber
					}
				}
			})
			out = append(out, stop)
		}
	}
	return out
}

// around leaves to each unit of the chain the time that fixed stops leave it.
func (c *chain) around(stops []fixedStop) {
	c.windowEnds = c.windowEnds[:0]
	for i := range c.units {
		for _, s := range stops {
			c.window[i] = intersect(c.window[i], s.leaves(c.units[i].Item.LayingNumber))
		}
		if i > 0 && c.window[i] != c.window[i-1] {
			c.windowEnds = append(c.windowEnds, i)
		}
	}
}

// leaves is when something with a laying number may be unloaded: none of the day
// if its place is in the midst of what the stop brings. Where both are of one
// room's blocks, either may come first.
func (s fixedStop) leaves(number int) morning.Window {
	const never = 1 << 30
	switch {
	case number == s.low && number == s.top:
		return morning.Window{OpensMinute: 0, ClosesMinute: never}
	case number > s.top || number == s.top && s.low < s.top:
		return morning.Window{OpensMinute: s.unload + 1, ClosesMinute: never}
	case number <= s.low:
		return morning.Window{OpensMinute: 0, ClosesMinute: s.unload - 1}
	default:
		return morning.Window{OpensMinute: never, ClosesMinute: 0}
	}
}

// nextUnload is the first minute from one on at which no fixed run starts to be
// unloaded at the site: two that start together have no order.
func (c *chain) nextUnload(from int) int {
	for slices.Contains(c.fixed, from) {
		from++
	}
	return from
}

// blocked are the fixed runs that bring something of a call-off of which
// something earlier stays behind.
func (w *world) blocked(p *plan) []morning.BlockedRun {
	cuts := w.cuts(p)
	var out []morning.BlockedRun
	for i := range w.fixed {
		why := ""
		w.fixed[i].Items(func(_ *morning.Pile, item *morning.Item) {
			if cut, ok := cuts[item.CallOffID]; ok && why == "" && item.LayingNumber > cut.Number {
				why = fmt.Sprintf("what is laid before %s of room %s of call-off %s stays behind: %s", nameOf(item), item.Room, item.CallOffID, cut.Sentence)
			}
		})
		if why != "" {
			out = append(out, morning.BlockedRun{Fixed: i, Sentence: why})
		}
	}
	return out
}

func nameOf(item *morning.Item) string {
	if item.Pallet() {
		return "the blocks"
	}
	return item.Mark
}
