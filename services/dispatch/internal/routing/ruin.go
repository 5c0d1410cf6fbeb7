package routing

import (
	"cmp"
	"math/rand/v2"
	"slices"

	"spanyard.example/services/dispatch/internal/lns"
)

// given is how likely a drop that was taken out of a trip goes to one of the trips
// nearby; otherwise it is planned anew.
const given = 0.5

// ruin takes drops near one another out of their trips and gives some of them to
// others of these trips. What is left over is planned anew by construct.
type ruin struct{}

func (ruin) change(w *world, trips []trip, random *rand.Rand) []trip {
	v := nearby{world: w, trips: trips}
	for i := range trips {
		for j := range trips[i].drops {
			v.drops = append(v.drops, visit{i, j})
		}
	}
	var strings lns.Ruin
	taken := strings.Stops(&v, random.IntN(len(v.drops)), random)
	out := make([]trip, len(trips))
	for i := range trips {
		out[i].truck = trips[i].truck
	}
	for d, at := range v.drops {
		if !slices.Contains(taken, d) {
			out[at.trip].drops = append(out[at.trip].drops, trips[at.trip].drops[at.drop])
		}
	}
	for _, i := range random.Perm(len(taken)) {
		near := v.drops[taken[random.IntN(len(taken))]].trip
		if t := &out[near]; random.Float64() < given && len(t.drops) < w.mostDrops(t.truck) {
			t.drops = slices.Insert(t.drops, random.IntN(len(t.drops)+1), wish{chain: v.chain(taken[i])})
		}
	}
	return slices.DeleteFunc(out, func(t trip) bool { return len(t.drops) == 0 })
}

// visit is a drop of a trip.
type visit struct{ trip, drop int }

// nearby are all drops of some trips, as a ruin sees them.
type nearby struct {
	*world
	trips []trip
	drops []visit
}

func (v *nearby) Tours() int        { return len(v.trips) }
func (v *nearby) Served() int       { return len(v.drops) }
func (v *nearby) Tour(drop int) int { return v.drops[drop].trip }

func (v *nearby) Stops(tour int, into []int) []int {
	for d, at := range v.drops {
		if at.trip == tour {
			into = append(into, d)
		}
	}
	return into
}

// Near are the drops by the way from one to the other, itself first.
func (v *nearby) Near(drop int) []int {
	out := make([]int, len(v.drops))
	for i := range out {
		out[i] = i
	}
	from := v.roads.metres[v.chain(drop)+1]
	way := func(d int) int {
		if d == drop {
			return -1
		}
		return from[v.chain(d)+1]
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(way(a), way(b)) })
	return out
}

func (v *nearby) chain(drop int) int {
	return v.trips[v.drops[drop].trip].drops[v.drops[drop].drop].chain
}
