package pages

import (
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/fault"
)

func recallPages() []shell.Page {
	return []shell.Page{
		{Pattern: "GET /stock/{batch}/recall", Handle: recall},
		{Pattern: "GET /stock/{batch}/recall/{file}", Handle: recallFile},
	}
}

// recallView is where every piece of a batch is, and whom to call.
type recallView struct {
	*stockv1.RecallBatchResponse
	State string
}

// askRecall asks stock, with the contacts of the sites from dispatch. A recall
// is shown also when dispatch cannot be asked: then no contact is known.
func askRecall(r *shell.Request, files ...stockv1.RecallFileKind) (*stockv1.RecallBatchResponse, error) {
	s := r.Shell()
	req := &stockv1.RecallBatchRequest{Yard: s.Yard, BatchId: r.R.PathValue("batch"), Files: files}
	if sites, err := s.Dispatch.ListSites(r.Ctx(), &dispatchv1.ListSitesRequest{Yard: s.Yard}); err == nil {
		for _, site := range sites.GetSites() {
			req.Contacts = append(req.Contacts, &stockv1.SiteContact{SiteId: site.GetSiteId(), Name: site.GetName(), Contact: site.GetContact()})
		}
	}
	return s.Stock.RecallBatch(r.Ctx(), req)
}

func recall(r *shell.Request) error {
	answer, err := askRecall(r)
	if err != nil {
		return err
	}
	return r.Show("recall", recallView{answer, stateOf(answer.GetBatch().GetState())})
}

func recallFile(r *shell.Request) error {
	kind, ok := map[string]stockv1.RecallFileKind{
		"pdf": stockv1.RecallFileKind_RECALL_FILE_KIND_PDF, "xlsx": stockv1.RecallFileKind_RECALL_FILE_KIND_XLSX,
	}[r.R.PathValue("file")]
	if !ok {
		return fault.New(fault.NotFound, "FILE_UNKNOWN", "%s", r.Shell().Words.Say("problem.page"))
	}
	answer, err := askRecall(r, kind)
	if err != nil {
		return err
	}
	for _, f := range answer.GetFiles() {
		return r.Send(f.GetName(), f.GetMediaType(), f.GetContent())
	}
	return fault.New(fault.NotFound, "FILE_UNKNOWN", "%s", r.Shell().Words.Say("problem.page"))
}
