package conformance

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
)

func followResumesAnywhere(t *testing.T, s suite) {
	p := s.place()
	l := p.open(t)
	for i := range 15 {
		do(t, l, "north", put(fmt.Sprintf("n%d", i), []int64{1, 2}[:1+i%2]...))
		do(t, l, "south", put(fmt.Sprintf("s%d", i), 1))
	}
	all := history(t, l, "north", 0)
	last := all[len(all)-1].Position
	for after := uint64(0); after < last; after++ {
		var want []event
		for _, e := range all {
			if e.Position > after {
				want = append(want, e)
			}
		}
		got := history(t, l, "north", after)
		if len(got) != len(want) || got[0] != want[0] || got[len(got)-1] != want[len(want)-1] {
			t.Fatalf("after %d: %d events from %+v, want %d from %+v", after, len(got), got[0], len(want), want[0])
		}
	}

	// It goes on with what is new, ends with its context, and gives back the
	// error of the function.
	ctx, cancel := context.WithCancel(within(t))
	fresh, ended := make(chan event), make(chan error, 1)
	go func() {
		ended <- l.Follow(ctx, "north", last, func(e event) error {
			fresh <- e
			return nil
		})
	}()
	r := do(t, p.open(t), "north", put("new", 1))
	if e := <-fresh; e != r.Events[0] {
		t.Fatalf("got %+v, want %+v", e, r.Events[0])
	}
	cancel()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Fatalf("ended with %v", err)
	}
	enough := errors.New("enough")
	if err := l.Follow(within(t), "north", 0, func(event) error { return enough }); err != enough {
		t.Fatalf("ended with %v", err)
	}
}

func watchesYards(t *testing.T, s suite) {
	l := s.place().open(t)
	do(t, l, "north", put("r1", 1))
	do(t, l, "north", take("r2", 1))
	do(t, l, "south", put("r3", 1))

	ctx, cancel := context.WithCancel(within(t))
	var mu sync.Mutex
	seen := map[string]int{}
	count := func() int {
		mu.Lock()
		defer mu.Unlock()
		return len(seen)
	}
	ended := make(chan error, 1)
	go func() {
		ended <- l.WatchYards(ctx, func(yard string) {
			mu.Lock()
			defer mu.Unlock()
			seen[yard]++
		})
	}()
	waitUntil(t, "both yards", func() bool { return count() == 2 })
	do(t, l, "south", put("r4", 1))
	do(t, l, "west", put("r5", 1))
	waitUntil(t, "the new yard", func() bool { return count() == 3 })
	cancel()
	<-ended
	if seen["north"] != 1 || seen["south"] != 1 || seen["west"] != 1 {
		t.Fatalf("got %v, want each once", seen)
	}
}
