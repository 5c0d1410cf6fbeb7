// Package api answers stock's gRPC calls: it translates a request into a
// command or a question, asks the domain or the view, and translates back. It
// decides nothing itself.
//
// Writes are decided on the ledger alone, and their answers are made from the
// events of the write, so a repeated request gets the answer of the first.
// Reads come from the view in Redis.
package api

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/readmodel"
	"spanyard.example/services/stock/internal/yard"
)

// Ledger of the yards' stock.
type Ledger = ledger.Ledger[yard.State, yard.Event]

// Domain is what the ledger has to know of stock.
func Domain() ledger.Domain[yard.State, yard.Event] {
	return ledger.Domain[yard.State, yard.Event]{
		Service:         "stock",
		New:             yard.New,
		Evolve:          yard.Evolve,
		Encode:          codec.Encode,
		Decode:          codec.Decode,
		Snapshot:        yard.Snapshot,
		Restore:         yard.Restore,
		SnapshotVersion: yard.SnapshotVersion,
	}
}

// Server answers the calls.
type Server struct {
	stockv1.UnimplementedStockServiceServer

	ledger *Ledger
	view   *readmodel.View
	clock  clock.Clock
}

// New returns a server on a ledger and a view of it.
func New(l *Ledger, v *readmodel.View, c clock.Clock) *Server {
	return &Server{ledger: l, view: v, clock: c}
}

// Register adds the server to a gRPC server.
func (s *Server) Register(r grpc.ServiceRegistrar) { stockv1.RegisterStockServiceServer(r, s) }

// write is a request that changes something.
type write interface {
	proto.Message
	GetYard() string
	GetRequestId() string
}

// result of a write.
type result struct {
	events   []yard.Event
	position uint64
}

// do carries out a command in the name of the caller.
func (s *Server) do(ctx context.Context, req write, c yard.Command) (result, error) {
	return s.decide(ctx, req, func(state yard.State) ([]yard.Event, error) { return yard.Decide(state, c) })
}

func (s *Server) decide(ctx context.Context, req write, decide func(yard.State) ([]yard.Event, error)) (result, error) {
	done, err := s.ledger.Do(ctx, req.GetYard(), ledger.Command[yard.State, yard.Event]{
		RequestID:   req.GetRequestId(),
		Fingerprint: rpc.Fingerprint(req),
		Actor:       rpc.Actor(ctx),
		Time:        s.clock.Now(),
		Decide:      decide,
	})
	if err != nil {
		return result{}, err
	}
	r := result{position: done.Position}
	for _, e := range done.Events {
		r.events = append(r.events, e.Fact)
		// The position of a write is that of its last event, so that a request
		// sent again gets the very same answer.
		r.position = e.Position
	}
	return r, nil
}

// find returns the first event of a kind.
func find[E yard.Event](r result) (E, bool) {
	for _, e := range r.events {
		if found, ok := e.(E); ok {
			return found, true
		}
	}
	var none E
	return none, false
}

// tally returns how many events of a kind there are.
func tally[E yard.Event](r result) int32 {
	var n int32
	for _, e := range r.events {
		if _, ok := e.(E); ok {
			n++
		}
	}
	return n
}
