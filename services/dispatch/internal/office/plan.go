package office

import (
	"context"
	"log/slog"
	"time"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/planning"
	"spanyard.example/services/dispatch/internal/replan"
	"spanyard.example/services/kit/fault"
)

// DefaultBudget is the time for improving a plan when nobody says otherwise.
const DefaultBudget = 500 * time.Millisecond

// MorningRequest asks for a plan.
type MorningRequest struct {
	Day    string
	Wishes daybook.Wishes
	Budget time.Duration
	// StockAtLeast is the oldest position of the stock ledger that will do.
	StockAtLeast uint64
}

// Plan makes a plan for a morning and records it. The planner works outside
// the decision; the decision makes sure that nothing changed meanwhile.
func (o *Office) Plan(ctx context.Context, a Ask, r MorningRequest) (Result, error) {
	if r.Budget <= 0 {
		r.Budget = DefaultBudget
	}
	// What stock has said by then, a piece that came back say, is part of what
	// is to be planned.
	heard, err := o.WaitHeard(ctx, "stock", a.Yard, r.StockAtLeast)
	if err != nil {
		return Result{}, err
	}
	if heard > 0 {
		if _, _, err := o.State(ctx, a.Yard, heard); err != nil {
			return Result{}, err
		}
	}
	return o.doAfterLook(ctx, a, func(s daybook.State) (func(daybook.State) ([]daybook.Event, error), error) {
		if err := s.CheckDay(r.Day); err != nil {
			return nil, err
		}
		if err := s.CheckNotPast(r.Day, o.Clock.Now()); err != nil {
			return nil, err
		}
		basis := s.Basis(r.Day)
		plan, _, err := o.draw(ctx, a, s, r, nil)
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
}

// SameZone refuses a time zone that is not the one in which stock counts the
// yard's days: what is old enough on a morning would be another piece than what
// is planned for it.
func (o *Office) SameZone(ctx context.Context, yard, zone string) error {
	other, err := o.Stores.Zone(ctx, yard)
	if err != nil || other == "" || other == zone {
		return err
	}
	return fault.New(fault.Stale, "ZONES_DIFFER",
		"Yard %s counts its days by %s in dispatch and by %s in stock: set the same time zone in both sections of the yard's rules.", yard, zone, other)
}

// rework makes a plan out of what is asked and a wish for runs of another one.
type rework struct {
	wish replan.Wish
	// extra pieces that will be free when the plan is recorded.
	extra morning.Stock
	// byHand leaves the picks to the planner: stock does not know yet that the
	// extra pieces are free.
	byHand bool
	// note is what is said of the plan that came of it.
	note string
}

// draw makes a plan from the state and from what is free, and has it checked.
// With a rework the refusals of its wishes may come back instead.
func (o *Office) draw(ctx context.Context, a Ask, s daybook.State, r MorningRequest, w *rework) (daybook.Plan, []replan.Refusal, error) {
	rules, _ := s.Rules()
	if err := o.SameZone(ctx, a.Yard, rules.TimeZone); err != nil {
		return daybook.Plan{}, nil, err
	}
	stock, position, err := o.Stores.Free(ctx, a.Yard, r.StockAtLeast)
	if err != nil {
		return daybook.Plan{}, nil, err
	}
	if w != nil {
		stock.Beams, stock.Blocks = append(stock.Beams, w.extra.Beams...), append(stock.Blocks, w.extra.Blocks...)
	}
	problem, aside, err := planning.Problem(s, r.Day, o.Clock.Now(), r.Wishes, stock)
	if err != nil {
		return daybook.Plan{}, nil, err
	}
	// The budget is time on the wall, whatever day the service's clock shows.
	started := time.Now()
	enough, end := o.planning.begin(a.Yard, r.Day)
	defer end()
	made, refusals := o.make(problem, w, func() bool { return ctx.Err() != nil || enough.Load() || time.Since(started) >= r.Budget })
	if len(refusals) > 0 {
		return daybook.Plan{}, refusals, nil
	}
	if w == nil || !w.byHand {
		made.Plan = o.Stores.Picks(ctx, a.Yard, made.Plan, position)
	}
	took := time.Since(started)
	if violations := o.Checker(made.Problem, made.Plan); len(violations) > 0 {
		for _, v := range violations {
			o.Log.ErrorContext(ctx, "a plan breaks a rule and is not published",
				slog.String("yard", a.Yard), slog.String("day", r.Day), slog.String("request_id", a.RequestID),
				slog.String("rule", v.Rule), slog.String("sentence", v.Sentence))
		}
		return daybook.Plan{}, nil, fault.New(fault.Internal, "PLAN_BREAKS_RULES",
			"The plan for %s breaks %d rules and is not published; the first is %s.", r.Day, len(violations), violations[0].Rule)
	}
	plan := planning.Plan(made.Plan, aside, planning.Made{
		Day: r.Day, By: a.Actor, At: o.Clock.Now(), TookMS: int(took.Milliseconds()), StockPosition: position,
	})
	plan.Wishes = r.Wishes
	for i := range plan.Runs {
		plan.Runs[i].Locked = made.Locked[i]
	}
	return plan, nil, nil
}

// make has the planner make a plan.
func (o *Office) make(p morning.Problem, w *rework, stop func() bool) (replan.Made, []replan.Refusal) {
	if w == nil {
		return replan.Made{Plan: o.Planner(p, stop), Problem: p}, nil
	}
	made, refusals := replan.Plan(p, w.wish, stop)
	w.note = made.Note
	return made, refusals
}
