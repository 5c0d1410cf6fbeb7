package check

import (
	"math"
	"sort"

	"spanyard.example/services/dispatch/internal/morning"
)

// masses checks the load and both axles at departure and after every drop.
// Weights of each beam and pallet act in the middle of its pile.
func (c *checker) masses(t trip) {
	if len(t.run.AxleLoads) != len(t.run.Drops)+1 {
		c.add("axle_loads", "%s gives axle loads for %d stages instead of %d", t.name, len(t.run.AxleLoads), len(t.run.Drops)+1)
		return
	}
	var whole int64
	for _, item := range items(t.run) {
		whole += item.MassG
	}
	if whole != t.run.MassG {
		c.add("run_mass", "%s is said to carry %d g and carries %d g", t.name, t.run.MassG, whole)
	}
	if whole > int64(t.truck.PayloadKg)*1000 {
		c.add("payload", "%s carries %d g, more than its payload of %d kg", t.name, whole, t.truck.PayloadKg)
	}
	if gross := c.grossG(t, 0); gross > int64(t.truck.MaxGrossKg)*1000 {
		c.add("gross", "%s weighs %d g, more than %d kg", t.name, gross, t.truck.MaxGrossKg)
	}
	for after := 0; after <= len(t.run.Drops); after++ {
		front, rear := float64(t.truck.TareFrontKg), float64(t.truck.TareRearKg)
		for _, p := range t.run.Piles {
			if p.DropNumber <= after {
				continue
			}
			behind := float64(t.truck.DeckStartMM) + float64(p.FromMM) + float64(p.LengthMM)/2
			var kg float64
			for _, tier := range p.Tiers {
				for _, item := range tier.Items {
					kg += float64(item.MassG) / 1000
				}
			}
			part := behind / float64(t.truck.WheelbaseMM)
			rear += kg * part
			front += kg * (1 - part)
		}
		c.axles(t, after, front, rear)
	}
}

// axles compares what rests on the axles with their limits and with what the
// plan says.
func (c *checker) axles(t trip, after int, front, rear float64) {
	// noise is what sums of floating-point numbers may be off by, in kg.
	const noise = 1e-6
	if front > float64(t.truck.MaxFrontKg)+noise {
		c.add("front_axle", "%s: after drop %d the front axle carries %.1f kg, more than %d kg", t.name, after, front, t.truck.MaxFrontKg)
	}
	if rear > float64(t.truck.MaxRearKg)+noise {
		c.add("rear_axle", "%s: after drop %d the rear axle carries %.1f kg, more than %d kg", t.name, after, rear, t.truck.MaxRearKg)
	}
	if front < -noise {
		c.add("front_axle", "%s: after drop %d the load lifts the front axle", t.name, after)
	}
	said := t.run.AxleLoads[after]
	if said.AfterDrop != after || math.Abs(float64(said.FrontKg)-front) > 0.5+noise || math.Abs(float64(said.RearKg)-rear) > 0.5+noise {
		c.add("axle_loads", "%s: after drop %d the plan says %d and %d kg; it is %.1f and %.1f kg",
			t.name, after, said.FrontKg, said.RearKg, front, rear)
	}
}

// grossG is the truck with what is still on it after so many drops.
func (c *checker) grossG(t trip, after int) int64 {
	sum := int64(t.truck.TareFrontKg)*1000 + int64(t.truck.TareRearKg)*1000
	for _, p := range t.run.Piles {
		if p.DropNumber > after {
			for _, tier := range p.Tiers {
				for _, item := range tier.Items {
					sum += item.MassG
				}
			}
		}
	}
	return sum
}

