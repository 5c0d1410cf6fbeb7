package conformance

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
)

func appendsAndReadsInOrder(t *testing.T, s suite) {
	p := s.place()
	l := p.open(t)
	var last uint64
	for i := range int64(20) {
		amounts := make([]int64, 1+i%3)
		for k := range amounts {
			amounts[k] = i
		}
		r := do(t, l, "north", put(fmt.Sprintf("r%d", i), amounts...))
		if len(r.Events) != len(amounts) || r.Repeated || r.Position <= last ||
			r.Position != r.Events[len(amounts)-1].Position {
			t.Fatalf("result %d: %+v after position %d", i, r, last)
		}
		last = r.Position
	}
	events := history(t, l, "north", 0)
	for i, e := range events {
		if i > 0 && e.Position <= events[i-1].Position {
			t.Fatalf("position %d comes after %d", e.Position, events[i-1].Position)
		}
	}
	want := replayed("north", events)
	if got := state(t, l, "north", last); got != want {
		t.Fatalf("writer's state %+v, replay gives %+v", got, want)
	}
	if got := state(t, p.open(t), "north", last); got != want {
		t.Fatalf("another replica's state %+v, replay gives %+v", got, want)
	}
	if err := l.Healthy(within(t)); err != nil {
		t.Fatalf("healthy: %v", err)
	}
}

func keepsWhoWhenAndWhy(t *testing.T, s suite) {
	l := s.place().open(t)
	c := put("ask \"1\" 100% – ü", 5, 6)
	c.Actor, c.Cause = "Jörg\r\nnats-evil: 1", "stock-event-7"
	c.Time = time.Date(2031, 3, 3, 6, 30, 0, 123456789, time.FixedZone("yard", 3600))
	r := do(t, l, "north", c)
	events := history(t, l, "north", 0)
	if len(events) != 2 {
		t.Fatalf("%d events, want 2", len(events))
	}
	ids := map[string]bool{}
	for i, e := range events {
		if e != r.Events[i] {
			t.Errorf("event %d: stored %+v, answered %+v", i, e, r.Events[i])
		}
		want := ledger.Meta{
			ID: e.ID, Position: e.Position, Yard: "north", Type: "put",
			RequestID: c.RequestID, Actor: c.Actor, Cause: c.Cause, Time: c.Time.UTC(),
		}
		if e.Meta != want {
			t.Errorf("event %d: %+v, want %+v", i, e.Meta, want)
		}
		ids[e.ID] = true
	}
	if len(ids) != 2 || ids[""] {
		t.Errorf("ids are not unique: %v", ids)
	}
}

func refusalsChangeNothing(t *testing.T, s suite) {
	l := s.place().open(t)
	refused(t, l, "north", take("r1", 1), fault.Stale, "TOO_LITTLE")
	do(t, l, "north", put("r2", 5))
	refused(t, l, "north", take("r3", 6), fault.Stale, "TOO_LITTLE")
	if n := len(history(t, l, "north", 0)); n != 1 {
		t.Fatalf("%d events, want 1", n)
	}
	// A refused request was not carried out, so it may be tried again.
	do(t, l, "north", put("r4", 5))
	if r := do(t, l, "north", take("r3", 6)); r.Repeated {
		t.Fatal("a refusal is remembered")
	}
	if r := do(t, l, "north", put("r5")); len(r.Events) != 0 || r.Position == 0 {
		t.Fatalf("a command without events gave %+v", r)
	}
}

func refusesWrongCommands(t *testing.T, s suite) {
	l := s.place().open(t)
	for _, yard := range []string{"", "North", "a.b", "a*", "-a", ">", strings.Repeat("a", 33)} {
		refused(t, l, yard, put("r1", 1), fault.Invalid, "YARD_NAME_WRONG")
		_, _, err := l.State(within(t), yard, 0)
		wantFault(t, err, fault.Invalid, "YARD_NAME_WRONG")
	}
	refused(t, l, "north", put("", 1), fault.Invalid, "REQUEST_ID_MISSING")
	anonymous := put("r1", 1)
	anonymous.Actor = ""
	refused(t, l, "north", anonymous, fault.Invalid, "ACTOR_MISSING")
	refused(t, l, "north", put(strings.Repeat("r", 257), 1), fault.Invalid, "TEXT_TOO_LONG")
	refused(t, l, "north", put("r1", make([]int64, 1001)...), fault.Invalid, "TOO_MANY_EVENTS")
	_, _, err := l.State(within(t), "north", 0)
	wantFault(t, err, fault.NotFound, "YARD_UNKNOWN")
}

