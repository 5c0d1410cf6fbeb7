package vrp

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// Settings of the search, as in the paper where it names them.
const (
	ruinedOnAverage = 10
	longestString   = 10
	blink           = 0.01
	keepSplit       = 0.01
	// hottest is the temperature at the start in mean legs, coldest the part of
	// it at the end; tried on the public sets.
	hottest = 8
	coldest = 0.003
	// fleetShare is how much of a search goes into getting rid of vehicles at
	// most.
	fleetShare = 0.4
)

// Solve plans tours within a budget. It returns the best that it found, which
// leaves customers absent only when it found no tours for all of them.
func Solve(p Problem, b Budget) (Solution, error) {
	if err := p.check(); err != nil {
		return Solution{}, err
	}
	s := newSearch(&p, b)
	s.recreate()
	s.keep()
	if p.FewestVehicles {
		s.fewerVehicles()
	}
	s.anneal()
	return s.solution(), nil
}

// search is the tours while they are ruined and recreated.
type search struct {
	p      *Problem
	budget Budget
	random *rand.Rand
	// near are the customers next to each, itself first.
	near     [][]int
	vehicles []*vehicle
	// at is the vehicle of each customer; -1 for those that are absent.
	at     []int
	absent []int
	// missed counts how often a customer could not be taken in.
	missed []int
	best   []*vehicle
	// bestAbsent are left out of the best tours.
	bestAbsent []int
	iterations int
	most       int
}

func newSearch(p *Problem, b Budget) *search {
	n := len(p.Customers)
	s := &search{p: p, budget: b, random: rand.New(rand.NewPCG(b.Seed, 17)), at: make([]int, n), missed: make([]int, n), most: p.Vehicles}
	for i := 1; i < n; i++ {
		s.at[i] = -1
		s.absent = append(s.absent, i)
	}
	s.near = make([][]int, n)
	for i := 1; i < n; i++ {
		for j := 1; j < n; j++ {
			s.near[i] = append(s.near[i], j)
		}
		slices.SortStableFunc(s.near[i], func(a, b int) int { return cmp.Compare(p.Distance[i][a], p.Distance[i][b]) })
	}
	return s
}

// spent returns how much of the search is over.
func (s *search) spent() float64 {
	done := 0.0
	if s.budget.Iterations > 0 {
		done = float64(s.iterations) / float64(s.budget.Iterations)
	}
	if s.budget.Spent != nil {
		done = max(done, s.budget.Spent())
	}
	return done
}

// distance of all tours.
func (s *search) distance() float64 {
	sum := 0.0
	for _, v := range s.vehicles {
		sum += v.distance
	}
	return sum
}

// keep remembers the tours as the best.
func (s *search) keep() {
	s.best = s.best[:0]
	for _, v := range s.vehicles {
		s.best = append(s.best, v.clone())
	}
	s.bestAbsent = slices.Clone(s.absent)
}

// back takes up the best tours again.
func (s *search) back() {
	s.vehicles = s.vehicles[:0]
	for i := range s.at {
		s.at[i] = -1
	}
	for _, v := range s.best {
		s.vehicles = append(s.vehicles, v.clone())
	}
	s.number()
	s.absent = slices.Clone(s.bestAbsent)
}

// number writes down which vehicle visits whom.
func (s *search) number() {
	for i, v := range s.vehicles {
		for _, c := range v.places {
			if c != 0 {
				s.at[c] = i
			}
		}
	}
}

// undo are the vehicles that an attempt changes, as they were.
type undo struct {
	vehicles []*vehicle
	absent   []int
	count    int
}

// attempt ruins and recreates, and returns how the tours were.
func (s *search) attempt() undo {
	u := undo{absent: slices.Clone(s.absent), count: len(s.vehicles)}
	u.vehicles = slices.Clone(s.vehicles)
	s.iterations++
	s.ruin()
	s.recreate()
	return u
}

func (s *search) restore(u undo) {
	s.vehicles = append(s.vehicles[:0], u.vehicles...)
	for _, c := range s.absent {
		s.at[c] = -1
	}
	s.number()
	s.absent = u.absent
	for _, c := range s.absent {
		s.at[c] = -1
	}
}

