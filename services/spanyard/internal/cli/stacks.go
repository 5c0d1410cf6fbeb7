package cli

import (
	"context"
	"io"
	"slices"

	"github.com/spf13/cobra"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) stackAdviseCommand() *cobra.Command {
	var carry bool
	c := &cobra.Command{
		Use:   "advise BATCH",
		Short: "Say where the beams of a batch are best put away; --do records it",
		Long: `Says to which places the beams of a batch are best moved from where they lie, and
in which order, so that later picks need few moves aside. With --do the moves are
recorded as made, all or none.`,
		Example: "  spanyard stack advise B0412\n  spanyard stack advise B0412 --do",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			ctx := p.as(cmd.Context())
			answer, err := c.AdvisePutAway(ctx, &stockv1.AdvisePutAwayRequest{Yard: p.yard, BatchId: args[0]})
			if err != nil {
				return err
			}
			if err := p.relocate(ctx, carry, answer.GetMoves()); err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.PutAway(w, answer, carry) })
		},
	}
	c.Flags().BoolVar(&carry, "do", false, "record the moves as made")
	return c
}

func (p *program) stackSortCommand() *cobra.Command {
	var carry bool
	c := &cobra.Command{
		Use:   "sort DAY",
		Short: "Plan moves ahead of a day's picks; --do records them",
		Long: `Plans moves, for an hour when the yard is idle, after which the picks of a day's
confirmed runs need fewer moves aside. With --do the moves are recorded as made,
all or none.`,
		Example: "  spanyard stack sort 2027-03-17\n  spanyard stack sort 2027-03-17 --do",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := p.as(cmd.Context())
			wanted, err := p.comingPicks(ctx, args[0])
			if err != nil {
				return err
			}
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.PlanSort(ctx, &stockv1.PlanSortRequest{Yard: p.yard, Wanted: wanted})
			if err != nil {
				return err
			}
			if err := p.relocate(ctx, carry, answer.GetMoves()); err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Sorting(w, answer, carry) })
		},
	}
	c.Flags().BoolVar(&carry, "do", false, "record the moves as made")
	return c
}

// comingPicks are the beams of a day's confirmed runs that still lie in the
// yard, in the order in which the trucks are loaded.
func (p *program) comingPicks(ctx context.Context, day string) ([]*stockv1.WantedPiece, error) {
	c, err := p.dispatch()
	if err != nil {
		return nil, err
	}
	runs, err := c.ListRuns(ctx, &dispatchv1.ListRunsRequest{Yard: p.yard, Day: day})
	if err != nil {
		return nil, err
	}
	list := slices.DeleteFunc(runs.GetRuns(), func(r *dispatchv1.RunStatus) bool {
		return r.GetState() != dispatchv1.RunState_RUN_STATE_CONFIRMED && r.GetState() != dispatchv1.RunState_RUN_STATE_HIT
	})
	slices.SortStableFunc(list, func(a, b *dispatchv1.RunStatus) int {
		return int(a.GetRun().GetLoadingMinute() - b.GetRun().GetLoadingMinute())
	})
	var wanted []*stockv1.WantedPiece
	for _, r := range list {
		left, err := p.stillStacked(ctx, r.GetRun())
		if err != nil {
			return nil, err
		}
		wanted = append(wanted, left...)
	}
	if len(wanted) == 0 {
		return nil, fault.New(fault.NotFound, "NOTHING_TO_PICK", "No confirmed run of %s has a beam that still lies in a stack.", day)
	}
	return wanted, nil
}

func (p *program) stillStacked(ctx context.Context, run *dispatcheventv1.Run) ([]*stockv1.WantedPiece, error) {
	var ids []string
	for _, pick := range run.GetPicks() {
		if pick.GetBeam() != nil {
			ids = append(ids, pick.GetPieceId())
		}
	}
	if len(ids) == 0 {
		return nil, nil
	}
	c, err := p.stock()
	if err != nil {
		return nil, err
	}
	pieces, err := c.GetPieces(ctx, &stockv1.GetPiecesRequest{Yard: p.yard, PieceIds: ids})
	if err != nil {
		return nil, err
	}
	stacked := map[string]bool{}
	for _, piece := range pieces.GetPieces() {
		stacked[piece.GetPieceId()] = piece.GetStackId() != "" && piece.GetBatchState() == stockv1.BatchState_BATCH_STATE_RELEASED
	}
	var out []*stockv1.WantedPiece
	for _, pick := range run.GetPicks() {
		if b := pick.GetBeam(); b != nil && stacked[pick.GetPieceId()] {
			out = append(out, &stockv1.WantedPiece{
				Profile: b.GetProfile(), WirePattern: b.GetWirePattern(), LengthMm: b.GetLengthMm(), MassG: pick.GetMassG(), PieceId: pick.GetPieceId(), Mark: pick.GetMark(),
			})
		}
	}
	return out, nil
}

// relocate records moves, when that is asked for and there are some.
func (p *program) relocate(ctx context.Context, carry bool, moves []*stockv1.StackMove) error {
	if !carry || len(moves) == 0 {
		return nil
	}
	c, err := p.stock()
	if err != nil {
		return err
	}
	_, err = c.RelocatePieces(ctx, &stockv1.RelocatePiecesRequest{Yard: p.yard, RequestId: p.request(), Moves: moves})
	return err
}

func (p *program) pieceExchangeCommand() *cobra.Command {
	var by, reason, with string
	var gone bool
	c := &cobra.Command{
		Use:   "exchange PIECE...",
		Short: "Let equal beams take the places of promised ones; they are marked anew",
		Long: `Exchanges promised beams that are not there, or must not be used, for equal ones of
profile, wires, length and mass that lie free: the easiest to get at, or the one
named by --with. Mark and run go over; the history of both says so. The old beams
are free for others after that, unless --gone writes them off: they are broken, or
not where they should be.`,
		Example: `  spanyard piece exchange B0205-025 --gone --reason "not in the stack"
  spanyard piece exchange B0205-025 --with B0211-133 --reason "chipped"`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if with != "" && len(args) > 1 {
				return fault.New(fault.Invalid, "ONE_FOR_ONE", "--with names one beam: exchange one at a time with it.")
			}
			c, err := p.stock()
			if err != nil {
				return err
			}
			req := &stockv1.ExchangePiecesRequest{Yard: p.yard, RequestId: p.request(), ExchangedBy: p.by(by), Reason: reason}
			for _, id := range args {
				req.Exchanges = append(req.Exchanges, &stockv1.PieceExchange{OldPieceId: id, NewPieceId: with})
			}
			answer, err := c.ExchangePieces(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			if gone {
				_, err := c.ScrapPieces(p.as(cmd.Context()), &stockv1.ScrapPiecesRequest{Yard: p.yard, RequestId: req.GetRequestId() + "-gone", PieceIds: args, Reason: reason})
				if err != nil {
					return err
				}
			}
			return p.answer(answer, func(w io.Writer) { show.Exchanged(w, answer.GetExchanged()) })
		},
	}
	c.Flags().StringVar(&by, "by", "", "who exchanges; you, if not given")
	c.Flags().StringVar(&reason, "reason", "", "why (required)")
	c.Flags().BoolVar(&gone, "gone", false, "write the old beams off")
	c.Flags().StringVar(&with, "with", "", "the beam that takes the place; the easiest to get at, if not given")
	required(c, "reason")
	return c
}
