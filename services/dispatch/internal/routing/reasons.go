package routing

import (
	"fmt"
	"slices"
	"strings"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/picking"
)

// noEntry says why a truck cannot serve a site at all; empty when it can.
func noEntry(t *morning.Truck, s *morning.Site) string {
	switch {
	case s.MaxGrossKg > 0 && t.TareFrontKg+t.TareRearKg >= s.MaxGrossKg:
		return "too heavy"
	case s.MaxVehicleLengthMM > 0 && t.OverallLengthMM > s.MaxVehicleLengthMM:
		return "too long"
	case !t.HasCrane && !s.HasLifting:
		return "no crane"
	}
	return ""
}

// findMisfits adds a cut for every order whose site no truck can reach, or
// which needs a piece that no truck can bring there even alone.
func (w *world) findMisfits(cuts map[string]picking.Cut) bool {
	found := false
	known := siteIndex(w.problem.Sites)
	for i := range w.lots {
		o := w.lots[i].Order
		if _, cut := cuts[o.CallOffID]; !cut && known[o.SiteID] == nil {
			cuts[o.CallOffID] = picking.Cut{
				Reason: morning.NoAccess, Sentence: fmt.Sprintf("the yard does not know the site %s", o.SiteID),
			}
			found = true
		}
	}
	for i := range w.chains {
		if w.misfitsOf(i, cuts) {
			found = true
		}
	}
	return found
}

func (w *world) misfitsOf(chain int, cuts map[string]picking.Cut) bool {
	c := &w.chains[chain]
	found := false
	if len(c.trucks) == 0 {
		for _, o := range c.orders {
			if id := w.lots[o].Order.CallOffID; cuts[id].Reason != morning.NoAccess {
				cuts[id] = picking.Cut{Reason: morning.NoAccess, Sentence: w.whyNoEntry(c.site)}
				found = true
			}
		}
		return found
	}
	fits := map[morning.Item]bool{}
	for at := 0; at < len(c.units); at++ {
		kind := morning.Item{
			Beam: c.units[at].Item.Beam, BlockKind: c.units[at].Item.BlockKind, MassG: c.units[at].Item.MassG,
		}
		if len(w.lots[c.order[at]].Order.NotBy) > 0 {
			kind.CallOffID = c.units[at].Item.CallOffID
		}
		ok, tried := fits[kind]
		if !tried {
			for _, t := range c.trucks {
				ok = ok || w.load(t, []stretch{{chain, at, at + 1}}).ok
			}
			fits[kind] = ok
		}
		if ok {
			continue
		}
		cuts[w.lots[c.order[at]].Order.CallOffID] = picking.Cut{
			Number: c.units[at].Item.LayingNumber, Reason: morning.DoesNotFit, Sentence: w.whyNoFit(c, &c.units[at]),
		}
		found = true
		at = c.orderEnd(at) - 1
	}
	return found
}

func (w *world) whyNoEntry(s *morning.Site) string {
	counts := map[string]int{}
	for i := range w.problem.Trucks {
		counts[noEntry(&w.problem.Trucks[i], s)]++
	}
	switch {
	case len(w.problem.Trucks) == 0:
		return "no truck of the yard drives this morning"
	case counts["no crane"] == len(w.problem.Trucks):
		return fmt.Sprintf("%s cannot lift from a truck, and no truck has a crane of its own", s.Name)
	case counts["no crane"] > 0:
		return fmt.Sprintf("no truck with a crane of its own can get to %s%s, and the site cannot lift", s.Name, limits(s))
	default:
		return fmt.Sprintf("no truck can get to %s%s", s.Name, limits(s))
	}
}

