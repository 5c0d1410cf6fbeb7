package pages

import (
	"cmp"
	"slices"
	"time"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/desk/internal/shell"
)

func morningPages() []shell.Page {
	return append([]shell.Page{
		{Pattern: "GET /morning", Handle: morning},
		{Pattern: "GET /morning/explain", Handle: explain},
		{Pattern: "GET /morning/compare", Handle: compare},
		{Pattern: "GET /morning/deck/{run}", Handle: deckDrawing},
		{Pattern: "GET /morning/paper/{run}/{kind}", Handle: runPaper},
	}, morningForms()...)
}

// morningView is a day's runs by truck over time, one of them in full, what is
// left and why, and what can be done.
type morningView struct {
	Day, Today string
	Plans      []*dispatchv1.MorningSummary
	// Plan that is looked at; nil when the day has none.
	Plan  *eventv1.MorningPlan
	State string
	By    string
	Board board
	Rows  []runRow
	// Run that is looked at in full; nil when none is.
	Run      *runRow
	Trucks   []*eventv1.Truck
	CallOffs []*eventv1.CallOff
	Sites    map[string]*eventv1.Site
	Totals   totals
	// Changes from the plan that this one was made out of.
	Changes *dispatchv1.PlanChanges
	// Entered is what a refused form had in it.
	Entered  map[string]string
	Zone     *time.Location
	Position uint64
}

// totals of a plan for its head.
type totals struct {
	Runs, Beams, Pallets int
	MassG                int64
	Km                   int
	Proved               bool
}

// runRow is a run with what has become of it.
type runRow struct {
	*eventv1.Run
	Short, State, TruckName string
	PayloadKg               int32
	Hits                    []*eventv1.RunHit
	// Reasons of the hits, each with how many pieces it is of.
	Reasons   []hitReason
	Delivered []int32
	// Here says that the run is of the plan that is looked at.
	Here         bool
	Beams        int
	Pallets      int
	CallOffNames []string
}

// hitReason is why pieces of a run must not leave.
type hitReason struct {
	Reason string
	Pieces int
}

// reasonsOf hits, in the order in which they came.
func reasonsOf(hits []*eventv1.RunHit) []hitReason {
	var out []hitReason
	for _, h := range hits {
		at := slices.IndexFunc(out, func(r hitReason) bool { return r.Reason == h.GetReason() })
		if at < 0 {
			at = len(out)
			out = append(out, hitReason{Reason: h.GetReason()})
		}
		out[at].Pieces++
	}
	return out
}

// Stopped says that something in the run must not leave.
func (r *runRow) Stopped() bool { return r.State == "hit" }

func morning(r *shell.Request) error {
	v, err := morningOf(r)
	if err != nil {
		return err
	}
	return r.Show("morning", v)
}

// morningOf gathers a morning: of the day in the address, today's when there is
// none, and of the plan in it, the newest when there is none.
func morningOf(r *shell.Request) (*morningView, error) {
	v := &morningView{Today: r.Today(), Day: cmp.Or(r.Form("day"), dayOfPlan(r.Form("plan"))), Zone: r.Zone(), Entered: map[string]string{}}
	for _, field := range []string{"run", "truck", "at", "call_off", "site", "minutes", "reason"} {
		v.Entered[field] = r.Form(field)
	}
	if err := v.gather(r); err != nil {
		return nil, err
	}
	if v.Plan == nil {
		return v, nil
	}
	v.Board = draw(v.Rows, v.Trucks)
	for i := range v.Rows {
		if v.Rows[i].GetRunId() == r.Form("run") {
			v.Run = &v.Rows[i]
		}
	}
	return v, nil
}

// dayOfPlan is the day that the id of a plan begins with.
func dayOfPlan(id string) string {
	if len(id) < len(time.DateOnly) {
		return ""
	}
	return id[:len(time.DateOnly)]
}

