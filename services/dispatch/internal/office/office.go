// Package office is where dispatch's decisions meet the world: the ledger, the
// planner, stock, and the events of the other services. It decides nothing by
// itself; the day book does.
//
// What must stay true:
//
//   - no plan is recorded that the checker finds fault with;
//   - a plan whose confirmation has begun is driven to its end, confirmed or
//     failed, whatever stops in between; so is the giving back of a cancelled
//     run's pieces (settle.go);
//   - an event of another service is acknowledged after its effect is in the
//     ledger, and has one effect however often it arrives (effects.go).
package office

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/dispatch/internal/check"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/stores"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
)

// Short names for what the ledger holds.
type (
	Ledger  = ledger.Ledger[daybook.State, daybook.Event]
	Result  = ledger.Result[daybook.Event]
	Command = ledger.Command[daybook.State, daybook.Event]
)

// Office ties the parts together. Planner is told when to stop improving;
// Checker knows nothing of how the plan was made.
type Office struct {
	Ledger    *Ledger
	JetStream jetstream.JetStream
	Stores    *stores.Stores
	Clock     clock.Clock
	Log       *slog.Logger
	Planner   func(problem morning.Problem, stop func() bool) morning.Plan
	Checker   func(problem morning.Problem, plan morning.Plan) []check.Violation

	settling locks
	planning stops
}

// Ask is who asks for a command, and how the ledger knows the request again.
type Ask struct {
	Yard        string
	RequestID   string
	Fingerprint []byte
	Actor       string
	// Cause is the event of another service behind it, if one is.
	Cause string
}

// Do carries out a command of the day book.
func (o *Office) Do(ctx context.Context, a Ask, c daybook.Command) (Result, error) {
	return o.Ledger.Do(ctx, a.Yard, o.command(a, func(s daybook.State) ([]daybook.Event, error) {
		return daybook.Decide(s, c)
	}))
}

func (o *Office) command(a Ask, decide func(daybook.State) ([]daybook.Event, error)) Command {
	return Command{
		RequestID: a.RequestID, Fingerprint: a.Fingerprint, Actor: a.Actor, Cause: a.Cause,
		Time: o.Clock.Now(), Decide: decide,
	}
}

// errLookFirst is how a decision says that it needs a look at the world first.
var errLookFirst = errors.New("the decision needs a look at the world first")

// lookTries bounds how often a decision looks again because the book changed
// in the meantime.
const lookTries = 4

// doAfterLook carries out a command that needs something from outside the
// book. look gets the newest state and returns the decision, which may itself
// return errLookFirst when the book has changed too much since. A request that
// was carried out before is answered without a look.
func (o *Office) doAfterLook(ctx context.Context, a Ask, look func(daybook.State) (func(daybook.State) ([]daybook.Event, error), error)) (Result, error) {
	var decide func(daybook.State) ([]daybook.Event, error)
	for range lookTries {
		// The ledger may still be deciding when ctx has ended.
		var newest atomic.Pointer[daybook.State]
		current := decide
		result, err := o.Ledger.Do(ctx, a.Yard, o.command(a, func(s daybook.State) ([]daybook.Event, error) {
			if current != nil {
				if events, err := current(s); !errors.Is(err, errLookFirst) {
					return events, err
				}
			}
			newest.Store(&s)
			return nil, errLookFirst
		}))
		if !errors.Is(err, errLookFirst) {
			return result, err
		}
		if decide, err = look(*newest.Load()); err != nil {
			return Result{}, err
		}
	}
	return Result{}, fault.New(fault.Conflict, "DAY_CHANGED",
		"The book of the day kept changing while the request was worked on; try again.")
}

// State returns the yard's state at or after a position.
func (o *Office) State(ctx context.Context, yard string, atLeast uint64) (daybook.State, uint64, error) {
	return o.Ledger.State(ctx, yard, atLeast)
}

// Depart lets a truck leave when stock says that all of its pieces are on it
// and none of them is held back.
func (o *Office) Depart(ctx context.Context, a Ask, runID, departedBy string) (Result, error) {
	at := o.Clock.Now()
	return o.doAfterLook(ctx, a, func(s daybook.State) (func(daybook.State) ([]daybook.Event, error), error) {
		if err := s.MayDepart(runID); err != nil {
			return nil, err
		}
		run, _ := s.Run(runID)
		newest, err := o.newest(ctx, "stock", a.Yard)
		if err != nil {
			return nil, err
		}
		places, err := o.Stores.NotLoaded(ctx, a.Yard, &run.Run, newest)
		if err != nil {
			return nil, err
		}
		if len(places) > 0 {
			refusal := fault.New(fault.Stale, "NOT_LOADED", "Run %s may not leave: pieces that are not loaded or must not leave: %d.", runID, len(places))
			refusal.Places = places
			return nil, refusal
		}
		return func(s daybook.State) ([]daybook.Event, error) {
			return daybook.Decide(s, daybook.DepartRun{RunID: runID, DepartedBy: departedBy, At: at})
		}, nil
	})
}

// locks hands out one lock per name.
type locks struct {
	mu   sync.Mutex
	byID map[string]chan struct{}
}

// lock waits for the lock of a name until ctx ends.
func (l *locks) lock(ctx context.Context, name string) (unlock func(), err error) {
	l.mu.Lock()
	if l.byID == nil {
		l.byID = map[string]chan struct{}{}
	}
	c, ok := l.byID[name]
	if !ok {
		c = make(chan struct{}, 1)
		l.byID[name] = c
	}
	l.mu.Unlock()
	select {
	case c <- struct{}{}:
		return func() { <-c }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// pause waits for d or until ctx ends.
func pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
