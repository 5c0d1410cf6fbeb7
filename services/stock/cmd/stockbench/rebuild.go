package main

import (
	"context"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/readmodel"
)

// rebuild compares building the view in Redis from the whole ledger with
// reading the stream in order and doing nothing.
func rebuild(ctx context.Context, b *bench) error {
	p, err := b.oneNode(ctx)
	if p != nil {
		defer p.stop()
	}
	if err != nil {
		return err
	}
	l, err := p.open(ctx)
	if err != nil {
		return err
	}
	defer l.Close()
	const goes = 80
	events := 0
	for n := 0; events < b.size.Events; n += 4 {
		more, err := tell(ctx, l, yardID, n, n+4, goes)
		if err != nil {
			return err
		}
		events += more
	}
	view := readmodel.New(p.redis, l, silent)
	// Each side twice, the second time counts: the first fills caches.
	var read, built time.Duration
	for range 2 {
		if read, err = timed(func() error { return p.readAll(ctx, events) }); err != nil {
			return err
		}
		if built, err = timed(func() error { return view.Rebuild(ctx, yardID) }); err != nil {
			return err
		}
	}
	b.compare(row{What: "rebuild of the view", Size: fmt.Sprintf("%d events, %s", events, p.name), Unit: "s", Value: built.Seconds(),
		Against: "ordered read of the stream", Bare: read.Seconds(), Aim: "at most 3",
		Note: fmt.Sprintf("%.0f events a second", float64(events)/built.Seconds())})
	return nil
}

// readAll reads stock's stream in order.
func (p *place) readAll(ctx context.Context, events int) error {
	js, err := p.jetStream()
	if err != nil {
		return err
	}
	c, err := js.OrderedConsumer(ctx, ledger.StreamOf("stock"), jetstream.OrderedConsumerConfig{})
	if err != nil {
		return err
	}
	messages, err := c.Messages()
	if err != nil {
		return err
	}
	defer messages.Stop()
	for range events {
		if _, err := messages.Next(); err != nil {
			return err
		}
	}
	return nil
}