// access checks that the truck can get to each site as it arrives there, and
// be unloaded. What hangs over the tail makes the vehicle longer; it counts
// for the whole trip.
func (c *checker) access(t trip) {
	length := t.truck.OverallLengthMM
	for _, p := range t.run.Piles {
		length = max(length, t.truck.OverallLengthMM+p.FromMM+p.LengthMM-t.truck.DeckLengthMM)
	}
	if most := t.truck.MaxDrops; most > 0 && len(t.sites) > most {
		c.add("max_drops", "%s goes to %d sites; the truck goes to %d at most", t.name, len(t.sites), most)
	}
	for d, s := range t.sites {
		if gross := c.grossG(t, d); s.MaxGrossKg > 0 && gross > int64(s.MaxGrossKg)*1000 {
			c.add("site_gross", "%s arrives at %s with %d g; the site takes %d kg", t.name, s.ID, gross, s.MaxGrossKg)
		}
		if s.MaxVehicleLengthMM > 0 && length > s.MaxVehicleLengthMM {
			c.add("site_length", "%s is %d mm long; %s takes %d mm", t.name, length, s.ID, s.MaxVehicleLengthMM)
		}
		if !t.truck.HasCrane && !s.HasLifting {
			c.add("lifting", "%s has no crane and %s cannot lift", t.name, s.ID)
		}
	}
}

// times drives the run again and compares every time.
func (c *checker) times(t trip) {
	rules, r := c.problem.Rules, t.run
	if r.LoadingMinute < t.truck.Hours.OpensMinute || r.BackMinute > t.truck.Hours.ClosesMinute {
		c.add("truck_hours", "%s is out from minute %d to %d, outside its hours", t.name, r.LoadingMinute, r.BackMinute)
	}
	if r.LoadingMinute < c.problem.EarliestLoadingMinute {
		c.add("too_soon", "%s starts loading at minute %d; the earliest is %d", t.name, r.LoadingMinute, c.problem.EarliestLoadingMinute)
	}
	if need := rules.LoadingMinutes + len(r.Piles)*rules.LoadingMinutesPerPile; r.LeaveMinute-r.LoadingMinute < need {
		c.add("loading_time", "%s is loaded in %d minutes instead of %d", t.name, r.LeaveMinute-r.LoadingMinute, need)
	}
	yard := &morning.Site{Place: rules.Place}
	at, now, metres := yard, r.LeaveMinute, 0
	for d, s := range t.sites {
		drop := r.Drops[d]
		leg, drive := c.leg(at, &s)
		metres += leg
		if drop.ArriveMinute < now+drive {
			c.add("travel_time", "%s cannot be at %s before minute %d", t.name, s.ID, now+drive)
		}
		if drop.UnloadMinute < drop.ArriveMinute {
			c.add("travel_time", "%s unloads at %s before it arrives", t.name, s.ID)
		}
		if drop.UnloadMinute < s.Opens.OpensMinute || drop.UnloadMinute > s.Opens.ClosesMinute {
			c.add("site_hours", "%s unloads at %s at minute %d while it is closed", t.name, s.ID, drop.UnloadMinute)
		}
		c.windows(t, d)
		piles := 0
		for _, p := range r.Piles {
			if p.DropNumber == d+1 {
				piles++
			}
		}
		if need := s.UnloadFixedMinutes + piles*s.UnloadMinutesPerPile; drop.LeaveMinute-drop.UnloadMinute < need {
			c.add("unloading_time", "%s has %d minutes at %s and needs %d", t.name, drop.LeaveMinute-drop.UnloadMinute, s.ID, need)
		}
		at, now = &s, drop.LeaveMinute
	}
	leg, drive := c.leg(at, yard)
	metres += leg
	if r.BackMinute < now+drive {
		c.add("travel_time", "%s cannot be back before minute %d", t.name, now+drive)
	}
	if r.DistanceM != metres {
		c.add("distance", "%s is said to drive %d m and drives %d m", t.name, r.DistanceM, metres)
	}
}

func (c *checker) windows(t trip, d int) {
	for _, p := range t.run.Piles {
		if p.DropNumber != d+1 {
			continue
		}
		for _, tier := range p.Tiers {
			for _, item := range tier.Items {
				o, ok := c.order(item.CallOffID)
				at := t.run.Drops[d].UnloadMinute
				if ok && (at < o.Window.OpensMinute || at > o.Window.ClosesMinute) {
					c.add("window", "%s unloads %s at minute %d, outside the window of call-off %s", t.name, item.PieceID, at, o.CallOffID)
				}
			}
		}
	}
}

