package api

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"hash/fnv"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/readmodel"
	"spanyard.example/services/stock/internal/yard"
)

// token says where a page begins, and of which list.
type token struct {
	From int    `json:"from"`
	Of   uint64 `json:"of"`
}

const defaultPageSize = 100

// page returns the bounds of a page of a list with n entries, and the token of
// the next one; empty after the last. filter names the list.
func page(n int, size int32, text, filter string) (from, to int, next string, err error) {
	h := fnv.New64a()
	_, _ = h.Write([]byte(filter)) // never fails
	t := token{Of: h.Sum64()}
	if text != "" {
		var given token
		data, err := base64.RawURLEncoding.DecodeString(text)
		if err == nil {
			err = json.Unmarshal(data, &given)
		}
		if err != nil || given.Of != t.Of || given.From < 0 {
			return 0, 0, "", fault.New(fault.Invalid, "PAGE_TOKEN_INVALID", "The list cannot be continued from there; start again from its beginning.").
				At("page_token", "", "does not belong to this list", "the next_page_token of the page before, for the same question")
		}
		t.From = given.From
	}
	if size == 0 {
		size = defaultPageSize
	}
	from = min(t.From, n)
	to = min(from+int(size), n)
	if to < n {
		data, err := json.Marshal(token{From: to, Of: t.Of})
		if err != nil {
			return 0, 0, "", err
		}
		next = base64.RawURLEncoding.EncodeToString(data)
	}
	return from, to, next, nil
}

// ListFreePieces lists what may leave and is nobody's: beams, then blocks.
func (s *Server) ListFreePieces(ctx context.Context, req *stockv1.ListFreePiecesRequest) (*stockv1.ListFreePiecesResponse, error) {
	f := readmodel.FreeFilter{
		Profile: req.GetProfile(), WirePattern: req.GetWirePattern(), LengthMM: req.GetLengthMm(), BlockKind: req.GetBlockKind(),
		BeamsOnly: req.GetBeamsOnly(), BlocksOnly: req.GetBlocksOnly(),
	}
	beams, blocks, position, err := s.view.Free(ctx, req.GetYard(), f, req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	name, err := json.Marshal(f)
	if err != nil {
		return nil, err
	}
	from, to, next, err := page(len(beams)+len(blocks), req.GetPageSize(), req.GetPageToken(), "free"+string(name))
	if err != nil {
		return nil, err
	}
	n := len(beams)
	return &stockv1.ListFreePiecesResponse{
		Beams: beams[min(from, n):min(to, n)], Blocks: blocks[max(from-n, 0):max(to-n, 0)], NextPageToken: next, Position: position,
	}, nil
}

// SummariseStock counts the yard by product for a day.
func (s *Server) SummariseStock(ctx context.Context, req *stockv1.SummariseStockRequest) (*stockv1.SummariseStockResponse, error) {
	state, _, err := s.ledger.State(ctx, req.GetYard(), 0)
	if err != nil {
		return nil, err
	}
	if !state.Open() {
		return nil, fault.New(fault.Stale, "YARD_NOT_OPEN", "The yard %s has no rules yet. Set its time zone and ages first.", req.GetYard())
	}
	day := state.Day(s.clock.Now())
	if req.GetDay() != "" {
		if day, err = dayOf("day", req.GetDay()); err != nil {
			return nil, err
		}
	}
	return s.view.Summary(ctx, req.GetYard(), day, req.GetAtLeast())
}

// GetBatch returns a batch and where its pieces are.
func (s *Server) GetBatch(ctx context.Context, req *stockv1.GetBatchRequest) (*stockv1.GetBatchResponse, error) {
	b, pieces, position, err := s.view.Batch(ctx, req.GetYard(), req.GetBatchId(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	return &stockv1.GetBatchResponse{Batch: b, Pieces: pieces, Position: position}, nil
}

// ListBatches lists batches by id.
func (s *Server) ListBatches(ctx context.Context, req *stockv1.ListBatchesRequest) (*stockv1.ListBatchesResponse, error) {
	batches, position, err := s.view.Batches(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	from, to, next, err := page(len(batches), req.GetPageSize(), req.GetPageToken(), "batches")
	if err != nil {
		return nil, err
	}
	return &stockv1.ListBatchesResponse{Batches: batches[from:to], NextPageToken: next, Position: position}, nil
}

// GetStack returns a stack from top to bottom.
func (s *Server) GetStack(ctx context.Context, req *stockv1.GetStackRequest) (*stockv1.GetStackResponse, error) {
	return s.view.Stack(ctx, req.GetYard(), req.GetStackId(), req.GetAtLeast())
}

// GetPieceHistory returns a piece and all that happened to it.
func (s *Server) GetPieceHistory(ctx context.Context, req *stockv1.GetPieceHistoryRequest) (*stockv1.GetPieceHistoryResponse, error) {
	return s.view.History(ctx, req.GetYard(), req.GetPieceId(), req.GetAtLeast())
}

// GetPieces returns pieces by id.
func (s *Server) GetPieces(ctx context.Context, req *stockv1.GetPiecesRequest) (*stockv1.GetPiecesResponse, error) {
	pieces, position, err := s.view.Pieces(ctx, req.GetYard(), req.GetPieceIds(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	return &stockv1.GetPiecesResponse{Pieces: pieces, Position: position}, nil
}

// WatchStock follows the yard's events.
func (s *Server) WatchStock(req *stockv1.WatchStockRequest, stream grpc.ServerStreamingServer[stockv1.WatchStockResponse]) error {
	return s.ledger.Follow(stream.Context(), req.GetYard(), req.GetAfterPosition(), func(e ledger.Event[yard.Event]) error {
		return stream.Send(&stockv1.WatchStockResponse{
			Position: e.Position, HappenedAt: timestamppb.New(e.Time), Actor: e.Actor, Event: codec.ToProto(e.Fact),
		})
	})
}
