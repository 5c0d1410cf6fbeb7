package ledger

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/fault"
)

// stream is a service's JetStream stream, without any knowledge of what its
// events mean.
type stream struct {
	js      jetstream.JetStream
	service string
	handle  jetstream.Stream
	// wire is what appends go over; tests put one in that loses things.
	wire wire
}

// wire sends messages; *nats.Conn is one.
type wire interface {
	PublishMsg(*nats.Msg) error
	RequestMsgWithContext(context.Context, *nats.Msg) (*nats.Msg, error)
}

func streamConfig(service string, o Options) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:        StreamOf(service),
		Description: "The truth of the " + service + " service. Never edit or delete: every event carries the hash of the one before.",
		Subjects:    []string{SubjectsOf(service)},
		Storage:     jetstream.FileStorage,
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardNew,
		DenyDelete:  true,
		DenyPurge:   true,
		MaxBytes:    o.MaxBytes,
		Replicas:    o.Replicas,
		Duplicates:  2 * time.Minute,
		// Reads must come from the stream's leader: a follower may lag.
		AllowDirect:        false,
		AllowAtomicPublish: true,
	}
}

// openStream makes or updates the stream. Several replicas of a service may do
// it at the same moment, and a cluster may still be choosing its leader.
func openStream(ctx context.Context, js jetstream.JetStream, service string, o Options) (*stream, error) {
	s := &stream{js: js, service: service, wire: js.Conn()}
	err := retry(ctx, func(ctx context.Context) (err error) {
		s.handle, err = js.CreateOrUpdateStream(ctx, streamConfig(service, o))
		return err
	})
	if err != nil {
		return nil, fault.New(fault.Unavailable, "LEDGER_UNREACHABLE",
			"The ledger of %s cannot be opened.", service).Because(err)
	}
	return s, nil
}

// retry calls f until it succeeds or ctx ends. An answer of the server that
// cannot change by waiting ends it at once. The first attempts are short: of
// several requests to make the same stream at the same moment, a cluster
// answers only one.
func retry(ctx context.Context, f func(context.Context) error) error {
	patience := time.Second
	for pause := minPause; ; pause = min(2*pause, maxPause) {
		attempt, cancel := context.WithTimeout(ctx, patience)
		patience = min(2*patience, 8*time.Second)
		err := f(attempt)
		cancel()
		if err == nil || hopeless(err) {
			return err
		}
		if sleep(ctx, jittered(pause)) != nil {
			return err
		}
	}
}

// noSuitablePeers is the server's answer while too few nodes are up for the
// stream's replicas; they may come.
const noSuitablePeers jetstream.ErrorCode = 10005

// hopeless reports whether the server refused for a reason that stays.
func hopeless(err error) bool {
	var api jetstream.JetStreamError
	if errors.As(err, &api) && api.APIError() != nil {
		code := api.APIError().Code
		return code >= 400 && code < 500 && code != 408 && code != 429 &&
			api.APIError().ErrorCode != jetstream.JSErrCodeStreamNameInUse && api.APIError().ErrorCode != noSuitablePeers
	}
	return errors.Is(err, nats.ErrConnectionClosed) || errors.Is(err, jetstream.ErrJetStreamNotEnabled)
}

func jittered(d time.Duration) time.Duration {
	return d/2 + rand.N(d/2+1)
}

// sleep waits for d; it returns ctx's error when ctx ends before.
func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// last returns the yard's newest record, nil when it has none. The answer
// comes from the stream's leader.
func (s *stream) last(ctx context.Context, yard string) (*record, error) {
	raw, err := ask(ctx, func(ctx context.Context) (*jetstream.RawStreamMsg, error) {
		return s.handle.GetLastMsgForSubject(ctx, guardOf(s.service, yard))
	})
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, unreachable(s.service, err)
	}
	return s.parse(raw)
}

// at returns the record at a position, nil when the position holds none.
func (s *stream) at(ctx context.Context, position uint64) (*record, error) {
	raw, err := ask(ctx, func(ctx context.Context) (*jetstream.RawStreamMsg, error) {
		return s.handle.GetMsg(ctx, position)
	})
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, unreachable(s.service, err)
	}
	return s.parse(raw)
}

const (
	// askWithin bounds one question to the stream's leader: while a cluster
	// has none, a question stays without an answer and has to be put again.
	askWithin = time.Second
	// findOutWithin bounds all of them.
	findOutWithin = 10 * time.Second
)

func ask[T any](ctx context.Context, question func(context.Context) (T, error)) (T, error) {
	ctx, cancel := context.WithTimeout(ctx, findOutWithin)
	defer cancel()
	for {
		once, cancel := context.WithTimeout(ctx, askWithin)
		answer, err := question(once)
		cancel()
		if err == nil || notThere(err) || hopeless(err) || sleep(ctx, jittered(minPause)) != nil {
			return answer, err
		}
	}
}

// notThere reports whether the server answered that there is no such thing.
func notThere(err error) bool {
	return errors.Is(err, jetstream.ErrMsgNotFound) || errors.Is(err, jetstream.ErrObjectNotFound)
}

// end returns the position of the stream's newest event.
func (s *stream) end(ctx context.Context) (uint64, error) {
	info, err := ask(ctx, func(ctx context.Context) (*jetstream.StreamInfo, error) { return s.handle.Info(ctx) })
	if err != nil {
		return 0, unreachable(s.service, err)
	}
	return info.State.LastSeq, nil
}

