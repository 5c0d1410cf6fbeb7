package show

import (
	"fmt"
	"io"
	"strings"
	"time"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// Yard is what names and limits stand behind the ids of a morning.
type Yard struct {
	ID     string
	Zone   *time.Location
	Trucks map[string]*dispatcheventv1.Truck
	Sites  map[string]*dispatcheventv1.Site
}

func (y Yard) truck(id string) string {
	if t := y.Trucks[id]; t.GetName() != "" {
		return id + " " + t.GetName()
	}
	return id
}

func (y Yard) site(id string) string {
	if s := y.Sites[id]; s.GetName() != "" {
		return s.GetName() + " (" + id + ")"
	}
	return id
}

// Morning prints a plan: every run with its times, masses and axle loads, its
// piles and picks, and what is left in the yard and why. now is how the runs of
// a confirmed plan stand.
func Morning(w io.Writer, m *dispatchv1.Morning, now []*dispatchv1.RunStatus, y Yard) {
	plan := m.GetPlan()
	header(w, m, y)
	LoadingCautions(w)
	if len(now) > 0 {
		fmt.Fprintln(w, "\nAS THE RUNS STAND NOW; the plan below is as it was confirmed")
		Runs(w, now, y)
	}
	if len(plan.GetRuns()) > 0 {
		fmt.Fprintln(w)
		overview(w, plan, y)
	}
	for _, run := range plan.GetRuns() {
		fmt.Fprintln(w)
		Run(w, run, y)
	}
	fmt.Fprintln(w)
	unserved(w, plan, y)
	missing(w, m)
}

func header(w io.Writer, m *dispatchv1.Morning, y Yard) {
	p := m.GetPlan()
	fmt.Fprintf(w, "MORNING OF %s, YARD %s\n", strings.ToUpper(longDay(p.GetDay())), y.ID)
	state := word(m.GetState().String(), "MORNING_STATE_")
	if m.GetConfirmedBy() != "" {
		state += " by " + m.GetConfirmedBy()
	}
	paragraph(w, "", "  ", fmt.Sprintf("Plan %s: %s; planned by %s on %s", p.GetPlanId(), state, p.GetPlannedBy(), moment(p.GetPlannedAt(), y.Zone)))
	paragraph(w, "", "", bound(p))
	beams, pallets, blocks, mass := totals(p)
	fmt.Fprintf(w, "On them: %s, %s with %s, %s kg. Planned in %d ms.\n", count(beams, "beam"), count(pallets, "pallet"),
		count(blocks, "block"), wholeKg(mass), p.GetTookMs())
	fmt.Fprintln(w, drivenAndWaited(p))
	fmt.Fprintln(w, movedAside(p))
	if p.GetPicksNote() != "" {
		paragraph(w, "", "", p.GetPicksNote())
	}
}

// bound says how near the number of runs is to what is needed at least.
func bound(p *dispatcheventv1.MorningPlan) string {
	why := strings.TrimSuffix(p.GetBoundReason(), ".")
	if runs := len(p.GetRuns()); runs > 0 && runs == int(p.GetRunLowerBound()) {
		return fmt.Sprintf("%s; proved: no plan that brings the same pieces needs fewer: %s.", count(runs, "run"), why)
	}
	return fmt.Sprintf("%s; no plan that brings the same pieces needs fewer than %d: %s.", count(len(p.GetRuns()), "run"), p.GetRunLowerBound(), why)
}

// drivenAndWaited sums the way of the trucks and the waiting of the crews.
func drivenAndWaited(p *dispatcheventv1.MorningPlan) string {
	metres := 0
	for _, r := range p.GetRuns() {
		metres += int(r.GetDistanceM())
	}
	driven := fmt.Sprintf("%.0f km in all", float64(metres)/1000)
	if n := p.GetCrewWaitingMinutes(); n > 0 {
		return fmt.Sprintf("%s; crews wait %d minutes for beams.", driven, n)
	}
	return driven + "."
}

// movedAside says what the picks cost in the yard, and what they cost at least.
func movedAside(p *dispatcheventv1.MorningPlan) string {
	switch n, least := p.GetMovedAsideCount(), p.GetMovedAsideBound(); {
	case n == 0:
		return "For the picks, nothing in the yard has to be moved aside."
	case n == least:
		return fmt.Sprintf("For the picks, %s in the yard have to be moved aside; no choice of pieces does with fewer.", count(n, "piece"))
	default:
		return fmt.Sprintf("For the picks, %s in the yard have to be moved aside; %d at least, whatever is chosen.", count(n, "piece"), least)
	}
}

func totals(p *dispatcheventv1.MorningPlan) (beams, pallets, blocks int32, mass int64) {
	for _, run := range p.GetRuns() {
		mass += run.GetMassG()
		for _, pile := range run.GetPiles() {
			for _, tier := range pile.GetTiers() {
				for _, item := range tier.GetItems() {
					if item.GetBeam() != nil {
						beams++
						continue
					}
					pallets++
					blocks += item.GetBlockCount()
				}
			}
		}
	}
	return beams, pallets, blocks, mass
}

func overview(w io.Writer, p *dispatcheventv1.MorningPlan, y Yard) {
	t := newTable("run", "truck", "trip#", "load h:mm#", "leave h:mm#", "back h:mm#", "mass kg#", "payload kg#", "arrives h:mm")
	for _, run := range p.GetRuns() {
		var stops []string
		for _, d := range run.GetDrops() {
			stops = append(stops, d.GetSiteId()+" "+Clock(d.GetArriveMinute()))
		}
		t.add(shortID(run.GetRunId(), p.GetPlanId()), y.truck(run.GetTruckId()), run.GetTrip(), Clock(run.GetLoadingMinute()), Clock(run.GetLeaveMinute()),
			Clock(run.GetBackMinute()), wholeKg(run.GetMassG()), y.Trucks[run.GetTruckId()].GetPayloadKg(), strings.Join(stops, ", "))
	}
	t.write(w)
}

// shortID is what an id adds to the id of its plan, where the plan is named
// already.
func shortID(id, plan string) string {
	if rest, ok := strings.CutPrefix(id, plan+"-"); ok {
		return rest
	}
	return id
}

func unserved(w io.Writer, p *dispatcheventv1.MorningPlan, y Yard) {
	if len(p.GetUnserved()) == 0 {
		fmt.Fprintln(w, "NOTHING IS LEFT: every call-off of the day is on a run.")
		return
	}
	fmt.Fprintln(w, "LEFT, AND WHY")
	t := newTable("call-off", "site", "room", "beams#", "blocks#", "mass kg#", "why")
	for _, u := range p.GetUnserved() {
		t.add(u.GetCallOffId(), u.GetSiteId(), dash(u.GetRoom()), u.GetBeamCount(), u.GetBlockCount(), wholeKg(u.GetMassG()), u.GetSentence())
	}
	t.write(w)
}

func missing(w io.Writer, m *dispatchv1.Morning) {
	if len(m.GetMissing()) == 0 {
		return
	}
	fmt.Fprintln(w, "\nCOULD NOT BE CONFIRMED: these pieces are gone; nothing was reserved. Plan the morning again.")
	MissingPieces(w, m.GetMissing())
}

// MissingPieces prints the pieces that a plan counted on and cannot have.
func MissingPieces(w io.Writer, pieces []*dispatcheventv1.MissingPiece) {
	t := newTable("piece", "run", "mark", "why")
	for _, p := range pieces {
		t.add(p.GetPieceId(), p.GetRunId(), dash(p.GetMark()), p.GetSentence())
	}
	t.write(w)
}

// Mornings prints the plans of a day.
func Mornings(w io.Writer, list []*dispatchv1.MorningSummary, zone *time.Location) {
	if len(list) == 0 {
		note(w, "No plans for this day.")
		return
	}
	t := newTable("plan", "state", "planned", "by", "runs#", "at least#", "left#", "mass kg#", "confirmed by")
	for _, m := range list {
		t.add(m.GetPlanId(), word(m.GetState().String(), "MORNING_STATE_"), moment(m.GetPlannedAt(), zone), m.GetPlannedBy(),
			m.GetRunCount(), m.GetRunLowerBound(), m.GetUnservedCount(), wholeKg(m.GetMassG()), dash(m.GetConfirmedBy()))
	}
	t.write(w)
}
