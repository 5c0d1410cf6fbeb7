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
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/readmodel"
	"spanyard.example/services/stock/internal/yard"
)

// token says where a page begins, and of which list.
type token struct {
	After string `json:"after"`
	Of    uint64 `json:"of"`
}

const defaultPageSize = 100

// page is the part of a list that a request asks for. question names the list.
type page struct {
	after string
	limit int
	of    uint64
}

func pageOf(size int32, text string, question any) (page, error) {
	name, err := json.Marshal(question)
	if err != nil {
		return page{}, err
	}
	h := fnv.New64a()
	_, _ = h.Write(name) // never fails
	p := page{limit: int(size), of: h.Sum64()}
	if p.limit == 0 {
		p.limit = defaultPageSize
	}
	if text == "" {
		return p, nil
	}
	var given token
	data, err := base64.RawURLEncoding.DecodeString(text)
	if err == nil {
		err = json.Unmarshal(data, &given)
	}
	if err != nil || given.Of != p.of {
		return p, fault.New(fault.Invalid, "PAGE_TOKEN_INVALID", "The list cannot be continued from there; start again from its beginning.").
			At("page_token", "", "does not belong to this list", "the next_page_token of the page before, for the same question")
	}
	p.after = given.After
	return p, nil
}

// next returns the token of the page that begins behind last; empty when there
// is none.
func (p page) next(last string) (string, error) {
	if last == "" {
		return "", nil
	}
	data, err := json.Marshal(token{After: last, Of: p.of})
	return base64.RawURLEncoding.EncodeToString(data), err
}

// GetYardRules returns the yard's rules, from the ledger: whoever compares them
// with rules of its own needs what holds now.
func (s *Server) GetYardRules(ctx context.Context, req *stockv1.GetYardRulesRequest) (*stockv1.GetYardRulesResponse, error) {
	state, position, err := s.ledger.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	if !state.Open() {
		return nil, fault.New(fault.NotFound, "YARD_NOT_OPEN", "The yard %s has no rules yet.", req.GetYard())
	}
	return &stockv1.GetYardRulesResponse{Rules: codec.Rules(state.Rules()), Position: position}, nil
}

// ListFreePieces lists what may leave and is nobody's: beams, then blocks.
func (s *Server) ListFreePieces(ctx context.Context, req *stockv1.ListFreePiecesRequest) (*stockv1.ListFreePiecesResponse, error) {
	f := readmodel.FreeFilter{
		Profile: req.GetProfile(), WirePattern: req.GetWirePattern(), LengthMM: req.GetLengthMm(), BlockKind: req.GetBlockKind(),
		BeamsOnly: req.GetBeamsOnly(), BlocksOnly: req.GetBlocksOnly(),
	}
	p, err := pageOf(req.GetPageSize(), req.GetPageToken(), f)
	if err != nil {
		return nil, err
	}
	answer, last, err := s.view.Free(ctx, req.GetYard(), f, req.GetAtLeast(), p.after, p.limit)
	if err != nil {
		return nil, err
	}
	answer.NextPageToken, err = p.next(last)
	return answer, err
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
	return s.view.Batch(ctx, req.GetYard(), req.GetBatchId(), req.GetAtLeast())
}

// ListBatches lists batches by id.
func (s *Server) ListBatches(ctx context.Context, req *stockv1.ListBatchesRequest) (*stockv1.ListBatchesResponse, error) {
	p, err := pageOf(req.GetPageSize(), req.GetPageToken(), "batches")
	if err != nil {
		return nil, err
	}
	answer, last, err := s.view.Batches(ctx, req.GetYard(), req.GetAtLeast(), p.after, p.limit)
	if err != nil {
		return nil, err
	}
	answer.NextPageToken, err = p.next(last)
	return answer, err
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

// FindMarks says where the beams of marks are.
func (s *Server) FindMarks(ctx context.Context, req *stockv1.FindMarksRequest) (*stockv1.FindMarksResponse, error) {
	return s.view.Marks(ctx, req.GetYard(), req.GetJobId(), req.GetMarks(), req.GetAtLeast())
}

// ReviewProduction says how each concrete stands in its production control.
func (s *Server) ReviewProduction(ctx context.Context, req *stockv1.ReviewProductionRequest) (*stockv1.ReviewProductionResponse, error) {
	state, position, err := s.ledger.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	answer := &stockv1.ReviewProductionResponse{Position: position}
	for _, c := range state.Productions() {
		answer.Concretes = append(answer.Concretes, codec.ConcreteControl(c))
	}
	return answer, nil
}

// WatchStock follows the yard's events: put-aways, quarantines and all else. A
// client that does not read is dropped and told where to resume.
func (s *Server) WatchStock(req *stockv1.WatchStockRequest, stream grpc.ServerStreamingServer[stockv1.WatchStockResponse]) error {
	if err := rpc.CheckResume(stream.Context(), s.ledger.LastPosition, req.GetYard(), req.GetAfterPosition()); err != nil {
		return err
	}
	return rpc.Feed(stream.Context(), stream.Send, func(ctx context.Context, put func(uint64, *stockv1.WatchStockResponse) error) error {
		return s.ledger.Follow(ctx, req.GetYard(), req.GetAfterPosition(), func(e ledger.Event[yard.Event]) error {
			return put(e.Position, &stockv1.WatchStockResponse{
				Position: e.Position, HappenedAt: timestamppb.New(e.Time), Actor: e.Actor, Event: codec.ToProto(e.Fact),
			})
		})
	})
}
