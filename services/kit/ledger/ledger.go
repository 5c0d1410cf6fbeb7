package ledger

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/fault"
)

// Options of a ledger. The zero value suits a single server.
type Options struct {
	// Replicas of the stream; default 1. Use 3 on a cluster. All replicas of a
	// service must be given the same number: Open sets it on the stream.
	Replicas int
	// MaxBytes the stream may grow to; default 4 GiB. A full ledger refuses
	// appends, it never drops events.
	MaxBytes int64
	// SnapshotEvery so many events of a yard a snapshot is kept; default 5,000.
	SnapshotEvery int
	// Log; default slog.Default().
	Log *slog.Logger
}

func (o Options) withDefaults() Options {
	if o.Replicas <= 0 {
		o.Replicas = 1
	}
	if o.MaxBytes <= 0 {
		o.MaxBytes = 4 << 30
	}
	if o.SnapshotEvery <= 0 {
		o.SnapshotEvery = 5000
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	return o
}

// Ledger is a service's truth. All methods may be called at the same time.
type Ledger[S, E any] struct {
	domain    Domain[S, E]
	options   Options
	stream    *stream
	snapshots jetstream.ObjectStore
	log       *slog.Logger
	tail      *tail
	writes    writes

	// life ends with Close; the goroutines behind the ledger end with it.
	life context.Context
	end  context.CancelFunc
	work sync.WaitGroup

	mu     sync.Mutex
	closed bool
	yards  map[string]*yard[S, E]
}

// Open makes the service's stream, or brings its settings up to date, and
// returns a ledger on it. It waits for a cluster that is still choosing its
// leader until ctx ends; ctx does not limit the ledger's life.
func Open[S, E any](ctx context.Context, js jetstream.JetStream, d Domain[S, E], o Options) (*Ledger[S, E], error) {
	if !namePattern.MatchString(d.Service) {
		return nil, fmt.Errorf("ledger: %q is no name of a service", d.Service)
	}
	if d.New == nil || d.Evolve == nil || d.Encode == nil || d.Decode == nil || d.Snapshot == nil || d.Restore == nil {
		return nil, fmt.Errorf("ledger of %s: the domain is incomplete", d.Service)
	}
	o = o.withDefaults()
	s, err := openStream(ctx, js, d.Service, o)
	if err != nil {
		return nil, err
	}
	snapshots, err := openSnapshots(ctx, js, d.Service, o)
	if err != nil {
		return nil, err
	}
	life, end := context.WithCancel(context.WithoutCancel(ctx))
	return &Ledger[S, E]{
		domain:    d,
		options:   o,
		stream:    s,
		snapshots: snapshots,
		log:       o.Log.With("ledger", d.Service),
		tail:      newTail(),
		life:      life,
		end:       end,
		yards:     map[string]*yard[S, E]{},
	}, nil
}

// Close ends everything that the ledger does in the background and waits for
// it. Commands under way are finished first. Run closes the ledger by itself.
func (l *Ledger[S, E]) Close() {
	l.mu.Lock()
	l.closed = true
	l.mu.Unlock()
	l.end()
	l.work.Wait()
}

// begin runs f in the background, unless the ledger is closed.
func (l *Ledger[S, E]) begin(f func()) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.beginLocked(f)
}

func (l *Ledger[S, E]) beginLocked(f func()) error {
	if l.closed {
		return fault.New(fault.Unavailable, "STOPPING", "The program is being stopped; try again in a moment.")
	}
	l.work.Go(f)
	return nil
}

// hold returns the yard, loaded, and keeps it until release. A yard without
// events is held only as long as somebody uses it.
func (l *Ledger[S, E]) hold(ctx context.Context, name string) (*yard[S, E], error) {
	if err := checkYard(name); err != nil {
		return nil, err
	}
	if err := l.startTail(ctx); err != nil {
		return nil, err
	}
	l.mu.Lock()
	y, ok := l.yards[name]
	if !ok {
		y = l.newYard(name)
		if err := l.beginLocked(func() { l.load(y) }); err != nil {
			l.mu.Unlock()
			return nil, err
		}
		l.yards[name] = y
	}
	y.users++
	l.mu.Unlock()

	select {
	case <-y.ready:
	case <-ctx.Done():
		l.release(y)
		return nil, unreachable(l.domain.Service, ctx.Err())
	}
	if y.loadErr != nil {
		l.release(y)
		return nil, y.loadErr
	}
	return y, nil
}

