package daybook

import (
	"fmt"
	"slices"

	"spanyard.example/services/kit/fault"
)

// Together takes several decisions as one, each on what those before lead to.
type Together []Command

func (c Together) decide(s State) ([]Event, error) {
	var all []Event
	for _, one := range c {
		events, err := one.decide(s)
		if err != nil {
			return nil, err
		}
		for _, e := range events {
			s = Evolve(s, e)
		}
		all = append(all, events...)
	}
	return all, nil
}

// SetDown takes note that stock had a piece set down at a site. What a run's
// own drop brought is in the book already. A piece that was set down by hand
// fills its place: also when its run is cancelled, before or after, so that
// nothing is brought there twice. A run that has another piece for the place by
// now is hit.
type SetDown struct{ RunID, PieceID, SiteID string }

func (c SetDown) decide(s State) ([]Event, error) {
	r, ok := s.runs.Get(c.RunID)
	if !ok {
		if _, run := s.confirmingPlanOf(c.RunID); run != nil {
			return nil, fault.New(fault.Conflict, "BEING_CONFIRMED", "Run %s is being confirmed just now; try again in a moment.", c.RunID)
		}
		return nil, nil
	}
	var events []Event
	r.Run.Items(func(pile *Pile, item *Item) {
		if item.PieceID != c.PieceID || r.isDown(pile, item) {
			return
		}
		events = append(events, PieceSetDown{RunID: c.RunID, PieceID: c.PieceID, SiteID: c.SiteID, Mark: item.Mark})
		if r.State == RunCancelledState || slices.Contains(r.TakenBack, item.PieceID) {
			events = append(events, s.alsoCarried(r, item)...)
		}
	})
	return events, nil
}

// alsoCarried hits the runs that bring something to a place which a piece of a
// cancelled run has filled.
func (s State) alsoCarried(down *RunStatus, filled *Item) []Event {
	var reports []Report
	whose := "run"
	if down.State == RunCancelledState {
		whose = "cancelled run"
	}
	look := func(run *Run) {
		run.Items(func(_ *Pile, item *Item) {
			if run.ID != down.Run.ID && item.FloorKey == filled.FloorKey && item.Room == filled.Room && item.Mark == filled.Mark && item.IsPallet() == filled.IsPallet() {
				reports = append(reports, Report{
					RunID: run.ID, PieceID: item.PieceID, BatchID: item.BatchID, Kind: PlaceFilled,
					Reason: fmt.Sprintf("its place is filled: piece %s of %s %s was set down there", filled.PieceID, whose, down.Run.ID),
				})
			}
		})
	}
	if filled.IsPallet() && !s.tooManyBlocks(filled) {
		return nil
	}
	each(s.runs, func(_ string, r *RunStatus) {
		if r.State != RunCancelledState {
			look(&r.Run)
		}
	})
	confirming, _ := s.Unsettled()
	for _, id := range confirming {
		p, _ := s.plans.Get(id)
		for i := range p.Plan.Runs {
			look(&p.Plan.Runs[i])
		}
	}
	events, _ := ReportHits{Reports: reports}.decide(s)
	return events
}

// tooManyBlocks says whether a pallet more is more than its room needs.
func (s State) tooManyBlocks(pallet *Item) bool {
	b := s.floor(pallet.FloorKey)
	if b.floor == nil {
		return false
	}
	_, room := b.floor.room(pallet.Room)
	placed, _ := b.blocks.Get(pallet.Room)
	confirming, _ := s.Unsettled()
	for _, id := range confirming {
		p, _ := s.plans.Get(id)
		for i := range p.Plan.Runs {
			p.Plan.Runs[i].Items(func(_ *Pile, item *Item) {
				if item.IsPallet() && item.FloorKey == pallet.FloorKey && item.Room == pallet.Room {
					placed += item.BlockCount
				}
			})
		}
	}
	return room == nil || placed+pallet.BlockCount > room.BlockCount
}

// TakeBack takes note that a piece came back to the yard, or was written off: if
// it was set down, by hand or with its drop, its place is empty again.
type TakeBack struct {
	PieceID string
	Broken  bool
}

