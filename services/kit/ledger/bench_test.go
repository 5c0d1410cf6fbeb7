package ledger_test

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/ledger"
)

// bytesDomain has events of any bytes and a state that counts them.
func bytesDomain(service string) ledger.Domain[int, []byte] {
	return ledger.Domain[int, []byte]{
		Service:  service,
		New:      func(string) int { return 0 },
		Evolve:   func(n int, _ []byte) int { return n + 1 },
		Encode:   func(b []byte) (string, []byte, error) { return "noted", b, nil },
		Decode:   func(_ string, b []byte) ([]byte, error) { return b, nil },
		Snapshot: func(n int) ([]byte, error) { return fmt.Append(nil, n), nil },
		Restore: func(_ string, data []byte) (n int, err error) {
			_, err = fmt.Sscan(string(data), &n)
			return n, err
		},
	}
}

const eventBytes = 300

func openBench(b *testing.B, js jetstream.JetStream, service string) *ledger.Ledger[int, []byte] {
	b.Helper()
	l, err := ledger.Open(b.Context(), js, bytesDomain(service), ledger.Options{Log: quiet()})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(l.Close)
	return l
}

func noting(request string, events int) ledger.Command[int, []byte] {
	return ledger.Command[int, []byte]{
		RequestID: request, Actor: "mara", Time: time.Unix(1900000000, 0),
		Decide: func(int) ([][]byte, error) {
			facts := make([][]byte, events)
			for i := range facts {
				facts[i] = make([]byte, eventBytes)
			}
			return facts, nil
		},
	}
}

// BenchmarkAppend compares a command with the least that could be done: a bare
// publish, synced to disk like everything here. ns/op is per command in both.
func BenchmarkAppend(b *testing.B) {
	connect := embedded(b)
	for _, callers := range []int{1, 64} {
		b.Run(fmt.Sprintf("bare/callers=%d", callers), func(b *testing.B) {
			js := connect(b)
			name := fmt.Sprintf("bare%d", callers)
			if _, err := js.CreateOrUpdateStream(b.Context(), jetstream.StreamConfig{Name: name, Subjects: []string{name}, MaxBytes: 4 << 30}); err != nil {
				b.Fatal(err)
			}
			data := make([]byte, eventBytes)
			share(b, callers, func(ctx context.Context, _ int64) error {
				_, err := js.Publish(ctx, name, data)
				return err
			})
		})
		for _, events := range []int{1, 10} {
			b.Run(fmt.Sprintf("ledger/callers=%d/events=%d", callers, events), func(b *testing.B) {
				l := openBench(b, connect(b), fmt.Sprintf("bench%dx%d", callers, events))
				run := time.Now().UnixNano()
				share(b, callers, func(ctx context.Context, i int64) error {
					_, err := l.Do(ctx, "north", noting(fmt.Sprintf("r%d-%d", run, i), events))
					return err
				})
				b.ReportMetric(perAppend(b, connect(b), l.Service())/float64(events), "commands/append")
			})
		}
	}
}

// perAppend returns how many events were stored together on average.
func perAppend(b *testing.B, js jetstream.JetStream, service string) float64 {
	b.Helper()
	c, err := js.OrderedConsumer(b.Context(), ledger.StreamOf(service), jetstream.OrderedConsumerConfig{HeadersOnly: true})
	if err != nil {
		b.Fatal(err)
	}
	messages, err := c.Messages()
	if err != nil {
		b.Fatal(err)
	}
	defer messages.Stop()
	events, appends := 0.0, 0.0
	for {
		m, err := messages.Next()
		if err != nil {
			b.Fatal(err)
		}
		meta, err := m.Metadata()
		if err != nil {
			b.Fatal(err)
		}
		events++
		if m.Headers().Get("ce-batchindex") == "0" {
			appends++
		}
		if meta.NumPending == 0 {
			return events / appends
		}
	}
}

// share lets so many callers do b.N things together.
func share(b *testing.B, callers int, do func(context.Context, int64) error) {
	b.Helper()
	var next atomic.Int64
	var wg sync.WaitGroup
	b.ResetTimer()
	for range callers {
		wg.Go(func() {
			for i := next.Add(1); i <= int64(b.N); i = next.Add(1) {
				if err := do(b.Context(), i); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	b.StopTimer()
}

// BenchmarkReplay is what opening a yard costs per event, beside reading the
// bare stream.
func BenchmarkReplay(b *testing.B) {
	connect := embedded(b)
	js := connect(b)
	l := openBench(b, js, "replay")
	const events = 20_000
	for i := range events / 1000 {
		if _, err := l.Do(b.Context(), "north", noting(fmt.Sprint("r", i), 1000)); err != nil {
			b.Fatal(err)
		}
	}
	b.Run("bare", func(b *testing.B) {
		for b.Loop() {
			c, err := js.OrderedConsumer(b.Context(), ledger.StreamOf("replay"), jetstream.OrderedConsumerConfig{})
			if err != nil {
				b.Fatal(err)
			}
			messages, err := c.Messages()
			if err != nil {
				b.Fatal(err)
			}
			for range events {
				if _, err := messages.Next(); err != nil {
					b.Fatal(err)
				}
			}
			messages.Stop()
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/events, "ns/event")
	})
	b.Run("ledger", func(b *testing.B) {
		for b.Loop() {
			l := openBench(b, js, "replay")
			if n, _, err := l.State(b.Context(), "north", 0); err != nil || n != events {
				b.Fatalf("%d events, %v", n, err)
			}
			l.Close()
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/events, "ns/event")
	})
}

// BenchmarkState is a read that takes no lock but the yard's look-up.
func BenchmarkState(b *testing.B) {
	l := openBench(b, embedded(b)(b), "state")
	if _, err := l.Do(b.Context(), "north", noting("r", 1)); err != nil {
		b.Fatal(err)
	}
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			if _, _, err := l.State(b.Context(), "north", 0); err != nil {
				b.Error(err)
				return
			}
		}
	})
}
