package ledger

import (
	"context"
	"errors"
	"fmt"
	"time"

	"spanyard.example/services/kit/fault"
)

const (
	// attempts to store a batch before its callers are told to try again.
	attempts = 5
	// publishWithin bounds one of them. A slower answer counts as lost, which
	// costs time and nothing else.
	publishWithin = 3 * time.Second
)

// carryOut decides calls together, stores what follows in one write and
// settles them. It returns the calls for which that write had no room.
//
// Every path to a caller goes through knowledge: a success was acknowledged or
// found in the stream; a refusal was decided on a head that the stream's
// leader confirmed; a conflict was found not to be our own success.
func (y *yard[S, E]) carryOut(calls []*call[S, E]) (left []*call[S, E]) {
	ctx := context.WithoutCancel(y.ledger.life) // what was begun is finished
	h := y.head.Load()
	var confirmed *head[S]
	var last error
	for attempt := 0; attempt < attempts; attempt++ {
		if h.broken != nil {
			settleAll(calls, h.broken)
			return nil
		}
		if attempt == 0 {
			calls = stillWanted(calls)
		}
		p := y.decide(h, calls)
		if len(p.entries) == 0 && (confirmed == h || p.final()) {
			p.settle(h.position)
			return p.left
		}
		if len(p.entries) > 0 {
			last = y.store(ctx, h, p)
			y.ledger.writes.tried(p.writing(), last)
			if last == nil {
				p.settle(p.entries[len(p.entries)-1].Position)
				return p.left
			}
			y.ledger.log.Debug("batch not acknowledged", "yard", y.name, "attempt", attempt, "error", last)
			if attempt > 0 {
				_ = sleep(ctx, backoff(attempt, last)) // ctx does not end
			}
		}
		var err error
		if h, err = y.findOut(ctx); err != nil {
			settleAll(calls, err)
			return nil
		}
		confirmed = h
	}
	// The last try may have been stored after all: decide once more, and
	// settle whoever is known by now.
	p := y.decide(h, calls)
	y.ledger.writes.givenUp.Add(uint64(p.writing()))
	p.settleKnown(y.gaveUp(ctx, last))
	return nil
}

// backoff grows with the attempts; a conflict is over sooner than a fault of
// the server.
func backoff(attempt int, err error) time.Duration {
	unit := 2 * time.Millisecond
	if !errors.Is(err, errConflict) {
		unit = 100 * time.Millisecond
	}
	return jittered(unit << attempt)
}

func (y *yard[S, E]) findOut(ctx context.Context) (*head[S], error) {
	ctx, cancel := context.WithTimeout(ctx, findOutWithin)
	defer cancel()
	h, err := y.catchUp(ctx)
	if err != nil && fault.KindOf(err) == fault.Unavailable {
		return nil, fault.New(fault.Unavailable, "OUTCOME_UNKNOWN",
			"The ledger cannot be reached just now. The request may or may not have been carried out; send the same request again to find out.").Because(err)
	}
	return h, err
}

// gaveUp is what the callers are told after the last attempt. A yard whose
// guard never fits although nobody else writes has lost its newest events,
// which the chain of hashes alone cannot show.
func (y *yard[S, E]) gaveUp(ctx context.Context, last error) error {
	if !errors.Is(last, errConflict) {
		return fault.New(fault.Unavailable, "LEDGER_REFUSES",
			"The ledger does not take anything in just now; try again in a moment.").Because(last)
	}
	ctx, cancel := context.WithTimeout(ctx, findOutWithin)
	defer cancel()
	before := y.head.Load()
	stored, err := y.ledger.stream.last(ctx, y.name)
	if err != nil {
		return err
	}
	position := uint64(0)
	if stored != nil {
		position = stored.Position
	}
	if after := y.head.Load(); before == after {
		switch service := y.ledger.domain.Service; {
		case position < after.position:
			return brokenAt(service, y.name, position, fmt.Sprintf("it ends here, but there were events up to %d", after.position), last)
		case y.isTorn(position):
			return brokenAt(service, y.name, position, "a batch was stored in part", last)
		}
	}
	return fault.New(fault.Conflict, "YARD_CONTENDED",
		"Others were faster %d times in a row; read again and retry.", attempts).Because(last)
}

// isTorn reports whether the event at a position is in the middle of a batch
// of which nothing more has come.
func (y *yard[S, E]) isTorn(position uint64) bool {
	y.mu.Lock()
	defer y.mu.Unlock()
	return len(y.torn) > 0 && y.torn[len(y.torn)-1].Position == position
}

// store appends the plan after the head it was made on.
func (y *yard[S, E]) store(ctx context.Context, h *head[S], p *plan[S, E]) error {
	ctx, cancel := context.WithTimeout(ctx, publishWithin)
	defer cancel()
	records := make([]*record, len(p.entries))
	for i, e := range p.entries {
		records[i] = e.record
	}
	y.beginStoring()
	defer y.endStoring(y.ledger.life)
	last, err := y.ledger.stream.append(ctx, y.name, h.position, records)
	if err != nil {
		return err
	}
	first := last - uint64(len(records)) + 1
	for i, r := range records {
		r.Position = first + uint64(i)
	}
	return y.adopt(h, p)
}

// stillWanted tells the callers that have gone away by now that nothing was
// done for them.
func stillWanted[S, E any](calls []*call[S, E]) []*call[S, E] {
	wanted := calls[:0]
	for _, c := range calls {
		if err := c.ctx.Err(); err != nil {
			c.settle(outcome[E]{err: fault.New(fault.Unavailable, "NOT_CARRIED_OUT",
				"The request waited too long and was not carried out.").Because(err)})
			continue
		}
		wanted = append(wanted, c)
	}
	return wanted
}

func settleAll[S, E any](calls []*call[S, E], err error) {
	for _, c := range calls {
		c.settle(outcome[E]{err: err})
	}
}

// final reports whether no newer state could change the answers.
func (p *plan[S, E]) final() bool {
	for _, a := range p.answers {
		if a.stored == nil {
			return false
		}
	}
	return true
}

// writing returns how many calls of the plan lead to events that are to be
// stored.
func (p *plan[S, E]) writing() int {
	n := 0
	for _, a := range p.answers {
		if a.err == nil && a.stored == nil && !a.repeated && a.to > a.from {
			n++
		}
	}
	return n
}

// settle gives every call of the plan its answer, now that it holds.
func (p *plan[S, E]) settle(position uint64) {
	for _, a := range p.answers {
		a.call.settle(p.outcome(a, position))
	}
}

// settleKnown settles a plan that could not be stored.
func (p *plan[S, E]) settleKnown(otherwise error) {
	for _, a := range p.answers {
		if a.stored != nil {
			a.call.settle(p.outcome(a, 0))
		} else {
			a.call.settle(outcome[E]{err: otherwise})
		}
	}
	settleAll(p.left, otherwise)
}

func (p *plan[S, E]) outcome(a answer[S, E], position uint64) outcome[E] {
	if a.err != nil {
		return outcome[E]{err: a.err}
	}
	if a.stored != nil {
		return outcome[E]{
			result: Result[E]{Position: max(a.stored.Last, position), Repeated: a.repeated},
			stored: a.stored,
		}
	}
	r := Result[E]{Position: position, Repeated: a.repeated}
	for _, e := range p.entries[a.from:a.to] {
		r.Events = append(r.Events, e.event())
	}
	return outcome[E]{result: r}
}
