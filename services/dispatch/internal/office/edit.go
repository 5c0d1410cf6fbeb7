package office

import (
	"context"
	"time"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/planning"
	"spanyard.example/services/dispatch/internal/replan"
	"spanyard.example/services/kit/fault"
)

// EditRequest asks for a plan that is made out of another one.
type EditRequest struct {
	PlanID     string
	Edits      []planning.Edit
	PlanOthers bool
	KeepOthers bool
	Budget     time.Duration
	// TryOnly records nothing.
	TryOnly      bool
	StockAtLeast uint64
}

// Edited is the plan that came of an edit, and how it differs.
type Edited struct {
	Plan     daybook.Plan
	Changes  daybook.Changes
	Position uint64
	// Note says why other runs were planned anew unasked.
	Note string
}

// Edit makes a plan out of one that binds nobody yet. The plan before stays.
func (o *Office) Edit(ctx context.Context, a Ask, r EditRequest) (Edited, error) {
	if r.Budget <= 0 {
		r.Budget = DefaultBudget
	}
	heard, err := o.WaitHeard(ctx, "stock", a.Yard, r.StockAtLeast)
	if err != nil {
		return Edited{}, err
	}
	if r.TryOnly {
		return o.tryEdit(ctx, a, r, heard)
	}
	note := ""
	result, err := o.doAfterLook(ctx, a, func(s daybook.State) (func(daybook.State) ([]daybook.Event, error), error) {
		base, plan, said, err := o.edited(ctx, a, s, r)
		if err != nil {
			return nil, err
		}
		note = said
		basis := s.Basis(base.Day)
		return func(s daybook.State) ([]daybook.Event, error) {
			if s.Basis(base.Day) != basis {
				return nil, errLookFirst
			}
			return daybook.Decide(s, daybook.RecordPlan{Plan: plan, Basis: basis})
		}, nil
	})
	if err != nil {
		return Edited{}, err
	}
	for _, e := range result.Events {
		planned, ok := e.Fact.(daybook.MorningPlanned)
		if !ok {
			continue
		}
		s, _, err := o.State(ctx, a.Yard, result.Position)
		if err != nil {
			return Edited{}, err
		}
		out := Edited{Plan: planned.Plan, Position: result.Position, Note: note}
		if base, ok := s.Plan(r.PlanID); ok && base.Folded == nil {
			out.Changes = daybook.Compare(&base.Plan, &planned.Plan)
		}
		return out, nil
	}
	return Edited{}, fault.New(fault.Internal, "PLAN_LOST", "The request led to no plan.")
}

func (o *Office) tryEdit(ctx context.Context, a Ask, r EditRequest, heard uint64) (Edited, error) {
	s, position, err := o.State(ctx, a.Yard, heard)
	if err != nil {
		return Edited{}, err
	}
	base, plan, note, err := o.edited(ctx, a, s, r)
	if err != nil {
		return Edited{}, err
	}
	plan = plan.Tried()
	return Edited{Plan: plan, Changes: daybook.Compare(base, &plan), Position: position, Note: note}, nil
}

// edited makes the plan, and says why more was planned anew than was wished.
func (o *Office) edited(ctx context.Context, a Ask, s daybook.State, r EditRequest) (base *daybook.Plan, plan daybook.Plan, note string, err error) {
	if base, err = s.PlanToEdit(r.PlanID); err != nil {
		return nil, plan, "", err
	}
	if err := s.CheckNotPast(base.Day, o.Clock.Now()); err != nil {
		return nil, plan, "", err
	}
	wishes, wish, err := planning.Wish(s, base, r.Edits, r.PlanOthers)
	if err != nil {
		return nil, plan, "", err
	}
	wish.KeepOthers = r.KeepOthers
	w := &rework{wish: wish}
	plan, refusals, err := o.draw(ctx, a, s, MorningRequest{Day: base.Day, Wishes: wishes, Budget: r.Budget, StockAtLeast: r.StockAtLeast}, w)
	if err != nil {
		return nil, plan, "", err
	}
	if len(refusals) > 0 {
		return nil, plan, "", wishRefused(base, refusals)
	}
	plan.BasedOn = base.ID
	return base, plan, w.note, nil
}

// wishRefused names every limit that stands against a wish, run by run.
func wishRefused(base *daybook.Plan, refusals []replan.Refusal) error {
	out := fault.New(fault.Stale, "WISH_REFUSED", "What is wished of plan %s cannot be had; nothing was changed.", base.ID)
	for _, r := range refusals {
		out.At("run "+base.Runs[r.Run].ID, "", r.Sentence, "")
	}
	return out
}
