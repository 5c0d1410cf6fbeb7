package stock_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	"google.golang.org/grpc"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger/ledgertest"
	"spanyard.example/services/stock/promises"
)

// seeds of the random schedules; SPANYARD_SEED plays one again.
func seeds(t *testing.T, n int) []uint64 {
	if set := os.Getenv("SPANYARD_SEED"); set != "" {
		seed, err := strconv.ParseUint(set, 10, 64)
		if err != nil {
			t.Fatalf("SPANYARD_SEED: %v", err)
		}
		return []uint64{seed}
	}
	var out []uint64
	for range n {
		out = append(out, rand.Uint64())
	}
	return out
}

// scramble opens a yard with a few released batches on two replicas, and
// returns callers that scramble for its beams.
func scramble(t *testing.T, seed uint64) (promises.Crowd, *house) {
	t.Helper()
	js, memory, c := ledgertest.JetStream(t), miniredis.RunT(t), &hand{time.Date(2027, 3, 20, 8, 0, 0, 0, time.UTC)}
	once := grpc.WithDisableRetry()
	houses := []*house{openOn(t, js, memory, c, once), openOn(t, js, memory, c, once)}
	crowd := crowdOf(t, seed, houses...)
	crowd.Wait = func(random *rand.Rand) time.Duration {
		if random.IntN(8) == 0 {
			return time.Duration(random.IntN(4000)) * time.Microsecond
		}
		return 10 * time.Second
	}
	return crowd, houses[0]
}

// crowdOf opens the yard of some replicas and returns callers of them.
func crowdOf(t *testing.T, seed uint64, houses ...*house) promises.Crowd {
	t.Helper()
	houses[0].rules(t)
	crowd := promises.Crowd{Yard: yard, Name: "scramble", Batches: map[string][]string{}, Callers: 6, Questions: 40, Seed: seed, Attempts: 3}
	for n := range 3 {
		batch := fmt.Sprintf("B%d", n)
		crowd.Batches[batch] = houses[0].receive(t, batch, "2027-03-01", 6).GetPieceIds()
		houses[0].test(t, batch, "T", "2027-03-16", 66)
		if _, err := houses[0].release(batch, "release-"+batch); err != nil {
			t.Fatal(err)
		}
	}
	for _, h := range houses {
		crowd.Replicas = append(crowd.Replicas, h.client)
	}
	return crowd
}

// TestLinearizable: many callers scramble for the same beams at two replicas;
// some give up waiting and ask the other replica, and Redis is emptied again
// and again. There is one order in which all that they were told is right.
func TestLinearizable(t *testing.T) {
	decided := 0
	for _, seed := range seeds(t, 4) {
		t.Run(fmt.Sprint("SPANYARD_SEED=", seed), func(t *testing.T) {
			crowd, h := scramble(t, seed)
			ctx, cancel := context.WithCancel(t.Context())
			emptied := make(chan int)
			go func() {
				tick := time.NewTicker(20 * time.Millisecond)
				defer tick.Stop()
				for n := 0; ; n++ {
					select {
					case <-tick.C:
						h.redis.FlushAll()
					case <-ctx.Done():
						emptied <- n
						return
					}
				}
			}()
			history := crowd.Run(t.Context())
			cancel()
			t.Logf("%d done, %d refused, %d unknown; Redis was emptied %d times",
				history.Count(promises.Done), history.Count(promises.Refused), history.Count(promises.Unknown), <-emptied)
			if history.Count(promises.Done) < 10 || history.Count(promises.Refused) < 5 {
				t.Error("too little happened to be judged")
			}
			switch err := history.Judge(30 * time.Second); {
			case errors.Is(err, promises.ErrUndecided):
				// A slow machine answers many too late: such a history says nothing.
				t.Logf("not decided: %d questions have no answer", history.Count(promises.Unknown))
			case err != nil:
				t.Error(err)
			default:
				decided++
			}
		})
	}
	if decided == 0 {
		t.Error("no history could be decided")
	}
}

// liar says of beams that are gone that they were promised.
type liar struct{ stockv1.StockServiceClient }

func (l liar) ReservePieces(ctx context.Context, r *stockv1.ReservePiecesRequest, o ...grpc.CallOption) (*stockv1.ReservePiecesResponse, error) {
	answer, err := l.StockServiceClient.ReservePieces(ctx, r, o...)
	if fault.ReasonOf(err) == "PIECES_GONE" {
		return &stockv1.ReservePiecesResponse{ReservationId: r.GetReservationId()}, nil
	}
	return answer, err
}

// TestDoublePromiseIsNoticed: a service that promises beams twice does not get
// away with it.
func TestDoublePromiseIsNoticed(t *testing.T) {
	crowd, _ := scramble(t, 7)
	for i, r := range crowd.Replicas {
		crowd.Replicas[i] = liar{r}
	}
	crowd.Wait = func(*rand.Rand) time.Duration { return 10 * time.Second }
	history := crowd.Run(t.Context())
	if err := history.Judge(30 * time.Second); err == nil {
		t.Error("beams were promised twice and nobody noticed")
	}
}