func (v *morningView) gather(r *shell.Request) error {
	s := r.Shell()
	if v.Day == "" {
		v.Day = v.nearest(r)
	}
	list, err := s.Dispatch.ListMornings(r.Ctx(), &dispatchv1.ListMorningsRequest{Yard: s.Yard, Day: v.Day})
	if err != nil && !missing(err) {
		return err
	}
	v.Plans = list.GetMornings()
	calls, err := s.Dispatch.ListCallOffs(r.Ctx(), &dispatchv1.ListCallOffsRequest{Yard: s.Yard, Day: v.Day})
	if err != nil && !missing(err) {
		return err
	}
	v.CallOffs = calls.GetCallOffs()
	id := r.Form("plan")
	if id == "" && len(v.Plans) > 0 {
		id = v.Plans[len(v.Plans)-1].GetPlanId()
	}
	if id == "" {
		return nil
	}
	return v.readPlan(r, id)
}

// nearest is the day that is worked on: today if it has call-offs, or else the
// day after, the eve of which this is.
func (v *morningView) nearest(r *shell.Request) string {
	s := r.Shell()
	today, err := time.Parse(time.DateOnly, v.Today)
	if err != nil {
		return v.Today
	}
	for _, day := range []string{v.Today, today.AddDate(0, 0, 1).Format(time.DateOnly)} {
		calls, err := s.Dispatch.ListCallOffs(r.Ctx(), &dispatchv1.ListCallOffsRequest{Yard: s.Yard, Day: day})
		if err == nil && len(calls.GetCallOffs()) > 0 {
			return day
		}
	}
	return v.Today
}

func (v *morningView) readPlan(r *shell.Request, id string) error {
	s := r.Shell()
	answer, err := s.Dispatch.GetMorning(r.Ctx(), &dispatchv1.GetMorningRequest{Yard: s.Yard, PlanId: id})
	if err != nil {
		return err
	}
	m := answer.GetMorning()
	v.Plan, v.State, v.By = m.GetPlan(), stateOfPlan(m.GetState()), m.GetConfirmedBy()
	trucks, err := s.Dispatch.ListTrucks(r.Ctx(), &dispatchv1.ListTrucksRequest{Yard: s.Yard})
	if err != nil {
		return err
	}
	v.Trucks = trucks.GetTrucks()
	sites, err := s.Dispatch.ListSites(r.Ctx(), &dispatchv1.ListSitesRequest{Yard: s.Yard})
	if err != nil {
		return err
	}
	v.Sites = map[string]*eventv1.Site{}
	for _, site := range sites.GetSites() {
		v.Sites[site.GetSiteId()] = site
	}
	runs, err := s.Dispatch.ListRuns(r.Ctx(), &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: v.Day})
	if err != nil {
		return err
	}
	v.Position = runs.GetPosition()
	v.rows(runs.GetRuns())
	v.addUp()
	if base := v.Plan.GetBasedOnPlanId(); base != "" {
		compared, err := s.Dispatch.ComparePlans(r.Ctx(), &dispatchv1.ComparePlansRequest{Yard: s.Yard, BeforePlanId: base, AfterPlanId: id})
		if err != nil && !missing(err) {
			return err
		}
		v.Changes = compared.GetChanges()
	}
	return nil
}

func stateOfPlan(s dispatchv1.MorningState) string {
	switch s {
	case dispatchv1.MorningState_MORNING_STATE_CONFIRMED:
		return "confirmed"
	case dispatchv1.MorningState_MORNING_STATE_CONFIRMING:
		return "confirming"
	case dispatchv1.MorningState_MORNING_STATE_FAILED:
		return "failed"
	default:
		return "draft"
	}
}

func stateOfRun(s dispatchv1.RunState) string {
	switch s {
	case dispatchv1.RunState_RUN_STATE_HIT:
		return "hit"
	case dispatchv1.RunState_RUN_STATE_DEPARTED:
		return "departed"
	case dispatchv1.RunState_RUN_STATE_DELIVERED:
		return "delivered"
	case dispatchv1.RunState_RUN_STATE_CANCELLED:
		return "cancelled"
	default:
		return "confirmed"
	}
}

