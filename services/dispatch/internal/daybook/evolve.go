package daybook

import (
	"slices"

	"spanyard.example/services/kit/civil"
)

// Plans that bind nobody are kept this far: so many of a day, and none of a
// day so long before the newest day that was planned.
const (
	keepDraftsPerDay = 20
	keepDraftsDays   = 14
)

// Evolve returns the state after an event.
func Evolve(s State, event Event) State {
	switch e := event.(type) {
	case RulesSet:
		s.rules = &e.Rules
		s.setUp++
	case TrucksSet:
		s.trucks = e.Trucks
		s.setUp++
	case SitesSet:
		s.sites = New("").sites
		for i := range e.Sites {
			s.sites = s.sites.Set(e.Sites[i].ID, &e.Sites[i])
		}
		s.setUp++
	case TravelSet:
		s.travel = e.Legs
		s.setUp++
	case FloorPlanned:
		s = s.withFloor(e.Floor.FloorKey, func(b *floorBook) { b.floor = &e.Floor })
	case FloorWithdrawn:
		s = s.withFloor(e.FloorKey, func(b *floorBook) { b.floor = nil })
	case CalledOff:
		s = s.calledOff(e.CallOff)
	case CallOffCancelled:
		s = s.callOffCancelled(e.CallOffID)
	default:
		s = evolveMorning(s, event)
	}
	return s
}

func evolveMorning(s State, event Event) State {
	switch e := event.(type) {
	case MorningPlanned:
		s = s.planned(e.Plan)
	case MorningConfirming:
		s = s.withPlan(e.PlanID, func(p *PlanStatus) {
			p.State, p.ConfirmedBy, p.ReservationID = Confirming, e.ConfirmedBy, e.ReservationID
		})
		s = s.withDay(e.Day, func(d *dayBook) { d.confirming = e.PlanID })
		s.unsettled = s.unsettled.Set(e.PlanID, true)
	case RunConfirmed:
		s = s.runConfirmed(e)
	case MorningConfirmed:
		s = s.withPlan(e.PlanID, func(p *PlanStatus) {
			p.State, p.ConfirmedBy, p.StockPosition, p.EarlyHits = Confirmed, e.ConfirmedBy, e.StockPosition, nil
		})
		s = s.withDay(e.Day, func(d *dayBook) { d.confirming, d.served = "", true; d.changes++ })
		s.unsettled = s.unsettled.Delete(e.PlanID)
	case MorningConfirmFailed:
		s = s.withPlan(e.PlanID, func(p *PlanStatus) {
			p.State, p.Missing, p.EarlyHits = Failed, e.Missing, nil
		})
		s = s.withDay(e.Day, func(d *dayBook) { d.confirming = "" })
		s.unsettled = s.unsettled.Delete(e.PlanID)
	case DayHindered:
		s = s.hindered(e)
	case HindranceEnded:
		s = s.withDay(e.Day, func(d *dayBook) { d.hindrances = d.others(e.TruckID, e.SiteID); d.changes++ })
	case RunDelayed:
		s = s.delayed(e)
	default:
		s = evolveRun(s, event)
	}
	return s
}

func evolveRun(s State, event Event) State {
	switch e := event.(type) {
	case PicksIssued:
		// The picks are part of the run; the event is for those who pick.
	case RunChanged:
		s = s.runChanged(e)
	case RunCleared:
		s = s.runCleared(e)
	case PieceSetDown:
		s = s.setDown(e)
	case PieceTakenBack:
		s = s.takenBack(e)
	case PieceExchanged:
		s = s.exchanged(e)
	case RunDeparted:
		s = s.withRun(e.RunID, func(r *RunStatus) { r.State = RunDepartedState })
	case DropDelivered:
		s = s.dropDelivered(e)
	case LayingRecorded:
		s = s.layingRecorded(e)
	case PieceReported:
		s = s.pieceReported(e)
	case RunCancelled:
		s = s.runCancelled(e)
	case RunFreed:
		s = s.withRun(e.RunID, func(r *RunStatus) { r.Freed = true })
		s.unsettled = s.unsettled.Delete(e.RunID)
	}
	return s
}

// dropDelivered ends a drop. What of it came back before, or broke, was not set
// down: its place is to be filled again.
func (s State) dropDelivered(e DropDelivered) State {
	r, ok := s.runs.Get(e.RunID)
	if !ok {
		return s
	}
	var missing []string
	for _, id := range r.Run.dropPieceIDs(e.DropNumber) {
		if !slices.Contains(e.PieceIDs, id) {
			missing = append(missing, id)
		}
	}
	s = s.withRun(e.RunID, func(r *RunStatus) {
		r.Delivered = append(slices.Clone(r.Delivered), e.DropNumber)
		r.TakenBack = append(slices.Clone(r.TakenBack), missing...)
		r.endWhenAllIsDown()
	})
	for _, id := range missing {
		s = s.reopen(r, id)
	}
	return s
}