// limits writes a site's limits for people: " (at most 12 t, 8.00 m)".
func limits(s *morning.Site) string {
	var parts []string
	if s.MaxGrossKg > 0 {
		parts = append(parts, tonnes(int64(s.MaxGrossKg)*1000))
	}
	if s.MaxVehicleLengthMM > 0 {
		parts = append(parts, picking.Metres(s.MaxVehicleLengthMM))
	}
	if len(parts) == 0 {
		return ""
	}
	return " (at most " + strings.Join(parts, ", ") + ")"
}

func tonnes(g int64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", float64(g)/1e6), ".0") + " t"
}

// whyNoFit says why a piece fits no truck that can get to the site.
func (w *world) whyNoFit(c *chain, u *loading.Unit) string {
	what := fmt.Sprintf("a pallet of %d blocks %s", u.Item.BlockCount, u.Item.BlockKind)
	if !u.Item.Pallet() {
		what = "a beam " + picking.ProductName(u.Item.Beam)
	}
	if o := orderOf(w.problem.Orders, u.Item.CallOffID); o != nil && len(o.NotBy) > 0 && w.allBarred(c, o) {
		return fmt.Sprintf("every truck that can get to %s%s is forbidden for call-off %s", c.site.Name, limits(c.site), o.CallOffID)
	}
	longest, most := 0, int64(0)
	for _, t := range c.trucks {
		truck := &w.problem.Trucks[t]
		room := truck.DeckLengthMM + w.problem.Rules.MaxTailOverhangMM
		if s := c.site.MaxVehicleLengthMM; s > 0 {
			room = min(room, truck.DeckLengthMM+s-truck.OverallLengthMM)
		}
		longest = max(longest, room)
		capacity := loading.CapacityG(*truck)
		if s := c.site.MaxGrossKg; s > 0 {
			capacity = min(capacity, int64(s-truck.TareFrontKg-truck.TareRearKg)*1000)
		}
		most = max(most, capacity)
	}
	where := fmt.Sprintf("the trucks that can get to %s%s", c.site.Name, limits(c.site))
	switch {
	case u.LengthMM > longest:
		return fmt.Sprintf("%s is too long for %s: they take up to %s", what, where, picking.Metres(longest))
	case u.Item.MassG > most:
		return fmt.Sprintf("%s weighs %d kg, too much for %s: they carry up to %d kg",
			what, (u.Item.MassG+999)/1000, where, most/1000)
	case u.HeightMM > w.problem.Rules.MaxPileHeightMM:
		return fmt.Sprintf("%s is %s high, above the %s that the yard allows on a deck",
			what, picking.Metres(u.HeightMM), picking.Metres(w.problem.Rules.MaxPileHeightMM))
	default:
		return fmt.Sprintf("%s cannot stand anywhere on the decks of %s within their axle limits", what, where)
	}
}

// allBarred tells whether no truck that can get to the site may bring an order.
func (w *world) allBarred(c *chain, o *morning.Order) bool {
	return !slices.ContainsFunc(c.trucks, func(t int) bool { return !slices.Contains(o.NotBy, w.problem.Trucks[t].ID) })
}

// whyLate says why no truck brings an order in time.
func (w *world) whyLate(c *chain, o *morning.Order) string {
	window := intersect(o.Window, c.site.Opens)
	if window.OpensMinute > window.ClosesMinute {
		return fmt.Sprintf("%s is open between %s, never in the call-off's window between %s",
			c.site.Name, hoursOf(c.site.Opens), hoursOf(o.Window))
	}
	takes := w.problem.Rules.LoadingMinutes + w.drivingTo(c)
	early, byHours := false, false
	for _, t := range c.trucks {
		opens := w.problem.Trucks[t].Hours.OpensMinute
		byHours = byHours || opens+takes <= window.ClosesMinute
		early = early || max(opens, w.problem.EarliestLoadingMinute)+takes <= window.ClosesMinute
	}
	if byHours && !early {
		return fmt.Sprintf("loading and the drive to %s take %d minutes and can start at %s at the earliest: too late to be there between %s",
			c.site.Name, takes, clockTime(w.problem.EarliestLoadingMinute), hoursOf(window))
	}
	if !early {
		return fmt.Sprintf("loading and the drive to %s take %d minutes; no truck starts early enough to be there between %s",
			c.site.Name, takes, hoursOf(window))
	}
	return fmt.Sprintf("no truck that can get to %s%s is free to be unloaded there between %s",
		c.site.Name, limits(c.site), hoursOf(window))
}

