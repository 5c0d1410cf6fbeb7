package dispatch

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
)

// source publishes another service's events as that service does: through a
// ledger of its own, which remembers nothing else.
type source[E proto.Message] struct {
	book *ledger.Ledger[int, E]
}

func newSource[E proto.Message](t *testing.T, js jetstream.JetStream, service string, empty func() E, log *slog.Logger) *source[E] {
	t.Helper()
	book, err := ledger.Open(t.Context(), js, ledger.Domain[int, E]{
		Service: service,
		New:     func(string) int { return 0 },
		Evolve:  func(n int, _ E) int { return n + 1 },
		Encode: func(e E) (string, []byte, error) {
			m := e.ProtoReflect()
			data, err := proto.Marshal(e)
			return string(m.WhichOneof(m.Descriptor().Oneofs().ByName("kind")).Name()), data, err
		},
		Decode: func(_ string, data []byte) (E, error) {
			e := empty()
			return e, proto.Unmarshal(data, e)
		},
		Snapshot: func(n int) ([]byte, error) { return []byte{byte(n)}, nil },
		Restore:  func(_ string, data []byte) (int, error) { return int(data[0]), nil },
	}, ledger.Options{Log: log})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(book.Close)
	return &source[E]{book: book}
}

// publish returns the position after the events.
func (s *source[E]) publish(ctx context.Context, requestID string, events ...E) (uint64, error) {
	result, err := s.book.Do(ctx, yard, ledger.Command[int, E]{
		RequestID: requestID, Actor: "tester", Time: time.Unix(0, 0).UTC(), Decide: func(int) ([]E, error) { return events, nil },
	})
	return result.Position, err
}

func newLayout(t *testing.T, js jetstream.JetStream, log *slog.Logger) *source[*layouteventv1.Event] {
	return newSource(t, js, "layout", func() *layouteventv1.Event { return &layouteventv1.Event{} }, log)
}

// fakeStock is a small faithful stock: it promises all or nothing, does a
// request once, refuses what is gone, and publishes what happens.
type fakeStock struct {
	stockv1.UnimplementedStockServiceServer
	events *source[*stockeventv1.Event]

	mu     sync.Mutex
	pieces map[string]*stockv1.Piece
	order  []string
	blocks map[string]*stockv1.FreeBlocks
	done   map[string]uint64
	// promised counts reservations that were made.
	promised int
	dropped  int
	// before and after a method's work; an error goes to the caller.
	before, after map[string]func() error
	// zone of the yard; empty as long as stock has no rules for it.
	zone string
}

func newFakeStock(t *testing.T, js jetstream.JetStream, log *slog.Logger) *fakeStock {
	t.Helper()
	f := &fakeStock{
		events: newSource(t, js, "stock", func() *stockeventv1.Event { return &stockeventv1.Event{} }, log),
		pieces: map[string]*stockv1.Piece{}, blocks: map[string]*stockv1.FreeBlocks{}, done: map[string]uint64{},
		before: map[string]func() error{}, after: map[string]func() error{},
	}
	for _, batch := range []string{"L3-0401", "L3-0402"} {
		for n := 1; n <= 12; n++ {
			id := fmt.Sprintf("%s-%03d", batch, n)
			f.order = append(f.order, id)
			f.pieces[id] = &stockv1.Piece{
				PieceId: id, BatchId: batch, State: stockeventv1.PieceState_PIECE_STATE_IN_YARD,
				BatchState: stockv1.BatchState_BATCH_STATE_RELEASED, Profile: "T150", WirePattern: "4x5", LengthMm: 4200, MassG: 84_000,
				StackId: "S-" + batch, Tier: int32(n), PiecesAbove: int32(12 - n), ReleasedOn: "2031-04-20", MadeOn: "2031-04-01",
			}
		}
	}
	f.blocks["BL-0301"] = &stockv1.FreeBlocks{
		BatchId: "BL-0301", BlockKind: "B20", BlockCount: 400, MassGEach: 15_000, StackId: "S-B1", ReleasedOn: "2031-04-10", MadeOn: "2031-03-01",
	}
	return f
}

func (f *fakeStock) register(r grpc.ServiceRegistrar) { stockv1.RegisterStockServiceServer(r, f) }

// hook sets what happens before or after a method's work.
func (f *fakeStock) hook(hooks map[string]func() error, method string, fn func() error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	hooks[method] = fn
}

func (f *fakeStock) run(hooks map[string]func() error, method string) error {
	f.mu.Lock()
	fn := hooks[method]
	f.mu.Unlock()
	if fn == nil {
		return nil
	}
	return fn()
}

func (f *fakeStock) GetYardRules(context.Context, *stockv1.GetYardRulesRequest) (*stockv1.GetYardRulesResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.zone == "" {
		return nil, fault.New(fault.NotFound, "YARD_UNKNOWN", "There is no such yard here.")
	}
	return &stockv1.GetYardRulesResponse{Rules: &stockeventv1.YardRulesSet{TimeZone: f.zone}}, nil
}