// fewerVehicles takes one vehicle after the other away, as long as the others
// can take in whom it visited.
func (s *search) fewerVehicles() {
	demand := 0.0
	for _, c := range s.p.Customers[1:] {
		demand += c.Demand
	}
	least := int(math.Ceil(demand/s.p.Capacity - 1e-9))
	for len(s.bestAbsent) > 0 || len(s.best) > least {
		if len(s.bestAbsent) == 0 {
			s.back()
			s.dissolve()
		}
		if !s.takeIn() {
			break
		}
		s.keep()
		s.most = len(s.vehicles)
	}
	s.back()
	s.most = max(len(s.vehicles), 1)
	if len(s.bestAbsent) > 0 {
		s.most = s.p.Vehicles
	}
}

// dissolve leaves out whom the vehicle visits that is easiest to do without.
func (s *search) dissolve() {
	easiest, least := -1, 0
	for i, v := range s.vehicles {
		sum := 0
		for _, c := range v.places {
			sum += s.missed[c]
		}
		if easiest < 0 || sum < least {
			easiest, least = i, sum
		}
	}
	for _, c := range s.vehicles[easiest].places {
		if c != 0 {
			s.absent = append(s.absent, c)
			s.at[c] = -1
		}
	}
	s.vehicles = slices.Delete(s.vehicles, easiest, easiest+1)
	s.most = len(s.vehicles)
	s.number()
}

// takeIn searches until nobody is absent; false when the time for it is over.
func (s *search) takeIn() bool {
	weight := func(list []int) int {
		sum := 0
		for _, c := range list {
			sum += s.missed[c]
		}
		return sum
	}
	now := s.distance()
	for len(s.absent) > 0 {
		if s.spent() >= fleetShare {
			return false
		}
		u := s.attempt()
		for _, c := range s.absent {
			s.missed[c]++
		}
		then := s.distance()
		fewer := len(s.absent) < len(u.absent) || weight(s.absent) < weight(u.absent)
		same := len(s.absent) <= len(u.absent) && then < now-s.temperature()*math.Log(s.random.Float64())
		if !fewer && !same {
			s.restore(u)
			continue
		}
		now = then
	}
	return true
}

// temperature falls with what is spent, from the mean distance of a leg.
func (s *search) temperature() float64 {
	hot := s.distance() / float64(len(s.p.Customers))
	return hot * math.Pow(coldest, min(1, s.spent()))
}

// anneal looks for shorter tours until the budget is spent.
func (s *search) anneal() {
	now := s.distance()
	best := now
	bestAbsent := len(s.absent)
	hot := hottest * max(now, 1) / float64(len(s.p.Customers))
	began := s.spent()
	heat := hot
	for i := 0; ; i++ {
		if i%32 == 0 {
			done := s.spent()
			if done >= 1 {
				return
			}
			heat = hot * math.Pow(coldest, (done-began)/max(1e-9, 1-began))
		}
		u := s.attempt()
		then := s.distance()
		if len(s.absent) > len(u.absent) || len(s.absent) == len(u.absent) && then >= now-heat*math.Log(s.random.Float64()) {
			s.restore(u)
			continue
		}
		now = then
		if len(s.absent) < bestAbsent || len(s.absent) == bestAbsent && then < best-1e-9 {
			best, bestAbsent = then, len(s.absent)
			s.keep()
		}
	}
}

// ruin leaves out strings of neighbours around a customer.
func (s *search) ruin() {
	mean := 0.0
	for _, v := range s.vehicles {
		mean += float64(v.customers())
	}
	mean /= max(1, float64(len(s.vehicles)))
	longest := max(1, min(longestString, mean))
	strings := int(1 + s.random.Float64()*(4*ruinedOnAverage/(1+longest)-1))
	ruined := map[int]bool{}
	for _, c := range s.near[1+s.random.IntN(len(s.p.Customers)-1)] {
		if len(ruined) >= strings {
			break
		}
		i := s.at[c]
		if i < 0 || ruined[i] {
			continue
		}
		ruined[i] = true
		s.cut(i, c, longest)
	}
	kept := s.vehicles[:0:0]
	for _, v := range s.vehicles {
		if v.customers() > 0 {
			kept = append(kept, v)
		}
	}
	if len(kept) < len(s.vehicles) {
		s.vehicles = kept
		s.number()
	}
}

