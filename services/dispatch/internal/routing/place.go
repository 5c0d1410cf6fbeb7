package routing

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/picking"
)

// Load is what one run of a truck is to carry.
type Load struct {
	TruckID string
	// Drops in order.
	Drops []LoadDrop
	// NotBefore is the first minute at which loading may start.
	NotBefore int
}

// LoadDrop is what comes off at one site. Only the places of its items count:
// marks, and rooms with their blocks.
type LoadDrop struct {
	SiteID string
	Items  []morning.Item
}

// LoadOf returns what a run carries, for a truck.
func LoadOf(r *morning.Run, truckID string) Load {
	l := Load{TruckID: truckID}
	for _, d := range r.Drops {
		drop := LoadDrop{SiteID: d.SiteID}
		r.Items(func(p *morning.Pile, item *morning.Item) {
			if p.DropNumber == d.Number {
				drop.Items = append(drop.Items, *item)
			}
		})
		l.Drops = append(l.Drops, drop)
	}
	return l
}

// Place puts a load on its truck and gives the run the earliest times that
// truck, driver, bays, sites, and the confirmed and fixed runs allow. When that
// cannot be, the limits that stand against it come back instead, the one that a
// dispatcher wants to hear of first in front; there is at least one.
//
// The pieces are chosen from the problem's stock. Of the picks only those of the
// pallets are made: they say from which stack the blocks come.
func Place(p morning.Problem, l Load) (morning.Run, []loading.Refusal) {
	w := worldOf(p, l)
	truck := w.truckIndex(l.TruckID)
	if truck < 0 {
		return morning.Run{}, []loading.Refusal{{Rule: "truck", Sentence: fmt.Sprintf("truck %s does not drive this morning", l.TruckID)}}
	}
	drops, refusals := w.dropsOf(truck, l)
	if len(refusals) == 0 {
		refusals = w.againstLoad(truck, drops)
	}
	if len(refusals) > 0 {
		return morning.Run{}, refusals
	}
	w.problem.EarliestLoadingMinute = max(w.problem.EarliestLoadingMinute, l.NotBefore)
	r, ok := w.schedule(w.newDiary(), truck, drops)
	if !ok {
		return morning.Run{}, []loading.Refusal{w.againstTimes(truck, drops)}
	}
	out := w.writeRun(&r)
	for _, s := range drops {
		for _, u := range w.chains[s.chain].units[s.start:s.end] {
			if u.Item.Pallet() {
				out.Picks = append(out.Picks, morning.Pick{PieceID: u.Item.PieceID, BatchID: u.Item.BatchID, BlockKind: u.Item.BlockKind, BlockCount: u.Item.BlockCount, StackID: u.StackID})
			}
		}
	}
	return out, nil
}

// dropsOf finds the stretches that a load is.
func (w *world) dropsOf(truck int, l Load) (drops []stretch, out []loading.Refusal) {
	add := func(rule, format string, args ...any) {
		out = append(out, loading.Refusal{Rule: rule, Sentence: fmt.Sprintf(format, args...)})
	}
	if n, most := len(l.Drops), w.mostDrops(truck); n == 0 || n > most {
		add("max_drops", "the load has %d drops; a run of truck %s visits up to %d sites", n, l.TruckID, most)
		return nil, out
	}
	for _, d := range l.Drops {
		at := slices.IndexFunc(w.chains, func(c chain) bool { return c.site.ID == d.SiteID })
		if at < 0 || visits(drops, at) {
			add("drops", "nothing is called off for a drop at %s, or the load goes there twice", d.SiteID)
			continue
		}
		s, ok := w.chains[at].find(d.Items)
		if !ok {
			add("stretch", "what the load brings to %s is not called off as it was, or its pieces are not free any more%s", w.chains[at].site.Name, w.cutAt(at))
			continue
		}
		s.chain = at
		drops = append(drops, s)
	}
	return drops, out
}

// cutAt says what of a chain's call-offs cannot be had.
func (w *world) cutAt(chain int) string {
	for _, o := range w.chains[chain].orders {
		if cut := w.lots[o].Cut; cut != nil {
			return ": " + cut.Sentence
		}
	}
	return ""
}

// find returns the stretch of the chain that has these places.
func (c *chain) find(items []morning.Item) (stretch, bool) {
	want, left := map[spot]int{}, 0
	for i := range items {
		s, n := spotOf(&items[i])
		want[s] += n
		left += n
	}
	for start := range c.units {
		got, sum, end := map[spot]int{}, 0, start
		for ; end < len(c.units) && sum < left; end++ {
			s, n := spotOf(&c.units[end].Item)
			if got[s]+n > want[s] {
				break
			}
			got[s] += n
			sum += n
		}
		if sum == left && sum > 0 {
			return stretch{start: start, end: end}, true
		}
	}
	return stretch{}, false
}

