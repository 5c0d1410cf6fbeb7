package daybook

import (
	"fmt"
	"time"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

// CheckDay refuses a day that cannot be planned.
func (s State) CheckDay(day string) error {
	if err := s.opened(); err != nil {
		return err
	}
	if err := validDay(day); err != nil {
		return err
	}
	if len(s.trucks) == 0 {
		return fault.New(fault.Stale, "NO_TRUCKS", "Yard %s has no trucks yet; set them first.", s.yard)
	}
	if len(s.day(day).callOffs) == 0 {
		return fault.New(fault.Stale, "NOTHING_CALLED_OFF", "Nothing is called off for %s.", day)
	}
	return nil
}

// CheckNotPast refuses a day that is over on the yard's own clock: what was not
// brought then is called off anew.
func (s State) CheckNotPast(day string, at time.Time) error {
	if today := civil.DayOf(at, s.zone()).String(); day < today {
		return fault.New(fault.Stale, "DAY_PAST", "The day %s is over; in the yard it is %s.", day, today)
	}
	return nil
}

// zone in which the yard counts days and hours.
func (s State) zone() *time.Location {
	if rules, ok := s.Rules(); ok {
		if z, err := time.LoadLocation(rules.TimeZone); err == nil {
			return z
		}
	}
	return time.UTC
}

// MinuteOn is what the yard's clock shows at a moment, in minutes after the
// midnight with which a day begins: negative before that day.
func (s State) MinuteOn(day civil.Day, at time.Time) int {
	local := at.In(s.zone())
	return int(civil.DayOf(at, s.zone())-day)*24*60 + local.Hour()*60 + local.Minute()
}

// EarliestLoading is the first minute of a day at which a run that is planned
// at a moment may start loading: not in the minute that runs, and not before
// the yard's lead time is over.
func (s State) EarliestLoading(day string, at time.Time) int {
	d, err := civil.ParseDay(day)
	if err != nil {
		return 0
	}
	rules, _ := s.Rules()
	return max(0, s.MinuteOn(d, at)+max(1, rules.LeadMinutes))
}

// startsInTime refuses a plan of which a run should be loading already: nobody
// has picked for it.
func (s State) startsInTime(p *Plan, at time.Time) error {
	d, err := civil.ParseDay(p.Day)
	if err != nil {
		return err
	}
	now := s.MinuteOn(d, at)
	for i := range p.Runs {
		if r := &p.Runs[i]; r.LoadingMinute < now {
			return fault.New(fault.Stale, "LOADING_PAST",
				"Plan %s cannot be confirmed: run %s starts loading at %s, and in the yard it is %s on %s. Plan the morning again.",
				p.ID, r.ID, clockTime(r.LoadingMinute), clockTime(s.MinuteOn(civil.DayOf(at, s.zone()), at)), civil.DayOf(at, s.zone()))
		}
	}
	return nil
}

// clockTime writes minutes after midnight as a clock shows them.
func clockTime(minute int) string { return fmt.Sprintf("%d:%02d", minute/60, minute%60) }

// RecordPlan puts a plan into the book if what it rests on still holds. The
// plan gets its id, and its runs and pallets theirs, here.
type RecordPlan struct {
	Plan Plan
	// Basis of the state that the plan was made from.
	Basis string
}

func (c RecordPlan) decide(s State) ([]Event, error) {
	if err := s.CheckDay(c.Plan.Day); err != nil {
		return nil, err
	}
	if s.Basis(c.Plan.Day) != c.Basis {
		return nil, fault.New(fault.Conflict, "DAY_CHANGED",
			"Call-offs, trucks or confirmed runs of %s changed while it was being planned; plan again.", c.Plan.Day)
	}
	return []Event{MorningPlanned{Plan: c.Plan.numbered(s.day(c.Plan.Day).planned + 1)}}, nil
}

// PlanToEdit returns a plan that another one may be made out of: it binds nobody,
// and the yard is what it was.
func (s State) PlanToEdit(id string) (*Plan, error) {
	p, ok := s.plans.Get(id)
	if !ok {
		return nil, fault.New(fault.NotFound, "PLAN_UNKNOWN", "There is no plan %s in yard %s, or it is no longer kept; plan the morning again.", id, s.yard)
	}
	if p.State == Confirmed || p.State == Confirming {
		return nil, fault.New(fault.Stale, "ALREADY_CONFIRMED",
			"Plan %s was confirmed by %s: its runs are promised. Say what happened to plan the day again, or cancel a run.", id, p.ConfirmedBy)
	}
	if p.SetUp != s.setUp || p.Folded != nil {
		return nil, fault.New(fault.Stale, "YARD_CHANGED", "The yard's rules, trucks, sites or ways changed since plan %s was made; plan the morning again.", id)
	}
	return &p.Plan, nil
}

// ConfirmPlan starts to confirm a plan: from here on its pieces are being
// reserved, under the plan's id.
type ConfirmPlan struct {
	PlanID, ConfirmedBy string
	At                  time.Time
}

func (c ConfirmPlan) decide(s State) ([]Event, error) {
	if err := person("confirmed_by", c.ConfirmedBy); err != nil {
		return nil, err
	}
	p, ok := s.plans.Get(c.PlanID)
	if !ok {
		return nil, fault.New(fault.NotFound, "PLAN_UNKNOWN",
			"There is no plan %s in yard %s, or it is no longer kept; plan the morning again.", c.PlanID, s.yard)
	}
	switch p.State {
	case Confirmed:
		return nil, fault.New(fault.Stale, "ALREADY_CONFIRMED", "Plan %s was confirmed by %s already.", c.PlanID, p.ConfirmedBy)
	case Failed:
		return nil, fault.New(fault.Stale, "PLAN_FAILED",
			"Plan %s could not be confirmed when %s tried; plan the morning again.", c.PlanID, p.ConfirmedBy)
	case Confirming:
		return nil, fault.New(fault.Conflict, "BEING_CONFIRMED", "Plan %s is being confirmed by %s just now.", c.PlanID, p.ConfirmedBy)
	}
	if err := s.CheckNotPast(p.Plan.Day, c.At); err != nil {
		return nil, err
	}
	if err := s.startsInTime(&p.Plan, c.At); err != nil {
		return nil, err
	}
	// One at a time in the whole yard: a room may be called off for two days,
	// and its places are taken only when a confirmation has come to its end.
	if o := s.confirming(); o != nil {
		return nil, fault.New(fault.Conflict, "BEING_CONFIRMED",
			"Another plan for %s, %s, is being confirmed by %s just now; look at its runs first.", o.Plan.Day, o.Plan.ID, o.ConfirmedBy)
	}
	if len(p.Plan.Runs) == 0 {
		return nil, fault.New(fault.Stale, "NOTHING_TO_CONFIRM", "Plan %s has no runs.", c.PlanID)
	}
	if err := s.holds(p); err != nil {
		return nil, err
	}
	return []Event{MorningConfirming{
		PlanID: c.PlanID, Day: p.Plan.Day, ConfirmedBy: c.ConfirmedBy, ReservationID: c.PlanID,
	}}, nil
}

// confirming returns the plan that is being confirmed; nil when none is.
func (s State) confirming() *PlanStatus {
	for it := s.plans.Iterator(); !it.Done(); {
		if _, p, _ := it.Next(); p.State == Confirming {
			return p
		}
	}
	return nil
}

// holds checks that nothing that the plan rests on has changed since.
func (s State) holds(p *PlanStatus) error {
	if p.SetUp != s.setUp {
		return fault.New(fault.Stale, "YARD_CHANGED",
			"The yard's rules, trucks or sites changed since plan %s was made; plan the morning again.", p.Plan.ID)
	}
	if err := s.trucksFree(p); err != nil {
		return err
	}
	f := fault.New(fault.Stale, "PLAN_OVERTAKEN", "Plan %s is overtaken by what happened since; plan the morning again.", p.Plan.ID)
	blocks := map[FloorKey]map[string]int{}
	for i := range p.Plan.Runs {
		run := &p.Plan.Runs[i]
		run.Items(func(_ *Pile, item *Item) {
			where := fmt.Sprintf("run %s, piece %s", run.ID, item.PieceID)
			if problem := s.overtaken(p.Plan.Day, item, blocks); problem != "" && len(f.Places) < maxPlaces {
				f.At(where, item.Mark, problem, "")
			}
		})
	}
	if len(f.Places) > 0 {
		return f
	}
	return nil
}

// overtaken says why an item of a plan need not go any more; empty when it
// still has to. It counts the plan's blocks by room as it goes.
func (s State) overtaken(day string, item *Item, blocks map[FloorKey]map[string]int) string {
	call, ok := s.callOffs.Get(item.CallOffID)
	if !ok || call.Day != day {
		return fmt.Sprintf("goes to call-off %s, which was cancelled", item.CallOffID)
	}
	b := s.floor(item.FloorKey)
	if b.floor == nil {
		return fmt.Sprintf("goes to floor %s of job %s, which has no approved plan any more", item.FloorKey.Floor, item.FloorKey.JobID)
	}
	_, room := b.floor.room(item.Room)
	if room == nil {
		return fmt.Sprintf("goes to room %s, which is not in the approved plan any more", item.Room)
	}
	if item.IsPallet() {
		if blocks[item.FloorKey] == nil {
			blocks[item.FloorKey] = map[string]int{}
		}
		blocks[item.FloorKey][item.Room] += item.BlockCount
		placed, _ := b.blocks.Get(item.Room)
		if room.BlockKind != item.BlockKind || placed+blocks[item.FloorKey][item.Room] > room.BlockCount {
			return fmt.Sprintf("brings blocks that room %s has on a confirmed run already, or does not need any more", item.Room)
		}
		return ""
	}
	if b.isLaid(item.Mark) {
		return "is for a place that was filled long ago"
	}
	if run, ok := b.marks.Get(item.Mark); ok {
		if s.isCancelled(run) {
			return fmt.Sprintf("is for a place that a piece of cancelled run %s fills already", run)
		}
		return fmt.Sprintf("is for a place that is on confirmed run %s already", run)
	}
	for _, beam := range room.Beams {
		if beam.Mark == item.Mark && beam.Product == item.Beam {
			return ""
		}
	}
	return "is for a place that the approved plan does not have any more"
}

// trucksFree checks that no truck of the plan is on a live run at the time.
func (s State) trucksFree(p *PlanStatus) error {
	for i := range p.Plan.Runs {
		want := &p.Plan.Runs[i]
		for _, r := range s.Runs(p.Plan.Day) {
			if r.State == RunCancelledState || r.Run.TruckID != want.TruckID {
				continue
			}
			if want.LoadingMinute < r.Run.BackMinute && r.Run.LoadingMinute < want.BackMinute {
				return fault.New(fault.Stale, "TRUCK_TAKEN",
					"Truck %s is on confirmed run %s at the time; plan the morning again.", want.TruckID, r.Run.ID)
			}
		}
	}
	return nil
}

// FinishConfirm turns a plan whose pieces are reserved into runs.
type FinishConfirm struct {
	PlanID        string
	At            time.Time
	StockPosition uint64
}

func (c FinishConfirm) decide(s State) ([]Event, error) {
	p, err := s.beingConfirmed(c.PlanID, Confirmed)
	if p == nil {
		return nil, err
	}
	var events []Event
	for _, run := range p.Plan.Runs {
		events = append(events,
			RunConfirmed{PlanID: c.PlanID, Day: p.Plan.Day, Run: run},
			PicksIssued{RunID: run.ID, TruckID: run.TruckID, Day: p.Plan.Day, LoadingMinute: run.LoadingMinute, Picks: run.Picks, Moves: run.Moves})
	}
	return append(events, MorningConfirmed{
		PlanID: c.PlanID, Day: p.Plan.Day, ConfirmedBy: p.ConfirmedBy, ConfirmedAt: c.At, StockPosition: c.StockPosition,
	}), nil
}

// FailConfirm records that a plan's pieces could not be had.
type FailConfirm struct {
	PlanID string
	// Missing pieces as stock names them; runs and marks are added here.
	Missing []Missing
}

func (c FailConfirm) decide(s State) ([]Event, error) {
	p, err := s.beingConfirmed(c.PlanID, Failed)
	if p == nil {
		return nil, err
	}
	return []Event{MorningConfirmFailed{PlanID: c.PlanID, Day: p.Plan.Day, Missing: located(&p.Plan, c.Missing)}}, nil
}

// beingConfirmed returns the plan that is being confirmed; nil and no error
// when it has come to that end already.
func (s State) beingConfirmed(planID string, end PlanState) (*PlanStatus, error) {
	p, ok := s.plans.Get(planID)
	if !ok {
		return nil, fault.New(fault.NotFound, "PLAN_UNKNOWN", "There is no plan %s in yard %s.", planID, s.yard)
	}
	switch p.State {
	case Confirming:
		return p, nil
	case end:
		return nil, nil
	}
	return nil, fault.New(fault.Stale, "NOT_BEING_CONFIRMED", "Plan %s is not being confirmed.", planID)
}

// located names run and mark of each missing piece. Stock knows blocks by their
// batch until they lie on a pallet: a batch stands for all its pallets in the
// plan. What is not in the plan stays as it is.
func located(plan *Plan, missing []Missing) []Missing {
	var out []Missing
	seen := map[string]bool{}
	for _, m := range missing {
		found := false
		for i := range plan.Runs {
			run := &plan.Runs[i]
			run.Items(func(_ *Pile, item *Item) {
				if item.PieceID != m.PieceID && !(item.IsPallet() && item.BatchID == m.PieceID) {
					return
				}
				found = true
				if !seen[item.PieceID] {
					seen[item.PieceID] = true
					out = append(out, Missing{PieceID: item.PieceID, RunID: run.ID, Mark: item.Mark, Sentence: m.Sentence})
				}
			})
		}
		if !found {
			out = append(out, m)
		}
	}
	return out
}
