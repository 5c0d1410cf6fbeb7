package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/kit/fault"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func write() *dispatchv1.SetTrucksRequest {
	return &dispatchv1.SetTrucksRequest{Yard: "elm", RequestId: "r1", Trucks: []*eventv1.Truck{{TruckId: "t1"}}}
}

func read() *dispatchv1.ListTrucksRequest { return &dispatchv1.ListTrucksRequest{Yard: "elm"} }

func asFault(t *testing.T, err error) *fault.Error {
	t.Helper()
	var f *fault.Error
	if !errors.As(err, &f) {
		t.Fatalf("error %v (%T) is no fault", err, err)
	}
	return f
}

func TestHandlersReturnFaultsAndClientsReceiveThem(t *testing.T) {
	sent := fault.New(fault.Stale, "BATCH_TOO_YOUNG", "Batch B7 may be released on 2031-05-02 at the earliest.").
		At("batch", "B7", "is too young", "7 days or older").Because(errors.New("secret detail"))
	f := &fake{
		listTrucks: func(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
			return nil, sent
		},
		watchPicks: func(_ *dispatchv1.WatchPicksRequest, s grpc.ServerStreamingServer[dispatchv1.WatchPicksResponse]) error {
			if err := s.Send(&dispatchv1.WatchPicksResponse{Position: 9}); err != nil {
				return err
			}
			return sent
		},
	}
	r := start(t, f, ServerOptions{})
	check := func(err error) {
		t.Helper()
		got := asFault(t, err)
		if got.Kind != sent.Kind || got.Reason != sent.Reason || got.Sentence != sent.Sentence {
			t.Errorf("got %v, want %v", got, sent)
		}
		if diff := cmp.Diff(sent.Places, got.Places); diff != "" {
			t.Errorf("places changed:\n%s", diff)
		}
		if strings.Contains(got.Error(), "secret detail") {
			t.Error("the cause left the process")
		}
	}
	_, err := r.client.ListTrucks(t.Context(), read())
	check(err)
	stream, err := r.client.WatchPicks(t.Context(), &dispatchv1.WatchPicksRequest{Yard: "elm"})
	if err != nil {
		t.Fatal(err)
	}
	if m, err := stream.Recv(); err != nil || m.GetPosition() != 9 {
		t.Fatalf("got %v, %v", m, err)
	}
	_, err = stream.Recv()
	check(err)
	if !strings.Contains(r.log.String(), "secret detail") {
		t.Error("the cause is not in the log")
	}
}

// An import with a hundred wrong cells is told whole, over the wire.
func TestLongFaultsTravelWhole(t *testing.T) {
	sent := fault.New(fault.Invalid, "BAD_ROWS", "In rooms.xlsx 101 cells are wrong;\nnothing was taken over: 100 %% é夜.")
	for i := range 101 {
		sent.At(fmt.Sprintf("rooms.xlsx, sheet Rooms, row %d, column clear_span_mm", i), strings.Repeat("é", 60), "is not a number", strings.Repeat("a whole number ", 40))
	}
	f := &fake{listTrucks: func(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
		return nil, sent
	}}
	_, err := start(t, f, ServerOptions{}).client.ListTrucks(t.Context(), read())
	got := asFault(t, err)
	if diff := cmp.Diff(sent.Places, got.Places); diff != "" || got.Sentence != sent.Sentence {
		t.Errorf("%q, places (-sent +got):\n%s", got.Sentence, diff)
	}
}

func TestPanicsReachTheLogAndNotTheCaller(t *testing.T) {
	f := &fake{
		listTrucks: func(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
			panic("kaboom")
		},
		watchPicks: func(*dispatchv1.WatchPicksRequest, grpc.ServerStreamingServer[dispatchv1.WatchPicksResponse]) error {
			panic("kaboom")
		},
	}
	r := start(t, f, ServerOptions{})
	check := func(err error) {
		t.Helper()
		got := asFault(t, err)
		if got.Kind != fault.Internal || got.Reason != ReasonInternal {
			t.Errorf("got %v, want an internal fault", got)
		}
		if text := got.Error(); strings.Contains(text, "kaboom") || strings.Contains(text, ".go:") {
			t.Errorf("the caller sees %q", text)
		}
		_, rest, _ := strings.Cut(got.Sentence, "quote id ")
		id, _, _ := strings.Cut(rest, " ")
		if log := r.log.String(); id == "" || strings.Count(log, id) < 2 || !strings.Contains(log, "server_test.go:") || !strings.Contains(log, "kaboom") {
			t.Errorf("id %q, panic and stack are not in the log:\n%s", id, log)
		}
	}
	_, err := r.client.ListTrucks(t.Context(), read())
	check(err)
	stream, err := r.client.WatchPicks(t.Context(), &dispatchv1.WatchPicksRequest{Yard: "elm"})
	if err == nil {
		_, err = stream.Recv()
	}
	check(err)
}