func (w *world) drivingTo(c *chain) int {
	for i := range w.chains {
		if &w.chains[i] == c {
			return w.roads.minutes[0][i+1]
		}
	}
	return 0
}

func clockTime(minute int) string { return fmt.Sprintf("%d:%02d", minute/60, minute%60) }

// cuts are where call-offs end that a plan does not bring whole.
func (w *world) cuts(p *plan) map[string]picking.Cut {
	cuts := w.lateCuts(p)
	for i := range w.lots {
		l := &w.lots[i]
		if _, late := cuts[l.Order.CallOffID]; !late && l.Cut != nil {
			cuts[l.Order.CallOffID] = *l.Cut
		}
	}
	return cuts
}

// unserved lists what a plan does not bring, room by room.
func (w *world) unserved(p *plan) []morning.Unserved {
	cuts := w.cuts(p)
	served := w.servedPerRoom(p)
	var out []morning.Unserved
	for i := range w.lots {
		o := w.lots[i].Order
		if cut, ok := cuts[o.CallOffID]; ok {
			out = append(out, w.leftOf(o, served, cut)...)
		}
	}
	return out
}

// place is a room of a call-off.
type place struct{ callOffID, room string }

// amount is what of a room goes.
type amount struct{ beams, blocks int }

func (w *world) servedPerRoom(p *plan) map[place]amount {
	served := map[place]amount{}
	add := func(item *morning.Item) {
		key := place{item.CallOffID, item.Room}
		a := served[key]
		if item.Pallet() {
			a.blocks += item.BlockCount
		} else {
			a.beams++
		}
		served[key] = a
	}
	for i := range p.runs {
		for _, s := range p.runs[i].drops {
			units := w.chains[s.chain].units[s.start:s.end]
			for u := range units {
				add(&units[u].Item)
			}
		}
	}
	for i := range w.fixed {
		w.fixed[i].Items(func(_ *morning.Pile, item *morning.Item) { add(item) })
	}
	return served
}

// leftOf lists the rooms of an order from its cut on: the first with the
// reason, the others because they come after it. Where a whole order cannot
// come, the reason holds for every room.
func (w *world) leftOf(o *morning.Order, served map[place]amount, cut picking.Cut) []morning.Unserved {
	var out []morning.Unserved
	first := ""
	for _, r := range o.Rooms {
		a := served[place{o.CallOffID, r.Name}]
		u := morning.Unserved{
			CallOffID: o.CallOffID, SiteID: o.SiteID, Room: r.Name,
			BeamCount: len(r.Beams) - a.beams, BlockCount: r.BlockCount - a.blocks,
			Reason: cut.Reason, Sentence: cut.Sentence,
		}
		if u.BeamCount == 0 && u.BlockCount == 0 {
			continue
		}
		for _, b := range r.Beams[a.beams:] {
			u.MassG += b.MassG
		}
		u.MassG += int64(u.BlockCount) * w.blockMassG(r.BlockKind)
		if first == "" {
			first = r.Name
		} else if cut.Reason == morning.NoStock || cut.Reason == morning.DoesNotFit {
			u.Reason = morning.AfterUnserved
			u.Sentence = fmt.Sprintf("laid after room %s, which cannot be brought whole: %s", first, cut.Sentence)
		}
		out = append(out, u)
	}
	return out
}

func (w *world) blockMassG(kind string) int64 {
	for _, k := range w.problem.BlockKinds {
		if k.Name == kind {
			return k.MassG
		}
	}
	return 0
}
