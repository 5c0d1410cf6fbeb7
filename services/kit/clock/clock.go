// Package clock gives services the time. Only the edge of a service holds a
// clock; domain and engine packages are told the time in their arguments.
package clock

import "time"

// Clock tells the time.
type Clock interface {
	Now() time.Time
}

// System returns the clock of the machine.
func System() Clock { return systemClock{} }

type systemClock struct{}

func (systemClock) Now() time.Time { return time.Now() }

// StartingAt returns a clock that shows t now and runs on from there, so that
// a demonstration always happens on the same day. It never goes backwards,
// even when the clock of the machine is set.
func StartingAt(t time.Time) Clock {
	return shiftedClock{shown: t, started: time.Now()}
}

type shiftedClock struct{ shown, started time.Time }

func (c shiftedClock) Now() time.Time { return c.shown.Add(time.Since(c.started)) }
