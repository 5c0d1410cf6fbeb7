package promises

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/anishathalye/porcupine"
)

// Kind of a thing that is asked for.
type Kind uint8

// What may be asked for.
const (
	Reserve Kind = iota
	Drop
	Pick
	Return
	Quarantine
	Lift
	Release
)

var kindNames = [...]string{"reserve", "drop", "pick", "return", "quarantine", "lift", "release"}

// MostBeams of a batch, and MostReservations that may ever be made of it: they
// are bits of a word.
const (
	MostBeams        = 8
	MostReservations = 64
)

// Beams of a batch, a bit for each.
type Beams uint8

// Question is what one caller asks of one batch.
type Question struct {
	Kind  Kind
	Batch string
	// Beams for Reserve, Pick and Return.
	Beams Beams
	// Reservation for Reserve and Drop; each number is reserved under once.
	Reservation uint8
	// Run for Reserve and Pick.
	Run uint8
}

func (q Question) String() string {
	return fmt.Sprintf("%s %s beams %08b reservation %d run %d", kindNames[q.Kind], q.Batch, q.Beams, q.Reservation, q.Run)
}

// Outcome of a question.
type Outcome uint8

// What a caller may be told.
const (
	Done Outcome = iota
	Refused
	// Unknown: the caller gave up. It may have happened, may still happen, or
	// never will.
	Unknown
)

// Answer to a question.
type Answer struct {
	Outcome Outcome
	// Freed beams, of a Drop that is Done.
	Freed Beams
}

// standing of a batch.
type standing uint8

const (
	released standing = iota
	quarantined
	curing
)

// place of a beam.
type place uint8

const (
	inYard place = iota
	reserved
	picked
)

// beam of a batch.
type beam struct {
	place            place
	reservation, run uint8
}

// state of a batch, by the smallest rules that can be written down.
type state struct {
	standing standing
	// made are the reservations that were ever made.
	made  uint64
	beams [MostBeams]beam
}

// each calls fn for the beams of a set and reports whether all passed.
func (s *state) each(set Beams, fn func(*beam) bool) bool {
	for i := range s.beams {
		if set&(1<<i) != 0 && !fn(&s.beams[i]) {
			return false
		}
	}
	return true
}

// act returns the state after a question, whether it is granted, and the beams
// that it frees.
func (s state) act(q Question) (after state, granted bool, freed Beams) {
	after = s
	switch q.Kind {
	case Reserve:
		granted = s.standing == released && after.each(q.Beams, func(b *beam) bool {
			ok := b.place == inYard
			*b = beam{reserved, q.Reservation, q.Run}
			return ok
		})
		after.made |= 1 << q.Reservation
	case Drop:
		granted = s.made&(1<<q.Reservation) != 0
		for i := range after.beams {
			if b := &after.beams[i]; b.place == reserved && b.reservation == q.Reservation {
				*b, freed = beam{}, freed|1<<i
			}
		}
	case Pick:
		granted = s.standing == released && after.each(q.Beams, func(b *beam) bool {
			ok := b.place == reserved && b.run == q.Run
			b.place = picked
			return ok
		})
	case Return:
		granted = after.each(q.Beams, func(b *beam) bool {
			ok := b.place == picked
			*b = beam{}
			return ok
		})
	case Quarantine:
		granted, after.standing = s.standing != quarantined, quarantined
	case Lift:
		granted, after.standing = s.standing == quarantined, curing
	case Release:
		granted, after.standing = s.standing == curing, released
	}
	if !granted {
		return s, false, 0
	}
	return after, true, freed
}

// model of one batch. A question whose outcome is unknown has no end, so the
// search may put it behind everything else, which is the same as never.
var model = porcupine.Model{
	Partition: func(history []porcupine.Operation) [][]porcupine.Operation {
		batches := map[string][]porcupine.Operation{}
		for _, o := range history {
			batch := o.Input.(Question).Batch
			batches[batch] = append(batches[batch], o)
		}
		var parts [][]porcupine.Operation
		for _, part := range batches {
			parts = append(parts, part)
		}
		return parts
	},
	Init: func() any { return state{} },
	Step: func(now, input, output any) (bool, any) {
		after, granted, freed := now.(state).act(input.(Question))
		switch answer := output.(Answer); answer.Outcome {
		case Done:
			return granted && freed == answer.Freed, after
		case Refused:
			return !granted, after
		default:
			return true, after
		}
	},
}

// History is what callers asked and were told. It may be added to from many
// goroutines.
type History struct {
	mu  sync.Mutex
	all []porcupine.Operation
}

// never is when a question with an unknown outcome is answered.
const never = math.MaxInt64

// Add enters a question that was asked at one moment and answered at another.
func (h *History) Add(caller int, q Question, a Answer, asked, answered time.Duration) {
	o := porcupine.Operation{ClientId: caller, Input: q, Call: int64(asked), Output: a, Return: int64(answered)}
	if a.Outcome == Unknown {
		o.Return = never
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.all = append(h.all, o)
}

// Count returns how many questions had an outcome.
func (h *History) Count(outcome Outcome) int {
	h.mu.Lock()
	defer h.mu.Unlock()
	n := 0
	for _, o := range h.all {
		if o.Output.(Answer).Outcome == outcome {
			n++
		}
	}
	return n
}

// ErrUndecided says that neither an order was found nor that there is none: many
// questions without an answer leave too many possibilities for the time given.
var ErrUndecided = errors.New("no order was found, nor that there is none,")

// Judge returns an error when no order of the questions makes all answers
// right, or ErrUndecided when none was found in the time given. It names the
// batches.
func (h *History) Judge(within time.Duration) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, part := range model.Partition(h.all) {
		verdict := porcupine.CheckOperationsTimeout(model, part, within)
		if verdict == porcupine.Ok {
			continue
		}
		slices.SortFunc(part, func(a, b porcupine.Operation) int { return cmp.Compare(a.Call, b.Call) })
		var told strings.Builder
		for _, o := range part {
			fmt.Fprintf(&told, "\n%12d %20d  caller %d: %v: %s", o.Call, o.Return, o.ClientId, o.Input, o.Output.(Answer))
		}
		if verdict == porcupine.Unknown {
			return fmt.Errorf("%w within %v, for:%s", ErrUndecided, within, told.String())
		}
		return fmt.Errorf("the answers contradict each other, whatever the order:%s", told.String())
	}
	return nil
}

func (a Answer) String() string {
	switch {
	case a.Outcome == Done && a.Freed != 0:
		return fmt.Sprintf("done, freed %08b", a.Freed)
	case a.Outcome == Done:
		return "done"
	case a.Outcome == Refused:
		return "refused"
	default:
		return "no answer"
	}
}
