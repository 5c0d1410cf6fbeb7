package conformance

import (
	"bytes"
	"fmt"
	"testing"

	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/ledger"
)

func bucket(t testing.TB, s suite, service string) jetstream.ObjectStore {
	t.Helper()
	b, err := s.connect(t).ObjectStore(within(t), ledger.BucketOf(service))
	if err != nil {
		t.Fatalf("snapshots: %v", err)
	}
	return b
}

func forgetSnapshots(t testing.TB, s suite, service string) {
	t.Helper()
	b := bucket(t, s, service)
	for _, o := range snapshots(t, b) {
		if err := b.Delete(within(t), o.Name); err != nil {
			t.Fatalf("delete snapshot: %v", err)
		}
	}
}

func snapshots(t testing.TB, b jetstream.ObjectStore) []*jetstream.ObjectInfo {
	t.Helper()
	all, err := b.List(within(t))
	if err != nil && err != jetstream.ErrNoObjectsFound {
		t.Fatalf("list snapshots: %v", err)
	}
	return all
}

// fill writes so many events through a ledger that keeps snapshots, and stops
// it.
func fill(t testing.TB, p *place, from, to int) uint64 {
	t.Helper()
	l := p.open(t)
	stop := run(t, l)
	defer stop()
	var last uint64
	for i := from; i < to; i++ {
		last = do(t, l, "north", put(fmt.Sprintf("r%d", i), int64(i))).Position
	}
	return last
}

func restartsFromSnapshots(t *testing.T, s suite) {
	p := s.place()
	p.options.SnapshotEvery = 10
	for round := range 4 {
		last := fill(t, p, round*25, (round+1)*25)
		p.restored.Store(0)
		l := p.open(t)
		want := replayed("north", history(t, l, "north", 0))
		if got := state(t, l, "north", last); got != want {
			t.Fatalf("round %d: %+v, replay gives %+v", round, got, want)
		}
		if p.restored.Load() != 1 {
			t.Fatalf("round %d: %d snapshots used, want 1", round, p.restored.Load())
		}
		// It goes on from there, and so does one that has read everything.
		r := do(t, l, "north", put(fmt.Sprintf("more%d", round), 1))
		if got := state(t, p.open(t), "north", r.Position); got.Count != want.Count+1 {
			t.Fatalf("round %d: %+v after %+v", round, got, want)
		}
	}
	if n := len(snapshots(t, bucket(t, s, p.service))); n != 2 {
		t.Fatalf("%d snapshots are kept, want 2", n)
	}
}

func ignoresUselessSnapshots(t *testing.T, s suite) {
	p := s.place()
	p.options.SnapshotEvery = 10
	last := fill(t, p, 0, 30)
	want := state(t, p.open(t), "north", last)
	b := bucket(t, s, p.service)

	check := func(what string) {
		t.Helper()
		p.restored.Store(0)
		if got := state(t, p.open(t), "north", last); got != want {
			t.Fatalf("%s: %+v, want %+v", what, got, want)
		}
		if p.restored.Load() != 0 {
			t.Fatalf("%s: it was used", what)
		}
	}
	for _, o := range snapshots(t, b) {
		good, err := b.GetBytes(within(t), o.Name)
		if err != nil {
			t.Fatal(err)
		}
		replace := func(content []byte, version string) {
			t.Helper()
			headers := map[string][]string{"position": o.Headers["position"], "version": {version}}
			meta := jetstream.ObjectMeta{Name: o.Name, Headers: headers}
			if _, err := b.Put(within(t), meta, bytes.NewReader(content)); err != nil {
				t.Fatal(err)
			}
		}
		version := o.Headers.Get("version")
		flipped := bytes.Clone(good)
		flipped[len(flipped)/2] ^= 1
		replace(flipped, version)
		check("a damaged snapshot")
		replace(good[:len(good)/2], version)
		check("half a snapshot")
		replace(nil, version)
		check("an empty snapshot")
		replace(good, "1.0")
		check("a snapshot of an older version")

		// One of another history, for instance after the stream was lost and
		// its backup put back.
		other := s.place()
		other.options.SnapshotEvery = 10
		fill(t, other, 100, 130)
		foreign := bucket(t, s, other.service)
		for _, f := range snapshots(t, foreign) {
			content, err := foreign.GetBytes(within(t), f.Name)
			if err != nil {
				t.Fatal(err)
			}
			replace(content, version)
			check("a snapshot of another history")
		}
	}
}

func replicasShareSnapshots(t *testing.T, s suite) {
	p := s.place()
	p.options.SnapshotEvery = 5
	var stops []func()
	var ledgers []*log
	for range 3 {
		l := p.open(t)
		ledgers = append(ledgers, l)
		stops = append(stops, run(t, l))
	}
	var last uint64
	for i := range 60 {
		r, err := persistently(t, ledgers[i%3], "north", put(fmt.Sprintf("r%d", i), 1))
		if err != nil {
			t.Fatal(err)
		}
		last = r.Position
	}
	for _, l := range ledgers {
		state(t, l, "north", last)
	}
	// All three stop at once and want to keep the same snapshot.
	finished := make(chan struct{})
	for _, stop := range stops {
		go func() {
			defer func() { finished <- struct{}{} }()
			stop()
		}()
	}
	for range stops {
		<-finished
	}
	l := p.open(t)
	if got := state(t, l, "north", last); got.Count != 60 {
		t.Fatalf("got %+v", got)
	}
}
