package office

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/planning"
	"spanyard.example/services/dispatch/internal/replan"
	"spanyard.example/services/kit/civil"
)

// ReplanRequest asks for a day to be planned anew after something happened.
type ReplanRequest struct {
	Day string
	// Happenings are commands of the day book: hindrances and delays.
	Happenings []daybook.Command
	// StoppedRuns are to be planned again as well.
	StoppedRuns  bool
	Reason       string
	Budget       time.Duration
	TryOnly      bool
	StockAtLeast uint64
}

// HitRun is a run that cannot go as it was confirmed. KeptBecause is empty when
// it is planned again.
type HitRun struct{ RunID, Sentence, KeptBecause string }

// Replanned is what came of it; Plan is nil when nothing was to be planned.
type Replanned struct {
	Hit      []HitRun
	Plan     *daybook.Plan
	Changes  daybook.Changes
	Position uint64
}

// Replan records what happened, takes the runs that it hits off the day, and
// plans again what they were to bring, around all that stays. Each run that is
// hit keeps its load if there is a time or a truck for it.
//
// The plan is a draft: who is told is told by confirming it.
func (o *Office) Replan(ctx context.Context, a Ask, r ReplanRequest) (Replanned, error) {
	if r.Budget <= 0 {
		r.Budget = DefaultBudget
	}
	heard, err := o.WaitHeard(ctx, "stock", a.Yard, r.StockAtLeast)
	if err != nil {
		return Replanned{}, err
	}
	s, position, err := o.State(ctx, a.Yard, heard)
	if err != nil {
		return Replanned{}, err
	}
	if err := s.CheckNotPast(r.Day, o.Clock.Now()); err != nil {
		return Replanned{}, err
	}
	if r.TryOnly {
		return o.tryReplan(ctx, a, r, s, position)
	}
	return o.replan(ctx, a, r)
}

// happened is the day with what happened in the book.
func happened(s daybook.State, r ReplanRequest) (daybook.State, []daybook.Event, error) {
	events, err := daybook.Decide(s, daybook.Together(r.Happenings))
	if err != nil {
		return s, nil, err
	}
	for _, e := range events {
		s = daybook.Evolve(s, e)
	}
	return s, events, nil
}

// standing asks stock how many pieces of each run that is hit stand at a site
// already while the book has not heard of it.
func (o *Office) standing(ctx context.Context, yard string, s daybook.State, r ReplanRequest) (map[string]int, error) {
	s, _, err := happened(s, r)
	if err != nil {
		return nil, err
	}
	newest, err := o.newest(ctx, "stock", yard)
	if err != nil {
		return nil, err
	}
	out := map[string]int{}
	for _, h := range s.HitRuns(r.Day, r.StoppedRuns) {
		run, _ := s.Run(h.RunID)
		places, err := o.Stores.Gone(ctx, yard, &run.Run, run.SetDown, newest)
		if err != nil {
			return nil, err
		}
		out[h.RunID] = len(places)
	}
	return out, nil
}

// afterwards is the day as it would be: what happened is in the book, and the
// runs that it hits and that can be are off the day. It needs a look when a run
// is hit that standing does not know.
func (o *Office) afterwards(s daybook.State, r ReplanRequest, standing map[string]int) (daybook.State, []daybook.Event, []HitRun, error) {
	s, events, err := happened(s, r)
	if err != nil {
		return s, nil, nil, err
	}
	var hit []HitRun
	for _, h := range s.HitRuns(r.Day, r.StoppedRuns) {
		count, looked := standing[h.RunID]
		if !looked {
			return s, nil, nil, errLookFirst
		}
		one := HitRun{RunID: h.RunID, Sentence: h.Sentence, KeptBecause: o.whyKept(s, h.RunID, count)}
		hit = append(hit, one)
		if one.KeptBecause != "" {
			continue
		}
		cancelled, err := daybook.Decide(s, daybook.CancelRun{RunID: h.RunID, Reason: r.Reason})
		if err != nil {
			return s, nil, nil, err
		}
		for _, e := range cancelled {
			s = daybook.Evolve(s, e)
		}
		events = append(events, cancelled...)
	}
	return s, events, hit, nil
}

// whyKept says why a run that is hit is not planned again. A place whose piece
// stands at a site already must not be planned, and brought, a second time.
func (o *Office) whyKept(s daybook.State, runID string, standing int) string {
	if standing > 0 {
		return fmt.Sprintf("pieces of it that stand at a site already: %d; try again in a moment, or take them back into the yard first", standing)
	}
	run, _ := s.Run(runID)
	d, err := civil.ParseDay(run.Day)
	if err != nil {
		return ""
	}
	if s.MinuteOn(d, o.Clock.Now()) >= run.Run.LoadingMinute {
		return "its loading has begun: unload it and cancel it, or let it wait"
	}
	return ""
}

func (o *Office) tryReplan(ctx context.Context, a Ask, r ReplanRequest, s daybook.State, position uint64) (Replanned, error) {
	before := s
	standing, err := o.standing(ctx, a.Yard, s, r)
	if err != nil {
		return Replanned{}, err
	}
	after, _, hit, err := o.afterwards(s, r, standing)
	if err != nil {
		return Replanned{}, err
	}
	out := Replanned{Hit: hit, Position: position}
	runs := runsOf(before, hit)
	if len(runs) == 0 {
		return out, nil
	}
	w := &rework{wish: replan.Wish{Runs: planning.RunsOf(runs)}, extra: freed(before, hit), byHand: true}
	plan, _, err := o.draw(ctx, a, after, MorningRequest{Day: r.Day, Budget: r.Budget, StockAtLeast: r.StockAtLeast}, w)
	if err != nil {
		return Replanned{}, err
	}
	plan = plan.Tried()
	out.Plan, out.Changes = &plan, daybook.Compare(&daybook.Plan{Runs: runs}, &plan)
	return out, nil
}

