package office

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/nats-io/nuid"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/kit/fault"
)

const (
	settleEvery  = time.Second
	settleAtMost = 30 * time.Second
	// settleWithin bounds one attempt, so that a stock that does not answer
	// does not hold everything else up.
	settleWithin = 20 * time.Second
)

// Confirm begins to confirm a plan and drives it to its end. When it cannot
// reach the end (stock is away, the program is being stopped), the plan stays
// in confirmation and Settle, or the same request sent again, goes on.
func (o *Office) Confirm(ctx context.Context, a Ask, planID, confirmedBy string) (*daybook.PlanStatus, uint64, error) {
	if _, err := o.Do(ctx, a, daybook.ConfirmPlan{PlanID: planID, ConfirmedBy: confirmedBy, At: o.Clock.Now()}); err != nil {
		return nil, 0, err
	}
	position, err := o.settlePlan(ctx, a.Yard, planID)
	if err != nil {
		return nil, 0, err
	}
	s, _, err := o.State(ctx, a.Yard, position)
	if err != nil {
		return nil, 0, err
	}
	p, ok := s.Plan(planID)
	if !ok {
		return nil, 0, fault.New(fault.NotFound, "PLAN_UNKNOWN", "Plan %s is no longer kept; plan the morning again.", planID)
	}
	if p.State == daybook.Failed {
		return nil, 0, piecesGone(p)
	}
	return p, position, nil
}

// piecesGone is the refusal that names every piece that could not be had.
func piecesGone(p *daybook.PlanStatus) error {
	const most = 1000
	refusal := fault.New(fault.Stale, "PIECES_GONE",
		"Plan %s cannot be confirmed: %d of its pieces cannot be had any more. Nothing is reserved; plan the morning again.",
		p.Plan.ID, len(p.Missing))
	for i, m := range p.Missing {
		if i == most {
			break
		}
		where := "stock"
		if m.RunID != "" {
			where = "run " + m.RunID
		}
		if m.PieceID != "" {
			where += ", piece " + m.PieceID
		}
		refusal.At(where, m.Mark, m.Sentence, "")
	}
	return refusal
}

// settlePlan drives a plan that is being confirmed to its end and returns the
// position of that end. Every step may be repeated.
func (o *Office) settlePlan(ctx context.Context, yard, planID string) (uint64, error) {
	unlock, err := o.settling.lock(ctx, yard+"/"+planID)
	if err != nil {
		return 0, err
	}
	defer unlock()
	last, err := o.Ledger.LastPosition(ctx, yard)
	if err != nil {
		return 0, err
	}
	s, position, err := o.State(ctx, yard, last)
	if err != nil {
		return 0, err
	}
	p, ok := s.Plan(planID)
	if !ok || p.State == daybook.Draft || p.State == daybook.Failed {
		return position, nil
	}
	if p.State == daybook.Confirmed {
		return o.finish(ctx, yard, p, p.StockPosition)
	}
	stockPosition, err := o.Stores.Reserve(ctx, yard, p)
	switch {
	case err == nil:
		return o.finish(ctx, yard, p, stockPosition)
	case refused(err):
		return o.fail(ctx, yard, p, err)
	default:
		return 0, err
	}
}

// refused says that stock has decided against it: asking again the same way
// is of no use.
func refused(err error) bool {
	switch fault.KindOf(err) {
	case fault.Stale, fault.NotFound, fault.Invalid, fault.Refused:
		return true
	default:
		return false
	}
}

// finish records that the plan's runs are confirmed. Its request id is the
// plan's own, so that a plan that is finished already gives the position at
// which it was.
func (o *Office) finish(ctx context.Context, yard string, p *daybook.PlanStatus, stockPosition uint64) (uint64, error) {
	ask := Ask{Yard: yard, RequestID: "confirmed-" + p.Plan.ID, Actor: p.ConfirmedBy}
	result, err := o.Do(ctx, ask, daybook.FinishConfirm{PlanID: p.Plan.ID, At: o.Clock.Now(), StockPosition: stockPosition})
	if fault.ReasonOf(err) == "NOT_BEING_CONFIRMED" {
		// Another replica was refused and failed the plan just before stock
		// promised its pieces here after all: they are nobody's.
		if err := o.freePlan(ctx, yard, p.Plan.ID); err != nil {
			return 0, err
		}
		return o.Ledger.LastPosition(ctx, yard)
	}
	return result.Position, err
}

// fail records that the plan cannot be confirmed, and why.
func (o *Office) fail(ctx context.Context, yard string, p *daybook.PlanStatus, cause error) (uint64, error) {
	ask := Ask{Yard: yard, RequestID: "confirm-failed-" + p.Plan.ID, Actor: p.ConfirmedBy}
	result, err := o.Do(ctx, ask, daybook.FailConfirm{PlanID: p.Plan.ID, Missing: missing(cause)})
	if fault.ReasonOf(err) == "NOT_BEING_CONFIRMED" {
		// Another replica got the pieces after all and confirmed the plan.
		return o.Ledger.LastPosition(ctx, yard)
	}
	if err != nil {
		return 0, err
	}
	if err := o.freePlan(ctx, yard, p.Plan.ID); err != nil {
		o.Log.WarnContext(ctx, "what a failed plan may hold in stock is looked for again later",
			slog.String("yard", yard), slog.String("plan", p.Plan.ID), slog.Any("error", err))
	}
	return result.Position, nil
}

