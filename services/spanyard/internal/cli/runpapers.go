package cli

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

// runPapers are all papers of a run, in the order in which they are used.
var runPapers = []dispatchv1.RunPaperKind{
	dispatchv1.RunPaperKind_RUN_PAPER_KIND_PICK_LIST, dispatchv1.RunPaperKind_RUN_PAPER_KIND_LOAD_SHEET,
	dispatchv1.RunPaperKind_RUN_PAPER_KIND_RUN_SHEET, dispatchv1.RunPaperKind_RUN_PAPER_KIND_DELIVERY_NOTE,
	dispatchv1.RunPaperKind_RUN_PAPER_KIND_DECK_DRAWING,
}

func (p *program) runPapersCommand() *cobra.Command {
	var out, desk string
	c := &cobra.Command{
		Use:   "papers RUN",
		Short: "Print a run's papers: pick list, load sheet, run sheet, delivery notes",
		Long: `Writes the papers of a planned or confirmed run: pick list, load sheet with the
deck drawn, the driver's run sheet, a delivery note for each drop (PDF), and the
drawing of the deck (SVG). With --desk the notes carry a QR code that opens the
drop at the desk's address: with the desk's own key as --access-key for whoever has
the note, until two days after the delivery; without it after signing in.`,
		Example: "  spanyard run papers 2027-03-17-P1-R03 --out papers --desk https://desk.yard.example",
		Args:    cobra.ExactArgs(1),
		RunE:    func(cmd *cobra.Command, args []string) error { return p.runPapers(cmd, args[0], out, desk) },
	}
	c.Flags().StringVar(&out, "out", "", "folder for the papers (required)")
	c.Flags().StringVar(&desk, "desk", "", "address at which sites reach the desk; no QR codes, if not given")
	required(c, "out")
	return c
}

func (p *program) runPapers(cmd *cobra.Command, run, out, desk string) error {
	c, err := p.dispatch()
	if err != nil {
		return err
	}
	if base, err := url.Parse(desk); desk != "" && (err != nil || base.Host == "" || base.Scheme != "https" && base.Scheme != "http") {
		return fault.New(fault.Invalid, "DESK_INVALID", "The desk's address is not right.").At("--desk", desk, "is no web address", `such as "https://desk.yard.example"`)
	}
	links, err := p.dropLinks(cmd.Context(), c, run, desk)
	if err != nil {
		return err
	}
	answer, err := c.RenderRunPapers(p.as(cmd.Context()), &dispatchv1.RenderRunPapersRequest{Yard: p.yard, RunId: run, Papers: runPapers, DeskAddress: desk, Links: links})
	if err != nil {
		return err
	}
	if err := os.MkdirAll(out, 0o777); err != nil {
		return fault.New(fault.Refused, "FOLDER_REFUSED", "The folder %s cannot be made.", out).Because(err)
	}
	for _, paper := range answer.GetPapers() {
		path := filepath.Join(out, filepath.Base(paper.GetName()))
		if err := os.WriteFile(path, paper.GetContent(), 0o666); err != nil {
			return fault.New(fault.Refused, "FILE_REFUSED", "%s cannot be written.", path).Because(err)
		}
		fmt.Fprintln(p.errw, "Wrote "+path)
		paper.Content = nil // it is on disk
	}
	if p.json {
		return writeJSON(p.out, answer, true)
	}
	show.LoadingCautions(p.out)
	return nil
}

// linkDays after the day of a delivery its links run out.
const linkDays = 2

// dropLinks are links to a run's drops that are signed with the desk's key; none
// without a desk or a key.
func (p *program) dropLinks(ctx context.Context, c dispatchv1.DispatchServiceClient, run, desk string) ([]*dispatchv1.DropLink, error) {
	if desk == "" || p.accessKey == "" || len(run) < len(time.DateOnly) {
		return nil, nil
	}
	signer, err := p.signer()
	if err != nil {
		return nil, err
	}
	day, err := time.Parse(time.DateOnly, run[:len(time.DateOnly)])
	if err != nil {
		return nil, nil // the service says that there is no such run
	}
	runs, err := c.ListRuns(p.as(ctx), &dispatchv1.ListRunsRequest{Yard: p.yard, Day: day.Format(time.DateOnly)})
	if err != nil {
		return nil, err
	}
	var links []*dispatchv1.DropLink
	for _, r := range runs.GetRuns() {
		if r.GetRun().GetRunId() != run {
			continue
		}
		for _, d := range r.GetRun().GetDrops() {
			text, err := signer.DropLink(auth.Drop{RunID: run, Number: d.GetNumber()}, day.AddDate(0, 0, linkDays+1))
			if err != nil {
				return nil, err
			}
			links = append(links, &dispatchv1.DropLink{DropNumber: d.GetNumber(), Address: strings.TrimSuffix(desk, "/") + auth.LinkPath + text})
		}
	}
	return links, nil
}
