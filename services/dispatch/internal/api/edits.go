package api

import (
	"context"
	"time"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/dispatch/internal/codec"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/office"
	"spanyard.example/services/dispatch/internal/planning"
	"spanyard.example/services/kit/fault"
)

// EditMorning makes a plan out of one that is not confirmed.
func (s *Server) EditMorning(ctx context.Context, req *dispatchv1.EditMorningRequest) (*dispatchv1.EditMorningResponse, error) {
	r := office.EditRequest{
		PlanID: req.GetPlanId(), PlanOthers: req.GetPlanOthers(), KeepOthers: req.GetKeepOthers(), Budget: time.Duration(req.GetBudgetMs()) * time.Millisecond,
		TryOnly: req.GetTryOnly(), StockAtLeast: req.GetStockAtLeast(),
	}
	for _, e := range req.GetEdits() {
		r.Edits = append(r.Edits, editFrom(e))
	}
	edited, err := s.office.Edit(ctx, ask(ctx, req), r)
	if err != nil {
		return nil, err
	}
	return &dispatchv1.EditMorningResponse{Morning: draft(edited.Plan), Changes: changesTo(edited.Changes), Position: edited.Position, Note: edited.Note}, nil
}

// StopPlanning ends the planning of a day that goes on here.
func (s *Server) StopPlanning(_ context.Context, req *dispatchv1.StopPlanningRequest) (*dispatchv1.StopPlanningResponse, error) {
	return &dispatchv1.StopPlanningResponse{StoppedCount: int32(s.office.StopPlanning(req.GetYard(), req.GetDay()))}, nil
}

func draft(p daybook.Plan) *dispatchv1.Morning {
	return &dispatchv1.Morning{State: dispatchv1.MorningState_MORNING_STATE_DRAFT, Plan: codec.PlanTo(p)}
}

func editFrom(e *dispatchv1.PlanEdit) planning.Edit {
	out := planning.Edit{
		Lock: e.GetLockRunId(), Unlock: e.GetUnlockRunId(), Without: e.GetWithoutTruckId(), With: e.GetWithTruckId(),
		LeaveOut: e.GetLeaveOutCallOffId(), TakeIn: e.GetTakeInCallOffId(),
	}
	if m := e.GetMoveRun(); m != nil {
		out.Move = &planning.MoveRun{RunID: m.GetRunId(), TruckID: m.GetTruckId(), NotBeforeMinute: int(m.GetNotBeforeMinute())}
	}
	out.Forbid, out.Allow = forbiddenFrom(e.GetForbidTruck()), forbiddenFrom(e.GetAllowTruck())
	return out
}

func forbiddenFrom(f *eventv1.ForbiddenTruck) *daybook.ForbiddenTruck {
	if f == nil {
		return nil
	}
	out := codec.ForbiddenFrom(f)
	return &out
}

func changesTo(c daybook.Changes) *dispatchv1.PlanChanges {
	out := &dispatchv1.PlanChanges{Before: totalsTo(c.Before), After: totalsTo(c.After), UnchangedRunCount: int32(c.UnchangedRuns)}
	for _, r := range c.Runs {
		out.Runs = append(out.Runs, &dispatchv1.RunDifference{
			Kind: dispatchv1.RunDifferenceKind(r.Kind), BeforeRunId: r.BeforeID, AfterRunId: r.AfterID, Sentence: r.Sentence,
		})
	}
	for _, d := range c.CallOffs {
		out.CallOffs = append(out.CallOffs, &dispatchv1.CallOffDifference{CallOffId: d.CallOffID, Sentence: d.Sentence})
	}
	return out
}

func totalsTo(t daybook.Totals) *dispatchv1.PlanTotals {
	return &dispatchv1.PlanTotals{
		RunCount: int32(t.Runs), DistanceM: int32(t.DistanceM), CrewWaitingMinutes: int32(t.CrewWaitingMinutes), MovedAsideCount: int32(t.MovedAside),
		BeamCount: int32(t.Beams), UnservedBeamCount: int32(t.UnservedBeams), UnservedBlockCount: int32(t.UnservedBlocks), MassG: t.MassG,
	}
}

