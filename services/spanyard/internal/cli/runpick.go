package cli

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

// pickRun records that all pieces of a run are off their stacks, and the moves
// that its picks were planned with in their turn.
func (p *program) pickRun(cmd *cobra.Command, run *dispatcheventv1.Run) error {
	moves := run.GetMoves()
	if len(moves) == 0 {
		return p.pick(cmd, run.GetRunId(), piecesOf(run.GetPicks()))
	}
	c, err := p.stock()
	if err != nil {
		return err
	}
	ctx, request := p.as(cmd.Context()), p.request()
	total := &stockv1.PickPiecesResponse{}
	picks, done := run.GetPicks(), 0
	pickUpTo := func(end int) error {
		if end <= done {
			return nil
		}
		answer, err := c.PickPieces(ctx, &stockv1.PickPiecesRequest{
			Yard: p.yard, RequestId: fmt.Sprintf("%s-%d", request, done), RunId: run.GetRunId(), PieceIds: piecesOf(picks[done:end]),
		})
		if err != nil {
			return err
		}
		total.PieceCount += answer.GetPieceCount()
		total.AsidePieceIds = append(total.AsidePieceIds, answer.GetAsidePieceIds()...)
		total.Position, done = answer.GetPosition(), end
		return nil
	}
	for i, m := range moves {
		if m.GetFromStackId() == m.GetToStackId() {
			continue // the pick itself lifts it aside and puts it back
		}
		if err := pickUpTo(int(m.GetBeforePick()) - 1); err != nil {
			return err
		}
		_, err := c.RelocatePieces(ctx, &stockv1.RelocatePiecesRequest{
			Yard: p.yard, RequestId: fmt.Sprintf("%s-m%d", request, i), Moves: []*stockv1.StackMove{{PieceId: m.GetPieceId(), ToStackId: m.GetToStackId()}},
		})
		// What was moved or picked meanwhile needs no move: the pick says what is
		// lifted aside then.
		if err != nil && fault.ReasonOf(err) != "CANNOT_MOVE" {
			return err
		}
	}
	if err := pickUpTo(len(picks)); err != nil {
		return err
	}
	return p.answer(total, func(w io.Writer) {
		said("Picked for run %s: pieces %d; moved aside: pieces %d.", run.GetRunId(), total.GetPieceCount(), len(moves))(w)
		show.Aside(w, total.GetAsidePieceIds())
		show.LoadingCautions(w)
	})
}
