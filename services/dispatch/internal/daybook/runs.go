package daybook

import (
	"slices"
	"time"

	"spanyard.example/services/kit/fault"
)

// Report is what stock says about a piece that a run may count on.
type Report struct {
	// RunID that stock knows the piece to be on; empty looks it up.
	RunID   string
	PieceID string
	BatchID string
	Reason  string
	// Where the piece was; empty says it by how far the run has come.
	Where string
}

// ReportHits puts pieces that must not be used on the runs that have them.
// Runs that were cancelled, and pieces that are on no run, are left alone.
type ReportHits struct{ Reports []Report }

func (c ReportHits) decide(s State) ([]Event, error) {
	byRun := map[string]int{}
	var changes []RunChanged
	for _, r := range c.Reports {
		runID, hit, ok := s.hit(r)
		if !ok {
			continue
		}
		n, known := byRun[runID]
		if !known {
			n = len(changes)
			byRun[runID] = n
			changes = append(changes, RunChanged{RunID: runID})
		}
		changes[n].Hits = append(changes[n].Hits, hit)
	}
	var events []Event
	for _, change := range changes {
		events = append(events, change)
	}
	return events, nil
}

func (s State) hit(r Report) (string, Hit, bool) {
	if r.RunID == "" {
		r.RunID = s.runOfPiece(r.PieceID)
	}
	var run *Run
	status, ok := s.runs.Get(r.RunID)
	switch {
	case ok && status.State == RunCancelledState:
		return "", Hit{}, false
	case ok:
		run = &status.Run
	default:
		_, run = s.confirmingPlanOf(r.RunID)
	}
	if run == nil {
		return "", Hit{}, false
	}
	hit := Hit{PieceID: r.PieceID, BatchID: r.BatchID, Reason: r.Reason, Where: r.Where}
	found := false
	run.Items(func(pile *Pile, item *Item) {
		if item.PieceID != r.PieceID {
			return
		}
		found = true
		hit.Mark = item.Mark
		if hit.BatchID == "" {
			hit.BatchID = item.BatchID
		}
		if hit.Where == "" {
			hit.Where = whereOn(status, pile.DropNumber)
		}
	})
	if status != nil {
		for _, old := range status.Hits {
			if old == hit {
				return "", Hit{}, false
			}
		}
	}
	return r.RunID, hit, found
}

// runOfPiece returns the live run, or the run about to be confirmed, that has
// a piece.
func (s State) runOfPiece(pieceID string) string {
	if run, ok := s.pieces.Get(pieceID); ok {
		return run
	}
	confirming, _ := s.Unsettled()
	for _, id := range confirming {
		p, ok := s.plans.Get(id)
		if !ok {
			continue
		}
		for i := range p.Plan.Runs {
			if slices.Contains(p.Plan.Runs[i].PieceIDs(), pieceID) {
				return p.Plan.Runs[i].ID
			}
		}
	}
	return ""
}

// whereOn says where a piece is by how far its run has come.
func whereOn(r *RunStatus, drop int) string {
	if r == nil || r.State == RunConfirmedState || r.State == RunHitState {
		return "reserved"
	}
	if slices.Contains(r.Delivered, drop) {
		return "delivered"
	}
	return "loaded"
}

// run returns a confirmed run or the refusal that there is none.
func (s State) run(id string) (*RunStatus, error) {
	r, ok := s.runs.Get(id)
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

// DeliverDrop records that the next drop of a run was set down.
type DeliverDrop struct {
	RunID      string
	DropNumber int
	ReceivedBy string
	At         time.Time
}

func (c DeliverDrop) decide(s State) ([]Event, error) {
	if err := person("received_by", c.ReceivedBy); err != nil {
		return nil, err
	}
	r, err := s.run(c.RunID)
	if err != nil {
		return nil, err
	}
	if r.State == RunDeliveredState || r.State == RunDepartedState && c.DropNumber <= len(r.Delivered) {
		return nil, fault.New(fault.Stale, "DROP_DELIVERED", "Drop %d of run %s was delivered before.", c.DropNumber, c.RunID)
	}
	if r.State != RunDepartedState {
		return nil, fault.New(fault.Stale, "RUN_NOT_ON_ROAD", "Run %s is %s; a drop is delivered after the truck has left.", c.RunID, r.State)
	}
	if c.DropNumber > len(r.Run.Drops) {
		return nil, fault.New(fault.Invalid, "DROP_UNKNOWN", "Run %s has %d drops.", c.RunID, len(r.Run.Drops))
	}
	if next := len(r.Delivered) + 1; c.DropNumber != next {
		return nil, fault.New(fault.Stale, "DROP_OUT_OF_ORDER", "Drop %d of run %s comes after drop %d, which is not delivered yet.",
			c.DropNumber, c.RunID, next)
	}
	return []Event{DropDelivered{
		RunID: c.RunID, DropNumber: c.DropNumber, SiteID: r.Run.dropSite(c.DropNumber),
		PieceIDs: r.Run.dropPieceIDs(c.DropNumber), ReceivedBy: c.ReceivedBy, DeliveredAt: c.At,
	}}, nil
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
