package loading

import "slices"

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

// begin places the piles that have been made.
func (x *exact) begin() bool {
	x.order, x.stood = x.order[:0], make([]bool, len(x.piles))
	return x.stand()
}

// stand places one more pile in every way.
func (x *exact) stand() bool {
	if len(x.order) == len(x.piles) {
		return x.settle()
	}
	if !x.step() {
		return false
	}
	for i := range x.piles {
		if x.stood[i] || x.alikeBefore(i) {
			continue
		}
		left, whole := x.earliest(i, 1)
		if x.standAt(i, 1, left) {
			return true
		}
		if x.d.lanes == 1 || len(x.order) == 0 {
			continue
		}
		// Behind all the others both lanes are one.
		if right, _ := x.earliest(i, 2); (left < whole || right < whole) && x.standAt(i, 2, right) {
			return true
		}
	}
	return false
}

// alikeBefore tells whether a pile alike is to be placed before this one.
func (x *exact) alikeBefore(i int) bool {
	p := &x.piles[i]
	for k := range x.piles[:i] {
		q := &x.piles[k]
		if !x.stood[k] && p.drop == q.drop && p.length == q.length && p.width == q.width && p.mass == q.mass {
			return true
		}
	}
	return false
}

// earliest is where a pile can stand at the front in a lane, and where all
// that is placed ends.
func (x *exact) earliest(i, lane int) (from, whole int) {
	p := &x.piles[i]
	for _, k := range x.order {
		q := &x.piles[k]
		end := q.from + q.length + x.d.rules.PileGapMM
		whole = max(whole, end)
		if q.lane == lane || !x.d.besides(p, q) {
			from = max(from, end)
		}
	}
	return from, whole
}

// standAt places a pile and goes on, unless that cannot lead to anything.
func (x *exact) standAt(i, lane, from int) bool {
	if n := len(x.order); n > 0 {
		last := &x.piles[x.order[n-1]]
		if from < last.from || from == last.from && lane < last.lane {
			return false
		}
	}
	p := &x.piles[i]
	if from+p.length > x.d.limitMM {
		return false
	}
	p.from, p.lane = from, lane
	x.stood[i], x.order = true, append(x.order, i)
	if x.roomBehind(from) && x.notTooFarBack(from) && x.stand() {
		return true
	}
	x.stood[i], x.order = false, x.order[:len(x.order)-1]
	return false
}

// roomBehind tells whether the lanes can hold what is not yet placed; all of
// it stands at a place or behind it.
func (x *exact) roomBehind(from int) bool {
	gap := x.d.rules.PileGapMM
	need, ends := 0, [2]int{from, from}
	for i := range x.piles {
		p := &x.piles[i]
		if x.stood[i] {
			ends[p.lane-1] = max(ends[p.lane-1], p.from+p.length+gap)
		} else {
			need += p.length + gap
		}
	}
	room := 0
	for _, end := range ends[:x.d.lanes] {
		room += x.d.limitMM + gap - end
	}
	return need <= room
}

// notTooFarBack tells whether every stage can be kept with all piles as far to
// the front as can be.
func (x *exact) notTooFarBack(from int) bool {
	for s := range x.stages {
		st := &x.stages[s]
		var moment int64
		for i := range x.piles {
			p := &x.piles[i]
			if p.drop <= st.after {
				continue
			}
			at := p.from
			if !x.stood[i] {
				at = from
			}
			moment += p.mass * int64(2*(x.d.truck.DeckStartMM+at)+p.length)
		}
		if moment > st.most {
			return false
		}
	}
	return true
}

// settle moves the piles towards the tail, in the order in which they stand,
// until every stage is kept.
func (x *exact) settle() bool {
	piles := make([]pile, len(x.order))
	for n, i := range x.order {
		piles[n] = x.piles[i]
	}
	room, behind := x.rooms(piles)
	for s := range x.stages {
		st := &x.stages[s]
		most := x.d.momentOf(st, piles)
		for i := range piles {
			if piles[i].drop > st.after {
				most += 2 * piles[i].mass * int64(room[i])
			}
		}
		if most < st.least {
			return false
		}
	}
	if !x.kept(piles) {
		shift, short := x.shiftsFor(piles, room, behind)
		if short > 1+roundOff {
			return false
		}
		for i := range piles {
			piles[i].from += shift[i]
		}
		if !x.kept(piles) {
			// Between whole millimetres there may be a place.
			x.cut = true
			return false
		}
	}
	x.piles = piles
	return true
}

func (x *exact) kept(piles []pile) bool {
	for s := range x.stages {
		if m := x.d.momentOf(&x.stages[s], piles); m < x.stages[s].least || m > x.stages[s].most {
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
