package pages

import (
	"slices"
	"strconv"
	"time"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

func sitePages() []shell.Page {
	return []shell.Page{
		{Pattern: "GET /site-link/{run}/{drop}", Handle: siteLink},
		// Where the codes on delivery notes lead.
		{Pattern: "GET /drop/{run}/{drop}", Handle: siteLink},
		{Pattern: "GET /site/{link}", Open: true, Handle: openSite},
		{Pattern: "GET /drop", Site: true, Handle: drop},
		{Pattern: "POST /drop", Site: true, Handle: onDrop(setDown)},
		{Pattern: "POST /drop/laid", Site: true, Handle: onDrop(recordLaying)},
		{Pattern: "POST /drop/report", Site: true, Handle: onDrop(reportPiece)},
		{Pattern: "GET /drop/plan/{job}/{floor}", Site: true, Handle: layingPlan},
	}
}

// linkLife of a link to a site: the day of the delivery and the next, and a
// night before.
const linkLife = 72 * time.Hour

// siteLinkView is a link to hand on.
type siteLinkView struct {
	Link string
	Drop auth.Drop
	Days int
}

// siteLink makes the link that opens one drop. The desk itself signs it, so
// the desk itself looks who asks.
func siteLink(r *shell.Request) error {
	if !r.Person().Has(auth.Dispatcher) {
		return fault.New(fault.Refused, auth.ReasonRole, "%s", r.Shell().Words.Say("site.dispatcher_only"))
	}
	number, err := strconv.ParseInt(r.R.PathValue("drop"), 10, 32)
	if err != nil || number < 1 {
		return fault.New(fault.NotFound, "DROP_UNKNOWN", "%s", r.Shell().Words.Say("site.no_drop"))
	}
	d := auth.Drop{RunID: r.R.PathValue("run"), Number: int32(number)}
	link, err := r.Shell().SiteLink(d, linkLife)
	if err != nil {
		return err
	}
	return r.Show("sitelink", siteLinkView{Link: link, Drop: d, Days: int(linkLife.Hours()) / 24})
}

// openSite lets the holder of a link in, to its drop alone, for as long as the
// link is good.
func openSite(r *shell.Request) error {
	p, until, err := r.Shell().OpenSiteLink(r.R.PathValue("link"))
	if err != nil {
		return err
	}
	if err := r.SignInUntil(p, until); err != nil {
		return err
	}
	return r.Go("/drop", "")
}

// dropOf a link; somebody of the yard who opens the page of a site has none.
func dropOf(r *shell.Request) (auth.Drop, error) {
	if d := r.Person().Drop; d != nil {
		return *d, nil
	}
	return auth.Drop{}, fault.New(fault.NotFound, "DROP_UNKNOWN", "%s", r.Shell().Words.Say("site.no_drop"))
}

// onDrop does what a form of the site asks and shows the drop: with what was
// done, or with what was refused and the form as it was.
func onDrop(do func(*shell.Request, auth.Drop) error) func(*shell.Request) error {
	return func(r *shell.Request) error {
		d, err := dropOf(r)
		if err != nil {
			return err
		}
		if err := do(r, d); err != nil {
			r.Problem = err
			return drop(r)
		}
		return nil
	}
}

// setDown tells that all of the drop was set down.
func setDown(r *shell.Request, d auth.Drop) error {
	answer, err := r.Shell().Dispatch.DeliverDrop(r.Ctx(), &dispatchv1.DeliverDropRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), RunId: d.RunID, DropNumber: d.Number, ReceivedBy: r.Form("received_by"),
	})
	if err != nil {
		return err
	}
	return r.GoSeeing("/drop", answer.GetPosition(), "site.said", answer.GetPieceCount(), r.Form("received_by"))
}

// recordLaying takes the ticks of a room: what has one now and had none is laid,
// what had one and has none was ticked off by mistake.
func recordLaying(r *shell.Request, d auth.Drop) error {
	ticked, had := r.R.PostForm["laid"], r.R.PostForm["was_laid"]
	without := func(all, those []string) []string {
		return slices.DeleteFunc(slices.Clone(all), func(id string) bool { return slices.Contains(those, id) })
	}
	answer, err := r.Shell().Dispatch.RecordLaying(r.Ctx(), &dispatchv1.RecordLayingRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), RunId: d.RunID, DropNumber: d.Number,
		LaidPieceIds: without(ticked, had), NotLaidPieceIds: without(had, ticked),
	})
	if err != nil {
		return err
	}
	return r.GoSeeing("/drop", answer.GetPosition(), "site.said_laid", answer.GetLaidCount())
}

// reportPiece tells the yard what is broken, did not come, or is there after all.
func reportPiece(r *shell.Request, d auth.Drop) error {
	kind := dispatcheventv1.PieceReportKind(dispatcheventv1.PieceReportKind_value[r.Form("kind")])
	answer, err := r.Shell().Dispatch.ReportPiece(r.Ctx(), &dispatchv1.ReportPieceRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), RunId: d.RunID, DropNumber: d.Number, PieceId: r.Form("piece_id"), Kind: kind, Remark: r.Form("remark"),
	})
	if err != nil {
		return err
	}
	word := "site.said_told"
	if kind == dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_WITHDRAWN {
		word = "site.said_withdrawn"
	}
	return r.GoSeeing("/drop", answer.GetPosition(), word, r.Form("piece_id"))
}

// layingPlan is the drawing of a floor that the drop brings something for.
func layingPlan(r *shell.Request) error {
	d, err := dropOf(r)
	if err != nil {
		return err
	}
	answer, err := askDrop(r, d)
	if err != nil {
		return err
	}
	job, floor := r.R.PathValue("job"), r.R.PathValue("floor")
	at := slices.IndexFunc(answer.GetRooms(), func(x *dispatchv1.DropRoom) bool {
		return x.GetJobId() == job && x.GetFloor() == floor && x.GetRevision() > 0
	})
	if at < 0 {
		return fault.New(fault.NotFound, "FLOOR_UNKNOWN", "%s", r.Shell().Words.Say("site.no_floor"))
	}
	plan, err := r.Shell().Layout.DrawApprovedPlan(r.CtxOfFloor(job, floor), &layoutv1.DrawApprovedPlanRequest{
		Yard: r.Shell().Yard, JobId: job, Floor: floor, Revision: answer.GetRooms()[at].GetRevision(), RunId: d.RunID, DropNumber: d.Number,
	})
	if err != nil {
		return err
	}
	r.W.Header().Set("Content-Type", "image/svg+xml")
	_, err = r.W.Write(plan.GetDrawing())
	return err
}
