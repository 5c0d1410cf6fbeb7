package office

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"spanyard.example/services/kit/fault"
)

// Reasons of refusals; part of the API.
const (
	ReasonBadCatalogue     = "BAD_CATALOGUE"
	ReasonCatalogueMissing = "CATALOGUE_MISSING"
	ReasonBadRows          = "BAD_ROWS"
	ReasonNoRooms          = "NO_ROOMS"
	ReasonPlanUnknown      = "PLAN_UNKNOWN"
	ReasonNotNewest        = "NOT_NEWEST_REVISION"
	ReasonAlreadyApproved  = "ALREADY_APPROVED"
	ReasonSuperseded       = "PLAN_SUPERSEDED"
	ReasonNoEngineer       = "ENGINEER_OR_REASON_MISSING"
)

// Command is something that is asked of the drawing office.
type Command interface {
	decide(State) ([]Event, error)
}

// Decide returns the events that follow from a command in a state, or a fault.
func Decide(s State, c Command) ([]Event, error) { return c.decide(s) }

// SetCatalogue replaces the yard's catalogue.
type SetCatalogue struct {
	Catalogue Catalogue
}

func (c SetCatalogue) decide(State) ([]Event, error) {
	if err := c.Catalogue.check(); err != nil {
		return nil, err
	}
	return []Event{CatalogueSet(c)}, nil
}

// Approve lets a drafted plan be made and laid.
type Approve struct {
	Job      string
	Floor    string
	Revision int
	// Engineer who answers for the plan.
	Engineer string
	// Reason why the plan may be built although its strength is not checked.
	Reason string
	At     time.Time
}

func (c Approve) decide(s State) ([]Event, error) {
	engineer, reason, err := c.signed()
	if err != nil {
		return nil, err
	}
	records := s.Revisions(FloorKey{c.Job, c.Floor})
	if c.Revision < 1 || c.Revision > len(records) {
		return nil, Unknown(c.Job, c.Floor, c.Revision)
	}
	name := fmt.Sprintf("Revision %d of job %s floor %s", c.Revision, c.Job, c.Floor)
	record := records[c.Revision-1]
	switch {
	case record.Status == Approved:
		return nil, fault.New(fault.Stale, ReasonAlreadyApproved, "%s is approved already, by %s.", name, record.Engineer)
	case record.Status == Superseded:
		return nil, fault.New(fault.Stale, ReasonSuperseded, "%s was replaced by a newer one and must not be built.", name)
	case c.Revision != len(records):
		return nil, fault.New(fault.Stale, ReasonNotNewest, "%s is not the newest; look at revision %d.", name, len(records)).
			At("revision", strconv.Itoa(c.Revision), "is not the newest revision of this floor", strconv.Itoa(len(records)))
	}
	events := []Event{LayingPlanApproved{Plan: record.Plan, Engineer: engineer, Reason: reason, ApprovedAt: c.At}}
	for _, older := range records {
		if older.Status == Approved {
			events = append(events, LayingPlanSuperseded{
				Job: c.Job, Floor: c.Floor, Revision: older.Plan.Revision, ByRevision: c.Revision,
			})
		}
	}
	return events, nil
}

// signed returns engineer and reason without the blanks around them. A plan
// whose strength nobody has computed is approved by a person or not at all.
func (c Approve) signed() (engineer, reason string, err error) {
	engineer, reason = strings.TrimSpace(c.Engineer), strings.TrimSpace(c.Reason)
	f := fault.New(fault.Invalid, ReasonNoEngineer,
		"The strength of this plan is not checked. It is approved only with the name of a licensed engineer and the reason why it may be built.")
	for _, field := range []struct {
		name, value string
		most        int
	}{{"engineer", engineer, 120}, {"reason", reason, 1000}} {
		allowed := fmt.Sprintf("1 to %d printable characters", field.most)
		switch {
		case field.value == "":
			f.At(field.name, "", "is missing", allowed)
		case !printable(field.value, field.name == "reason"):
			f.At(field.name, "", "has characters that cannot be printed", allowed)
		case utf8.RuneCountInString(field.value) > field.most:
			f.At(field.name, "", "is too long", allowed)
		}
	}
	if len(f.Places) > 0 {
		return "", "", f
	}
	return engineer, reason, nil
}

// Unknown is the refusal that names a plan that does not exist; revision 0
// stands for any.
func Unknown(job, floor string, revision int) error {
	if revision == 0 {
		return fault.New(fault.NotFound, ReasonPlanUnknown, "There is no laying plan of job %s floor %s.", job, floor)
	}
	return fault.New(fault.NotFound, ReasonPlanUnknown, "There is no revision %d of the laying plan of job %s floor %s.", revision, job, floor)
}
