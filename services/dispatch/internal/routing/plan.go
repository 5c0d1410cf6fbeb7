// Package routing turns what is called off into runs: it cuts each site's
// laying order into loads, puts the loads on trucks, and gives every run its
// times.
//
// Aims, in this order: bring as much as possible, with as few runs as
// possible, with as little waiting of crews as possible, over as little road as
// possible, with as little waiting of trucks as possible. A first plan is made at once by simple rules; the rest of the time
// goes into better ones. Nothing it returns breaks a limit: that is checked
// from the raw input by package check.
package routing

import (
	"cmp"
	"fmt"
	"slices"

	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/picking"
)

// Plan returns the best plan it finds before stop says true. It asks stop
// between attempts only, after the first whole plan; the caller owns the
// clock. A nil stop never stops, and the search ends by itself.
func Plan(p morning.Problem, stop func() bool) morning.Plan {
	w := settle(p, nil)
	s := newSearch(w)
	s.improve(attempts/5, stop)
	// What cannot come in time must not keep pieces from orders that can: once
	// it is fairly clear what comes too late, its pieces are given to others.
	if late := w.lateCuts(s.Best()); len(late) > 0 && w.lacksStock() {
		other := settle(p, late)
		if o := newSearch(other); other.unservedG(o.Best()) < w.unservedG(s.Best()) {
			w, s = other, o
			s.improve(attempts/5, stop)
		}
	}
	s.improve(attempts-attempts/5, stop)
	return w.result(s)
}

// settle allots pieces and cuts orders at the first thing that no truck can
// bring to its site, until all that is left can be brought.
func settle(p morning.Problem, cuts map[string]picking.Cut) *world {
	all := map[string]picking.Cut{}
	for id, c := range cuts {
		all[id] = c
	}
	for {
		w := newWorld(p, picking.Allot(p, all))
		if !w.findMisfits(all) {
			return w
		}
	}
}

// lateCuts are cuts at what came too late in a plan.
func (w *world) lateCuts(p *plan) map[string]picking.Cut {
	cuts := map[string]picking.Cut{}
	for _, s := range p.late {
		c := &w.chains[s.chain]
		o := w.lots[c.order[s.start]].Order
		cuts[o.CallOffID] = picking.Cut{
			Number: c.units[s.start].Item.LayingNumber, Reason: morning.NoTime, Sentence: w.whyLate(c, o),
		}
	}
	return cuts
}

// lacksStock tells whether some order was cut for want of pieces.
func (w *world) lacksStock() bool {
	return slices.ContainsFunc(w.lots, func(l picking.Lot) bool {
		return l.Cut != nil && l.Cut.Reason == morning.NoStock
	})
}

// unservedG is the drawing's mass of all that a plan leaves.
func (w *world) unservedG(p *plan) int64 {
	var sum int64
	for _, u := range w.unserved(p) {
		sum += u.MassG
	}
	return sum
}

// result writes the best plan of a search out.
func (w *world) result(s *search) morning.Plan {
	p := s.Best()
	out := morning.Plan{
		Unserved: w.unserved(p), LowerBound: s.bound.runs + len(w.fixed), BoundReason: s.bound.reason,
		CrewWaitingMinutes: p.crewWaiting, Blocked: w.blocked(p),
	}
	if n := len(w.fixed); n > 0 {
		out.BoundReason += fmt.Sprintf("; runs that are to stay as they are: %d", n)
	}
	for i := range w.fixed {
		out.Runs = append(out.Runs, w.fixed[i].Copy())
	}
	for i := range p.runs {
		out.Runs = append(out.Runs, w.writeRun(&p.runs[i]))
	}
	slices.SortStableFunc(out.Runs, func(a, b morning.Run) int {
		return cmp.Or(cmp.Compare(a.LoadingMinute, b.LoadingMinute), cmp.Compare(w.truckIndex(a.TruckID), w.truckIndex(b.TruckID)))
	})
	trips := map[string]int{}
	for _, b := range w.problem.Busy {
		trips[b.TruckID] = max(trips[b.TruckID], b.Trip)
	}
	for i := range out.Runs {
		r := &out.Runs[i]
		trips[r.TruckID]++
		r.Trip = trips[r.TruckID]
	}
	out.MovedAside = picking.Finish(w.problem, w.lots, out.Runs)
	return out
}

func (w *world) truckIndex(id string) int {
	return slices.IndexFunc(w.problem.Trucks, func(t morning.Truck) bool { return t.ID == id })
}

func (w *world) writeRun(r *run) morning.Run {
	load := w.load(r.truck, r.drops).load
	out := morning.Run{
		TruckID: w.problem.Trucks[r.truck].ID, LoadingMinute: r.loading, LeaveMinute: r.leave,
		BackMinute: r.back, DistanceM: r.metres, Piles: load.Piles(), MassG: load.MassG(), AxleLoads: load.AxleLoads(),
	}
	for i, s := range r.drops {
		c := &w.chains[s.chain]
		drop := morning.Drop{
			Number: i + 1, SiteID: c.site.ID, ArriveMinute: r.stops[i].arrive,
			UnloadMinute: r.stops[i].unload, LeaveMinute: r.stops[i].leave,
		}
		for at := s.start; at < s.end; at = c.orderEnd(at) {
			drop.CallOffIDs = append(drop.CallOffIDs, w.lots[c.order[at]].Order.CallOffID)
		}
		out.Drops = append(out.Drops, drop)
	}
	return out
}
