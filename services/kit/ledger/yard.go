package ledger

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"spanyard.example/services/kit/fault"
)

// head is a yard at one position. It is never changed once it can be seen; a
// later one takes its place.
type head[S any] struct {
	state    S
	position uint64
	// count of the yard's events up to here.
	count uint64
	// hash of the event at position.
	hash string
	// broken is why the yard stands still.
	broken error
	// next is closed when a later head has taken this one's place.
	next chan struct{}
}

// entry is a record with its meaning.
type entry[E any] struct {
	*record
	fact E
}

func (e entry[E]) event() Event[E] { return Event[E]{Meta: e.Meta, Fact: e.fact} }

// yard is one yard's state in this process.
type yard[S, E any] struct {
	ledger *Ledger[S, E]
	name   string
	head   atomic.Pointer[head[S]]
	// saved is the count of events in the newest snapshot.
	saved atomic.Uint64

	// users are the calls that hold the yard; guarded by the ledger's mutex.
	users int
	// ready is closed when the yard has been loaded or loading has failed
	// (loadErr).
	ready   chan struct{}
	loadErr error

	mu sync.Mutex // guards what follows, and every change of head
	// early are messages that the tail brought before the yard was loaded, or
	// while the writer was storing: most of those are its own, and what it
	// knows already need not be read again.
	early  []message
	loaded bool
	// storing is closed when the writer has stored and early has been seen to;
	// nil while it does not store.
	storing chan struct{}
	// torn is the beginning of a batch whose rest has not come yet. Its events
	// become visible together.
	torn []entry[E]
	book *book

	queue queue[S, E]
}

// errGap says that events between the yard's last and the one at hand have not
// been seen. They may only be late, so it is not yet a broken ledger.
var errGap = errors.New("there are events in between")

// take makes entries part of the yard, in order. What the yard has already is
// passed over, so that a writer and the tail may both bring the same events.
func (y *yard[S, E]) take(entries []entry[E]) error {
	y.mu.Lock()
	defer y.mu.Unlock()
	return y.takeLocked(entries)
}

func (y *yard[S, E]) takeLocked(entries []entry[E]) error {
	h := y.head.Load()
	if h.broken != nil {
		return h.broken
	}
	var err error
	for _, e := range entries {
		position, hash := h.position, h.hash
		if n := len(y.torn); n > 0 {
			position, hash = y.torn[n-1].Position, y.torn[n-1].hash()
		}
		if e.Position <= position {
			continue
		}
		if e.prev != hash {
			err = errGap
			break
		}
		if e.batch.index != len(y.torn) || (len(y.torn) > 0 && y.torn[0].batch.id != e.batch.id) {
			err = brokenAt(y.ledger.domain.Service, y.name, e.Position, "a batch was stored in part", nil)
			break
		}
		y.torn = append(y.torn, e)
		if e.batch.last() {
			h = y.fold(h)
		}
	}
	if old := y.head.Load(); h != old {
		y.head.Store(h)
		close(old.next)
	}
	if err != nil && !errors.Is(err, errGap) {
		return y.breakLocked(err)
	}
	return err
}

// adopt makes a plan that has been stored part of the yard. Its state has been
// worked out from the same events already.
func (y *yard[S, E]) adopt(h *head[S], p *plan[S, E]) error {
	y.mu.Lock()
	defer y.mu.Unlock()
	if y.head.Load() != h || len(y.torn) > 0 {
		return y.takeLocked(p.entries)
	}
	for _, e := range p.entries {
		y.book.note(e.record)
	}
	last := p.entries[len(p.entries)-1]
	y.head.Store(&head[S]{
		state: p.state, position: last.Position, count: h.count + uint64(len(p.entries)), hash: last.hash(), next: make(chan struct{}),
	})
	close(h.next)
	return nil
}

// fold returns the head after the now complete batch.
func (y *yard[S, E]) fold(h *head[S]) *head[S] {
	state := h.state
	for _, e := range y.torn {
		state = y.ledger.domain.Evolve(state, e.fact)
		y.book.note(e.record)
	}
	last, count := y.torn[len(y.torn)-1], h.count+uint64(len(y.torn))
	y.torn = nil
	return &head[S]{state: state, position: last.Position, count: count, hash: last.hash(), next: make(chan struct{})}
}

// breakOff stops the yard for good.
func (y *yard[S, E]) breakOff(err error) error {
	y.mu.Lock()
	defer y.mu.Unlock()
	return y.breakLocked(err)
}

func (y *yard[S, E]) breakLocked(err error) error {
	old := y.head.Load()
	if old.broken != nil {
		return old.broken
	}
	stopped := *old
	stopped.broken = err
	stopped.next = make(chan struct{})
	y.head.Store(&stopped)
	close(old.next)
	y.ledger.log.Error("yard stands still", "yard", y.name, "error", err)
	return err
}

