package routing

import (
	"cmp"
	"slices"

	"spanyard.example/services/dispatch/internal/morning"
)

// run is one trip in a plan that is being made.
type run struct {
	truck   int
	drops   []stretch
	stops   []stop
	loading int
	leave   int
	back    int
	metres  int
	driving int
	waiting int
	// beams of each drop.
	beams []int
}

// stop is the time spent at one site.
type stop struct{ arrive, unload, leave int }

// span is a stretch of time that is taken, end not included.
type span struct{ from, to int }

// diary is what trucks and sites are already promised to.
type diary struct {
	trucks [][]span
	// outings of each truck's driver, in order.
	outings [][]outing
	// bays taken in the yard.
	bays []span
	// places taken at the site of each chain.
	places [][]span
	// brought to the site of each chain, in order.
	brought [][]delivery
	// last start of unloading at each chain's site; runs arrive in laying
	// order.
	last []int
}

func (w *world) newDiary() *diary {
	d := &diary{
		trucks:  make([][]span, len(w.problem.Trucks)),
		outings: make([][]outing, len(w.problem.Trucks)),
		places:  make([][]span, len(w.chains)),
		brought: make([][]delivery, len(w.chains)),
		last:    make([]int, len(w.chains)),
	}
	truckOf := map[string]int{}
	for i, t := range w.problem.Trucks {
		truckOf[t.ID] = i
	}
	chainOf := map[string]int{}
	for i, c := range w.chains {
		chainOf[c.site.ID] = i
		d.last[i] = -1
	}
	for _, b := range w.busy {
		if i, ok := truckOf[b.TruckID]; ok {
			d.trucks[i] = insertSpan(d.trucks[i], span{b.LoadingMinute, b.BackMinute})
			d.outings[i] = insertOuting(d.outings[i], outing{span{b.LoadingMinute, b.BackMinute}, b.DrivingMinutes})
		}
		d.bays = insertSpan(d.bays, span{b.LoadingMinute, b.LeaveMinute})
		for _, s := range b.Stops {
			if i, ok := chainOf[s.SiteID]; ok {
				d.places[i] = insertSpan(d.places[i], span{s.UnloadMinute, s.LeaveMinute})
				d.brought[i] = insertDelivery(d.brought[i], delivery{s.LeaveMinute, s.Beams})
			}
		}
	}
	return d
}

