package conformance

import (
	"errors"
	"fmt"
	"sync"
	"testing"

	"spanyard.example/services/kit/fault"
)

// persistently repeats a command for as long as its outcome is open, as every
// client should.
func persistently(t testing.TB, l *log, yard string, c command) (result, error) {
	for {
		r, err := l.Do(within(t), yard, c)
		if !errors.Is(err, fault.Conflict) && !errors.Is(err, fault.Unavailable) {
			return r, err
		}
		if t.Context().Err() != nil {
			return r, err
		}
	}
}

func manyWritersOneHistory(t *testing.T, s suite) {
	const replicas, writers, commands = 3, 6, 25
	p := s.place()
	var wg sync.WaitGroup
	for replica := range replicas {
		l := p.open(t)
		for writer := range writers {
			wg.Go(func() {
				for i := range commands {
					// One event or three, so that plain and atomic publishes meet.
					c := put(fmt.Sprintf("r%d-%d-%d", replica, writer, i), []int64{1, 1, 1}[:1+2*(i%2)]...)
					if r, err := persistently(t, l, "north", c); err != nil || len(r.Events) == 0 || r.Events[0].RequestID != c.RequestID {
						t.Errorf("%s: %+v, %v", c.RequestID, r, err)
						return
					}
				}
			})
		}
	}
	wg.Wait()
	if t.Failed() {
		return
	}
	reader := p.open(t)
	events := history(t, reader, "north", 0)
	seen := map[string]int{}
	for i, e := range events {
		seen[e.RequestID]++
		// The events of one command stand together.
		if seen[e.RequestID] > 1 && events[i-1].RequestID != e.RequestID {
			t.Fatalf("the events of %s are torn apart", e.RequestID)
		}
	}
	for replica := range replicas {
		for writer := range writers {
			for i := range commands {
				id := fmt.Sprintf("r%d-%d-%d", replica, writer, i)
				if want := 1 + 2*(i%2); seen[id] != want {
					t.Errorf("%s has %d events, want %d", id, seen[id], want)
				}
			}
		}
	}
	if got, want := state(t, reader, "north", 0), replayed("north", events); got != want {
		t.Fatalf("state %+v, replay gives %+v", got, want)
	}
}

// lastOneIsSoldOnce lets several replicas take the same last thing at once, again
// and again.
func lastOneIsSoldOnce(t *testing.T, s suite) {
	const replicas, rounds = 4, 25
	p := s.place()
	var ledgers []*log
	for range replicas {
		ledgers = append(ledgers, p.open(t))
	}
	for round := range rounds {
		stocked := do(t, ledgers[0], "north", put(fmt.Sprintf("stock%d", round), 1))
		for _, l := range ledgers {
			state(t, l, "north", stocked.Position)
		}
		outcomes := make(chan error, replicas)
		for i, l := range ledgers {
			go func() {
				_, err := persistently(t, l, "north", take(fmt.Sprintf("take%d-%d", round, i), 1))
				outcomes <- err
			}()
		}
		won := 0
		for range replicas {
			switch err := <-outcomes; {
			case err == nil:
				won++
			case fault.ReasonOf(err) != "TOO_LITTLE":
				t.Fatalf("round %d: %v", round, err)
			}
		}
		if won != 1 {
			t.Fatalf("round %d: the last one was taken %d times", round, won)
		}
	}
	if got := state(t, p.open(t), "north", 0); got.Total != 0 || got.Count != 2*rounds {
		t.Fatalf("got %+v", got)
	}
}

// refusalsAreDecidedOnTheNewest: what one replica has acknowledged, no other
// refuses as if it had not happened.
func refusalsAreDecidedOnTheNewest(t *testing.T, s suite) {
	p := s.place()
	a, b := p.open(t), p.open(t)
	do(t, a, "north", put("first", 1))
	state(t, b, "north", 0)
	for i := range 40 {
		do(t, a, "north", put(fmt.Sprintf("put%d", i), 1))
		if _, err := persistently(t, b, "north", take(fmt.Sprintf("take%d", i), 2)); err != nil {
			t.Fatalf("round %d: %v", i, err)
		}
		do(t, a, "north", put(fmt.Sprintf("back%d", i), 1))
	}
}
