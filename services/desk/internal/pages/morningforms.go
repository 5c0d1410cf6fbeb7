package pages

import (
	"cmp"
	"net/url"
	"strconv"
	"strings"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/fault"
)

func morningForms() []shell.Page {
	return []shell.Page{
		{Pattern: "POST /morning/plan", Handle: onMorning(planMorning)},
		{Pattern: "POST /morning/stop", Handle: stopPlanning},
		{Pattern: "POST /morning/edit", Handle: onMorning(editMorning)},
		{Pattern: "POST /morning/confirm", Handle: onMorning(confirmMorning)},
		{Pattern: "POST /morning/happened", Handle: onMorning(happened)},
		{Pattern: "POST /morning/repair", Handle: onMorning(repair)},
	}
}

// onMorning does what a form asks; what was refused is shown on the morning, with
// the form as it was.
func onMorning(do func(*shell.Request) error) func(*shell.Request) error {
	return func(r *shell.Request) error {
		err := do(r)
		if err == nil {
			return nil
		}
		r.Problem = err
		return morning(r)
	}
}

// planAddress is where a plan is looked at, and one of its runs.
func planAddress(plan, run string) string {
	q := url.Values{"plan": {plan}}
	if run != "" {
		q.Set("run", run)
	}
	return "/morning?" + q.Encode()
}

// budgetMS is how long planning may take; a form names seconds.
func budgetMS(r *shell.Request) int32 {
	seconds, err := strconv.ParseInt(cmp.Or(r.Form("seconds"), "1"), 10, 32)
	if err != nil {
		return 0
	}
	return int32(min(max(seconds, 1), 30)) * 1000
}

func planMorning(r *shell.Request) error {
	answer, err := r.Shell().Dispatch.PlanMorning(r.Ctx(), &dispatchv1.PlanMorningRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), Day: r.Form("day"), BudgetMs: budgetMS(r),
	})
	if err != nil {
		return err
	}
	p := answer.GetMorning().GetPlan()
	return r.Go(planAddress(p.GetPlanId(), ""), "morning.said.planned", p.GetPlanId(), len(p.GetRuns()), p.GetRunLowerBound())
}

// stopPlanning ends planning that goes on in another tab or before a form came
// back.
func stopPlanning(r *shell.Request) error {
	answer, err := r.Shell().Dispatch.StopPlanning(r.Ctx(), &dispatchv1.StopPlanningRequest{Yard: r.Shell().Yard, Day: r.Form("day")})
	if err != nil {
		return err
	}
	return r.Go("/morning?day="+url.QueryEscape(r.Form("day")), "morning.said.stopped", answer.GetStoppedCount())
}

// wishView shows what a wish would change before it is done.
type wishView struct {
	PlanID, Run string
	// Fields that do it.
	Fields  map[string]string
	Changes *dispatchv1.PlanChanges
	// Note says why other runs were planned anew unasked.
	Note string
	Hit  []*dispatchv1.HitRun
	// Happened is for what happened to a confirmed day; Day is its.
	Happened bool
	Day      string
}

// editMorning tries a wish for a plan, and does it when the form says so.
func editMorning(r *shell.Request) error {
	edits, err := editsOf(r)
	if err != nil {
		return err
	}
	plan, do := r.Form("plan"), r.Form("do") == "yes"
	answer, err := r.Shell().Dispatch.EditMorning(r.Ctx(), &dispatchv1.EditMorningRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), PlanId: plan, Edits: edits, TryOnly: !do,
		PlanOthers: r.Form("others") == "yes", KeepOthers: r.Form("keep") == "yes", BudgetMs: budgetMS(r),
	})
	if err != nil {
		return err
	}
	if do {
		p := answer.GetMorning().GetPlan()
		return r.Go(planAddress(p.GetPlanId(), ""), "morning.said.edited", p.GetPlanId(), plan, answer.GetChanges().GetUnchangedRunCount())
	}
	v := wishView{PlanID: plan, Run: r.Form("run"), Note: answer.GetNote(), Changes: answer.GetChanges(), Fields: map[string]string{}, Day: dayOfPlan(plan)}
	for _, name := range []string{"plan", "wish", "run", "truck", "at", "call_off", "others", "keep", "seconds"} {
		if value := r.Form(name); value != "" {
			v.Fields[name] = value
		}
	}
	return r.Show("wish", v)
}

// editsOf is the wish of a form; none is to improve the plan.
func editsOf(r *shell.Request) ([]*dispatchv1.PlanEdit, error) {
	one := func(e *dispatchv1.PlanEdit) ([]*dispatchv1.PlanEdit, error) { return []*dispatchv1.PlanEdit{e}, nil }
	switch r.Form("wish") {
	case "":
		return nil, nil
	case "lock":
		return one(&dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_LockRunId{LockRunId: r.Form("run")}})
	case "unlock":
		return one(&dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_UnlockRunId{UnlockRunId: r.Form("run")}})
	case "move":
		at, err := minuteOf("at", r.Form("at"))
		if err != nil {
			return nil, err
		}
		return one(&dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_MoveRun{MoveRun: &dispatchv1.MoveRun{RunId: r.Form("run"), TruckId: r.Form("truck"), NotBeforeMinute: at}}})
	case "forbid":
		return one(&dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_ForbidTruck{ForbidTruck: forbiddenOf(r)}})
	case "allow":
		return one(&dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_AllowTruck{AllowTruck: forbiddenOf(r)}})
	case "without":
		return one(&dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_WithoutTruckId{WithoutTruckId: r.Form("truck")}})
	case "with":
		return one(&dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_WithTruckId{WithTruckId: r.Form("truck")}})
	case "leave-out":
		return one(&dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_LeaveOutCallOffId{LeaveOutCallOffId: r.Form("call_off")}})
	case "take-in":
		return one(&dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_TakeInCallOffId{TakeInCallOffId: r.Form("call_off")}})
	}
	return nil, fault.New(fault.Invalid, "WISH_UNKNOWN", "%s", r.Shell().Words.Say("morning.no_wish"))
}

