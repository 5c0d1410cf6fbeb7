package main

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/stock/internal/api"
	"spanyard.example/services/stock/internal/yard"
)

// share lets so many callers do n things together and returns how many were
// done in a second.
func share(callers, n int, do func(i int) error) (float64, error) {
	var next atomic.Int64
	var wg sync.WaitGroup
	failed := make(chan error, callers)
	began := time.Now()
	for range callers {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				if err := do(i); err != nil {
					failed <- err
					return
				}
			}
		})
	}
	wg.Wait()
	took := time.Since(began)
	select {
	case err := <-failed:
		return 0, err
	default:
		return float64(n) / took.Seconds(), nil
	}
}

// together compares many callers on one yard with as many that each publish,
// synced, for themselves.
func together(ctx context.Context, b *bench) error {
	for _, open := range []func(context.Context) (*place, error){b.oneNode, b.threeNodes} {
		if err := b.togetherOn(ctx, open); err != nil {
			return err
		}
	}
	return nil
}

func (b *bench) togetherOn(ctx context.Context, open func(context.Context) (*place, error)) error {
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
	n, callers := b.size.Commands, b.size.Callers
	ids, _, err := r.fill(ctx, 2*n)
	if err != nil {
		return err
	}
	least, err := p.bare(ctx)
	if err != nil {
		return err
	}
	ctx = rpc.AsActor(ctx, "Bench Clerk")
	// The bare side is slower by far, so a part of its commands is enough.
	singly, err := share(callers, max(callers, n/4), func(int) error { return least.publish(ctx) })
	if err != nil {
		return err
	}
	before := r.service.Writes()
	called, err := share(callers, n, func(i int) error { _, err := r.reserve(ctx, ids[i]); return err })
	if err != nil {
		return err
	}
	after := r.service.Writes()
	size := fmt.Sprintf("%d commands, %d callers, %s", n, callers, p.name)
	b.compare(row{What: "commands a second on one yard, through gRPC", Size: size, Unit: "/s", Value: called,
		Against: "one synced publish per command", Bare: singly, Aim: "at least 10",
		Note: fmt.Sprintf("%.1f commands an append", float64(after.Commands-before.Commands)/float64(after.Appends-before.Appends))})

	// The same commands given to the ledger without gRPC.
	js, err := p.jetStream()
	if err != nil {
		return err
	}
	l, err := ledger.Open(ctx, js, api.Domain(), ledger.Options{Replicas: p.copies, Log: silent})
	if err != nil {
		return err
	}
	defer l.Close()
	given, err := share(callers, n, func(i int) error { return reserveIn(ctx, l, ids[n+i]) })
	if err != nil {
		return err
	}
	w := l.Writes()
	b.compare(row{What: "commands a second on one yard, given to the ledger", Size: size, Unit: "/s", Value: given,
		Against: "one synced publish per command", Bare: singly, Aim: "at least 10",
		Note: fmt.Sprintf("%.1f commands an append", float64(w.Commands)/float64(w.Appends))})
	return nil
}

// reserveIn gives a reservation to a ledger.
func reserveIn(ctx context.Context, l *api.Ledger, id string) error {
	c := yard.ReservePieces{ReservationID: "V-" + id, Lines: []yard.ReserveLine{{
		PieceID: id, Allocation: yard.Allocation{RunID: "R1", SiteID: "Alderby", JobID: "J1", CallOffID: "C1", Mark: "1-01-01"},
	}}}
	_, err := l.Do(ctx, yardID, ledger.Command[yard.State, yard.Event]{
		RequestID: "reserve-" + id, Fingerprint: []byte(id), Actor: "Bench Clerk", Time: noon{}.Now(),
		Decide: func(s yard.State) ([]yard.Event, error) { return yard.Decide(s, c) },
	})
	return err
}