// replan records what happened in one step, and then the plan in another: the
// runs that are hit cannot go, whatever comes of planning.
func (o *Office) replan(ctx context.Context, a Ask, r ReplanRequest) (Replanned, error) {
	var hit []HitRun
	result, err := o.doAfterLook(ctx, a, func(s daybook.State) (func(daybook.State) ([]daybook.Event, error), error) {
		standing, err := o.standing(ctx, a.Yard, s, r)
		if err != nil {
			return nil, err
		}
		return func(s daybook.State) ([]daybook.Event, error) {
			_, events, all, err := o.afterwards(s, r, standing)
			hit = all
			return events, err
		}, nil
	})
	if err != nil {
		return Replanned{}, err
	}
	s, _, err := o.State(ctx, a.Yard, result.Position)
	if err != nil {
		return Replanned{}, err
	}
	var runs []daybook.Run
	repeated := hit == nil
	for _, e := range result.Events {
		cancelled, ok := e.Fact.(daybook.RunCancelled)
		if !ok {
			continue
		}
		if run, ok := s.Run(cancelled.RunID); ok {
			runs = append(runs, run.Run)
		}
		if repeated {
			hit = append(hit, HitRun{RunID: cancelled.RunID, Sentence: cancelled.Reason})
		}
		if err := o.settleRun(ctx, a.Yard, cancelled.RunID, result.Position); err != nil {
			o.Log.WarnContext(ctx, "the pieces of a cancelled run are given back later",
				slog.String("yard", a.Yard), slog.String("run", cancelled.RunID), slog.Any("error", err))
		}
	}
	out := Replanned{Hit: hit, Position: result.Position}
	if len(runs) == 0 {
		return out, nil
	}
	newest, err := o.newest(ctx, "stock", a.Yard)
	if err != nil {
		return Replanned{}, err
	}
	plan, position, err := o.planAgain(ctx, a, r, runs, newest)
	if err != nil {
		return Replanned{}, err
	}
	out.Plan, out.Position, out.Changes = plan, position, daybook.Compare(&daybook.Plan{Runs: runs}, plan)
	return out, nil
}

// planAgain records a plan for a day that keeps the loads of runs where it can.
func (o *Office) planAgain(ctx context.Context, a Ask, r ReplanRequest, runs []daybook.Run, stockAtLeast uint64) (*daybook.Plan, uint64, error) {
	a.RequestID = repairID(a.RequestID, "plan")
	result, err := o.doAfterLook(ctx, a, func(s daybook.State) (func(daybook.State) ([]daybook.Event, error), error) {
		basis := s.Basis(r.Day)
		w := &rework{wish: replan.Wish{Runs: planning.RunsOf(runs)}}
		plan, _, err := o.draw(ctx, a, s, MorningRequest{Day: r.Day, Budget: r.Budget, StockAtLeast: stockAtLeast}, w)
		if err != nil {
			return nil, err
		}
		return func(s daybook.State) ([]daybook.Event, error) {
			if s.Basis(r.Day) != basis {
				return nil, errLookFirst
			}
			return daybook.Decide(s, daybook.RecordPlan{Plan: plan, Basis: basis})
		}, nil
	})
	if err != nil {
		return nil, 0, err
	}
	for _, e := range result.Events {
		if planned, ok := e.Fact.(daybook.MorningPlanned); ok {
			return &planned.Plan, result.Position, nil
		}
	}
	return &daybook.Plan{Day: r.Day}, result.Position, nil
}

// runsOf are the runs that are planned again.
func runsOf(s daybook.State, hit []HitRun) []daybook.Run {
	var out []daybook.Run
	for _, h := range hit {
		if run, ok := s.Run(h.RunID); ok && h.KeptBecause == "" {
			out = append(out, run.Run)
		}
	}
	return out
}

// freed is what the runs that are planned again leave in the yard: all but what
// must not leave.
func freed(s daybook.State, hit []HitRun) morning.Stock {
	var out morning.Stock
	for _, h := range hit {
		run, ok := s.Run(h.RunID)
		if !ok || h.KeptBecause != "" {
			continue
		}
		stacks := map[string]daybook.Pick{}
		for _, p := range run.Run.Picks {
			stacks[p.PieceID] = p
		}
		run.Run.Items(func(_ *daybook.Pile, item *daybook.Item) {
			if slices.ContainsFunc(run.Hits, func(h daybook.Hit) bool { return h.PieceID == item.PieceID }) {
				return
			}
			at := stacks[item.PieceID]
			if item.IsPallet() {
				out.Blocks = append(out.Blocks, freedBlocks(s, item, at.StackID))
				return
			}
			out.Beams = append(out.Beams, morning.FreeBeam{
				PieceID: item.PieceID, BatchID: item.BatchID, Product: morning.Product(item.Beam), MassG: item.MassG, StackID: at.StackID, Tier: at.StackTier,
			})
		})
	}
	return out
}

func freedBlocks(s daybook.State, item *daybook.Item, stackID string) morning.FreeBlocks {
	massG := item.MassG
	for _, f := range s.Floors() {
		if f.FloorKey != item.FloorKey {
			continue
		}
		for _, k := range f.Blocks {
			if k.Name == item.BlockKind {
				massG -= k.PalletTareG
			}
		}
	}
	return morning.FreeBlocks{
		BatchID: item.BatchID, Kind: item.BlockKind, Count: item.BlockCount, MassGEach: massG / int64(item.BlockCount), StackID: stackID,
	}
}
