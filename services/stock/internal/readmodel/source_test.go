package readmodel

import (
	"context"
	"fmt"
	"sync"
	"time"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/yard"
)

// book is a ledger in memory. Positions have gaps, as those of one yard among
// many have.
type book struct {
	mu     sync.Mutex
	events []ledger.Event[yard.Event]
	state  yard.State
	grown  chan struct{}
}

func newBook() *book { return &book{state: yard.New(testYard), grown: make(chan struct{})} }

func (b *book) append(facts ...yard.Event) uint64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, f := range facts {
		position := uint64(3*len(b.events) + 2)
		kind, _, err := codec.Encode(f)
		if err != nil {
			panic(err)
		}
		b.events = append(b.events, ledger.Event[yard.Event]{Fact: f, Meta: ledger.Meta{
			ID: fmt.Sprintf("e-%d", position), Position: position, Yard: testYard, Type: kind, Actor: "Oda Quill",
			Time: time.Unix(1_800_000_000+int64(position), 0).UTC(),
		}})
		b.state = yard.Evolve(b.state, f)
	}
	close(b.grown)
	b.grown = make(chan struct{})
	return b.last()
}

func (b *book) last() uint64 {
	if len(b.events) == 0 {
		return 0
	}
	return b.events[len(b.events)-1].Position
}

func (b *book) State(context.Context, string, uint64) (yard.State, uint64, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.events) == 0 {
		return yard.State{}, 0, fault.New(fault.NotFound, "YARD_UNKNOWN", "No yard.")
	}
	return b.state, b.last(), nil
}

func (b *book) LastPosition(ctx context.Context, yardID string) (uint64, error) {
	_, position, err := b.State(ctx, yardID, 0)
	return position, err
}

func (b *book) Follow(ctx context.Context, _ string, after uint64, fn func(ledger.Event[yard.Event]) error) error {
	for i := 0; ; {
		b.mu.Lock()
		events, grown := b.events, b.grown
		b.mu.Unlock()
		for ; i < len(events); i++ {
			if events[i].Position <= after {
				continue
			}
			if err := fn(events[i]); err != nil {
				return err
			}
		}
		select {
		case <-grown:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
