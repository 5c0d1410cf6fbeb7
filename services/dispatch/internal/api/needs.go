package api

import (
	"context"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/dispatch/internal/codec"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

// mostNeedDays is how many days one question may be about.
const mostNeedDays = 400

// ListNeeds lists what is called off and not on a confirmed run.
func (s *Server) ListNeeds(ctx context.Context, req *dispatchv1.ListNeedsRequest) (*dispatchv1.ListNeedsResponse, error) {
	bad := fault.New(fault.Invalid, "BAD_VALUES", "Some values are not right.")
	to, err := civil.ParseDay(req.GetTo())
	if err != nil {
		return nil, bad.At("to", req.GetTo(), "is no day", "YYYY-MM-DD")
	}
	from := to
	if req.GetFrom() != "" {
		if from, err = civil.ParseDay(req.GetFrom()); err != nil {
			return nil, bad.At("from", req.GetFrom(), "is no day", "YYYY-MM-DD")
		}
	}
	if to < from || to-from >= mostNeedDays {
		return nil, bad.At("to", req.GetTo(), "does not close a stretch of days that begins on "+from.String(), "from then on, at most 400 days")
	}
	state, position, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	needs, unknown := state.Needs(from, to)
	answer := &dispatchv1.ListNeedsResponse{UnknownCallOffIds: unknown, Position: position}
	for _, n := range needs {
		m := &dispatchv1.OpenNeed{JobId: n.JobID, BlockKind: n.BlockKind, Count: int32(n.Count), CallOffIds: n.CallOffIDs}
		if n.BlockKind == "" {
			m.Beam = codec.ProductTo(n.Beam)
		}
		answer.Needs = append(answer.Needs, m)
	}
	return answer, nil
}
