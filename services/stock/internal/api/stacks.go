package api

import (
	"context"
	"fmt"
	"time"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/handling"
	"spanyard.example/services/stock/internal/stacking"
	"spanyard.example/services/stock/internal/yard"
)

// handlingTime bounds what one plan of moves may take: somebody waits for it.
const handlingTime = 2 * time.Second

// handlingNodes keeps the answer the same on any machine that is not too slow.
const handlingNodes = 300_000

func (s *Server) budget() stacking.Budget {
	ends := time.Now().Add(handlingTime)
	return stacking.Budget{Nodes: handlingNodes, Stop: func() bool { return time.Now().After(ends) }}
}

// yardFor returns an open yard's state from the ledger: what is planned on it
// is carried out on it.
func (s *Server) yardFor(ctx context.Context, yardID string, atLeast uint64) (yard.State, uint64, error) {
	state, position, err := s.ledger.State(ctx, yardID, atLeast)
	if err == nil && !state.Open() {
		err = fault.New(fault.Stale, "YARD_NOT_OPEN", "The yard %s has no rules yet. Set its time zone and ages first.", yardID)
	}
	return state, position, err
}

func wishesOf(list []*stockv1.WantedPiece) []handling.Wish {
	var out []handling.Wish
	for _, w := range list {
		out = append(out, handling.Wish{
			Product: handling.Product{Profile: w.GetProfile(), WirePattern: w.GetWirePattern(), LengthMM: int(w.GetLengthMm())},
			MassG:   w.GetMassG(), JobID: w.GetJobId(), PieceID: w.GetPieceId(), Group: int(w.GetGroup()),
		})
	}
	return out
}

func movesTo(list []handling.Move) []*stockv1.StackMove {
	var out []*stockv1.StackMove
	for _, m := range list {
		out = append(out, &stockv1.StackMove{
			PieceId: m.PieceID, FromStackId: m.FromID, ToStackId: m.ToID, FromTier: int32(m.FromTier), ToTier: int32(m.ToTier), BeforePick: int32(m.BeforePick),
		})
	}
	return out
}

