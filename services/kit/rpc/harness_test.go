package rpc

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// fake is a dispatch service whose answers a test chooses.
type fake struct {
	dispatchv1.UnimplementedDispatchServiceServer
	setTrucks  func(context.Context, *dispatchv1.SetTrucksRequest) (*dispatchv1.SetTrucksResponse, error)
	listTrucks func(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error)
	watchPicks func(*dispatchv1.WatchPicksRequest, grpc.ServerStreamingServer[dispatchv1.WatchPicksResponse]) error
}

func (f *fake) SetTrucks(ctx context.Context, r *dispatchv1.SetTrucksRequest) (*dispatchv1.SetTrucksResponse, error) {
	return f.setTrucks(ctx, r)
}

func (f *fake) ListTrucks(ctx context.Context, r *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
	return f.listTrucks(ctx, r)
}

func (f *fake) WatchPicks(r *dispatchv1.WatchPicksRequest, s grpc.ServerStreamingServer[dispatchv1.WatchPicksResponse]) error {
	return f.watchPicks(r, s)
}

func (f *fake) register(r grpc.ServiceRegistrar) { dispatchv1.RegisterDispatchServiceServer(r, f) }

// logBook is a log that may be read while it is written.
type logBook struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logBook) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logBook) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// running is a server on a connection in memory.
type running struct {
	client dispatchv1.DispatchServiceClient
	conn   *grpc.ClientConn
	log    *logBook
	stop   context.CancelFunc
	// ended is closed when Serve has returned.
	ended chan struct{}
}

// start serves f until the test ends.
func start(t *testing.T, f *fake, options ServerOptions, dial ...grpc.DialOption) *running {
	t.Helper()
	book := &logBook{}
	options.Name = "dispatch"
	options.Log = slog.New(slog.NewJSONHandler(book, &slog.HandlerOptions{Level: slog.LevelDebug}))
	server, err := NewServer(options, f.register)
	if err != nil {
		t.Fatal(err)
	}
	lis := bufconn.Listen(1 << 20)
	ctx, stop := context.WithCancel(t.Context())
	r := &running{log: book, stop: stop, ended: make(chan struct{})}
	go func() {
		defer close(r.ended)
		if err := server.Serve(ctx, lis); err != nil {
			t.Errorf("Serve: %v", err)
		}
	}()
	dial = append([]grpc.DialOption{grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return lis.DialContext(ctx)
	})}, dial...)
	r.conn, err = Dial("passthrough:///bufconn", dial...)
	if err != nil {
		t.Fatal(err)
	}
	r.client = dispatchv1.NewDispatchServiceClient(r.conn)
	t.Cleanup(func() {
		_ = r.conn.Close()
		stop()
		<-r.ended
	})
	return r
}

// eventually polls until done is true.
func eventually(t *testing.T, what string, done func() bool) {
	t.Helper()
	deadline := time.Now().Add(10 * time.Second)
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for !done() {
		if time.Now().After(deadline) {
			t.Fatalf("%s did not happen", what)
		}
		<-tick.C
	}
}
