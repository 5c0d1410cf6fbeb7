package pages

import (
	"strconv"
	"time"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
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
		{Pattern: "POST /drop", Site: true, Handle: setDown},
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

// openSite lets the holder of a link in, to its drop alone.
func openSite(r *shell.Request) error {
	p, err := r.Shell().OpenSiteLink(r.R.PathValue("link"))
	if err != nil {
		return err
	}
	if err := r.SignIn(p); err != nil {
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

func drop(r *shell.Request) error {
	d, err := dropOf(r)
	if err != nil {
		return err
	}
	return r.Show("drop", d)
}

// setDown ticks off that the drop was set down.
func setDown(r *shell.Request) error {
	d, err := dropOf(r)
	if err != nil {
		return err
	}
	answer, err := r.Shell().Dispatch.DeliverDrop(r.Ctx(), &dispatchv1.DeliverDropRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), RunId: d.RunID, DropNumber: d.Number, ReceivedBy: r.Form("received_by"),
	})
	if err != nil {
		r.Problem = err
		return drop(r)
	}
	return r.Go("/drop", "site.said", answer.GetPieceCount(), r.Form("received_by"))
}
