package vrp

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"spanyard.example/services/dispatch/internal/lns"
)

// blink is how likely a place is overlooked.
const blink = 0.01

// plan is the vehicles and whom they do not visit. Plans share vehicles; a plan
// changes those with its own number only.
type plan struct {
	number   int
	vehicles []*vehicle
	// at is the vehicle of each customer; -1 for those that are absent.
	at     []int
	absent []int
}

func (p *plan) distance() float64 {
	sum := 0.0
	for _, v := range p.vehicles {
		sum += v.distance
	}
	return sum
}

// trips of all vehicles.
func (p *plan) trips() int {
	sum := 0
	for _, v := range p.vehicles {
		sum += len(v.stops) - 1 - v.customers
	}
	return sum
}

// assign writes down which vehicle visits whom.
func (p *plan) assign() {
	for i, v := range p.vehicles {
		for j := range v.stops {
			p.at[v.stops[j].place] = i
		}
	}
}

// leave makes a customer absent.
func (p *plan) leave(c int) {
	p.absent = append(p.absent, c)
	p.at[c] = -1
}

// model is a problem prepared for search.
type model struct {
	customers []Customer
	capacity  float64
	close     float64
	trips     bool
	// fewest says that a vehicle more is taken only if there is no other way.
	fewest bool
	// most vehicles.
	most int
	// price of whoever is absent, in distance, and how many plans were seen since
	// it was last looked at, and were whole.
	price       float64
	seen, whole int
	// places and the ways between them, row by row.
	places int
	ways   []float64
	// near are the customers next to each, itself first.
	near [][]int
	// unused plans and vehicles, to be used again.
	plans    []*plan
	vehicles []*vehicle
	number   int
	ruins    lns.Ruin
	hit      []int
	keys     []float64
	// waiting customers are to be taken in.
	waiting []int
}

func newModel(p *Problem) *model {
	n := len(p.Customers)
	m := &model{
		customers: slices.Clone(p.Customers), capacity: p.Capacity, close: p.Close, trips: p.Trips, fewest: p.FewestVehicles, most: p.Vehicles,
		places: n, near: make([][]int, n), keys: make([]float64, n),
	}
	m.customers[0] = Customer{Due: p.Close}
	for _, row := range p.Distance {
		m.ways = append(m.ways, row...)
	}
	for i := 1; i < n; i++ {
		for j := 1; j < n; j++ {
			m.near[i] = append(m.near[i], j)
		}
		slices.SortStableFunc(m.near[i], func(a, b int) int { return cmp.Compare(p.Distance[i][a], p.Distance[i][b]) })
	}
	return m
}

func (m *model) way(a, b int) float64 { return m.ways[a*m.places+b] }

// first is the plan before anybody is visited.
func (m *model) first() *plan {
	p := &plan{at: make([]int, m.places)}
	for c := 1; c < m.places; c++ {
		p.leave(c)
	}
	return p
}

// copyOf is a plan like another one, to be changed.
func (m *model) copyOf(p *plan) *plan {
	out := &plan{}
	if n := len(m.plans); n > 0 {
		out, m.plans = m.plans[n-1], m.plans[:n-1]
	}
	m.number++
	out.number = m.number
	out.vehicles = append(out.vehicles[:0], p.vehicles...)
	out.at = append(out.at[:0], p.at...)
	out.absent = append(out.absent[:0], p.absent...)
	return out
}

// own is a vehicle of a plan that the plan may change.
func (m *model) own(p *plan, i int) *vehicle {
	v := p.vehicles[i]
	if v.plan == p.number {
		return v
	}
	mine := m.vehicle(p)
	mine.stops = append(mine.stops[:0], v.stops...)
	mine.customers, mine.distance = v.customers, v.distance
	p.vehicles[i] = mine
	return mine
}

// vehicle is a new one for a plan.
func (m *model) vehicle(p *plan) *vehicle {
	v := &vehicle{}
	if n := len(m.vehicles); n > 0 {
		v, m.vehicles = m.vehicles[n-1], m.vehicles[:n-1]
	}
	v.plan = p.number
	return v
}

