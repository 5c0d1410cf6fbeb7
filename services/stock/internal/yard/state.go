package yard

import (
	"time"
	// Days are counted in the yard's zone on any machine, also one without
	// zone files.
	_ "time/tzdata"

	"github.com/benbjohnson/immutable"

	"spanyard.example/services/kit/civil"
)

// State is a yard at one moment. It is a value: changing it makes a new one.
type State struct {
	yard  string
	rules Rules
	// zone is nil until the yard is opened.
	zone *time.Location
	// batches are shared between states and never changed in place.
	batches *immutable.SortedMap[string, *Batch]
	pieces  *immutable.Map[string, Piece]
	stacks  *immutable.Map[string, Stack]
	// reservations hold the ids of what is promised and not yet picked; an
	// empty one is kept, so that its id stays known.
	reservations *immutable.Map[string, immutable.SortedSet[string]]
}

// New returns a yard that is not open yet.
func New(yard string) State {
	return State{
		yard:         yard,
		batches:      immutable.NewSortedMap[string, *Batch](nil),
		pieces:       immutable.NewMap[string, Piece](nil),
		stacks:       immutable.NewMap[string, Stack](nil),
		reservations: immutable.NewMap[string, immutable.SortedSet[string]](nil),
	}
}

// Yard returns the yard's id.
func (s State) Yard() string { return s.yard }

// Open reports whether the yard's rules have been set.
func (s State) Open() bool { return s.zone != nil }

// Rules returns the yard's rules.
func (s State) Rules() Rules { return s.rules }

// Day returns the day in the yard at a moment.
func (s State) Day(t time.Time) civil.Day { return civil.DayOf(t, s.zone) }

// Clock returns a moment on the yard's clock.
func (s State) Clock(t time.Time) time.Time {
	if s.zone == nil {
		return t.UTC()
	}
	return t.In(s.zone)
}

// Batch returns a batch.
func (s State) Batch(id string) (Batch, bool) {
	b, ok := s.batches.Get(id)
	if !ok {
		return Batch{}, false
	}
	return *b, true
}

// Piece returns a piece.
func (s State) Piece(id string) (Piece, bool) { return s.pieces.Get(id) }

// Stack returns a stack that is not empty.
func (s State) Stack(id string) (Stack, bool) { return s.stacks.Get(id) }

// Batches calls fn for each batch, by id.
func (s State) Batches(fn func(Batch)) {
	it := s.batches.Iterator()
	for !it.Done() {
		_, b, _ := it.Next()
		fn(*b)
	}
}

// Pieces calls fn for each piece, in no order.
func (s State) Pieces(fn func(Piece)) {
	it := s.pieces.Iterator()
	for !it.Done() {
		_, p, _ := it.Next()
		fn(p)
	}
}

// Stacks calls fn for each stack that is not empty, in no order.
func (s State) Stacks(fn func(Stack)) {
	it := s.stacks.Iterator()
	for !it.Done() {
		_, st, _ := it.Next()
		fn(st)
	}
}

// Promised returns what a reservation still holds in the yard, by piece id.
func (s State) Promised(reservationID string) []string {
	set, ok := s.reservations.Get(reservationID)
	if !ok {
		return nil
	}
	return set.Items()
}

// stackOwner returns the batch that a stack holds; empty for an empty stack.
func (s State) stackOwner(stackID string) string {
	st, _ := s.stacks.Get(stackID)
	return st.BatchID
}
