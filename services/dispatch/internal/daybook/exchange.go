package daybook

import (
	"slices"

	"spanyard.example/services/kit/fault"
)

// Exchange takes note that stock let an equal beam take over the place of one
// of a run. What held the run up because of the old beam is over with it.
type Exchange struct {
	RunID, OldID, NewID string
	// BatchID, StackID and StackTier are of the new beam.
	BatchID, StackID string
	StackTier        int
	By, Reason       string
}

func (c Exchange) decide(s State) ([]Event, error) {
	r, ok := s.runs.Get(c.RunID)
	if !ok {
		if _, run := s.confirmingPlanOf(c.RunID); run != nil {
			return nil, fault.New(fault.Conflict, "BEING_CONFIRMED", "Run %s is being confirmed just now; try again in a moment.", c.RunID)
		}
		return nil, nil
	}
	if r.State == RunCancelledState {
		return nil, nil
	}
	var events []Event
	r.Run.Items(func(_ *Pile, item *Item) {
		if item.PieceID == c.OldID {
			events = append(events, PieceExchanged{
				RunID: c.RunID, OldID: c.OldID, NewID: c.NewID, Mark: item.Mark, BatchID: c.BatchID, StackID: c.StackID, StackTier: c.StackTier, By: c.By, Reason: c.Reason,
			})
		}
	})
	return events, nil
}

func (s State) exchanged(e PieceExchanged) State {
	s = s.withRun(e.RunID, func(r *RunStatus) {
		r.Run, r.Exchanged = r.Run.exchanged(e), true
		r.Hits = slices.DeleteFunc(slices.Clone(r.Hits), func(h Hit) bool { return h.PieceID == e.OldID })
		if len(r.Hits) == 0 && r.State == RunHitState {
			r.State = RunConfirmedState
		}
	})
	if run, ok := s.pieces.Get(e.OldID); ok && run == e.RunID {
		s.pieces = s.pieces.Delete(e.OldID)
	}
	s.pieces = s.pieces.Set(e.NewID, e.RunID)
	return s
}

// exchanged returns the run with a beam in the place of another.
func (r Run) exchanged(e PieceExchanged) Run {
	r.Piles = slices.Clone(r.Piles)
	for p := range r.Piles {
		pile := &r.Piles[p]
		pile.Tiers = slices.Clone(pile.Tiers)
		for t := range pile.Tiers {
			pile.Tiers[t] = slices.Clone(pile.Tiers[t])
			for i := range pile.Tiers[t] {
				if item := &pile.Tiers[t][i]; item.PieceID == e.OldID {
					item.PieceID, item.BatchID = e.NewID, e.BatchID
				}
			}
		}
	}
	r.Picks = slices.Clone(r.Picks)
	for i := range r.Picks {
		if pick := &r.Picks[i]; pick.PieceID == e.OldID {
			pick.PieceID, pick.BatchID, pick.StackID, pick.StackTier = e.NewID, e.BatchID, e.StackID, e.StackTier
			// What was moved aside for the old beam need not be, and what lies
			// above the new one is seen when it is picked.
			number := pick.Number
			if r.Moves = slices.DeleteFunc(slices.Clone(r.Moves), func(m AsideMove) bool { return m.BeforePick == number }); len(r.Moves) == 0 {
				r.Moves = nil
			}
		}
	}
	return r
}
