package pages

import (
	"fmt"
	"time"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
)

func homePages() []shell.Page {
	return []shell.Page{{Pattern: "GET /{$}", Handle: home}}
}

// homeView is the day at a glance.
type homeView struct {
	Today, Tomorrow string
	// Empty: the yard has nothing in it yet.
	Empty                        bool
	Curing, Released, Held       int
	Ready                        []*stockv1.Batch
	Quarantined                  []*stockv1.Batch
	Due                          []*stockv1.DueSample
	Overdue                      int
	Plans                        []plansOfDay
	RunsToday, HitRuns, Departed int
	Told                         []toldBySite
	Position                     uint64
}

// toldBySite is a piece that is broken or did not come, and where.
type toldBySite struct {
	*dispatcheventv1.PieceReported
	SiteID string
	// Reason for which the piece can be written off, in the site's words.
	Reason string
}

// told gathers what sites tell of the runs of a day; crews lay on the day after
// as well.
func (v *homeView) told(r *shell.Request, day string) error {
	runs, err := r.Shell().Dispatch.ListRuns(r.Ctx(), &dispatchv1.ListRunsRequest{Yard: r.Shell().Yard, Day: day})
	if missing(err) {
		return nil
	}
	for _, run := range runs.GetRuns() {
		for _, told := range run.GetReports() {
			reason := r.Shell().Words.Say(fmt.Sprintf("home.told_reason.%d", told.GetKind()))
			if remark := told.GetRemark(); remark != "" {
				reason += ": " + remark
			}
			v.Told = append(v.Told, toldBySite{told, siteOfDrop(run.GetRun(), told.GetDropNumber()), reason})
		}
	}
	return err
}

func siteOfDrop(run *dispatcheventv1.Run, number int32) string {
	for _, d := range run.GetDrops() {
		if d.GetNumber() == number {
			return d.GetSiteId()
		}
	}
	return ""
}

// plansOfDay are the plans of one morning.
type plansOfDay struct {
	Day       string
	Plans     []*dispatchv1.MorningSummary
	Confirmed int
}

func home(r *shell.Request) error {
	v := homeView{Today: r.Today()}
	today, err := time.Parse(time.DateOnly, v.Today)
	if err != nil {
		return err
	}
	v.Tomorrow = today.AddDate(0, 0, 1).Format(time.DateOnly)
	batches, position, err := allBatches(r)
	if err != nil && !missing(err) {
		return err
	}
	v.Position, v.Empty = position, len(batches) == 0
	for _, b := range batches {
		switch stateOf(b.GetState()) {
		case "released":
			v.Released++
		case "quarantined":
			v.Held++
			v.Quarantined = append(v.Quarantined, b)
		default:
			v.Curing++
			if b.GetOldEnoughOn() <= v.Today {
				v.Ready = append(v.Ready, b)
			}
		}
	}
	if err := v.samples(r); err != nil {
		return err
	}
	if err := v.mornings(r); err != nil {
		return err
	}
	for _, days := range []int{-1, 0, 1} {
		if err := v.told(r, today.AddDate(0, 0, days).Format(time.DateOnly)); err != nil {
			return err
		}
	}
	return r.Show("home", v)
}

func (v *homeView) samples(r *shell.Request) error {
	due, err := r.Shell().Stock.ListDueSamples(r.Ctx(), &stockv1.ListDueSamplesRequest{Yard: r.Shell().Yard})
	if missing(err) {
		return nil
	}
	if err != nil {
		return err
	}
	v.Due = due.GetSamples()
	for _, s := range v.Due {
		if s.GetOverdue() {
			v.Overdue++
		}
	}
	return nil
}

func (v *homeView) mornings(r *shell.Request) error {
	s := r.Shell()
	for _, day := range []string{v.Today, v.Tomorrow} {
		answer, err := s.Dispatch.ListMornings(r.Ctx(), &dispatchv1.ListMorningsRequest{Yard: s.Yard, Day: day})
		if missing(err) {
			return nil
		}
		if err != nil {
			return err
		}
		p := plansOfDay{Day: day, Plans: answer.GetMornings()}
		for _, m := range p.Plans {
			if m.GetState() == dispatchv1.MorningState_MORNING_STATE_CONFIRMED {
				p.Confirmed++
			}
		}
		v.Plans = append(v.Plans, p)
	}
	runs, err := s.Dispatch.ListRuns(r.Ctx(), &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: v.Today})
	if err != nil {
		return err
	}
	v.RunsToday = len(runs.GetRuns())
	for _, run := range runs.GetRuns() {
		switch run.GetState() {
		case dispatchv1.RunState_RUN_STATE_HIT:
			v.HitRuns++
		case dispatchv1.RunState_RUN_STATE_DEPARTED, dispatchv1.RunState_RUN_STATE_DELIVERED:
			v.Departed++
		}
	}
	return nil
}