// ListFreePieces gives five beams to a page, so that pages matter.
func (f *fakeStock) ListFreePieces(ctx context.Context, req *stockv1.ListFreePiecesRequest) (*stockv1.ListFreePiecesResponse, error) {
	if err := f.run(f.before, "ListFreePieces"); err != nil {
		return nil, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	answer := &stockv1.ListFreePiecesResponse{Position: max(req.GetAtLeast(), 1)}
	for _, id := range f.order {
		p := f.pieces[id]
		if id <= req.GetPageToken() || p.GetState() != stockeventv1.PieceState_PIECE_STATE_IN_YARD || p.GetBatchState() != stockv1.BatchState_BATCH_STATE_RELEASED {
			continue
		}
		if len(answer.Beams) == 5 {
			answer.NextPageToken = answer.Beams[4].GetPieceId()
			return answer, nil
		}
		answer.Beams = append(answer.Beams, proto.CloneOf(p))
	}
	for _, b := range f.blocks {
		answer.Blocks = append(answer.Blocks, proto.CloneOf(b))
	}
	return answer, nil
}

func (f *fakeStock) ReservePieces(ctx context.Context, req *stockv1.ReservePiecesRequest) (*stockv1.ReservePiecesResponse, error) {
	if err := f.run(f.before, "ReservePieces"); err != nil {
		return nil, err
	}
	position, err := f.reserve(ctx, req)
	if err != nil {
		return nil, err
	}
	if err := f.run(f.after, "ReservePieces"); err != nil {
		return nil, err
	}
	return &stockv1.ReservePiecesResponse{ReservationId: req.GetReservationId(), PieceCount: int32(len(req.GetLines())), Position: position}, nil
}

func (f *fakeStock) reserve(ctx context.Context, req *stockv1.ReservePiecesRequest) (uint64, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if position, ok := f.done[req.GetRequestId()]; ok {
		return position, nil
	}
	refusal := fault.New(fault.Stale, "PIECES_GONE", "Some pieces cannot be promised. Nothing was promised.")
	wanted := map[string]int32{}
	for _, line := range req.GetLines() {
		if b := line.GetBlocks(); b != nil {
			wanted[b.GetBatchId()] += b.GetBlockCount()
			if have := f.blocks[b.GetBatchId()].GetBlockCount(); have < wanted[b.GetBatchId()] {
				refusal.At(b.GetBatchId(), "", "has too few blocks", "")
			}
			continue
		}
		p := f.pieces[line.GetPieceId()]
		switch {
		case p == nil:
			refusal.At(line.GetPieceId(), "", "there is no such piece in this yard", "")
		case p.GetState() != stockeventv1.PieceState_PIECE_STATE_IN_YARD:
			refusal.At(line.GetPieceId(), "", "is promised to somebody else", "")
		case p.GetBatchState() != stockv1.BatchState_BATCH_STATE_RELEASED:
			refusal.At(line.GetPieceId(), "", "is not released", "")
		}
	}
	if len(refusal.Places) > 0 {
		return 0, refusal
	}
	reserved := &stockeventv1.PiecesReserved{ReservationId: req.GetReservationId()}
	for _, line := range req.GetLines() {
		id := line.GetPieceId()
		if b := line.GetBlocks(); b != nil {
			id = b.GetPalletId()
			f.blocks[b.GetBatchId()].BlockCount -= b.GetBlockCount()
			f.pieces[id] = &stockv1.Piece{
				PieceId: id, BatchId: b.GetBatchId(), BlockKind: "B20", BlockCount: b.GetBlockCount(),
				BatchState: stockv1.BatchState_BATCH_STATE_RELEASED,
			}
		}
		f.pieces[id].State, f.pieces[id].Allocation = stockeventv1.PieceState_PIECE_STATE_RESERVED, line.GetAllocation()
		reserved.Pieces = append(reserved.Pieces, &stockeventv1.ReservedPiece{PieceId: id, Allocation: line.GetAllocation()})
	}
	position, err := f.events.publish(ctx, req.GetRequestId(), &stockeventv1.Event{Kind: &stockeventv1.Event_PiecesReserved{PiecesReserved: reserved}})
	if err != nil {
		return 0, err
	}
	f.promised++
	f.done[req.GetRequestId()] = position
	return position, nil
}

func (f *fakeStock) DropReservation(_ context.Context, req *stockv1.DropReservationRequest) (*stockv1.DropReservationResponse, error) {
	if err := f.run(f.before, "DropReservation"); err != nil {
		return nil, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if _, ok := f.done[req.GetRequestId()]; ok {
		return &stockv1.DropReservationResponse{}, nil
	}
	known := false
	answer := &stockv1.DropReservationResponse{}
	for id, p := range f.pieces {
		a := p.GetAllocation()
		if a.GetReservationId() != req.GetReservationId() {
			continue
		}
		known = true
		if p.GetState() != stockeventv1.PieceState_PIECE_STATE_RESERVED || req.GetRunId() != "" && a.GetRunId() != req.GetRunId() {
			continue
		}
		answer.PieceIds = append(answer.PieceIds, id)
		if p.GetBlockCount() > 0 {
			f.blocks[p.GetBatchId()].BlockCount += p.GetBlockCount()
			delete(f.pieces, id)
			continue
		}
		p.State, p.Allocation = stockeventv1.PieceState_PIECE_STATE_IN_YARD, nil
	}
	if !known {
		return nil, fault.New(fault.NotFound, "RESERVATION_UNKNOWN", "There is no reservation %s in this yard.", req.GetReservationId())
	}
	f.dropped += len(answer.PieceIds)
	f.done[req.GetRequestId()] = 0
	return answer, nil
}

func (f *fakeStock) GetPieces(_ context.Context, req *stockv1.GetPiecesRequest) (*stockv1.GetPiecesResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	answer := &stockv1.GetPiecesResponse{Position: req.GetAtLeast()}
	for _, id := range req.GetPieceIds() {
		if p, ok := f.pieces[id]; ok {
			answer.Pieces = append(answer.Pieces, proto.CloneOf(p))
		}
	}
	return answer, nil
}

// load puts every piece of a run on its truck.
func (f *fakeStock) load(runID string, except ...string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for id, p := range f.pieces {
		if p.GetAllocation().GetRunId() == runID && !slices.Contains(except, id) {
			p.State = stockeventv1.PieceState_PIECE_STATE_LOADED
		}
	}
}

// put moves a piece to a state.
func (f *fakeStock) put(id string, state stockeventv1.PieceState) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.pieces[id].State = state
}

// setDown has pieces set down by hand, as stock's own call does it.
func (f *fakeStock) setDown(t *testing.T, runID string, ids ...string) uint64 {
	t.Helper()
	var events []*stockeventv1.Event
	for _, id := range ids {
		f.put(id, stockeventv1.PieceState_PIECE_STATE_DELIVERED)
		events = append(events, &stockeventv1.Event{Kind: &stockeventv1.Event_PieceDelivered{
			PieceDelivered: &stockeventv1.PieceDelivered{PieceId: id, RunId: runID, SiteId: "north"},
		}})
	}
	position, err := f.events.publish(t.Context(), "set-down-"+ids[0], events...)
	if err != nil {
		t.Fatal(err)
	}
	return position
}

// release lifts a batch's quarantine and releases it anew.
func (f *fakeStock) release(t *testing.T, batch string) uint64 {
	t.Helper()
	f.mu.Lock()
	for _, p := range f.pieces {
		if p.GetBatchId() == batch {
			p.BatchState = stockv1.BatchState_BATCH_STATE_RELEASED
		}
	}
	f.mu.Unlock()
	position, err := f.events.publish(t.Context(), "release-"+batch,
		&stockeventv1.Event{Kind: &stockeventv1.Event_QuarantineLifted{QuarantineLifted: &stockeventv1.QuarantineLifted{BatchId: batch, LiftedBy: "Eve Example"}}},
		&stockeventv1.Event{Kind: &stockeventv1.Event_BatchReleased{BatchReleased: &stockeventv1.BatchReleased{BatchId: batch, ReleasedBy: "Eve Example"}}})
	if err != nil {
		t.Fatal(err)
	}
	return position
}

// held counts the pieces that are promised.
func (f *fakeStock) held() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	n := 0
	for _, p := range f.pieces {
		if p.GetState() == stockeventv1.PieceState_PIECE_STATE_RESERVED {
			n++
		}
	}
	return n
}

// quarantine stops a batch and publishes whom it hits.
func (f *fakeStock) quarantine(t *testing.T, batch string) uint64 {
	t.Helper()
	event := &stockeventv1.BatchQuarantined{BatchId: batch, Reason: "cylinders too weak", QuarantinedBy: "Eve Example"}
	f.mu.Lock()
	for id, p := range f.pieces {
		if p.GetBatchId() != batch {
			continue
		}
		p.BatchState = stockv1.BatchState_BATCH_STATE_QUARANTINED
		if p.GetAllocation() != nil {
			event.Hits = append(event.Hits, &stockeventv1.QuarantineHit{PieceId: id, State: p.GetState(), Allocation: p.GetAllocation()})
		}
	}
	f.mu.Unlock()
	position, err := f.events.publish(t.Context(), "quarantine-"+batch, &stockeventv1.Event{Kind: &stockeventv1.Event_BatchQuarantined{BatchQuarantined: event}})
	if err != nil {
		t.Fatal(err)
	}
	return position
}

func (f *fakeStock) counts() (promised, dropped int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.promised, f.dropped
}
