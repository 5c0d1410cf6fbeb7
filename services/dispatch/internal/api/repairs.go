package api

import (
	"context"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/dispatch/internal/office"
)

// RepairRuns exchanges the beams that stop runs of a day for equal ones.
func (s *Server) RepairRuns(ctx context.Context, req *dispatchv1.RepairRunsRequest) (*dispatchv1.RepairRunsResponse, error) {
	repaired, position, err := s.office.Repair(ctx, ask(ctx, req), office.RepairRequest{
		Day: req.GetDay(), By: req.GetRepairedBy(), Reason: req.GetReason(), StockAtLeast: req.GetStockAtLeast(),
	})
	if err != nil {
		return nil, err
	}
	answer := &dispatchv1.RepairRunsResponse{StockPosition: position}
	for _, r := range repaired {
		m := &dispatchv1.RunRepair{RunId: r.RunID}
		for _, x := range r.Exchanged {
			m.Exchanged = append(m.Exchanged, &dispatchv1.ExchangedPiece{
				OldPieceId: x.GetOldPieceId(), NewPieceId: x.GetNewPieceId(), Mark: x.GetAllocation().GetMark(), StackId: x.GetNewStackId(), StackTier: x.GetNewTier(),
			})
		}
		for _, l := range r.Left {
			m.Left = append(m.Left, &dispatchv1.LeftPiece{PieceId: l.PieceID, Mark: l.Mark, Sentence: l.Sentence})
		}
		answer.Repairs = append(answer.Repairs, m)
	}
	return answer, nil
}
