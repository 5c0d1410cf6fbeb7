package cli

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) floorPapersCommand() *cobra.Command {
	var revision int32
	var out, sheet string
	c := &cobra.Command{
		Use:   "papers JOB FLOOR",
		Short: "Write a plan's drawings, quantities and calculation sheets",
		Long: `Writes the laying plan (PDF, SVG, PNG, DXF), the beam schedule and quantities
(XLSX, CSV, PDF) and the calculation sheets (PDF) of a plan, as it is stored.`,
		Example: "  spanyard floor papers J101 1 --out sheets\n  spanyard floor papers J101 1 --revision 1 --sheet A1 --out sheets",
		Args:    cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.layout()
			if err != nil {
				return err
			}
			req := &layoutv1.RenderDocumentsRequest{Yard: p.yard, JobId: args[0], Floor: args[1], Revision: revision, Sheet: sheet}
			for k := layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_PDF; k <= layoutv1.DocumentKind_DOCUMENT_KIND_CALCULATIONS_PDF; k++ {
				req.Documents = append(req.Documents, k)
			}
			answer, err := c.RenderDocuments(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			return p.keepDocuments(out, answer.GetDocuments())
		},
	}
	c.Flags().Int32Var(&revision, "revision", 0, "revision of the plan; 0 is the newest")
	c.Flags().StringVar(&sheet, "sheet", "A3", "sheet of the drawing: A3 or A1")
	c.Flags().StringVar(&out, "out", ".", "folder to put the documents in")
	return c
}

func (p *program) floorCompareCommand() *cobra.Command {
	var from, to int32
	c := &cobra.Command{
		Use:   "compare JOB FLOOR",
		Short: "Say beam by beam what differs between two revisions",
		Long: `Names every beam that is added, taken away, made otherwise or laid elsewhere,
and what the yard already has for its mark: cast and reserved, picked, loaded
or delivered. Without flags the newest revision is compared with the one before.`,
		Example: "  spanyard floor compare J101 1\n  spanyard floor compare J101 1 --from 1 --to 3",
		Args:    cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return p.compareFloor(cmd, args[0], args[1], from, to)
		},
	}
	c.Flags().Int32Var(&from, "from", 0, "earlier revision; 0 is the one before the later")
	c.Flags().Int32Var(&to, "to", 0, "later revision; 0 is the newest")
	return c
}

func (p *program) compareFloor(cmd *cobra.Command, job, floor string, from, to int32) error {
	c, err := p.layout()
	if err != nil {
		return err
	}
	if to == 0 {
		now, err := p.newest(cmd.Context(), c, job, floor)
		if err != nil {
			return err
		}
		to = now.GetSummary().GetRevision()
	}
	if from == 0 {
		if from = to - 1; from == 0 {
			return fault.New(fault.Stale, "ONE_REVISION", "Job %s floor %s has one revision; there is nothing to compare it with.", job, floor)
		}
	}
	answer, err := c.CompareRevisions(p.as(cmd.Context()), &layoutv1.CompareRevisionsRequest{
		Yard: p.yard, JobId: job, Floor: floor, FromRevision: from, ToRevision: to,
	})
	if err != nil {
		return err
	}
	found, err := p.findMarks(cmd, job, answer.GetChanges())
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		fmt.Fprintf(w, "JOB %s, FLOOR %s: revision %d against revision %d\n", job, floor, to, from)
		show.Comparison(w, answer, found)
		show.DesignCautions(w)
	})
}

// findMarks asks stock what it has for the marks of changed beams.
func (p *program) findMarks(cmd *cobra.Command, job string, changes []*layoutv1.BeamChange) (map[string][]*stockv1.Piece, error) {
	found := map[string][]*stockv1.Piece{}
	if len(changes) == 0 {
		return found, nil
	}
	c, err := p.stock()
	if err != nil {
		return nil, err
	}
	req := &stockv1.FindMarksRequest{Yard: p.yard, JobId: job}
	for _, x := range changes {
		req.Marks = append(req.Marks, x.GetMark())
	}
	answer, err := c.FindMarks(p.as(cmd.Context()), req)
	if err != nil {
		return nil, err
	}
	for _, m := range answer.GetMarks() {
		found[m.GetMark()] = m.GetPieces()
	}
	return found, nil
}