func TestActor(t *testing.T) {
	var asked atomic.Value
	f := &fake{
		setTrucks: func(ctx context.Context, _ *dispatchv1.SetTrucksRequest) (*dispatchv1.SetTrucksResponse, error) {
			asked.Store(Actor(ctx))
			return &dispatchv1.SetTrucksResponse{}, nil
		},
		listTrucks: func(ctx context.Context, _ *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
			asked.Store(Actor(ctx))
			return &dispatchv1.ListTrucksResponse{}, nil
		},
	}
	r := start(t, f, ServerOptions{})
	for _, name := range []string{"Ada Field", "Jörn Żółw, 夜班", "50% / a+b&c=d?", strings.Repeat("é", 120)} {
		if _, err := r.client.SetTrucks(AsActor(t.Context(), name), write()); err != nil {
			t.Errorf("%q: %v", name, err)
		} else if asked.Load() != name {
			t.Errorf("actor = %q, want %q", asked.Load(), name)
		}
	}
	if _, err := r.client.SetTrucks(AsActor(AsActor(t.Context(), "first"), "second"), write()); err != nil || asked.Load() != "second" {
		t.Errorf("actor = %q (%v), want the last one set", asked.Load(), err)
	}
	if _, err := r.client.ListTrucks(t.Context(), read()); err != nil || asked.Load() != "" {
		t.Errorf("a read without a name: actor %q, %v", asked.Load(), err)
	}
	refused := map[string]struct {
		ctx    context.Context
		reason string
	}{
		"missing":      {t.Context(), "ACTOR_MISSING"},
		"blank":        {AsActor(t.Context(), "  "), "ACTOR_MISSING"},
		"too long":     {AsActor(t.Context(), strings.Repeat("é", 121)), "ACTOR_INVALID"},
		"line break":   {AsActor(t.Context(), "a\nb"), "ACTOR_INVALID"},
		"no text":      {AsActor(t.Context(), "\xff"), "ACTOR_INVALID"},
		"bad encoding": {metadata.AppendToOutgoingContext(t.Context(), actorKey, "%zz"), "ACTOR_INVALID"},
		"two":          {metadata.AppendToOutgoingContext(t.Context(), actorKey, "a", actorKey, "b"), "ACTOR_INVALID"},
	}
	for name, tt := range refused {
		_, err := r.client.SetTrucks(tt.ctx, write())
		if got := asFault(t, err); got.Kind != fault.Invalid || got.Reason != tt.reason {
			t.Errorf("%s: got %v, want %s", name, got, tt.reason)
		}
	}
}

func TestRequestsThatBreakTheirRules(t *testing.T) {
	f := &fake{
		watchPicks: func(*dispatchv1.WatchPicksRequest, grpc.ServerStreamingServer[dispatchv1.WatchPicksResponse]) error {
			t.Error("the handler saw a bad request")
			return nil
		},
	}
	r := start(t, f, ServerOptions{})
	_, err := r.client.SetTrucks(AsActor(t.Context(), "Ada"), &dispatchv1.SetTrucksRequest{Yard: "Elm Yard", RequestId: strings.Repeat("x", 65)})
	got := asFault(t, err)
	want := `The request cannot be taken as it is: 3 values are wrong.
  yard: "Elm Yard" is not written as it must be; allowed: 1 to 32 small letters, digits and hyphens, not beginning with a hyphen
  request_id: "` + strings.Repeat("x", 65) + `" is too long; allowed: at most 64 characters
  trucks: has too few entries; allowed: at least 1`
	got.Cause = nil
	if got.Kind != fault.Invalid || got.Reason != ReasonBadRequest || got.Error() != want {
		t.Errorf("got %s %s:\n%s\nwant:\n%s", got.Kind, got.Reason, got.Error(), want)
	}
	stream, err := r.client.WatchPicks(t.Context(), &dispatchv1.WatchPicksRequest{Yard: "elm", Day: "tomorrow"})
	if err == nil {
		_, err = stream.Recv()
	}
	if got := asFault(t, err); got.Kind != fault.Invalid || len(got.Places) != 1 || got.Places[0].Where != "day" {
		t.Errorf("got %v, want the day to be named", got)
	}
}

