package ledger

import (
	"context"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// tail is how far the process has followed the service's stream. One consumer
// serves all yards: what it brings goes to the yards that are loaded, and is
// dropped for the others, which read it when they are loaded.
type tail struct {
	mu      sync.Mutex
	started bool
	seen    uint64
	moved   chan struct{} // made when somebody waits
	// names of the yards that have had events since the start, in the order of
	// their first ones, and a channel that is closed when there is one more.
	names []string
	named map[string]bool
	more  chan struct{}
}

func newTail() *tail { return &tail{named: map[string]bool{}, more: make(chan struct{})} }

// progress returns the position up to which every event has been given to its
// yard, and a channel that is closed when it has moved on.
func (t *tail) progress() (uint64, <-chan struct{}) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.moved == nil {
		t.moved = make(chan struct{})
	}
	return t.seen, t.moved
}

func (t *tail) advance(position uint64, yard string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.seen = position
	if !t.named[yard] {
		t.named[yard] = true
		t.names = append(t.names, yard)
		close(t.more)
		t.more = make(chan struct{})
	}
	if t.moved != nil {
		close(t.moved)
		t.moved = nil
	}
}

// yards returns the yards that have had events since the start, without the
// first few, and a channel that is closed when there are more.
func (t *tail) yards(first int) ([]string, <-chan struct{}) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.names[first:], t.more
}

// startTail begins to follow the stream from its present end. It must have
// begun before the first yard is loaded.
func (l *Ledger[S, E]) startTail(ctx context.Context) error {
	t := l.tail
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.started {
		return nil
	}
	end, err := l.stream.end(ctx)
	if err != nil {
		return err
	}
	t.seen = end
	if err := l.begin(l.follow); err != nil {
		return err
	}
	t.started = true
	return nil
}

// follow runs until the ledger is closed, through any loss of connection.
func (l *Ledger[S, E]) follow() {
	for pause := minPause; ; {
		from, _ := l.tail.progress()
		err := l.stream.consume(l.life, jetstream.OrderedConsumerConfig{
			FilterSubjects: []string{SubjectsOf(l.domain.Service)},
			DeliverPolicy:  jetstream.DeliverByStartSequencePolicy,
			OptStartSeq:    from + 1,
		}, func(m message) error {
			pause = minPause
			yard, _, ok := parseSubject(m.subject)
			if !ok {
				return nil
			}
			l.dispatch(yard, m)
			l.tail.advance(m.position, yard)
			return nil
		})
		if l.life.Err() != nil || l.stream.js.Conn().IsClosed() {
			return
		}
		l.log.Warn("the stream is not followed just now", "error", err)
		if sleep(l.life, jittered(pause)) != nil {
			return
		}
		pause = min(2*pause, maxPause)
	}
}

const (
	minPause = 50 * time.Millisecond
	maxPause = 2 * time.Second
)

func (l *Ledger[S, E]) dispatch(name string, m message) {
	l.mu.Lock()
	y := l.yards[name]
	l.mu.Unlock()
	if y != nil {
		y.receive(l.life, m)
	}
}
