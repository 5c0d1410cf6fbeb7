package office

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/planning"
	"spanyard.example/services/dispatch/internal/replan"
	"spanyard.example/services/dispatch/internal/routing"
	"spanyard.example/services/kit/fault"
)

// ExplainRequest asks why something of a plan is as it is: one of Piece, RunID
// and CallOffID is set. Piece is a piece of the plan, or a job and a mark.
type ExplainRequest struct {
	PlanID                  string
	Piece, RunID, CallOffID string
	StockAtLeast            uint64
}

// Explained is an answer from the model: sentences, and what every other truck
// could do, everything else staying as it is.
type Explained struct {
	Headline  string
	Sentences []string
	Trucks    []replan.Verdict
}

// Explain answers for a plan as things stand now. What other trucks could do is
// said of plans that bind nobody yet.
func (o *Office) Explain(ctx context.Context, a Ask, r ExplainRequest) (Explained, error) {
	s, _, err := o.State(ctx, a.Yard, 0)
	if err != nil {
		return Explained{}, err
	}
	p, ok := s.Plan(r.PlanID)
	if !ok || p.Folded != nil {
		return Explained{}, fault.New(fault.NotFound, "PLAN_UNKNOWN", "There is no plan %s in yard %s, or its runs are no longer kept.", r.PlanID, a.Yard)
	}
	e := explaining{plan: &p.Plan, state: s}
	var load *routing.Load
	but := ""
	switch {
	case r.CallOffID != "":
		load, err = e.callOff(r.CallOffID)
	case r.RunID != "":
		load, but, err = e.run(r.RunID)
	default:
		load, but, err = e.piece(r.Piece)
	}
	if err != nil || load == nil || p.State != daybook.Draft {
		return e.out, err
	}
	stock, _, err := o.Stores.Free(ctx, a.Yard, r.StockAtLeast)
	if err != nil {
		return Explained{}, err
	}
	problem, _, err := planning.Problem(s, p.Plan.Day, o.Clock.Now(), p.Plan.Wishes, stock)
	if err != nil {
		return Explained{}, err
	}
	e.out.Trucks = replan.Verdicts(problem, planning.RunsOf(e.others), *load, but)
	return e.out, nil
}

// explaining gathers an answer. others are the runs beside the one in question.
type explaining struct {
	plan   *daybook.Plan
	state  daybook.State
	others []daybook.Run
	out    Explained
}

func (e *explaining) say(format string, args ...any) {
	e.out.Sentences = append(e.out.Sentences, fmt.Sprintf(format, args...))
}

func (e *explaining) run(id string) (*routing.Load, string, error) {
	i := slices.IndexFunc(e.plan.Runs, func(r daybook.Run) bool { return r.ID == id })
	if i < 0 {
		return nil, "", fault.New(fault.NotFound, "RUN_UNKNOWN", "Plan %s has no run %s.", e.plan.ID, id)
	}
	r := &e.plan.Runs[i]
	e.out.Headline = fmt.Sprintf("Run %s: truck %s, trip %d, loads %s, back %s.", r.ID, r.TruckID, r.Trip, atClock(r.LoadingMinute), atClock(r.BackMinute))
	e.aboutRun(r)
	e.others = append(slices.Clone(e.plan.Runs[:i]), e.plan.Runs[i+1:]...)
	load := routing.LoadOf(&planning.RunsOf(e.plan.Runs[i : i+1])[0], "")
	return &load, r.TruckID, nil
}

func atClock(minute int) string { return fmt.Sprintf("%d:%02d", minute/60, minute%60) }

// aboutRun says what a run brings and how full it is.
func (e *explaining) aboutRun(r *daybook.Run) {
	for _, t := range e.state.Trucks() {
		if t.ID == r.TruckID {
			e.say("It carries %d kg of the %d kg of truck %s.", (r.MassG+999)/1000, t.PayloadKG, t.ID)
		}
	}
	for _, d := range r.Drops {
		low, top := 0, 0
		r.Items(func(p *daybook.Pile, item *daybook.Item) {
			if p.DropNumber == d.Number {
				top = max(top, item.LayingNumber)
				if low == 0 || item.LayingNumber < low {
					low = item.LayingNumber
				}
			}
		})
		e.say("To %s it brings number %d to %d of the site's laying order, for %s, and is unloaded from %s.", d.SiteID, low, top, strings.Join(d.CallOffIDs, ", "), atClock(d.UnloadMinute))
	}
	if r.Locked {
		e.say("A dispatcher wants the run to stay as it is.")
	}
}

// piece finds a piece by its id, or by job and mark.
func (e *explaining) piece(name string) (*routing.Load, string, error) {
	job, mark, _ := strings.Cut(name, " ")
	for i := range e.plan.Runs {
		r := &e.plan.Runs[i]
		var at *daybook.Item
		var on *daybook.Pile
		r.Items(func(p *daybook.Pile, item *daybook.Item) {
			if item.PieceID == name || mark != "" && item.Mark == mark && item.FloorKey.JobID == job {
				at, on = item, p
			}
		})
		if at == nil {
			continue
		}
		load, but, err := e.run(r.ID)
		e.aboutPiece(r, on, at)
		return load, but, err
	}
	return nil, "", fault.New(fault.NotFound, "PIECE_NOT_PLANNED", "Plan %s brings no piece or mark %s.", e.plan.ID, name).
		At("piece", name, "is not on any run", `a piece, or a job and a mark: "J101 1-01-01"`)
}

