package api

import (
	"context"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/yard"
)

// ReservePieces promises pieces, all or none.
func (s *Server) ReservePieces(ctx context.Context, req *stockv1.ReservePiecesRequest) (*stockv1.ReservePiecesResponse, error) {
	c := yard.ReservePieces{ReservationID: req.GetReservationId()}
	for _, l := range req.GetLines() {
		line := yard.ReserveLine{PieceID: l.GetPieceId(), Allocation: codec.AllocationOf(l.GetAllocation())}
		if b := l.GetBlocks(); b != nil {
			line.BatchID, line.Blocks, line.PalletID = b.GetBatchId(), int(b.GetBlockCount()), b.GetPalletId()
		}
		c.Lines = append(c.Lines, line)
	}
	r, err := s.do(ctx, req, c)
	if err != nil {
		return nil, err
	}
	answer := &stockv1.ReservePiecesResponse{ReservationId: req.GetReservationId(), Position: r.position}
	for _, e := range r.events {
		if reserved, ok := e.(yard.PiecesReserved); ok {
			answer.PieceCount += int32(len(reserved.Pieces))
		}
	}
	return answer, nil
}

// DropReservation frees promised pieces that have not been picked.
func (s *Server) DropReservation(ctx context.Context, req *stockv1.DropReservationRequest) (*stockv1.DropReservationResponse, error) {
	r, err := s.do(ctx, req, yard.DropReservation{ReservationID: req.GetReservationId(), RunID: req.GetRunId(), Reason: req.GetReason()})
	if err != nil {
		return nil, err
	}
	answer := &stockv1.DropReservationResponse{Position: r.position}
	for _, e := range r.events {
		if dropped, ok := e.(yard.ReservationDropped); ok {
			answer.PieceIds = append(answer.PieceIds, dropped.PieceIDs...)
		}
	}
	return answer, nil
}

// PickPieces takes promised pieces off their stacks.
func (s *Server) PickPieces(ctx context.Context, req *stockv1.PickPiecesRequest) (*stockv1.PickPiecesResponse, error) {
	r, err := s.do(ctx, req, yard.PickPieces{RunID: req.GetRunId(), PieceIDs: req.GetPieceIds()})
	if err != nil {
		return nil, err
	}
	answer := &stockv1.PickPiecesResponse{PieceCount: tally[yard.PiecePicked](r), Position: r.position}
	for _, e := range r.events {
		if picked, ok := e.(yard.PiecePicked); ok {
			answer.AsidePieceIds = append(answer.AsidePieceIds, picked.Aside...)
		}
	}
	return answer, nil
}

// LoadPieces puts picked pieces on a truck.
func (s *Server) LoadPieces(ctx context.Context, req *stockv1.LoadPiecesRequest) (*stockv1.LoadPiecesResponse, error) {
	r, err := s.do(ctx, req, yard.LoadPieces{RunID: req.GetRunId(), TruckID: req.GetTruckId(), PieceIDs: req.GetPieceIds()})
	if err != nil {
		return nil, err
	}
	return &stockv1.LoadPiecesResponse{PieceCount: tally[yard.PieceLoaded](r), Position: r.position}, nil
}

// DeliverPieces records that loaded pieces were set down at their site.
func (s *Server) DeliverPieces(ctx context.Context, req *stockv1.DeliverPiecesRequest) (*stockv1.DeliverPiecesResponse, error) {
	r, err := s.do(ctx, req, yard.DeliverPieces{
		RunID: req.GetRunId(), SiteID: req.GetSiteId(), PieceIDs: req.GetPieceIds(), At: s.clock.Now(), ReceivedBy: req.GetReceivedBy(),
	})
	if err != nil {
		return nil, err
	}
	return &stockv1.DeliverPiecesResponse{PieceCount: tally[yard.PieceDelivered](r), Position: r.position}, nil
}

// ReturnPieces takes pieces back into the yard.
func (s *Server) ReturnPieces(ctx context.Context, req *stockv1.ReturnPiecesRequest) (*stockv1.ReturnPiecesResponse, error) {
	r, err := s.do(ctx, req, yard.ReturnPieces{StackID: req.GetStackId(), Reason: req.GetReason(), PieceIDs: req.GetPieceIds()})
	if err != nil {
		return nil, err
	}
	return &stockv1.ReturnPiecesResponse{PieceCount: tally[yard.PieceReturned](r), Position: r.position}, nil
}

// ScrapPieces writes pieces and loose blocks off.
func (s *Server) ScrapPieces(ctx context.Context, req *stockv1.ScrapPiecesRequest) (*stockv1.ScrapPiecesResponse, error) {
	r, err := s.do(ctx, req, yard.ScrapPieces{
		Reason: req.GetReason(), PieceIDs: req.GetPieceIds(), BatchID: req.GetBlocks().GetBatchId(), Blocks: int(req.GetBlocks().GetBlockCount()),
	})
	if err != nil {
		return nil, err
	}
	loose, _ := find[yard.BlocksScrapped](r)
	answer := &stockv1.ScrapPiecesResponse{PieceCount: tally[yard.PieceScrapped](r), BlockCount: int32(loose.Count), Position: r.position}
	for _, e := range r.events {
		if scrapped, ok := e.(yard.PieceScrapped); ok && scrapped.DeliveredTo != nil {
			answer.DeliveredCount++
		}
	}
	return answer, nil
}

// MovePieces puts beams on top of another stack.
func (s *Server) MovePieces(ctx context.Context, req *stockv1.MovePiecesRequest) (*stockv1.MovePiecesResponse, error) {
	r, err := s.do(ctx, req, yard.MovePieces{StackID: req.GetStackId(), PieceIDs: req.GetPieceIds()})
	if err != nil {
		return nil, err
	}
	answer := &stockv1.MovePiecesResponse{PieceCount: tally[yard.PieceMoved](r), Position: r.position}
	for _, e := range r.events {
		if moved, ok := e.(yard.PieceMoved); ok {
			answer.AsidePieceIds = append(answer.AsidePieceIds, moved.Aside...)
		}
	}
	return answer, nil
}
