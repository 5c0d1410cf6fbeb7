package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/rpc"
)

// feed compares how long a reservation takes, from the call on, until Redis
// has it and a phone that follows the yard has it, with a bare message from
// its publisher through the stream to a subscriber that writes it to Redis.
func feed(ctx context.Context, b *bench) error {
	p, err := b.oneNode(ctx)
	if p != nil {
		defer p.stop()
	}
	if err != nil {
		return err
	}
	r, err := p.replica(ctx)
	if err != nil {
		return err
	}
	defer r.stop()
	ids, position, err := r.fill(ctx, b.size.Calls+turn)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(rpc.AsActor(ctx, "Bench Clerk"))
	defer cancel()
	ends, err := r.follow(ctx, p, position)
	if err != nil {
		return err
	}
	least, err := p.bare(ctx)
	if err != nil {
		return err
	}
	passOn, err := least.relay(ctx)
	if err != nil {
		return err
	}
	var shown, seen, bare times
	for len(ids) >= turn {
		for _, id := range ids[:turn] {
			began := time.Now()
			answer, err := r.reserve(ctx, id)
			if err != nil {
				return err
			}
			end, err := ends.of(ctx, answer.GetPosition())
			if err != nil {
				return err
			}
			shown, seen = append(shown, end.inRedis.Sub(began)), append(seen, end.onFeed.Sub(began))
		}
		ids = ids[turn:]
		for range turn {
			took, err := timed(func() error { return passOn(ctx) })
			if err != nil {
				return err
			}
			bare = append(bare, took)
		}
	}
	size := fmt.Sprintf("%d calls, %s", len(shown)-turn, p.name)
	against := "synced publish to a subscriber, then Redis write"
	b.quantiles("call until Redis has it", size, against, "at most 3", shown[turn:], bare[turn:])
	b.quantiles("call until the live feed has it", size, against, "at most 3", seen[turn:], bare[turn:])
	return nil
}

// relay returns a function that publishes a message, waits for a subscriber
// to have it, and writes it to Redis.
func (b *bare) relay(ctx context.Context) (func(context.Context) error, error) {
	c, err := b.js.OrderedConsumer(ctx, "bare", jetstream.OrderedConsumerConfig{DeliverPolicy: jetstream.DeliverNewPolicy})
	if err != nil {
		return nil, err
	}
	messages, err := c.Messages()
	if err != nil {
		return nil, err
	}
	context.AfterFunc(ctx, messages.Stop)
	written := make(chan error)
	go func() {
		for {
			_, err := messages.Next()
			if err == nil {
				err = b.write(ctx)
			}
			select {
			case written <- err:
			case <-ctx.Done():
				return
			}
			if err != nil {
				return
			}
		}
	}()
	return func(ctx context.Context) error {
		if err := b.publish(ctx); err != nil {
			return err
		}
		return <-written
	}, nil
}

// end is when an event came to each of its ends.
type end struct{ inRedis, onFeed time.Time }

// arrival is one event at one end.
type arrival struct {
	position uint64
	at       time.Time
	err      error
}

// ends collects arrivals of one event after the other.
type ends struct{ redis, feed <-chan arrival }

// of returns when an event arrived, once it is at both ends.
func (e ends) of(ctx context.Context, position uint64) (end, error) {
	var at end
	for _, one := range []struct {
		from <-chan arrival
		to   *time.Time
	}{{e.redis, &at.inRedis}, {e.feed, &at.onFeed}} {
		for one.to.IsZero() {
			select {
			case a := <-one.from:
				if a.err != nil {
					return at, a.err
				}
				if a.position >= position {
					*one.to = a.at
				}
			case <-time.After(30 * time.Second):
				return at, fmt.Errorf("position %d has not arrived", position)
			case <-ctx.Done():
				return at, ctx.Err()
			}
		}
	}
	return at, nil
}

// follow watches the feed, and has Redis tell when the view's cursor was
// written.
func (r *replica) follow(ctx context.Context, p *place, position uint64) (ends, error) {
	toFeed, toRedis := make(chan arrival, 1024), make(chan arrival, 1024)
	stream, err := r.client.WatchStock(ctx, &stockv1.WatchStockRequest{Yard: yardID, AfterPosition: position})
	if err != nil {
		return ends{}, err
	}
	go func() {
		for {
			m, err := stream.Recv()
			a := arrival{m.GetPosition(), time.Now(), err}
			select {
			case toFeed <- a:
			case <-ctx.Done():
				return
			}
			if err != nil {
				return
			}
		}
	}()
	const written = "__keyspace@0__:"
	told := p.redis.PSubscribe(ctx, written+"spanyard:stock:{"+yardID+"}:g*:cursor")
	if _, err := told.Receive(ctx); err != nil {
		return ends{}, fmt.Errorf("have Redis tell of the view: %w", err)
	}
	context.AfterFunc(ctx, func() { _ = told.Close() })
	go func() {
		for m := range told.Channel() {
			at := time.Now()
			position, err := p.redis.Get(ctx, strings.TrimPrefix(m.Channel, written)).Uint64()
			select {
			case toRedis <- arrival{position, at, err}:
			case <-ctx.Done():
				return
			}
		}
	}()
	return ends{redis: toRedis, feed: toFeed}, nil
}
