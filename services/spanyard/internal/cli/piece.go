package cli

import (
	"io"

	"github.com/spf13/cobra"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) pieceCommand() *cobra.Command {
	return group(groupYard, "piece", "Say what is done with single beams and pallets",
		`Records what is done with single pieces; all of a command or none of it. For all
pieces of a run at once, see 'spanyard run pick' and 'spanyard run load'.`,
		`  spanyard piece pick R-1 B0412-017 B0412-018
  spanyard piece return A-03 B0412-017 --reason "truck broke down"
  spanyard piece scrap B0412-018 --reason "cracked across, seen at the site"`,
		p.pieceFindCommand(), p.pieceFreeCommand(), p.pieceExchangeCommand(), p.piecePickCommand(), p.pieceLoadCommand(), p.pieceDeliverCommand(), p.pieceReturnCommand(), p.pieceScrapCommand(), p.pieceMoveCommand())
}

func (p *program) pieceFindCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "find JOB MARK...",
		Short:   "Say where the beams of marks are: promised, picked, on a truck, at the site",
		Example: "  spanyard piece find QF 1-03-07 1-03-08",
		Args:    cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			ctx := p.as(cmd.Context())
			answer, err := c.FindMarks(ctx, &stockv1.FindMarksRequest{Yard: p.yard, JobId: args[0], Marks: args[1:]})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Marks(w, answer) })
		},
	}
}

func (p *program) piecePickCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "pick RUN PIECE...",
		Short:   "Take promised pieces off their stacks for a run",
		Example: "  spanyard piece pick R-1 B0412-017 B0412-018",
		Args:    cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return p.pick(cmd, args[0], args[1:])
		},
	}
}

func (p *program) pick(cmd *cobra.Command, run string, pieces []string) error {
	c, err := p.stock()
	if err != nil {
		return err
	}
	answer, err := c.PickPieces(p.as(cmd.Context()), &stockv1.PickPiecesRequest{Yard: p.yard, RequestId: p.request(), RunId: run, PieceIds: pieces})
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		said("Picked for run %s: pieces %d.", run, answer.GetPieceCount())(w)
		show.Aside(w, answer.GetAsidePieceIds())
		show.LoadingCautions(w)
	})
}

func (p *program) pieceLoadCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "load RUN TRUCK PIECE...",
		Short:   "Put picked pieces on a truck",
		Example: "  spanyard piece load R-1 T2 B0412-017 B0412-018",
		Args:    cobra.MinimumNArgs(3),
		RunE: func(cmd *cobra.Command, args []string) error {
			return p.load(cmd, args[0], args[1], args[2:])
		},
	}
}

func (p *program) load(cmd *cobra.Command, run, truck string, pieces []string) error {
	c, err := p.stock()
	if err != nil {
		return err
	}
	answer, err := c.LoadPieces(p.as(cmd.Context()), &stockv1.LoadPiecesRequest{
		Yard: p.yard, RequestId: p.request(), RunId: run, TruckId: truck, PieceIds: pieces,
	})
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		said("Loaded on truck %s for run %s: pieces %d.", truck, run, answer.GetPieceCount())(w)
		show.LoadingCautions(w)
	})
}

func (p *program) pieceDeliverCommand() *cobra.Command {
	var receivedBy string
	c := &cobra.Command{
		Use:     "deliver RUN SITE PIECE...",
		Short:   "Record that loaded pieces were set down at their site",
		Long:    "Records that loaded pieces were set down at their site. A whole drop is recorded\nby 'spanyard run deliver'.",
		Example: "  spanyard piece deliver R-1 QF B0412-017 B0412-018",
		Args:    cobra.MinimumNArgs(3),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.DeliverPieces(p.as(cmd.Context()), &stockv1.DeliverPiecesRequest{
				Yard: p.yard, RequestId: p.request(), RunId: args[0], SiteId: args[1], PieceIds: args[2:], ReceivedBy: receivedBy,
			})
			if err != nil {
				return err
			}
			return p.answer(answer, said("Delivered at %s: pieces %d.", args[1], answer.GetPieceCount()))
		},
	}
	c.Flags().StringVar(&receivedBy, "received-by", "", "who took them over at the site")
	return c
}

func (p *program) pieceReturnCommand() *cobra.Command {
	var reason string
	c := &cobra.Command{
		Use:     "return STACK PIECE...",
		Short:   "Take picked, loaded or delivered pieces back onto a stack",
		Example: `  spanyard piece return A-03 B0412-017 --reason "truck broke down"`,
		Args:    cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.ReturnPieces(p.as(cmd.Context()), &stockv1.ReturnPiecesRequest{
				Yard: p.yard, RequestId: p.request(), StackId: args[0], Reason: reason, PieceIds: args[1:],
			})
			if err != nil {
				return err
			}
			return p.answer(answer, said("Back on stack %s: pieces %d.", args[0], answer.GetPieceCount()))
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "why they came back (required)")
	required(c, "reason")
	return c
}

func (p *program) pieceScrapCommand() *cobra.Command {
	var reason, batch string
	var blocks int32
	c := &cobra.Command{
		Use:   "scrap [PIECE...]",
		Short: "Write pieces off, or loose blocks of a batch",
		Long: `Writes pieces off wherever they are, all or none: in the yard, on a truck, at a site,
or back from it. The place of a beam that had been delivered is open again: the next
plan for its day brings an equal one, or its room is called off for another day; if
none is free, 'spanyard stock available' shows it as short. Such a beam is not taken
back first.`,
		Example: `  spanyard piece scrap B0412-017 --reason "broke while lifted"
  spanyard piece scrap B0412-018 --reason "cracked across, seen at the site"
  spanyard piece scrap --batch K0412 --blocks 12 --reason "broken corners"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			req := &stockv1.ScrapPiecesRequest{Yard: p.yard, RequestId: p.request(), Reason: reason, PieceIds: args}
			if batch != "" {
				req.Blocks = &stockv1.ScrapBlocks{BatchId: batch, BlockCount: blocks}
			}
			answer, err := c.ScrapPieces(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) {
				said("Written off: pieces %d, loose blocks %d.", answer.GetPieceCount(), answer.GetBlockCount())(w)
				if n := answer.GetDeliveredCount(); n > 0 {
					said("Delivered before: pieces %d. Their places are open again: plan their day again, or call their rooms\noff for another day.", n)(w)
				}
			})
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "why they will never be used (required)")
	c.Flags().StringVar(&batch, "batch", "", "batch of loose blocks")
	c.Flags().Int32Var(&blocks, "blocks", 0, "number of loose blocks of that batch")
	c.MarkFlagsRequiredTogether("batch", "blocks")
	required(c, "reason")
	return c
}

func (p *program) pieceMoveCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "move STACK PIECE...",
		Short:   "Put pieces on top of another stack of their batch, in the order given",
		Example: "  spanyard piece move A-07 B0412-020 B0412-019",
		Args:    cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.MovePieces(p.as(cmd.Context()), &stockv1.MovePiecesRequest{
				Yard: p.yard, RequestId: p.request(), StackId: args[0], PieceIds: args[1:],
			})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) {
				said("Moved to stack %s: pieces %d.", args[0], answer.GetPieceCount())(w)
				show.Aside(w, answer.GetAsidePieceIds())
			})
		},
	}
}
