package ledger

import (
	"context"
	"sync"
	"time"

	"spanyard.example/services/kit/fault"
)

// longestQueue of commands waiting for one yard.
const longestQueue = 4096

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
	// gathered is closed when enough calls wait; nil unless the writer gathers.
	gathered chan struct{}
	enough   int
}

// put reports whether there was room, and whether a writer has to be started.
func (q *queue[S, E]) put(c *call[S, E]) (ok, start bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.waiting) >= longestQueue {
		return false, false
	}
	q.waiting = append(q.waiting, c)
	if q.gathered != nil && len(q.waiting) >= q.enough {
		close(q.gathered)
		q.gathered = nil
	}
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

// gather waits for as many calls to come as there were before, beside those
// that came meanwhile, but no longer than a fraction of what the write before
// took. Callers that have just been answered mostly come again at once; without
// this they would fall into two halves that wait for each other's writes.
func (q *queue[S, E]) gather(before int, took time.Duration) {
	q.mu.Lock()
	if before < 2 && len(q.waiting) < 2 {
		q.mu.Unlock()
		return
	}
	gathered := make(chan struct{})
	q.gathered, q.enough = gathered, before+len(q.waiting)
	q.mu.Unlock()
	timer := time.NewTimer(took / gatherShare)
	defer timer.Stop()
	select {
	case <-gathered:
	case <-timer.C:
		q.mu.Lock()
		q.gathered = nil
		q.mu.Unlock()
	}
}

// gatherShare is the part of a write's time that the next one may wait for
// more calls.
const gatherShare = 4

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
		started, together := time.Now(), len(calls)
		for len(calls) > 0 {
			calls = y.carryOut(calls)
		}
		y.queue.gather(together, time.Since(started))
	}
}