// againstLoad returns what keeps the truck from carrying the drops; nothing
// when it can.
func (w *world) againstLoad(truck int, drops []stretch) []loading.Refusal {
	t := &w.problem.Trucks[truck]
	var out []loading.Refusal
	add := func(rule, format string, args ...any) {
		out = append(out, loading.Refusal{Rule: rule, Sentence: fmt.Sprintf(format, args...)})
	}
	parts := make([][]loading.Unit, len(drops))
	aboard := int64(0)
	for i := len(drops) - 1; i >= 0; i-- {
		c := &w.chains[drops[i].chain]
		parts[i] = c.units[drops[i].start:drops[i].end]
		aboard += c.massG[drops[i].end] - c.massG[drops[i].start]
		if w.forbidden(t.ID, drops[i]) {
			add("forbidden_truck", "truck %s is forbidden for a call-off of %s", t.ID, c.site.Name)
		}
		switch noEntry(t, c.site) {
		case "too heavy":
			add("site_gross", "truck %s weighs %d kg empty; %s takes %d kg", t.ID, t.TareFrontKg+t.TareRearKg, c.site.Name, c.site.MaxGrossKg)
		case "too long":
			add("site_length", "truck %s is %s long; %s takes %s", t.ID, picking.Metres(t.OverallLengthMM), c.site.Name, picking.Metres(c.site.MaxVehicleLengthMM))
		case "no crane":
			add("lifting", "truck %s has no crane and %s cannot lift", t.ID, c.site.Name)
		default:
			gross := int64(t.TareFrontKg+t.TareRearKg)*1000 + aboard
			if most := int64(c.site.MaxGrossKg) * 1000; most > 0 && gross > most {
				add("site_gross", "truck %s would come to %s with %d kg; the site takes %d kg", t.ID, c.site.Name, (gross+999)/1000, c.site.MaxGrossKg)
			}
		}
	}
	if len(out) > 0 || w.load(truck, drops).ok {
		return out
	}
	for _, r := range w.deckFor(truck, drops).Explain(parts) {
		out = append(out, loading.Refusal{Rule: r.Rule, Sentence: "truck " + t.ID + ": " + r.Sentence})
	}
	if len(out) == 0 {
		add("arrangement", "no arrangement of the piles was found on the deck of truck %s that keeps its axle limits at departure and after every drop", t.ID)
	}
	return out
}

// againstTimes says why a load that the truck can carry cannot be driven.
func (w *world) againstTimes(truck int, drops []stretch) loading.Refusal {
	t := &w.problem.Trucks[truck]
	for _, s := range drops {
		c := &w.chains[s.chain]
		if win := c.windowOf(s.start, s.end); win.OpensMinute > win.ClosesMinute {
			return loading.Refusal{Rule: "window", Sentence: fmt.Sprintf("what the load brings to %s has no minute in common at which unloading may start", c.site.Name)}
		}
	}
	empty := *w
	empty.busy = nil
	if r, ok := empty.schedule(empty.newDiary(), truck, drops); ok {
		return loading.Refusal{Rule: "truck_busy", Sentence: w.taken(truck, &r)}
	}
	from := max(t.Hours.OpensMinute, w.problem.EarliestLoadingMinute)
	last := &w.chains[drops[len(drops)-1].chain]
	win := last.windowOf(drops[len(drops)-1].start, drops[len(drops)-1].end)
	return loading.Refusal{Rule: "window", Sentence: fmt.Sprintf(
		"truck %s can start loading at %s at the earliest and has to be back by %s: it cannot keep the windows of its drops, the last at %s between %s",
		t.ID, clockTime(from), clockTime(t.Hours.ClosesMinute), last.site.Name, hoursOf(win))}
}

// taken says what stands in the way of a run that could be driven if nothing else
// was: the other runs of its truck, or else bays, places and drivers' hours.
func (w *world) taken(truck int, r *run) string {
	id := w.problem.Trucks[truck].ID
	var trips []string
	for _, b := range w.busy {
		if b.TruckID == id {
			trips = append(trips, fmt.Sprintf("%s to %s", clockTime(b.LoadingMinute), clockTime(b.BackMinute)))
		}
	}
	free := fmt.Sprintf("truck %s could go from %s to %s at the earliest", id, clockTime(r.loading), clockTime(r.back))
	if len(trips) == 0 {
		return free + ", but no loading bay or forklift is free then, or the site has no place"
	}
	slices.SortStableFunc(trips, func(a, b string) int { return cmp.Or(cmp.Compare(len(a), len(b)), strings.Compare(a, b)) })
	return fmt.Sprintf("%s, and is on the road %s: between those it cannot keep the windows, the laying order, the driver's hours and the places in yard and site",
		free, strings.Join(trips, ", "))
}
