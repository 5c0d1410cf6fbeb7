package daybook

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

// Command is one decision to be taken.
type Command interface {
	decide(State) ([]Event, error)
}

// Decide returns the events that follow from a command, or a *fault.Error.
// No events and no error mean that nothing has to change.
func Decide(s State, c Command) ([]Event, error) { return c.decide(s) }

// maxPlaces bounds how many wrong values one answer names.
const maxPlaces = 100

// findings collects the wrong values of a request.
type findings struct {
	fault *fault.Error
	more  int
}

func newFindings(reason, format string, args ...any) *findings {
	return &findings{fault: fault.New(fault.Invalid, reason, format, args...)}
}

func (f *findings) add(where, value, problem, allowed string) {
	if len(f.fault.Places) == maxPlaces {
		f.more++
		return
	}
	f.fault.At(where, value, problem, allowed)
}

func (f *findings) number(where string, value, low, high int) {
	if value < low || value > high {
		f.add(where, strconv.Itoa(value), "is outside what is allowed", fmt.Sprintf("%d to %d", low, high))
	}
}

// id checks a name that people give to a thing and that files and web
// addresses carry.
func (f *findings) id(where, value string) {
	if value == "" {
		f.add(where, "", "is missing", "1 to 64 characters")
		return
	}
	if len(value) > 64 {
		f.add(where, value[:16]+"...", "is too long", "1 to 64 characters")
	}
	if !isText(value) {
		f.add(where, fmt.Sprintf("%q", value), "has characters that cannot be printed, or blanks at its ends", "letters, digits, spaces and signs")
	}
}

func isText(s string) bool {
	return utf8.ValidString(s) && strings.TrimSpace(s) == s && !strings.ContainsFunc(s, unicode.IsControl)
}

// person refuses a name that nobody could read in the book.
func person(field, name string) error {
	if name != "" && isText(name) {
		return nil
	}
	return fault.New(fault.Invalid, "BAD_NAME", "Say who does it: the name is kept in the book.").
		At(field, fmt.Sprintf("%q", name), "is no readable name", "1 to 120 printable characters")
}

func (f *findings) text(where, value string, longest int) {
	if len(value) > longest {
		f.add(where, value[:16]+"...", "is too long", fmt.Sprintf("up to %d characters", longest))
	}
}

func (f *findings) window(where string, w Window) {
	f.number(where+".opens_minute", w.OpensMinute, 0, 1440)
	f.number(where+".closes_minute", w.ClosesMinute, 0, 1440)
	if w.OpensMinute >= w.ClosesMinute {
		f.add(where, clockTime(w.OpensMinute)+" to "+clockTime(w.ClosesMinute), "closes before it opens", "a closing time after the opening time")
	}
}

func (f *findings) place(where string, p Place) {
	if !(p.LatitudeDeg >= -90 && p.LatitudeDeg <= 90) {
		f.add(where+".latitude_deg", fmt.Sprint(p.LatitudeDeg), "is no latitude", "-90 to 90 degrees")
	}
	if !(p.LongitudeDeg >= -180 && p.LongitudeDeg <= 180) {
		f.add(where+".longitude_deg", fmt.Sprint(p.LongitudeDeg), "is no longitude", "-180 to 180 degrees")
	}
}

// err returns nil when nothing was found.
func (f *findings) err() error {
	if len(f.fault.Places) == 0 {
		return nil
	}
	if f.more > 0 {
		f.fault.Sentence += fmt.Sprintf(" The first %d are named; there are %d more.", maxPlaces, f.more)
	}
	return f.fault
}

// SetRules sets the rules of loading and driving.
type SetRules struct{ Rules Rules }

