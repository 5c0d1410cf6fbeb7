package rpc

import (
	"context"
	"sync/atomic"
	"time"

	"spanyard.example/services/kit/fault"
)

// A feed's limits: so many messages wait for a client, and so long for it to
// take one.
const (
	feedBuffer   = 256
	feedPatience = 10 * time.Second
)

// Feed sends a stream to a client that may be slow or gone. follow calls put for
// every message, with the position to resume after it. Messages wait in a
// bounded buffer, so that nobody else waits for the client; one that takes
// nothing for ten seconds is dropped with the fault FEED_NOT_READ, which says
// after which position to resume.
func Feed[M any](ctx context.Context, send func(M) error, follow func(ctx context.Context, put func(position uint64, m M) error) error) error {
	return feed(ctx, send, follow, feedPatience)
}

func feed[M any](ctx context.Context, send func(M) error, follow func(context.Context, func(uint64, M) error) error, patience time.Duration) error {
	type entry struct {
		position uint64
		message  M
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	waiting := make(chan entry, feedBuffer)
	failed := make(chan error, 1)
	var sent atomic.Uint64
	// The sender ends with ctx, or with the stream when it is stuck in send: the
	// server ends that when this function has returned.
	go func() {
		for {
			select {
			case e := <-waiting:
				if err := send(e.message); err != nil {
					failed <- err
					return
				}
				sent.Store(e.position)
			case <-ctx.Done():
				return
			}
		}
	}()
	return follow(ctx, func(position uint64, m M) error {
		e := entry{position, m}
		select {
		case waiting <- e:
			return nil
		case err := <-failed:
			return err
		default:
		}
		late := time.NewTimer(patience)
		defer late.Stop()
		select {
		case waiting <- e:
			return nil
		case err := <-failed:
			return err
		case <-late.C:
			return fault.New(fault.Stale, "FEED_NOT_READ",
				"This feed was not read for %v and is ended, so that nobody waits for it. Resume after position %d.", patience, sent.Load())
		case <-ctx.Done():
			return ctx.Err()
		}
	})
}

// CheckResume refuses to resume a yard's feed after a position that the yard has
// not reached: it is one of another yard, or of a ledger that was lost.
func CheckResume(ctx context.Context, last func(ctx context.Context, yard string) (uint64, error), yard string, after uint64) error {
	if after == 0 {
		return nil
	}
	end, err := last(ctx, yard)
	if fault.KindOf(err) == fault.NotFound {
		end, err = 0, nil
	}
	if err == nil && after > end {
		err = fault.New(fault.Invalid, "POSITION_UNKNOWN", "Yard %s has not come to position %d; its last is %d. Start from 0.", yard, after, end)
	}
	return err
}
