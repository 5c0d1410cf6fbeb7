package cli

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) batchCommand() *cobra.Command {
	list := &cobra.Command{
		Use:     "list",
		Short:   "List batches with their state and counts",
		Example: "  spanyard batch list",
		Args:    cobra.NoArgs,
		RunE:    p.listBatches,
	}
	one := &cobra.Command{
		Use:     "show BATCH",
		Short:   "Show a batch: tests, release, and where each piece is now",
		Example: "  spanyard batch show B0412",
		Args:    cobra.ExactArgs(1),
		RunE:    p.showBatch,
	}
	return group(groupLab, "batch", "Batches: received, tested, released, quarantined", "",
		"  spanyard batch list\n  spanyard batch release B0412 --by \"Pim Quillbottle\"",
		list, one, p.batchDueCommand(), p.batchCureCommand(), p.batchForecastCommand(), p.batchRecallCommand(), p.batchProductionCommand(), p.batchReceiveCommand(), p.batchTestCommand(), p.batchReleaseCommand(), p.batchQuarantineCommand(), p.batchLiftCommand())
}

func (p *program) batchProductionCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "production",
		Short:   "Show how each concrete stands in its production control (EN 206 8.2.1)",
		Example: "  spanyard batch production",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.ReviewProduction(p.as(cmd.Context()), &stockv1.ReviewProductionRequest{Yard: p.yard})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Production(w, answer.GetConcretes()) })
		},
	}
}

func (p *program) listBatches(cmd *cobra.Command, _ []string) error {
	c, err := p.stock()
	if err != nil {
		return err
	}
	req := &stockv1.ListBatchesRequest{Yard: p.yard, PageSize: pageSize}
	all := &stockv1.ListBatchesResponse{}
	for {
		page, err := c.ListBatches(p.as(cmd.Context()), req)
		if err != nil {
			return err
		}
		all.Batches = append(all.Batches, page.GetBatches()...)
		all.Position = page.GetPosition()
		if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
			break
		}
	}
	return p.answer(all, func(w io.Writer) { show.Batches(w, all.GetBatches()) })
}

func (p *program) showBatch(cmd *cobra.Command, args []string) error {
	c, err := p.stock()
	if err != nil {
		return err
	}
	answer, err := c.GetBatch(p.as(cmd.Context()), &stockv1.GetBatchRequest{Yard: p.yard, BatchId: args[0]})
	if err != nil {
		return err
	}
	zone, err := p.zone(p.as(cmd.Context()))
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) { show.Batch(w, answer.GetBatch(), answer.GetPieces(), zone) })
}

func (p *program) batchTestCommand() *cobra.Command {
	var test, laboratory, on, specimen string
	var strengths []float64
	c := &cobra.Command{
		Use:   "test BATCH",
		Short: "Record a laboratory's results; results that do not conform quarantine the batch",
		Example: `  spanyard batch test B0412 --test TW-77 --laboratory "Tumblewick Testing Room" \
      --on 2027-03-12 --specimen cylinder --strengths 44.8,46.1,45.3`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			kind, err := specimenKind(specimen)
			if err != nil {
				return err
			}
			return p.recordTest(cmd, &stockv1.RecordTestRequest{
				Yard: p.yard, BatchId: args[0], TestId: test, Laboratory: laboratory, TestedOn: on, Specimen: kind, StrengthsMpa: strengths,
			})
		},
	}
	f := c.Flags()
	f.StringVar(&test, "test", "", "the laboratory's number of the test (required)")
	f.StringVar(&laboratory, "laboratory", "", "who tested (required)")
	f.StringVar(&on, "on", "", "day of the test, YYYY-MM-DD (required)")
	f.StringVar(&specimen, "specimen", "", "what was crushed: cylinder, cube or block (required)")
	f.Float64SliceVar(&strengths, "strengths", nil, "strength of each specimen in MPa, with commas between (required)")
	required(c, "test", "laboratory", "on", "specimen", "strengths")
	return c
}

