package serve

import (
	"bytes"
	"context"
	"errors"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"go.uber.org/goleak"
	"google.golang.org/grpc"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/kit/internal/testca"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// natsServer with JetStream on a port of the machine; port -1 takes a free one.
func natsServer(t *testing.T, dir string, port int) *server.Server {
	t.Helper()
	s, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: port, NoSigs: true, NoLog: true, JetStream: true, StoreDir: dir, JetStreamMaxMemory: 1 << 20, JetStreamMaxStore: 1 << 24})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(10 * time.Second) {
		t.Fatal("NATS did not start")
	}
	t.Cleanup(func() { stopNATS(s) })
	return s
}

func stopNATS(s *server.Server) {
	s.Shutdown()
	s.WaitForShutdown()
}

// testSettings are those of a service of the tests.
type testSettings struct {
	Config `yaml:",inline"`
	Colour string `yaml:"colour"`
}

// testService does what a test tells it, and notes the order of its end.
type testService struct {
	dispatchv1.UnimplementedDispatchServiceServer
	base    *Base
	run     func(context.Context) error
	healthy func() error
	mu      sync.Mutex
	ended   []string
}

func (s *testService) Register(r grpc.ServiceRegistrar) {
	dispatchv1.RegisterDispatchServiceServer(r, s)
}

func (s *testService) Run(ctx context.Context) error {
	if s.run != nil {
		return s.run(ctx)
	}
	<-ctx.Done()
	s.note("run")
	if !s.base.Conn.IsConnected() {
		return errors.New("NATS went before the service")
	}
	return ctx.Err()
}

func (s *testService) Healthy(context.Context) error {
	if s.healthy != nil {
		return s.healthy()
	}
	return nil
}

func (s *testService) WatchPicks(_ *dispatchv1.WatchPicksRequest, stream grpc.ServerStreamingServer[dispatchv1.WatchPicksResponse]) error {
	if err := stream.Send(&dispatchv1.WatchPicksResponse{Position: uint64(s.base.Clock.Now().Year())}); err != nil {
		return err
	}
	<-stream.Context().Done()
	s.note("stream")
	return stream.Context().Err()
}

func (s *testService) note(what string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended = append(s.ended, what)
}

// process is one run of the program.
type process struct {
	address string
	status  chan int
	stop    context.CancelFunc
	out     *book
}

type book struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *book) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *book) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

// begin starts the program and returns when it listens.
func begin(t *testing.T, s *testService, cfg *testSettings, args ...string) *process {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	p := &process{status: make(chan int, 1), stop: stop, out: &book{}}
	listening := make(chan net.Addr, 1)
	in := invocation{name: "test", args: args, out: p.out, err: p.out, listening: func(a net.Addr) { listening <- a }}
	go func() {
		p.status <- run(ctx, in, cfg, func(_ context.Context, base *Base) (Service, error) {
			s.base = base
			return s, nil
		})
	}()
	t.Cleanup(stop)
	select {
	case a := <-listening:
		p.address = a.String()
	case status := <-p.status:
		t.Fatalf("the program ended with %d:\n%s", status, p.out)
	case <-time.After(30 * time.Second):
		t.Fatalf("the program does not listen:\n%s", p.out)
	}
	return p
}

func (p *process) end(t *testing.T) int {
	t.Helper()
	select {
	case status := <-p.status:
		return status
	case <-time.After(30 * time.Second):
		t.Fatalf("the program does not end:\n%s", p.out)
		return -1
	}
}

func settingsFor(s *server.Server) *testSettings {
	return &testSettings{Config: Config{Listen: "127.0.0.1:0", NATS: []string{s.ClientURL()}}}
}

// oneShot runs the program with flags that make it end by itself.
func oneShot(t *testing.T, cfg any, args ...string) (status int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	status = run(t.Context(), invocation{name: "test", args: args, out: &o, err: &e}, cfg, func(context.Context, *Base) (Service, error) {
		return nil, errors.New("nothing should be built")
	})
	return status, o.String(), e.String()
}

