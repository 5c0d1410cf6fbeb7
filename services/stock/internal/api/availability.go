package api

import (
	"context"
	"fmt"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/availability"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/yard"
)

// GetAvailability says what can be promised for a day, from the ledger: what
// somebody promises on it must hold now.
func (s *Server) GetAvailability(ctx context.Context, req *stockv1.GetAvailabilityRequest) (*stockv1.GetAvailabilityResponse, error) {
	state, position, err := s.ledger.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	if !state.Open() {
		return nil, fault.New(fault.Stale, "YARD_NOT_OPEN", "The yard %s has no rules yet. Set its time zone and ages first.", req.GetYard())
	}
	today := state.Day(s.clock.Now())
	day := today
	if req.GetDay() != "" {
		if day, err = dayOf("day", req.GetDay()); err != nil {
			return nil, err
		}
	}
	if day < today {
		return nil, fault.New(fault.Invalid, "DAY_PAST", "What could have been promised on a day that is over cannot be said.").
			At("day", day.String(), "is over", "from "+today.String())
	}
	needs, err := needsOf(req.GetNeeds())
	if err != nil {
		return nil, err
	}
	found := availability.On(state, today, day, needs)
	answer := &stockv1.GetAvailabilityResponse{Day: day.String(), Position: position}
	for _, l := range found.Lines {
		answer.Products = append(answer.Products, availabilityOf(l))
	}
	for _, w := range found.Withheld {
		m := &stockv1.Withheld{BatchId: w.BatchID, Reason: w.Reason, TakenCount: int32(w.Taken)}
		for _, h := range w.Hits {
			m.Hits = append(m.Hits, &stockeventv1.QuarantineHit{PieceId: h.PieceID, State: codec.PieceState(h.State), Allocation: codec.Allocation(h.Allocation)})
		}
		answer.Withheld = append(answer.Withheld, m)
	}
	return answer, nil
}

// needsOf reads what is asked for: a beam by profile, wires and length, or
// blocks by their kind.
func needsOf(list []*stockv1.Need) ([]availability.Need, error) {
	bad := fault.New(fault.Invalid, "BAD_VALUES", "Some values are not right.")
	var out []availability.Need
	for i, n := range list {
		beam := n.GetProfile() != "" && n.GetWirePattern() != "" && n.GetLengthMm() > 0
		any := n.GetProfile() != "" || n.GetWirePattern() != "" || n.GetLengthMm() > 0
		if beam == (n.GetBlockKind() != "") || any && n.GetBlockKind() != "" {
			bad.At(fmt.Sprintf("needs[%d]", i), "", "is neither beams nor blocks", "profile, wire_pattern and length_mm, or block_kind")
		}
		out = append(out, availability.Need{Count: int(n.GetCount()), JobID: n.GetJobId(), Product: availability.Product{
			Profile: n.GetProfile(), WirePattern: n.GetWirePattern(), LengthMM: int(n.GetLengthMm()), BlockKind: n.GetBlockKind(),
		}})
	}
	if len(bad.Places) > 0 {
		return nil, bad
	}
	return out, nil
}

func availabilityOf(l availability.Line) *stockv1.Availability {
	m := &stockv1.Availability{
		Profile: l.Profile, WirePattern: l.WirePattern, LengthMm: int32(l.LengthMM), BlockKind: l.BlockKind,
		Free: int32(l.Free), Kept: int32(l.Kept), Provisional: int32(l.Provisional), Later: int32(l.Later), Withheld: int32(l.Withheld),
		Promised: int32(l.Promised), Stopped: int32(l.Stopped), OnRuns: int32(l.OnRuns), Needed: int32(l.Needed), Short: int32(l.Short), ShortEvenSo: int32(l.ShortEvenSo),
	}
	for _, c := range l.Coming {
		m.Coming = append(m.Coming, &stockv1.Coming{
			BatchId: c.BatchID, Count: int32(c.Count), Kept: int32(c.Kept), EarliestOn: c.EarliestOn.String(), Sentence: c.Sentence,
		})
	}
	return m
}

// EndKeeping lets beams that are kept for a job go to anybody.
func (s *Server) EndKeeping(ctx context.Context, req *stockv1.EndKeepingRequest) (*stockv1.EndKeepingResponse, error) {
	r, err := s.do(ctx, req, yard.EndKeeping{PieceIDs: req.GetPieceIds(), By: req.GetEndedBy(), Reason: req.GetReason()})
	if err != nil {
		return nil, err
	}
	return &stockv1.EndKeepingResponse{Position: r.position}, nil
}
