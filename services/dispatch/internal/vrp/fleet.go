package vrp

import (
	"math"
	"math/rand/v2"
	"slices"
)

const (
	// mostEjected is how many customers give way to another one at most, and
	// mostEjectedLong where a vehicle visits more than longTour.
	mostEjected, mostEjectedLong, longTour = 3, 2, 25
	// shakes is how many ruins come between two ejections.
	shakes = 20
)

// fewerVehicles takes one vehicle after the other away, as long as the others
// can take in whom it visited. It looks as Y. Nagata and O. Bräysy do ("A powerful
// route minimization heuristic for the vehicle routing problem with time
// windows", Operations Research Letters 37, 2009): whoever finds no place takes
// that of customers who found theirs more often.
func (m *model) fewerVehicles(p *plan, random *rand.Rand, c *clock) *plan {
	demand := 0.0
	for i := range m.customers {
		demand += m.customers[i].Demand
	}
	least := int(math.Ceil(demand/m.capacity - 1e-9))
	f := &fleet{model: m, random: random, clock: c, missed: make([]int, m.places)}
	for i := range f.missed {
		f.missed[i] = 1
	}
	most := m.most
	for len(p.absent) > 0 || len(p.vehicles) > least {
		next := m.copyOf(p)
		if len(p.absent) == 0 {
			f.dissolve(next)
		}
		m.most = len(next.vehicles)
		next = f.settle(next)
		if len(next.absent) > 0 {
			break
		}
		p = next
	}
	if m.most = max(1, len(p.vehicles)); len(p.absent) > 0 {
		m.most = most
	}
	return p
}

// fleet looks for tours with few vehicles.
type fleet struct {
	*model
	random *rand.Rand
	clock  *clock
	// missed counts how often a customer found no place.
	missed []int
}

// dissolve leaves out whom a vehicle visits that is easy to do without.
func (f *fleet) dissolve(p *plan) {
	easiest, least := 0, 0
	for i, v := range p.vehicles {
		sum := 0
		for j := range v.stops {
			sum += f.missed[v.stops[j].place]
		}
		if i == 0 || sum < least {
			easiest, least = i, sum
		}
	}
	v := f.own(p, easiest)
	for j := range v.stops {
		if c := v.stops[j].place; c != 0 {
			p.leave(c)
		}
	}
	v.reset(f.model)
	f.sweep(p)
}

// settle takes absent customers in until there are none or the time is over.
func (f *fleet) settle(p *plan) *plan {
	for len(p.absent) > 0 && f.clock.look() < fleetShare {
		c := p.absent[len(p.absent)-1]
		if to := f.cheapest(p, c, f.random); to.vehicle >= 0 {
			p.absent = p.absent[:len(p.absent)-1]
			f.take(p, c, to)
			continue
		}
		f.missed[c]++
		f.eject(p, c)
		p = f.shake(p)
	}
	return p
}

// shake ruins and recreates a few times.
func (f *fleet) shake(p *plan) *plan {
	for range shakes {
		if len(p.absent) == 0 {
			return p
		}
		f.clock.attempts++
		next := f.Change(p, f.random)
		heat := next.distance() / float64(f.places) * math.Pow(coldest, min(1, f.clock.seen))
		fewer := len(next.absent) < len(p.absent) || len(next.absent) == len(p.absent) && f.weight(next) < f.weight(p)
		same := len(next.absent) == len(p.absent) && f.weight(next) == f.weight(p) && next.distance() < p.distance()-heat*math.Log(1-f.random.Float64())
		if !fewer && !same {
			f.Drop(next)
			continue
		}
		p = next
	}
	return p
}

func (f *fleet) weight(p *plan) int {
	sum := 0
	for _, c := range p.absent {
		sum += f.missed[c]
	}
	return sum
}

// eject takes a customer in who has no place, for those who missed one least.
func (f *fleet) eject(p *plan, c int) {
	if f.trips {
		return
	}
	e := ejector{fleet: f, c: c, best: math.MaxInt, vehicle: -1}
	first := f.random.IntN(len(p.vehicles))
	for i := range p.vehicles {
		i = (first + i) % len(p.vehicles)
		if e.most = mostEjected; p.vehicles[i].customers > longTour {
			e.most = mostEjectedLong
		}
		e.try(i, p.vehicles[i])
	}
	if e.vehicle < 0 {
		return
	}
	p.absent = p.absent[:len(p.absent)-1]
	v := f.own(p, e.vehicle)
	kept := v.stops[:0:0]
	for i, s := range v.stops {
		if i == e.at {
			kept = append(kept, stop{place: c})
		}
		if e.leaves(i) {
			p.leave(s.place)
			continue
		}
		kept = append(kept, s)
	}
	v.stops = kept
	v.update(f.model)
	p.at[c] = e.vehicle
}

// ejector looks for the customers of a vehicle who have to go so that another one
// finds place.
type ejector struct {
	*fleet
	c, most int
	i       int
	v       *vehicle
	// gone are the stops left out now.
	gone []int
	// best is the least weight of those who go, found in a vehicle, before a stop.
	best, vehicle, at int
	leave             [mostEjected]int
	leaving           int
}

func (e *ejector) leaves(stop int) bool {
	return slices.Contains(e.leave[:e.leaving], stop)
}

func (e *ejector) try(i int, v *vehicle) {
	e.i, e.v, e.gone = i, v, e.gone[:0]
	e.walk(tail{next: 1, load: v.stops[0].load + e.customers[e.c].Demand})
}

// tail is how far a vehicle's stops are decided on.
type tail struct {
	// next stop to decide on; place is the one before it, where work begins then.
	next, place int
	begin       float64
	// load of all that are not left out, and the weight of those who are.
	load   float64
	weight int
	// at is before which stop the new customer comes; 0 is not yet.
	at int
}

// walk decides on the stops from one on.
func (e *ejector) walk(t tail) {
	s := &e.v.stops[t.next]
	leaves := t.begin + e.customers[t.place].Service
	if t.at == 0 {
		who := &e.customers[e.c]
		if start := max(who.Ready, leaves+e.way(t.place, e.c)); start <= who.Due {
			with := t
			with.place, with.begin, with.at = e.c, start, t.next
			e.walk(with)
		}
	}
	start := max(s.ready, leaves+e.way(t.place, s.place))
	if t.at > 0 && t.load <= e.capacity && start <= s.late {
		e.best, e.vehicle, e.at, e.leaving = t.weight, e.i, t.at, copy(e.leave[:], e.gone)
		return
	}
	if s.place == 0 {
		return
	}
	if start <= e.customers[s.place].Due {
		with := t
		with.next, with.place, with.begin = t.next+1, s.place, start
		e.walk(with)
	}
	if more := t.weight + e.missed[s.place]; len(e.gone) < e.most && more < e.best {
		e.gone = append(e.gone, t.next)
		without := t
		without.next, without.weight = t.next+1, more
		without.load -= e.customers[s.place].Demand
		e.walk(without)
		e.gone = e.gone[:len(e.gone)-1]
	}
}
