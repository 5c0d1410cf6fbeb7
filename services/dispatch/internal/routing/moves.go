package routing

import (
	"math/rand/v2"
	"slices"
)

// A move changes the trips of a plan; it may change nothing. The trips are the
// move's own to change, drops included.
type move interface {
	change(w *world, trips []trip, random *rand.Rand) []trip
}

// ruins is how often a change is a ruin and not a few small moves.
const ruins = 0.3

// moves that a search chooses from, small ones.
var moves = []move{
	exchangeTrips{}, moveTrip{}, otherTruck{}, addDrop{}, leaveDrop{}, fillDrop{}, cutDrop{}, leaveTrip{}, moveDrop{}, exchangeDrops{},
}

// changed returns trips with a ruin or one to three small moves made.
func (w *world) changed(trips []trip, random *rand.Rand) []trip {
	out := slices.Clone(trips)
	for i := range out {
		out[i].drops = slices.Clone(out[i].drops)
	}
	if len(out) > 0 && random.Float64() < ruins {
		return ruin{}.change(w, out, random)
	}
	for range 1 + random.IntN(3) {
		if len(out) > 0 {
			out = moves[random.IntN(len(moves))].change(w, out, random)
		}
	}
	return out
}

// exchangeTrips lets two trips change places in the order of planning.
type exchangeTrips struct{}

func (exchangeTrips) change(_ *world, trips []trip, random *rand.Rand) []trip {
	i, j := random.IntN(len(trips)), random.IntN(len(trips))
	trips[i], trips[j] = trips[j], trips[i]
	return trips
}

// moveTrip plans a trip sooner or later.
type moveTrip struct{}

func (moveTrip) change(_ *world, trips []trip, random *rand.Rand) []trip {
	i, j := random.IntN(len(trips)), random.IntN(len(trips))
	t := trips[i]
	return slices.Insert(slices.Delete(trips, i, i+1), j, t)
}

// otherTruck gives a trip to another truck, with whatever fits it.
type otherTruck struct{}

func (otherTruck) change(w *world, trips []trip, random *rand.Rand) []trip {
	t := &trips[random.IntN(len(trips))]
	t.truck = random.IntN(len(w.problem.Trucks))
	for i := range t.drops {
		t.drops[i].most = 0
	}
	return trips
}

// addDrop adds a site to a trip.
type addDrop struct{}

func (addDrop) change(w *world, trips []trip, random *rand.Rand) []trip {
	t := &trips[random.IntN(len(trips))]
	at, chain := random.IntN(len(t.drops)+1), random.IntN(len(w.chains))
	if len(t.drops) < w.mostDrops(t.truck) {
		t.drops = slices.Insert(t.drops, at, wish{chain: chain})
	}
	return trips
}

// leaveDrop takes a site off a trip that has others.
type leaveDrop struct{}

func (leaveDrop) change(_ *world, trips []trip, random *rand.Rand) []trip {
	t := &trips[random.IntN(len(trips))]
	at := random.IntN(len(t.drops))
	if len(t.drops) > 1 {
		t.drops = slices.Delete(t.drops, at, at+1)
	}
	return trips
}

// fillDrop lets a drop bring whatever fits.
type fillDrop struct{}

func (fillDrop) change(_ *world, trips []trip, random *rand.Rand) []trip {
	t := &trips[random.IntN(len(trips))]
	t.drops[random.IntN(len(t.drops))].most = 0
	return trips
}

// cutDrop lets a drop bring a few units less, or few altogether if it brought
// whatever fits.
type cutDrop struct{}

func (cutDrop) change(_ *world, trips []trip, random *rand.Rand) []trip {
	t := &trips[random.IntN(len(trips))]
	d := &t.drops[random.IntN(len(t.drops))]
	less := 1 + random.IntN(12)
	if d.most == 0 {
		d.most = less
	} else {
		d.most = max(1, d.most-less)
	}
	return trips
}

// leaveTrip takes a trip out of the plan.
type leaveTrip struct{}

func (leaveTrip) change(_ *world, trips []trip, random *rand.Rand) []trip {
	i := random.IntN(len(trips))
	return slices.Delete(trips, i, i+1)
}

// moveDrop moves a drop to another trip, and a trip without drops is gone.
type moveDrop struct{}

func (moveDrop) change(w *world, trips []trip, random *rand.Rand) []trip {
	i, j := random.IntN(len(trips)), random.IntN(len(trips))
	from, to := &trips[i], &trips[j]
	at, into := random.IntN(len(from.drops)), random.IntN(len(to.drops)+1)
	if i == j || len(to.drops) >= w.mostDrops(to.truck) {
		return trips
	}
	to.drops = slices.Insert(to.drops, into, wish{chain: from.drops[at].chain})
	from.drops = slices.Delete(from.drops, at, at+1)
	if len(from.drops) == 0 {
		return slices.Delete(trips, i, i+1)
	}
	return trips
}

// exchangeDrops lets two drops of a trip change places.
type exchangeDrops struct{}

func (exchangeDrops) change(_ *world, trips []trip, random *rand.Rand) []trip {
	t := &trips[random.IntN(len(trips))]
	i, j := random.IntN(len(t.drops)), random.IntN(len(t.drops))
	t.drops[i], t.drops[j] = t.drops[j], t.drops[i]
	return trips
}