// missing turns stock's refusal into what could not be had.
func missing(cause error) []daybook.Missing {
	f := asFault(cause)
	var out []daybook.Missing
	for _, p := range f.Places {
		out = append(out, daybook.Missing{PieceID: p.Where, Sentence: p.Problem})
	}
	if len(out) == 0 {
		out = append(out, daybook.Missing{Sentence: f.Sentence})
	}
	return out
}

// freePlan gives back whatever stock holds for a plan that failed. Each call
// is a request of its own: what was promised after an earlier call counts.
func (o *Office) freePlan(ctx context.Context, yard, planID string) error {
	return o.Stores.Drop(ctx, yard, "free-"+nuid.Next(), planID, "", "plan "+planID+" was not confirmed")
}

// Cancel takes a run off the day and gives its pieces back to stock. When
// stock cannot take them, Settle gives them back later. A piece that stands at a
// site already keeps its place. While the book has not heard of it the run is
// not cancelled: the place would be planned, and brought, a second time.
func (o *Office) Cancel(ctx context.Context, a Ask, runID, reason string) (Result, error) {
	result, err := o.doAfterLook(ctx, a, func(s daybook.State) (func(daybook.State) ([]daybook.Event, error), error) {
		if err := s.MayCancel(runID); err != nil {
			return nil, err
		}
		run, _ := s.Run(runID)
		newest, err := o.newest(ctx, "stock", a.Yard)
		if err != nil {
			return nil, err
		}
		places, err := o.Stores.Gone(ctx, a.Yard, &run.Run, run.SetDown, newest)
		if err != nil {
			return nil, err
		}
		if len(places) > 0 {
			refusal := fault.New(fault.Stale, "RUN_DELIVERED", "Run %s cannot be cancelled: pieces that stand at a site already: %d.", runID, len(places))
			refusal.Places = places
			return nil, refusal
		}
		return func(s daybook.State) ([]daybook.Event, error) {
			return daybook.Decide(s, daybook.CancelRun{RunID: runID, Reason: reason})
		}, nil
	})
	if err != nil {
		return result, err
	}
	if err := o.settleRun(ctx, a.Yard, runID, result.Position); err != nil {
		o.Log.WarnContext(ctx, "the pieces of a cancelled run are given back later",
			slog.String("yard", a.Yard), slog.String("run", runID), slog.Any("error", err))
	}
	return result, nil
}

// settleRun gives the pieces of a cancelled run back to stock.
func (o *Office) settleRun(ctx context.Context, yard, runID string, atLeast uint64) error {
	unlock, err := o.settling.lock(ctx, yard+"/"+runID)
	if err != nil {
		return err
	}
	defer unlock()
	s, _, err := o.State(ctx, yard, atLeast)
	if err != nil {
		return err
	}
	r, ok := s.Run(runID)
	if !ok || r.State != daybook.RunCancelledState || r.Freed {
		return nil
	}
	if err := o.Stores.Drop(ctx, yard, "free-"+runID, r.ReservationID, runID, r.CancelReason); err != nil {
		return err
	}
	_, err = o.Do(ctx, Ask{Yard: yard, RequestID: "freed-" + runID, Actor: "dispatch"}, daybook.FreeRun{RunID: runID})
	return err
}

// Settle drives everything that was begun and not finished to its end, in all
// yards, until ctx ends.
func (o *Office) Settle(ctx context.Context) error {
	var yards sync.WaitGroup
	defer yards.Wait()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	return o.Ledger.WatchYards(ctx, func(yard string) {
		yards.Go(func() { o.settleYard(ctx, yard) })
	})
}

func (o *Office) settleYard(ctx context.Context, yard string) {
	swept := false
	wait := settleEvery
	for ctx.Err() == nil {
		err := o.settleOnce(ctx, yard, &swept)
		if err == nil {
			wait = settleEvery
		} else if ctx.Err() == nil {
			o.Log.WarnContext(ctx, "something begun could not be finished; it is tried again",
				slog.String("yard", yard), slog.Duration("in", wait), slog.Any("error", err))
			wait = min(2*wait, settleAtMost)
		}
		if pause(ctx, wait) != nil {
			return
		}
	}
}

// settleOnce goes once through what is unfinished. Once in the life of the
// program it also looks for pieces that stock holds for plans that failed:
// the program may have died between stock's promise and giving it back.
func (o *Office) settleOnce(ctx context.Context, yard string, swept *bool) error {
	ctx, cancel := context.WithTimeout(ctx, settleWithin)
	defer cancel()
	s, _, err := o.State(ctx, yard, 0)
	if err != nil {
		return err
	}
	confirming, cancelled := s.Unsettled()
	for _, id := range confirming {
		if _, err := o.settlePlan(ctx, yard, id); err != nil {
			return err
		}
	}
	for _, id := range cancelled {
		if err := o.settleRun(ctx, yard, id, 0); err != nil {
			return err
		}
	}
	if *swept {
		return nil
	}
	for _, id := range s.Failed() {
		if err := o.freePlan(ctx, yard, id); err != nil {
			return err
		}
	}
	*swept = true
	return nil
}
