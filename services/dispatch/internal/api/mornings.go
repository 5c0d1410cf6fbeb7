package api

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/dispatch/internal/codec"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/office"
	"spanyard.example/services/kit/fault"
)

// PlanMorning makes a plan for a morning.
func (s *Server) PlanMorning(ctx context.Context, req *dispatchv1.PlanMorningRequest) (*dispatchv1.PlanMorningResponse, error) {
	result, err := s.office.Plan(ctx, ask(ctx, req), office.MorningRequest{
		Day: req.GetDay(), Wishes: daybook.Wishes{WithoutTrucks: req.GetWithoutTruckIds()},
		Budget: time.Duration(req.GetBudgetMs()) * time.Millisecond, StockAtLeast: req.GetStockAtLeast(),
	})
	if err != nil {
		return nil, err
	}
	for _, e := range result.Events {
		if planned, ok := e.Fact.(daybook.MorningPlanned); ok {
			return &dispatchv1.PlanMorningResponse{
				Morning:  &dispatchv1.Morning{State: dispatchv1.MorningState_MORNING_STATE_DRAFT, Plan: codec.PlanTo(planned.Plan)},
				Position: result.Position,
			}, nil
		}
	}
	return nil, fault.New(fault.Internal, "PLAN_LOST", "The request led to no plan.")
}

// GetMorning returns a plan.
func (s *Server) GetMorning(ctx context.Context, req *dispatchv1.GetMorningRequest) (*dispatchv1.GetMorningResponse, error) {
	state, _, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	p, ok := state.Plan(req.GetPlanId())
	if !ok {
		return nil, fault.New(fault.NotFound, "PLAN_UNKNOWN",
			"There is no plan %s in yard %s, or it is no longer kept.", req.GetPlanId(), req.GetYard())
	}
	if p.Folded != nil {
		return nil, state.CheckRunsKept(p.Plan.Day)
	}
	return &dispatchv1.GetMorningResponse{Morning: &dispatchv1.Morning{
		State: morningState(p.State), Plan: codec.PlanTo(p.Plan), ConfirmedBy: confirmedBy(p), Missing: codec.MissingTo(p.Missing),
	}}, nil
}

// confirmedBy names who confirmed a plan; nobody did when it failed or is
// still on the way.
func confirmedBy(p *daybook.PlanStatus) string {
	if p.State != daybook.Confirmed {
		return ""
	}
	return p.ConfirmedBy
}

func morningState(s daybook.PlanState) dispatchv1.MorningState {
	switch s {
	case daybook.Draft:
		return dispatchv1.MorningState_MORNING_STATE_DRAFT
	case daybook.Confirming:
		return dispatchv1.MorningState_MORNING_STATE_CONFIRMING
	case daybook.Confirmed:
		return dispatchv1.MorningState_MORNING_STATE_CONFIRMED
	case daybook.Failed:
		return dispatchv1.MorningState_MORNING_STATE_FAILED
	default:
		return dispatchv1.MorningState_MORNING_STATE_UNSPECIFIED
	}
}

// ListMornings lists the plans of a day.
func (s *Server) ListMornings(ctx context.Context, req *dispatchv1.ListMorningsRequest) (*dispatchv1.ListMorningsResponse, error) {
	state, _, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	answer := &dispatchv1.ListMorningsResponse{}
	for _, p := range state.Plans(req.GetDay()) {
		size := p.Size()
		answer.Mornings = append(answer.Mornings, &dispatchv1.MorningSummary{
			PlanId:        p.Plan.ID,
			Day:           p.Plan.Day,
			State:         morningState(p.State),
			PlannedBy:     p.Plan.PlannedBy,
			PlannedAt:     timestamppb.New(p.Plan.PlannedAt),
			RunCount:      int32(size.Runs),
			RunLowerBound: int32(p.Plan.RunLowerBound),
			UnservedCount: int32(size.Unserved),
			MassG:         size.MassG,
			ConfirmedBy:   confirmedBy(p),
		})
	}
	return answer, nil
}

// ConfirmMorning reserves a plan's pieces and issues its picks.
func (s *Server) ConfirmMorning(ctx context.Context, req *dispatchv1.ConfirmMorningRequest) (*dispatchv1.ConfirmMorningResponse, error) {
	p, position, err := s.office.Confirm(ctx, ask(ctx, req), req.GetPlanId(), req.GetConfirmedBy())
	if err != nil {
		return nil, err
	}
	return &dispatchv1.ConfirmMorningResponse{
		PlanId:        p.Plan.ID,
		RunCount:      int32(p.Size().Runs),
		PieceCount:    int32(p.Size().Pieces),
		Position:      position,
		StockPosition: p.StockPosition,
	}, nil
}
