package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync/atomic"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/stock/internal/yard"
)

// replicas lets one, two and three replicas write one yard, the same callers
// spread over them, and checks the history afterwards.
func replicas(ctx context.Context, b *bench) error {
	alone := 0.0
	for n := 1; n <= 3; n++ {
		rate, share, given, err := b.replicasOn(ctx, n)
		if err != nil {
			return err
		}
		if n == 1 {
			alone = rate
			continue
		}
		b.compare(row{What: fmt.Sprintf("commands a second, %d replicas on one yard", n),
			Size: fmt.Sprintf("%d commands, %d callers, one node", b.size.Shared, b.size.Callers), Unit: "/s", Value: rate,
			Against: "one replica", Bare: alone, Aim: "stated",
			Note: fmt.Sprintf("%.1f %% decided again, %.1f %% told to retry; history right", 100*share, 100*given)})
	}
	return nil
}

// replicasOn returns the commands in a second, the share that was decided
// again because another replica was faster, and the share that was told to try
// again.
func (b *bench) replicasOn(ctx context.Context, n int) (rate, again, givenUp float64, err error) {
	p, err := b.oneNode(ctx)
	if p != nil {
		defer p.stop()
	}
	if err != nil {
		return 0, 0, 0, err
	}
	var all []*replica
	for range n {
		r, err := p.replica(ctx)
		if err != nil {
			return 0, 0, 0, err
		}
		defer r.stop()
		all = append(all, r)
	}
	ids, position, err := all[0].fill(ctx, b.size.Shared)
	if err != nil {
		return 0, 0, 0, err
	}
	for _, r := range all {
		if err := r.settled(ctx, position); err != nil {
			return 0, 0, 0, err
		}
	}
	ctx = rpc.AsActor(ctx, "Bench Clerk")
	before := counted(all)
	var told atomic.Int64
	rate, err = share(b.size.Callers, len(ids), func(i int) error {
		for {
			_, err := all[i%n].reserve(ctx, ids[i])
			if fault.ReasonOf(err) != "YARD_CONTENDED" {
				return err
			}
			told.Add(1)
		}
	})
	if err != nil {
		return 0, 0, 0, err
	}
	after := counted(all)
	commands := float64(len(ids))
	return rate, float64(after.Redecided-before.Redecided) / commands, float64(told.Load()) / commands, p.eachOnce(ctx, ids)
}

func counted(all []*replica) ledger.Writes {
	var sum ledger.Writes
	for _, r := range all {
		sum.Redecided += r.service.Writes().Redecided
	}
	return sum
}

// eachOnce reads the history and makes sure that every beam was promised once.
func (p *place) eachOnce(ctx context.Context, ids []string) error {
	l, err := p.open(ctx)
	if err != nil {
		return err
	}
	defer l.Close()
	last, err := l.LastPosition(ctx, yardID)
	if err != nil {
		return err
	}
	promised := map[string]int{}
	err = l.Follow(ctx, yardID, 0, func(e ledger.Event[yard.Event]) error {
		if r, ok := e.Fact.(yard.PiecesReserved); ok {
			for _, piece := range r.Pieces {
				promised[piece.PieceID]++
			}
		}
		if e.Position == last {
			return io.EOF
		}
		return nil
	})
	if !errors.Is(err, io.EOF) {
		return err
	}
	for _, id := range ids {
		if promised[id] != 1 {
			return fmt.Errorf("beam %s was promised %d times", id, promised[id])
		}
	}
	return nil
}
