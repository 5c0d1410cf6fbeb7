package vrp

import "slices"

// stop is a place that a vehicle comes to; place 0 is the depot.
type stop struct {
	place int
	// ready is when work here may begin: the window of a customer, the release of
	// the trip that leaves the depot here.
	ready float64
	// early is when it begins; late is when it may begin at the latest so that
	// all that follows is in time.
	early, late float64
	// load of the trip that the stop belongs to; a depot's is that of the trip
	// that leaves it.
	load float64
	// leg is the distance from the stop before.
	leg float64
}

// vehicle is what one vehicle does, one stop after the other, with the depot at
// both ends and between two trips.
type vehicle struct {
	stops     []stop
	customers int
	distance  float64
	// plan is the number of the plan that may change the vehicle.
	plan int
}

// reset makes a vehicle one that stays at the depot.
func (v *vehicle) reset(m *model) {
	v.stops = append(v.stops[:0], stop{}, stop{})
	v.update(m)
}

// update works out loads and times after a change of the stops. It drops trips
// that visit nobody.
func (v *vehicle) update(m *model) {
	v.tidy()
	v.trips(m)
	s := v.stops
	v.distance = 0
	s[0].early, s[0].leg = s[0].ready, 0
	for i := 1; i < len(s); i++ {
		a, b := &s[i-1], &s[i]
		b.leg = m.way(a.place, b.place)
		v.distance += b.leg
		b.early = max(b.ready, a.early+m.customers[a.place].Service+b.leg)
	}
	last := len(s) - 1
	s[last].late = m.close
	for i := last - 1; i >= 0; i-- {
		who := &m.customers[s[i].place]
		s[i].late = min(who.Due, s[i+1].late-s[i+1].leg-who.Service)
	}
}

// tidy drops trips that visit nobody.
func (v *vehicle) tidy() {
	s := v.stops
	kept := 1
	for i := 1; i < len(s); i++ {
		if last := i == len(s)-1; s[i].place == 0 && s[kept-1].place == 0 && (kept > 1 || !last) {
			continue
		}
		s[kept] = s[i]
		kept++
	}
	if kept == 1 {
		kept = 2 // the depot and the depot
	}
	v.stops = s[:kept]
}

// trips works out the release and the load of each trip, from the last to the
// first, and counts the customers.
func (v *vehicle) trips(m *model) {
	s := v.stops
	last := len(s) - 1
	s[last].ready, s[last].load = 0, 0
	release, load, first := 0.0, 0.0, last-1
	v.customers = 0
	for i := last - 1; i >= 0; i-- {
		if s[i].place != 0 {
			c := &m.customers[s[i].place]
			s[i].ready = c.Ready
			release, load = max(release, c.Release), load+c.Demand
			v.customers++
			continue
		}
		s[i].ready = release
		for j := i; j <= first; j++ {
			s[j].load = load
		}
		release, load, first = 0, 0, i-1
	}
}

// fits says whether a customer may be put before a stop, in the trip that goes
// there.
func (v *vehicle) fits(m *model, c, at int) bool {
	who := &m.customers[c]
	from := &v.stops[at-1]
	if from.load+who.Demand > m.capacity {
		return false
	}
	begin := from.early
	if who.Release > 0 {
		var ok bool
		if begin, ok = v.released(m, who.Release, at-1); !ok {
			return false
		}
	}
	to := &v.stops[at]
	start := max(who.Ready, begin+m.customers[from.place].Service+m.way(from.place, c))
	return start <= who.Due && start+who.Service+m.way(c, to.place) <= to.late
}

// released is when work at a stop begins if the trip that it belongs to waits
// for a release; false when some stop before would be too late.
func (v *vehicle) released(m *model, release float64, at int) (float64, bool) {
	s := v.stops
	depot := at
	for s[depot].place != 0 {
		depot--
	}
	if release <= s[depot].early {
		return s[at].early, true
	}
	begin := release
	if begin > s[depot].late {
		return 0, false
	}
	for i := depot + 1; i <= at; i++ {
		begin = max(s[i].ready, begin+m.customers[s[i-1].place].Service+s[i].leg)
		if begin > s[i].late {
			return 0, false
		}
	}
	return begin, true
}

// fitsAlone says whether a customer may get a trip of its own that begins at the
// depot's stop with an index.
func (v *vehicle) fitsAlone(m *model, c, at int) bool {
	who := &m.customers[c]
	// What is known of the depot there counts the release of the next trip in.
	begin := 0.0
	if at > 0 {
		a := &v.stops[at-1]
		begin = a.early + m.customers[a.place].Service + m.way(a.place, 0)
	}
	begin = max(begin, who.Release)
	start := max(who.Ready, begin+m.way(0, c))
	return start <= who.Due && start+who.Service+m.way(c, 0) <= v.stops[at].late
}

// insert puts a customer before a stop, in the trip that goes there. It works out
// again only what changes.
func (v *vehicle) insert(m *model, c, at int) {
	who := &m.customers[c]
	v.stops = slices.Insert(v.stops, at, stop{place: c, ready: who.Ready, load: v.stops[at-1].load})
	s := v.stops
	depot := at - 1
	for s[depot].place != 0 {
		s[depot].load += who.Demand
		depot--
	}
	s[depot].load += who.Demand
	for i := at; i < len(s)-1 && s[i].place != 0; i++ {
		s[i].load += who.Demand
	}
	v.distance -= s[at+1].leg
	s[at].leg, s[at+1].leg = m.way(s[at-1].place, c), m.way(c, s[at+1].place)
	v.distance += s[at].leg + s[at+1].leg
	v.customers++
	from := at
	if who.Release > s[depot].ready {
		s[depot].ready, from = who.Release, depot
	}
	v.later(m, from, at)
	v.sooner(m, at)
}

// later works out when work begins at the earliest, at the stops from one on, as
// far as it changes; up to sure it is not asked whether it does.
func (v *vehicle) later(m *model, from, sure int) {
	s := v.stops
	for i := from; i < len(s); i++ {
		early := s[i].ready
		if i > 0 {
			early = max(early, s[i-1].early+m.customers[s[i-1].place].Service+s[i].leg)
		}
		if i > sure && early == s[i].early {
			return
		}
		s[i].early = early
	}
}

// sooner works out when work may begin at the latest, at the stops from one back,
// as far as it changes.
func (v *vehicle) sooner(m *model, from int) {
	s := v.stops
	for i := from; i >= 0; i-- {
		who := &m.customers[s[i].place]
		late := min(who.Due, s[i+1].late-s[i+1].leg-who.Service)
		if i < from && late == s[i].late {
			return
		}
		s[i].late = late
	}
}

// insertAlone gives a customer a trip of its own that begins at the depot's stop
// with an index.
func (v *vehicle) insertAlone(m *model, c, at int) {
	v.stops = slices.Insert(v.stops, at, stop{}, stop{place: c})
	v.update(m)
}

// tour returns the trips of a vehicle.
func (v *vehicle) tour() Tour {
	var t Tour
	for _, s := range v.stops[:len(v.stops)-1] {
		if s.place == 0 {
			t = append(t, nil)
			continue
		}
		t[len(t)-1] = append(t[len(t)-1], s.place)
	}
	return t
}