func (c TakeBack) decide(s State) ([]Event, error) {
	id, ok := s.pieces.Get(c.PieceID)
	if !ok {
		return nil, nil
	}
	r, ok := s.runs.Get(id)
	if !ok {
		return nil, nil
	}
	var events []Event
	r.Run.Items(func(pile *Pile, item *Item) {
		if item.PieceID == c.PieceID && r.isDown(pile, item) {
			events = append(events, PieceTakenBack{RunID: id, PieceID: c.PieceID, Mark: item.Mark, Broken: c.Broken})
		}
	})
	return events, nil
}

func (s State) setDown(e PieceSetDown) State {
	again := false
	s = s.withRun(e.RunID, func(r *RunStatus) {
		again = slices.Contains(r.TakenBack, e.PieceID)
		r.TakenBack = without(r.TakenBack, e.PieceID)
		r.SetDown = append(slices.Clone(r.SetDown), e.PieceID)
		r.endWhenAllIsDown()
	})
	if r, ok := s.runs.Get(e.RunID); ok && (again || r.State == RunCancelledState) {
		s = s.fill(r, e.PieceID)
		s = s.withDay(r.Day, func(d *dayBook) { d.changes++ })
	}
	return s
}

// fill records that the place of a cancelled run's piece is filled all the
// same, whatever other run has a piece for it.
func (s State) fill(r *RunStatus, pieceID string) State {
	r.Run.Items(func(_ *Pile, item *Item) {
		if item.PieceID == pieceID {
			s = s.placeItem(r.Run.ID, item)
		}
	})
	return s
}

func (s State) takenBack(e PieceTakenBack) State {
	s = s.withRun(e.RunID, func(r *RunStatus) {
		r.SetDown = without(r.SetDown, e.PieceID)
		r.settle(e.PieceID)
	})
	r, ok := s.runs.Get(e.RunID)
	if !ok {
		return s
	}
	if r.State != RunCancelledState {
		return s.backFromDrop(r, e.PieceID)
	}
	r.Run.Items(func(_ *Pile, item *Item) {
		if item.PieceID == e.PieceID {
			s = s.clearItem(e.RunID, item)
			s = s.replace(item)
		}
	})
	return s.withDay(r.Day, func(d *dayBook) { d.changes++ })
}

// backFromDrop opens the place of a piece that its drop had brought. What was
// set down by hand of a run that goes on stays that run's to bring.
func (s State) backFromDrop(r *RunStatus, pieceID string) State {
	brought := false
	r.Run.Items(func(pile *Pile, item *Item) {
		brought = brought || item.PieceID == pieceID && slices.Contains(r.Delivered, pile.DropNumber)
	})
	if !brought {
		return s
	}
	s = s.withRun(r.Run.ID, func(r *RunStatus) { r.TakenBack = append(slices.Clone(r.TakenBack), pieceID) })
	s = s.reopen(r, pieceID)
	return s.withDay(r.Day, func(d *dayBook) { d.changes++ })
}

// reopen makes the place of a run's piece that came back one that is to be
// filled, by whichever other run has a piece for it already.
func (s State) reopen(r *RunStatus, pieceID string) State {
	r.Run.Items(func(_ *Pile, item *Item) {
		if item.PieceID == pieceID {
			s = s.clearItem(r.Run.ID, item)
			s = s.replace(item)
		}
	})
	return s
}

// replace gives an emptied place to the live run that has another piece for it,
// if there is one.
func (s State) replace(emptied *Item) State {
	if emptied.IsPallet() {
		return s
	}
	each(s.runs, func(id string, r *RunStatus) {
		if r.State == RunCancelledState {
			return
		}
		r.Run.Items(func(_ *Pile, item *Item) {
			if item.FloorKey == emptied.FloorKey && item.Mark == emptied.Mark && !slices.Contains(r.TakenBack, item.PieceID) {
				s = s.withFloor(item.FloorKey, func(b *floorBook) { b.marks = b.marks.Set(item.Mark, id) })
			}
		})
	})
	return s
}

// endWhenAllIsDown ends a run of which nothing is left to bring.
func (r *RunStatus) endWhenAllIsDown() {
	if r.State == RunCancelledState {
		return
	}
	all := true
	r.Run.Items(func(pile *Pile, item *Item) {
		all = all && (r.isDown(pile, item) || slices.Contains(r.TakenBack, item.PieceID))
	})
	if !all {
		return
	}
	r.State = RunDeliveredState
	for _, d := range r.Run.Drops {
		if !slices.Contains(r.Delivered, d.Number) {
			r.Delivered = append(slices.Clone(r.Delivered), d.Number)
		}
	}
}
