package ledger

import (
	"context"
	"time"

	"github.com/nats-io/nuid"

	"spanyard.example/services/kit/fault"
)

// longestText of a request id, an actor or a cause, in bytes.
const longestText = 256

// Do carries out a command on a yard. Commands that wait at the same time are
// decided one after the other and stored in one write. When Do fails with
// Unavailable, the command may or may not have been carried out: the same
// request id sent again gives the truth.
//
// A refusal of the command's own Decide comes back as it is; it was decided on
// the newest state there is.
func (l *Ledger[S, E]) Do(ctx context.Context, yard string, c Command[S, E]) (Result[E], error) {
	if err := checkCommand(c); err != nil {
		return Result[E]{}, err
	}
	y, err := l.hold(ctx, yard)
	if err != nil {
		return Result[E]{}, err
	}
	defer l.release(y)
	waiting := &call[S, E]{
		ctx: ctx, command: c, fingerprint: fingerprintOf(c.Fingerprint),
		decision: nuid.Next(), done: make(chan outcome[E], 1),
	}
	if err := l.submit(y, waiting); err != nil {
		return Result[E]{}, err
	}
	select {
	case o := <-waiting.done:
		if o.err == nil && o.stored != nil {
			o.result.Events, o.err = l.readBack(ctx, yard, *o.stored)
		}
		if o.err != nil {
			return Result[E]{}, o.err
		}
		return o.result, nil
	case <-ctx.Done():
		return Result[E]{}, fault.New(fault.Unavailable, "OUTCOME_UNKNOWN",
			"The request took too long. It may or may not have been carried out; send the same request again to find out.").Because(ctx.Err())
	}
}

func checkCommand[S, E any](c Command[S, E]) error {
	for _, text := range []struct{ name, value, reason string }{
		{"request_id", c.RequestID, "REQUEST_ID_MISSING"},
		{"actor", c.Actor, "ACTOR_MISSING"},
	} {
		if text.value == "" {
			return fault.New(fault.Invalid, text.reason, "The request does not say its %s.", text.name).
				At(text.name, "", "is missing", "1 to 256 bytes")
		}
	}
	for _, text := range []struct{ name, value string }{
		{"request_id", c.RequestID}, {"actor", c.Actor}, {"cause", c.Cause},
	} {
		if len(text.value) > longestText {
			return fault.New(fault.Invalid, "TEXT_TOO_LONG", "The %s is too long.", text.name).
				At(text.name, clip(text.value), "is too long", "at most 256 bytes")
		}
	}
	return nil
}

// readBack returns the stored events of a command. The replica that answers
// may be a moment behind the one from which we heard of them, so it is asked
// again for a while before they count as lost.
func (l *Ledger[S, E]) readBack(ctx context.Context, yard string, q request) ([]Event[E], error) {
	for deadline := time.Now().Add(readBackWithin); ; {
		var events []Event[E]
		err := l.stream.read(ctx, yard, q.First, q.Last, func(r *record) error {
			e, err := l.meaning(r)
			if err == nil {
				events = append(events, e.event())
			}
			return err
		})
		if err != nil {
			return nil, err
		}
		if n := len(events); n > 0 && events[0].RequestID == q.ID && events[n-1].Position == q.Last {
			return events, nil
		}
		if time.Now().After(deadline) {
			return nil, brokenAt(l.domain.Service, yard, q.First, "the events of a request are not there any more", nil)
		}
		if err := sleep(ctx, jittered(minPause)); err != nil {
			return nil, unreachable(l.domain.Service, err)
		}
	}
}

// readBackWithin is far more than a node lags behind the others while there is
// a majority.
const readBackWithin = 5 * time.Second