func (l *Ledger[S, E]) newYard(name string) *yard[S, E] {
	y := &yard[S, E]{ledger: l, name: name, ready: make(chan struct{}), book: newBook()}
	y.head.Store(&head[S]{state: l.domain.New(name), next: make(chan struct{})})
	return y
}

// release gives up a hold.
func (l *Ledger[S, E]) release(y *yard[S, E]) {
	l.mu.Lock()
	defer l.mu.Unlock()
	y.users--
	if h := y.head.Load(); y.users == 0 && h.position == 0 && h.broken == nil && l.yards[y.name] == y {
		delete(l.yards, y.name)
	}
}

// load brings a new yard up to date and opens it to its users. The tail keeps
// what arrives meanwhile: whatever it dropped before it knew of the yard was
// stored before the yard's last position is asked for here.
func (l *Ledger[S, E]) load(y *yard[S, E]) {
	defer close(y.ready)
	ctx, cancel := context.WithTimeout(l.life, loadWithin)
	defer cancel()
	y.loadErr = l.replay(ctx, y)
	if y.loadErr != nil {
		l.log.Error("yard could not be loaded", "yard", y.name, "error", y.loadErr)
		l.mu.Lock()
		if l.yards[y.name] == y {
			delete(l.yards, y.name)
		}
		l.mu.Unlock()
	}
}

// loadWithin is far more than a yard with a snapshot takes.
const loadWithin = 15 * time.Minute

func (l *Ledger[S, E]) replay(ctx context.Context, y *yard[S, E]) error {
	last, err := l.stream.last(ctx, y.name)
	if err != nil {
		return err
	}
	if last != nil {
		l.restore(ctx, y)
		err := y.readOn(ctx, last.Position)
		if broken := y.head.Load().broken; broken == nil && err != nil {
			return err
		}
	}
	y.mu.Lock()
	early := y.early
	y.early, y.loaded = nil, true
	y.mu.Unlock()
	for _, m := range early {
		y.receive(ctx, m)
	}
	return nil
}

// State returns the yard's state at or after a position of the service's
// stream. It waits for it until ctx ends: then it returns a Stale fault,
// POSITION_NOT_REACHED. A yard without events is NotFound, YARD_UNKNOWN.
func (l *Ledger[S, E]) State(ctx context.Context, yard string, atLeast uint64) (state S, position uint64, err error) {
	y, err := l.hold(ctx, yard)
	if err != nil {
		return state, 0, err
	}
	defer l.release(y)
	if h := y.head.Load(); h.position == 0 && h.broken == nil {
		return state, 0, unknownYard(yard)
	}
	h, err := y.wait(ctx, atLeast)
	if err != nil {
		return state, 0, err
	}
	return h.state, h.position, nil
}

// LastPosition returns the position of the yard's newest event, by the word of
// the stream's leader. A yard without events is NotFound, YARD_UNKNOWN.
func (l *Ledger[S, E]) LastPosition(ctx context.Context, yard string) (uint64, error) {
	if err := checkYard(yard); err != nil {
		return 0, err
	}
	last, err := l.stream.last(ctx, yard)
	if err != nil {
		return 0, err
	}
	if last == nil {
		return 0, unknownYard(yard)
	}
	return last.Position, nil
}

// Service returns the name of the ledger's service.
func (l *Ledger[S, E]) Service() string { return l.domain.Service }

// Waiting returns how many commands wait for a yard's writer.
func (l *Ledger[S, E]) Waiting(yard string) int {
	l.mu.Lock()
	y := l.yards[yard]
	l.mu.Unlock()
	if y == nil {
		return 0
	}
	return y.queue.length()
}

// Held returns how many yards are in memory.
func (l *Ledger[S, E]) Held() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.yards)
}

// Healthy says whether the ledger can be read and written just now.
func (l *Ledger[S, E]) Healthy(ctx context.Context) error { return l.stream.healthy(ctx) }

// decode reads a message of a yard.
func (l *Ledger[S, E]) decode(yard string, m message) (entry[E], error) {
	r, err := parseRecord(m.subject, m.position, m.header, m.data)
	if err != nil {
		return entry[E]{}, brokenAt(l.domain.Service, yard, m.position, "it cannot be read", err)
	}
	return l.meaning(r)
}

// meaning adds to a record what it means.
func (l *Ledger[S, E]) meaning(r *record) (entry[E], error) {
	fact, err := l.domain.Decode(r.Type, r.data)
	if err != nil {
		return entry[E]{}, brokenAt(l.domain.Service, r.Yard, r.Position, "this version of the program cannot read it", err)
	}
	return entry[E]{record: r, fact: fact}, nil
}
