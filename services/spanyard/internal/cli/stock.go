package cli

import (
	"io"

	"github.com/spf13/cobra"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/spanyard/internal/show"
	"spanyard.example/services/spanyard/internal/yardfile"
)

func (p *program) stockCommand() *cobra.Command {
	imp := &cobra.Command{
		Use:   "import FILE",
		Short: "Take an opening stock count from a table (.xlsx, .csv or .json)",
		Long: `Takes an opening stock count: batches with their stacks, tests and releases. One
bad row, and nothing changes; every bad cell is named.

Columns: batch, kind (beams or blocks), made_on, profile, wire_pattern,
length_mm, block_kind, count, mass_kg_each, stack, fck_cylinder_mpa,
fck_cube_mpa, declared_block_mpa, laboratory, test_id, tested_on, specimen
(cylinder, cube or block), strengths_mpa ("41.2; 43.0"), released_by, released_on
(the day of the count, if left out), kept_for_job (the job that beams are made
for).`,
		Example: "  spanyard stock import stock-count.xlsx",
		Args:    cobra.ExactArgs(1),
		RunE:    p.importStock,
	}
	return group(groupYard, "stock", "What is in the yard and what is free", "",
		"  spanyard stock summary --day 2027-03-17\n  spanyard stock free --profile T150 --wires p4 --length 3600",
		imp, p.stockAvailableCommand(), p.stockFreeCommand(), p.stockSummaryCommand(), p.stockRulesCommand(), p.stockWatchCommand())
}

func (p *program) stockRulesCommand() *cobra.Command {
	one := &cobra.Command{
		Use:     "show",
		Short:   "Show the time zone, the least ages and the tiers that stock goes by",
		Example: "  spanyard stock rules show",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.GetYardRules(p.as(cmd.Context()), &stockv1.GetYardRulesRequest{Yard: p.yard})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.StockRules(w, p.yard, answer.GetRules()) })
		},
	}
	rules := group("", "rules", "The rules that stock goes by", "Set by 'spanyard yard set'.", "  spanyard stock rules show", one)
	return rules
}

func (p *program) importStock(cmd *cobra.Command, args []string) error {
	format, err := yardfile.TableFormat(args[0])
	if err != nil {
		return err
	}
	name, content, err := readFile(args[0])
	if err != nil {
		return err
	}
	c, err := p.stock()
	if err != nil {
		return err
	}
	answer, err := c.ImportStockCount(p.as(cmd.Context()), &stockv1.ImportStockCountRequest{
		Yard: p.yard, RequestId: p.request(), FileName: name, Format: stockv1.FileFormat(format), Content: content,
	})
	if err != nil {
		return err
	}
	return p.answer(answer, said("Taken into the yard: batches %d, beams %d, blocks %d.", answer.GetBatchCount(), answer.GetBeamCount(), answer.GetBlockCount()))
}

func (p *program) stockFreeCommand() *cobra.Command {
	req := &stockv1.ListFreePiecesRequest{}
	c := &cobra.Command{
		Use:   "free",
		Short: "List what may leave and is nobody's, oldest release first",
		Example: `  spanyard stock free
  spanyard stock free --profile T150 --wires p4 --length 3600
  spanyard stock free --blocks`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.listFree(cmd, req) },
	}
	f := c.Flags()
	f.StringVar(&req.Profile, "profile", "", "only this profile")
	f.StringVar(&req.WirePattern, "wires", "", "only this wire pattern")
	f.Int32Var(&req.LengthMm, "length", 0, "only this length, mm")
	f.StringVar(&req.BlockKind, "block", "", "only this kind of blocks")
	f.BoolVar(&req.BeamsOnly, "beams", false, "only beams")
	f.BoolVar(&req.BlocksOnly, "blocks", false, "only blocks")
	c.MarkFlagsMutuallyExclusive("beams", "blocks")
	return c
}

func (p *program) listFree(cmd *cobra.Command, req *stockv1.ListFreePiecesRequest) error {
	c, err := p.stock()
	if err != nil {
		return err
	}
	// A filter on the one kind is a question about that kind only.
	req.BeamsOnly = req.BeamsOnly || (req.BlockKind == "" && (req.Profile != "" || req.WirePattern != "" || req.LengthMm != 0))
	req.BlocksOnly = req.BlocksOnly || (req.BlockKind != "" && !req.BeamsOnly)
	req.Yard, req.PageSize = p.yard, pageSize
	all := &stockv1.ListFreePiecesResponse{}
	for {
		page, err := c.ListFreePieces(p.as(cmd.Context()), req)
		if err != nil {
			return err
		}
		all.Beams = append(all.Beams, page.GetBeams()...)
		all.Blocks = append(all.Blocks, page.GetBlocks()...)
		all.Position = page.GetPosition()
		if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
			break
		}
	}
	return p.answer(all, func(w io.Writer) { show.Free(w, all.GetBeams(), all.GetBlocks()) })
}

func (p *program) stockSummaryCommand() *cobra.Command {
	var day string
	c := &cobra.Command{
		Use:     "summary",
		Short:   "Count free, reserved and quarantined pieces, and what will be old enough",
		Example: "  spanyard stock summary\n  spanyard stock summary --day 2027-03-17",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.SummariseStock(p.as(cmd.Context()), &stockv1.SummariseStockRequest{Yard: p.yard, Day: day})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Summary(w, answer) })
		},
	}
	c.Flags().StringVar(&day, "day", "", "day asked about, YYYY-MM-DD; today, if not given")
	return c
}

func (p *program) stockWatchCommand() *cobra.Command {
	var after uint64
	c := &cobra.Command{
		Use:   "watch",
		Short: "Follow everything that happens in the yard, until Ctrl-C",
		Long:  "Follows the yard's events. Every line begins with its position: give it with\n--after to go on from there. With --json, one JSON object on each line.",
		Example: `  spanyard stock watch
  spanyard stock watch --after 120`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx := p.as(cmd.Context())
			zone, err := p.zone(ctx)
			if err != nil {
				return err
			}
			c, err := p.stock()
			if err != nil {
				return err
			}
			stream, err := c.WatchStock(ctx, &stockv1.WatchStockRequest{Yard: p.yard, AfterPosition: after})
			if err != nil {
				return err
			}
			return follow(ctx, stream.Recv, func(e *stockv1.WatchStockResponse) error {
				if p.json {
					return writeJSON(p.out, e, false)
				}
				show.StockEvent(p.out, e, zone)
				return nil
			})
		},
	}
	c.Flags().Uint64Var(&after, "after", 0, "events after this position; 0 is from the beginning")
	return c
}

func (p *program) stackCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "stack STACK",
		GroupID: groupYard,
		Short:   "Show a stack from top to bottom; advise and sort",
		Example: "  spanyard stack A-03\n  spanyard stack advise B0412\n  spanyard stack sort 2027-03-17",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.GetStack(p.as(cmd.Context()), &stockv1.GetStackRequest{Yard: p.yard, StackId: args[0]})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Stack(w, answer) })
		},
	}
	c.AddCommand(p.stackAdviseCommand(), p.stackSortCommand())
	return c
}

func (p *program) traceCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "trace PIECE",
		GroupID: groupYard,
		Short:   "Show all that happened to one beam or pallet",
		Example: "  spanyard trace B0412-017",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			ctx := p.as(cmd.Context())
			answer, err := c.GetPieceHistory(ctx, &stockv1.GetPieceHistoryRequest{Yard: p.yard, PieceId: args[0]})
			if err != nil {
				return err
			}
			zone, err := p.zone(ctx)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.History(w, answer, zone) })
		},
	}
}