// receive takes a message that the tail brought.
func (y *yard[S, E]) receive(ctx context.Context, m message) {
	y.mu.Lock()
	if !y.loaded || y.storing != nil {
		y.early = append(y.early, m)
		y.mu.Unlock()
		return
	}
	y.mu.Unlock()
	y.admit(ctx, m)
}

// admit makes a message that the tail brought part of the yard.
func (y *yard[S, E]) admit(ctx context.Context, m message) {
	h := y.head.Load()
	if h.broken != nil || m.position <= h.position {
		return
	}
	e, err := y.ledger.decode(y.name, m)
	if err != nil {
		_ = y.breakOff(err)
		return
	}
	if err := y.take([]entry[E]{e}); errors.Is(err, errGap) {
		if err := y.readOn(ctx, m.position); err != nil && ctx.Err() == nil {
			y.ledger.log.Warn("yard could not be read on", "yard", y.name, "error", err)
		}
	}
}

// beginStoring keeps the tail's messages aside until endStoring.
func (y *yard[S, E]) beginStoring() {
	y.mu.Lock()
	defer y.mu.Unlock()
	y.storing = make(chan struct{})
}

// endStoring sees to what the tail has brought meanwhile, in its order.
func (y *yard[S, E]) endStoring(ctx context.Context) {
	for done := 0; ; done++ {
		y.mu.Lock()
		if done == len(y.early) {
			y.early = nil
			close(y.storing)
			y.storing = nil
			y.mu.Unlock()
			return
		}
		m := y.early[done] // they stay in the list until all are seen to
		y.mu.Unlock()
		y.admit(ctx, m)
	}
}

// keptAside reports whether something between a head and a position waits for
// the writer, by a channel that is closed when it no longer does.
func (y *yard[S, E]) keptAside(after, to uint64) <-chan struct{} {
	y.mu.Lock()
	defer y.mu.Unlock()
	if y.storing == nil {
		return nil
	}
	for _, m := range y.early {
		if m.position > after && m.position <= to {
			return y.storing
		}
	}
	return nil
}

// readOn reads from the stream what lies between the yard's head and a
// position that is known to be stored. A gap that shows here is real.
func (y *yard[S, E]) readOn(ctx context.Context, to uint64) error {
	if h := y.head.Load(); h.broken != nil {
		return h.broken
	}
	from := y.head.Load().position + 1
	return y.ledger.stream.read(ctx, y.name, from, to, func(r *record) error {
		e, err := y.ledger.meaning(r)
		if err != nil {
			return y.breakOff(err)
		}
		err = y.take([]entry[E]{e})
		if errors.Is(err, errGap) {
			return y.breakOff(brokenAt(y.ledger.domain.Service, y.name, r.Position,
				"it does not follow on the event before it; an event was lost, changed or moved",
				fmt.Errorf("previous hash is %q", r.prev)))
		}
		return err
	})
}

// tailLead is how long catchUp leaves it to the tail to bring what is missing,
// which it mostly does within a millisecond, before it reads by itself.
const tailLead = 50 * time.Millisecond

// catchUp brings the yard to what the stream holds now, by the word of its
// leader.
func (y *yard[S, E]) catchUp(ctx context.Context) (*head[S], error) {
	last, err := y.ledger.stream.last(ctx, y.name)
	if err != nil {
		return nil, err
	}
	if last != nil && last.Position > y.head.Load().position {
		lead, cancel := context.WithTimeout(ctx, tailLead)
		h, err := y.wait(lead, last.Position)
		cancel()
		if err == nil && h.position >= last.Position {
			return h, nil
		}
		if err := y.readOn(ctx, last.Position); err != nil {
			return nil, err
		}
	}
	h := y.head.Load()
	return h, h.broken
}

// wait returns a head at or after a position of the stream.
func (y *yard[S, E]) wait(ctx context.Context, position uint64) (*head[S], error) {
	for {
		h := y.head.Load()
		if h.broken != nil {
			return nil, h.broken
		}
		if h.position >= position {
			return h, nil
		}
		// The position may belong to another yard, or to none: then it is
		// enough that the tail has come by it.
		seen, moved := y.ledger.tail.progress()
		var aside <-chan struct{}
		if seen >= position {
			if aside = y.keptAside(h.position, position); aside == nil {
				h = y.head.Load()
				return h, h.broken
			}
			moved = nil
		}
		select {
		case <-h.next:
		case <-moved:
		case <-aside:
		case <-ctx.Done():
			return nil, fault.New(fault.Stale, "POSITION_NOT_REACHED",
				"The yard has not reached position %d yet; it stands at %d.", position, h.position).Because(ctx.Err())
		}
	}
}