func insertSpan(spans []span, s span) []span {
	at, _ := slices.BinarySearchFunc(spans, s, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	return slices.Insert(spans, at, s)
}

// enter writes a run into the diary.
func (d *diary) enter(r *run) {
	d.trucks[r.truck] = insertSpan(d.trucks[r.truck], span{r.loading, r.back})
	d.outings[r.truck] = insertOuting(d.outings[r.truck], outing{span{r.loading, r.back}, r.driving})
	d.bays = insertSpan(d.bays, span{r.loading, r.leave})
	for i, s := range r.drops {
		d.brought[s.chain] = insertDelivery(d.brought[s.chain], delivery{r.stops[i].leave, r.beams[i]})
		d.places[s.chain] = insertSpan(d.places[s.chain], span{r.stops[i].unload, r.stops[i].leave})
		d.last[s.chain] = max(d.last[s.chain], r.stops[i].unload)
	}
}

// schedule finds the earliest times at which the truck can make the run, or
// says that there are none.
func (w *world) schedule(d *diary, truck int, drops []stretch) (run, bool) {
	l := w.load(truck, drops)
	if !l.ok {
		return run{}, false
	}
	hours := w.problem.Trucks[truck].Hours
	from := max(hours.OpensMinute, w.problem.EarliestLoadingMinute)
	for _, busy := range append(d.trucks[truck], span{hours.ClosesMinute, hours.ClosesMinute}) {
		// The driver goes on at once, or after a break.
		for _, start := range []int{from, w.afterBreak(d.outings[truck], from)} {
			if start > busy.from {
				break
			}
			r, ok := w.drive(d, truck, drops, start, &l)
			if !ok {
				// Starting later only arrives later.
				return run{}, false
			}
			if r.back > busy.from {
				break
			}
			w.delay(d, &r)
			if w.driverMay(d.outings[truck], outing{span{r.loading, r.back}, r.driving}) {
				return r, true
			}
		}
		from = max(from, busy.to)
	}
	return run{}, false
}

// drive works out the times of a run that starts loading at from or as soon
// after it as a bay is free. It fails when some unloading would start too late.
func (w *world) drive(d *diary, truck int, drops []stretch, from int, l *loaded) (run, bool) {
	takes := w.loadingMinutes(l)
	r := run{truck: truck, drops: drops, loading: w.freeBay(d, from, takes), stops: make([]stop, len(drops)), beams: make([]int, len(drops))}
	r.leave = r.loading + takes
	at, now := 0, r.leave
	for i, s := range r.drops {
		c := &w.chains[s.chain]
		window := c.windowOf(s.start, s.end)
		here := s.chain + 1
		r.metres += w.roads.metres[at][here]
		r.driving += w.roads.minutes[at][here]
		r.beams[i] = c.beams[s.end] - c.beams[s.start]
		arrive := now + w.roads.minutes[at][here]
		takes := c.site.UnloadFixedMinutes + c.site.UnloadMinutesPerPile*l.piles[i]
		unload := max(arrive, window.OpensMinute, d.last[s.chain]+1)
		unload = w.room(d, s.chain, unload, takes, r.beams[i], window.ClosesMinute)
		if unload > window.ClosesMinute {
			return run{}, false
		}
		r.stops[i] = stop{arrive, unload, unload + takes}
		at, now = here, unload+takes
	}
	r.metres += w.roads.metres[at][0]
	r.driving += w.roads.minutes[at][0]
	r.back = now + w.roads.minutes[at][0]
	return r, true
}

// freePlace is the first minute from which the site has a place for so long.
func freePlace(taken []span, from, takes, places int) int {
	for !placeFree(taken, from, takes, places) {
		next := 0
		for _, s := range taken {
			if s.to > from && (next == 0 || s.to < next) {
				next = s.to
			}
		}
		from = next
	}
	return from
}

// placeFree tells whether one of the places is free all the time: taken
// stretches overlap most at the start of one of them.
func placeFree(taken []span, from, takes, places int) bool {
	at := func(minute int) int {
		n := 0
		for _, s := range taken {
			if s.from <= minute && minute < s.to {
				n++
			}
		}
		return n
	}
	places = max(1, places)
	if at(from) >= places {
		return false
	}
	for _, s := range taken {
		if s.from > from && s.from < from+takes && at(s.from) >= places {
			return false
		}
	}
	return true
}

// delay starts a run as late as its unloading allows, so that truck and
// driver wait in the yard and not at a site.
func (w *world) delay(d *diary, r *run) {
	for i := range r.stops {
		wait := r.stops[i].unload - r.stops[i].arrive
		if wait == 0 || !w.canDelay(d, r, i, wait) {
			r.waiting += wait
			continue
		}
		for j := range i {
			r.stops[j].arrive += wait
			r.stops[j].unload += wait
			r.stops[j].leave += wait
		}
		r.stops[i].arrive += wait
		r.loading += wait
		r.leave += wait
	}
}

// canDelay tells whether the stops before stop i can be later by wait.
func (w *world) canDelay(d *diary, r *run, i, wait int) bool {
	if !w.bayFree(d, r.loading+wait, r.leave-r.loading) {
		return false
	}
	for j := range i {
		s := r.drops[j]
		c := &w.chains[s.chain]
		unload := r.stops[j].unload + wait
		takes := r.stops[j].leave - r.stops[j].unload
		if unload > c.windowOf(s.start, s.end).ClosesMinute || c.nextUnload(unload) != unload ||
			!placeFree(d.places[s.chain], unload, takes, c.site.Places) || !c.hasRoom(d.brought[s.chain], unload+takes, r.beams[j]) {
			return false
		}
	}
	return true
}

// hoursOf writes a window for people.
func hoursOf(win morning.Window) string {
	return clockTime(win.OpensMinute) + " and " + clockTime(win.ClosesMinute)
}
