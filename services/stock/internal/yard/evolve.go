package yard

import (
	"slices"
	"time"

	"github.com/benbjohnson/immutable"
)

// Evolve returns the yard after an event. Events come from Decide alone; one
// that speaks of things the yard has never seen changes nothing.
func Evolve(s State, event Event) State {
	switch e := event.(type) {
	case RulesSet:
		s.rules = e.Rules
		// The name was checked when the event was decided, and zone data is
		// part of the program.
		if zone, err := time.LoadLocation(e.Rules.TimeZone); err == nil {
			s.zone = zone
		}
	case BatchReceived:
		return s.receive(e)
	case TestRecorded:
		return s.changeBatch(e.BatchID, func(b *Batch) { b.Tests = append(slices.Clip(b.Tests), e.Test) })
	case CureRecorded:
		return s.changeBatch(e.BatchID, func(b *Batch) { b.Cure = &e.Cure })
	case BatchReleased:
		return s.changeBatch(e.BatchID, func(b *Batch) { b.State, b.Release = Released, &e.Release })
	case BatchQuarantined:
		return s.changeBatch(e.BatchID, func(b *Batch) {
			b.State, b.Release = Quarantined, nil
			b.QuarantineReason, b.QuarantinedBy = e.Reason, e.By
		})
	case QuarantineLifted:
		return s.changeBatch(e.BatchID, func(b *Batch) {
			b.State, b.QuarantineReason, b.QuarantinedBy = Curing, "", ""
		})
	case PiecesReserved:
		return s.reserve(e)
	case ReservationDropped:
		for _, id := range e.PieceIDs {
			s = s.drop(id)
		}
	case BlocksScrapped:
		s = s.changeBatch(e.BatchID, func(b *Batch) { b.Counts = b.Counts.move(e.Count, InYard, Scrapped) })
		return s.tidyLot(e.BatchID)
	case PalletsPacked, PalletSplit, PalletsMerged, PalletsUnpacked:
		return s.evolvePallets(event)
	default:
		return s.evolvePiece(event)
	}
	return s
}

func (s State) evolvePallets(event Event) State {
	switch e := event.(type) {
	case PalletsPacked:
		for _, p := range e.Pallets {
			s = s.pack(p.ID, Pallet{BatchID: e.BatchID, Count: p.Blocks})
		}
	case PalletSplit:
		p, ok := s.pieces.Get(e.PieceID)
		if !ok {
			return s
		}
		s = s.fill(p, p.Blocks-e.Blocks)
		s = s.pack(e.NewID, Pallet{BatchID: p.BatchID, Count: e.Blocks})
		return s.changeBatch(p.BatchID, func(b *Batch) { b.OnPallets -= e.Blocks })
	case PalletsMerged:
		for _, id := range e.FromIDs {
			into, _ := s.pieces.Get(e.PieceID)
			from, ok := s.pieces.Get(id)
			if !ok {
				continue
			}
			s = s.fill(into, into.Blocks+from.Blocks)
			s = s.dissolve(from)
			s = s.changeBatch(from.BatchID, func(b *Batch) { b.OnPallets += from.Blocks })
		}
	case PalletsUnpacked:
		for _, id := range e.PieceIDs {
			if p, ok := s.pieces.Get(id); ok {
				s = s.dissolve(p)
			}
		}
	}
	return s
}

// fill changes how many blocks stand on a pallet.
func (s State) fill(p Piece, blocks int) State {
	b, _ := s.Batch(p.BatchID)
	p.Blocks, p.MassG = blocks, int64(blocks)*b.Lot.MassGEach
	s.pieces = s.pieces.Set(p.ID, p)
	return s
}

// takeOver lets a beam take over what another is promised.
func (s State) takeOver(e PieceExchanged) State {
	old, known := s.pieces.Get(e.OldID)
	fresh, ok := s.pieces.Get(e.NewID)
	if !known || !ok {
		return s
	}
	s = s.forget(old)
	old.Allocation = nil
	if old.State == Scrapped {
		s.pieces = s.pieces.Set(old.ID, old) // broken: it is nobody's, and never free
	} else {
		s = s.setPiece(old, InYard)
	}
	fresh.Allocation = &e.Allocation
	s = s.setPiece(fresh, Reserved)
	set, ok := s.reservations.Get(e.Allocation.ReservationID)
	if !ok {
		set = immutable.NewSortedSet[string](nil)
	}
	s.reservations = s.reservations.Set(e.Allocation.ReservationID, set.Add(fresh.ID))
	return s
}

