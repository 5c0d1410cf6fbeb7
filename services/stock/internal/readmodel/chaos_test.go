package readmodel

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/redis/go-redis/v9"
	"google.golang.org/protobuf/testing/protocmp"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/yard"
)

// TestNobodyReadsAHalfBuiltView reads all the time, while two replicas write
// the view and it is emptied again and again. Every answer must be the yard's
// at the position it names.
func TestNobodyReadsAHalfBuiltView(t *testing.T) {
	onEachRedis(t, func(t *testing.T, client redis.UniversalClient) {
		b, teller := newBook(), newTeller(11)
		tell(b, teller, 60)
		v := project(t, client, b)
		project(t, client, b)
		compare(t, v, b)

		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		var readers sync.WaitGroup
		answers := make([]int, 2)
		for i := range answers {
			readers.Go(func() {
				for ctx.Err() == nil {
					if readOnce(ctx, t, v, b) {
						answers[i]++
					}
				}
			})
		}
		for range 3 {
			for range 10 {
				tell(b, teller, 5)
			}
			compare(t, v, b)
			if err := client.FlushDB(t.Context()).Err(); err != nil {
				t.Fatal(err)
			}
			compare(t, v, b)
		}
		cancel()
		readers.Wait()
		if answers[0] == 0 || answers[1] == 0 {
			t.Errorf("the readers got %v answers", answers)
		}
	})
}

// readOnce compares two answers with the state at their position.
func readOnce(ctx context.Context, t *testing.T, v *View, b *book) bool {
	ask, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	free, _, err := v.Free(ask, testYard, FreeFilter{}, 0, "", 100_000)
	if err != nil {
		if ctx.Err() == nil && fault.KindOf(err) != fault.Unavailable {
			t.Errorf("a read failed: %v", err)
		}
		return false
	}
	batches, _, err := v.Batches(ask, testYard, 0, "", 1000)
	if err != nil {
		return false
	}
	same := func(what string, want, got any) {
		if d := cmp.Diff(want, got, protocmp.Transform(), cmpopts.EquateEmpty()); d != "" {
			t.Errorf("%s are not those of their position (-state +view):\n%s", what, d)
		}
	}
	same("free pieces", slow{b.at(free.GetPosition())}.free(free.GetPosition()), free)
	then := slow{b.at(batches.GetPosition())}
	for _, batch := range batches.GetBatches() {
		same("batches", then.batch(batch.GetBatchId()), batch)
	}
	return true
}

// TestRedisComesBack stops Redis while the yard works on.
func TestRedisComesBack(t *testing.T) {
	server := miniredis.RunT(t)
	client := redis.NewClient(&redis.Options{Addr: server.Addr()})
	t.Cleanup(func() { _ = client.Close() })
	b, teller := newBook(), newTeller(12)
	tell(b, teller, 60)
	v := project(t, client, b)
	compare(t, v, b)
	server.Close()
	tell(b, teller, 60)
	server.FlushAll()
	if err := server.Restart(); err != nil {
		t.Fatal(err)
	}
	compare(t, v, b)
	// And with its data, as after a lost connection.
	server.Close()
	tell(b, teller, 60)
	if err := server.Restart(); err != nil {
		t.Fatal(err)
	}
	compare(t, v, b)
}

// TestAViewThatFellBackIsBroughtOn sets the view back to an earlier time, as a
// replica does that takes over without the last writes.
func TestAViewThatFellBackIsBroughtOn(t *testing.T) {
	onEachRedis(t, func(t *testing.T, client redis.UniversalClient) {
		b, teller := newBook(), newTeller(13)
		tell(b, teller, 60)
		ctx, stop := context.WithCancel(t.Context())
		v := New(client, b, quiet())
		done := make(chan struct{})
		go func() { defer close(done); _ = v.Project(ctx, testYard) }()
		compare(t, v, b)
		stop()
		<-done
		fallBack := remember(t, client)
		project(t, client, b)
		for range 3 {
			tell(b, teller, 40)
			compare(t, v, b)
			fallBack()
			compare(t, v, b)
		}
	})
}

// remember returns a function that sets every key back to what it holds now,
// all in one step.
func remember(t *testing.T, client redis.UniversalClient) func() {
	t.Helper()
	ctx := t.Context()
	keys, err := client.Keys(ctx, "spanyard:*").Result()
	if err != nil {
		t.Fatal(err)
	}
	var writes []func(redis.Pipeliner)
	for _, k := range keys {
		switch kind := client.Type(ctx, k).Val(); kind {
		case "string":
			value := client.Get(ctx, k).Val()
			writes = append(writes, func(p redis.Pipeliner) { p.Set(ctx, k, value, 0) })
		case "hash":
			value := client.HGetAll(ctx, k).Val()
			writes = append(writes, func(p redis.Pipeliner) { p.HSet(ctx, k, value) })
		case "zset":
			value := client.ZRangeWithScores(ctx, k, 0, -1).Val()
			writes = append(writes, func(p redis.Pipeliner) { p.ZAdd(ctx, k, value...) })
		default:
			t.Fatalf("%s is a %s", k, kind)
		}
	}
	return func() {
		t.Helper()
		_, err := client.TxPipelined(ctx, func(p redis.Pipeliner) error {
			p.Del(ctx, keys...)
			for _, write := range writes {
				write(p)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// at returns the yard as it was at a position.
func (b *book) at(position uint64) yard.State {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := yard.New(testYard)
	for _, e := range b.events {
		if e.Position <= position {
			s = yard.Evolve(s, e.Fact)
		}
	}
	return s
}
