package yard

import (
	"fmt"
	"slices"
	"time"

	"spanyard.example/services/kit/fault"
)

// PickPieces takes promised pieces off their stacks, all or none.
type PickPieces struct {
	RunID    string
	PieceIDs []string
}

func (c PickPieces) decide(s State) ([]Event, error) {
	var p problems
	p.name("run_id", c.RunID, 64)
	p.pieceIDs(c.PieceIDs)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	lift := s.lifts()
	events, p := s.eachPiece(c.PieceIDs, func(piece Piece) (Event, string) {
		if problem := notOnRun(piece, Reserved, c.RunID); problem != "" {
			return nil, problem
		}
		b, _ := s.Batch(piece.BatchID)
		return PiecePicked{PieceID: piece.ID, RunID: c.RunID, Aside: lift(piece)}, b.whyNotReleased()
	})
	return events, p.stale("CANNOT_PICK", "%d of %d pieces cannot be picked. None was.", len(p.places), len(c.PieceIDs))
}

// LoadPieces puts picked pieces on a truck, all or none.
type LoadPieces struct {
	RunID, TruckID string
	PieceIDs       []string
}

func (c LoadPieces) decide(s State) ([]Event, error) {
	var p problems
	p.name("run_id", c.RunID, 64)
	p.name("truck_id", c.TruckID, 64)
	p.pieceIDs(c.PieceIDs)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	events, p := s.eachPiece(c.PieceIDs, func(piece Piece) (Event, string) {
		if problem := notOnRun(piece, Picked, c.RunID); problem != "" {
			return nil, problem
		}
		b, _ := s.Batch(piece.BatchID)
		return PieceLoaded{PieceID: piece.ID, RunID: c.RunID, TruckID: c.TruckID}, b.whyNotReleased()
	})
	return events, p.stale("CANNOT_LOAD", "%d of %d pieces cannot be loaded. None was.", len(p.places), len(c.PieceIDs))
}

// DeliverPieces records that loaded pieces were set down at their site, all or
// none. It looks at no quarantine: what stands at a site has to be found.
type DeliverPieces struct {
	RunID, SiteID string
	PieceIDs      []string
	At            time.Time
	// ReceivedBy took them over at the site; may be empty.
	ReceivedBy string
}

func (c DeliverPieces) decide(s State) ([]Event, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	events, p := s.eachPiece(c.PieceIDs, func(piece Piece) (Event, string) {
		return c.delivered(piece.ID), c.whyNot(piece)
	})
	return events, p.stale("CANNOT_DELIVER", "%d of %d pieces cannot be delivered. None was.", len(p.places), len(c.PieceIDs))
}

func (c DeliverPieces) check() error {
	var p problems
	p.name("run_id", c.RunID, 64)
	p.name("site_id", c.SiteID, 64)
	p.text("received_by", c.ReceivedBy, 120)
	p.pieceIDs(c.PieceIDs)
	return p.invalid()
}

func (c DeliverPieces) delivered(pieceID string) Event {
	return PieceDelivered{PieceID: pieceID, RunID: c.RunID, SiteID: c.SiteID, At: c.At, ReceivedBy: c.ReceivedBy}
}

func (c DeliverPieces) whyNot(piece Piece) string {
	if problem := notOnRun(piece, Loaded, c.RunID); problem != "" {
		return problem
	}
	if site := piece.Allocation.SiteID; site != "" && site != c.SiteID {
		return fmt.Sprintf("is for site %s, not for %s", site, c.SiteID)
	}
	return ""
}

// DeliverWhatCan is DeliverPieces for a report that came from the road and
// cannot be sent back: what was delivered on that run before is left as it is,
// what cannot have been delivered is returned with why.
func DeliverWhatCan(s State, c DeliverPieces) (events []Event, left []fault.Place, err error) {
	if !s.Open() {
		return nil, nil, fault.New(fault.Stale, "YARD_NOT_OPEN", "The yard %s has no rules yet.", s.yard)
	}
	if err := c.check(); err != nil {
		return nil, nil, err
	}
	for _, id := range c.PieceIDs {
		piece, known := s.pieces.Get(id)
		if !known {
			left = append(left, fault.Place{Where: id, Problem: "there is no such piece in this yard"})
			continue
		}
		if piece.State == Delivered && piece.Allocation.RunID == c.RunID {
			continue
		}
		if problem := c.whyNot(piece); problem != "" {
			left = append(left, fault.Place{Where: id, Problem: problem})
			continue
		}
		events = append(events, c.delivered(id))
	}
	return events, left, nil
}

