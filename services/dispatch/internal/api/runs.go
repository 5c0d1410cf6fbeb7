package api

import (
	"context"

	"google.golang.org/protobuf/types/known/timestamppb"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/dispatch/internal/codec"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/kit/rpc"
)

// ListRuns lists the confirmed runs of a day as they stand now.
func (s *Server) ListRuns(ctx context.Context, req *dispatchv1.ListRunsRequest) (*dispatchv1.ListRunsResponse, error) {
	last, err := s.office.WaitHeard(ctx, "stock", req.GetYard(), req.GetStockAtLeast())
	if err != nil {
		return nil, err
	}
	state, position, err := s.office.State(ctx, req.GetYard(), max(last, req.GetAtLeast()))
	if err != nil {
		return nil, err
	}
	if err := state.CheckRunsKept(req.GetDay()); err != nil {
		return nil, err
	}
	answer := &dispatchv1.ListRunsResponse{Position: position}
	for _, r := range state.Runs(req.GetDay()) {
		status := &dispatchv1.RunStatus{
			State: runState(r.State), PlanId: r.PlanID, Day: r.Day, Run: codec.RunTo(r.Run),
			Hits: codec.HitsTo(r.Hits), DeliveredDrops: codec.Int32s(r.Delivered),
			SetDownPieceIds: r.SetDown, LaidPieceIds: r.LaidBeams,
		}
		for _, told := range r.Reports {
			status.Reports = append(status.Reports, codec.ReportTo(r.Run.ID, told))
		}
		answer.Runs = append(answer.Runs, status)
	}
	return answer, nil
}

func runState(s daybook.RunState) dispatchv1.RunState {
	switch s {
	case daybook.RunConfirmedState:
		return dispatchv1.RunState_RUN_STATE_CONFIRMED
	case daybook.RunHitState:
		return dispatchv1.RunState_RUN_STATE_HIT
	case daybook.RunDepartedState:
		return dispatchv1.RunState_RUN_STATE_DEPARTED
	case daybook.RunDeliveredState:
		return dispatchv1.RunState_RUN_STATE_DELIVERED
	case daybook.RunCancelledState:
		return dispatchv1.RunState_RUN_STATE_CANCELLED
	default:
		return dispatchv1.RunState_RUN_STATE_UNSPECIFIED
	}
}

// DepartRun lets a loaded truck leave.
func (s *Server) DepartRun(ctx context.Context, req *dispatchv1.DepartRunRequest) (*dispatchv1.DepartRunResponse, error) {
	result, err := s.office.Depart(ctx, ask(ctx, req), req.GetRunId(), req.GetDepartedBy())
	if err != nil {
		return nil, err
	}
	return &dispatchv1.DepartRunResponse{Position: result.Position}, nil
}

// DeliverDrop records that a drop was set down at its site.
func (s *Server) DeliverDrop(ctx context.Context, req *dispatchv1.DeliverDropRequest) (*dispatchv1.DeliverDropResponse, error) {
	result, err := s.office.Do(ctx, ask(ctx, req), daybook.DeliverDrop{
		RunID: req.GetRunId(), DropNumber: int(req.GetDropNumber()), ReceivedBy: req.GetReceivedBy(), At: s.office.Clock.Now(),
		Refused: req.GetRefusedPieceIds(), RefuseAll: req.GetRefuseAll(), RefusalReason: req.GetRefusalReason(),
	})
	if err != nil {
		return nil, err
	}
	for _, e := range result.Events {
		if d, ok := e.Fact.(daybook.DropDelivered); ok {
			return &dispatchv1.DeliverDropResponse{PieceCount: int32(len(d.PieceIDs)), RefusedCount: int32(len(d.Refused)), Position: result.Position}, nil
		}
	}
	return nil, fault.New(fault.Internal, "DROP_LOST", "The request led to no delivery.")
}

// CancelRun takes a confirmed run that has not left off the day.
func (s *Server) CancelRun(ctx context.Context, req *dispatchv1.CancelRunRequest) (*dispatchv1.CancelRunResponse, error) {
	result, err := s.office.Cancel(ctx, ask(ctx, req), req.GetRunId(), req.GetReason())
	if err != nil {
		return nil, err
	}
	return &dispatchv1.CancelRunResponse{Position: result.Position}, nil
}

