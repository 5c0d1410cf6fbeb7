package show

import (
	"fmt"
	"io"
	"slices"
	"strings"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// Available prints what can be promised for a day.
func Available(w io.Writer, a *stockv1.GetAvailabilityResponse) {
	fmt.Fprintf(w, "AVAILABLE FOR %s, in beams and blocks\n", a.GetDay())
	fmt.Fprintln(w, "Free and kept are released; provisional is not yet, and is never confirmed before it is.")
	if len(a.GetProducts()) == 0 {
		note(w, "The yard is empty, and nothing is called off.")
	} else {
		availableTable(w, a.GetProducts())
	}
	coming(w, a.GetProducts())
	for _, h := range a.GetWithheld() {
		withheld(w, h)
	}
}

func productOf(p *stockv1.Availability) string {
	if p.GetBlockKind() != "" {
		return "blocks " + p.GetBlockKind()
	}
	return fmt.Sprintf("%s/%s %d mm", p.GetProfile(), p.GetWirePattern(), p.GetLengthMm())
}

func availableTable(w io.Writer, products []*stockv1.Availability) {
	t := newTable("product", "free#", "kept#", "promised#", "stopped#", "picked#", "provis.#", "later#", "held#", "needed#", "short#", "even so#")
	for _, p := range products {
		t.add(productOf(p), p.GetFree(), p.GetKept(), p.GetPromised(), p.GetStopped(), p.GetOnRuns(), p.GetProvisional(), p.GetLater(), p.GetWithheld(), p.GetNeeded(), p.GetShort(), p.GetShortEvenSo())
	}
	t.write(w)
	paragraph(w, "", "", "Kept: for the job it was made for. Stopped: promised, and quarantined since; needed counts it. Picked: picked or loaded for a run and not delivered; taken back, it is free again. Later: cannot be released by that day. Held: quarantined, or results do not conform.")
	if slices.ContainsFunc(products, func(p *stockv1.Availability) bool { return p.GetShort() > 0 }) {
		paragraph(w, "", "", "Short: needed by the call-offs until that day, and neither free nor kept for their job. Even so: still short when all that is provisional is released in time.")
	}
}

func coming(w io.Writer, products []*stockv1.Availability) {
	t := newTable("earliest on", "batch", "pieces#", "product", "waits for")
	for _, p := range products {
		for _, c := range p.GetComing() {
			t.add(c.GetEarliestOn(), c.GetBatchId(), c.GetCount(), productOf(p), c.GetSentence())
		}
	}
	if len(t.rows) == 0 {
		return
	}
	fmt.Fprintln(w, "\nNOT RELEASED YET")
	t.write(w)
}

func withheld(w io.Writer, h *stockv1.Withheld) {
	paragraph(w, "\n", "  ", fmt.Sprintf("HELD BACK, batch %s: %s. It takes %s out of the yard's stock and hits %s.", h.GetBatchId(), strings.TrimSuffix(h.GetReason(), "."),
		count(h.GetTakenCount(), "piece"), count(len(h.GetHits()), "piece")))
	t := newTable("piece", "is", "run", "site", "job", "mark")
	for _, hit := range h.GetHits() {
		a := hit.GetAllocation()
		t.add(hit.GetPieceId(), pieceState(hit.GetState()), a.GetRunId(), a.GetSiteId(), a.GetJobId(), dash(a.GetMark()))
	}
	if len(h.GetHits()) > 0 {
		t.write(w)
	}
}