func (c SetRules) decide(s State) ([]Event, error) {
	r := c.Rules
	f := newFindings("BAD_RULES", "The yard's rules cannot be used as they are.")
	if r.TimeZone == "" {
		f.add("rules.time_zone", "", "is missing", `a name such as "Etc/UTC"`)
	}
	f.place("rules.place", r.Place)
	f.number("rules.road_factor_percent", r.RoadFactorPercent, 100, 500)
	f.number("rules.speed_km_per_h", r.SpeedKMPerH, 5, 120)
	f.number("rules.loading_minutes", r.LoadingMinutes, 0, 480)
	f.number("rules.max_tiers", r.MaxTiers, 1, 30)
	f.number("rules.max_pile_height_mm", r.MaxPileHeightMM, 100, 4000)
	f.number("rules.bearer_height_mm", r.BearerHeightMM, 0, 500)
	f.number("rules.bearer_inset_mm", r.BearerInsetMM, 0, 3000)
	f.number("rules.max_overhang_mm", r.MaxOverhangMM, 0, 3000)
	f.number("rules.pile_gap_mm", r.PileGapMM, 0, 1000)
	f.number("rules.max_lanes", r.MaxLanes, 1, 4)
	f.number("rules.max_tail_overhang_mm", r.MaxTailOverhangMM, 0, 4000)
	f.number("rules.lead_minutes", r.LeadMinutes, 0, 1440)
	f.number("rules.loading_bays", r.LoadingBays, 0, 100)
	f.number("rules.forklifts", r.Forklifts, 0, 100)
	f.number("rules.loading_minutes_per_pile", r.LoadingMinutesPerPile, 0, 120)
	f.number("rules.driver.max_driving_minutes", r.Driver.MaxDrivingMinutes, 0, 1440)
	f.number("rules.driver.driving_before_break_minutes", r.Driver.DrivingBeforeBreakMinutes, 0, 1440)
	f.number("rules.driver.break_minutes", r.Driver.BreakMinutes, 0, 480)
	if r.Driver.DrivingBeforeBreakMinutes > 0 && r.Driver.BreakMinutes == 0 {
		f.add("rules.driver.break_minutes", "0", "is no break", "how long a break is, where driving_before_break_minutes is set")
	}
	if problem := r.Lashings().Check(); problem != "" {
		f.add("rules.lashing", "", "cannot be used: "+problem, "EN 12195-1")
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	if s.rules != nil && *s.rules == r {
		return nil, nil
	}
	return []Event{RulesSet(c)}, nil
}

// SetTrucks replaces the yard's trucks.
type SetTrucks struct{ Trucks []Truck }

func (c SetTrucks) decide(s State) ([]Event, error) {
	if err := s.opened(); err != nil {
		return nil, err
	}
	f := newFindings("BAD_TRUCKS", "The list of trucks cannot be used as it is; no truck was changed.")
	seen := map[string]int{}
	for i, t := range c.Trucks {
		where := fmt.Sprintf("trucks[%d]", i)
		if t.ID != "" {
			where = fmt.Sprintf("truck %s", t.ID)
		}
		f.truck(where, t)
		if first, ok := seen[t.ID]; ok {
			f.add(where+", truck_id", t.ID, fmt.Sprintf("is used by entry %d as well", first+1), "each id once")
		}
		seen[t.ID] = i
	}
	if len(c.Trucks) == 0 {
		f.add("trucks", "", "is empty", "at least one truck")
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	if reflect.DeepEqual(s.trucks, c.Trucks) {
		return nil, nil
	}
	return []Event{TrucksSet(c)}, nil
}

func (f *findings) truck(where string, t Truck) {
	f.id(where+", truck_id", t.ID)
	f.text(where+", name", t.Name, 120)
	f.number(where+", deck_length_mm", t.DeckLengthMM, 1000, 30000)
	f.number(where+", deck_width_mm", t.DeckWidthMM, 500, 4000)
	f.number(where+", payload_kg", t.PayloadKG, 1, 100000)
	f.number(where+", tare_front_kg", t.TareFrontKG, 1, 60000)
	f.number(where+", tare_rear_kg", t.TareRearKG, 1, 60000)
	f.number(where+", wheelbase_mm", t.WheelbaseMM, 1000, 25000)
	f.number(where+", deck_start_mm", t.DeckStartMM, -3000, 25000)
	f.number(where+", overall_length_mm", t.OverallLengthMM, 1000, 40000)
	f.number(where+", max_drops", t.MaxDrops, 0, 4)
	f.window(where+", hours", t.Hours)
	if t.MaxFrontKG <= t.TareFrontKG {
		f.add(where+", max_front_kg", strconv.Itoa(t.MaxFrontKG), "leaves nothing for a load on the front axle",
			fmt.Sprintf("more than the empty mass of %d kg", t.TareFrontKG))
	}
	if t.MaxRearKG <= t.TareRearKG {
		f.add(where+", max_rear_kg", strconv.Itoa(t.MaxRearKG), "leaves nothing for a load on the rear axle",
			fmt.Sprintf("more than the empty mass of %d kg", t.TareRearKG))
	}
	if full := t.TareFrontKG + t.TareRearKG + t.PayloadKG; t.MaxGrossKG < full {
		f.add(where+", max_gross_kg", strconv.Itoa(t.MaxGrossKG), "is less than the truck and its payload weigh",
			fmt.Sprintf("at least %d kg", full))
	}
	if t.OverallLengthMM < t.DeckLengthMM {
		f.add(where+", overall_length_mm", strconv.Itoa(t.OverallLengthMM), "is shorter than the deck",
			fmt.Sprintf("at least %d mm", t.DeckLengthMM))
	}
}

// SetSites replaces the yard's sites.
type SetSites struct{ Sites []Site }

func (c SetSites) decide(s State) ([]Event, error) {
	if err := s.opened(); err != nil {
		return nil, err
	}
	f := newFindings("BAD_SITES", "The list of sites cannot be used as it is; no site was changed.")
	seen := map[string]int{}
	same := len(c.Sites) == s.sites.Len()
	for i, site := range c.Sites {
		where := fmt.Sprintf("sites[%d]", i)
		if site.ID != "" {
			where = fmt.Sprintf("site %s", site.ID)
		}
		f.site(where, site)
		if first, ok := seen[site.ID]; ok {
			f.add(where+", site_id", site.ID, fmt.Sprintf("is used by entry %d as well", first+1), "each id once")
		}
		seen[site.ID] = i
		if old, ok := s.sites.Get(site.ID); !ok || *old != site {
			same = false
		}
	}
	if len(c.Sites) == 0 {
		f.add("sites", "", "is empty", "at least one site")
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	if same {
		return nil, nil
	}
	return []Event{SitesSet(c)}, nil
}

func (f *findings) site(where string, s Site) {
	f.id(where+", site_id", s.ID)
	f.text(where+", name", s.Name, 120)
	f.text(where+", contact", s.Contact, 200)
	f.place(where+", place", s.Place)
	f.number(where+", max_gross_kg", s.MaxGrossKG, 0, 200000)
	f.number(where+", max_vehicle_length_mm", s.MaxVehicleLengthMM, 0, 60000)
	f.window(where+", opens", s.Opens)
	f.number(where+", unload_fixed_minutes", s.UnloadFixedMinutes, 0, 480)
	f.number(where+", unload_minutes_per_pile", s.UnloadMinutesPerPile, 0, 240)
	f.number(where+", places", s.Places, 1, 100)
	f.number(where+", laid_per_hour", s.LaidPerHour, 0, 1000)
	f.number(where+", holds_beams", s.HoldsBeams, 0, 10000)
	if s.HoldsBeams > 0 && s.LaidPerHour == 0 {
		f.add(where+", laid_per_hour", "0", "leaves open when what the site holds is laid", "beams that the crews lay in an hour, where holds_beams is set")
	}
}

// opened refuses what needs the yard's rules before they are set.
func (s State) opened() error {
	if s.rules == nil {
		return fault.New(fault.Stale, "YARD_NOT_OPEN", "The rules of yard %s are not set yet; set them first.", s.yard)
	}
	return nil
}

// LearnFloor takes over a floor's approved plan.
type LearnFloor struct{ Floor Floor }

func (c LearnFloor) decide(s State) ([]Event, error) {
	if old := s.floor(c.Floor.FloorKey).floor; old != nil && old.Revision >= c.Floor.Revision {
		return nil, nil
	}
	return append([]Event{FloorPlanned(c)}, s.redrawn(c.Floor)...), nil
}

// ForgetFloor withdraws a floor's plan if it is still the one known.
type ForgetFloor struct {
	FloorKey
	Revision int
}

func (c ForgetFloor) decide(s State) ([]Event, error) {
	if old := s.floor(c.FloorKey).floor; old == nil || old.Revision != c.Revision {
		return nil, nil
	}
	return []Event{FloorWithdrawn(c)}, nil
}

func validDay(day string) error {
	if _, err := civil.ParseDay(day); err != nil {
		return fault.New(fault.Invalid, "BAD_DAY", "The day is not one of the calendar.").
			At("day", day, "is no day", "YYYY-MM-DD")
	}
	return nil
}
