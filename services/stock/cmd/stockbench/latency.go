package main

import (
	"context"
	"fmt"

	"spanyard.example/services/kit/rpc"
)

// turn is how often one side runs before the other has its turn.
const turn = 50

// latency compares a reservation, from the caller through gRPC to the disk and
// back, with a bare synced publish and a bare script call.
func latency(ctx context.Context, b *bench) error {
	for _, open := range []func(context.Context) (*place, error){b.oneNode, b.threeNodes} {
		if err := b.latencyOn(ctx, open); err != nil {
			return err
		}
	}
	return nil
}

func (b *bench) latencyOn(ctx context.Context, open func(context.Context) (*place, error)) error {
	p, err := open(ctx)
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
	ids, _, err := r.fill(ctx, b.size.Calls+turn)
	if err != nil {
		return err
	}
	least, err := p.bare(ctx)
	if err != nil {
		return err
	}
	ctx = rpc.AsActor(ctx, "Bench Clerk")
	var ours, bare times
	for len(ids) >= turn {
		for _, id := range ids[:turn] {
			took, err := timed(func() error { _, err := r.reserve(ctx, id); return err })
			if err != nil {
				return err
			}
			ours = append(ours, took)
		}
		ids = ids[turn:]
		for range turn {
			took, err := timed(func() error {
				if err := least.publish(ctx); err != nil {
					return err
				}
				return least.write(ctx)
			})
			if err != nil {
				return err
			}
			bare = append(bare, took)
		}
	}
	// The first turn of each warms connections and caches.
	b.quantiles("reserve, acknowledged on disk", fmt.Sprintf("%d calls, %s", len(ours)-turn, p.name),
		"synced publish, then script call", "at most 2", ours[turn:], bare[turn:])
	return nil
}
