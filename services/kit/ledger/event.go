package ledger

import "time"

// Meta is what is known of a stored event beside its content.
type Meta struct {
	// ID is the event's own id, unique in all ledgers.
	ID string
	// Position in the service's stream.
	Position uint64
	// Yard that the event belongs to.
	Yard string
	// Type is the last token of the subject, for instance "batch_released".
	Type string
	// RequestID of the command that caused the event.
	RequestID string
	// Actor is who asked for it.
	Actor string
	// Cause is the id of the event of another service that led to it; empty
	// when a person did.
	Cause string
	// Time of the decision, by the clock of the service.
	Time time.Time
}

// Event is a stored event of a service's own domain.
type Event[E any] struct {
	Meta
	Fact E
}

// Command is one decision to be taken on a yard.
type Command[S, E any] struct {
	// RequestID: the same id twice has one effect. Required.
	RequestID string
	// Fingerprint of the request. The same RequestID with another fingerprint
	// is refused as invalid (REQUEST_ID_REUSED).
	Fingerprint []byte
	// Actor is who asks. Required.
	Actor string
	// Cause is the id of another service's event, for effects.
	Cause string
	// Time that the events carry.
	Time time.Time
	// Decide is pure: it returns the events that follow from the command in
	// state, or a fault. It may be called more than once.
	Decide func(state S) ([]E, error)
}

// Result of a command.
type Result[E any] struct {
	// Events that the command led to, now or when its RequestID was first
	// seen. Answers are made from these alone, so that a repeated request
	// gets the answer of the first.
	Events []Event[E]
	// Position of the yard after the command.
	Position uint64
	// Repeated says that the request had been carried out before.
	Repeated bool
}

// Domain is what a service tells the ledger about its own events and state.
type Domain[S, E any] struct {
	// Service names stream and subjects: "stock".
	Service string
	// New returns the state of a yard without events.
	New func(yard string) S
	// Evolve is pure: it returns the state after the event and leaves the one
	// before as it was.
	Evolve func(state S, event E) S
	// Encode returns the event's type (last token of the subject) and bytes.
	Encode func(event E) (kind string, data []byte, err error)
	// Decode is its inverse.
	Decode func(kind string, data []byte) (E, error)
	// Snapshot and Restore turn a state into bytes and back. SnapshotVersion
	// is raised whenever the bytes or the meaning of Evolve change; older
	// snapshots are then ignored.
	Snapshot        func(state S) ([]byte, error)
	Restore         func(yard string, data []byte) (S, error)
	SnapshotVersion int
}
