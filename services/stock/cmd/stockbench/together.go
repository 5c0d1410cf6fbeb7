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

// together compares many callers on one yard with one synced publish after
// another. As many callers that each publish for themselves are told of too:
// three nodes put those together by themselves, one node does not.
func together(ctx context.Context, b *bench) error {
	for _, open := range []func(context.Context) (*place, error){b.oneNode, b.threeNodes} {
		if err := b.togetherOn(ctx, open); err != nil {
			return err
		}
	}
	return nil
}

// crowd is how many more callers a second measurement has: what is decided
// together grows with them.
const crowd = 8

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
	ids, _, err := r.fill(ctx, 3*n)
	if err != nil {
		return err
	}
	least, err := p.bare(ctx)
	if err != nil {
		return err
	}
	ctx = rpc.AsActor(ctx, "Bench Clerk")
	publish := func(int) error { return least.publish(ctx) }
	singly, err := share(1, max(100, n/8), publish)
	if err != nil {
		return err
	}
	atOnce, err := share(callers, max(callers, n/4), publish)
	if err != nil {
		return err
	}
	add := func(how string, callers int, rate float64, w ledger.Writes) {
		b.compare(row{What: "commands a second on one yard, " + how, Size: fmt.Sprintf("%d commands, %d callers, %s", n, callers, p.name),
			Unit: "/s", Value: rate, Against: "one synced publish after another", Bare: singly, Aim: "at least 10",
			Note: fmt.Sprintf("%.0f commands an append; %d bare publishers: %.0f /s", float64(w.Commands)/float64(w.Appends), b.size.Callers, atOnce)})
	}
	for round, callers := range []int{callers, crowd * callers} {
		before := r.service.Writes()
		called, err := share(callers, n, func(i int) error { _, err := r.reserve(ctx, ids[round*n+i]); return err })
		if err != nil {
			return err
		}
		w := r.service.Writes()
		w.Commands, w.Appends = w.Commands-before.Commands, w.Appends-before.Appends
		add("through gRPC", callers, called, w)
	}
	// The same commands given to a ledger without gRPC and without a view.
	l, err := p.open(ctx)
	if err != nil {
		return err
	}
	defer l.Close()
	given, err := share(callers, n, func(i int) error { return reserveIn(ctx, l, ids[2*n+i]) })
	if err != nil {
		return err
	}
	add("given to the ledger", callers, given, l.Writes())
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
