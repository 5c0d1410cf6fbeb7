package ledger

import (
	"regexp"
	"strings"

	"spanyard.example/services/kit/fault"
)

var (
	yardPattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)
	namePattern = regexp.MustCompile(`^[a-z][a-z0-9_]{0,63}$`)
)

// StreamOf returns the name of a service's stream.
func StreamOf(service string) string { return "spanyard-" + service }

// SubjectsOf returns the subjects of a service's stream.
func SubjectsOf(service string) string { return "spanyard." + service + ".>" }

// subjectOf returns where an event is published.
func subjectOf(service, yard, kind string) string {
	return "spanyard." + service + "." + yard + "." + kind
}

// guardOf returns the one guard string of a yard. Nothing is published into
// the ledger under another one: on a replicated stream two writers that guard
// the same subjects by different strings can both win.
func guardOf(service, yard string) string {
	return "spanyard." + service + "." + yard + ".>"
}

// parseSubject takes apart what subjectOf made.
func parseSubject(subject string) (yard, kind string, ok bool) {
	parts := strings.Split(subject, ".")
	if len(parts) != 4 {
		return "", "", false
	}
	return parts[2], parts[3], true
}

func checkYard(yard string) error {
	if yardPattern.MatchString(yard) {
		return nil
	}
	return fault.New(fault.Invalid, "YARD_NAME_WRONG", "That is no name of a yard.").
		At("yard", clip(yard), "is no name of a yard", "1 to 32 small letters, digits and hyphens, not starting with a hyphen")
}

// clip keeps a wrong value short enough to repeat.
func clip(s string) string {
	const longest = 64
	if len(s) <= longest {
		return s
	}
	return strings.ToValidUTF8(s[:longest], "") + "…"
}
