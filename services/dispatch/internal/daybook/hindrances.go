package daybook

import (
	"cmp"
	"fmt"
	"slices"

	"spanyard.example/services/kit/fault"
)

// Hindrance is a truck that stands still, or a site that is closed, for a part
// of a day.
type Hindrance struct {
	TruckID, SiteID string
	// FromMinute is the first minute; UntilMinute the first after it, 0 for the end
	// of the day.
	FromMinute, UntilMinute int
	Reason                  string
}

// until is the first minute after it.
func (h *Hindrance) until() int {
	if h.UntilMinute == 0 {
		return dayMinutes
	}
	return h.UntilMinute
}

const dayMinutes = 24 * 60

// Hinder takes note of a hindrance. Another one of the same truck or site on the
// day is replaced.
type Hinder struct {
	Day       string
	Hindrance Hindrance
}

func (c Hinder) decide(s State) ([]Event, error) {
	if err := s.opened(); err != nil {
		return nil, err
	}
	if err := validDay(c.Day); err != nil {
		return nil, err
	}
	h := c.Hindrance
	f := newFindings("BAD_HINDRANCE", "What is said to hinder the day cannot be used as it is.")
	f.number("from_minute", h.FromMinute, 0, dayMinutes-1)
	f.number("until_minute", h.UntilMinute, 0, dayMinutes)
	if h.UntilMinute != 0 && h.UntilMinute <= h.FromMinute {
		f.add("until_minute", clockTime(h.UntilMinute), "is not after "+clockTime(h.FromMinute), "a later time, or none for the rest of the day")
	}
	f.text("reason", h.Reason, 500)
	switch {
	case (h.TruckID == "") == (h.SiteID == ""):
		f.add("truck_id, site_id", "", "say which truck stands still, or which site is closed", "one of the two")
	case h.TruckID != "":
		f.hinderedTruck(s, h)
	default:
		f.hinderedSite(s, h)
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	if slices.Contains(s.Hindrances(c.Day), h) {
		return nil, nil
	}
	return []Event{DayHindered(c)}, nil
}

func (f *findings) hinderedTruck(s State, h Hindrance) {
	if !slices.ContainsFunc(s.trucks, func(t Truck) bool { return t.ID == h.TruckID }) {
		f.add("truck_id", h.TruckID, "is no truck of this yard", "ids from the list of trucks")
		return
	}
	// A truck that drives again later is said to when it does.
	if h.UntilMinute != 0 && h.FromMinute > 0 {
		f.add("until_minute", clockTime(h.UntilMinute), "a truck stands still from an hour on, or until an hour", "one of the two")
	}
}

func (f *findings) hinderedSite(s State, h Hindrance) {
	site, ok := s.Site(h.SiteID)
	if !ok {
		f.add("site_id", h.SiteID, "is no site of this yard", "ids from the list of sites")
		return
	}
	if h.FromMinute > site.Opens.OpensMinute && h.until() <= site.Opens.ClosesMinute {
		f.add("until_minute", clockTime(h.until()), "a site is closed from an hour on, or until an hour", "one of the two")
	}
}

// EndHindrance takes note that a truck drives again, or that a site is open.
type EndHindrance struct{ Day, TruckID, SiteID string }

func (c EndHindrance) decide(s State) ([]Event, error) {
	if !slices.ContainsFunc(s.Hindrances(c.Day), func(h Hindrance) bool { return h.TruckID == c.TruckID && h.SiteID == c.SiteID }) {
		return nil, fault.New(fault.NotFound, "NO_HINDRANCE", "Nothing is known to hinder %s%s on %s.", c.TruckID, c.SiteID, c.Day)
	}
	return []Event{HindranceEnded(c)}, nil
}

// Hindrances of a day.
func (s State) Hindrances(day string) []Hindrance { return s.day(day).hindrances }

func (s State) hindered(e DayHindered) State {
	return s.withDay(e.Day, func(d *dayBook) {
		d.hindrances = append(d.others(e.Hindrance.TruckID, e.Hindrance.SiteID), e.Hindrance)
		d.changes++
	})
}

// others are the hindrances of other trucks and sites.
func (d *dayBook) others(truckID, siteID string) []Hindrance {
	return slices.DeleteFunc(slices.Clone(d.hindrances), func(h Hindrance) bool { return h.TruckID == truckID && h.SiteID == siteID })
}

// DelayRun takes note that what is left of a run is later.
type DelayRun struct {
	RunID   string
	Minutes int
	Reason  string
}

func (c DelayRun) decide(s State) ([]Event, error) {
	r, err := s.run(c.RunID)
	if err != nil {
		return nil, err
	}
	if c.Minutes < 1 || c.Minutes > 720 {
		return nil, fault.New(fault.Invalid, "BAD_DELAY", "The delay cannot be used as it is.").
			At("minutes", fmt.Sprint(c.Minutes), "is outside what is allowed", "1 to 720")
	}
	if r.State != RunConfirmedState && r.State != RunHitState && r.State != RunDepartedState {
		return nil, fault.New(fault.Stale, "RUN_OVER", "Run %s is %s and cannot be late any more.", c.RunID, r.State)
	}
	return []Event{RunDelayed(c)}, nil
}

func (s State) delayed(e RunDelayed) State {
	r, ok := s.runs.Get(e.RunID)
	if !ok {
		return s
	}
	s = s.withRun(e.RunID, func(r *RunStatus) {
		r.Exchanged = true
		if !r.Departed() {
			r.Run.LoadingMinute += e.Minutes
			r.Run.LeaveMinute += e.Minutes
		}
		r.Run.Drops = slices.Clone(r.Run.Drops)
		for i := range r.Run.Drops {
			if d := &r.Run.Drops[i]; !slices.Contains(r.Delivered, d.Number) {
				d.ArriveMinute += e.Minutes
				d.UnloadMinute += e.Minutes
				d.LeaveMinute += e.Minutes
			}
		}
		r.Run.BackMinute += e.Minutes
	})
	return s.withDay(r.Day, func(d *dayBook) { d.changes++ })
}

// HitRun is a confirmed run that cannot go as it is.
type HitRun struct{ RunID, Sentence string }

// HitRuns are the runs of a day that have not left and cannot go as they were
// confirmed: their truck stands still or is late, or their site is closed. With
// stopped, those are among them that something in them stops.
func (s State) HitRuns(day string, stopped bool) []HitRun {
	var out []HitRun
	for _, r := range s.Runs(day) {
		if r.State != RunConfirmedState && r.State != RunHitState {
			continue
		}
		why := s.hitBy(day, r)
		if why == "" && stopped && r.State == RunHitState {
			why = fmt.Sprintf("is stopped: %s", r.Hits[0].Reason)
		}
		if why != "" {
			out = append(out, HitRun{r.Run.ID, why})
		}
	}
	return out
}

// hitBy says what of the day keeps a run from going; empty when nothing does.
func (s State) hitBy(day string, r *RunStatus) string {
	for _, h := range s.Hindrances(day) {
		if h.TruckID == r.Run.TruckID && h.FromMinute < r.Run.BackMinute && r.Run.LoadingMinute < h.until() {
			return fmt.Sprintf("truck %s stands still from %s: %s", h.TruckID, clockTime(h.FromMinute), h.Reason)
		}
		for _, d := range r.Run.Drops {
			if h.SiteID == d.SiteID && h.FromMinute < d.LeaveMinute && d.UnloadMinute < h.until() {
				return fmt.Sprintf("site %s is closed from %s to %s: %s", h.SiteID, clockTime(h.FromMinute), clockTime(h.until()), h.Reason)
			}
		}
	}
	for _, o := range s.Runs(day) {
		if o == r || o.State == RunCancelledState || o.Run.TruckID != r.Run.TruckID || !before(&o.Run, &r.Run) {
			continue
		}
		if o.Run.BackMinute > r.Run.LoadingMinute {
			return fmt.Sprintf("truck %s is back from run %s at %s only", r.Run.TruckID, o.Run.ID, clockTime(o.Run.BackMinute))
		}
	}
	return ""
}

// before says whether a run is loaded before another of the same truck. Trips
// are numbered within a plan: those of two plans say nothing about the hour.
func before(a, b *Run) bool {
	return cmp.Or(cmp.Compare(a.LoadingMinute, b.LoadingMinute), cmp.Compare(a.Trip, b.Trip), cmp.Compare(a.ID, b.ID)) < 0
}
