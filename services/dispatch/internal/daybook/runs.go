package daybook

import (
	"slices"
	"strings"
	"time"

	"spanyard.example/services/kit/fault"
)

// run returns a confirmed run or the refusal that there is none.
func (s State) run(id string) (*RunStatus, error) {
	r, ok := s.runs.Get(id)
	if day := s.dayOfFolded(id); !ok && day != "" {
		return nil, s.CheckRunsKept(day)
	}
	if !ok {
		return nil, fault.New(fault.NotFound, "RUN_UNKNOWN", "There is no confirmed run %s in yard %s.", id, s.yard)
	}
	return r, nil
}

// MayDepart refuses a run that cannot leave by what the book says. What stock
// says of its pieces is for the caller to ask.
func (s State) MayDepart(runID string) error {
	r, err := s.run(runID)
	if err != nil {
		return err
	}
	switch r.State {
	case RunConfirmedState:
		return nil
	case RunHitState:
		f := fault.New(fault.Stale, "RUN_HIT", "Run %s may not leave: something on it must not be used.", runID)
		for i, h := range r.Hits {
			if i == maxPlaces {
				break
			}
			f.At("piece "+h.PieceID, h.Mark, h.Reason, "")
		}
		return f
	default:
		return fault.New(fault.Stale, "RUN_NOT_WAITING", "Run %s cannot leave: it is %s.", runID, r.State)
	}
}

// DepartRun lets a truck leave the yard.
type DepartRun struct {
	RunID, DepartedBy string
	At                time.Time
}

func (c DepartRun) decide(s State) ([]Event, error) {
	if err := person("departed_by", c.DepartedBy); err != nil {
		return nil, err
	}
	if err := s.MayDepart(c.RunID); err != nil {
		return nil, err
	}
	return []Event{RunDeparted{RunID: c.RunID, DepartedBy: c.DepartedBy, DepartedAt: c.At}}, nil
}

// DeliverDrop records that the next drop of a run was set down, but for what
// the site refused: that stays on the truck, and its place is to be filled
// again.
type DeliverDrop struct {
	RunID      string
	DropNumber int
	ReceivedBy string
	At         time.Time
	// Refused pieces, or all of them, and why.
	Refused       []string
	RefuseAll     bool
	RefusalReason string
}

func (c DeliverDrop) decide(s State) ([]Event, error) {
	if err := person("received_by", c.ReceivedBy); err != nil {
		return nil, err
	}
	r, err := s.run(c.RunID)
	if err != nil {
		return nil, err
	}
	if c.DropNumber > len(r.Run.Drops) {
		return nil, fault.New(fault.Invalid, "DROP_UNKNOWN", "Run %s has no drop %d; its last is drop %d.", c.RunID, c.DropNumber, len(r.Run.Drops))
	}
	if r.State == RunDeliveredState || r.State == RunDepartedState && c.DropNumber <= len(r.Delivered) {
		return nil, fault.New(fault.Stale, "DROP_DELIVERED", "Drop %d of run %s was delivered before.", c.DropNumber, c.RunID)
	}
	if r.State != RunDepartedState {
		return nil, fault.New(fault.Stale, "RUN_NOT_ON_ROAD", "Run %s is %s; a drop is delivered after the truck has left.", c.RunID, r.State)
	}
	if next := len(r.Delivered) + 1; c.DropNumber != next {
		return nil, fault.New(fault.Stale, "DROP_OUT_OF_ORDER", "Drop %d of run %s comes after drop %d, which is not delivered yet.",
			c.DropNumber, c.RunID, next)
	}
	taken, refused, err := c.parted(r)
	if err != nil {
		return nil, err
	}
	return []Event{DropDelivered{
		RunID: c.RunID, DropNumber: c.DropNumber, SiteID: r.Run.dropSite(c.DropNumber),
		PieceIDs: taken, ReceivedBy: c.ReceivedBy, DeliveredAt: c.At, Refused: refused, RefusalReason: c.RefusalReason,
	}}, nil
}

// parted parts what is on the truck for the drop in what the site takes and
// what it refuses. What was set down by hand before cannot be refused any more.
func (c DeliverDrop) parted(r *RunStatus) (taken, refused []string, err error) {
	here := r.onTruck(r.Run.dropPieceIDs(c.DropNumber))
	wrong := newFindings("REFUSAL_INVALID", "The refusal is not right; nothing is recorded.")
	for _, id := range c.Refused {
		if !slices.Contains(here, id) {
			wrong.add("refused_piece_ids", id, "is not on the truck for this drop", "pieces of this drop")
		} else if slices.Contains(r.SetDown, id) {
			wrong.add("refused_piece_ids", id, "was set down at the site before", "what is still on the truck; take back what was set down")
		}
	}
	for _, id := range here {
		if slices.Contains(c.Refused, id) || c.RefuseAll && !slices.Contains(r.SetDown, id) {
			refused = append(refused, id)
		} else {
			taken = append(taken, id)
		}
	}
	switch reason := strings.TrimSpace(c.RefusalReason); {
	case len(refused) > 0 && reason == "":
		wrong.add("refusal_reason", "", "is empty", "why the site does not take it")
	case len(refused) == 0 && reason != "":
		wrong.add("refusal_reason", reason, "is given, and nothing is refused", "pieces that are refused")
	}
	return taken, refused, wrong.err()
}

// onTruck leaves out what came back to the yard, or broke, after it was loaded
// and before it was set down.
func (r *RunStatus) onTruck(ids []string) []string {
	return slices.DeleteFunc(slices.Clone(ids), func(id string) bool {
		return !slices.Contains(r.SetDown, id) && slices.ContainsFunc(r.Hits, func(h Hit) bool { return h.PieceID == id && (h.Kind == Returned || h.Kind == Scrapped) })
	})
}

// MayCancel refuses a run that cannot be taken off the day by what the book
// says. What stock says of its pieces is for the caller to ask.
func (s State) MayCancel(runID string) error {
	r, err := s.run(runID)
	if err != nil {
		return err
	}
	if r.State != RunConfirmedState && r.State != RunHitState {
		return fault.New(fault.Stale, "RUN_NOT_WAITING", "Run %s cannot be cancelled: it is %s.", runID, r.State)
	}
	return nil
}

// CancelRun takes a run that has not left off the day.
type CancelRun struct{ RunID, Reason string }

func (c CancelRun) decide(s State) ([]Event, error) {
	if err := s.MayCancel(c.RunID); err != nil {
		return nil, err
	}
	r, _ := s.runs.Get(c.RunID)
	return []Event{RunCancelled{RunID: c.RunID, Reason: c.Reason, ReservationID: r.ReservationID}}, nil
}

// FreeRun records that stock has the pieces of a cancelled run back.
type FreeRun struct{ RunID string }

func (c FreeRun) decide(s State) ([]Event, error) {
	r, err := s.run(c.RunID)
	if err != nil {
		return nil, err
	}
	if r.State != RunCancelledState || r.Freed {
		return nil, nil
	}
	return []Event{RunFreed{RunID: c.RunID, ReservationID: r.ReservationID}}, nil
}
