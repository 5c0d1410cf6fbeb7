package main

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"

	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/api"
)

// memory compares what a yard takes in memory with the bytes of its events,
// and says what pieces take that were delivered long ago.
func memory(ctx context.Context, b *bench) error {
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
	stories := b.size.Live / beamsPerStory
	if _, err := tell(ctx, l, "live", 0, stories, 0); err != nil {
		return err
	}
	live, err := p.storedBytes(ctx)
	if err != nil {
		return err
	}
	l.Close()
	taken, err := p.held(ctx, "live")
	if err != nil {
		return err
	}
	pieces := float64(stories * beamsPerStory)
	b.compare(row{What: "memory of live pieces", Size: fmt.Sprintf("%.0f pieces", pieces), Unit: "MB", Value: taken / 1e6,
		Against: "bytes of their events in the stream", Bare: live / 1e6, Aim: "stated", Note: fmt.Sprintf("%.0f bytes a piece", taken/pieces)})
	return b.history(ctx, p)
}

// history delivers the yard's beams again and again and looks what is left of
// them in memory.
func (b *bench) history(ctx context.Context, p *place) error {
	l, err := p.open(ctx)
	if err != nil {
		return err
	}
	stories := max(1, b.size.Live/beamsPerStory/8)
	var taken [2]float64
	for round := range 2 {
		if _, err := tell(ctx, l, "past", round*stories, (round+1)*stories, beamsPerStory); err != nil {
			return err
		}
		if taken[round], err = p.held(ctx, "past"); err != nil {
			return err
		}
	}
	l.Close()
	delivered := float64(stories * beamsPerStory)
	b.compare(row{What: "memory of a yard after twice as many deliveries", Size: fmt.Sprintf("%.0f delivered pieces", 2*delivered), Unit: "MB", Value: taken[1] / 1e6,
		Against: fmt.Sprintf("after %.0f", delivered), Bare: taken[0] / 1e6, Aim: "1 (not growing)",
		Note: fmt.Sprintf("%.0f bytes more a delivered piece", (taken[1]-taken[0])/delivered)})
	return nil
}

func (p *place) storedBytes(ctx context.Context) (float64, error) {
	js, err := p.jetStream()
	if err != nil {
		return 0, err
	}
	s, err := js.Stream(ctx, ledger.StreamOf("stock"))
	if err != nil {
		return 0, err
	}
	return float64(s.CachedInfo().State.Bytes), nil
}

// held returns by how many bytes memory shrinks when a ledger that holds the
// yard is dropped.
func (p *place) held(ctx context.Context, yardID string) (float64, error) {
	l, err := p.open(ctx)
	if err != nil {
		return 0, err
	}
	if err := load(ctx, l, yardID); err != nil {
		return 0, err
	}
	with := inUse()
	runtime.KeepAlive(l)
	l.Close()
	l = nil
	return with - inUse(), nil
}

// load reads the yard's events into the ledger's memory.
func load(ctx context.Context, l *api.Ledger, yardID string) error {
	_, _, err := l.State(ctx, yardID, 0)
	return err
}

// inUse returns the bytes in use after everything else has been swept up.
func inUse() float64 {
	runtime.GC()
	debug.FreeOSMemory()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc)
}
