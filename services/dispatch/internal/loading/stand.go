package loading

import (
	"cmp"
	"slices"
)

// stage is what the axles allow at departure or after a drop: between least
// and most lies the sum of mass times twice the distance from the front axle,
// over what is still aboard.
type stage struct {
	after       int
	sum         int64
	least, most int64
}

// stagesOf works the stages out from the masses alone.
func (d *Deck) stagesOf(pallets []pile, batches []batchOf, drops int) []stage {
	of := make([]int64, drops+1)
	for i := range pallets {
		of[pallets[i].drop] += pallets[i].mass
	}
	for _, b := range batches {
		for _, u := range b.beams {
			of[b.drop] += u.Item.MassG
		}
	}
	var out []stage
	for after := range drops {
		var sum int64
		for _, g := range of[after+1:] {
			sum += g
		}
		if sum > 0 {
			out = append(out, d.stageOf(after, sum))
		}
	}
	return out
}

// stageOf has the conditions of shifts.within: the rear axle within its limit,
// the front axle within its own and on the road.
func (d *Deck) stageOf(after int, sumG int64) stage {
	t, wb2 := d.truck, int64(2*d.truck.WheelbaseMM)
	return stage{
		after: after, sum: sumG,
		least: (int64(t.TareFrontKg-t.MaxFrontKg)*1000 + sumG) * wb2,
		most:  min(int64(t.MaxRearKg-t.TareRearKg)*1000*wb2, (int64(t.TareFrontKg)*1000+sumG)*wb2),
	}
}

// momentOf is that sum for a stage with the piles where they are.
func (d *Deck) momentOf(s *stage, piles []pile) int64 {
	var moment int64
	for i := range piles {
		if piles[i].drop > s.after {
			moment += piles[i].mass * d.lever2x(&piles[i])
		}
	}
	return moment
}

// besides tells whether two piles can stand side by side.
func (d *Deck) besides(p, q *pile) bool {
	return d.lanes > 1 && p.width+d.rules.PileGapMM+q.width <= d.truck.DeckWidthMM
}

// placing is what is known while piles are being placed.
type placing struct {
	// kinds are the piles to be placed, in the order in which they are tried;
	// left is how many of each are not placed yet.
	kinds []kind
	left  []int
	spots []spot
	// used is how many pieces of each class are placed.
	used []int
	// need is the length of lane of what is not placed yet; longest and shortest
	// are the piles, the longest with its gap.
	need, longest, shortest int
	// ahead and astern are, of each stage, sums over what is placed: ahead with
	// the heaviest of each class in front, astern with the lightest.
	ahead, astern []reach
	// halves are the least and the most, of each stage, of mass times length of
	// its pile.
	halves []span
}

// reach is a sum of mass times twice the way from the front of the deck to the
// front end of its pile, and of the masses.
type reach struct{ moment, mass int64 }

type span struct{ least, most int64 }

// spot is where a pile of a kind stands.
type spot struct{ kind, lane, from int }

// begin places the piles that have been made.
func (x *exact) begin() bool {
	x.kinds = x.kinds[:0]
	for i := range x.made {
		h := &x.made[i]
		if h.count > 0 {
			x.kinds = append(x.kinds, *h)
			continue
		}
		k := len(x.kinds) - 1
		for k >= 0 && (x.kinds[k].drop != h.drop || !slices.Equal(x.kinds[k].parts, h.parts)) {
			k--
		}
		if k < 0 {
			k = len(x.kinds)
			x.kinds = append(x.kinds, *h)
		}
		x.kinds[k].count++
	}
	x.left = x.left[:0]
	for i := range x.kinds {
		x.left = append(x.left, x.kinds[i].count)
	}
	if !x.lanesHold() {
		return false
	}
	x.prepare()
	return x.stand()
}

// prepare sorts the kinds and counts nothing as placed.
func (x *exact) prepare() {
	if x.used == nil {
		x.weigh()
		n := len(x.stages)
		x.used, x.ahead, x.astern, x.halves = make([]int, len(x.classes)), make([]reach, n), make([]reach, n), make([]span, n)
	}
	x.sortKinds()
	x.spots, x.need, x.longest, x.shortest = x.spots[:0], 0, 0, x.d.limitMM
	for i := range x.kinds {
		k := &x.kinds[i]
		x.left[i] = k.count
		x.need += k.count * (k.length + x.d.rules.PileGapMM)
		x.longest = max(x.longest, k.length+x.d.rules.PileGapMM)
		x.shortest = min(x.shortest, k.length)
	}
	clear(x.used)
	clear(x.ahead)
	clear(x.astern)
	x.weighHalves()
}

