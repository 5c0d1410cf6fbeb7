package vrp

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// recreate takes absent customers in, each where it costs least.
func (m *model) recreate(p *plan, random *rand.Rand) {
	m.waiting = append(m.waiting[:0], p.absent...)
	m.sort(m.waiting, random)
	p.absent = p.absent[:0]
	for _, c := range m.waiting {
		if to := m.cheapest(p, c, random); to.vehicle >= 0 {
			m.take(p, c, to)
		} else {
			p.leave(c)
		}
	}
}

// spot is where a customer may be put: before a stop of a vehicle, or on a trip
// of its own that begins there. A vehicle past the last is a new one, -1 none.
type spot struct {
	vehicle, at int
	alone       bool
}

// take puts an absent customer somewhere.
func (m *model) take(p *plan, c int, to spot) {
	if to.vehicle == len(p.vehicles) {
		v := m.vehicle(p)
		v.reset(m)
		p.vehicles = append(p.vehicles, v)
	}
	v := m.own(p, to.vehicle)
	if to.alone {
		v.insertAlone(m, c, to.at)
	} else {
		v.insert(m, c, to.at)
	}
	p.at[c] = to.vehicle
}

// sort puts customers in an order: by chance, by demand, by how far or near they
// are, by their windows.
func (m *model) sort(list []int, random *rand.Rand) {
	random.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
	roll := random.IntN(17)
	if roll < 4 || len(list) < 2 {
		return
	}
	for _, c := range list {
		who := &m.customers[c]
		switch {
		case roll < 8:
			m.keys[c] = -who.Demand
		case roll < 10:
			m.keys[c] = -m.way(0, c)
		case roll < 11:
			m.keys[c] = m.way(0, c)
		case roll < 13:
			m.keys[c] = who.Due - who.Ready
		case roll < 15:
			m.keys[c] = who.Ready
		default:
			m.keys[c] = -who.Due
		}
	}
	slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(m.keys[a], m.keys[b]) })
}

// cheapest returns where a customer costs least.
func (m *model) cheapest(p *plan, c int, random *rand.Rand) spot {
	best := spot{vehicle: -1}
	least := math.Inf(1)
	who := &m.customers[c]
	from := m.ways[c*m.places : (c+1)*m.places]
	for i, v := range p.vehicles {
		if !m.trips && v.stops[0].load+who.Demand > m.capacity {
			continue
		}
		s := v.stops
		for k := 1; k < len(s); k++ {
			if s[k-1].early > who.Due {
				break
			}
			cost := m.way(s[k-1].place, c) + from[s[k].place] - s[k].leg
			if cost < least && v.fits(m, c, k) && random.Float64() >= blink {
				least, best = cost, spot{i, k, false}
			}
		}
	}
	switch cost := m.way(0, c) + from[0]; {
	case best.vehicle >= 0 && (m.fewest || cost >= least):
		return best
	case len(p.vehicles) < m.most:
		return spot{len(p.vehicles), 1, false}
	case m.trips:
		return m.alone(p, c, random, best)
	}
	return best
}

// alone looks for a trip of its own for a customer, with any vehicle: whichever
// comes first would get all trips and have no time for more on any of them.
func (m *model) alone(p *plan, c int, random *rand.Rand, otherwise spot) spot {
	best, n := otherwise, 0
	for i, v := range p.vehicles {
		for k := range v.stops {
			if v.stops[k].place == 0 && v.fitsAlone(m, c, k) {
				if n++; random.IntN(n) == 0 {
					best = spot{i, k, true}
				}
			}
		}
	}
	return best
}