// WatchPicks follows the yard's picks and changes of runs. Every answer
// carries the position of its own event, so that a client resumes exactly
// behind the last one that it has. A client that does not read is dropped.
func (s *Server) WatchPicks(req *dispatchv1.WatchPicksRequest, out dispatchv1.DispatchService_WatchPicksServer) error {
	if err := rpc.CheckResume(out.Context(), s.office.Ledger.LastPosition, req.GetYard(), req.GetAfterPosition()); err != nil {
		return err
	}
	return rpc.Feed(out.Context(), out.Send, func(ctx context.Context, put func(uint64, *dispatchv1.WatchPicksResponse) error) error {
		return s.follow(ctx, req, put)
	})
}

func (s *Server) follow(ctx context.Context, req *dispatchv1.WatchPicksRequest, put func(uint64, *dispatchv1.WatchPicksResponse) error) error {
	return s.office.Ledger.Follow(ctx, req.GetYard(), req.GetAfterPosition(), func(e ledger.Event[daybook.Event]) error {
		runID, watched := watchedRun(e.Fact)
		if !watched {
			return nil
		}
		if req.GetDay() != "" {
			day, err := s.dayOf(ctx, req.GetYard(), e, runID)
			if err != nil || day != req.GetDay() {
				return err
			}
		}
		msg, err := codec.ToProto(e.Fact)
		if err != nil {
			return err
		}
		answer := &dispatchv1.WatchPicksResponse{Position: e.Position, HappenedAt: timestamppb.New(e.Time), Actor: e.Actor}
		fill(answer, msg)
		return put(e.Position, answer)
	})
}

// watchedRun returns the run of an event that pickers follow.
func watchedRun(fact daybook.Event) (runID string, watched bool) {
	switch f := fact.(type) {
	case daybook.PicksIssued:
		return f.RunID, true
	case daybook.RunChanged:
		return f.RunID, true
	case daybook.RunCleared:
		return f.RunID, true
	case daybook.PieceSetDown:
		return f.RunID, true
	case daybook.PieceTakenBack:
		return f.RunID, true
	case daybook.PieceExchanged:
		return f.RunID, true
	case daybook.RunDeparted:
		return f.RunID, true
	case daybook.RunCancelled:
		return f.RunID, true
	case daybook.DropDelivered:
		return f.RunID, true
	case daybook.LayingRecorded:
		return f.RunID, true
	case daybook.PieceReported:
		return f.RunID, true
	}
	return "", false
}

// dayOf returns the day of a run at the time of an event. A run that is hit
// while its plan is being confirmed is not in the book yet: its plan is.
func (s *Server) dayOf(ctx context.Context, yard string, e ledger.Event[daybook.Event], runID string) (string, error) {
	state, _, err := s.office.State(ctx, yard, e.Position)
	if err != nil {
		return "", err
	}
	return state.DayOfRun(runID), nil
}

func fill(answer *dispatchv1.WatchPicksResponse, msg *eventv1.Event) {
	switch k := msg.GetKind().(type) {
	case *eventv1.Event_PicksIssued:
		answer.What = &dispatchv1.WatchPicksResponse_PicksIssued{PicksIssued: k.PicksIssued}
	case *eventv1.Event_RunChanged:
		answer.What = &dispatchv1.WatchPicksResponse_RunChanged{RunChanged: k.RunChanged}
	case *eventv1.Event_RunCleared:
		answer.What = &dispatchv1.WatchPicksResponse_RunCleared{RunCleared: k.RunCleared}
	case *eventv1.Event_PieceSetDown:
		answer.What = &dispatchv1.WatchPicksResponse_PieceSetDown{PieceSetDown: k.PieceSetDown}
	case *eventv1.Event_PieceExchanged:
		answer.What = &dispatchv1.WatchPicksResponse_PieceExchanged{PieceExchanged: k.PieceExchanged}
	case *eventv1.Event_PieceTakenBack:
		answer.What = &dispatchv1.WatchPicksResponse_PieceTakenBack{PieceTakenBack: k.PieceTakenBack}
	case *eventv1.Event_RunDeparted:
		answer.What = &dispatchv1.WatchPicksResponse_RunDeparted{RunDeparted: k.RunDeparted}
	case *eventv1.Event_RunCancelled:
		answer.What = &dispatchv1.WatchPicksResponse_RunCancelled{RunCancelled: k.RunCancelled}
	case *eventv1.Event_DropDelivered:
		answer.What = &dispatchv1.WatchPicksResponse_DropDelivered{DropDelivered: k.DropDelivered}
	case *eventv1.Event_LayingRecorded:
		answer.What = &dispatchv1.WatchPicksResponse_LayingRecorded{LayingRecorded: k.LayingRecorded}
	case *eventv1.Event_PieceReported:
		answer.What = &dispatchv1.WatchPicksResponse_PieceReported{PieceReported: k.PieceReported}
	}
}