func (e *explaining) aboutPiece(r *daybook.Run, on *daybook.Pile, item *daybook.Item) {
	e.out.Headline = fmt.Sprintf("Piece %s of batch %s for %s of job %s, room %s: on run %s of truck %s.",
		item.PieceID, item.BatchID, named(item), item.FloorKey.JobID, item.Room, r.ID, r.TruckID)
	first := []string{fmt.Sprintf("It is number %d in the laying order of %s, and lies in pile %d, drop %d.", item.LayingNumber, r.Drops[on.DropNumber-1].SiteID, on.Number, on.DropNumber)}
	for _, p := range r.Picks {
		if p.PieceID == item.PieceID {
			first = append(first, fmt.Sprintf("It is pick %d of %d of the run, from stack %s: of equal pieces the oldest released go first where it costs nothing, and those are taken that leave the fewest to be moved aside.",
				p.Number, len(r.Picks), p.StackID))
		}
	}
	e.out.Sentences = append(first, e.out.Sentences...)
}

func named(item *daybook.Item) string {
	if item.IsPallet() {
		return fmt.Sprintf("%d blocks %s", item.BlockCount, item.BlockKind)
	}
	return "mark " + item.Mark
}

// callOff says what comes of a call-off and what does not; the load is the first
// room that no truck brings in time.
func (e *explaining) callOff(id string) (*routing.Load, error) {
	calls := e.state.CallOffs(e.plan.Day)
	at := slices.IndexFunc(calls, func(c daybook.CallOff) bool { return c.ID == id })
	if at < 0 {
		return nil, fault.New(fault.NotFound, "CALL_OFF_UNKNOWN", "There is no call-off %s on %s.", id, e.plan.Day)
	}
	c := calls[at]
	e.out.Headline = fmt.Sprintf("Call-off %s of job %s, floor %s, to %s between %s and %s.", c.ID, c.JobID, c.Floor, c.SiteID, atClock(c.Window.OpensMinute), atClock(c.Window.ClosesMinute))
	for i := range e.plan.Runs {
		e.broughtBy(&e.plan.Runs[i], id)
	}
	var late *daybook.Unserved
	left := 0
	for i := range e.plan.Unserved {
		u := &e.plan.Unserved[i]
		if u.CallOffID != id {
			continue
		}
		left++
		e.say("Room %s is left, %d beams and %d blocks: %s", u.Room, u.BeamCount, u.BlockCount, strings.TrimSuffix(u.Sentence, ".")+".")
		if late == nil && u.Reason == daybook.NoTime {
			late = u
		}
	}
	if left == 0 {
		e.say("Nothing of it is left.")
	}
	if late == nil {
		return nil, nil
	}
	e.others = e.plan.Runs
	return e.roomLoad(c, late.Room), nil
}

func (e *explaining) broughtBy(r *daybook.Run, callOffID string) {
	beams, blocks, drop := 0, 0, 0
	r.Items(func(p *daybook.Pile, item *daybook.Item) {
		if item.CallOffID != callOffID {
			return
		}
		drop = p.DropNumber
		if item.IsPallet() {
			blocks += item.BlockCount
		} else {
			beams++
		}
	})
	if drop > 0 {
		e.say("Run %s of truck %s brings %d beams and %d blocks, unloaded from %s.", r.ID, r.TruckID, beams, blocks, atClock(r.Drops[drop-1].UnloadMinute))
	}
}

// roomLoad is what the plan leaves of a room, as a load.
func (e *explaining) roomLoad(c daybook.CallOff, room string) *routing.Load {
	marks, blocks := map[string]bool{}, 0
	for i := range e.plan.Runs {
		e.plan.Runs[i].Items(func(_ *daybook.Pile, item *daybook.Item) {
			if item.CallOffID == c.ID && item.Room == room {
				marks[item.Mark] = true
				blocks += item.BlockCount
			}
		})
	}
	drop := routing.LoadDrop{SiteID: c.SiteID}
	for _, w := range e.state.Outstanding(e.plan.Day) {
		for _, r := range w.Rooms {
			if w.CallOff.ID != c.ID || r.Room != room {
				continue
			}
			if n := r.BlockCount - blocks; n > 0 {
				drop.Items = append(drop.Items, morning.Item{CallOffID: c.ID, Room: room, BlockKind: r.BlockKind, BlockCount: n})
			}
			for _, b := range r.Beams {
				if !marks[b.Mark] {
					drop.Items = append(drop.Items, morning.Item{CallOffID: c.ID, Room: room, Mark: b.Mark, Beam: morning.Product(b.Product)})
				}
			}
		}
	}
	return &routing.Load{Drops: []routing.LoadDrop{drop}}
}
