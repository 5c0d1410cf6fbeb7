package ledger

import (
	"errors"
	"sync/atomic"
)

// Writes is what a ledger's writers have done since it was opened.
type Writes struct {
	// Appends that were stored, each in one write and one flush, and Commands
	// that they carried out. Commands over Appends says how many were decided
	// together.
	Appends, Commands uint64
	// Conflicts are appends that were refused because another replica's came
	// first, and Redecided the commands in them, which were decided again.
	Conflicts, Redecided uint64
	// GivenUp are commands that were told to try again after the last attempt.
	GivenUp uint64
}

// writes counts while the ledger runs.
type writes struct {
	appends, commands, conflicts, redecided, givenUp atomic.Uint64
}

// tried counts an attempt to store what so many commands led to.
func (w *writes) tried(commands int, err error) {
	switch {
	case err == nil:
		w.appends.Add(1)
		w.commands.Add(uint64(commands))
	case errors.Is(err, errConflict):
		w.conflicts.Add(1)
		w.redecided.Add(uint64(commands))
	}
}

// Writes returns what the ledger's writers have done.
func (l *Ledger[S, E]) Writes() Writes {
	w := &l.writes
	return Writes{
		Appends: w.appends.Load(), Commands: w.commands.Load(), Conflicts: w.conflicts.Load(),
		Redecided: w.redecided.Load(), GivenUp: w.givenUp.Load(),
	}
}
