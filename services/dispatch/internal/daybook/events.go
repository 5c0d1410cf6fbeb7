package daybook

import "time"

// Event is one fact of dispatch.
type Event interface{ isEvent() }

// The facts. Fields say the same as those of the event contract.
type (
	// RulesSet: the rules of loading and driving were set.
	RulesSet struct{ Rules Rules }
	// TrucksSet: the trucks were replaced as a whole.
	TrucksSet struct{ Trucks []Truck }
	// SitesSet: the sites were replaced as a whole.
	SitesSet struct{ Sites []Site }
	// TravelSet: the table of known ways was replaced as a whole.
	TravelSet struct{ Legs []Leg }
	// FloorPlanned: a floor's approved plan became known.
	FloorPlanned struct{ Floor Floor }
	// FloorWithdrawn: a floor's plan is no longer to be built.
	FloorWithdrawn struct {
		FloorKey
		Revision int
	}
	// CalledOff: a site asked for rooms of a floor.
	CalledOff struct{ CallOff CallOff }
	// CallOffCancelled: a call-off was withdrawn.
	CallOffCancelled struct{ CallOffID, Reason string }
	// MorningPlanned: a plan was made; it binds nobody.
	MorningPlanned struct{ Plan Plan }
	// MorningConfirming: a plan's pieces are being reserved.
	MorningConfirming struct{ PlanID, Day, ConfirmedBy, ReservationID string }
	// RunConfirmed: a run is to be driven.
	RunConfirmed struct {
		PlanID, Day string
		Run         Run
	}
	// PicksIssued: what yard staff have to pick for a run.
	PicksIssued struct {
		RunID, TruckID, Day string
		LoadingMinute       int
		Picks               []Pick
		Moves               []AsideMove
	}
	// MorningConfirmed: all runs of a plan are confirmed.
	MorningConfirmed struct {
		PlanID, Day, ConfirmedBy string
		ConfirmedAt              time.Time
		StockPosition            uint64
	}
	// MorningConfirmFailed: nothing of the plan is reserved.
	MorningConfirmFailed struct {
		PlanID, Day string
		Missing     []Missing
	}
	// DayHindered: a truck stands still, or a site is closed, for a part of a day.
	DayHindered struct {
		Day       string
		Hindrance Hindrance
	}
	// HindranceEnded: the truck drives again, or the site is open.
	HindranceEnded struct{ Day, TruckID, SiteID string }
	// RunDelayed: what is left of a run is so much later.
	RunDelayed struct {
		RunID   string
		Minutes int
		Reason  string
	}
	// RunChanged: something hit a confirmed run.
	RunChanged struct {
		RunID string
		Hits  []Hit
		// Departed says that the truck had left the yard.
		Departed bool
	}
	// RunCleared: a batch was released anew and holds up these pieces of a run
	// no more.
	RunCleared struct {
		RunID, BatchID string
		PieceIDs       []string
		Departed       bool
	}
	// PieceSetDown: a piece of a run was set down at its site by hand.
	PieceSetDown struct{ RunID, PieceID, SiteID, Mark string }
	// PieceTakenBack: a piece that was set down is back in the yard, or broke.
	PieceTakenBack struct {
		RunID, PieceID, Mark string
		Broken               bool
	}
	// PieceExchanged: an equal beam took the place of one of a run.
	PieceExchanged struct {
		RunID, OldID, NewID, Mark string
		// BatchID, StackID and StackTier are of the new beam.
		BatchID, StackID string
		StackTier        int
		By, Reason       string
	}
	// RunDeparted: a truck left the yard.
	RunDeparted struct {
		RunID, DepartedBy string
		DepartedAt        time.Time
	}
	// DropDelivered: a drop was set down at its site.
	DropDelivered struct {
		RunID       string
		DropNumber  int
		SiteID      string
		PieceIDs    []string
		ReceivedBy  string
		DeliveredAt time.Time
		// Refused are the pieces that the site did not take.
		Refused       []string
		RefusalReason string
	}
	// LayingRecorded: a site ticked off beams as laid, or took ticks back.
	LayingRecorded struct {
		RunID        string
		DropNumber   int
		Laid, Unlaid []string
		At           time.Time
	}
	// PieceReported: a site told that a piece is broken or did not come.
	PieceReported struct {
		RunID  string
		Report SiteReport
	}
	// RunCancelled: a confirmed run will not be driven.
	RunCancelled struct{ RunID, Reason, ReservationID string }
	// RunFreed: the pieces of a cancelled run were given back to stock.
	RunFreed struct{ RunID, ReservationID string }
)

func (RulesSet) isEvent()             {}
func (TrucksSet) isEvent()            {}
func (SitesSet) isEvent()             {}
func (TravelSet) isEvent()            {}
func (DayHindered) isEvent()          {}
func (HindranceEnded) isEvent()       {}
func (RunDelayed) isEvent()           {}
func (FloorPlanned) isEvent()         {}
func (FloorWithdrawn) isEvent()       {}
func (CalledOff) isEvent()            {}
func (CallOffCancelled) isEvent()     {}
func (MorningPlanned) isEvent()       {}
func (MorningConfirming) isEvent()    {}
func (RunConfirmed) isEvent()         {}
func (PicksIssued) isEvent()          {}
func (MorningConfirmed) isEvent()     {}
func (MorningConfirmFailed) isEvent() {}
func (RunChanged) isEvent()           {}
func (RunCleared) isEvent()           {}
func (PieceSetDown) isEvent()         {}
func (PieceTakenBack) isEvent()       {}
func (PieceExchanged) isEvent()       {}
func (RunDeparted) isEvent()          {}
func (DropDelivered) isEvent()        {}
func (LayingRecorded) isEvent()       {}
func (PieceReported) isEvent()        {}
func (RunCancelled) isEvent()         {}
func (RunFreed) isEvent()             {}
