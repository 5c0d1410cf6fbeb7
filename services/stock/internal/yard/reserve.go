package yard

import (
	"fmt"

	"spanyard.example/services/kit/fault"
)

// MaxReserveLines of one reservation.
const MaxReserveLines = 10_000

// ReserveLine asks for a beam by its id, or for blocks of a batch to be put on
// a new pallet.
type ReserveLine struct {
	// PieceID of the beam; empty for blocks.
	PieceID string
	// BatchID, Blocks and PalletID for blocks.
	BatchID, PalletID string
	Blocks            int
	Allocation        Allocation
}

// ReservePieces promises pieces, all or none.
type ReservePieces struct {
	ReservationID string
	Lines         []ReserveLine
}

func (c ReservePieces) decide(s State) ([]Event, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	var p problems
	seen := make(map[string]bool, len(c.Lines))
	loose := map[string]int{}
	pieces := make([]ReservedPiece, 0, len(c.Lines))
	for _, line := range c.Lines {
		var r ReservedPiece
		var where, problem string
		if line.PieceID != "" {
			r, problem = s.reserveBeam(line, seen)
			where = line.PieceID
		} else {
			r, problem = s.reserveBlocks(line, seen, loose)
			where = line.BatchID
		}
		if problem != "" {
			p.add(where, "", problem, "")
			continue
		}
		r.Allocation = line.Allocation
		r.Allocation.ReservationID = c.ReservationID
		pieces = append(pieces, r)
	}
	if err := p.stale("PIECES_GONE", "%d of %d pieces cannot be promised. Nothing was promised.", len(p.places), len(c.Lines)); err != nil {
		return nil, err
	}
	return append(s.unpacked(pieces), inParts(c.ReservationID, pieces)...), nil
}

// unpacked returns the event that makes blocks of standing pallets loose, as
// many as the promised pallets need; none when enough are loose.
func (s State) unpacked(pieces []ReservedPiece) []Event {
	need := map[string]int{}
	var batches, ids []string
	for _, p := range pieces {
		if p.Pallet == nil {
			continue
		}
		if need[p.Pallet.BatchID] == 0 {
			batches = append(batches, p.Pallet.BatchID)
		}
		need[p.Pallet.BatchID] += p.Pallet.Count
	}
	for _, id := range batches {
		b, _ := s.Batch(id)
		ids = append(ids, s.unpackFor(b, need[id])...)
	}
	if len(ids) == 0 {
		return nil
	}
	return []Event{PalletsUnpacked{PieceIDs: ids}}
}

// inParts spreads pieces over as many events as their size asks for.
func inParts(reservationID string, pieces []ReservedPiece) []Event {
	parts := (len(pieces) + reservedPerEvent - 1) / reservedPerEvent
	events := make([]Event, 0, parts)
	for part := 1; part <= parts; part++ {
		n := min(len(pieces), reservedPerEvent)
		events = append(events, PiecesReserved{ReservationID: reservationID, Pieces: pieces[:n:n], Part: part, Parts: parts})
		pieces = pieces[n:]
	}
	return events
}

func (c ReservePieces) check() error {
	var p problems
	p.name("reservation_id", c.ReservationID, 64)
	p.within("lines", int64(len(c.Lines)), 1, MaxReserveLines)
	for i, line := range c.Lines {
		where := fmt.Sprintf("lines[%d].", i)
		if line.PieceID == "" {
			p.batch(where+"blocks.batch_id", line.BatchID)
			p.within(where+"blocks.block_count", int64(line.Blocks), 1, 10_000)
			if !pieceID.MatchString(line.PalletID) {
				p.add(where+"blocks.pallet_id", line.PalletID, "is no pallet number", "1 to 96 "+allowedID)
			}
		}
		a := line.Allocation
		if a.ReservationID != "" && a.ReservationID != c.ReservationID {
			p.add(where+"allocation.reservation_id", a.ReservationID, "is not the reservation asked for", c.ReservationID)
		}
		p.name(where+"allocation.run_id", a.RunID, 64)
		p.text(where+"allocation.site_id", a.SiteID, 64)
		p.text(where+"allocation.job_id", a.JobID, 64)
		p.text(where+"allocation.call_off_id", a.CallOffID, 64)
		p.text(where+"allocation.mark", a.Mark, 64)
	}
	return p.invalid()
}

