package yard

import (
	"fmt"
	"slices"
)

// Relocation takes a beam from the top tier of its stack to another stack.
type Relocation struct{ PieceID, StackID string }

// Relocate records moves from stack to stack, one after the other, all or
// none. Unlike MovePieces it lifts nothing aside: every beam lies free when its
// turn comes, so a plan that the yard has outrun is refused.
type Relocate struct{ Moves []Relocation }

func (c Relocate) decide(s State) ([]Event, error) {
	var p problems
	p.within("moves", int64(len(c.Moves)), 1, MaxPiecesPerStep)
	for i, m := range c.Moves {
		p.name(fmt.Sprintf("moves[%d].piece_id", i), m.PieceID, 96)
		p.name(fmt.Sprintf("moves[%d].to_stack_id", i), m.StackID, 64)
	}
	if err := p.invalid(); err != nil {
		return nil, err
	}
	var events []Event
	for i, m := range c.Moves {
		event, problem := s.relocate(m)
		if problem != "" {
			p.add(fmt.Sprintf("moves[%d] %s", i, m.PieceID), m.StackID, problem, "")
			break // what comes after it rests on it
		}
		s = Evolve(s, event)
		events = append(events, event)
	}
	return events, p.stale("CANNOT_MOVE", "The moves cannot be made as they are planned. None was recorded.")
}

func (s State) relocate(m Relocation) (Event, string) {
	piece, ok := s.pieces.Get(m.PieceID)
	piles := s.piles()
	switch {
	case !ok:
		return nil, "there is no such piece in this yard"
	case piece.IsPallet():
		return nil, "is a pallet; pallets stand by the blocks of their batch"
	case piece.State != InYard && piece.State != Reserved:
		return nil, fmt.Sprintf("is %v and lies on no stack", piece.State)
	case piece.StackID == m.StackID:
		return nil, "lies on that stack already"
	}
	if n := piles.above(piece.ID, piece.StackID); n > 0 {
		return nil, fmt.Sprintf("does not lie free: %d beams lie above it on stack %s", n, piece.StackID)
	}
	owner := s.stackOwner(m.StackID)
	if problem := s.whyNotOn(piece, m.StackID, &owner); problem != "" {
		return nil, problem
	}
	return PieceMoved{PieceID: piece.ID, StackID: m.StackID}, piles.whyNot(piece.LengthMM, m.StackID)
}

// Exchange is a promised beam and the equal one that takes its place.
type Exchange struct{ OldID, NewID string }

// ExchangePieces lets equal beams take over the places of promised ones, all
// or none: they are marked anew.
type ExchangePieces struct {
	Exchanges  []Exchange
	By, Reason string
}

func (c ExchangePieces) decide(s State) ([]Event, error) {
	var p problems
	p.name("exchanged_by", c.By, 120)
	p.name("reason", c.Reason, 500)
	p.within("exchanges", int64(len(c.Exchanges)), 1, MaxPiecesPerStep)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	var events []Event
	for _, x := range c.Exchanges {
		event, problem := s.exchange(x, c)
		if problem != "" {
			p.add(x.OldID, x.NewID, problem, "")
			continue
		}
		s = Evolve(s, event)
		events = append(events, event)
	}
	return events, p.stale("CANNOT_EXCHANGE", "%d of %d beams cannot be exchanged. None was.", len(p.places), len(c.Exchanges))
}

func (s State) exchange(x Exchange, c ExchangePieces) (Event, string) {
	old, ok := s.pieces.Get(x.OldID)
	switch {
	case !ok:
		return nil, "there is no such piece in this yard"
	case old.IsPallet():
		return nil, "is a pallet; only beams are exchanged"
	case old.BrokeAfterDelivery():
		return nil, fmt.Sprintf("broke after it was delivered by run %s; that place is open again: plan its day again, or call its room off for another day", old.Allocation.RunID)
	case old.State != Reserved && !(old.State == Scrapped && old.Allocation != nil):
		return nil, fmt.Sprintf("is %v; only what is promised and not picked, or broken since, is exchanged", old.State)
	}
	if x.NewID == "" {
		x.NewID = s.Equal(old)
		if x.NewID == "" {
			return nil, "has no equal that is released and free"
		}
	}
	fresh, ok := s.pieces.Get(x.NewID)
	if !ok {
		return nil, fmt.Sprintf("there is no piece %s in this yard", x.NewID)
	}
	if problem := s.whyNotFor(old, fresh); problem != "" {
		return nil, fmt.Sprintf("piece %s %s", fresh.ID, problem)
	}
	ids := s.piles().on(fresh.StackID)
	return PieceExchanged{
		OldID: old.ID, NewID: fresh.ID, Allocation: *old.Allocation, By: c.By, Reason: c.Reason,
		NewBatchID: fresh.BatchID, NewStackID: fresh.StackID, NewTier: slices.Index(ids, fresh.ID)/s.rules.BeamsPerStackTier + 1,
	}, ""
}

// whyNotFor says why a beam may not take the place of a promised one; empty
// when it may. Its mass is the same: the load was weighed with it.
func (s State) whyNotFor(old, fresh Piece) string {
	a, _ := s.Batch(old.BatchID)
	b, _ := s.Batch(fresh.BatchID)
	switch {
	case fresh.State != InYard:
		return whyGone(fresh)
	case b.whyNotReleased() != "":
		return "cannot leave: " + b.whyNotReleased()
	case fresh.keptFrom(old.Allocation.JobID):
		return fmt.Sprintf("is made for %s and kept for it", fresh.Kept)
	case a.Profile != b.Profile || a.WirePattern != b.WirePattern || fresh.LengthMM != old.LengthMM:
		return fmt.Sprintf("is no equal: %s/%s of %d mm for %s/%s of %d mm", b.Profile, b.WirePattern, fresh.LengthMM, a.Profile, a.WirePattern, old.LengthMM)
	case b.Concrete.FckCylinder < a.Concrete.FckCylinder || b.Concrete.FckCube < a.Concrete.FckCube:
		return fmt.Sprintf("is of a weaker concrete: %v MPa by cylinders for %v MPa", b.Concrete.FckCylinder, a.Concrete.FckCylinder)
	case fresh.MassG != old.MassG:
		return fmt.Sprintf("weighs %d g instead of %d g; the load was planned with that", fresh.MassG, old.MassG)
	}
	return ""
}

// Equal returns the free beam that may take the place of a promised one and is
// easiest to get at, of those the oldest; empty when there is none.
func (s State) Equal(old Piece) string {
	best, least := "", 0
	piles := s.piles()
	s.Batches(func(b Batch) {
		a, _ := s.Batch(old.BatchID)
		if b.State != Released || b.Profile != a.Profile || b.WirePattern != a.WirePattern {
			return
		}
		for _, id := range b.BeamIDs {
			p, _ := s.pieces.Get(id)
			if s.whyNotFor(old, p) != "" {
				continue
			}
			if n := piles.above(p.ID, p.StackID); best == "" || n < least {
				best, least = id, n
			}
		}
	})
	return best
}
