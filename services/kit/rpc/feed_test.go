package rpc

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"spanyard.example/services/kit/fault"
)

// numbers is a feed of so many messages; it ends then.
func numbers(n int) func(context.Context, func(uint64, int) error) error {
	return func(_ context.Context, put func(uint64, int) error) error {
		for i := 1; i <= n; i++ {
			if err := put(uint64(i), i); err != nil {
				return err
			}
		}
		return nil
	}
}

func TestFeedSendsEverythingInOrder(t *testing.T) {
	got := make(chan int, 2000)
	done := make(chan struct{})
	err := feed(t.Context(), func(m int) error {
		got <- m
		if m == 1000 {
			close(done)
		}
		return nil
	}, func(ctx context.Context, put func(uint64, int) error) error {
		if err := numbers(1000)(ctx, put); err != nil {
			return err
		}
		<-done
		return nil
	}, time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	for want := 1; want <= 1000; want++ {
		if m := <-got; m != want {
			t.Fatalf("message %d came as number %d", m, want)
		}
	}
}

// TestFeedDropsWhoDoesNotRead: the client that took ten and stopped is told to
// resume after the tenth; the feed never waits longer than its patience.
func TestFeedDropsWhoDoesNotRead(t *testing.T) {
	stuck := make(chan struct{})
	defer close(stuck)
	err := feed(t.Context(), func(m int) error {
		if m > 10 {
			<-stuck
		}
		return nil
	}, numbers(10_000), 50*time.Millisecond)
	if fault.ReasonOf(err) != "FEED_NOT_READ" || !strings.Contains(err.Error(), "Resume after position 10.") {
		t.Errorf("a client that does not read: %v", err)
	}
}

func TestFeedEndsWithTheClient(t *testing.T) {
	gone := errors.New("the client is gone")
	if err := feed(t.Context(), func(int) error { return gone }, numbers(100_000), time.Minute); !errors.Is(err, gone) {
		t.Errorf("%v", err)
	}
}