// ComparePlans says how two plans differ.
func (s *Server) ComparePlans(ctx context.Context, req *dispatchv1.ComparePlansRequest) (*dispatchv1.ComparePlansResponse, error) {
	state, _, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	plans := make([]*daybook.Plan, 2)
	for i, id := range []string{req.GetBeforePlanId(), req.GetAfterPlanId()} {
		p, ok := state.Plan(id)
		if !ok {
			return nil, fault.New(fault.NotFound, "PLAN_UNKNOWN", "There is no plan %s in yard %s, or it is no longer kept.", id, req.GetYard())
		}
		if p.Folded != nil {
			return nil, state.CheckRunsKept(p.Plan.Day)
		}
		plans[i] = &p.Plan
	}
	if plans[0].Day != plans[1].Day {
		return nil, fault.New(fault.Invalid, "OTHER_DAY", "Plan %s is for %s and plan %s for %s: plans of one day are compared.",
			plans[0].ID, plans[0].Day, plans[1].ID, plans[1].Day)
	}
	return &dispatchv1.ComparePlansResponse{Changes: changesTo(daybook.Compare(plans[0], plans[1]))}, nil
}

// ReplanMorning plans a day anew after something happened.
func (s *Server) ReplanMorning(ctx context.Context, req *dispatchv1.ReplanMorningRequest) (*dispatchv1.ReplanMorningResponse, error) {
	r := office.ReplanRequest{
		Day: req.GetDay(), StoppedRuns: req.GetStoppedRuns(), Reason: req.GetReason(), Budget: time.Duration(req.GetBudgetMs()) * time.Millisecond,
		TryOnly: req.GetTryOnly(), StockAtLeast: req.GetStockAtLeast(),
	}
	for _, h := range req.GetHappenings() {
		r.Happenings = append(r.Happenings, happeningFrom(req.GetDay(), h))
	}
	done, err := s.office.Replan(ctx, ask(ctx, req), r)
	if err != nil {
		return nil, err
	}
	answer := &dispatchv1.ReplanMorningResponse{Position: done.Position}
	for _, h := range done.Hit {
		answer.HitRuns = append(answer.HitRuns, &dispatchv1.HitRun{RunId: h.RunID, Sentence: h.Sentence, KeptBecause: h.KeptBecause})
	}
	if done.Plan != nil {
		answer.Morning, answer.Changes = draft(*done.Plan), changesTo(done.Changes)
	}
	return answer, nil
}

func happeningFrom(day string, h *dispatchv1.Happening) daybook.Command {
	switch w := h.GetWhat().(type) {
	case *dispatchv1.Happening_Delay:
		return daybook.DelayRun{RunID: w.Delay.GetRunId(), Minutes: int(w.Delay.GetMinutes()), Reason: w.Delay.GetReason()}
	case *dispatchv1.Happening_Ended:
		return daybook.EndHindrance{Day: day, TruckID: w.Ended.GetTruckId(), SiteID: w.Ended.GetSiteId()}
	default:
		return daybook.Hinder{Day: day, Hindrance: codec.HindranceFrom(h.GetHindrance())}
	}
}

// ExplainMorning says why something of a plan is as it is.
func (s *Server) ExplainMorning(ctx context.Context, req *dispatchv1.ExplainMorningRequest) (*dispatchv1.ExplainMorningResponse, error) {
	e, err := s.office.Explain(ctx, office.Ask{Yard: req.GetYard()}, office.ExplainRequest{
		PlanID: req.GetPlanId(), Piece: req.GetPiece(), RunID: req.GetRunId(), CallOffID: req.GetCallOffId(), StockAtLeast: req.GetStockAtLeast(),
	})
	if err != nil {
		return nil, err
	}
	answer := &dispatchv1.ExplainMorningResponse{Headline: e.Headline, Sentences: e.Sentences}
	for _, v := range e.Trucks {
		t := &dispatchv1.TruckVerdict{TruckId: v.TruckID, Refusals: v.Refusals}
		if len(v.Refusals) == 0 {
			t.LoadingMinute, t.UnloadMinute = int32(v.Run.LoadingMinute), int32(v.Run.Drops[0].UnloadMinute)
		}
		answer.Trucks = append(answer.Trucks, t)
	}
	return answer, nil
}

// SetTravel replaces the table of known ways.
func (s *Server) SetTravel(ctx context.Context, req *dispatchv1.SetTravelRequest) (*dispatchv1.SetTravelResponse, error) {
	c := daybook.SetTravel{}
	for _, l := range req.GetLegs() {
		c.Legs = append(c.Legs, codec.LegFrom(l))
	}
	result, err := s.office.Do(ctx, ask(ctx, req), c)
	if err != nil {
		return nil, err
	}
	return &dispatchv1.SetTravelResponse{Position: result.Position}, nil
}

// ListTravel lists the known ways.
func (s *Server) ListTravel(ctx context.Context, req *dispatchv1.ListTravelRequest) (*dispatchv1.ListTravelResponse, error) {
	state, _, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	answer := &dispatchv1.ListTravelResponse{}
	for _, l := range state.Travel() {
		answer.Legs = append(answer.Legs, codec.LegTo(l))
	}
	return answer, nil
}