func specimenKind(name string) (stockeventv1.SpecimenKind, error) {
	v, ok := stockeventv1.SpecimenKind_value["SPECIMEN_KIND_"+strings.ToUpper(name)]
	if !ok || v == 0 {
		return 0, fault.New(fault.Invalid, "SPECIMEN_UNKNOWN", "The kind of specimen is not right.").
			At("specimen", name, "is no specimen", "cylinder, cube, block")
	}
	return stockeventv1.SpecimenKind(v), nil
}

func (p *program) recordTest(cmd *cobra.Command, req *stockv1.RecordTestRequest) error {
	c, err := p.stock()
	if err != nil {
		return err
	}
	req.RequestId = p.request()
	answer, err := c.RecordTest(p.as(cmd.Context()), req)
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		fmt.Fprintln(w, show.Verdict(answer.GetVerdict()))
		if q := answer.GetQuarantine(); q != nil {
			show.Quarantine(w, q)
		}
	})
}

func (p *program) batchReleaseCommand() *cobra.Command {
	var by string
	c := &cobra.Command{
		Use:     "release BATCH",
		Short:   "Let a batch leave the yard: old enough, tested, conforming",
		Example: `  spanyard batch release B0412 --by "Pim Quillbottle"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			ctx := p.as(cmd.Context())
			answer, err := c.ReleaseBatch(ctx, &stockv1.ReleaseBatchRequest{Yard: p.yard, RequestId: p.request(), BatchId: args[0], ReleasedBy: p.by(by)})
			if err != nil {
				return err
			}
			zone, err := p.zone(ctx)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) {
				fmt.Fprintln(w, show.Release(answer.GetRelease(), zone))
				show.Cleared(w, answer.GetRelease())
				show.ReleaseCautions(w)
			})
		},
	}
	c.Flags().StringVar(&by, "by", "", "who releases it; you, if not given")
	return c
}

// by is the person named for an action: the one given, or who asks.
func (p *program) by(name string) string {
	if name == "" {
		return p.actor
	}
	return name
}

func (p *program) batchQuarantineCommand() *cobra.Command {
	var by, reason string
	c := &cobra.Command{
		Use:     "quarantine BATCH",
		Short:   "Stop a batch at once and see whom it hits",
		Example: `  spanyard batch quarantine B0412 --reason "cracks seen in stack A-03"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.QuarantineBatch(p.as(cmd.Context()), &stockv1.QuarantineBatchRequest{
				Yard: p.yard, RequestId: p.request(), BatchId: args[0], Reason: reason, QuarantinedBy: p.by(by),
			})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Quarantine(w, answer.GetQuarantine()) })
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "why nothing of it may leave (required)")
	c.Flags().StringVar(&by, "by", "", "who stops it; you, if not given")
	required(c, "reason")
	return c
}

func (p *program) batchLiftCommand() *cobra.Command {
	var by, reason string
	c := &cobra.Command{
		Use:     "lift BATCH",
		Short:   "Lift a quarantine, with a reason; the batch has to be released anew",
		Example: `  spanyard batch lift B0412 --reason "cores drilled, report TW-81" --by "Pim Quillbottle"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.LiftQuarantine(p.as(cmd.Context()), &stockv1.LiftQuarantineRequest{
				Yard: p.yard, RequestId: p.request(), BatchId: args[0], LiftedBy: p.by(by), Reason: reason,
			})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) {
				fmt.Fprintf(w, "The quarantine of batch %s is lifted. It cures again, and may leave when it is released anew;\nresults that do not conform still stand against that: 'spanyard batch show %s'.\n", args[0], args[0])
				show.ReleaseCautions(w)
			})
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "why it may be lifted (required)")
	c.Flags().StringVar(&by, "by", "", "who lifts it; you, if not given")
	required(c, "reason")
	return c
}
