package vrp

// vehicle is the places that a vehicle comes to, one after the other, with the
// depot, 0, at both ends and between two trips.
type vehicle struct {
	places []int
	// ready is when work at a place may begin: the window of a customer, the
	// release of the trip that leaves the depot there.
	ready []float64
	// early is when it begins; late is when it may begin at the latest so that
	// all that follows is in time.
	early, late []float64
	// load of the trip that a place belongs to; a depot's is that of the trip
	// that leaves it.
	load     []float64
	distance float64
}

func newVehicle() *vehicle { return &vehicle{places: []int{0, 0}} }

func (v *vehicle) customers() int {
	n := 0
	for _, c := range v.places {
		if c != 0 {
			n++
		}
	}
	return n
}

// update works out the times after a change of the places. It drops trips that
// visit nobody.
func (v *vehicle) update(p *Problem) {
	kept := v.places[:1]
	for _, c := range v.places[1:] {
		if c == 0 && kept[len(kept)-1] == 0 && len(kept) > 1 {
			continue
		}
		kept = append(kept, c)
	}
	if len(kept) > 2 && kept[1] == 0 {
		kept = append(kept[:1], kept[2:]...)
	}
	if len(kept) == 1 {
		kept = append(kept, 0)
	}
	v.places = kept
	n := len(kept)
	v.ready, v.early, v.late, v.load = resize(v.ready, n), resize(v.early, n), resize(v.late, n), resize(v.load, n)
	v.trips(p)
	v.distance = 0
	v.early[0] = v.ready[0]
	for i := 1; i < n; i++ {
		a, b := kept[i-1], kept[i]
		v.distance += p.Distance[a][b]
		v.early[i] = max(v.ready[i], v.early[i-1]+service(p, a)+p.Distance[a][b])
	}
	v.late[n-1] = p.Close
	for i := n - 2; i >= 0; i-- {
		due := p.Close
		if kept[i] != 0 {
			due = p.Customers[kept[i]].Due
		}
		v.late[i] = min(due, v.late[i+1]-p.Distance[kept[i]][kept[i+1]]-service(p, kept[i]))
	}
}

// trips works out the release and the load of each trip, from the last to the
// first.
func (v *vehicle) trips(p *Problem) {
	n := len(v.places)
	end := n - 1
	v.ready[end], v.load[end] = 0, 0
	for end > 0 {
		start := end - 1
		release, load := 0.0, 0.0
		for v.places[start] != 0 {
			c := p.Customers[v.places[start]]
			v.ready[start] = c.Ready
			release, load = max(release, c.Release), load+c.Demand
			start--
		}
		for i := start; i < end; i++ {
			v.load[i] = load
		}
		v.ready[start] = release
		end = start
	}
}

func resize(s []float64, n int) []float64 {
	if cap(s) < n {
		return make([]float64, n, n+8)
	}
	return s[:n]
}

func service(p *Problem, place int) float64 {
	if place == 0 {
		return 0
	}
	return p.Customers[place].Service
}

// fits says whether a customer may be put before the place with an index, in the
// trip that goes there.
func (v *vehicle) fits(p *Problem, c, at int) bool {
	who := &p.Customers[c]
	if v.load[at-1]+who.Demand > p.Capacity {
		return false
	}
	from := at - 1
	begin := v.early[from]
	// A release later than that of the trip delays all of it.
	depot := from
	for who.Release > 0 && v.places[depot] != 0 {
		depot--
	}
	if who.Release > 0 && who.Release > v.early[depot] {
		if begin = who.Release; begin > v.late[depot] {
			return false
		}
		for i := depot + 1; i <= from; i++ {
			a, b := v.places[i-1], v.places[i]
			begin = max(v.ready[i], begin+service(p, a)+p.Distance[a][b])
			if begin > v.late[i] {
				return false
			}
		}
	}
	a, b := v.places[from], v.places[at]
	start := max(who.Ready, begin+service(p, a)+p.Distance[a][c])
	return start <= who.Due && start+who.Service+p.Distance[c][b] <= v.late[at]
}

// fitsAlone says whether a customer may get a trip of its own that begins at the
// depot with an index.
func (v *vehicle) fitsAlone(p *Problem, c, at int) bool {
	who := &p.Customers[c]
	// What is known of the depot there counts the release of the next trip in.
	begin := 0.0
	if at > 0 {
		a := v.places[at-1]
		begin = v.early[at-1] + service(p, a) + p.Distance[a][0]
	}
	begin = max(begin, who.Release)
	start := max(who.Ready, begin+p.Distance[0][c])
	back := start + who.Service + p.Distance[c][0]
	return start <= who.Due && back <= v.late[at]
}

// insert puts a customer before the place with an index.
func (v *vehicle) insert(p *Problem, c, at int) {
	v.places = append(v.places, 0)
	copy(v.places[at+1:], v.places[at:])
	v.places[at] = c
	v.update(p)
}

// insertAlone gives a customer a trip of its own that begins at the depot with
// an index.
func (v *vehicle) insertAlone(p *Problem, c, at int) {
	v.places = append(v.places, 0, 0)
	copy(v.places[at+2:], v.places[at:])
	v.places[at], v.places[at+1] = 0, c
	v.update(p)
}

func (v *vehicle) clone() *vehicle {
	return &vehicle{
		places: append([]int(nil), v.places...), ready: append([]float64(nil), v.ready...), early: append([]float64(nil), v.early...),
		late: append([]float64(nil), v.late...), load: append([]float64(nil), v.load...), distance: v.distance,
	}
}

// tour returns the trips of a vehicle.
func (v *vehicle) tour() Tour {
	var t Tour
	for _, c := range v.places[:len(v.places)-1] {
		if c == 0 {
			t = append(t, nil)
			continue
		}
		t[len(t)-1] = append(t[len(t)-1], c)
	}
	return t
}