func (s State) withFloor(k FloorKey, change func(*floorBook)) State {
	b := *s.floor(k)
	change(&b)
	s.floors = s.floors.Set(k.key(), &b)
	return s
}

func (s State) withDay(day string, change func(*dayBook)) State {
	d := *s.day(day)
	change(&d)
	s.days = s.days.Set(day, &d)
	return s
}

func (s State) withPlan(id string, change func(*PlanStatus)) State {
	old, ok := s.plans.Get(id)
	if !ok {
		return s
	}
	p := *old
	change(&p)
	s.plans = s.plans.Set(id, &p)
	return s
}

func (s State) withRun(id string, change func(*RunStatus)) State {
	old, ok := s.runs.Get(id)
	if !ok {
		return s
	}
	r := *old
	change(&r)
	s.runs = s.runs.Set(id, &r)
	return s
}

func (s State) calledOff(c CallOff) State {
	s.callOffs = s.callOffs.Set(c.ID, &c)
	s = s.withFloor(c.FloorKey, func(b *floorBook) { b.called = append(slices.Clone(b.called), c.ID) })
	return s.withDay(c.Day, func(d *dayBook) {
		d.callOffs = append(slices.Clone(d.callOffs), c.ID)
		d.changes++
	})
}

func (s State) callOffCancelled(id string) State {
	c, ok := s.callOffs.Get(id)
	if !ok {
		return s
	}
	s.callOffs = s.callOffs.Delete(id)
	s = s.withFloor(c.FloorKey, func(b *floorBook) { b.called = without(b.called, id) })
	return s.withDay(c.Day, func(d *dayBook) {
		d.callOffs = without(d.callOffs, id)
		d.changes++
	})
}

func without(list []string, id string) []string {
	return slices.DeleteFunc(slices.Clone(list), func(x string) bool { return x == id })
}

// planned keeps the plan and forgets drafts that nobody needs any more.
func (s State) planned(p Plan) State {
	s.plans = s.plans.Set(p.ID, &PlanStatus{State: Draft, Plan: p, SetUp: s.setUp})
	s = s.withDay(p.Day, func(d *dayBook) {
		d.planned++
		d.plans = append(slices.Clone(d.plans), p.ID)
	})
	s = s.forgetDrafts(p.Day, keepDraftsPerDay)
	newest, err := civil.ParseDay(p.Day)
	if err != nil {
		return s
	}
	s = s.foldOld(newest)
	before := (newest - keepDraftsDays).String()
	var old []string
	for it := s.days.Iterator(); !it.Done(); {
		day, d, _ := it.Next()
		if day >= before {
			break
		}
		if len(d.plans) > 0 {
			old = append(old, day)
		}
	}
	for _, day := range old {
		s = s.forgetDrafts(day, 0)
	}
	return s
}

// forgetDrafts drops the oldest plans of a day that bind nobody until so many
// are left.
func (s State) forgetDrafts(day string, keep int) State {
	d := s.day(day)
	var idle []string
	for _, id := range d.plans {
		if p, ok := s.plans.Get(id); ok && (p.State == Draft || p.State == Failed) {
			idle = append(idle, id)
		}
	}
	if len(idle) <= keep {
		return s
	}
	for _, id := range idle[:len(idle)-keep] {
		s.plans = s.plans.Delete(id)
		s = s.withDay(day, func(d *dayBook) { d.plans = without(d.plans, id) })
	}
	return s
}

func (s State) runConfirmed(e RunConfirmed) State {
	r := &RunStatus{State: RunConfirmedState, PlanID: e.PlanID, Day: e.Day, Run: e.Run}
	if p, ok := s.plans.Get(e.PlanID); ok {
		r.ReservationID = p.ReservationID
		for _, h := range p.EarlyHits {
			if h.RunID == e.Run.ID {
				r.Hits = append(r.Hits, h.Hit)
				r.State = RunHitState
			}
		}
	}
	s.runs = s.runs.Set(r.Run.ID, r)
	s = s.withDay(r.Day, func(d *dayBook) {
		d.runs = append(slices.Clone(d.runs), r.Run.ID)
		d.changes++
	})
	return s.place(&r.Run)
}

