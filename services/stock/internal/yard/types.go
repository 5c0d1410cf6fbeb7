package yard

import (
	"slices"
	"time"

	"github.com/benbjohnson/immutable"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/conformity"
)

// Rules are the yard's own settings.
type Rules struct {
	// TimeZone is the IANA name of the zone in which the yard counts days.
	TimeZone string
	// BeamMinAgeDays and BlockMinAgeDays are calendar days from making.
	BeamMinAgeDays, BlockMinAgeDays int
	// BeamsPerStackTier lie side by side in one tier of a stack.
	BeamsPerStackTier int
	// Sampling says what is tested when. It is never changed in place.
	Sampling []SamplingRule
	// Stacks say how pieces are stacked.
	Stacks StackRules
}

func (r Rules) equal(o Rules) bool {
	return r.TimeZone == o.TimeZone && r.BeamMinAgeDays == o.BeamMinAgeDays && r.BlockMinAgeDays == o.BlockMinAgeDays &&
		r.BeamsPerStackTier == o.BeamsPerStackTier && slices.Equal(r.Sampling, o.Sampling) && r.Stacks.equal(o.Stacks)
}

// MinAgeDays returns the youngest age at which a kind may leave.
func (r Rules) MinAgeDays(k Kind) int {
	if k == Blocks {
		return r.BlockMinAgeDays
	}
	return r.BeamMinAgeDays
}

// OldEnoughOn returns the first day on which pieces made on a day may leave.
func (r Rules) OldEnoughOn(k Kind, madeOn civil.Day) civil.Day {
	return madeOn + civil.Day(r.MinAgeDays(k))
}

// Kind says what a batch is made of.
type Kind int

// The kinds of batches.
const (
	Beams Kind = iota + 1
	Blocks
)

// String returns the kind as a word in a sentence.
func (k Kind) String() string {
	if k == Blocks {
		return "blocks"
	}
	return "beams"
}

// BatchState is what a batch may be used for.
type BatchState int

// The states of a batch.
const (
	Curing BatchState = iota + 1
	Released
	Quarantined
)

// PieceState is where a piece is in its life.
type PieceState int

// The states of a piece. Dissolved is the end of a pallet whose blocks are
// loose again; its id is never given out a second time.
const (
	InYard PieceState = iota + 1
	Reserved
	Picked
	Loaded
	Delivered
	Scrapped
	Dissolved
)

// String returns the state as it follows "is" in a sentence.
func (s PieceState) String() string {
	return [...]string{"", "in the yard", "promised", "picked", "loaded", "delivered", "scrapped", "taken apart"}[s]
}

// Specimen is what was crushed.
type Specimen int

// The kinds of specimens.
const (
	Cylinder Specimen = iota + 1
	Cube
	Block
)

// String returns the specimen as a word.
func (s Specimen) String() string {
	return [...]string{"", "cylinder", "cube", "block"}[s]
}

// Concrete says what strength a batch has to show: cylinder and cube strength
// of one class for beams, the declared mean strength for blocks.
type Concrete struct {
	FckCylinder, FckCube conformity.MilliMPa
	DeclaredBlock        conformity.MilliMPa
}

// Allocation is whom a piece is promised to.
type Allocation struct {
	ReservationID, RunID, SiteID, JobID, CallOffID string
	// Mark is the place where a beam will lie; empty for pallets.
	Mark string
}

// Pallet is a number of blocks of one batch that travel together.
type Pallet struct {
	BatchID   string
	BlockKind string
	Count     int
	MassG     int64
}

// Piece is a beam or a pallet.
type Piece struct {
	ID, BatchID string
	State       PieceState
	// LengthMM is 0 for pallets.
	LengthMM int
	MassG    int64
	// StackID is empty once the piece has left its stack.
	StackID string
	// Blocks on the pallet; 0 for beams.
	Blocks int
	// Allocation is set from reserved on. It is shared between states and
	// never changed.
	Allocation *Allocation
	// TruckID that it was put on; empty before and when it came back.
	TruckID string
	// Kept says for whom a beam was made; nil when it is for anybody. It is
	// shared between states and never changed.
	Kept *Kept `json:",omitempty"`
	// DeliveredAt is set when delivered, and ReceivedBy when somebody wrote it
	// down. Both stay when the piece is scrapped after that.
	DeliveredAt time.Time
	ReceivedBy  string
}

// BrokeAfterDelivery reports whether the piece was scrapped when its run had
// delivered it: no other can take its place on that run any more.
func (p Piece) BrokeAfterDelivery() bool { return p.State == Scrapped && !p.DeliveredAt.IsZero() }

