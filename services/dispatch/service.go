// Package dispatch is the dispatcher's department: call-offs become truck
// loads and runs; runs are confirmed, picked, driven and delivered. The same
// service runs inside the all-in-one program and alone.
package dispatch

import (
	"context"
	"errors"
	"log/slog"
	"sync"

	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/dispatch/internal/api"
	"spanyard.example/services/dispatch/internal/check"
	"spanyard.example/services/dispatch/internal/codec"
	"spanyard.example/services/dispatch/internal/office"
	"spanyard.example/services/dispatch/internal/routing"
	"spanyard.example/services/dispatch/internal/stores"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/ledger"
)

// Deps are what dispatch stands on.
type Deps struct {
	JetStream jetstream.JetStream
	Stock     stockv1.StockServiceClient
	// Clock; default the machine's.
	Clock clock.Clock
	// Log; default slog.Default().
	Log *slog.Logger
	// Replicas of the ledger's stream; default 1.
	Replicas int
}

// Service is dispatch.
type Service struct {
	office *office.Office
	server *api.Server
}

// New opens dispatch's ledger and returns the service. Call Run for it to
// hear the other services and to finish what was begun.
func New(ctx context.Context, d Deps) (*Service, error) {
	if d.JetStream == nil || d.Stock == nil {
		return nil, errors.New("dispatch: JetStream and a client of stock are needed")
	}
	if d.Clock == nil {
		d.Clock = clock.System()
	}
	if d.Log == nil {
		d.Log = slog.Default()
	}
	book, err := ledger.Open(ctx, d.JetStream, codec.Domain(), ledger.Options{Replicas: d.Replicas, Log: d.Log})
	if err != nil {
		return nil, err
	}
	o := &office.Office{
		Ledger:    book,
		JetStream: d.JetStream,
		Stores:    stores.New(d.Stock),
		Clock:     d.Clock,
		Log:       d.Log,
		Planner:   routing.Plan,
		Checker:   check.Plan,
	}
	return &Service{office: o, server: api.New(o)}, nil
}

// Register adds the service to a gRPC server.
func (s *Service) Register(r grpc.ServiceRegistrar) {
	dispatchv1.RegisterDispatchServiceServer(r, s.server)
}

// Run works in the background until ctx ends or a part fails; then it waits
// for all parts. The ledger closes last, when nobody uses it any more.
func (s *Service) Run(ctx context.Context) error {
	parts, stop := context.WithCancel(ctx)
	defer stop()
	var group sync.WaitGroup
	failed := make(chan error, 3)
	for _, part := range []func(context.Context) error{s.office.HearLayout, s.office.HearStock, s.office.Settle} {
		group.Go(func() {
			if err := part(parts); err != nil && parts.Err() == nil {
				failed <- err
				stop()
			}
		})
	}
	upkeep, end := context.WithCancel(context.WithoutCancel(ctx))
	kept := make(chan error, 1)
	go func() { kept <- s.office.Ledger.Run(upkeep) }()
	group.Wait()
	end()
	err := <-kept
	select {
	case first := <-failed:
		return first
	default:
		return err
	}
}

// Healthy says whether the ledger can be read and written.
func (s *Service) Healthy(ctx context.Context) error { return s.office.Ledger.Healthy(ctx) }
