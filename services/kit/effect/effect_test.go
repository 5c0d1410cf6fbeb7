package effect_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"go.uber.org/goleak"

	"spanyard.example/services/kit/effect"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/kit/ledger/ledgertest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const patience = 30 * time.Second

var quiet = slog.New(slog.NewTextHandler(io.Discard, nil))

// count is a domain whose events are numbers; odd and even ones differ in type.
func count(service string) ledger.Domain[int, int] {
	return ledger.Domain[int, int]{
		Service: service,
		New:     func(string) int { return 0 },
		Evolve:  func(sum, n int) int { return sum + n },
		Encode: func(n int) (string, []byte, error) {
			return []string{"even", "odd"}[n%2], []byte(strconv.Itoa(n)), nil
		},
		Decode:   func(_ string, data []byte) (int, error) { return strconv.Atoi(string(data)) },
		Snapshot: func(sum int) ([]byte, error) { return []byte(strconv.Itoa(sum)), nil },
		Restore:  func(_ string, data []byte) (int, error) { return strconv.Atoi(string(data)) },
	}
}

func open(t *testing.T, js jetstream.JetStream, service string) *ledger.Ledger[int, int] {
	t.Helper()
	l, err := ledger.Open(within(t), js, count(service), ledger.Options{Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(l.Close)
	return l
}

func within(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	t.Cleanup(cancel)
	return ctx
}

func add(t *testing.T, l *ledger.Ledger[int, int], request, cause string, n int) ledger.Result[int] {
	t.Helper()
	r, err := l.Do(within(t), "north", ledger.Command[int, int]{
		RequestID: request, Actor: "mara", Cause: cause, Time: time.Unix(1900000000, 0),
		Decide: func(int) ([]int, error) { return []int{n}, nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// heard collects what a handler was given.
type heard struct {
	mu  sync.Mutex
	all []string
}

func (h *heard) note(r effect.Received) int {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.all = append(h.all, string(r.Data))
	return len(h.all)
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return fmt.Sprint(h.all)
}

func (h *heard) wait(t *testing.T, want string) {
	t.Helper()
	deadline := time.After(patience)
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for h.String() != want {
		select {
		case <-tick.C:
		case <-deadline:
			t.Fatalf("heard %s, want %s", h, want)
		}
	}
}

// run runs effects until the returned function is called.
func run(t *testing.T, js jetstream.JetStream, c effect.Config, handle func(context.Context, effect.Received) error) (stop func()) {
	t.Helper()
	c.Log = quiet
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- effect.Run(ctx, js, c, handle) }()
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			if err := <-ended; err != nil {
				t.Errorf("run: %v", err)
			}
		})
	}
	t.Cleanup(stop)
	return stop
}

func TestHandlesInOrderAndOnlyWhatWasAskedFor(t *testing.T) {
	js := ledgertest.JetStream(t)
	var all, odd heard
	// It is there before its source is.
	run(t, js, effect.Config{Source: "source", Consumer: "all-v1"}, func(_ context.Context, r effect.Received) error {
		all.note(r)
		return nil
	})
	source := open(t, js, "source")
	var first ledger.Meta
	for n := range 6 {
		if r := add(t, source, fmt.Sprint("r", n), "why", n); n == 0 {
			first = r.Events[0].Meta
		}
	}
	all.wait(t, "[0 1 2 3 4 5]")
	var got ledger.Meta
	run(t, js, effect.Config{Source: "source", Consumer: "odd-v1", Kinds: []string{"odd"}}, func(_ context.Context, r effect.Received) error {
		odd.note(r)
		return nil
	})
	odd.wait(t, "[1 3 5]")
	done := make(chan struct{})
	run(t, js, effect.Config{Source: "source", Consumer: "first-v1"}, func(_ context.Context, r effect.Received) error {
		if r.Position == first.Position {
			got = r.Meta
			close(done)
		}
		return nil
	})
	<-done
	if got != first {
		t.Fatalf("got %+v, want %+v", got, first)
	}
}

func TestTriesAgainBeforeItGoesOn(t *testing.T) {
	js := ledgertest.JetStream(t)
	source := open(t, js, "source")
	for n := range 4 {
		add(t, source, fmt.Sprint("r", n), "", n)
	}
	var h heard
	run(t, js, effect.Config{Source: "source", Consumer: "c-v1"}, func(_ context.Context, r effect.Received) error {
		switch h.note(r) {
		case 2:
			return errors.New("not now")
		case 3:
			panic("not now either")
		case 5:
			return fmt.Errorf("hopeless: %w", effect.GiveUp(errors.New("never")))
		}
		return nil
	})
	h.wait(t, "[0 1 1 1 2 3]")
}

// A handler that dies after its own effect was stored and before the event was
// acknowledged sees the event again, and the effect stays one.
func TestRedeliveryHasOneEffect(t *testing.T) {
	js := ledgertest.JetStream(t)
	source, target := open(t, js, "source"), open(t, js, "target")
	for n := 1; n <= 3; n++ {
		add(t, source, fmt.Sprint("r", n), "", n)
	}
	var repeated []bool
	var h heard
	died := make(chan struct{})
	handle := func(ctx context.Context, r effect.Received) error {
		n, err := strconv.Atoi(string(r.Data))
		if err != nil {
			return effect.GiveUp(err)
		}
		repeated = append(repeated, add(t, target, "cause-"+r.ID, r.ID, n).Repeated)
		if h.note(r) == 2 {
			close(died)
			<-ctx.Done() // never comes to acknowledge
			return ctx.Err()
		}
		return nil
	}
	stop := run(t, js, effect.Config{Source: "source", Consumer: "target-v1"}, handle)
	<-died
	stop()
	run(t, js, effect.Config{Source: "source", Consumer: "target-v1"}, handle)
	h.wait(t, "[1 2 2 3]")
	sum, _, err := target.State(within(t), "north", 0)
	if err != nil || sum != 6 {
		t.Fatalf("sum %d, %v, want 6", sum, err)
	}
	if fmt.Sprint(repeated) != "[false false true false]" {
		t.Fatalf("repeated %v", repeated)
	}
	err = target.Follow(within(t), "north", 0, func(e ledger.Event[int]) error {
		if e.Cause == "" || e.RequestID != "cause-"+e.Cause {
			return fmt.Errorf("event %+v does not name its cause", e.Meta)
		}
		if e.Fact == 3 {
			return io.EOF
		}
		return nil
	})
	if !errors.Is(err, io.EOF) {
		t.Fatal(err)
	}
}

func TestReplicasShareTheWork(t *testing.T) {
	const events = 60
	js := ledgertest.JetStream(t)
	source := open(t, js, "source")
	var h heard
	var busy sync.Mutex
	for range 3 {
		run(t, js, effect.Config{Source: "source", Consumer: "c-v1"}, func(_ context.Context, r effect.Received) error {
			if !busy.TryLock() {
				t.Error("two events are under way at once")
				return nil
			}
			defer busy.Unlock()
			h.note(r)
			return nil
		})
	}
	var want []int
	for n := range events {
		add(t, source, fmt.Sprint("r", n), "", n)
		want = append(want, n)
	}
	h.wait(t, fmt.Sprint(want))
}

func TestUnreadableEventsArePassedOver(t *testing.T) {
	js := ledgertest.JetStream(t)
	source := open(t, js, "source")
	if _, err := js.Publish(within(t), "spanyard.source.south.odd", []byte("no envelope")); err != nil {
		t.Fatal(err)
	}
	add(t, source, "r", "", 8)
	var h heard
	run(t, js, effect.Config{Source: "source", Consumer: "c-v1"}, func(_ context.Context, r effect.Received) error {
		h.note(r)
		return nil
	})
	h.wait(t, "[8]")
}

func TestNamesAreNeeded(t *testing.T) {
	for _, c := range []effect.Config{{Source: "source"}, {Consumer: "c-v1"}} {
		if err := effect.Run(t.Context(), nil, c, nil); err == nil {
			t.Errorf("%+v was taken", c)
		}
	}
}