// sortKinds puts in front what is heavy for its length, or what is light, as
// the axles ask for at departure: what is found first is mostly a load.
func (x *exact) sortKinds() {
	if len(x.stages) == 0 {
		return
	}
	for i := range x.kinds {
		k := &x.kinds[i]
		k.density = 0
		for _, p := range k.parts {
			c := &x.classes[p.class]
			k.density += c.heavy[len(c.units)] * int64(p.n) / int64(len(c.units))
		}
		k.density /= int64(max(1, k.length))
	}
	sign, st := 1, &x.stages[0]
	start, limit := int64(x.d.truck.DeckStartMM), int64(x.d.limitMM)
	// The middle of what the axles allow lies behind the middle of the deck.
	if st.least+min(st.most, 2*st.sum*(start+limit)) > 2*st.sum*(2*start+limit) {
		sign = -1
	}
	slices.SortStableFunc(x.kinds, func(a, b kind) int { return sign * cmp.Compare(b.density, a.density) })
}

// weighHalves sums mass times length of the pile: the least has the heaviest of
// each class in its shortest piles.
func (x *exact) weighHalves() {
	clear(x.halves)
	for c := range x.classes {
		var least, most int64
		total := len(x.classes[c].units)
		for done, last := 0, -1; done < total; {
			// The next longer piles that have something of the class.
			length, n := 0, 0
			for i := range x.kinds {
				k := &x.kinds[i]
				for _, p := range k.parts {
					if p.class != c || k.length <= last || n > 0 && k.length > length {
						continue
					}
					if n == 0 || k.length != length {
						length, n = k.length, 0
					}
					n += p.n * k.count
				}
			}
			h := x.classes[c].heavy
			least += int64(length) * (h[done+n] - h[done])
			most += int64(length) * (x.classes[c].light(done+n) - x.classes[c].light(done))
			done, last = done+n, length
		}
		for s := range x.stages {
			if x.classes[c].drop > x.stages[s].after {
				x.halves[s].least += least
				x.halves[s].most += most
			}
		}
	}
}

// stand places one more pile in every way.
func (x *exact) stand() bool {
	if x.need == 0 {
		return x.settle()
	}
	if !x.step() {
		return false
	}
	for i := range x.kinds {
		if x.left[i] == 0 {
			continue
		}
		left, whole := x.earliest(i, 1)
		if x.standAt(i, 1, left) {
			return true
		}
		if x.d.lanes == 1 || len(x.spots) == 0 {
			continue
		}
		// Behind all the others both lanes are one.
		if right, _ := x.earliest(i, 2); (left < whole || right < whole) && x.standAt(i, 2, right) {
			return true
		}
	}
	return false
}

// earliest is where a pile can stand at the front in a lane, and where all
// that is placed ends.
func (x *exact) earliest(kind, lane int) (from, whole int) {
	beside := x.d.truck.DeckWidthMM - x.kinds[kind].width - x.d.rules.PileGapMM
	for _, s := range x.spots {
		q := &x.kinds[s.kind]
		end := s.from + q.length + x.d.rules.PileGapMM
		whole = max(whole, end)
		if s.lane == lane || x.d.lanes == 1 || q.width > beside {
			from = max(from, end)
		}
	}
	return from, whole
}

// standAt places a pile and goes on, unless that cannot lead to anything.
func (x *exact) standAt(kind, lane, from int) bool {
	if n := len(x.spots); n > 0 {
		last := x.spots[n-1]
		if from < last.from || from == last.from && lane < last.lane {
			return false
		}
	}
	k := &x.kinds[kind]
	if from+k.length > x.d.limitMM {
		return false
	}
	x.take(kind, lane, from)
	if x.roomBehind(from) && x.stand() {
		return true
	}
	x.giveBack()
	return false
}

// take counts a pile as placed.
func (x *exact) take(kind, lane, from int) {
	k := &x.kinds[kind]
	x.spots = append(x.spots, spot{kind, lane, from})
	x.left[kind]--
	x.need -= k.length + x.d.rules.PileGapMM
	x.count(k, from, 1)
}

// giveBack takes the last pile back.
func (x *exact) giveBack() {
	s := x.spots[len(x.spots)-1]
	k := &x.kinds[s.kind]
	x.count(k, s.from, -1)
	x.spots = x.spots[:len(x.spots)-1]
	x.left[s.kind]++
	x.need += k.length + x.d.rules.PileGapMM
}

