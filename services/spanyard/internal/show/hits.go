package show

import (
	"fmt"
	"io"
	"slices"
	"strings"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// whereNow is where a hit piece is as far as anybody knows: what has to be done
// about it depends on that alone.
type whereNow int

const (
	inYard whereNow = iota
	onRoad
	atSite
	// gone pieces came back to the yard or were written off after the truck left.
	gone
)

// todo says, for pieces of a run at a place, what to do now.
func (p whereNow) todo(run string) string {
	switch p {
	case onRoad:
		return "RUN " + run + " IS ON THE ROAD WITH THESE PIECES. Call the driver and the site: they stay on the truck and come back."
	case atSite:
		return "THESE PIECES OF RUN " + run + " STAND AT THE SITE. Call it: nothing is laid on them, nothing stands on them or below them, " +
			"until their batch is released anew or they are taken back."
	case gone:
		return "THESE PIECES OF RUN " + run + " WENT BACK OR BROKE. Tell the site what is missing; it has to be brought again."
	default:
		return "RUN " + run + " MUST NOT LEAVE WITH THESE PIECES. Exchange them (run repair), or cancel it and plan again; what is in quarantine may go once its batch is released anew."
	}
}

// hitsOf says what the hits of a run mean by how far it, and each piece, has
// come. A cancelled run carries nothing.
func hitsOf(w io.Writer, r *dispatchv1.RunStatus, y Yard) {
	if r.GetState() == dispatchv1.RunState_RUN_STATE_CANCELLED {
		return
	}
	left := r.GetState() == dispatchv1.RunState_RUN_STATE_DEPARTED || r.GetState() == dispatchv1.RunState_RUN_STATE_DELIVERED
	down := setDown(r)
	runHits(w, r.GetRun().GetRunId(), r.GetHits(), func(h *dispatcheventv1.RunHit) whereNow {
		return whereOf(h, left, down[h.GetPieceId()])
	}, contacts(r.GetRun(), y))
}

// Changed prints what hit a run as the feed tells it.
func Changed(w io.Writer, e *dispatcheventv1.RunChanged) {
	runHits(w, e.GetRunId(), e.GetHits(), func(h *dispatcheventv1.RunHit) whereNow {
		return whereOf(h, e.GetDeparted(), h.GetWhere() == "delivered")
	}, "")
}

func whereOf(h *dispatcheventv1.RunHit, left, down bool) whereNow {
	away := h.GetKind() == dispatcheventv1.RunHitKind_RUN_HIT_KIND_RETURNED || h.GetKind() == dispatcheventv1.RunHitKind_RUN_HIT_KIND_SCRAPPED
	switch {
	case away && (left || down):
		return gone
	case down:
		return atSite
	case left:
		return onRoad
	default:
		return inYard
	}
}

// setDown returns the pieces of a run that stand at a site.
func setDown(r *dispatchv1.RunStatus) map[string]bool {
	down := map[string]bool{}
	for _, id := range r.GetSetDownPieceIds() {
		down[id] = true
	}
	for _, pile := range r.GetRun().GetPiles() {
		if !slices.Contains(r.GetDeliveredDrops(), pile.GetDropNumber()) {
			continue
		}
		for _, tier := range pile.GetTiers() {
			for _, item := range tier.GetItems() {
				down[item.GetPieceId()] = true
			}
		}
	}
	return down
}

// contacts names whom to call at the sites of a run.
func contacts(run *dispatcheventv1.Run, y Yard) string {
	var out []string
	for _, d := range run.GetDrops() {
		if contact := y.Sites[d.GetSiteId()].GetContact(); contact != "" {
			out = append(out, y.site(d.GetSiteId())+": "+contact)
		}
	}
	return strings.Join(out, "; ")
}

// runHits prints the hits of a run, those that ask for the same together; "was"
// is where a piece was when it was hit.
func runHits(w io.Writer, run string, list []*dispatcheventv1.RunHit, where func(*dispatcheventv1.RunHit) whereNow, call string) {
	for _, place := range []whereNow{inYard, onRoad, atSite, gone} {
		t := newTable("piece", "mark", "batch", "was", "why")
		for _, h := range list {
			if where(h) == place {
				t.add(h.GetPieceId(), dash(h.GetMark()), h.GetBatchId(), h.GetWhere(), h.GetReason())
			}
		}
		if len(t.rows) == 0 {
			continue
		}
		fmt.Fprintln(w)
		paragraph(w, "", "", place.todo(run))
		if place != inYard && call != "" {
			paragraph(w, "", "  ", "To call: "+call+".")
		}
		t.write(w)
	}
}

// RunCleared prints that a quarantine holds pieces of a run up no more.
func RunCleared(w io.Writer, e *dispatcheventv1.RunCleared) {
	where := "The run may leave with them"
	if e.GetDeparted() {
		where = "They may be laid: tell the site"
	}
	paragraph(w, "", "", fmt.Sprintf("RUN %s: batch %s is released anew and holds up %s no more: %s. %s, unless something else stands against it.",
		e.GetRunId(), e.GetBatchId(), count(len(e.GetPieceIds()), "piece"), strings.Join(e.GetPieceIds(), " "), where))
}