func TestLifeOfAService(t *testing.T) {
	nats := natsServer(t, t.TempDir(), -1)
	s := &testService{}
	cfg := settingsFor(nats)
	cfg.ClockStartsAt = "2031-04-28T05:00:00+02:00"
	p := begin(t, s, cfg)
	conn, err := s.base.Dial(p.address)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	stream, err := dispatchv1.NewDispatchServiceClient(conn).WatchPicks(t.Context(), &dispatchv1.WatchPicksRequest{Yard: "elm"})
	if err != nil {
		t.Fatal(err)
	}
	if m, err := stream.Recv(); err != nil || m.GetPosition() != 2031 {
		t.Fatalf("got %v, %v; want the year on the service's clock", m, err)
	}
	t.Setenv("SPANYARD_TEST_LISTEN", p.address)
	if status, _, errs := oneShot(t, &testSettings{}, "-health"); status != statusOK {
		t.Errorf("-health of a well service: %d, %s", status, errs)
	}
	p.stop()
	if status := p.end(t); status != statusOK {
		t.Errorf("status %d:\n%s", status, p.out)
	}
	if want := []string{"stream", "run"}; !slices.Equal(s.ended, want) {
		t.Errorf("ended in the order %v, want %v", s.ended, want)
	}
	if !s.base.Conn.IsClosed() {
		t.Error("the connection to NATS is still open")
	}
	if status, _, _ := oneShot(t, &testSettings{}, "-health"); status != statusFailed {
		t.Error("-health of a service that has ended says that it is well")
	}
}

func TestHealthOfAServiceThatIsNotWell(t *testing.T) {
	var asked atomic.Int32
	s := &testService{healthy: func() error {
		asked.Add(1)
		return errors.New("the ledger is away")
	}}
	p := begin(t, s, settingsFor(natsServer(t, t.TempDir(), -1)))
	t.Setenv("SPANYARD_TEST_LISTEN", p.address)
	if status, _, errs := oneShot(t, &testSettings{}, "-health"); status != statusFailed || !strings.Contains(errs, "is not well: NOT_SERVING") {
		t.Errorf("-health: %d, %s", status, errs)
	}
	p.stop()
	if status := p.end(t); status != statusOK {
		t.Errorf("status %d", status)
	}
}

func TestServicesThatEndByThemselves(t *testing.T) {
	nats := natsServer(t, t.TempDir(), -1)
	for name, tt := range map[string]struct {
		err  error
		want string
	}{
		"with an error":    {errors.New("the ledger is broken"), "the ledger is broken"},
		"without an error": {nil, "the service ended by itself"},
	} {
		t.Run(name, func(t *testing.T) {
			fail := make(chan struct{})
			s := &testService{run: func(context.Context) error {
				<-fail
				return tt.err
			}}
			p := begin(t, s, settingsFor(nats))
			close(fail)
			if status := p.end(t); status != statusFailed || !strings.Contains(p.out.String(), tt.want) {
				t.Errorf("status %d:\n%s", status, p.out)
			}
		})
	}
}

func TestServicesThatCannotBegin(t *testing.T) {
	nats := natsServer(t, t.TempDir(), -1)
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = taken.Close() }()
	good := func(context.Context, *Base) (Service, error) { return &testService{}, nil }
	tests := map[string]struct {
		change func(*testSettings)
		build  Build
		want   string
	}{
		"no NATS": {func(c *testSettings) {
			c.NATS, c.NATSWait = []string{"nats://" + taken.Addr().String()}, 300*time.Millisecond
		}, good, "JetStream did not answer within 300ms"},
		"no credentials": {func(c *testSettings) { c.NATSCredentials, c.NATSWait = "no-such-file", 300*time.Millisecond }, good, "no-such-file"},
		"not built":      {func(*testSettings) {}, func(context.Context, *Base) (Service, error) { return nil, errors.New("no Redis") }, "build the service: no Redis"},
		"address taken":  {func(c *testSettings) { c.Listen = taken.Addr().String() }, good, "listen: "},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			cfg := settingsFor(nats)
			tt.change(cfg)
			var log bytes.Buffer
			status := run(t.Context(), invocation{name: "test", out: &log, err: &log}, cfg, tt.build)
			if status != statusFailed || !strings.Contains(log.String(), tt.want) {
				t.Errorf("status %d, want %q in:\n%s", status, tt.want, log.String())
			}
		})
	}
}

