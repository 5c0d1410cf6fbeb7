package ledger

import (
	"context"
	"sync"

	"github.com/nats-io/nuid"

	"spanyard.example/services/kit/fault"
)

const (
	// longestText of a request id, an actor or a cause, in bytes.
	longestText = 256
	// longestQueue of commands waiting for one yard.
	longestQueue = 4096
)

// call is a command on its way through a yard's writer.
type call[S, E any] struct {
	ctx         context.Context
	command     Command[S, E]
	fingerprint string
	// decision is drawn once for all attempts, and the ids of the events are
	// made from it: of several attempts at most one can be stored, and it can
	// be recognised as this call's own.
	decision string
	done     chan outcome[E] // has room for the one outcome
}

// outcome is what became of a call.
type outcome[E any] struct {
	result Result[E]
	// stored is set when the events have to be read back.
	stored *request
	err    error
}

func (c *call[S, E]) settle(o outcome[E]) { c.done <- o }

// queue holds the calls that wait for a yard. At most one writer works on it;
// it goes away when there is nothing left, so an idle yard has no goroutine.
type queue[S, E any] struct {
	mu      sync.Mutex
	waiting []*call[S, E]
	writing bool
}

// put reports whether there was room, and whether a writer has to be started.
func (q *queue[S, E]) put(c *call[S, E]) (ok, start bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.waiting) >= longestQueue {
		return false, false
	}
	q.waiting = append(q.waiting, c)
	start = !q.writing
	q.writing = true
	return true, start
}

// takeAll returns everything that waits; when that is nothing, the writer is
// done.
func (q *queue[S, E]) takeAll() []*call[S, E] {
	q.mu.Lock()
	defer q.mu.Unlock()
	calls := q.waiting
	q.waiting = nil
	q.writing = len(calls) > 0
	return calls
}

func (q *queue[S, E]) length() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.waiting)
}

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

// submit queues a call and sees to it that somebody works on the queue.
func (l *Ledger[S, E]) submit(y *yard[S, E], c *call[S, E]) error {
	ok, start := y.queue.put(c)
	if !ok {
		return fault.New(fault.Unavailable, "YARD_BUSY",
			"Too many requests are waiting for yard %s; try again in a moment.", y.name)
	}
	if !start {
		return nil
	}
	l.mu.Lock()
	err := l.beginLocked(func() { l.write(y) })
	if err == nil {
		y.users++
	}
	l.mu.Unlock()
	if err != nil {
		// The ledger is closed: nobody will come for those who wait.
		for calls := y.queue.takeAll(); len(calls) > 0; calls = y.queue.takeAll() {
			for _, waiting := range calls {
				waiting.settle(outcome[E]{err: err})
			}
		}
		return err
	}
	return nil
}

// write works on a yard's queue until it is empty.
func (l *Ledger[S, E]) write(y *yard[S, E]) {
	defer l.release(y)
	for calls := y.queue.takeAll(); len(calls) > 0; calls = y.queue.takeAll() {
		for len(calls) > 0 {
			calls = y.carryOut(calls)
		}
	}
}

// readBack returns the stored events of a command.
func (l *Ledger[S, E]) readBack(ctx context.Context, yard string, q request) ([]Event[E], error) {
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
	if len(events) == 0 || events[0].RequestID != q.ID {
		return nil, brokenAt(l.domain.Service, yard, q.First, "the events of a request are not there any more", nil)
	}
	return events, nil
}
