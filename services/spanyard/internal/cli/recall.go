package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) batchRecallCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "recall BATCH",
		Short: "Find every piece of a batch, and whom to call about it",
		Long: `Finds every piece of a batch: on which truck, at which site and for which mark,
in which stack and tier; and whom to call. With --out also as a page to print
(PDF) and as a table (XLSX).`,
		Example: "  spanyard batch recall B0412\n  spanyard batch recall B0412 --out papers",
		Args:    cobra.ExactArgs(1),
		RunE:    func(cmd *cobra.Command, args []string) error { return p.recall(cmd, args[0], out) },
	}
	c.Flags().StringVar(&out, "out", "", "folder for the page and the table; none are made, if not given")
	return c
}

func (p *program) recall(cmd *cobra.Command, batch, out string) error {
	c, err := p.stock()
	if err != nil {
		return err
	}
	ctx := p.as(cmd.Context())
	req := &stockv1.RecallBatchRequest{Yard: p.yard, BatchId: batch, Contacts: p.contacts(ctx)}
	if out != "" {
		req.Files = []stockv1.RecallFileKind{stockv1.RecallFileKind_RECALL_FILE_KIND_PDF, stockv1.RecallFileKind_RECALL_FILE_KIND_XLSX}
	}
	answer, err := c.RecallBatch(ctx, req)
	if err != nil {
		return err
	}
	if err := p.keepRecall(out, answer.GetFiles()); err != nil {
		return err
	}
	answer.Files = nil // they are on disk
	return p.answer(answer, func(w io.Writer) { show.Recall(w, answer) })
}

// contacts of the sites. A recall is shown also when dispatch cannot be asked:
// then it says that no contact is known.
func (p *program) contacts(ctx context.Context) []*stockv1.SiteContact {
	c, err := p.dispatch()
	if err != nil {
		return nil
	}
	sites, err := c.ListSites(ctx, &dispatchv1.ListSitesRequest{Yard: p.yard})
	if err != nil {
		fmt.Fprintln(p.errw, "Dispatch cannot be asked for the contacts of the sites: "+err.Error())
		return nil
	}
	var out []*stockv1.SiteContact
	for _, s := range sites.GetSites() {
		out = append(out, &stockv1.SiteContact{SiteId: s.GetSiteId(), Name: s.GetName(), Contact: s.GetContact()})
	}
	return out
}

func (p *program) keepRecall(folder string, files []*stockv1.RecallFile) error {
	if len(files) == 0 {
		return nil
	}
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return fault.New(fault.Refused, "FOLDER_REFUSED", "The folder %s cannot be made.", folder).Because(err)
	}
	for _, f := range files {
		path := filepath.Join(folder, filepath.Base(f.GetName()))
		if err := os.WriteFile(path, f.GetContent(), 0o666); err != nil {
			return fault.New(fault.Refused, "FILE_REFUSED", "%s cannot be written.", path).Because(err)
		}
		fmt.Fprintln(p.errw, "Wrote "+path)
	}
	return nil
}
