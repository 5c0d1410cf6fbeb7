package check

import (
	"sort"

	"spanyard.example/services/dispatch/internal/morning"
)

// baysAreFree counts, minute by minute, the trucks being loaded: each stands in a
// bay and has a forklift. What confirmed runs do to each other is not this plan's
// doing.
func (c *checker) baysAreFree() {
	rules := c.problem.Rules
	if rules.LoadingBays == 0 && rules.Forklifts == 0 {
		return
	}
	taken, ours := map[int]int{}, map[int]bool{}
	for _, b := range c.problem.Busy {
		for m := b.LoadingMinute; m < b.LeaveMinute; m++ {
			taken[m]++
		}
	}
	for _, r := range c.plan.Runs {
		for m := r.LoadingMinute; m < r.LeaveMinute; m++ {
			taken[m]++
			ours[m] = true
		}
	}
	for m := range ours {
		if bays := rules.LoadingBays; bays > 0 && taken[m] > bays {
			c.add("loading_bays", "%d trucks are loaded at minute %d; the yard has %d bays", taken[m], m, bays)
			return
		}
		if forklifts := rules.Forklifts; forklifts > 0 && taken[m] > forklifts {
			c.add("forklifts", "%d trucks are loaded at minute %d; the yard has %d forklifts", taken[m], m, forklifts)
			return
		}
	}
}

// driversRest adds up what the driver of each truck drives, in all and between
// breaks.
func (c *checker) driversRest() {
	rules := c.problem.Rules.Driver
	type trip struct{ loading, back, driving int }
	trips := map[string][]trip{}
	ours := map[string]bool{}
	for _, b := range c.problem.Busy {
		trips[b.TruckID] = append(trips[b.TruckID], trip{b.LoadingMinute, b.BackMinute, b.DrivingMinutes})
	}
	for i := range c.plan.Runs {
		r := &c.plan.Runs[i]
		trips[r.TruckID] = append(trips[r.TruckID], trip{r.LoadingMinute, r.BackMinute, c.driving(r)})
		ours[r.TruckID] = true
	}
	for truck, list := range trips {
		if !ours[truck] {
			continue
		}
		sort.Slice(list, func(a, b int) bool { return list[a].loading < list[b].loading })
		day, sinceBreak := 0, 0
		for i, t := range list {
			if i > 0 && t.loading-list[i-1].back >= rules.BreakMinutes {
				sinceBreak = 0
			}
			day += t.driving
			sinceBreak += t.driving
			if most := rules.DrivingBeforeBreakMinutes; most > 0 && sinceBreak > most {
				c.add("driver_break", "the driver of %s drives %d minutes without a break of %d; %d are allowed", truck, sinceBreak, rules.BreakMinutes, most)
				break
			}
		}
		if most := rules.MaxDrivingMinutes; most > 0 && day > most {
			c.add("driver_day", "the driver of %s drives %d minutes; %d are allowed", truck, day, most)
		}
	}
}

// driving is the time that a run spends on the road.
func (c *checker) driving(r *morning.Run) int {
	yard := &morning.Site{Place: c.problem.Rules.Place}
	at, sum := yard, 0
	for _, d := range r.Drops {
		for i := range c.problem.Sites {
			if s := &c.problem.Sites[i]; s.ID == d.SiteID {
				_, takes := c.leg(at, s)
				at, sum = s, sum+takes
				break
			}
		}
	}
	_, takes := c.leg(at, yard)
	return sum + takes
}

// crewsHaveRoom lays, at each site whose pace is known, what was brought, and
// looks at what lies there after each delivery, and how long the crew waits.
func (c *checker) crewsHaveRoom() {
	waited := 0
	for i := range c.problem.Sites {
		s := &c.problem.Sites[i]
		if s.LaidPerHour == 0 {
			continue
		}
		if brought, ours := c.broughtTo(s); ours {
			waited += c.crewHasRoom(s, brought)
		}
	}
	if waited != c.plan.CrewWaitingMinutes {
		c.add("crew_waiting", "crews are said to wait %d minutes and wait %d", c.plan.CrewWaitingMinutes, waited)
	}
}

// arrival is what a run has unloaded at a site by a minute.
type arrival struct {
	minute, beams int
	ours          bool
}

// broughtTo lists what is brought to a site, and says whether the plan goes
// there.
func (c *checker) broughtTo(s *morning.Site) (out []arrival, visited bool) {
	for _, b := range c.problem.Busy {
		for _, stop := range b.Stops {
			if stop.SiteID == s.ID && stop.Beams > 0 {
				out = append(out, arrival{stop.LeaveMinute, stop.Beams, false})
			}
		}
	}
	for _, r := range c.plan.Runs {
		for _, d := range r.Drops {
			beams := 0
			for _, p := range r.Piles {
				for _, t := range p.Tiers {
					for _, item := range t.Items {
						if p.DropNumber == d.Number && item.BlockCount == 0 {
							beams++
						}
					}
				}
			}
			visited = visited || d.SiteID == s.ID
			if d.SiteID == s.ID && beams > 0 {
				out = append(out, arrival{d.LeaveMinute, beams, true})
			}
		}
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].minute < out[b].minute })
	return out, visited
}

// crewHasRoom returns the minutes that the crew waits.
func (c *checker) crewHasRoom(s *morning.Site, brought []arrival) int {
	// In sixtieths of a beam, of which so many are laid a minute as beams an hour.
	lying, waited, ours := 0, 0, false
	for i, a := range brought {
		if i > 0 {
			able := (a.minute - brought[i-1].minute) * s.LaidPerHour
			if able > lying {
				waited += (able - lying) / s.LaidPerHour
				lying = 0
			} else {
				lying -= able
			}
		}
		lying += a.beams * 60
		ours = ours || a.ours
		if s.HoldsBeams > 0 && ours && lying > s.HoldsBeams*60 {
			c.add("site_holds", "at minute %d %d beams lie unlaid at %s; it holds %d", a.minute, (lying+59)/60, s.ID, s.HoldsBeams)
		}
	}
	return waited
}