// AdvisePutAway says where beams are best put away.
func (s *Server) AdvisePutAway(ctx context.Context, req *stockv1.AdvisePutAwayRequest) (*stockv1.AdvisePutAwayResponse, error) {
	state, position, err := s.yardFor(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	ids := req.GetPieceIds()
	if (len(ids) == 0) == (req.GetBatchId() == "") {
		return nil, fault.New(fault.Invalid, "BAD_VALUES", "Some values are not right.").At("batch_id", req.GetBatchId(), "has to be given, or pieces", "a batch, or pieces of one batch")
	}
	if len(ids) == 0 {
		b, known := state.Batch(req.GetBatchId())
		if !known || b.Kind != yard.Beams {
			return nil, fault.New(fault.NotFound, "BATCH_UNKNOWN", "There is no batch %s of beams in this yard.", req.GetBatchId())
		}
		for _, id := range b.BeamIDs {
			if p, _ := state.Piece(id); p.State == yard.InYard || p.State == yard.Reserved {
				ids = append(ids, id)
			}
		}
		if len(ids) == 0 {
			return nil, fault.New(fault.Stale, "NOTHING_LEFT", "Nothing of batch %s lies in the yard any more.", req.GetBatchId())
		}
	}
	advice, err := handling.AdvisePutAway(state, ids, wishesOf(req.GetWanted()), s.budget())
	if err != nil {
		return nil, err
	}
	if len(advice.Moves) == 0 {
		return &stockv1.AdvisePutAwayResponse{Position: position, Sentence: "The beams lie well already: no stack of theirs mixes lengths or jobs."}, nil
	}
	return &stockv1.AdvisePutAwayResponse{
		Moves: movesTo(advice.Moves), LaterMoves: int32(advice.Later), LaterMovesBound: int32(advice.LaterBound), Position: position,
		Sentence: fmt.Sprintf("%d moves; later picks then need %d moves aside, and no advice leaves fewer than %d.", len(advice.Moves), advice.Later, advice.LaterBound),
	}, nil
}

// PlanPicks chooses pieces and plans what is moved aside for them.
func (s *Server) PlanPicks(ctx context.Context, req *stockv1.PlanPicksRequest) (*stockv1.PlanPicksResponse, error) {
	state, position, err := s.yardFor(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	plan, err := handling.PlanPicks(state, wishesOf(req.GetWanted()), s.budget())
	if err != nil {
		return nil, err
	}
	answer := &stockv1.PlanPicksResponse{
		Picks: make([]*stockv1.PlannedPick, len(req.GetWanted())), Moves: movesTo(plan.Moves),
		MovesBound: int32(plan.Bound), Proved: plan.Proved, Position: position,
	}
	for i, p := range plan.Picks {
		answer.Picks[p.Wish] = &stockv1.PlannedPick{PieceId: p.PieceID, BatchId: p.BatchID, StackId: p.StackID, Tier: int32(p.Tier), Number: int32(i + 1)}
	}
	return answer, nil
}

// PlanSort plans moves ahead of picks.
func (s *Server) PlanSort(ctx context.Context, req *stockv1.PlanSortRequest) (*stockv1.PlanSortResponse, error) {
	state, position, err := s.yardFor(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	sorting, err := handling.PlanSort(state, wishesOf(req.GetWanted()), s.budget())
	if err != nil {
		return nil, err
	}
	answer := &stockv1.PlanSortResponse{
		Moves: movesTo(sorting.Moves), MovesBound: int32(sorting.Bound), Proved: sorting.Proved,
		AsideBefore: int32(sorting.AsideBefore), AsideAfter: int32(sorting.AsideAfter), Position: position,
	}
	switch {
	case sorting.AsideBefore == 0:
		answer.Sentence = "Nothing has to be moved aside for these picks: there is nothing to sort."
	case len(sorting.Moves) == 0:
		answer.Sentence = fmt.Sprintf("The picks need %d moves aside, and no sorting was found that makes them fewer.", sorting.AsideBefore)
	default:
		answer.Sentence = fmt.Sprintf("%d moves now, and the picks need %d moves aside instead of %d.", len(sorting.Moves), sorting.AsideAfter, sorting.AsideBefore)
	}
	return answer, nil
}

// RelocatePieces records moves from stack to stack.
func (s *Server) RelocatePieces(ctx context.Context, req *stockv1.RelocatePiecesRequest) (*stockv1.RelocatePiecesResponse, error) {
	var c yard.Relocate
	for _, m := range req.GetMoves() {
		c.Moves = append(c.Moves, yard.Relocation{PieceID: m.GetPieceId(), StackID: m.GetToStackId()})
	}
	r, err := s.do(ctx, req, c)
	if err != nil {
		return nil, err
	}
	return &stockv1.RelocatePiecesResponse{Position: r.position}, nil
}

// ExchangePieces lets equal beams take over the places of promised ones.
func (s *Server) ExchangePieces(ctx context.Context, req *stockv1.ExchangePiecesRequest) (*stockv1.ExchangePiecesResponse, error) {
	c := yard.ExchangePieces{By: req.GetExchangedBy(), Reason: req.GetReason()}
	for _, x := range req.GetExchanges() {
		c.Exchanges = append(c.Exchanges, yard.Exchange{OldID: x.GetOldPieceId(), NewID: x.GetNewPieceId()})
	}
	r, err := s.do(ctx, req, c)
	if err != nil {
		return nil, err
	}
	answer := &stockv1.ExchangePiecesResponse{Position: r.position}
	for _, e := range r.events {
		if x, ok := e.(yard.PieceExchanged); ok {
			answer.Exchanged = append(answer.Exchanged, codec.Exchanged(x))
		}
	}
	return answer, nil
}

// ListPallets counts blocks by kind, batch and pallet.
func (s *Server) ListPallets(ctx context.Context, req *stockv1.ListPalletsRequest) (*stockv1.ListPalletsResponse, error) {
	state, position, err := s.yardFor(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	if _, known := state.Batch(req.GetBatchId()); req.GetBatchId() != "" && !known {
		return nil, fault.New(fault.NotFound, "BATCH_UNKNOWN", "There is no batch %s in this yard.", req.GetBatchId())
	}
	answer := &stockv1.ListPalletsResponse{Position: position}
	state.Batches(func(b yard.Batch) {
		if b.Kind != yard.Blocks || req.GetBlockKind() != "" && req.GetBlockKind() != b.Lot.BlockKind || req.GetBatchId() != "" && req.GetBatchId() != b.ID {
			return
		}
		m := &stockv1.BlockCount{
			BlockKind: b.Lot.BlockKind, BatchId: b.ID, StackId: b.Lot.StackID, LooseCount: int32(b.Loose()),
			Released: b.State == yard.Released, Quarantined: b.State == yard.Quarantined,
		}
		for _, id := range b.PalletIDs() {
			p, _ := state.Piece(id)
			count := &stockv1.PalletCount{PieceId: id, BlockCount: int32(p.Blocks), MassG: p.MassG}
			switch p.State {
			case yard.InYard:
				m.Standing = append(m.Standing, count)
			case yard.Reserved:
				count.RunId = p.Allocation.RunID
				m.Promised = append(m.Promised, count)
			}
		}
		if m.GetLooseCount() > 0 || len(m.GetStanding())+len(m.GetPromised()) > 0 {
			answer.Batches = append(answer.Batches, m)
		}
	})
	return answer, nil
}

// PackPallets packs loose blocks on pallets.
func (s *Server) PackPallets(ctx context.Context, req *stockv1.PackPalletsRequest) (*stockv1.PackPalletsResponse, error) {
	c := yard.PackPallets{BatchID: req.GetBatchId()}
	for _, p := range req.GetPallets() {
		c.Pallets = append(c.Pallets, yard.PackedPallet{ID: p.GetPieceId(), Blocks: int(p.GetBlockCount())})
	}
	r, err := s.do(ctx, req, c)
	if err != nil {
		return nil, err
	}
	return &stockv1.PackPalletsResponse{Position: r.position}, nil
}

// SplitPallet puts some blocks of a pallet on a new one.
func (s *Server) SplitPallet(ctx context.Context, req *stockv1.SplitPalletRequest) (*stockv1.SplitPalletResponse, error) {
	r, err := s.do(ctx, req, yard.SplitPallet{PieceID: req.GetPieceId(), NewID: req.GetNewPieceId(), Blocks: int(req.GetBlockCount())})
	if err != nil {
		return nil, err
	}
	return &stockv1.SplitPalletResponse{Position: r.position}, nil
}

// MergePallets makes one pallet of several.
func (s *Server) MergePallets(ctx context.Context, req *stockv1.MergePalletsRequest) (*stockv1.MergePalletsResponse, error) {
	r, err := s.do(ctx, req, yard.MergePallets{PieceID: req.GetPieceId(), FromIDs: req.GetFromPieceIds()})
	if err != nil {
		return nil, err
	}
	return &stockv1.MergePalletsResponse{Position: r.position}, nil
}

// UnpackPallets makes the blocks of pallets loose again.
func (s *Server) UnpackPallets(ctx context.Context, req *stockv1.UnpackPalletsRequest) (*stockv1.UnpackPalletsResponse, error) {
	r, err := s.do(ctx, req, yard.UnpackPallets{PieceIDs: req.GetPieceIds()})
	if err != nil {
		return nil, err
	}
	return &stockv1.UnpackPalletsResponse{Position: r.position}, nil
}
