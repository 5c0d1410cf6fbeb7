package stock_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// read follows the feed after a position for so many events.
func (h *house) read(t *testing.T, after uint64, n int) (lines []string, position uint64) {
	t.Helper()
	ctx, cancel := context.WithTimeout(h.ctx, 30*time.Second)
	defer cancel()
	stream, err := h.client.WatchStock(ctx, &stockv1.WatchStockRequest{Yard: yard, AfterPosition: after})
	if err != nil {
		t.Fatal(err)
	}
	for range n {
		m, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		position = m.GetPosition()
		lines = append(lines, fmt.Sprintf("%d %s %v", position, m.GetActor(), m.GetEvent()))
	}
	return lines, position
}

// TestFeedCutAnywhere: whoever loses the connection after any event and asks
// again from the position of that event has, in the end, the whole history once.
func TestFeedCutAnywhere(t *testing.T) {
	h := open(t, t.TempDir(), &hand{time.Date(2027, 3, 20, 8, 0, 0, 0, time.UTC)})
	h.rules(t)
	const batches = 40
	for i := range batches {
		h.receive(t, fmt.Sprintf("B%d", i), "2027-03-01", 2)
	}
	const events = batches + 1
	whole, _ := h.read(t, 0, events)
	for seed := range uint64(5) {
		random := rand.New(rand.NewPCG(seed, 1))
		var joined []string
		position := uint64(0)
		for len(joined) < events {
			lines, reached := h.read(t, position, 1+random.IntN(min(7, events-len(joined))))
			joined, position = append(joined, lines...), reached
		}
		if diff := cmp.Diff(whole, joined); diff != "" {
			t.Fatalf("seed %d: cut and resumed, the feed is another one:\n%s", seed, diff)
		}
	}
}

// TestStuckReaderSlowsNobody: a client opens the feed and never reads; a
// thousand commands and another reader go on beside it.
func TestStuckReaderSlowsNobody(t *testing.T) {
	h := open(t, t.TempDir(), &hand{time.Date(2027, 3, 20, 8, 0, 0, 0, time.UTC)})
	h.rules(t)
	h.receive(t, "B1", "2027-03-01", 2)
	stuck, err := h.client.WatchStock(h.ctx, &stockv1.WatchStockRequest{Yard: yard})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stuck.Recv(); err != nil {
		t.Fatal(err)
	}
	const callers, each = 20, 50
	var all sync.WaitGroup
	failed := make(chan error, callers)
	for c := range callers {
		all.Go(func() {
			for i := range each {
				_, err := h.client.RecordCure(h.ctx, &stockv1.RecordCureRequest{
					Yard: yard, RequestId: fmt.Sprintf("cure-%d-%d", c, i), BatchId: "B1", Cement: stockv1.CementClass_CEMENT_CLASS_R,
					Cure: []*stockv1.CureSpell{{Celsius: 20, Days: float64(1+c*each+i) / 10}},
				})
				if err != nil {
					failed <- err
					return
				}
			}
		})
	}
	all.Wait()
	select {
	case err := <-failed:
		t.Fatal(err)
	default:
	}
	if lines, _ := h.read(t, 0, 2+callers*each); len(lines) != 2+callers*each {
		t.Errorf("another reader has %d events", len(lines))
	}
}