// cut leaves out a string of a vehicle's customers around one of them; in every
// second it spares some in the middle.
func (s *search) cut(i, c int, longest float64) {
	v := s.vehicles[i].clone()
	s.vehicles[i] = v
	var stops []int // indices of customers
	own := 0
	for at, place := range v.places {
		if place == c {
			own = len(stops)
		}
		if place != 0 {
			stops = append(stops, at)
		}
	}
	length := int(1 + s.random.Float64()*min(longest, float64(len(stops))))
	length = min(length, len(stops))
	spared := 0
	if length > 1 && s.random.Float64() < 0.5 {
		for spared = 1; length+spared < len(stops) && s.random.Float64() > keepSplit; spared++ {
			if s.random.Float64() < 0.5 {
				break
			}
		}
	}
	whole := min(length+spared, len(stops))
	first := max(0, min(own-s.random.IntN(whole), len(stops)-whole))
	spareFrom := -1
	if spared > 0 && whole > spared {
		spareFrom = first + s.random.IntN(whole-spared+1)
	}
	gone := map[int]bool{}
	for k := first; k < first+whole; k++ {
		if spareFrom >= 0 && k >= spareFrom && k < spareFrom+spared {
			continue
		}
		gone[stops[k]] = true
	}
	kept := v.places[:0]
	for at, place := range v.places {
		if gone[at] {
			s.absent = append(s.absent, place)
			s.at[place] = -1
			continue
		}
		kept = append(kept, place)
	}
	v.places = kept
	v.update(s.p)
}

// recreate takes absent customers in, each where it costs least.
func (s *search) recreate() {
	s.order()
	waiting := s.absent
	s.absent = nil
	own := map[int]bool{} // vehicles that are this attempt's own copies
	for _, c := range waiting {
		i, at, alone := s.cheapest(c)
		if i < 0 {
			s.absent = append(s.absent, c)
			continue
		}
		if i == len(s.vehicles) {
			v := newVehicle()
			v.update(s.p)
			s.vehicles = append(s.vehicles, v)
			own[i] = true
		} else if !own[i] {
			s.vehicles[i] = s.vehicles[i].clone()
			own[i] = true
		}
		if alone {
			s.vehicles[i].insertAlone(s.p, c, at)
		} else {
			s.vehicles[i].insert(s.p, c, at)
		}
		s.at[c] = i
	}
}

// order sorts the absent: by chance, by demand, by how far or near they are, by
// their windows.
func (s *search) order() {
	p, list := s.p, s.absent
	s.random.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
	var key func(c int) float64
	switch roll := s.random.IntN(17); {
	case roll < 4:
		return
	case roll < 8:
		key = func(c int) float64 { return -p.Customers[c].Demand }
	case roll < 10:
		key = func(c int) float64 { return -p.Distance[0][c] }
	case roll < 11:
		key = func(c int) float64 { return p.Distance[0][c] }
	case roll < 13:
		key = func(c int) float64 { return p.Customers[c].Due - p.Customers[c].Ready }
	case roll < 15:
		key = func(c int) float64 { return p.Customers[c].Ready }
	default:
		key = func(c int) float64 { return -p.Customers[c].Due }
	}
	slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(key(a), key(b)) })
}

// cheapest returns the vehicle and the place before which a customer costs
// least, and whether it gets a trip of its own there; a vehicle past the last is
// a new one, -1 none.
func (s *search) cheapest(c int) (best, at int, alone bool) {
	best = -1
	least := math.Inf(1)
	d := s.p.Distance
	for i, v := range s.vehicles {
		for k := 1; k < len(v.places); k++ {
			a, b := v.places[k-1], v.places[k]
			cost := d[a][c] + d[c][b] - d[a][b]
			if cost < least && (s.random.Float64() >= blink) && v.fits(s.p, c, k) {
				least, best, at, alone = cost, i, k, false
			}
		}
		if !s.p.Trips {
			continue
		}
		for k, place := range v.places {
			if cost := d[0][c] + d[c][0]; place == 0 && cost < least && v.fitsAlone(s.p, c, k) {
				least, best, at, alone = cost, i, k, true
			}
		}
	}
	if cost := d[0][c] + d[c][0]; len(s.vehicles) < s.most && (best < 0 || !s.p.FewestVehicles && cost < least) {
		return len(s.vehicles), 1, false
	}
	return best, at, alone
}

func (s *search) solution() Solution {
	out := Solution{Absent: slices.Clone(s.bestAbsent), Iterations: s.iterations}
	for _, v := range s.best {
		if v.customers() > 0 {
			out.Tours = append(out.Tours, v.tour())
			out.Distance += v.distance
		}
	}
	slices.Sort(out.Absent)
	return out
}
