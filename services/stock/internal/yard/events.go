package yard

import (
	"time"

	"spanyard.example/services/kit/civil"
)

// Event is a fact about the yard. The set of events is closed.
type Event interface{ isEvent() }

// RulesSet says that the rules of the yard were set.
type RulesSet struct{ Rules Rules }

// BatchReceived says that a batch arrived and cures.
type BatchReceived struct {
	BatchID              string
	Kind                 Kind
	MadeOn               civil.Day
	Concrete             Concrete
	Profile, WirePattern string
	// Beams, the bottom of each stack first.
	Beams  []Beam
	Lot    Lot
	Source string
}

// TestRecorded says that a laboratory's results came in.
type TestRecorded struct {
	BatchID string
	Test    Test
}

// BatchReleased says that a named person let a batch leave. Many cleared
// pieces are spread over several such events of one decision.
type BatchReleased struct {
	BatchID string
	Release Release
	// Cleared are pieces that a quarantine before had hit.
	Cleared     []Hit
	Part, Parts int
}

// Hit is a piece of a quarantined batch that somebody counts on.
type Hit struct {
	PieceID    string
	State      PieceState
	Allocation Allocation
}

// BatchQuarantined says that nothing of a batch may leave any more. Many hits
// are spread over several such events of one decision.
type BatchQuarantined struct {
	BatchID, Reason, By string
	At                  time.Time
	Hits                []Hit
	Part, Parts         int
}

// QuarantineLifted says that a batch cures again and has to be released anew.
type QuarantineLifted struct{ BatchID, By, Reason string }

// ReservedPiece is a beam, or blocks put on a pallet.
type ReservedPiece struct {
	PieceID    string
	Allocation Allocation
	// Pallet is nil for beams.
	Pallet *Pallet
}

// PiecesReserved says that pieces were promised. One decision may be recorded
// in several parts.
type PiecesReserved struct {
	ReservationID string
	Pieces        []ReservedPiece
	Part, Parts   int
}

// ReservationDropped says that promised pieces are free again; pallets among
// them are dissolved.
type ReservationDropped struct {
	ReservationID string
	PieceIDs      []string
	Reason        string
}

// PiecePicked says that a piece was taken off its stack for its run.
type PiecePicked struct {
	PieceID, RunID string
	// Aside are pieces of higher tiers that were lifted aside and put back.
	Aside []string
}

// PieceLoaded says that a piece was put on a truck.
type PieceLoaded struct{ PieceID, RunID, TruckID string }

// PieceDelivered says that a piece was set down at its site.
type PieceDelivered struct {
	PieceID, RunID, SiteID string
	At                     time.Time
	// ReceivedBy took it over; empty when nobody wrote it down.
	ReceivedBy string
}

// PieceReturned says that a piece came back and is nobody's; a pallet is
// dissolved.
type PieceReturned struct{ PieceID, StackID, Reason string }

// PieceScrapped says that a piece will never be used.
type PieceScrapped struct {
	PieceID, Reason string
	// DeliveredTo is the place that the piece had been delivered to; nil when it
	// had not been delivered.
	DeliveredTo *Allocation
}

// PieceMoved says that a piece was put on top of another stack.
type PieceMoved struct {
	PieceID, StackID string
	// Aside are pieces of higher tiers that were lifted aside and put back.
	Aside []string
}

// PieceExchanged says that an equal beam took over the place and the mark of a
// promised one, which is free again.
type PieceExchanged struct {
	OldID, NewID string
	Allocation   Allocation
	By, Reason   string
	// NewBatchID, NewStackID and NewTier are of the new beam.
	NewBatchID, NewStackID string
	NewTier                int
}

// PalletsPacked says that loose blocks were put on pallets.
type PalletsPacked struct {
	BatchID string
	Pallets []PackedPallet
}

// PalletSplit says that blocks of a pallet were put on a new one.
type PalletSplit struct {
	PieceID, NewID string
	Blocks         int
}

// PalletsMerged says that several pallets became one.
type PalletsMerged struct {
	PieceID string
	FromIDs []string
}

// PalletsUnpacked says that the blocks of pallets are loose again.
type PalletsUnpacked struct{ PieceIDs []string }

// CureRecorded says what a batch was made with and how warm it cured.
type CureRecorded struct {
	BatchID string
	Cure    Cure
}

// KeepingEnded says that beams that were kept for a job may go to anybody.
type KeepingEnded struct {
	PieceIDs   []string
	By, Reason string
}

// BlocksScrapped says that loose blocks will never be used.
type BlocksScrapped struct {
	BatchID string
	Count   int
	Reason  string
}

func (RulesSet) isEvent()           {}
func (BatchReceived) isEvent()      {}
func (TestRecorded) isEvent()       {}
func (BatchReleased) isEvent()      {}
func (BatchQuarantined) isEvent()   {}
func (QuarantineLifted) isEvent()   {}
func (PiecesReserved) isEvent()     {}
func (ReservationDropped) isEvent() {}
func (PiecePicked) isEvent()        {}
func (PieceLoaded) isEvent()        {}
func (PieceDelivered) isEvent()     {}
func (PieceReturned) isEvent()      {}
func (PieceScrapped) isEvent()      {}
func (PieceMoved) isEvent()         {}
func (BlocksScrapped) isEvent()     {}
func (KeepingEnded) isEvent()       {}
func (CureRecorded) isEvent()       {}
func (PieceExchanged) isEvent()     {}
func (PalletsPacked) isEvent()      {}
func (PalletSplit) isEvent()        {}
func (PalletsMerged) isEvent()      {}
func (PalletsUnpacked) isEvent()    {}
