package yard

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"spanyard.example/services/kit/fault"
)

// Limits that keep one decision within what the ledger takes in one step: at
// most 1,000 events, each well below 1 MB.
const (
	// MaxPiecesPerStep is how many pieces one command may pick, load, deliver,
	// return, scrap or move: each is an event.
	MaxPiecesPerStep = 1000
	// MaxBeamsPerBatch keeps the event of a batch below its limit.
	MaxBeamsPerBatch = 5000
	// MaxEvents of one decision.
	MaxEvents = 1000

	reservedPerEvent = 500
	droppedPerEvent  = 2000
	hitsPerEvent     = 500
)

// Command is something somebody wants done. The set of commands is closed.
type Command interface {
	decide(s State) ([]Event, error)
}

// Decide returns the events that follow from a command, or a fault. All of a
// command is done or nothing.
func Decide(s State, c Command) ([]Event, error) {
	if _, opens := c.(SetRules); !opens && !s.Open() {
		return nil, fault.New(fault.Stale, "YARD_NOT_OPEN",
			"The yard %s has no rules yet. Set its time zone and ages first.", s.yard)
	}
	events, err := c.decide(s)
	if err != nil {
		return nil, err
	}
	if len(events) > MaxEvents {
		return nil, fault.New(fault.Invalid, "TOO_MUCH_AT_ONCE",
			"This is %d records in one step; the ledger takes at most %d. Split it.", len(events), MaxEvents)
	}
	return events, nil
}

// EvolveAll returns the yard after several events.
func EvolveAll(s State, events []Event) State {
	for _, e := range events {
		s = Evolve(s, e)
	}
	return s
}

var (
	batchID = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)
	pieceID = regexp.MustCompile(`^[A-Za-z0-9._-]{1,96}$`)
)

const allowedID = "letters, digits, dot, underscore and hyphen"

// problems collects what is wrong with a command.
type problems struct{ places []fault.Place }

func (p *problems) add(where, value, problem, allowed string) {
	p.places = append(p.places, fault.Place{Where: where, Value: value, Problem: problem, Allowed: allowed})
}

// name checks a text that people write and read: a stack, a person, a reason.
func (p *problems) name(where, value string, maxLen int) {
	switch {
	case strings.TrimSpace(value) == "":
		p.add(where, value, "is missing", "")
	case !isText(value):
		p.add(where, "", "has characters that cannot be printed, or blanks at its ends", "")
	case utf8.RuneCountInString(value) > maxLen:
		p.add(where, "", "is too long", fmt.Sprintf("at most %d characters", maxLen))
	}
}

// text is a name that may be empty.
func (p *problems) text(where, value string, maxLen int) {
	if value != "" {
		p.name(where, value, maxLen)
	}
}

func isText(s string) bool {
	return utf8.ValidString(s) && strings.TrimSpace(s) == s && !strings.ContainsFunc(s, unicode.IsControl)
}

// batch checks the id of a batch.
func (p *problems) batch(where, value string) {
	if !batchID.MatchString(value) {
		p.add(where, value, "is no batch number", "1 to 64 "+allowedID)
	}
}

// within checks a number.
func (p *problems) within(where string, value, low, high int64) {
	if value < low || value > high {
		p.add(where, fmt.Sprint(value), "is out of range", fmt.Sprintf("%d to %d", low, high))
	}
}

// invalid returns the fault of a command that cannot be right in any state.
func (p *problems) invalid() error {
	if len(p.places) == 0 {
		return nil
	}
	err := fault.New(fault.Invalid, "BAD_VALUES", "Some values are not right.")
	err.Places = p.places
	return err
}

// stale returns the fault of a command that the yard does not allow now.
func (p *problems) stale(reason, format string, args ...any) error {
	if len(p.places) == 0 {
		return nil
	}
	err := fault.New(fault.Stale, reason, format, args...)
	err.Places = p.places
	return err
}

// knownBatch returns a batch of the yard.
func (s State) knownBatch(id string) (Batch, error) {
	b, ok := s.Batch(id)
	if !ok {
		return b, fault.New(fault.NotFound, "BATCH_UNKNOWN", "There is no batch %s in this yard.", id)
	}
	return b, nil
}

// whyNotReleased says what keeps the pieces of a batch in the yard; empty
// when nothing does.
func (b Batch) whyNotReleased() string {
	switch b.State {
	case Quarantined:
		return fmt.Sprintf("batch %s is quarantined: %s", b.ID, b.QuarantineReason)
	case Curing:
		return fmt.Sprintf("batch %s is not released", b.ID)
	default:
		return ""
	}
}