// reserveBeam returns the beam, or why it cannot be had.
func (s State) reserveBeam(line ReserveLine, seen map[string]bool) (ReservedPiece, string) {
	piece, ok := s.pieces.Get(line.PieceID)
	if !ok {
		return ReservedPiece{}, "there is no such piece in this yard"
	}
	if seen[piece.ID] {
		return ReservedPiece{}, "is asked for twice"
	}
	seen[piece.ID] = true
	if problem := whyGone(piece); problem != "" {
		return ReservedPiece{}, problem
	}
	if piece.IsPallet() {
		return ReservedPiece{}, fmt.Sprintf("is a pallet; ask for blocks of batch %s, which are packed for the run", piece.BatchID)
	}
	b, _ := s.Batch(piece.BatchID)
	if problem := b.whyNotReleased(); problem != "" {
		return ReservedPiece{}, problem
	}
	if piece.keptFrom(line.Allocation.JobID) {
		return ReservedPiece{}, fmt.Sprintf("is made for %s and kept for it; a person has to free it first", piece.Kept)
	}
	return ReservedPiece{PieceID: piece.ID}, ""
}

// whyGone says why a piece is not to be had; empty when it is.
func whyGone(p Piece) string {
	a := p.Allocation
	switch p.State {
	case InYard:
		return ""
	case Reserved, Picked, Loaded, Delivered:
		return fmt.Sprintf("is %v for run %s (reservation %s)", p.State, a.RunID, a.ReservationID)
	default:
		return fmt.Sprintf("is %v", p.State)
	}
}

// reserveBlocks returns the pallet, or why its blocks cannot be had. loose
// holds what earlier lines left of each batch.
func (s State) reserveBlocks(line ReserveLine, seen map[string]bool, loose map[string]int) (ReservedPiece, string) {
	b, ok := s.Batch(line.BatchID)
	if !ok {
		return ReservedPiece{}, "there is no such batch in this yard"
	}
	if b.Kind != Blocks {
		return ReservedPiece{}, "is a batch of beams; ask for its beams by their ids"
	}
	if problem := b.whyNotReleased(); problem != "" {
		return ReservedPiece{}, problem
	}
	if _, known := s.pieces.Get(line.PalletID); known || seen[line.PalletID] {
		return ReservedPiece{}, fmt.Sprintf("pallet number %s is taken; every pallet needs a new one", line.PalletID)
	}
	left, begun := loose[b.ID]
	if !begun {
		left = b.Counts.InYard
	}
	if left < line.Blocks {
		return ReservedPiece{}, fmt.Sprintf("has too few blocks for pallet %s: %d of %d", line.PalletID, left, line.Blocks)
	}
	seen[line.PalletID] = true
	loose[b.ID] = left - line.Blocks
	pallet := Pallet{
		BatchID: b.ID, BlockKind: b.Lot.BlockKind, Count: line.Blocks, MassG: int64(line.Blocks) * b.Lot.MassGEach,
	}
	return ReservedPiece{PieceID: line.PalletID, Pallet: &pallet}, ""
}

// DropReservation frees what is promised and not picked, of one run or of
// all. Dropping what holds nothing any more changes nothing.
type DropReservation struct{ ReservationID, RunID, Reason string }

func (c DropReservation) decide(s State) ([]Event, error) {
	var p problems
	p.name("reservation_id", c.ReservationID, 64)
	p.text("run_id", c.RunID, 64)
	p.name("reason", c.Reason, 500)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	set, ok := s.reservations.Get(c.ReservationID)
	if !ok {
		return nil, fault.New(fault.NotFound, "RESERVATION_UNKNOWN", "There is no reservation %s in this yard.", c.ReservationID)
	}
	var ids []string
	for it := set.Iterator(); !it.Done(); {
		id, _ := it.Next()
		piece, _ := s.pieces.Get(id)
		if c.RunID == "" || piece.Allocation.RunID == c.RunID {
			ids = append(ids, id)
		}
	}
	var events []Event
	for len(ids) > 0 {
		n := min(len(ids), droppedPerEvent)
		events = append(events, ReservationDropped{ReservationID: c.ReservationID, PieceIDs: ids[:n:n], Reason: c.Reason})
		ids = ids[n:]
	}
	return events, nil
}
