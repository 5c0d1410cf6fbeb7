package allinone

import (
	"context"
	"crypto/rand"
	"errors"
	"io"
	"log/slog"
	"net"
	"sync"
	"syscall"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/redis/go-redis/v9"
	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/dispatch"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/natsd"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/layout"
	"spanyard.example/services/stock"
)

// lineBytes is the buffer of a connection in memory.
const lineBytes = 1 << 20

// stopTime that calls under way get when the program stops.
const stopTime = 5 * time.Second

func startNATS(h *House) (func(), error) {
	server, err := natsd.Start(natsd.Config{Dir: h.options.Data, Log: h.log})
	if err != nil {
		return nil, err
	}
	conn, err := server.Connect()
	if err != nil {
		server.Stop()
		return nil, err
	}
	if h.js, err = jetstream.New(conn); err != nil {
		server.Stop()
		return nil, err
	}
	return server.Stop, nil
}

// startRedis keeps the view of the stock in memory. It is empty at every
// start, and stock builds it from its ledger as it would after a loss. Only
// this process knows the password.
func startRedis(h *House) (func(), error) {
	server := miniredis.NewMiniRedis()
	password := rand.Text()
	server.RequireAuth(password)
	if err := server.StartAddr("127.0.0.1:0"); err != nil {
		return nil, err
	}
	client := redis.NewClient(&redis.Options{Addr: server.Addr(), Password: password, DisableIdentity: true})
	h.redis = client
	return func() {
		if err := client.Close(); err != nil {
			h.log.Warn("redis client did not close", slog.Any("error", err))
		}
		server.Close()
	}, nil
}

func startLayout(h *House) (func(), error) {
	s, err := layout.New(h.base, layout.Deps{JetStream: h.js, Clock: h.options.Clock, Log: h.logOf("layout"), Replicas: 1})
	if err != nil {
		return nil, err
	}
	return h.open("layout", s)
}

func startStock(h *House) (func(), error) {
	s, err := stock.New(h.base, stock.Deps{JetStream: h.js, Redis: h.redis, Clock: h.options.Clock, Log: h.logOf("stock"), Replicas: 1})
	if err != nil {
		return nil, err
	}
	return h.open("stock", s)
}

func startDispatch(h *House) (func(), error) {
	s, err := dispatch.New(h.base, dispatch.Deps{
		JetStream: h.js, Stock: stockv1.NewStockServiceClient(h.lines["stock"]), Clock: h.options.Clock, Log: h.logOf("dispatch"), Replicas: 1,
	})
	if err != nil {
		return nil, err
	}
	return h.open("dispatch", s)
}

func (h *House) logOf(name string) *slog.Logger { return h.log.With(slog.String("service", name)) }

// open runs a service behind its own gRPC server in memory and leaves a
// connection to it in the house.
func (h *House) open(name string, s service) (func(), error) {
	server, err := rpc.NewServer(rpc.ServerOptions{Name: name, Log: h.logOf(name), Health: s.Healthy, StopTime: stopTime}, s.Register)
	if err != nil {
		return nil, err
	}
	listener := bufconn.Listen(lineBytes)
	line, err := rpc.Dial("passthrough:///"+name, grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return listener.DialContext(ctx)
	}))
	if err != nil {
		return nil, err
	}
	h.services[name], h.lines[name] = s, line
	stopRun := h.keep(name, s.Run)
	stopServe := h.keep(name+" server", func(ctx context.Context) error { return server.Serve(ctx, listener) })
	return func() {
		h.closeQuietly(name+" line", line)
		stopServe()
		stopRun()
	}, nil
}

// startDoor serves all services at one address, for the command line and
// other clients.
func startDoor(h *House) (func(), error) {
	server, err := rpc.NewServer(rpc.ServerOptions{Name: "spanyard", Log: h.log, Health: h.Healthy, Reflection: true, StopTime: stopTime, Access: h.access(true)},
		h.services["layout"].Register, h.services["stock"].Register, h.services["dispatch"].Register)
	if err != nil {
		return nil, err
	}
	listener, err := (&net.ListenConfig{}).Listen(h.base, "tcp", h.options.Listen)
	if err != nil {
		return nil, listenFault(h.options.Listen, "--listen", err)
	}
	h.address = listener.Addr()
	return h.keep("listener", func(ctx context.Context) error { return server.Serve(ctx, listener) }), nil
}

func listenFault(address, flag string, err error) error {
	if errors.Is(err, syscall.EADDRINUSE) {
		return fault.New(fault.Unavailable, "ADDRESS_IN_USE", "The address %s is in use, perhaps by another spanyard. Stop that one, or choose another with %s.", address, flag).Because(err)
	}
	return fault.New(fault.Invalid, "ADDRESS_UNUSABLE", "The program cannot listen at %q; give host:port with %s.", address, flag).Because(err)
}

// keep runs fn until the function it returns is called, which waits for its
// end. An earlier end is a failure of the house.
func (h *House) keep(name string, fn func(context.Context) error) (stop func()) {
	ctx, cancel := context.WithCancel(h.base)
	var wait sync.WaitGroup
	wait.Go(func() {
		if err := fn(ctx); ctx.Err() == nil {
			h.fail(name, err)
		}
	})
	return func() {
		cancel()
		wait.Wait()
	}
}

func (h *House) closeQuietly(what string, c io.Closer) {
	if err := c.Close(); err != nil {
		h.log.Warn("did not close", slog.String("what", what), slog.Any("error", err))
	}
}