// Drop takes a plan and its own vehicles back.
func (m *model) Drop(p *plan) {
	for _, v := range p.vehicles {
		if v.plan == p.number {
			m.vehicles = append(m.vehicles, v)
		}
	}
	m.plans = append(m.plans, p)
}

// Compare puts whom a plan visits before the distance.
func (m *model) Compare(a, b *plan) int {
	if c := cmp.Compare(len(a.absent), len(b.absent)); c != 0 {
		return c
	}
	if x, y := a.distance(), b.distance(); math.Abs(x-y) > 1e-9 {
		return cmp.Compare(x, y)
	}
	return 0
}

// Energy is the distance, and the price of the absent.
func (m *model) Energy(p *plan) float64 {
	return p.distance() + float64(len(p.absent))*m.price
}

// Change ruins a plan and makes it anew.
func (m *model) Change(p *plan, random *rand.Rand) *plan {
	m.weigh(p)
	out := m.copyOf(p)
	m.ruin(out, random)
	m.recreate(out, random)
	return out
}

// trips are a plan's customers as a ruin sees them. Strings are of one trip: what
// comes before and after a visit to the depot need not be near.
type trips struct {
	*plan
	m *model
}

// ofVehicle is more than the trips of any vehicle.
const ofVehicle = 1 << 20

func (t trips) Tours() int { return t.trips() }

func (t trips) Served() int             { return t.m.places - 1 - len(t.absent) }
func (t trips) Near(customer int) []int { return t.m.near[customer] }

func (t trips) Tour(customer int) int {
	vehicle := t.at[customer]
	if vehicle < 0 || !t.m.trips {
		return vehicle * ofVehicle
	}
	trip := 0
	for _, s := range t.vehicles[vehicle].stops[1:] {
		if s.place == customer {
			break
		}
		if s.place == 0 {
			trip++
		}
	}
	return vehicle*ofVehicle + trip
}

func (t trips) Stops(tour int, into []int) []int {
	trip := tour % ofVehicle
	for _, s := range t.vehicles[tour/ofVehicle].stops[1:] {
		switch {
		case s.place == 0:
			trip--
		case trip == 0:
			into = append(into, s.place)
		}
	}
	return into
}

// ruin leaves out customers near one of them.
func (m *model) ruin(p *plan, random *rand.Rand) {
	m.hit = m.hit[:0]
	for _, c := range m.ruins.Stops(trips{p, m}, 1+random.IntN(m.places-1), random) {
		if i := p.at[c]; !slices.Contains(m.hit, i) {
			m.hit = append(m.hit, i)
		}
		p.leave(c)
	}
	empty := false
	for _, i := range m.hit {
		v := m.own(p, i)
		kept := v.stops[:0]
		for _, s := range v.stops {
			if s.place == 0 || p.at[s.place] >= 0 {
				kept = append(kept, s)
			}
		}
		v.stops = kept
		v.update(m)
		empty = empty || v.customers == 0
	}
	if empty {
		m.sweep(p)
	}
}

// sweep takes vehicles away that visit nobody.
func (m *model) sweep(p *plan) {
	kept := p.vehicles[:0]
	for _, v := range p.vehicles {
		switch {
		case v.customers > 0:
			kept = append(kept, v)
		case v.plan == p.number:
			m.vehicles = append(m.vehicles, v)
		}
	}
	p.vehicles = kept
	p.assign()
}

const (
	// weighed is after how many attempts it is looked how many plans were whole.
	weighed = 100
	// fewWhole and manyWhole are the shares of whole plans between which the price
	// of the absent stays, dearer is by how much it changes.
	fewWhole, manyWhole, dearer = 0.2, 0.4, 1.1
)

// weigh makes whoever is absent cost more as long as too few of the plans that
// the search comes by visit everybody, and less when most do.
func (m *model) weigh(p *plan) {
	if m.price >= forbidding {
		return
	}
	m.seen++
	if len(p.absent) == 0 {
		m.whole++
	}
	if m.seen < weighed {
		return
	}
	switch share := float64(m.whole) / float64(m.seen); {
	case share < fewWhole:
		m.price *= dearer
	case share > manyWhole:
		m.price /= dearer
	}
	m.seen, m.whole = 0, 0
}