// ReturnPieces takes pieces back into the yard, all or none: beams on top of a
// stack, pallets as loose blocks.
type ReturnPieces struct {
	StackID, Reason string
	PieceIDs        []string
}

func (c ReturnPieces) decide(s State) ([]Event, error) {
	var p problems
	p.name("stack_id", c.StackID, 64)
	p.name("reason", c.Reason, 500)
	p.pieceIDs(c.PieceIDs)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	owner, piles := s.stackOwner(c.StackID), s.piles()
	events, p := s.eachPiece(c.PieceIDs, func(piece Piece) (Event, string) {
		switch piece.State {
		case Picked, Loaded, Delivered:
		default:
			return nil, fmt.Sprintf("is %v; only what was picked, loaded or delivered comes back", piece.State)
		}
		if problem := s.whyNotOn(piece, c.StackID, &owner); problem != "" {
			return nil, problem
		}
		if !piece.IsPallet() {
			if problem := piles.whyNot(piece.LengthMM, c.StackID); problem != "" {
				return nil, problem
			}
			piles.put(piece.ID, piece.LengthMM, c.StackID)
		}
		return PieceReturned{PieceID: piece.ID, StackID: c.StackID, Reason: c.Reason}, ""
	})
	return events, p.stale("CANNOT_RETURN", "%d of %d pieces cannot be taken back. None was.", len(p.places), len(c.PieceIDs))
}

// whyNotOn says why a piece may not be put on a stack; empty when it may.
// owner is the batch that the stack holds, which an empty stack gets from the
// first piece put on it.
func (s State) whyNotOn(piece Piece, stackID string, owner *string) string {
	if *owner != "" && *owner != piece.BatchID {
		return fmt.Sprintf("is of batch %s, but stack %s holds batch %s", piece.BatchID, stackID, *owner)
	}
	if b, _ := s.Batch(piece.BatchID); piece.IsPallet() && b.Lot.StackID != stackID && s.stackOwner(b.Lot.StackID) == b.ID {
		return fmt.Sprintf("goes back to the other blocks of batch %s on stack %s", b.ID, b.Lot.StackID)
	}
	*owner = piece.BatchID
	return ""
}

// ScrapPieces writes pieces and loose blocks off, all or none, wherever they
// are: what broke at a site, or came back from it broken, is on no stack in
// between, and its place there is open again.
type ScrapPieces struct {
	Reason   string
	PieceIDs []string
	// BatchID and Blocks for loose blocks; empty for none.
	BatchID string
	Blocks  int
}

func (c ScrapPieces) decide(s State) ([]Event, error) {
	var p problems
	p.name("reason", c.Reason, 500)
	if c.BatchID == "" && len(c.PieceIDs) == 0 {
		p.add("piece_ids", "", "is empty, and so are the blocks", "pieces or loose blocks")
	}
	if len(c.PieceIDs) > 0 {
		p.pieceIDs(c.PieceIDs)
	}
	if c.BatchID != "" {
		p.within("blocks.block_count", int64(c.Blocks), 1, 1_000_000)
	}
	if err := p.invalid(); err != nil {
		return nil, err
	}
	events, p := s.eachPiece(c.PieceIDs, func(piece Piece) (Event, string) {
		return c.scrapped(piece)
	})
	if c.BatchID != "" {
		if problem := s.whyNotScrap(c); problem != "" {
			p.add(c.BatchID, "", problem, "")
		}
		events = append(events, BlocksScrapped{BatchID: c.BatchID, Count: c.Blocks, Reason: c.Reason})
	}
	return events, p.stale("CANNOT_SCRAP", "%d of what was named cannot be scrapped. Nothing was.", len(p.places))
}

func (c ScrapPieces) scrapped(piece Piece) (Event, string) {
	switch piece.State {
	case InYard, Reserved, Picked, Loaded:
		return PieceScrapped{PieceID: piece.ID, Reason: c.Reason}, ""
	case Delivered:
		return PieceScrapped{PieceID: piece.ID, Reason: c.Reason, DeliveredTo: piece.Allocation}, ""
	case Dissolved:
		return nil, fmt.Sprintf("is %v; scrap its blocks as loose blocks of batch %s", piece.State, piece.BatchID)
	default:
		return nil, fmt.Sprintf("is %v already; what is in the yard, on its way or at a site can be scrapped", piece.State)
	}
}

