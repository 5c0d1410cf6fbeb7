package integration

import (
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"

	"spanyard.example/integration/internal/await"
	"spanyard.example/integration/internal/recount"
	"spanyard.example/integration/internal/scene"
)

// newScene opens a yard of the test's own. If the test fails, the end of what
// the services said is printed.
func newScene(t *testing.T, yard string) *scene.Scene {
	t.Helper()
	clients, err := theHouse.Clients()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(clients.Close)
	t.Cleanup(func() { printLogs(t) })
	return scene.New(t, clients, yard)
}

func printLogs(t *testing.T) {
	if !t.Failed() {
		return
	}
	for _, name := range []string{"layout", "stock", "dispatch"} {
		text := theHouse.Container(name).Log(context.Background())
		t.Logf("end of the log of %s:\n%s", name, text[max(0, len(text)-3000):])
	}
}

// jetStream connects to the cluster; every call has a connection of its own.
func jetStream(t testing.TB) jetstream.JetStream {
	t.Helper()
	conn, err := theHouse.NATS()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	return js
}

// checkBooks counts the yard again from its first event, expects no law of the
// yard broken, and compares the count with what the view in Redis says.
func checkBooks(t *testing.T, s *scene.Scene) *recount.Count {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*scene.Soon)
	defer cancel()
	js := jetStream(t)
	// A node that was the stream's leader and was cut off may answer with what it
	// last knew until it learns better, and a cluster that has just got a node
	// back may not answer for a moment: what the stock service knows by now is
	// the least to be read.
	due, err := s.Stock.ListDueSamples(ctx, &stockv1.ListDueSamplesRequest{Yard: s.Yard})
	s.Must(err, "ask stock for its position")
	count, err := recount.Read(ctx, js, s.Yard)
	for (err != nil || count.Position < due.GetPosition()) && ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-time.After(200 * time.Millisecond):
		}
		count, err = recount.Read(ctx, js, s.Yard)
	}
	if err != nil {
		t.Fatal(err)
	}
	if count.Position < due.GetPosition() {
		t.Fatalf("the stream is read up to position %d; stock knows %d", count.Position, due.GetPosition())
	}
	if err := count.Err(); err != nil {
		t.Error(err)
	}
	compareView(ctx, t, s, count)
	return count
}

// compareView expects the view to say of every batch and every piece what the
// count says.
func compareView(ctx context.Context, t *testing.T, s *scene.Scene, count *recount.Count) {
	t.Helper()
	seen := 0
	for page := ""; ; {
		listed, err := s.Stock.ListBatches(ctx, &stockv1.ListBatchesRequest{Yard: s.Yard, PageToken: page, AtLeast: count.Position})
		if err != nil {
			t.Fatalf("list the batches in the view: %v", err)
		}
		for _, b := range listed.GetBatches() {
			seen++
			compareBatch(ctx, t, s, count, b)
		}
		if page = listed.GetNextPageToken(); page == "" {
			break
		}
	}
	if seen != len(count.Batches) {
		t.Errorf("the view has %d batches, the ledger %d", seen, len(count.Batches))
	}
}

func compareBatch(ctx context.Context, t *testing.T, s *scene.Scene, count *recount.Count, b *stockv1.Batch) {
	t.Helper()
	n := count.ByState(b.GetBatchId())
	want := &stockv1.PieceCounts{
		Made:      count.Batches[b.GetBatchId()].Made,
		InYard:    n[stockeventv1.PieceState_PIECE_STATE_IN_YARD],
		Reserved:  n[stockeventv1.PieceState_PIECE_STATE_RESERVED],
		Picked:    n[stockeventv1.PieceState_PIECE_STATE_PICKED],
		Loaded:    n[stockeventv1.PieceState_PIECE_STATE_LOADED],
		Delivered: n[stockeventv1.PieceState_PIECE_STATE_DELIVERED],
		Scrapped:  n[stockeventv1.PieceState_PIECE_STATE_SCRAPPED],
	}
	if got := b.GetCounts(); got.String() != want.String() {
		t.Errorf("batch %s: the view counts %v, the ledger %v", b.GetBatchId(), got, want)
	}
	whole, err := s.Stock.GetBatch(ctx, &stockv1.GetBatchRequest{Yard: s.Yard, BatchId: b.GetBatchId(), AtLeast: count.Position})
	if err != nil {
		t.Fatalf("get batch %s from the view: %v", b.GetBatchId(), err)
	}
	for _, p := range whole.GetPieces() {
		counted := count.Pieces[p.GetPieceId()]
		if counted == nil {
			t.Errorf("piece %s is in the view and not in the ledger", p.GetPieceId())
		} else if counted.State != p.GetState() || counted.Run != p.GetAllocation().GetRunId() {
			t.Errorf("piece %s: the view says %s for run %q, the ledger %s for run %q", p.GetPieceId(),
				p.GetState(), p.GetAllocation().GetRunId(), counted.State, counted.Run)
		}
	}
}

// persist repeats a request until it is answered: a call that is cut off may
// or may not have had its effect, and the same request id makes asking again
// safe. A refusal is an answer.
func persist(ctx context.Context, ask func(context.Context) error) error {
	for {
		attempt, cancel := context.WithTimeout(ctx, 5*time.Second)
		err := ask(attempt)
		cancel()
		if err == nil || !passes(err) {
			return err
		}
		select {
		case <-ctx.Done():
			return errors.Join(err, ctx.Err())
		case <-time.After(100 * time.Millisecond):
		}
	}
}

// passes reports an error that goes away by asking again.
func passes(err error) bool {
	return fault.ReasonOf(err) == "YARD_CONTENDED" || errors.Is(err, fault.Unavailable) || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled)
}

// chance returns a source of random moments. Its seed is printed, and set by
// SPANYARD_SEED to play a schedule again.
func chance(t *testing.T) *rand.Rand {
	seed := rand.Uint64()
	if set := os.Getenv("SPANYARD_SEED"); set != "" {
		var err error
		if seed, err = strconv.ParseUint(set, 10, 64); err != nil {
			t.Fatalf("SPANYARD_SEED: %v", err)
		}
	}
	t.Logf("SPANYARD_SEED=%d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}

// killAndStart ends a container by force and starts it again.
func killAndStart(t *testing.T, name string) {
	t.Helper()
	c := theHouse.Container(name)
	if err := c.Kill(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := c.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// awaitService waits until a service serves again.
func awaitService(t *testing.T, name string) {
	t.Helper()
	if err := theHouse.AwaitService(t.Context(), name); err != nil {
		t.Fatal(err)
	}
}

// in the time given, at a moment that nobody knows before.
func after(t *testing.T, d time.Duration) {
	t.Helper()
	select {
	case <-time.After(d):
	case <-t.Context().Done():
		t.Fatal(t.Context().Err())
	}
}

// soon waits for what the services do in the background.
func soon(t *testing.T, what string, ok func(context.Context) error) {
	t.Helper()
	await.For(t, scene.Soon, what, ok)
}
