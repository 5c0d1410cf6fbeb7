package conformance

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"spanyard.example/services/kit/fault"
)

// decidesTogether blocks the writer of a yard in one decision, lets many
// commands queue up behind it, and counts how they are stored.
func decidesTogether(t *testing.T, s suite) {
	const callers = 64
	l := s.place().open(t)
	do(t, l, "north", put("first", 10))
	entered, goOn := make(chan struct{}), make(chan struct{})
	var once sync.Once
	blocking := put("blocking", 0)
	decide := blocking.Decide
	blocking.Decide = func(t Till) ([]Fact, error) {
		once.Do(func() { close(entered); <-goOn })
		return decide(t)
	}
	var wg sync.WaitGroup
	wg.Go(func() { do(t, l, "north", blocking) })
	<-entered

	var mu sync.Mutex
	won, refusedCount := 0, 0
	for i := range callers {
		wg.Go(func() {
			// Only ten of them can have what they want; the others' refusal
			// must not touch them.
			_, err := l.Do(within(t), "north", take(fmt.Sprintf("take%d", i), 1))
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err == nil:
				won++
			case fault.ReasonOf(err) == "TOO_LITTLE":
				refusedCount++
			default:
				t.Errorf("take%d: %v", i, err)
			}
		})
	}
	waitUntil(t, "all commands to queue up", func() bool { return l.Waiting("north") == callers })
	close(goOn)
	wg.Wait()
	if won != 10 || refusedCount != callers-10 {
		t.Fatalf("%d won and %d were refused, want 10 and %d", won, refusedCount, callers-10)
	}
	batches := map[string]int{}
	for _, h := range rawHeaders(t, s, l) {
		batches[h.Get("ce-batchid")]++
	}
	if len(batches) != 3 { // first, blocking, and all the others
		t.Fatalf("%d appends, want 3: %v", len(batches), batches)
	}
}

func splitsLargeGroups(t *testing.T, s suite) {
	l := s.place().open(t)
	if r := do(t, l, "north", put("whole", make([]int64, 1000)...)); len(r.Events) != 1000 {
		t.Fatalf("%d events, want 1000", len(r.Events))
	}
	var wg sync.WaitGroup
	for i := range 12 {
		wg.Go(func() {
			if r := do(t, l, "north", put(fmt.Sprintf("r%d", i), make([]int64, 300)...)); len(r.Events) != 300 {
				t.Errorf("%d events, want 300", len(r.Events))
			}
		})
	}
	wg.Wait()
	sizes, decisions := map[string]int{}, map[string]string{}
	for _, h := range rawHeaders(t, s, l) {
		batch, decision := h.Get("ce-batchid"), h.Get("ce-decisionid")
		sizes[batch]++
		if other, ok := decisions[decision]; ok && other != batch {
			t.Fatalf("decision %s is split over two appends", decision)
		}
		decisions[decision] = batch
	}
	for batch, size := range sizes {
		if size > 1000 {
			t.Errorf("append %s has %d events", batch, size)
		}
	}
	if got := state(t, l, "north", 0); got.Count != 1000+12*300 {
		t.Fatalf("got %+v", got)
	}
}

func repeatsAnswers(t *testing.T, s suite) {
	p := s.place()
	l := p.open(t)
	first := do(t, l, "north", put("r1", 3, 4))
	do(t, l, "north", put("r2", 5))
	for name, l := range map[string]*log{"same replica": l, "other replica": p.open(t)} {
		again := do(t, l, "north", put("r1", 3, 4))
		if !again.Repeated || len(again.Events) != 2 || again.Events[0] != first.Events[0] || again.Events[1] != first.Events[1] {
			t.Errorf("%s: %+v, first %+v", name, again, first)
		}
		if again.Position < first.Position {
			t.Errorf("%s: position %d before the first's %d", name, again.Position, first.Position)
		}
		refused(t, l, "north", put("r1", 3, 5), fault.Invalid, "REQUEST_ID_REUSED")
	}
	if got := state(t, l, "north", 0); got.Count != 3 {
		t.Fatalf("got %+v, want 3 events", got)
	}
}

func repeatsAfterRestart(t *testing.T, s suite) {
	p := s.place()
	p.options.SnapshotEvery = 10
	l := p.open(t)
	stop := run(t, l)
	first := do(t, l, "north", put("r1", 3))
	for i := range 30 {
		do(t, l, "north", put(fmt.Sprintf("fill%d", i), 1))
	}
	stop() // keeps a snapshot
	l = p.open(t)
	again := do(t, l, "north", put("r1", 3))
	if !again.Repeated || len(again.Events) != 1 || again.Events[0] != first.Events[0] {
		t.Fatalf("got %+v, first %+v", again, first)
	}
	refused(t, l, "north", put("fill3", 2), fault.Invalid, "REQUEST_ID_REUSED")
	if p.restored.Load() != 1 {
		t.Fatal("the snapshot was not used")
	}
}

// repeatsRaceWithTheirFirst sends the same request through several replicas and
// several times at once.
func repeatsRaceWithTheirFirst(t *testing.T, s suite) {
	const replicas, copies, rounds = 3, 4, 12
	p := s.place()
	var ledgers []*log
	for range replicas {
		ledgers = append(ledgers, p.open(t))
	}
	for round := range rounds {
		results := make(chan result, replicas*copies)
		var wg sync.WaitGroup
		for _, l := range ledgers {
			for range copies {
				wg.Go(func() {
					r, err := persistently(t, l, "north", put(fmt.Sprintf("r%d", round), 1, 1))
					if err != nil {
						t.Errorf("round %d: %v", round, err)
					}
					results <- r
				})
			}
		}
		wg.Wait()
		close(results)
		firsts, ids := 0, map[string]bool{}
		for r := range results {
			if !r.Repeated {
				firsts++
			}
			for _, e := range r.Events {
				ids[e.ID] = true
			}
		}
		// A caller that was told to come again may find its own first try, so
		// there may be no first among the answers, but never two.
		if firsts > 1 || len(ids) != 2 {
			t.Fatalf("round %d: %d firsts, events %v", round, firsts, ids)
		}
	}
	if got := state(t, p.open(t), "north", 0); got.Count != 2*rounds {
		t.Fatalf("got %+v, want %d events", got, 2*rounds)
	}
}

// forgetsOldRequests: only the newest ids are sure to be known after a month,
// and every replica, however it came to its state, knows the same ones.
func forgetsOldRequests(t *testing.T, s suite) {
	const kept = 10_000
	p := s.place()
	p.options.SnapshotEvery = 100
	l := p.open(t)
	stop := run(t, l)
	old := put("old", 1)
	do(t, l, "north", old)
	var wg sync.WaitGroup
	for w := range 100 {
		wg.Go(func() {
			for i := range kept / 100 {
				c := put(fmt.Sprintf("r%d-%d", w, i), 1)
				c.Time = at.Add(31 * 24 * time.Hour)
				do(t, l, "north", c)
			}
		})
	}
	wg.Wait()
	stop()
	for name, options := range map[string]int{"snapshot": 1, "events": 2} {
		p.options.SnapshotEvery = 1 << 30
		l := p.open(t)
		if options == 2 {
			forgetSnapshots(t, s, p.service)
		}
		if r := do(t, l, "north", put("r0-0", 1)); !r.Repeated {
			t.Errorf("from %s: a newer request is forgotten", name)
		}
		probe := old
		probe.Decide = func(Till) ([]Fact, error) { return nil, fault.New(fault.Stale, "FORGOTTEN", "forgotten") }
		refused(t, l, "north", probe, fault.Stale, "FORGOTTEN")
	}
}