func forbiddenOf(r *shell.Request) *eventv1.ForbiddenTruck {
	return &eventv1.ForbiddenTruck{CallOffId: r.Form("call_off"), TruckId: r.Form("truck")}
}

// minuteOf reads a time of the day, h:mm; 0 when there is none.
func minuteOf(field, text string) (int32, error) {
	if text == "" {
		return 0, nil
	}
	h, m, ok := strings.Cut(text, ":")
	hour, errH := strconv.ParseInt(h, 10, 32)
	minute, errM := strconv.ParseInt(m, 10, 32)
	if !ok || errH != nil || errM != nil || hour < 0 || hour > 23 || minute < 0 || minute > 59 {
		return 0, fault.New(fault.Invalid, "BAD_TIME", "A time is not one of the day.").At(field, text, "is no time of the day", "as in 8:30")
	}
	return int32(60*hour + minute), nil
}

func confirmMorning(r *shell.Request) error {
	plan := r.Form("plan")
	answer, err := r.Shell().Dispatch.ConfirmMorning(r.Ctx(), &dispatchv1.ConfirmMorningRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), PlanId: plan, ConfirmedBy: r.Person().Name,
	})
	if err != nil {
		return err
	}
	return r.Go(planAddress(plan, ""), "morning.said.confirmed", plan, answer.GetRunCount(), answer.GetPieceCount())
}

// happened tries what follows from something that happened to a confirmed day,
// and does it when the form says so.
func happened(r *shell.Request) error {
	req, err := happeningOf(r)
	if err != nil {
		return err
	}
	answer, err := r.Shell().Dispatch.ReplanMorning(r.Ctx(), req)
	if err != nil {
		return err
	}
	if !req.GetTryOnly() {
		if p := answer.GetMorning().GetPlan(); p.GetPlanId() != "" {
			return r.Go(planAddress(p.GetPlanId(), ""), "morning.said.replanned", len(answer.GetHitRuns()), p.GetPlanId())
		}
		return r.Go("/morning?day="+url.QueryEscape(req.GetDay()), "morning.said.not_hit", len(answer.GetHitRuns()))
	}
	v := wishView{PlanID: r.Form("plan"), Happened: true, Day: req.GetDay(), Changes: answer.GetChanges(), Hit: answer.GetHitRuns(), Fields: map[string]string{}}
	for _, name := range []string{"day", "plan", "what", "truck", "site", "run", "at", "minutes", "reason", "seconds"} {
		if value := r.Form(name); value != "" {
			v.Fields[name] = value
		}
	}
	return r.Show("wish", v)
}

func happeningOf(r *shell.Request) (*dispatchv1.ReplanMorningRequest, error) {
	req := &dispatchv1.ReplanMorningRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), Day: r.Form("day"), Reason: r.Form("reason"), BudgetMs: budgetMS(r), TryOnly: r.Form("do") != "yes",
	}
	at, err := minuteOf("at", r.Form("at"))
	if err != nil {
		return nil, err
	}
	hinder := func(h *eventv1.Hindrance) {
		h.FromMinute, h.Reason = at, req.Reason
		req.Happenings = append(req.Happenings, &dispatchv1.Happening{What: &dispatchv1.Happening_Hindrance{Hindrance: h}})
	}
	switch r.Form("what") {
	case "truck":
		hinder(&eventv1.Hindrance{TruckId: r.Form("truck")})
	case "site":
		hinder(&eventv1.Hindrance{SiteId: r.Form("site")})
	case "late":
		minutes, err := strconv.ParseInt(r.Form("minutes"), 10, 32)
		if err != nil {
			return nil, fault.New(fault.Invalid, "BAD_DELAY", "The delay is no number.").At("minutes", r.Form("minutes"), "is no number", "1 to 720")
		}
		late := &eventv1.RunDelayed{RunId: r.Form("run"), Minutes: int32(minutes), Reason: req.Reason}
		req.Happenings = append(req.Happenings, &dispatchv1.Happening{What: &dispatchv1.Happening_Delay{Delay: late}})
	default:
		req.StoppedRuns = true
	}
	return req, nil
}

// repair exchanges the beams that stop runs of the day for equal ones.
func repair(r *shell.Request) error {
	answer, err := r.Shell().Dispatch.RepairRuns(r.Ctx(), &dispatchv1.RepairRunsRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), Day: r.Form("day"), RepairedBy: r.Person().Name, Reason: r.Form("reason"),
	})
	if err != nil {
		return err
	}
	exchanged, left := 0, 0
	for _, one := range answer.GetRepairs() {
		exchanged += len(one.GetExchanged())
		left += len(one.GetLeft())
	}
	return r.Go(planAddress(r.Form("plan"), ""), "morning.said.repaired", exchanged, left)
}
