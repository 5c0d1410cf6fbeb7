// Package allinone runs the whole yard in one process: NATS on disk, Redis in
// memory, the services behind real gRPC servers that speak to each other in
// memory, and one listener for clients. The services are the ones that also
// run separately; nothing here knows what they do.
//
// Invariants: a module starts after all that it needs and stops before them;
// whatever ends early stops the whole program with an error; the data folder
// belongs to one process at a time.
package allinone

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"github.com/redis/go-redis/v9"
	"google.golang.org/grpc"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/datafolder"
)

// Options of a house.
type Options struct {
	// Data is the folder for everything that has to last. Required.
	Data string
	// Listen is the address for clients, host:port; port 0 takes a free one.
	Listen string
	// Desk is what people see; nil when there is none.
	Desk  *Desk
	Clock clock.Clock
	Log   *slog.Logger
}

// service is what every department's package gives.
type service interface {
	Register(grpc.ServiceRegistrar)
	Run(ctx context.Context) error
	Healthy(ctx context.Context) error
}

// House is a running program.
type House struct {
	options Options
	log     *slog.Logger
	// base outlives the request to stop: parts are stopped one by one.
	base context.Context

	js       jetstream.JetStream
	redis    redis.UniversalClient
	services map[string]service
	lines    map[string]*grpc.ClientConn
	address  net.Addr
	// signer of the tokens that the desk's people carry, and the keys that
	// know them.
	signer *auth.Signer
	keys   *auth.Keys
	// desk is the address that a browser opens.
	desk string

	stops  []func()
	failed chan error
}

// Start opens the data folder and starts all modules. The house runs until
// Stop, also when ctx ends: who holds it decides when it goes.
func Start(ctx context.Context, o Options) (*House, error) {
	if err := datafolder.Open(o.Data); err != nil {
		return nil, err
	}
	sorted, err := order(modules, "all")
	if err != nil {
		return nil, err
	}
	signer, keys, err := openKey(o.Data)
	if err != nil {
		return nil, err
	}
	h := &House{
		signer: signer, keys: keys,
		options: o, log: o.Log, base: context.WithoutCancel(ctx),
		services: map[string]service{}, lines: map[string]*grpc.ClientConn{},
		failed: make(chan error, 2*len(sorted)),
	}
	for _, name := range sorted {
		if err := h.startModule(ctx, name); err != nil {
			h.Stop()
			return nil, err
		}
	}
	return h, nil
}

func (h *House) startModule(ctx context.Context, name string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	start := modules[name].start
	if start == nil {
		return nil
	}
	stop, err := start(h)
	if err != nil {
		var f *fault.Error
		if errors.As(err, &f) {
			return err
		}
		return fmt.Errorf("start %s: %w", name, err)
	}
	h.log.Debug("started", slog.String("module", name))
	h.stops = append(h.stops, func() {
		stop()
		h.log.Debug("stopped", slog.String("module", name))
	})
	return nil
}

// Stop stops all modules, last started first, and returns when nothing of
// them runs any more.
func (h *House) Stop() {
	for _, stop := range slices.Backward(h.stops) {
		stop()
	}
	h.stops = nil
}

// Address that clients reach the house at.
func (h *House) Address() string { return h.address.String() }

// Failed gets an error when a part ends before it was told to.
func (h *House) Failed() <-chan error { return h.failed }

func (h *House) fail(name string, err error) {
	if err == nil {
		err = errors.New("ended by itself")
	}
	h.failed <- fmt.Errorf("%s: %w", name, err)
}

// Healthy says whether every service can answer.
func (h *House) Healthy(ctx context.Context) error {
	for _, name := range []string{"layout", "stock", "dispatch"} {
		if err := h.services[name].Healthy(ctx); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return nil
}

// readyEvery is how often a starting house is asked.
const readyEvery = 20 * time.Millisecond

// Ready waits until every service can answer: their ledgers are read and the
// view of the stock is built.
func (h *House) Ready(ctx context.Context) error {
	tick := time.NewTicker(readyEvery)
	defer tick.Stop()
	for {
		err := h.Healthy(ctx)
		if err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return errors.Join(ctx.Err(), err)
		case failure := <-h.failed:
			return failure
		case <-tick.C:
		}
	}
}