func (s State) evolvePiece(event Event) State {
	switch e := event.(type) {
	case PiecePicked:
		return s.leaveStack(e.PieceID, Picked)
	case PieceLoaded:
		return s.changePiece(e.PieceID, Loaded, func(p *Piece) { p.TruckID = e.TruckID })
	case PieceDelivered:
		return s.changePiece(e.PieceID, Delivered, func(p *Piece) {
			p.DeliveredAt, p.ReceivedBy = e.At, e.ReceivedBy
			if a := p.Allocation; a != nil && a.SiteID == "" {
				arrived := *a
				arrived.SiteID = e.SiteID
				p.Allocation = &arrived
			}
		})
	case PieceReturned:
		return s.takeBack(e)
	case PieceScrapped:
		return s.leaveStack(e.PieceID, Scrapped)
	case PieceExchanged:
		return s.takeOver(e)
	case KeepingEnded:
		for _, id := range e.PieceIDs {
			if p, ok := s.pieces.Get(id); ok {
				p.Kept = nil
				s.pieces = s.pieces.Set(id, p)
			}
		}
	case PieceMoved:
		if p, ok := s.pieces.Get(e.PieceID); ok {
			s = s.pull(p)
			return s.push(p, e.StackID)
		}
	}
	return s
}

func (s State) receive(e BatchReceived) State {
	b := Batch{
		ID: e.BatchID, Kind: e.Kind, State: Curing, MadeOn: e.MadeOn, Concrete: e.Concrete,
		Profile: e.Profile, WirePattern: e.WirePattern, Lot: e.Lot, Source: e.Source,
	}
	if e.Kind == Blocks {
		b.Counts = Counts{Made: e.Lot.Count, InYard: e.Lot.Count}
		b.pallets = immutable.NewSortedSet[string](nil)
		s.stacks = s.stacks.Set(e.Lot.StackID, Stack{ID: e.Lot.StackID, BatchID: b.ID})
	} else {
		b.Counts = Counts{Made: len(e.Beams), InYard: len(e.Beams)}
		b.BeamIDs = make([]string, len(e.Beams))
	}
	piles := map[string][]string{}
	for i, beam := range e.Beams {
		b.BeamIDs[i] = beam.ID
		piles[beam.StackID] = append(piles[beam.StackID], beam.ID)
		piece := Piece{ID: beam.ID, BatchID: b.ID, State: InYard, LengthMM: beam.LengthMM, MassG: beam.MassG, StackID: beam.StackID}
		if beam.Kept != (Kept{}) {
			piece.Kept = &beam.Kept
		}
		s.pieces = s.pieces.Set(beam.ID, piece)
	}
	for stackID, ids := range piles {
		st, _ := s.stacks.Get(stackID)
		ids = append(slices.Clip(st.Pieces), ids...)
		s.stacks = s.stacks.Set(stackID, Stack{ID: stackID, BatchID: b.ID, Pieces: ids})
	}
	s.batches = s.batches.Set(b.ID, &b)
	return s
}

func (s State) reserve(e PiecesReserved) State {
	set, ok := s.reservations.Get(e.ReservationID)
	if !ok {
		set = immutable.NewSortedSet[string](nil)
	}
	for i := range e.Pieces {
		r := &e.Pieces[i]
		if r.Pallet != nil {
			s = s.pack(r.PieceID, *r.Pallet)
		}
		p, ok := s.pieces.Get(r.PieceID)
		if !ok {
			continue
		}
		allocation := r.Allocation
		p.Allocation = &allocation
		s = s.setPiece(p, Reserved)
		set = set.Add(p.ID)
	}
	s.reservations = s.reservations.Set(e.ReservationID, set)
	return s
}

// pack puts loose blocks on a new pallet beside their stack.
func (s State) pack(id string, pallet Pallet) State {
	b, ok := s.Batch(pallet.BatchID)
	if !ok {
		return s
	}
	b.pallets = b.pallets.Add(id)
	b.OnPallets += pallet.Count
	s.batches = s.batches.Set(b.ID, &b)
	s.pieces = s.pieces.Set(id, Piece{
		ID: id, BatchID: b.ID, State: InYard, MassG: int64(pallet.Count) * b.Lot.MassGEach, StackID: b.Lot.StackID, Blocks: pallet.Count,
	})
	return s
}

func (s State) drop(id string) State {
	p, ok := s.pieces.Get(id)
	if !ok {
		return s
	}
	if p.IsPallet() {
		return s.dissolve(p)
	}
	s = s.forget(p)
	p.Allocation = nil
	return s.setPiece(p, InYard)
}

func (s State) takeBack(e PieceReturned) State {
	p, ok := s.pieces.Get(e.PieceID)
	if !ok {
		return s
	}
	p.Allocation, p.TruckID, p.DeliveredAt, p.ReceivedBy = nil, "", time.Time{}, ""
	if p.IsPallet() {
		s = s.changeBatch(p.BatchID, func(b *Batch) { b.Lot.StackID = e.StackID })
		return s.dissolve(p)
	}
	s = s.setPiece(p, InYard)
	p, _ = s.pieces.Get(p.ID)
	return s.push(p, e.StackID)
}

