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
	ReasonNoEngineer       = "ENGINEER_MISSING"
	ReasonOpenPoints       = "OPEN_POINTS"
	ReasonNotChecked       = "STRENGTH_NOT_CHECKED"
	ReasonBadEdit          = "BAD_EDIT"
	ReasonRoomUnknown      = "ROOM_UNKNOWN"
	ReasonProblemUnknown   = "PROBLEM_UNKNOWN"
	ReasonNothingToDo      = "NOTHING_TO_DO"
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
	catalogue, err := c.Catalogue.checked()
	if err != nil {
		return nil, err
	}
	return []Event{CatalogueSet{Catalogue: catalogue}}, nil
}

// Approve lets a drafted plan be made and laid. Every room of it is laid and
// every beam checked, or left out by hand.
type Approve struct {
	Job      string
	Floor    string
	Revision int
	// Engineer who answers for the plan.
	Engineer string
	// Reason is a remark, kept with the approval.
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
	if err := record.Plan.complete(name); err != nil {
		return nil, err
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

// complete refuses a plan in which something is open.
func (p Plan) complete(name string) error {
	if p.Strength == NotChecked {
		return fault.New(fault.Stale, ReasonNotChecked, "%s is from before strength was computed. Bring its rooms again; they are laid and checked then.", name)
	}
	open := p.OpenPoints()
	if len(open) > 0 {
		f := fault.New(fault.Stale, ReasonOpenPoints, "%s cannot be approved yet: mend what is open, or leave it out by hand.", name)
		for i, o := range open {
			if i == maxPlaces {
				f.At("plan", "", fmt.Sprintf("and %d more", len(open)-i), "")
				break
			}
			where := "room " + o.Room
			if o.Room == "" {
				where = fmt.Sprintf("problem %d", o.Problem)
			}
			f.At(where, "", o.What, o.Help)
		}
		return f
	}
	for _, r := range p.Rooms {
		if len(r.Beams) > 0 {
			return nil
		}
	}
	return fault.New(fault.Stale, ReasonOpenPoints, "%s has no beams; there is nothing to approve.", name)
}

const maxReasonChars = 1000

// signed returns engineer and remark without the blanks around them.
func (c Approve) signed() (engineer, reason string, err error) {
	engineer, reason = strings.TrimSpace(c.Engineer), strings.TrimSpace(c.Reason)
	f := fault.New(fault.Invalid, ReasonNoEngineer, "A plan is approved by a named person, who answers for it under the local code.")
	for _, field := range []struct {
		name, value string
		least, most int
	}{{"engineer", engineer, 1, 120}, {"reason", reason, 0, maxReasonChars}} {
		allowed := fmt.Sprintf("%d to %d printable characters", field.least, field.most)
		switch {
		case field.value == "" && field.least > 0:
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