func (s State) whyNotScrap(c ScrapPieces) string {
	b, ok := s.Batch(c.BatchID)
	switch {
	case !ok:
		return "there is no such batch in this yard"
	case b.Kind != Blocks:
		return "is a batch of beams; scrap its beams by their ids"
	case b.Loose() < c.Blocks:
		return fmt.Sprintf("has too few loose blocks: %d of %d", b.Loose(), c.Blocks)
	default:
		return ""
	}
}

// MovePieces puts beams of the yard on top of another stack, in the order
// given, all or none.
type MovePieces struct {
	StackID  string
	PieceIDs []string
}

func (c MovePieces) decide(s State) ([]Event, error) {
	var p problems
	p.name("stack_id", c.StackID, 64)
	p.pieceIDs(c.PieceIDs)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	owner, lift, piles := s.stackOwner(c.StackID), s.lifts(), s.piles()
	events, p := s.eachPiece(c.PieceIDs, func(piece Piece) (Event, string) {
		switch {
		case piece.IsPallet():
			return nil, "is a pallet; pallets stand by the blocks of their batch"
		case piece.State != InYard && piece.State != Reserved:
			return nil, fmt.Sprintf("is %v and lies on no stack", piece.State)
		case piece.StackID == c.StackID:
			return nil, "lies on that stack already"
		}
		if problem := piles.whyNot(piece.LengthMM, c.StackID); problem != "" {
			return nil, problem
		}
		piles.put(piece.ID, piece.LengthMM, c.StackID)
		return PieceMoved{PieceID: piece.ID, StackID: c.StackID, Aside: lift(piece)}, s.whyNotOn(piece, c.StackID, &owner)
	})
	return events, p.stale("CANNOT_MOVE", "%d of %d pieces cannot be moved. None was.", len(p.places), len(c.PieceIDs))
}

// lifts returns a function that takes pieces off their stacks one after the
// other and says what lies in higher tiers and has to be lifted aside, top
// first. What is aside stays there until the last piece of the stack is out,
// so each piece is named once.
func (s State) lifts() func(Piece) []string {
	stacks := map[string][]string{}
	aside := map[string]bool{}
	return func(piece Piece) []string {
		ids, begun := stacks[piece.StackID]
		if !begun {
			st, _ := s.stacks.Get(piece.StackID)
			ids = st.Pieces
		}
		at := slices.Index(ids, piece.ID)
		if at < 0 {
			return nil // a pallet: it stands on the ground
		}
		var above []string
		for i := len(ids) - 1; i/s.rules.BeamsPerStackTier > at/s.rules.BeamsPerStackTier; i-- {
			if !aside[ids[i]] {
				aside[ids[i]] = true
				above = append(above, ids[i])
			}
		}
		stacks[piece.StackID] = without(ids, piece.ID)
		return above
	}
}

// eachPiece makes an event of every piece, or names what is wrong with it.
// Without problems there is one event for each piece.
func (s State) eachPiece(ids []string, fn func(Piece) (Event, string)) ([]Event, problems) {
	var p problems
	events := make([]Event, 0, len(ids))
	for _, id := range ids {
		piece, ok := s.pieces.Get(id)
		if !ok {
			p.add(id, "", "there is no such piece in this yard", "")
			continue
		}
		event, problem := fn(piece)
		if problem != "" {
			p.add(id, "", problem, "")
			continue
		}
		events = append(events, event)
	}
	return events, p
}

// pieceIDs checks how many pieces a command names, and that none is named
// twice.
func (p *problems) pieceIDs(ids []string) {
	if len(ids) == 0 {
		p.add("piece_ids", "", "names no piece", "")
	}
	if len(ids) > MaxPiecesPerStep {
		p.add("piece_ids", fmt.Sprintf("%d pieces", len(ids)), "is too many for one step; split it",
			fmt.Sprintf("at most %d pieces", MaxPiecesPerStep))
		return
	}
	seen := make(map[string]bool, len(ids))
	for _, id := range ids {
		if seen[id] {
			p.add("piece_ids", id, "is named twice", "each piece once")
		}
		seen[id] = true
	}
}

// notOnRun says why a piece is not where a run expects it.
func notOnRun(p Piece, want PieceState, runID string) string {
	switch {
	case p.State != want:
		return fmt.Sprintf("is %v, not %v", p.State, want)
	case p.Allocation.RunID != runID:
		return fmt.Sprintf("is for run %s, not for %s", p.Allocation.RunID, runID)
	default:
		return ""
	}
}
