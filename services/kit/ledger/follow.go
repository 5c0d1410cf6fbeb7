package ledger

import (
	"context"

	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/fault"
)

// Follow calls fn for every event of the yard after a position of the
// service's stream, in order, and blocks until ctx ends or fn fails; it
// returns ctx's or fn's error. It goes on by itself after a lost connection.
func (l *Ledger[S, E]) Follow(ctx context.Context, yard string, after uint64, fn func(Event[E]) error) error {
	if err := checkYard(yard); err != nil {
		return err
	}
	w := walk{service: l.domain.Service, yard: yard, position: after}
	if after > 0 {
		// The event at the position itself is the link to what follows.
		r, err := l.stream.at(ctx, after)
		if err != nil {
			return err
		}
		if r != nil && r.Yard == yard {
			w.hash, w.linked = r.hash(), true
		}
	} else {
		w.linked = true
	}
	return l.persist(ctx, func() error {
		return l.stream.consume(ctx, jetstream.OrderedConsumerConfig{
			FilterSubjects: []string{guardOf(l.domain.Service, yard)},
			DeliverPolicy:  jetstream.DeliverByStartSequencePolicy,
			OptStartSeq:    w.position + 1,
		}, func(m message) error {
			e, err := l.decode(yard, m)
			if err != nil {
				return err
			}
			if err := w.step(e.record); err != nil {
				return err
			}
			if err := fn(e.event()); err != nil {
				return callerError{err}
			}
			return nil
		})
	})
}

// callerError keeps an error of the caller's function apart from our own.
type callerError struct{ error }

func (e callerError) Unwrap() error { return e.error }

// persist repeats f while the ledger cannot be reached.
func (l *Ledger[S, E]) persist(ctx context.Context, f func() error) error {
	for pause := minPause; ; pause = min(2*pause, maxPause) {
		err := f()
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if own, ok := err.(callerError); ok {
			return own.error
		}
		if fault.KindOf(err) != fault.Unavailable || l.stream.js.Conn().IsClosed() {
			return err
		}
		l.log.Warn("events are not followed just now", "error", err)
		if err := sleep(ctx, jittered(pause)); err != nil {
			return err
		}
	}
}

// walk checks the links from event to event.
type walk struct {
	service, yard string
	position      uint64
	hash          string
	linked        bool
}

func (w *walk) step(r *record) error {
	if w.linked && r.prev != w.hash {
		return brokenAt(w.service, w.yard, r.Position,
			"it does not follow on the event before it; an event was lost, changed or moved", nil)
	}
	w.position, w.hash, w.linked = r.Position, r.hash(), true
	return nil
}

// WatchYards calls fn once for every yard that has events, and once for each
// new one, until ctx ends or the ledger is closed.
func (l *Ledger[S, E]) WatchYards(ctx context.Context, fn func(yard string)) error {
	known := map[string]bool{}
	tell := func(yards []string) {
		for _, yard := range yards {
			if !known[yard] {
				known[yard] = true
				fn(yard)
			}
		}
	}
	err := l.persist(ctx, func() error {
		// The tail first, so that no yard can begin between the two.
		if err := l.startTail(ctx); err != nil {
			return err
		}
		yards, err := l.stream.yards(ctx)
		tell(yards)
		return err
	})
	for told := 0; err == nil; {
		yards, more := l.tail.yards(told)
		tell(yards)
		told += len(yards)
		select {
		case <-more:
		case <-ctx.Done():
			err = ctx.Err()
		case <-l.life.Done():
			err = l.life.Err()
		}
	}
	return err
}