func leavesNothingOfUnknownYards(t *testing.T, s suite) {
	l := s.place().open(t)
	for i := range 50 {
		yard := fmt.Sprintf("unknown-%d", i)
		_, _, err := l.State(within(t), yard, 0)
		wantFault(t, err, fault.NotFound, "YARD_UNKNOWN")
		refused(t, l, yard, take("r", 1), fault.Stale, "TOO_LITTLE")
		_, err = l.LastPosition(within(t), yard)
		wantFault(t, err, fault.NotFound, "YARD_UNKNOWN")
	}
	waitUntil(t, "the ledger to hold no yard", func() bool { return l.Held() == 0 })
	do(t, l, "known", put("r", 1))
	waitUntil(t, "the ledger to hold one yard", func() bool { return l.Held() == 1 })
}

func keepsYardsApart(t *testing.T, s suite) {
	p := s.place()
	writer := p.open(t)
	yards := []string{"north", "south", "north-2", "n"}
	for i := range int64(12) {
		for k, yard := range yards {
			// The same request id in two yards is two requests.
			do(t, writer, yard, put(fmt.Sprintf("r%d", i), int64(k+1)))
		}
	}
	reader := p.open(t)
	for k, yard := range yards {
		if got := state(t, reader, yard, 0); got.Count != 12 || got.Total != int64(12*(k+1)) {
			t.Errorf("%s: %+v", yard, got)
		}
		for _, e := range history(t, reader, yard, 0) {
			if e.Yard != yard {
				t.Fatalf("%s shows an event of %s", yard, e.Yard)
			}
		}
	}
	refused(t, reader, "south", take("t", 25), fault.Stale, "TOO_LITTLE")
}

func stateWaitsForAPosition(t *testing.T, s suite) {
	p := s.place()
	writer, reader := p.open(t), p.open(t)
	first := do(t, writer, "north", put("r0", 1))
	state(t, reader, "north", first.Position)

	waited := make(chan error, 1)
	go func() {
		got, position, err := reader.State(within(t), "north", first.Position+1)
		if err == nil && (got.Count != 2 || position != first.Position+1) {
			err = fmt.Errorf("woke at %d with %+v", position, got)
		}
		waited <- err
	}()
	do(t, writer, "north", put("r1", 1))
	if err := <-waited; err != nil {
		t.Fatal(err)
	}

	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	_, _, err := reader.State(ctx, "north", first.Position+100)
	wantFault(t, err, fault.Stale, "POSITION_NOT_REACHED")

	// A position of another yard counts as soon as the stream has come by it.
	other := do(t, writer, "south", put("r2", 1))
	if got := state(t, reader, "north", other.Position); got.Count != 2 {
		t.Fatalf("got %+v", got)
	}
	// What was written here can be read here.
	for i := range 20 {
		r := do(t, reader, "north", put(fmt.Sprintf("own%d", i), 1))
		if got := state(t, reader, "north", 0); got.Count != 3+i {
			t.Fatalf("own write %d at %d is not seen: %+v", i, r.Position, got)
		}
	}
}

func batchesAreSeenWhole(t *testing.T, s suite) {
	p := s.place()
	writer, reader := p.open(t), p.open(t)
	do(t, writer, "north", put("first", 0, 0, 0, 0, 0))
	ctx, cancel := context.WithCancel(within(t))
	torn := make(chan error, 1)
	go func() {
		var next uint64
		for {
			got, position, err := reader.State(ctx, "north", next)
			switch {
			case ctx.Err() != nil:
				torn <- nil
				return
			case err != nil:
				torn <- err
				return
			case got.Count%5 != 0:
				torn <- fmt.Errorf("a batch is seen in part: %+v", got)
				return
			}
			next = position + 1
		}
	}()
	for i := range 60 {
		do(t, writer, "north", put(fmt.Sprintf("r%d", i), 1, 1, 1, 1, 1))
	}
	cancel()
	if err := <-torn; err != nil {
		t.Fatal(err)
	}
}

func survivesPanickingDecisions(t *testing.T, s suite) {
	l := s.place().open(t)
	bad := put("r1", 1)
	bad.Decide = func(Till) ([]Fact, error) { panic(errors.New("boom")) }
	refused(t, l, "north", bad, fault.Internal, "DECISION_FAILED")
	do(t, l, "north", put("r2", 1))
}

// waitUntil polls, because what it waits for has no event of its own.
func waitUntil(t testing.TB, what string, reached func() bool) {
	t.Helper()
	deadline := time.After(patience)
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for !reached() {
		select {
		case <-tick.C:
		case <-deadline:
			t.Fatalf("waited %v for %s", patience, what)
		}
	}
}

func opensTogether(t *testing.T, s suite) {
	p := s.place()
	opened := make(chan error, 5)
	for range cap(opened) {
		js := s.connect(t)
		go func() {
			l, err := ledger.Open(within(t), js, till(p.service, nil), p.options)
			if err == nil {
				defer l.Close()
				_, err = l.Do(within(t), "north", put("same", 1))
			}
			opened <- err
		}()
	}
	for range cap(opened) {
		if err := <-opened; err != nil {
			t.Error(err)
		}
	}
	if got := state(t, p.open(t), "north", 0); got.Count != 1 {
		t.Fatalf("got %+v, want one event", got)
	}
}
