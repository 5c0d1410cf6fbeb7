package ledger

import (
	"fmt"
	"runtime/debug"

	"github.com/nats-io/nuid"

	"spanyard.example/services/kit/fault"
)

const (
	// maxBatchEvents is the server's limit on one atomic publish, and so the
	// limit on the events of one command.
	maxBatchEvents = 1000
	// maxBatchBytes after which no further command joins a batch. A single
	// command may go beyond it.
	maxBatchBytes = 4 << 20
	// envelopeBytes are set aside in every message for its headers.
	envelopeBytes = 16 << 10
)

// plan is what would follow if the calls were decided one after the other on a
// head. Nothing of it holds until it is stored.
type plan[S, E any] struct {
	// entries of all calls together: one atomic batch.
	entries []entry[E]
	bytes   int
	// state after all entries.
	state   S
	answers []answer[S, E]
	// left are calls for which the batch had no more room.
	left []*call[S, E]
}

// answer is what a call gets once the plan is stored.
type answer[S, E any] struct {
	call *call[S, E]
	// from and to: the call's events among the plan's.
	from, to int
	// repeated: the events are those of another call with the same request id.
	repeated bool
	// stored: the events are in the ledger already.
	stored *request
	err    error
}

// decide plans calls on a head.
func (y *yard[S, E]) decide(h *head[S], calls []*call[S, E]) *plan[S, E] {
	p := &plan[S, E]{}
	state := h.state
	planned := map[string]int{} // request id -> its answer
	for i, c := range calls {
		if a, ok := y.known(c, p, planned); ok {
			p.answers = append(p.answers, a)
			continue
		}
		after, added, err := y.try(state, c)
		if err != nil {
			p.answers = append(p.answers, answer[S, E]{call: c, err: err})
			continue
		}
		size := sizeOf(added)
		if n := len(p.entries); n > 0 && (n+len(added) > maxBatchEvents || p.bytes+size > maxBatchBytes) {
			p.left = calls[i:]
			break
		}
		from := len(p.entries)
		p.entries = append(p.entries, added...)
		p.bytes += size
		state = after
		if len(added) > 0 {
			planned[c.command.RequestID] = len(p.answers)
		}
		p.answers = append(p.answers, answer[S, E]{call: c, from: from, to: len(p.entries)})
	}
	p.state = state
	seal(h.hash, p.entries)
	return p
}

// known answers a call whose request id has been carried out before, or is
// about to be in this plan.
func (y *yard[S, E]) known(c *call[S, E], p *plan[S, E], planned map[string]int) (answer[S, E], bool) {
	a := answer[S, E]{call: c, repeated: true}
	y.mu.Lock()
	stored, ok := y.book.find(c.command.RequestID)
	y.mu.Unlock()
	if ok {
		a.stored = &stored
		a.repeated = stored.Decision != c.decision
		if stored.Fingerprint != c.fingerprint {
			a.err = reused(c.command.RequestID)
		}
		return a, true
	}
	i, ok := planned[c.command.RequestID]
	if !ok {
		return a, false
	}
	first := p.answers[i]
	a.from, a.to = first.from, first.to
	if first.call.fingerprint != c.fingerprint {
		a.err = reused(c.command.RequestID)
	}
	return a, true
}

func reused(requestID string) error {
	return fault.New(fault.Invalid, "REQUEST_ID_REUSED",
		"This request id was used before for another request. Every new request needs an id of its own.").
		At("request_id", clip(requestID), "was used before for another request", "an id that was never used")
}

// try decides one call and returns the state after its events. A panic in the
// domain is that call's failure and nobody else's.
func (y *yard[S, E]) try(state S, c *call[S, E]) (after S, added []entry[E], err error) {
	defer func() {
		if p := recover(); p != nil {
			y.ledger.log.Error("a decision panicked", "yard", y.name, "request", c.command.RequestID,
				"panic", p, "stack", string(debug.Stack()))
			err = fault.New(fault.Internal, "DECISION_FAILED", "The request could not be decided.").
				Because(fmt.Errorf("panic: %v", p))
		}
	}()
	facts, err := c.command.Decide(state)
	if err != nil {
		return state, nil, err
	}
	if len(facts) > maxBatchEvents {
		return state, nil, fault.New(fault.Invalid, "TOO_MANY_EVENTS",
			"The request is too large: it would lead to %d changes, and one request may lead to at most %d. Split it.",
			len(facts), maxBatchEvents)
	}
	for i, fact := range facts {
		e, err := y.encode(c, fact, part{c.decision, i, len(facts)})
		if err != nil {
			return state, nil, err
		}
		state = y.ledger.domain.Evolve(state, e.fact)
		added = append(added, e)
	}
	return state, added, nil
}

// encode makes an entry of an event. What goes on is the event read back from
// its bytes, so that the writer's state is the one that every replay gives.
func (y *yard[S, E]) encode(c *call[S, E], fact E, of part) (entry[E], error) {
	d := y.ledger.domain
	kind, data, err := d.Encode(fact)
	if err == nil && !namePattern.MatchString(kind) {
		err = fmt.Errorf("%q is no type of an event", kind)
	}
	if err == nil {
		fact, err = d.Decode(kind, data)
	}
	if err != nil {
		return entry[E]{}, fault.New(fault.Internal, "EVENT_UNWRITABLE", "The request's outcome could not be written down.").Because(err)
	}
	if most := y.ledger.stream.js.Conn().MaxPayload() - envelopeBytes; int64(len(data)) > most {
		return entry[E]{}, fault.New(fault.Invalid, "EVENT_TOO_LARGE",
			"The request is too large: one change in it takes %d bytes, and at most %d are possible. Split it.", len(data), most)
	}
	return entry[E]{fact: fact, record: &record{
		Meta: Meta{
			ID:        fmt.Sprintf("%s-%d", c.decision, of.index),
			Yard:      y.name,
			Type:      kind,
			RequestID: c.command.RequestID,
			Actor:     c.command.Actor,
			Cause:     c.command.Cause,
			Time:      c.command.Time.UTC().Round(0),
		},
		requestHash: c.fingerprint,
		decision:    of,
		data:        data,
	}}, nil
}

// seal ties the entries to each other and to the hash before them.
func seal[E any](prev string, entries []entry[E]) {
	id := nuid.Next()
	for i, e := range entries {
		e.batch = part{id, i, len(entries)}
		e.prev = prev
		prev = e.hash()
	}
}

func sizeOf[E any](entries []entry[E]) int {
	n := 0
	for _, e := range entries {
		n += len(e.data)
	}
	return n
}
