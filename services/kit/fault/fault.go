// Package fault is the one error type that crosses package borders in
// Spanyard: a kind that says what the caller can do about it, a reason code
// for programs, a sentence for a clerk, and the places that are wrong.
//
// The package imports the standard library only, so that domain packages may
// use it. Package rpc turns faults into gRPC statuses and back.
package fault

import (
	"errors"
	"fmt"
	"strings"
)

// Kind says what the caller can do about an error.
type Kind int

// The kinds. An error that is no fault counts as Internal.
const (
	// Internal is our own mistake; the caller gets an id to quote.
	Internal Kind = iota
	// Invalid input: the places say what is allowed.
	Invalid
	// NotFound: there is no such thing in this yard.
	NotFound
	// Conflict: somebody else was faster; read again and retry.
	Conflict
	// Stale: the state of the yard does not allow it now.
	Stale
	// Refused: the caller may not do it.
	Refused
	// Unavailable: try again in a moment; the only kind that clients retry.
	Unavailable
)

// String returns the kind's name.
func (k Kind) String() string {
	switch k {
	case Invalid:
		return "invalid"
	case NotFound:
		return "not found"
	case Conflict:
		return "conflict"
	case Stale:
		return "stale"
	case Refused:
		return "refused"
	case Unavailable:
		return "unavailable"
	default:
		return "internal"
	}
}

// Error makes a kind usable with errors.Is(err, fault.NotFound).
func (k Kind) Error() string { return k.String() }

// Place is one wrong value: where it stands, what it is, what is wrong and
// what is allowed.
type Place struct {
	// Where is a field path ("beams.lines[2].length_mm") or a cell
	// ("rooms.xlsx, sheet Rooms, row 4, column clear_span_mm").
	Where string
	// Value as given; empty when it is missing or too long to repeat.
	Value string
	// Problem says what is wrong, as part of a sentence.
	Problem string
	// Allowed says what would be right; may be empty.
	Allowed string
}

// String returns the place as one line for a clerk.
func (p Place) String() string {
	var said []string
	switch {
	case p.Value != "" && p.Problem != "":
		said = append(said, fmt.Sprintf("%q %s", p.Value, p.Problem))
	case p.Value != "":
		said = append(said, fmt.Sprintf("%q", p.Value))
	case p.Problem != "":
		said = append(said, p.Problem)
	}
	if p.Allowed != "" {
		said = append(said, "allowed: "+p.Allowed)
	}
	return p.Where + ": " + strings.Join(said, "; ")
}

// Error is a fault.
type Error struct {
	Kind Kind
	// Reason is a stable code in UPPER_SNAKE_CASE; part of the API.
	Reason string
	// Sentence is for a clerk; not part of the API.
	Sentence string
	Places   []Place
	// Cause is for the log; it never leaves the process.
	Cause error
}

// New returns a fault with a formatted sentence.
func New(kind Kind, reason, format string, args ...any) *Error {
	return &Error{Kind: kind, Reason: reason, Sentence: fmt.Sprintf(format, args...)}
}

// At adds a wrong value.
func (e *Error) At(where, value, problem, allowed string) *Error {
	e.Places = append(e.Places, Place{Where: where, Value: value, Problem: problem, Allowed: allowed})
	return e
}

// Because adds the cause for the log.
func (e *Error) Because(cause error) *Error {
	e.Cause = cause
	return e
}

// Lines returns every place as a line to stand under the sentence. What the
// sentence says of a place is not said again.
func (e *Error) Lines() []string {
	var lines []string
	for _, p := range e.Places {
		if p.Problem != "" && strings.Contains(e.Sentence, p.Problem) {
			p.Problem = ""
			if p.Value == "" && p.Allowed == "" {
				continue
			}
		}
		lines = append(lines, p.String())
	}
	return lines
}

// Error returns the sentence and every place.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Sentence)
	for _, line := range e.Lines() {
		b.WriteString("\n  ")
		b.WriteString(line)
	}
	if e.Cause != nil {
		fmt.Fprintf(&b, " (%v)", e.Cause)
	}
	return b.String()
}

// Is reports whether target is the fault's kind.
func (e *Error) Is(target error) bool {
	k, ok := target.(Kind)
	return ok && k == e.Kind
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Cause }

// KindOf returns the kind of err; Internal when err is no fault.
func KindOf(err error) Kind {
	var f *Error
	if errors.As(err, &f) {
		return f.Kind
	}
	return Internal
}

// ReasonOf returns the reason code of err; empty when err is no fault.
func ReasonOf(err error) string {
	var f *Error
	if errors.As(err, &f) {
		return f.Reason
	}
	return ""
}
