// Package effect lets a service act on another service's events.
//
// Events are handled one after the other, in the order of the source's stream,
// over all replicas of the acting service: they share one durable consumer
// with at most one event under way. An event is acknowledged only after its
// handler returned nil, so a handler may see the same event again and must
// make that harmless: it records its own effect in its own ledger with the
// request id "cause-" + the event's id.
package effect

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"runtime/debug"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/ledger"
)

const (
	// ackWait is how long the server waits for a sign of life before it gives
	// the event to another replica; heartbeat is how often one is given.
	ackWait   = 30 * time.Second
	heartbeat = 10 * time.Second

	minPause = 100 * time.Millisecond
	maxPause = 15 * time.Second
)

// Received is an event of another service.
type Received struct {
	ledger.Meta
	// Data is the event's protobuf message.
	Data []byte
}

// Config of one stream of effects.
type Config struct {
	// Source is the service whose events are acted on: "stock".
	Source string
	// Consumer is the durable name, with a version: "dispatch-v1". A new
	// version starts again at the source's first event.
	Consumer string
	// Kinds of events; empty means all.
	Kinds []string
	// Log; default slog.Default().
	Log *slog.Logger
}

// GiveUp marks an error that trying again cannot mend: the event is passed
// over, loudly.
func GiveUp(err error) error { return giveUp{err} }

type giveUp struct{ error }

func (g giveUp) Unwrap() error { return g.error }

// Run handles events until ctx ends. It waits for the source's stream to
// exist, and goes on after a lost connection. An error of handle is tried
// again after a growing pause, and nothing behind it is handled before.
func Run(ctx context.Context, js jetstream.JetStream, c Config, handle func(context.Context, Received) error) error {
	if c.Source == "" || c.Consumer == "" {
		return fmt.Errorf("effect: source and consumer must be named, got %q and %q", c.Source, c.Consumer)
	}
	if c.Log == nil {
		c.Log = slog.Default()
	}
	r := &runner{config: c, js: js, handle: handle, log: c.Log.With("effects_of", c.Source, "consumer", c.Consumer)}
	for pause := minPause; ; pause = min(2*pause, maxPause) {
		handled, err := r.run(ctx)
		if ctx.Err() != nil {
			return nil
		}
		if js.Conn().IsClosed() {
			return fmt.Errorf("effects of %s: %w", c.Source, nats.ErrConnectionClosed)
		}
		if handled > 0 {
			pause = minPause
		}
		level := slog.LevelWarn
		if errors.Is(err, jetstream.ErrStreamNotFound) {
			level = slog.LevelDebug // the source has not started yet
		}
		r.log.Log(ctx, level, "events are not received just now", "error", err)
		if sleep(ctx, pause) != nil {
			return nil
		}
	}
}

type runner struct {
	config Config
	js     jetstream.JetStream
	handle func(context.Context, Received) error
	log    *slog.Logger
}

func (r *runner) consumerConfig() jetstream.ConsumerConfig {
	config := jetstream.ConsumerConfig{
		Durable:       r.config.Consumer,
		DeliverPolicy: jetstream.DeliverAllPolicy,
		AckPolicy:     jetstream.AckExplicitPolicy,
		AckWait:       ackWait,
		MaxDeliver:    -1,
		// One under way keeps the order, also when one is tried again.
		MaxAckPending: 1,
	}
	for _, kind := range r.config.Kinds {
		config.FilterSubjects = append(config.FilterSubjects, "spanyard."+r.config.Source+".*."+kind)
	}
	if len(r.config.Kinds) == 0 {
		config.FilterSubjects = []string{ledger.SubjectsOf(r.config.Source)}
	}
	return config
}

// run receives until something goes wrong, and says how many it handled.
func (r *runner) run(ctx context.Context) (handled int, err error) {
	setUp, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	consumer, err := r.js.CreateOrUpdateConsumer(setUp, ledger.StreamOf(r.config.Source), r.consumerConfig())
	if err != nil {
		return 0, err
	}
	messages, err := consumer.Messages(jetstream.PullMaxMessages(1), jetstream.PullExpiry(10*time.Second),
		jetstream.PullHeartbeat(time.Second))
	if err != nil {
		return 0, err
	}
	defer messages.Stop()
	defer context.AfterFunc(ctx, messages.Stop)()
	for {
		m, err := messages.Next()
		if err != nil {
			return handled, err
		}
		if err := r.receive(ctx, m); err != nil {
			return handled, err
		}
		handled++
	}
}

// receive handles one event until that succeeds and is acknowledged.
func (r *runner) receive(ctx context.Context, m jetstream.Msg) error {
	stop := r.keepAlive(ctx, m)
	defer stop()
	received, err := parse(m)
	if err != nil {
		err = GiveUp(err)
	}
	for pause := minPause; ; pause = min(2*pause, maxPause) {
		if err == nil {
			err = r.guarded(ctx, received)
		}
		var hopeless giveUp
		if errors.As(err, &hopeless) {
			r.log.Error("an event is passed over", "event", received.ID, "position", received.Position,
				"yard", received.Yard, "type", received.Type, "error", err)
			err = nil
		}
		if err == nil {
			stop()
			ackCtx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
			defer cancel()
			// Not knowing whether it arrived does no harm: the event then
			// comes again.
			return m.DoubleAck(ackCtx)
		}
		if ctx.Err() == nil {
			r.log.Warn("an event will be tried again", "event", received.ID, "position", received.Position,
				"yard", received.Yard, "type", received.Type, "error", err, "pause", pause)
		}
		if sleep(ctx, pause) != nil {
			stop()
			_ = m.Nak() // another replica may have it at once
			return ctx.Err()
		}
		err = nil
	}
}

// guarded turns a panic of the handler into an error.
func (r *runner) guarded(ctx context.Context, received Received) (err error) {
	defer func() {
		if p := recover(); p != nil {
			r.log.Error("an effect panicked", "event", received.ID, "panic", p, "stack", string(debug.Stack()))
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	return r.handle(ctx, received)
}

// keepAlive tells the server that the event is being worked on, until stopped.
func (r *runner) keepAlive(ctx context.Context, m jetstream.Msg) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	finished := make(chan struct{})
	go func() {
		defer close(finished)
		for sleep(ctx, heartbeat) == nil {
			if err := m.InProgress(); err != nil {
				r.log.Warn("no sign of life could be given", "error", err)
			}
		}
	}()
	return func() {
		cancel()
		<-finished
	}
}

func parse(m jetstream.Msg) (Received, error) {
	meta, err := m.Metadata()
	if err != nil {
		return Received{}, err
	}
	known, err := ledger.ParseMeta(m.Subject(), meta.Sequence.Stream, m.Headers())
	return Received{Meta: known, Data: m.Data()}, err
}

// sleep waits for about d; it returns ctx's error when ctx ends before.
func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d/2 + rand.N(d/2+1))
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
