// Package stock is a yard's stock: batches cure, are tested and released;
// pieces lie in stacks, are promised, picked, loaded and delivered. Its truth
// is its ledger; Redis holds a view of it that may be lost at any moment.
//
// Code map: internal/yard is the domain, internal/conformity judges strength
// results, internal/count reads opening stock counts, internal/codec turns
// events into bytes and back, internal/readmodel keeps the view in Redis,
// internal/recall finds all of a batch and internal/papers prints it,
// internal/api answers gRPC calls.
//
// Stock never lets anything leave that is not released, and never promises a
// piece twice.
package stock

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"

	"github.com/nats-io/nats.go/jetstream"
	"github.com/redis/go-redis/v9"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/effect"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/api"
	"spanyard.example/services/stock/internal/readmodel"
	"spanyard.example/services/stock/internal/yard"
)

// Deps is what the service stands on.
type Deps struct {
	JetStream jetstream.JetStream
	// Redis holds the view; alone or as a cluster.
	Redis redis.UniversalClient
	// Clock defaults to the machine's.
	Clock clock.Clock
	// Log defaults to slog.Default().
	Log *slog.Logger
	// Replicas of the ledger's stream; 1 when left out.
	Replicas int
}

// Service is the yard's stock.
type Service struct {
	deps   Deps
	ledger *api.Ledger
	view   *readmodel.View
	server *api.Server
}

// New opens the ledger and returns the service. Run has to be called: without
// it there is no view, and nothing can be read.
func New(ctx context.Context, d Deps) (*Service, error) {
	if d.JetStream == nil || d.Redis == nil {
		return nil, errors.New("stock: JetStream and Redis are needed")
	}
	if d.Clock == nil {
		d.Clock = clock.System()
	}
	if d.Log == nil {
		d.Log = slog.Default()
	}
	l, err := ledger.Open(ctx, d.JetStream, api.Domain(), ledger.Options{Replicas: d.Replicas, Log: d.Log})
	if err != nil {
		return nil, fmt.Errorf("open the stock ledger: %w", err)
	}
	view := readmodel.New(d.Redis, l, d.Log)
	return &Service{deps: d, ledger: l, view: view, server: api.New(l, view, d.Clock)}, nil
}

// Register adds the service to a gRPC server.
func (s *Service) Register(r grpc.ServiceRegistrar) { s.server.Register(r) }

// Run keeps the view and acts on deliveries until ctx ends or a part fails;
// then it waits for all parts. The ledger closes last, when nobody uses it any
// more.
func (s *Service) Run(ctx context.Context) error {
	parts, stop := context.WithCancel(ctx)
	defer stop()
	var group sync.WaitGroup
	failed := make(chan error, 2)
	for _, part := range []func(context.Context) error{s.project, s.hearDispatch} {
		group.Go(func() {
			if err := part(parts); err != nil && parts.Err() == nil {
				failed <- err
				stop()
			}
		})
	}
	upkeep, end := context.WithCancel(context.WithoutCancel(ctx))
	kept := make(chan error, 1)
	go func() { kept <- s.ledger.Run(upkeep) }()
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

// Healthy says whether the ledger can be read and written. A lost view is no
// reason to stop taking writes.
func (s *Service) Healthy(ctx context.Context) error { return s.ledger.Healthy(ctx) }

// Writes returns what this replica has written into the ledger, and how often
// others were faster.
func (s *Service) Writes() ledger.Writes { return s.ledger.Writes() }

// project keeps a view of every yard.
func (s *Service) project(ctx context.Context) error {
	var group sync.WaitGroup
	defer group.Wait()
	return s.ledger.WatchYards(ctx, func(yardID string) {
		group.Go(func() {
			if err := s.view.Project(ctx, yardID); err != nil && ctx.Err() == nil {
				s.deps.Log.Error("a yard's stock view is not kept any more", "yard", yardID, "error", err)
			}
		})
	})
}

// hearDispatch records what dispatch says was set down at a site.
func (s *Service) hearDispatch(ctx context.Context) error {
	return effect.Run(ctx, s.deps.JetStream, effect.Config{
		Source: "dispatch", Consumer: "stock-v1", Kinds: []string{"drop_delivered"}, Log: s.deps.Log,
	}, s.delivered)
}

// delivered takes over a delivery, in the name of whoever reported it. What cannot have been delivered is told to
// the operators and left as it is; it must not hold up what comes behind.
func (s *Service) delivered(ctx context.Context, r effect.Received) error {
	var message dispatcheventv1.Event
	if err := proto.Unmarshal(r.Data, &message); err != nil {
		return effect.GiveUp(fmt.Errorf("read dispatch's event %s: %w", r.ID, err))
	}
	drop := message.GetDropDelivered()
	at := r.Time
	if drop.GetDeliveredAt() != nil {
		at = drop.GetDeliveredAt().AsTime()
	}
	for first := 0; first < len(drop.GetPieceIds()); first += yard.MaxPiecesPerStep {
		ids := drop.GetPieceIds()[first:min(first+yard.MaxPiecesPerStep, len(drop.GetPieceIds()))]
		c := yard.DeliverPieces{RunID: drop.GetRunId(), SiteID: drop.GetSiteId(), PieceIDs: ids, At: at, ReceivedBy: drop.GetReceivedBy()}
		var left []fault.Place
		_, err := s.ledger.Do(ctx, r.Yard, ledger.Command[yard.State, yard.Event]{
			RequestID: fmt.Sprintf("cause-%s-%d", r.ID, first), Fingerprint: []byte(r.ID), Actor: cmp.Or(r.Actor, "stock"), Cause: r.ID, Time: s.deps.Clock.Now(),
			Decide: func(state yard.State) (events []yard.Event, err error) {
				events, left, err = yard.DeliverWhatCan(state, c)
				return events, err
			},
		})
		switch kind := fault.KindOf(err); {
		case err != nil && (kind == fault.Invalid || kind == fault.Stale || kind == fault.NotFound):
			return effect.GiveUp(err)
		case err != nil:
			return err
		}
		for _, p := range left {
			s.deps.Log.Error("dispatch delivered a piece that stock does not have on the road", "yard", r.Yard, "run", c.RunID, "site", c.SiteID, "piece", p.Where, "problem", p.Problem)
		}
	}
	return nil
}