// A service that is told to stop while it waits for NATS has not failed.
func TestStopWhileWaiting(t *testing.T) {
	cfg := &testSettings{Config: Config{Listen: "127.0.0.1:0", NATS: []string{"nats://127.0.0.1:1"}}}
	ctx, stop := context.WithCancel(t.Context())
	log := &book{}
	status := make(chan int, 1)
	go func() {
		status <- run(ctx, invocation{name: "test", out: log, err: log}, cfg, func(context.Context, *Base) (Service, error) { return &testService{}, nil })
	}()
	deadline := time.Now().Add(10 * time.Second)
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for !strings.Contains(log.String(), "waiting for JetStream") {
		if time.Now().After(deadline) {
			t.Fatalf("it does not say that it waits:\n%s", log)
		}
		<-tick.C
	}
	stop()
	if got := <-status; got != statusOK {
		t.Errorf("status %d:\n%s", got, log)
	}
}

func TestServiceThatDoesNotEnd(t *testing.T) {
	never := make(chan struct{})
	defer close(never)
	cfg := settingsFor(natsServer(t, t.TempDir(), -1))
	cfg.StopTime = 50 * time.Millisecond
	p := begin(t, &testService{run: func(context.Context) error {
		<-never
		return nil
	}}, cfg)
	p.stop()
	if status := p.end(t); status != statusFailed || !strings.Contains(p.out.String(), "the service did not end within 50ms") {
		t.Errorf("status %d:\n%s", status, p.out)
	}
}

// With certificates, the service, its callers and its own health question
// check each other.
func TestLifeWithTLS(t *testing.T) {
	ca := testca.New(t)
	cert, key := ca.Issue(t, "test", "test.yard.example")
	s := &testService{}
	cfg := settingsFor(natsServer(t, t.TempDir(), -1))
	cfg.TLSCert, cfg.TLSKey, cfg.TLSCA = cert, key, ca.File
	p := begin(t, s, cfg)
	t.Setenv("SPANYARD_TEST_LISTEN", p.address)
	if status, _, _ := oneShot(t, &testSettings{}, "-health"); status != statusFailed {
		t.Error("a question in plain text was answered")
	}
	for key, value := range map[string]string{"TLS_CERT": cert, "TLS_KEY": key, "TLS_CA": ca.File} {
		t.Setenv("SPANYARD_TEST_"+key, value)
	}
	// The first check of its health may still be under way.
	deadline := time.Now().Add(10 * time.Second)
	for status, errs := statusFailed, ""; status != statusOK; {
		if status, _, errs = oneShot(t, &testSettings{}, "-health"); status != statusOK && time.Now().After(deadline) {
			t.Fatalf("-health: %d, %s", status, errs)
		}
	}
	conn, err := s.base.Dial(p.address)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	p.stop()
	if status := p.end(t); status != statusOK {
		t.Errorf("status %d:\n%s", status, p.out)
	}
}