// rows are the plan's runs and, beside a plan that binds nobody yet, the
// confirmed runs that it was planned around.
func (v *morningView) rows(confirmed []*dispatchv1.RunStatus) {
	names := map[string]*eventv1.Truck{}
	for _, t := range v.Trucks {
		names[t.GetTruckId()] = t
	}
	row := func(run *eventv1.Run, state string, here bool) runRow {
		out := runRow{Run: run, Short: shortRun(run.GetRunId()), State: state, Here: here, TruckName: names[run.GetTruckId()].GetName(), PayloadKg: names[run.GetTruckId()].GetPayloadKg()}
		for _, p := range run.GetPicks() {
			if p.GetBlockCount() > 0 {
				out.Pallets++
			} else {
				out.Beams++
			}
		}
		for _, d := range run.GetDrops() {
			out.CallOffNames = append(out.CallOffNames, d.GetCallOffIds()...)
		}
		return out
	}
	for _, c := range confirmed {
		if c.GetState() == dispatchv1.RunState_RUN_STATE_CANCELLED && c.GetPlanId() != v.Plan.GetPlanId() {
			continue
		}
		one := row(c.GetRun(), stateOfRun(c.GetState()), c.GetPlanId() == v.Plan.GetPlanId())
		one.Hits, one.Reasons, one.Delivered = c.GetHits(), reasonsOf(c.GetHits()), c.GetDeliveredDrops()
		v.Rows = append(v.Rows, one)
	}
	if v.State != "confirmed" {
		for _, run := range v.Plan.GetRuns() {
			v.Rows = append(v.Rows, row(run, "draft", true))
		}
	}
	slices.SortStableFunc(v.Rows, func(a, b runRow) int { return cmp.Compare(a.GetLoadingMinute(), b.GetLoadingMinute()) })
}

// shortRun is the id of a run without that of its day: "P1-R03".
func shortRun(id string) string {
	if len(id) > len(time.DateOnly) {
		return id[len(time.DateOnly)+1:]
	}
	return id
}

func (v *morningView) addUp() {
	metres := 0
	for i := range v.Rows {
		if r := &v.Rows[i]; r.Here && r.State != "cancelled" {
			v.Totals.Runs++
			v.Totals.Beams += r.Beams
			v.Totals.Pallets += r.Pallets
			v.Totals.MassG += r.GetMassG()
			metres += int(r.GetDistanceM())
		}
	}
	v.Totals.Km = (metres + 500) / 1000
	v.Totals.Proved = len(v.Plan.GetRuns()) == int(v.Plan.GetRunLowerBound())
}

// SiteName of a site by its id.
func (v *morningView) SiteName(id string) string { return cmp.Or(v.Sites[id].GetName(), id) }

// Contact at a site.
func (v *morningView) Contact(id string) string { return v.Sites[id].GetContact() }

// explainView is why something of a plan is as it is.
type explainView struct {
	*dispatchv1.ExplainMorningResponse
	PlanID string
}

func explain(r *shell.Request) error {
	s := r.Shell()
	req := &dispatchv1.ExplainMorningRequest{Yard: s.Yard, PlanId: r.Form("plan")}
	switch {
	case r.Form("run") != "":
		req.What = &dispatchv1.ExplainMorningRequest_RunId{RunId: r.Form("run")}
	case r.Form("call_off") != "":
		req.What = &dispatchv1.ExplainMorningRequest_CallOffId{CallOffId: r.Form("call_off")}
	default:
		req.What = &dispatchv1.ExplainMorningRequest_Piece{Piece: r.Form("piece")}
	}
	answer, err := s.Dispatch.ExplainMorning(r.Ctx(), req)
	if err != nil {
		return err
	}
	return r.Show("explain", explainView{answer, req.GetPlanId()})
}

// compareView is how two plans of a day differ.
type compareView struct {
	Before, After string
	*dispatchv1.PlanChanges
}

func compare(r *shell.Request) error {
	s := r.Shell()
	v := compareView{Before: r.Form("before"), After: r.Form("after")}
	answer, err := s.Dispatch.ComparePlans(r.Ctx(), &dispatchv1.ComparePlansRequest{Yard: s.Yard, BeforePlanId: v.Before, AfterPlanId: v.After})
	if err != nil {
		return err
	}
	v.PlanChanges = answer.GetChanges()
	return r.Show("compare", v)
}
