package runbound

import (
	"cmp"
	"slices"
)

// stretch is a consecutive part of a site's pieces that a kind of truck could
// bring on one run, with the least that it takes.
type stretch struct {
	from, to int
	massG    int64
	laneMM   int
	// piles are their lengths, each with a gap, the longest first.
	piles        []int
	unload       int
	opens, close int
	// weight of its units, and what is left of it when unloading and the shortest
	// ways that could lead here and on are paid for.
	weight, worth float64
}

// stretchesOf lists every stretch of a site that a kind of truck could bring,
// the lightest first.
func (p *Problem) stretchesOf(kind, site int) []stretch {
	t, s := &p.Trucks[kind], &p.Sites[site]
	if s.MostG[kind] < 0 {
		return nil
	}
	most := min(t.CapacityG, s.MostG[kind])
	masses := newMasses(s.Units)
	var out []stretch
	for i := range s.Units {
		opens, closes := s.Units[i].OpensMinute, s.Units[i].ClosesMinute
		piles := pileCount{p: p, truck: t}
		for j := i + 1; j <= len(s.Units); j++ {
			u := &s.Units[j-1]
			opens, closes = max(opens, u.OpensMinute), min(closes, u.ClosesMinute)
			mass := masses.least(i, j)
			piles.add(u)
			list := piles.least()
			if opens > closes || mass > most || !t.lanesHold(list) {
				break
			}
			out = append(out, stretch{
				from: i, to: j, massG: mass, laneMM: sum(list), piles: list, unload: s.FixedMinutes + len(list)*s.MinutesPerPile, opens: opens, close: closes,
			})
		}
	}
	slices.SortStableFunc(out, func(a, b stretch) int {
		return cmp.Or(cmp.Compare(a.massG, b.massG), cmp.Compare(a.laneMM, b.laneMM))
	})
	return out
}

// masses adds up units. Of pallets of one number, which may change places, a
// stretch that takes only some is charged the lightest.
type masses struct {
	// before each unit, and before the whole group of pallets that it is in.
	before []int64
	// first and end of that group; a beam is one by itself.
	first, end []int
	units      []Unit
}

func newMasses(units []Unit) masses {
	m := masses{units: units, before: []int64{0}}
	for i := 0; i < len(units); {
		end := groupEnd(units, i)
		for k := i; k < end; k++ {
			m.before = append(m.before, m.before[k]+units[k].MassG)
			m.first, m.end = append(m.first, i), append(m.end, end)
		}
		i = end
	}
	return m
}

// groupEnd is where the pallets end that may change places with the unit.
func groupEnd(units []Unit, i int) int {
	end := i + 1
	for units[i].Pallet && end < len(units) && units[end].Pallet && units[end].Number == units[i].Number {
		end++
	}
	return end
}

// least is the mass of units i to j-1 at least.
func (m *masses) least(i, j int) int64 {
	if m.first[i] == m.first[j-1] {
		return m.lightest(i, j-i)
	}
	head, tail := m.end[i], m.first[j-1]
	return m.lightest(i, head-i) + m.before[tail] - m.before[head] + m.lightest(j-1, j-tail)
}

// lightest adds up the n lightest units of the group that a unit is in.
func (m *masses) lightest(unit, n int) int64 {
	group := m.units[m.first[unit]:m.end[unit]]
	if n == len(group) {
		return m.before[m.end[unit]] - m.before[m.first[unit]]
	}
	each := make([]int64, len(group))
	for i := range group {
		each[i] = group[i].MassG
	}
	slices.Sort(each)
	var least int64
	for _, g := range each[:n] {
		least += g
	}
	return least
}

// pileCount adds up the piles of a stretch.
//
// Beams of one profile for one site go on piles of so many, in which the
// shortest reaches the bearers that the longest needs. Filled from the longest
// beam down, the k-th pile is never longer than the k-th longest of any other
// division, so there are no fewer piles and they are no shorter together.
type pileCount struct {
	p     *Problem
	truck *Truck
	// pallets are the piles that pallets are.
	pallets []int
	// lengths of the beams of each profile, the longest first.
	lengths [][]int
}

func (c *pileCount) add(u *Unit) {
	if u.Pallet {
		c.pallets = append(c.pallets, u.LengthMM+c.p.GapMM)
		return
	}
	for len(c.lengths) <= u.Profile {
		c.lengths = append(c.lengths, nil)
	}
	list := c.lengths[u.Profile]
	at, _ := slices.BinarySearchFunc(list, u.LengthMM, func(a, b int) int { return cmp.Compare(b, a) })
	c.lengths[u.Profile] = slices.Insert(list, at, u.LengthMM)
}

// least returns the lengths of the piles with their gaps: there are no fewer,
// and the k-th longest is no shorter.
func (c *pileCount) least() []int {
	piles := slices.Clone(c.pallets)
	for profile, left := range c.lengths {
		for len(left) > 0 {
			longest := left[0]
			shortest := longest - 2*min(5*c.p.OverhangMM, longest)/5
			n := 1
			for n < len(left) && n < c.truck.PileHolds[profile] && left[n] >= shortest {
				n++
			}
			piles = append(piles, longest+c.p.GapMM)
			left = left[n:]
		}
	}
	slices.SortFunc(piles, func(a, b int) int { return cmp.Compare(b, a) })
	return piles
}

func sum(list []int) int {
	n := 0
	for _, v := range list {
		n += v
	}
	return n
}
