package pages

import (
	"archive/zip"
	"bytes"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

// paperKinds are the papers of a run, by their word in the address.
var paperKinds = map[string]dispatchv1.RunPaperKind{
	"load-sheet": dispatchv1.RunPaperKind_RUN_PAPER_KIND_LOAD_SHEET,
	"pick-list":  dispatchv1.RunPaperKind_RUN_PAPER_KIND_PICK_LIST,
	"run-sheet":  dispatchv1.RunPaperKind_RUN_PAPER_KIND_RUN_SHEET,
	"note":       dispatchv1.RunPaperKind_RUN_PAPER_KIND_DELIVERY_NOTE,
	"deck":       dispatchv1.RunPaperKind_RUN_PAPER_KIND_DECK_DRAWING,
}

// papersOf a run. Delivery notes carry a code that opens their drop for whoever
// has the note in hand, for as long as a link to a site lasts.
func papersOf(r *shell.Request, kind dispatchv1.RunPaperKind) ([]*dispatchv1.RunPaper, error) {
	s := r.Shell()
	req := &dispatchv1.RenderRunPapersRequest{Yard: s.Yard, RunId: r.R.PathValue("run"), Papers: []dispatchv1.RunPaperKind{kind}}
	if kind == dispatchv1.RunPaperKind_RUN_PAPER_KIND_DELIVERY_NOTE && r.Person().Has(auth.Dispatcher) {
		runs, err := s.Dispatch.ListRuns(r.Ctx(), &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: dayOfPlan(req.GetRunId())})
		if err != nil {
			return nil, err
		}
		for _, run := range runs.GetRuns() {
			if run.GetRun().GetRunId() != req.GetRunId() {
				continue
			}
			for _, d := range run.GetRun().GetDrops() {
				link, err := s.SiteLink(auth.Drop{RunID: req.GetRunId(), Number: d.GetNumber()}, linkLife)
				if err != nil {
					return nil, err
				}
				req.Links = append(req.Links, &dispatchv1.DropLink{DropNumber: d.GetNumber(), Address: r.Origin() + link})
			}
		}
	}
	answer, err := s.Dispatch.RenderRunPapers(r.Ctx(), req)
	if err != nil {
		return nil, err
	}
	return answer.GetPapers(), nil
}

// deckDrawing is the drawing of a run's deck, to be looked at in a page.
func deckDrawing(r *shell.Request) error {
	all, err := papersOf(r, dispatchv1.RunPaperKind_RUN_PAPER_KIND_DECK_DRAWING)
	if err != nil {
		return err
	}
	r.W.Header().Set("Content-Type", all[0].GetMediaType())
	_, err = r.W.Write(all[0].GetContent())
	return err
}

// runPaper sends a paper of a run; several delivery notes come in one archive.
func runPaper(r *shell.Request) error {
	kind, ok := paperKinds[r.R.PathValue("kind")]
	if !ok {
		return fault.New(fault.NotFound, "PAPER_UNKNOWN", "%s", r.Shell().Words.Say("problem.page"))
	}
	all, err := papersOf(r, kind)
	if err != nil {
		return err
	}
	if len(all) == 1 {
		return r.Send(all[0].GetName(), all[0].GetMediaType(), all[0].GetContent())
	}
	var archive bytes.Buffer
	z := zip.NewWriter(&archive)
	for _, p := range all {
		w, err := z.Create(p.GetName())
		if err != nil {
			return err
		}
		if _, err := w.Write(p.GetContent()); err != nil {
			return err
		}
	}
	if err := z.Close(); err != nil {
		return err
	}
	return r.Send(r.R.PathValue("run")+"-delivery-notes.zip", "application/zip", archive.Bytes())
}