// NATS may go and come back at any time.
func TestNATSThatRestarts(t *testing.T) {
	dir := t.TempDir()
	first := natsServer(t, dir, -1)
	s := &testService{}
	p := begin(t, s, settingsFor(first))
	port := first.Addr().(*net.TCPAddr).Port
	stopNATS(first)
	natsServer(t, dir, port)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	for {
		ask, done := context.WithTimeout(ctx, time.Second)
		_, err := s.base.JetStream.AccountInfo(ask)
		done()
		if err == nil {
			break
		}
		if ctx.Err() != nil {
			t.Fatalf("JetStream does not answer after the restart: %v\n%s", err, p.out)
		}
	}
	p.stop()
	if status := p.end(t); status != statusOK {
		t.Errorf("status %d:\n%s", status, p.out)
	}
}

func TestFlags(t *testing.T) {
	file := filepath.Join(t.TempDir(), "test.yaml")
	if err := os.WriteFile(file, []byte("colour: red\nnats_user: u\nnats_password: hunter\nreplicas: 3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	wrong := filepath.Join(t.TempDir(), "wrong.yaml")
	if err := os.WriteFile(wrong, []byte("color: red\nreplicas: 4\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("SPANYARD_TEST_LOG", "debug")
	tests := map[string]struct {
		args      []string
		status    int
		out, errs string
	}{
		"check": {[]string{"-check", "-config", file}, statusOK,
			"The settings are good. Those that differ from the defaults:\nnats_user: u\nnats_password: (secret)\nreplicas: 3\nlog: debug\ncolour: red\n", ""},
		"check wrong":  {[]string{"-check", "-config", wrong}, statusUsage, "", "wrong.yaml, line 1, color: is not a setting; allowed: listen, nats, "},
		"version":      {[]string{"-version"}, statusOK, "test ", ""},
		"help":         {[]string{"-help"}, statusOK, "", "-health"},
		"unknown flag": {[]string{"-colour"}, statusUsage, "", "not defined: -colour"},
		"more words":   {[]string{"serve"}, statusUsage, "", `"serve" is not expected here`},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			status, out, errs := oneShot(t, &testSettings{}, tt.args...)
			if status != tt.status || !strings.Contains(out, tt.out) || !strings.Contains(errs, tt.errs) {
				t.Errorf("status %d, out:\n%s\nerrors:\n%s", status, out, errs)
			}
		})
	}
	if status, _, errs := oneShot(t, &struct{}{}); status != statusUsage || !strings.Contains(errs, "do not embed serve.Config") {
		t.Errorf("settings without a Config: %d, %s", status, errs)
	}
}

func TestValidate(t *testing.T) {
	good := []Config{
		{}, {Listen: "0.0.0.0:1"}, {Replicas: 5}, {Log: "warn"}, {Log: "DEBUG"},
		{ClockStartsAt: "2031-04-28T05:00:00Z"}, {NATSUser: "u", NATSPassword: "p"},
	}
	for _, c := range good {
		if err := c.Validate(); err != nil {
			t.Errorf("%+v: %v", c, err)
		}
	}
	wrong := map[string]Config{
		"listen": {Listen: "7000"}, "replicas": {Replicas: 2}, "log": {Log: "loud"}, "clock_starts_at": {ClockStartsAt: "2031-04-28"},
		"nats_wait": {NATSWait: -1}, "stop_time": {StopTime: -1}, "nats_user": {NATSPassword: "p"}, "tls_cert": {TLSCert: "x"},
	}
	for key, c := range wrong {
		if err := c.Validate(); err == nil || !strings.Contains(err.Error(), "\n  "+key) {
			t.Errorf("%+v: got %v, want %s named", c, err, key)
		}
	}
}

func TestOwnAddress(t *testing.T) {
	for listen, want := range map[string]string{":7000": "127.0.0.1:7000", "0.0.0.0:1": "127.0.0.1:1", "[::]:1": "127.0.0.1:1", "10.0.0.4:1": "10.0.0.4:1", "stock:1": "stock:1"} {
		if got, err := ownAddress(listen); err != nil || got != want {
			t.Errorf("ownAddress(%q) = %q, %v; want %q", listen, got, err, want)
		}
	}
}