// yards returns the names of all yards that have events, in order.
func (s *stream) yards(ctx context.Context) ([]string, error) {
	info, err := ask(ctx, func(ctx context.Context) (*jetstream.StreamInfo, error) {
		return s.handle.Info(ctx, jetstream.WithSubjectFilter(SubjectsOf(s.service)))
	})
	if err != nil {
		return nil, unreachable(s.service, err)
	}
	named := map[string]bool{}
	for subject := range info.State.Subjects {
		if yard, _, ok := parseSubject(subject); ok {
			named[yard] = true
		}
	}
	return slices.Sorted(maps.Keys(named)), nil
}

func (s *stream) parse(raw *jetstream.RawStreamMsg) (*record, error) {
	r, err := parseRecord(raw.Subject, raw.Sequence, raw.Header, raw.Data)
	if err != nil {
		yard, _, _ := parseSubject(raw.Subject)
		return nil, brokenAt(s.service, yard, raw.Sequence, "it cannot be read", err)
	}
	return r, nil
}

// nearby is how many events are asked for one by one before a consumer is made
// for the rest: a consumer costs more than that to set up, most of all on a
// cluster.
const nearby = 64

// read calls fn for the yard's records from one position on, up to and with
// another, in order.
func (s *stream) read(ctx context.Context, yard string, from, to uint64, fn func(*record) error) error {
	for range nearby {
		if from > to {
			return nil
		}
		raw, err := ask(ctx, func(ctx context.Context) (*jetstream.RawStreamMsg, error) {
			return s.handle.GetMsg(ctx, from, jetstream.WithGetMsgSubject(guardOf(s.service, yard)))
		})
		if errors.Is(err, jetstream.ErrMsgNotFound) {
			return nil
		}
		if err != nil {
			return unreachable(s.service, err)
		}
		if raw.Sequence > to {
			return nil
		}
		r, err := s.parse(raw)
		if err != nil {
			return err
		}
		if err := fn(r); err != nil {
			return err
		}
		from = raw.Sequence + 1
	}
	return s.readFar(ctx, yard, from, to, fn)
}

func (s *stream) readFar(ctx context.Context, yard string, from, to uint64, fn func(*record) error) error {
	if from > to {
		return nil
	}
	done := errors.New("done")
	err := s.consume(ctx, jetstream.OrderedConsumerConfig{
		FilterSubjects: []string{guardOf(s.service, yard)},
		DeliverPolicy:  jetstream.DeliverByStartSequencePolicy,
		OptStartSeq:    from,
	}, func(m message) error {
		if m.position > to {
			return done
		}
		r, err := parseRecord(m.subject, m.position, m.header, m.data)
		if err != nil {
			return brokenAt(s.service, yard, m.position, "it cannot be read", err)
		}
		if err := fn(r); err != nil {
			return err
		}
		if m.position == to {
			return done
		}
		return nil
	})
	if errors.Is(err, done) {
		return nil
	}
	return err
}

// message is one delivered message.
type message struct {
	subject  string
	position uint64
	header   nats.Header
	data     []byte
}

// consume runs an ordered consumer until ctx ends or fn fails; it returns
// ctx's or fn's error, or Unavailable when the consumer is lost.
func (s *stream) consume(ctx context.Context, c jetstream.OrderedConsumerConfig, fn func(message) error) error {
	// Without acknowledgements a slow fn only makes the consumer wait; it must
	// not be thought dead meanwhile.
	c.InactiveThreshold = 5 * time.Minute
	setUp, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	consumer, err := s.handle.OrderedConsumer(setUp, c)
	if err != nil {
		return unreachable(s.service, err)
	}
	defer s.forget(ctx, consumer)
	// A request that goes astray, as a first one may on a cluster, is noticed
	// by the missing heartbeat and made again.
	messages, err := consumer.Messages(jetstream.PullExpiry(30*time.Second), jetstream.PullHeartbeat(time.Second))
	if err != nil {
		return unreachable(s.service, err)
	}
	defer messages.Stop()
	defer context.AfterFunc(ctx, messages.Stop)()
	for {
		m, err := messages.Next()
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return unreachable(s.service, err)
		}
		meta, err := m.Metadata()
		if err != nil {
			return unreachable(s.service, err)
		}
		if err := fn(message{m.Subject(), meta.Sequence.Stream, m.Headers(), m.Data()}); err != nil {
			return err
		}
	}
}

// forget removes a consumer that is not needed any more. When that fails, the
// server does it after a while.
func (s *stream) forget(ctx context.Context, consumer jetstream.Consumer) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	_ = s.js.DeleteConsumer(ctx, StreamOf(s.service), consumer.CachedInfo().Name)
}

func unreachable(service string, err error) error {
	return fault.New(fault.Unavailable, "LEDGER_UNREACHABLE",
		"The ledger of %s cannot be reached just now; try again in a moment.", service).Because(err)
}

// brokenAt is the fault of a history that cannot be trusted.
func brokenAt(service, yard string, position uint64, why string, cause error) error {
	f := fault.New(fault.Internal, "LEDGER_BROKEN",
		"The ledger of %s, yard %s, is broken at position %d: %s. The yard stands still until an operator has looked at it.",
		service, yard, position, why)
	if cause != nil {
		return f.Because(cause)
	}
	return f
}

func unknownYard(yard string) error {
	return fault.New(fault.NotFound, "YARD_UNKNOWN", "There is no yard %s here.", yard)
}

// healthy asks the stream's leader whether it is there.
func (s *stream) healthy(ctx context.Context) error {
	info, err := s.handle.Info(ctx)
	if err != nil {
		return unreachable(s.service, err)
	}
	if info.Cluster != nil && info.Cluster.Leader == "" {
		return unreachable(s.service, fmt.Errorf("stream %s has no leader", info.Config.Name))
	}
	return nil
}