// Kept is the job that a beam was made for, and its mark when that is known.
type Kept struct{ JobID, Mark string }

// keptFrom reports whether a beam is kept for another job than the one asked
// about.
func (p Piece) keptFrom(jobID string) bool { return p.Kept != nil && p.Kept.JobID != jobID }

// Mark returns the job and the place in it that a beam is promised, on the way
// or delivered to, and false when there is none.
func (p Piece) Mark() (jobID, mark string, ok bool) {
	if p.State < Reserved || p.State > Delivered || p.Allocation == nil || p.Allocation.Mark == "" {
		return "", "", false
	}
	return p.Allocation.JobID, p.Allocation.Mark, true
}

// IsPallet reports whether the piece is blocks on a pallet.
func (p Piece) IsPallet() bool { return p.Blocks > 0 }

// Units is what the piece counts for in its batch: one beam, or its blocks.
func (p Piece) Units() int {
	if p.IsPallet() {
		return p.Blocks
	}
	return 1
}

// Counts says where the beams or blocks of a batch are. The others add up to
// Made.
type Counts struct {
	Made, InYard, Reserved, Picked, Loaded, Delivered, Scrapped int
}

// move takes units from one place to another.
func (c Counts) move(units int, from, to PieceState) Counts {
	c.add(-units, from)
	c.add(units, to)
	return c
}

func (c *Counts) add(units int, at PieceState) {
	switch at {
	case InYard, Dissolved:
		// Blocks of a dissolved pallet are loose in the yard.
		c.InYard += units
	case Reserved:
		c.Reserved += units
	case Picked:
		c.Picked += units
	case Loaded:
		c.Loaded += units
	case Delivered:
		c.Delivered += units
	case Scrapped:
		c.Scrapped += units
	}
}

// Test is a laboratory's report on a batch.
type Test struct {
	ID, Laboratory string
	TestedOn       civil.Day
	Specimen       Specimen
	Strengths      []conformity.MilliMPa
	// Verdict on all results of the batch of this age and specimen, as they
	// were then.
	Verdict conformity.Verdict
	// JudgedWith are earlier tests whose results the verdict counts in.
	JudgedWith []string
}

// Release is the act of letting a batch leave.
type Release struct {
	By      string
	At      time.Time
	On      civil.Day
	AgeDays int
	TestIDs []string
}

// Cure is what a batch was made with and how warm it cured. It is never changed
// in place.
type Cure struct {
	// Cement is the strength class of the cement: R, N or S.
	Cement string
	Spells []CureSpell
}

// CureSpell is a time at one temperature.
type CureSpell struct{ Celsius, Days float64 }

// Lot is the blocks of a batch as they were made.
type Lot struct {
	BlockKind string
	Count     int
	MassGEach int64
	// StackID is where the loose blocks lie.
	StackID string
}

// Beam is one beam as it was made.
type Beam struct {
	ID       string
	LengthMM int
	MassG    int64
	StackID  string
	// Kept is zero for a beam that is for anybody.
	Kept Kept
}

// Batch is what is tested and released together. Slices in it are never
// changed once they are part of a state.
type Batch struct {
	ID                   string
	Kind                 Kind
	State                BatchState
	MadeOn               civil.Day
	Concrete             Concrete
	Profile, WirePattern string
	// Cure is what is recorded for forecasts; nil when nothing is.
	Cure *Cure `json:",omitempty"`
	// Lot of blocks; zero for beams.
	Lot Lot
	// OnPallets are the blocks on pallets that stand in the yard and are
	// nobody's; Counts.InYard counts them and the loose ones.
	OnPallets int `json:",omitempty"`
	Source    string
	Counts    Counts
	Tests     []Test
	// Release is set when released.
	Release *Release
	// QuarantineReason and QuarantinedBy are set when quarantined.
	QuarantineReason, QuarantinedBy string
	// BeamIDs in the order of making.
	BeamIDs []string
	// pallets by id, dissolved ones left out; made for blocks only.
	pallets immutable.SortedSet[string]
}

// PalletIDs returns the batch's pallets by id, dissolved ones left out.
func (b Batch) PalletIDs() []string {
	if b.Kind != Blocks {
		return nil
	}
	return b.pallets.Items()
}

// PieceIDs returns the batch's beams in the order of making, or its pallets.
func (b Batch) PieceIDs() []string {
	if b.Kind == Blocks {
		return b.PalletIDs()
	}
	return b.BeamIDs
}

// Stack is a pile in the yard: beams of one batch, or the loose blocks of a
// batch with its promised pallets beside them.
type Stack struct {
	ID, BatchID string
	// Pieces are beams, bottom first.
	Pieces []string
}
