package routing

import (
	"fmt"
	"slices"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/picking"
)

// Stands says what keeps a run from being in a plan as it is, beside the
// confirmed and the fixed runs of the problem, which it is none of; nothing when
// it can be. Rules, trucks and sites are those that it was made for, but for
// their hours: what lies where on its deck, and whether its pieces are free, is
// not looked at.
func Stands(p morning.Problem, r *morning.Run) []loading.Refusal {
	w := worldOf(p, Load{})
	v := visitor{world: w, diary: w.newDiary(), truck: w.truckIndex(r.TruckID), run: r, number: picking.Numbers(p.Orders), orders: p.Orders}
	// The laying order is that of all that is called off.
	for i := range w.fixed {
		w.fixed[i].Items(func(_ *morning.Pile, item *morning.Item) { item.LayingNumber = v.number(item) })
	}
	if v.truck < 0 {
		v.add("truck", "truck %s does not drive this morning", r.TruckID)
		return v.found
	}
	v.inTheYard()
	v.onTheWay()
	v.onTheDeck()
	return v.found
}

// visitor looks at a run whose times are given.
type visitor struct {
	*world
	diary  *diary
	truck  int
	run    *morning.Run
	number func(*morning.Item) int
	orders []morning.Order
	// driving minutes of the run.
	driving int
	found   []loading.Refusal
}

func (v *visitor) add(rule, format string, args ...any) {
	v.found = append(v.found, loading.Refusal{Rule: rule, Sentence: fmt.Sprintf(format, args...)})
}

// inTheYard looks at the truck, the bay and the hours.
func (v *visitor) inTheYard() {
	r, t := v.run, &v.problem.Trucks[v.truck]
	if from := v.problem.EarliestLoadingMinute; r.LoadingMinute < from {
		v.add("loading_past", "loading can start at %s at the earliest, not at %s", clockTime(from), clockTime(r.LoadingMinute))
	}
	if r.LoadingMinute < t.Hours.OpensMinute || r.BackMinute > t.Hours.ClosesMinute {
		v.add("truck_hours", "truck %s drives between %s; the run takes from %s to %s", t.ID, hoursOf(t.Hours), clockTime(r.LoadingMinute), clockTime(r.BackMinute))
	}
	for _, s := range v.diary.trucks[v.truck] {
		if s.from < r.BackMinute && r.LoadingMinute < s.to {
			v.add("truck_busy", "truck %s is on another run from %s to %s", t.ID, clockTime(s.from), clockTime(s.to))
		}
	}
	if !v.bayFree(v.diary, r.LoadingMinute, r.LeaveMinute-r.LoadingMinute) {
		v.add("loading_bays", "no loading bay or no forklift is free from %s to %s", clockTime(r.LoadingMinute), clockTime(r.LeaveMinute))
	}
}

// onTheWay looks at the driving and the stops.
func (v *visitor) onTheWay() {
	at, now := 0, v.run.LeaveMinute
	for i := range v.run.Drops {
		d := &v.run.Drops[i]
		chain := slices.IndexFunc(v.chains, func(c chain) bool { return c.site.ID == d.SiteID })
		if chain < 0 {
			v.add("drops", "nothing is called off for %s any more", d.SiteID)
			return
		}
		c := &v.chains[chain]
		drive := v.roads.minutes[at][chain+1]
		v.driving += drive
		if now+drive != d.ArriveMinute {
			v.add("travel_time", "the truck comes to %s at %s, not at %s", c.site.Name, clockTime(now+drive), clockTime(d.ArriveMinute))
		}
		if !placeFree(v.diary.places[chain], d.UnloadMinute, d.LeaveMinute-d.UnloadMinute, c.site.Places) || c.nextUnload(d.UnloadMinute) != d.UnloadMinute {
			v.add("places", "%s has no place free from %s to %s", c.site.Name, clockTime(d.UnloadMinute), clockTime(d.LeaveMinute))
		}
		beams := v.broughtTo(c, d)
		if !c.hasRoom(v.diary.brought[chain], d.LeaveMinute, beams) {
			v.add("site_holds", "%s cannot hold more beams unlaid at %s", c.site.Name, clockTime(d.LeaveMinute))
		}
		at, now = chain+1, d.LeaveMinute
	}
	v.driving += v.roads.minutes[at][0]
	if now+v.roads.minutes[at][0] != v.run.BackMinute {
		v.add("travel_time", "the truck is back at %s, not at %s", clockTime(now+v.roads.minutes[at][0]), clockTime(v.run.BackMinute))
	}
	if !v.driverMay(v.diary.outings[v.truck], outing{span{v.run.LoadingMinute, v.run.BackMinute}, v.driving}) {
		v.add("driver", "the driver of truck %s would drive too long, or without a break", v.run.TruckID)
	}
}

// onTheDeck looks whether what is laid sooner still lies above.
func (v *visitor) onTheDeck() {
	for _, p := range v.run.Piles {
		under := 1 << 30
		for _, t := range p.Tiers {
			least := under
			for i := range t.Items {
				n := v.number(&t.Items[i])
				if least = min(least, n); n > under {
					v.add("pile_order", "%s lies on something that is laid before it by now", nameOf(&t.Items[i]))
					return
				}
			}
			under = least
		}
	}
}

// broughtTo looks at what a drop brings, and counts its beams.
func (v *visitor) broughtTo(c *chain, d *morning.Drop) int {
	beams := 0
	stops := v.stopsAt(c.site.ID)
	window := c.site.Opens
	v.run.Items(func(p *morning.Pile, item *morning.Item) {
		if p.DropNumber != d.Number {
			return
		}
		if !item.Pallet() {
			beams++
		}
		o := orderOf(v.orders, item.CallOffID)
		if o == nil || !asksFor(o, item) {
			v.add("not_asked", "%s of room %s of call-off %s is not wanted any more as it was", nameOf(item), item.Room, item.CallOffID)
			return
		}
		if slices.Contains(o.NotBy, v.run.TruckID) {
			v.add("forbidden_truck", "truck %s is forbidden for call-off %s", v.run.TruckID, o.CallOffID)
		}
		window = intersect(window, o.Window)
		for _, s := range stops {
			window = intersect(window, s.leaves(v.number(item)))
		}
	})
	if d.UnloadMinute < max(window.OpensMinute, d.ArriveMinute) || d.UnloadMinute > window.ClosesMinute {
		v.add("window", "unloading at %s may not start at %s", c.site.Name, clockTime(d.UnloadMinute))
	}
	v.found = slices.CompactFunc(v.found, func(a, b loading.Refusal) bool { return a == b })
	return beams
}

func orderOf(orders []morning.Order, callOffID string) *morning.Order {
	i := slices.IndexFunc(orders, func(o morning.Order) bool { return o.CallOffID == callOffID })
	if i < 0 {
		return nil
	}
	return &orders[i]
}

// asksFor tells whether an order asks for an item as it is.
func asksFor(o *morning.Order, item *morning.Item) bool {
	return slices.ContainsFunc(o.Rooms, func(r morning.Room) bool {
		if r.Name != item.Room {
			return false
		}
		if item.Pallet() {
			return r.BlockKind == item.BlockKind && r.BlockCount >= item.BlockCount
		}
		return slices.ContainsFunc(r.Beams, func(b morning.Beam) bool { return b.Mark == item.Mark && b.Product == item.Beam })
	})
}
