package runbound

import (
	"cmp"
	"slices"
)

// stretch is a consecutive part of a site's pieces that a kind of truck could
// bring on one run, with the least that it takes.
type stretch struct {
	from, to int
	uses     uses
	wares    wares
	// longest of its piles, and how long one more could be on a deck with it.
	longest, room int
	unload        int
	// alone is how long a run with nothing else aboard takes; never where none
	// comes in time.
	alone        int
	opens, close int
}

// never is longer than any run takes.
const never = 1 << 30

// stretchesOf lists every stretch of a site that a kind of truck could bring; false
// when it is stopped before.
func (x *pricer) stretchesOf(kind, site int, stop func() bool) ([]stretch, bool) {
	s := &x.p.Sites[site]
	if s.MostG[kind] < 0 {
		return nil, true
	}
	masses := newMasses(s.Units)
	var out []stretch
	for i := range s.Units {
		if stop != nil && i%16 == 0 && stop() {
			return nil, false
		}
		out = x.stretchesFrom(out, kind, site, i, &masses)
	}
	return out, true
}

// stretchesFrom adds the stretches that begin with a unit.
func (x *pricer) stretchesFrom(out []stretch, kind, site, i int, masses *masses) []stretch {
	p, t, s, d := x.p, &x.p.Trucks[kind], &x.p.Sites[site], &x.decks[kind]
	most := min(t.CapacityG, s.MostG[kind])
	opens, closes := s.Units[i].OpensMinute, s.Units[i].ClosesMinute
	piles := pileCount{p: p, truck: t, deck: d}
	for j := i + 1; j <= len(s.Units); j++ {
		u := &s.Units[j-1]
		opens, closes = max(opens, u.OpensMinute), min(closes, u.ClosesMinute)
		mass := masses.least(i, j)
		if opens > closes || mass > most {
			return out
		}
		piles.add(u)
		next := stretch{from: i, to: j, uses: uses{mass}, wares: piles.least(), alone: never, opens: opens, close: closes}
		next.longest, next.room = d.longest(&next.wares), d.room(&next.wares)
		if next.room == none {
			x.tooMuch[kind].add(next.wares)
			return out
		}
		next.unload = s.FixedMinutes + next.wares.count()*s.MinutesPerPile
		if minutes, ok := p.minutes(kind, []part{{site, &next}}); ok {
			next.alone = minutes
		}
		out = append(out, next)
	}
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
	deck  *deck
	// pallets stand by themselves.
	pallets wares
	// lengths of the beams of each profile, the longest first, and how wide they
	// are.
	lengths [][]int
	widths  []int
}

func (c *pileCount) add(u *Unit) {
	if u.Pallet {
		c.deck.add(&c.pallets, u)
		return
	}
	for len(c.lengths) <= u.Profile {
		c.lengths, c.widths = append(c.lengths, nil), append(c.widths, 0)
	}
	list := c.lengths[u.Profile]
	at, _ := slices.BinarySearchFunc(list, u.LengthMM, func(a, b int) int { return cmp.Compare(b, a) })
	c.lengths[u.Profile], c.widths[u.Profile] = slices.Insert(list, at, u.LengthMM), u.WidthMM
}

// least returns the piles: there are no fewer, and the k-th longest of those with
// one length is no shorter.
func (c *pileCount) least() wares {
	w := wares{piles: slices.Clone(c.pallets.piles), broadMM: c.pallets.broadMM, turned: slices.Clone(c.pallets.turned)}
	for profile, left := range c.lengths {
		for len(left) > 0 {
			longest := left[0]
			shortest := longest - 2*min(5*c.p.OverhangMM, longest)/5
			n := 1
			for n < len(left) && n < c.truck.PileHolds[profile] && left[n] >= shortest {
				n++
			}
			w.piles = append(w.piles, longest+c.p.GapMM)
			if c.deck.isBroad(c.widths[profile]) {
				w.broadMM += longest + c.p.GapMM
			}
			left = left[n:]
		}
	}
	slices.SortFunc(w.piles, func(a, b int) int { return cmp.Compare(b, a) })
	return w
}