// dissolve makes the blocks of a pallet loose again. The pallet stays known,
// without its blocks, so that its id is not given out twice.
func (s State) dissolve(p Piece) State {
	s = s.forget(p)
	s = s.changeBatch(p.BatchID, func(b *Batch) {
		b.Counts = b.Counts.move(p.Units(), p.State, Dissolved)
		b.standing(p, p.State, Dissolved)
		b.pallets = b.pallets.Delete(p.ID)
	})
	s.pieces = s.pieces.Set(p.ID, Piece{ID: p.ID, BatchID: p.BatchID, State: Dissolved})
	return s.tidyLot(p.BatchID)
}

func (s State) leaveStack(id string, to PieceState) State {
	p, ok := s.pieces.Get(id)
	if !ok {
		return s
	}
	s = s.forget(p)
	s = s.pull(p)
	p.StackID = ""
	s = s.setPiece(p, to)
	return s.tidyLot(p.BatchID)
}

func (s State) changePiece(id string, to PieceState, change func(*Piece)) State {
	p, ok := s.pieces.Get(id)
	if !ok {
		return s
	}
	change(&p)
	return s.setPiece(p, to)
}

// forget takes a piece out of its reservation, if it is still held there.
func (s State) forget(p Piece) State {
	if p.State != Reserved || p.Allocation == nil {
		return s
	}
	if set, ok := s.reservations.Get(p.Allocation.ReservationID); ok {
		s.reservations = s.reservations.Set(p.Allocation.ReservationID, set.Delete(p.ID))
	}
	return s
}

// setPiece stores a piece in a new state and keeps its batch's counts.
func (s State) setPiece(p Piece, to PieceState) State {
	from := p.State
	p.State = to
	s.pieces = s.pieces.Set(p.ID, p)
	return s.changeBatch(p.BatchID, func(b *Batch) {
		b.Counts = b.Counts.move(p.Units(), from, to)
		b.standing(p, from, to)
	})
}

// standing keeps count of the blocks on pallets that are nobody's.
func (b *Batch) standing(p Piece, from, to PieceState) {
	if !p.IsPallet() {
		return
	}
	if from == InYard {
		b.OnPallets -= p.Blocks
	}
	if to == InYard {
		b.OnPallets += p.Blocks
	}
}

func (s State) changeBatch(id string, change func(*Batch)) State {
	b, ok := s.Batch(id)
	if !ok {
		return s
	}
	change(&b)
	s.batches = s.batches.Set(id, &b)
	return s
}

// push puts a piece on top of a stack.
func (s State) push(p Piece, stackID string) State {
	st, _ := s.stacks.Get(stackID)
	st.ID, st.BatchID = stackID, p.BatchID
	st.Pieces = append(slices.Clip(st.Pieces), p.ID)
	s.stacks = s.stacks.Set(stackID, st)
	p.StackID = stackID
	s.pieces = s.pieces.Set(p.ID, p)
	return s
}

// pull takes a beam off its stack, and forgets a stack on which nothing lies,
// so that another batch may use its place.
func (s State) pull(p Piece) State {
	st, ok := s.stacks.Get(p.StackID)
	if !ok || p.IsPallet() {
		return s
	}
	st.Pieces = without(st.Pieces, p.ID)
	if len(st.Pieces) == 0 {
		s.stacks = s.stacks.Delete(st.ID)
	} else {
		s.stacks = s.stacks.Set(st.ID, st)
	}
	return s
}

// tidyLot keeps the stack of a block batch as long as loose blocks or promised
// pallets lie there.
func (s State) tidyLot(batchID string) State {
	b, ok := s.Batch(batchID)
	if !ok || b.Kind != Blocks {
		return s
	}
	if b.Counts.InYard+b.Counts.Reserved > 0 {
		s.stacks = s.stacks.Set(b.Lot.StackID, Stack{ID: b.Lot.StackID, BatchID: b.ID})
	} else if s.stackOwner(b.Lot.StackID) == b.ID {
		s.stacks = s.stacks.Delete(b.Lot.StackID)
	}
	return s
}

// without returns the list without an id, leaving the list as it was. Taking
// off the end, the usual case for a stack, copies nothing.
func without(ids []string, id string) []string {
	if n := len(ids); n > 0 && ids[n-1] == id {
		return ids[: n-1 : n-1]
	}
	i := slices.Index(ids, id)
	if i < 0 {
		return ids
	}
	rest := make([]string, 0, len(ids)-1)
	return append(append(rest, ids[:i]...), ids[i+1:]...)
}