func TestDeadlines(t *testing.T) {
	var left atomic.Int64
	f := &fake{listTrucks: func(ctx context.Context, _ *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
		deadline, ok := ctx.Deadline()
		if !ok {
			t.Error("a handler without a deadline")
		}
		left.Store(int64(time.Until(deadline)))
		return &dispatchv1.ListTrucksResponse{}, nil
	}}
	r := start(t, f, ServerOptions{})
	call := func(ctx context.Context) time.Duration {
		t.Helper()
		if _, err := r.client.ListTrucks(ctx, read()); err != nil {
			t.Fatal(err)
		}
		return time.Duration(left.Load())
	}
	if got := call(t.Context()); got > defaultCallTime || got < defaultCallTime-5*time.Second {
		t.Errorf("left %s without a deadline, want about %s", got, defaultCallTime)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	if got := call(ctx); got > 5*time.Second-reportTime {
		t.Errorf("left %s of 5 s, want time kept back for the answer", got)
	}
}

func TestWorkThatCannotEndInTimeIsNotBegun(t *testing.T) {
	s := &Server{}
	ctx, cancel := context.WithTimeout(t.Context(), leastCallTime/2)
	defer cancel()
	err := s.timed(ctx, func(context.Context) error {
		t.Error("the handler was called")
		return nil
	})
	if got := asFault(t, err); got.Reason != ReasonTooSlow {
		t.Errorf("got %v, want %s", got, ReasonTooSlow)
	}
}

func TestUnavailableIsRetriedAndNothingElse(t *testing.T) {
	var calls atomic.Int32
	kind := fault.Unavailable
	f := &fake{listTrucks: func(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
		if calls.Add(1) < 3 {
			return nil, fault.New(kind, "LEDGER_AWAY", "Try again.")
		}
		return &dispatchv1.ListTrucksResponse{}, nil
	}}
	r := start(t, f, ServerOptions{})
	if _, err := r.client.ListTrucks(t.Context(), read()); err != nil || calls.Load() != 3 {
		t.Errorf("got %v after %d calls, want success with the third", err, calls.Load())
	}
	for _, kind = range []fault.Kind{fault.Conflict, fault.Stale, fault.Internal} {
		calls.Store(0)
		if _, err := r.client.ListTrucks(t.Context(), read()); fault.KindOf(err) != kind || calls.Load() != 1 {
			t.Errorf("%s: got %v after %d calls, want one call", kind, err, calls.Load())
		}
	}
}

func TestLargeMessages(t *testing.T) {
	f := &fake{listTrucks: func(_ context.Context, req *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
		return &dispatchv1.ListTrucksResponse{Trucks: []*eventv1.Truck{{Name: strings.Repeat("x", int(req.GetAtLeast()))}}}, nil
	}}
	r := start(t, f, ServerOptions{})
	if _, err := r.client.ListTrucks(t.Context(), &dispatchv1.ListTrucksRequest{Yard: "elm", AtLeast: 31 << 20}); err != nil {
		t.Errorf("31 MiB: %v", err)
	}
	_, err := r.client.ListTrucks(t.Context(), &dispatchv1.ListTrucksRequest{Yard: "elm", AtLeast: 33 << 20})
	if got := asFault(t, err); got.Reason != ReasonTooLarge {
		t.Errorf("33 MiB: got %v, want %s", got, ReasonTooLarge)
	}
}

func TestStopEndsStreamsAndLetsCallsEnd(t *testing.T) {
	inCall, answer := make(chan struct{}), make(chan struct{})
	f := &fake{
		listTrucks: func(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
			close(inCall)
			<-answer
			return &dispatchv1.ListTrucksResponse{}, nil
		},
		watchPicks: func(_ *dispatchv1.WatchPicksRequest, s grpc.ServerStreamingServer[dispatchv1.WatchPicksResponse]) error {
			if err := s.Send(&dispatchv1.WatchPicksResponse{Position: 1}); err != nil {
				return err
			}
			<-s.Context().Done()
			return s.Context().Err()
		},
	}
	r := start(t, f, ServerOptions{})
	stream, err := r.client.WatchPicks(t.Context(), &dispatchv1.WatchPicksRequest{Yard: "elm"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil {
		t.Fatal(err)
	}
	called := make(chan error, 1)
	go func() {
		_, err := r.client.ListTrucks(t.Context(), read())
		called <- err
	}()
	<-inCall
	r.stop()
	_, err = stream.Recv()
	if got := asFault(t, err); got.Kind != fault.Unavailable || got.Reason != ReasonStopping {
		t.Errorf("stream ended with %v, want %s", got, ReasonStopping)
	}
	select {
	case <-r.ended:
		t.Error("Serve returned while a call was under way")
	default:
	}
	close(answer)
	if err := <-called; err != nil {
		t.Errorf("the call under way ended with %v", err)
	}
	<-r.ended
}

func TestStopCutsOffWhatTakesTooLong(t *testing.T) {
	inCall := make(chan struct{})
	f := &fake{listTrucks: func(ctx context.Context, _ *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
		close(inCall)
		<-ctx.Done()
		return nil, ctx.Err()
	}}
	r := start(t, f, ServerOptions{StopTime: 50 * time.Millisecond})
	called := make(chan error, 1)
	ctx, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
	defer cancel()
	go func() {
		_, err := r.client.ListTrucks(ctx, read())
		called <- err
	}()
	<-inCall
	r.stop()
	<-r.ended
	if err := <-called; fault.KindOf(err) != fault.Unavailable {
		t.Errorf("got %v, want an unavailable fault", err)
	}
}

func TestHealthFollowsTheChecks(t *testing.T) {
	var bad atomic.Bool
	bad.Store(true)
	options := ServerOptions{HealthEvery: 20 * time.Millisecond, Health: func(context.Context) error {
		if bad.Load() {
			return errors.New("no ledger")
		}
		return nil
	}}
	f := &fake{listTrucks: func(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
		return &dispatchv1.ListTrucksResponse{}, nil
	}}
	// The health question itself must not wait for health.
	r := start(t, f, ServerOptions{HealthEvery: options.HealthEvery, Health: options.Health}, grpc.WithDefaultServiceConfig(`{}`))
	health := healthv1.NewHealthClient(r.conn)
	state := func(service string) healthv1.HealthCheckResponse_ServingStatus {
		answer, err := health.Check(t.Context(), &healthv1.HealthCheckRequest{Service: service})
		if err != nil {
			t.Fatalf("health: %v (%s)", err, status.Code(err))
		}
		return answer.GetStatus()
	}
	if got := state(""); got != healthv1.HealthCheckResponse_NOT_SERVING {
		t.Errorf("%s before the first success", got)
	}
	for _, step := range []bool{false, true, false} {
		bad.Store(step)
		want := healthv1.HealthCheckResponse_SERVING
		if step {
			want = healthv1.HealthCheckResponse_NOT_SERVING
		}
		eventually(t, want.String(), func() bool { return state("spanyard.dispatch.v1.DispatchService") == want && state("") == want })
	}
}

// A client waits through the start of a service instead of failing.
func TestCallsBridgeAStart(t *testing.T) {
	var asked atomic.Int32
	options := ServerOptions{Health: func(context.Context) error {
		if asked.Add(1) < 4 {
			return errors.New("still reading the ledger")
		}
		return nil
	}}
	f := &fake{listTrucks: func(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
		return &dispatchv1.ListTrucksResponse{}, nil
	}}
	r := start(t, f, options)
	if _, err := r.client.ListTrucks(t.Context(), read()); err != nil {
		t.Errorf("got %v, want success after the start", err)
	}
}

func TestStreamsEndWithEOF(t *testing.T) {
	f := &fake{watchPicks: func(*dispatchv1.WatchPicksRequest, grpc.ServerStreamingServer[dispatchv1.WatchPicksResponse]) error {
		return nil
	}}
	r := start(t, f, ServerOptions{Reflection: true})
	stream, err := r.client.WatchPicks(t.Context(), &dispatchv1.WatchPicksRequest{Yard: "elm"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); !errors.Is(err, io.EOF) {
		t.Errorf("got %v, want EOF", err)
	}
}

func TestServerRefusesNonsense(t *testing.T) {
	if _, err := NewServer(ServerOptions{Name: "x"}); err == nil {
		t.Error("a server without a service was made")
	}
	f := &fake{}
	if _, err := NewServer(ServerOptions{}, f.register); err == nil {
		t.Error("a server without a name was made")
	}
}