// place records that the marks, blocks and pieces of a run are on it. A place
// that is filled for good stays that of the run whose piece lies there.
func (s State) place(run *Run) State {
	run.Items(func(_ *Pile, item *Item) { s = s.placeItem(run.ID, item) })
	return s
}

func (s State) placeItem(runID string, item *Item) State {
	s.pieces = s.pieces.Set(item.PieceID, runID)
	return s.withFloor(item.FloorKey, func(b *floorBook) {
		if item.IsPallet() {
			n, _ := b.blocks.Get(item.Room)
			b.blocks = b.blocks.Set(item.Room, n+item.BlockCount)
			return
		}
		if old, ok := b.marks.Get(item.Mark); !ok || !s.isCancelled(old) || s.isCancelled(runID) {
			b.marks = b.marks.Set(item.Mark, runID)
		}
	})
}

func (s State) isCancelled(runID string) bool {
	r, ok := s.runs.Get(runID)
	return ok && r.State == RunCancelledState
}

// clearItem takes a piece of a run off its place.
func (s State) clearItem(runID string, item *Item) State {
	if run, ok := s.pieces.Get(item.PieceID); ok && run == runID {
		s.pieces = s.pieces.Delete(item.PieceID)
	}
	return s.withFloor(item.FloorKey, func(b *floorBook) {
		if item.IsPallet() {
			n, _ := b.blocks.Get(item.Room)
			b.blocks = b.blocks.Set(item.Room, n-item.BlockCount)
			return
		}
		if run, ok := b.marks.Get(item.Mark); ok && run == runID {
			b.marks = b.marks.Delete(item.Mark)
		}
	})
}

func (s State) runCancelled(e RunCancelled) State {
	r, ok := s.runs.Get(e.RunID)
	if !ok {
		return s
	}
	r.Run.Items(func(_ *Pile, item *Item) {
		if !slices.Contains(r.SetDown, item.PieceID) {
			s = s.clearItem(e.RunID, item)
		}
	})
	s = s.withDay(r.Day, func(d *dayBook) { d.changes++ })
	s.unsettled = s.unsettled.Set(e.RunID, true)
	return s.withRun(e.RunID, func(r *RunStatus) {
		r.State, r.CancelReason, r.ReservationID = RunCancelledState, e.Reason, e.ReservationID
	})
}

// runChanged puts hits on a run, or, while the run's plan is being confirmed,
// on the plan, from where the run takes them when it is confirmed.
func (s State) runChanged(e RunChanged) State {
	if _, ok := s.runs.Get(e.RunID); !ok {
		id, _ := s.confirmingPlanOf(e.RunID)
		return s.withPlan(id, func(p *PlanStatus) {
			early := slices.Clone(p.EarlyHits)
			for _, h := range e.Hits {
				early = append(early, EarlyHit{RunID: e.RunID, Hit: h})
			}
			p.EarlyHits = early
		})
	}
	return s.withRun(e.RunID, func(r *RunStatus) {
		r.Hits = append(slices.Clone(r.Hits), e.Hits...)
		for _, h := range e.Hits {
			if h.Kind == Scrapped {
				r.settle(h.PieceID)
			}
		}
		if r.State == RunConfirmedState {
			r.State = RunHitState
		}
	})
}

// runCleared takes hits off a run, or off the plan from which the run is about
// to take them.
func (s State) runCleared(e RunCleared) State {
	if _, ok := s.runs.Get(e.RunID); !ok {
		id, _ := s.confirmingPlanOf(e.RunID)
		return s.withPlan(id, func(p *PlanStatus) {
			p.EarlyHits = slices.DeleteFunc(slices.Clone(p.EarlyHits), func(h EarlyHit) bool { return h.RunID == e.RunID && e.clears(h.Hit) })
		})
	}
	return s.withRun(e.RunID, func(r *RunStatus) {
		r.Hits = slices.DeleteFunc(slices.Clone(r.Hits), e.clears)
		if len(r.Hits) == 0 && r.State == RunHitState {
			r.State = RunConfirmedState
		}
	})
}

// confirmingPlanOf returns the plan being confirmed that has the run.
func (s State) confirmingPlanOf(runID string) (string, *Run) {
	confirming, _ := s.Unsettled()
	for _, id := range confirming {
		p, ok := s.plans.Get(id)
		if !ok {
			continue
		}
		for i := range p.Plan.Runs {
			if p.Plan.Runs[i].ID == runID {
				return id, &p.Plan.Runs[i]
			}
		}
	}
	return "", nil
}
