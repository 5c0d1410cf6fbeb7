// Package layout is the drawing office of a yard: it draws up laying plans
// from drawings and room schedules, checks every beam by EN 1992-1-1, keeps the
// plans' revisions, and has them approved by a named person. Its truth is its
// ledger; everybody else learns from the ledger's events what is to be made
// and where it lies.
//
// Code map: internal/office is the domain (catalogue, revisions, edits,
// approval), internal/design lays and checks floors with internal/arrange
// (rows of a room), internal/strength (the code's checks) and
// internal/geometry; internal/intake, outline and dxf read drawings,
// internal/schedule reads room schedules; internal/drawing and papers write
// documents; internal/codec turns events into bytes and back, internal/api
// answers gRPC calls.
package layout

import (
	"context"
	"fmt"
	"log/slog"

	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc"

	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/layout/internal/api"
	"spanyard.example/services/layout/internal/codec"
	"spanyard.example/services/layout/internal/office"
)

// Deps is what the service stands on.
type Deps struct {
	JetStream jetstream.JetStream
	// Clock defaults to the machine's.
	Clock clock.Clock
	// Log defaults to slog.Default().
	Log *slog.Logger
	// Replicas of the ledger's stream; 1 when left out.
	Replicas int
}

// Service is the drawing office.
type Service struct {
	ledger *api.Ledger
	server *api.Server
}

// New opens the ledger and returns the service. Run has to be called, also to
// close it again.
func New(ctx context.Context, d Deps) (*Service, error) {
	if d.Clock == nil {
		d.Clock = clock.System()
	}
	l, err := ledger.Open(ctx, d.JetStream, domain(), ledger.Options{Replicas: d.Replicas, Log: d.Log})
	if err != nil {
		return nil, fmt.Errorf("open the drawing office's ledger: %w", err)
	}
	return &Service{ledger: l, server: api.New(l, d.Clock)}, nil
}

func domain() ledger.Domain[office.State, office.Event] {
	return ledger.Domain[office.State, office.Event]{
		Service:         "layout",
		New:             func(string) office.State { return office.New() },
		Evolve:          office.Evolve,
		Encode:          codec.Encode,
		Decode:          codec.Decode,
		Snapshot:        codec.Snapshot,
		Restore:         func(_ string, data []byte) (office.State, error) { return codec.Restore(data) },
		SnapshotVersion: codec.SnapshotVersion,
	}
}

// Register adds the service to a gRPC server.
func (s *Service) Register(r grpc.ServiceRegistrar) {
	s.server.Register(r)
	RegisterDesigns(r)
}

// RegisterDesigns adds only what needs no ledger: checks of beams and floors
// from files.
func RegisterDesigns(r grpc.ServiceRegistrar) { api.RegisterDesigns(r) }

// Run keeps the ledger until ctx ends.
func (s *Service) Run(ctx context.Context) error { return s.ledger.Run(ctx) }

// Healthy says whether the service can answer.
func (s *Service) Healthy(ctx context.Context) error { return s.ledger.Healthy(ctx) }