// leg is the length of the way between two sites, of which the yard has no id,
// and the time that it takes.
func (c *checker) leg(a, b *morning.Site) (metres, takes int) {
	for _, l := range c.problem.Travel {
		if l.FromID == a.ID && l.ToID == b.ID && a.ID != b.ID {
			return l.Metres, l.Minutes
		}
	}
	metres = road(a.Place, b.Place, c.problem.Rules)
	return metres, minutes(metres, c.problem.Rules)
}

// road is the length of the road between two places, in whole metres: the
// great circle on a sphere of the earth's mean radius (6371.0088 km, IUGG),
// from the chord between the two points in space.
func road(a, b morning.Place, r morning.Rules) int {
	point := func(p morning.Place) [3]float64 {
		lat, lon := p.LatitudeDeg*math.Pi/180, p.LongitudeDeg*math.Pi/180
		return [3]float64{math.Cos(lat) * math.Cos(lon), math.Cos(lat) * math.Sin(lon), math.Sin(lat)}
	}
	p, q := point(a), point(b)
	chord := math.Hypot(math.Hypot(p[0]-q[0], p[1]-q[1]), p[2]-q[2])
	crow := 2 * 6371008.8 * math.Asin(math.Min(1, chord/2))
	return int(math.Round(crow * float64(r.RoadFactorPercent) / 100))
}

// minutes is the driving time for a distance, rounded up.
func minutes(metres int, r morning.Rules) int {
	return int(math.Ceil(float64(metres) * 60 / 1000 / float64(r.SpeedKmPerH)))
}

// stay is a stretch of time that something is taken, end not included.
type stay struct {
	from, to  int
	confirmed bool
}

// trucksAreFree checks that the trips of a truck, confirmed ones among them,
// follow one another, and that their numbers differ and rise.
func (c *checker) trucksAreFree() {
	type number struct {
		truck string
		trip  int
	}
	taken := map[string][]stay{}
	numbers := map[number]bool{}
	last := map[string]int{}
	for _, b := range c.problem.Busy {
		taken[b.TruckID] = append(taken[b.TruckID], stay{b.LoadingMinute, b.BackMinute, true})
		numbers[number{b.TruckID, b.Trip}] = true
	}
	for i, r := range c.plan.Runs {
		taken[r.TruckID] = append(taken[r.TruckID], stay{r.LoadingMinute, r.BackMinute, false})
		if numbers[number{r.TruckID, r.Trip}] || r.Trip < 1 {
			c.add("trip_number", "run %d: truck %s makes trip %d already", i+1, r.TruckID, r.Trip)
		}
		numbers[number{r.TruckID, r.Trip}] = true
		if r.Trip < last[r.TruckID] {
			c.add("trip_number", "run %d: trips of truck %s are not in order", i+1, r.TruckID)
		}
		last[r.TruckID] = r.Trip
	}
	for truck, stays := range taken {
		sort.Slice(stays, func(a, b int) bool { return stays[a].from < stays[b].from })
		for i := 1; i < len(stays); i++ {
			a, b := stays[i-1], stays[i]
			if b.from < a.to && !(a.confirmed && b.confirmed) {
				c.add("truck_busy", "truck %s is to start loading at minute %d and is out on a run until %d", truck, b.from, a.to)
			}
		}
	}
}

// sitesHavePlaces counts, minute by minute, the trucks being unloaded. What
// confirmed runs do to each other is not this plan's doing.
func (c *checker) sitesHavePlaces() {
	for _, s := range c.problem.Sites {
		taken, ours := map[int]int{}, map[int]bool{}
		for _, b := range c.problem.Busy {
			for _, stop := range b.Stops {
				for m := stop.UnloadMinute; stop.SiteID == s.ID && m < stop.LeaveMinute; m++ {
					taken[m]++
				}
			}
		}
		for _, r := range c.plan.Runs {
			for _, d := range r.Drops {
				for m := d.UnloadMinute; d.SiteID == s.ID && m < d.LeaveMinute; m++ {
					taken[m]++
					ours[m] = true
				}
			}
		}
		for m := range ours {
			if taken[m] > max(1, s.Places) {
				c.add("site_places", "%s unloads %d trucks at minute %d; it has places for %d", s.ID, taken[m], m, max(1, s.Places))
				break
			}
		}
	}
}
