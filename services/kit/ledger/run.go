package ledger

import (
	"context"
	"time"
)

const (
	// upkeepEvery is about how often snapshots are thought of; replicas drift
	// apart, so that mostly one of them writes.
	upkeepEvery = 2 * time.Second
	// fillEvery is how often the fill of the stream is looked at, and fillAlarm
	// the share of it that is reported as an error.
	fillEvery = time.Minute
	fillAlarm = 0.8
	// lastSnapshotAt so many events since the last one is worth a snapshot
	// when the program stops.
	lastSnapshotAt = 100
	// lastSnapshotsWithin bounds how long stopping waits for snapshots.
	lastSnapshotsWithin = 20 * time.Second
)

// Run does the ledger's upkeep until ctx ends: it keeps snapshots and watches
// how full the stream is. Then it closes the ledger, keeps a last snapshot of
// the yards that changed, and returns.
func (l *Ledger[S, E]) Run(ctx context.Context) error {
	defer func() {
		l.Close()
		last, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastSnapshotsWithin)
		defer cancel()
		l.saveAll(last, min(lastSnapshotAt, l.options.SnapshotEvery))
	}()
	fill := time.NewTicker(fillEvery)
	defer fill.Stop()
	for {
		upkeep := time.NewTimer(jittered(2 * upkeepEvery))
		select {
		case <-ctx.Done():
			upkeep.Stop()
			return nil
		case <-fill.C:
			upkeep.Stop()
			l.watchFill(ctx)
		case <-upkeep.C:
			l.saveAll(ctx, l.options.SnapshotEvery)
		}
	}
}

// saveAll keeps a snapshot of every loaded yard that has had so many events
// since its last one.
func (l *Ledger[S, E]) saveAll(ctx context.Context, every int) {
	l.mu.Lock()
	var due []*yard[S, E]
	for _, y := range l.yards {
		if count, saved := y.head.Load().count, y.saved.Load(); count >= saved+uint64(every) {
			due = append(due, y)
		}
	}
	l.mu.Unlock()
	for _, y := range due {
		if ctx.Err() != nil {
			return
		}
		if err := l.save(ctx, y); err != nil {
			l.log.Warn("no snapshot could be kept", "yard", y.name, "error", err)
		}
	}
}

func (l *Ledger[S, E]) watchFill(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, findOutWithin)
	defer cancel()
	info, err := l.stream.handle.Info(ctx)
	if err != nil {
		l.log.Warn("the stream cannot be asked how full it is", "error", err)
		return
	}
	if used := float64(info.State.Bytes) / float64(l.options.MaxBytes); used >= fillAlarm {
		l.log.Error("the ledger is nearly full; raise its limit", "used_bytes", info.State.Bytes, "max_bytes", l.options.MaxBytes)
	}
}