// count adds a pile to the sums of the stages, or takes it off.
func (x *exact) count(k *kind, from int, sign int64) {
	var heavy, light int64
	for _, p := range k.parts {
		c := &x.classes[p.class]
		if sign < 0 {
			x.used[p.class] -= p.n
		}
		u := x.used[p.class]
		heavy += c.heavy[u+p.n] - c.heavy[u]
		light += c.light(u+p.n) - c.light(u)
		if sign > 0 {
			x.used[p.class] += p.n
		}
	}
	heavy, light = sign*heavy, sign*light
	for s := range x.stages {
		if k.drop > x.stages[s].after {
			x.ahead[s].mass += heavy
			x.ahead[s].moment += heavy * int64(2*from)
			x.astern[s].mass += light
			x.astern[s].moment += light * int64(2*from)
		}
	}
}

// roomBehind tells whether the lanes can hold what is not yet placed, and
// every stage be kept. All of it stands at a place or behind it.
func (x *exact) roomBehind(from int) bool {
	gap := x.d.rules.PileGapMM
	ends := [2]int{from, from}
	for _, s := range x.spots {
		ends[s.lane-1] = max(ends[s.lane-1], s.from+x.kinds[s.kind].length+gap)
	}
	first := ends[0]
	free := x.d.limitMM + gap - ends[0] - x.need
	if x.d.lanes > 1 {
		free += x.d.limitMM + gap - ends[1]
		first = min(first, ends[1])
	}
	if free < 0 || !x.stagesHold(int64(first), int64(free)) {
		return false
	}
	// With so much free, a lane is filled until the next pile is too long for
	// it, and the other lane takes the rest.
	return x.d.lanes == 1 || free >= x.longest || x.parted(x.d.limitMM+gap-ends[0], x.d.limitMM+gap-ends[1])
}

// stagesHold tells whether every stage may be kept. What is not placed stands
// behind first; what is placed can be moved by no more than what is free in the
// lanes.
//
// Of pieces alike the heavier ones give the least moment in front. The places
// are counted in the order of their front ends, so the sums for what is placed,
// and all that is left at one place behind it, are bounds.
func (x *exact) stagesHold(first, free int64) bool {
	start, last := int64(x.d.truck.DeckStartMM), int64(x.d.limitMM-x.shortest)
	for s := range x.stages {
		st := &x.stages[s]
		a, b := x.ahead[s], x.astern[s]
		if 2*start*st.sum+x.halves[s].least+a.moment+2*first*(st.sum-a.mass) > st.most {
			return false
		}
		if 2*start*st.sum+x.halves[s].most+min(b.moment+2*free*b.mass, 2*last*b.mass)+2*last*(st.sum-b.mass) < st.least {
			return false
		}
	}
	return true
}

// next is a pile that another one stands behind, and the room between them.
type next struct{ front, back, room int }

// rooms says how far each pile, in the order in which they stand, can be moved
// towards the tail with all behind it, and which stand behind which.
func (x *exact) rooms(piles []pile) ([]int, []next) {
	room := make([]int, len(piles))
	var behind []next
	for i := len(piles) - 1; i >= 0; i-- {
		p := &piles[i]
		room[i] = x.d.limitMM - p.from - p.length
		for j := i + 1; j < len(piles); j++ {
			if q := &piles[j]; q.lane == p.lane || !x.d.besides(p, q) {
				between := q.from - p.from - p.length - x.d.rules.PileGapMM
				behind = append(behind, next{i, j, between})
				room[i] = min(room[i], between+room[j])
			}
		}
	}
	return room, behind
}

// abreast makes a pile of beams so many of them wide.
func (d *Deck) abreast(p *pile, across int) {
	p.across = across
	p.width = across * p.units[0].WidthMM
	p.height = (len(p.units) + across - 1) / across * (p.units[0].HeightMM + d.rules.BearerHeightMM)
}

// widen makes the narrow piles of beams wider, by turns, where the deck has
// room beside them, and stands all across the deck.
func (d *Deck) widen(piles []pile) {
	gap := d.rules.PileGapMM
	beside := make([]int, len(piles))
	for again := true; again; {
		again = false
		for i := range piles {
			p := &piles[i]
			beside[i] = 0
			for j := range piles {
				if q := &piles[j]; i != j && p.from < q.from+q.length+gap && q.from < p.from+p.length+gap {
					beside[i] = max(beside[i], q.width+gap)
				}
			}
			u := p.units[0]
			if !u.Item.Pallet() && p.across < len(p.units) && p.width+u.WidthMM+beside[i] <= d.truck.DeckWidthMM {
				d.abreast(p, p.across+1)
				again = true
			}
		}
	}
	for i := range piles {
		p := &piles[i]
		p.left = d.truck.DeckWidthMM - p.width
		switch {
		case beside[i] == 0:
			p.lane, p.left = 1, p.left/2
		case p.lane == 1:
			p.left = 0
		}
	}
	slices.SortStableFunc(piles, func(a, b pile) int { return a.from - b.from })
}
