package yard

import (
	"encoding/json"
	"fmt"
	"time"

	"github.com/benbjohnson/immutable"
)

// SnapshotVersion is raised when Evolve or the bytes of a snapshot change.
const SnapshotVersion = 3

// snapshot is a state as plain lists.
type snapshot struct {
	Rules        Rules
	Open         bool
	Batches      []Batch
	Pieces       []Piece
	Stacks       []Stack
	Reservations []string
}

// Snapshot turns a state into bytes.
func Snapshot(s State) ([]byte, error) {
	snap := snapshot{Rules: s.rules, Open: s.Open()}
	s.Batches(func(b Batch) { snap.Batches = append(snap.Batches, b) })
	s.Pieces(func(p Piece) { snap.Pieces = append(snap.Pieces, p) })
	s.Stacks(func(st Stack) { snap.Stacks = append(snap.Stacks, st) })
	for it := s.reservations.Iterator(); !it.Done(); {
		id, _, _ := it.Next()
		snap.Reservations = append(snap.Reservations, id)
	}
	return json.Marshal(snap)
}

// Restore is the inverse of Snapshot. What a reservation holds, and the
// pallets of a batch, follow from the pieces.
func Restore(yard string, data []byte) (State, error) {
	var snap snapshot
	s := New(yard)
	if err := json.Unmarshal(data, &snap); err != nil {
		return s, fmt.Errorf("read snapshot of yard %s: %w", yard, err)
	}
	s.rules = snap.Rules
	if snap.Open {
		zone, err := time.LoadLocation(snap.Rules.TimeZone)
		if err != nil {
			return s, fmt.Errorf("read snapshot of yard %s: %w", yard, err)
		}
		s.zone = zone
	}
	for _, id := range snap.Reservations {
		s.reservations = s.reservations.Set(id, immutable.NewSortedSet[string](nil))
	}
	for _, b := range snap.Batches {
		if b.Kind == Blocks {
			b.pallets = immutable.NewSortedSet[string](nil)
		}
		s.batches = s.batches.Set(b.ID, &b)
	}
	for _, st := range snap.Stacks {
		s.stacks = s.stacks.Set(st.ID, st)
	}
	for _, p := range snap.Pieces {
		s = s.restorePiece(p)
	}
	return s, nil
}

func (s State) restorePiece(p Piece) State {
	s.pieces = s.pieces.Set(p.ID, p)
	if p.IsPallet() {
		s = s.changeBatch(p.BatchID, func(b *Batch) { b.pallets = b.pallets.Add(p.ID) })
	}
	if p.State == Reserved {
		set, ok := s.reservations.Get(p.Allocation.ReservationID)
		if !ok {
			set = immutable.NewSortedSet[string](nil)
		}
		s.reservations = s.reservations.Set(p.Allocation.ReservationID, set.Add(p.ID))
	}
	return s
}
