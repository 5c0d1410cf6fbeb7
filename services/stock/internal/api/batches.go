package api

import (
	"context"
	"fmt"
	"math"
	"strconv"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/kit/sheet"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/count"
	"spanyard.example/services/stock/internal/readmodel"
	"spanyard.example/services/stock/internal/yard"
)

// SetYardRules opens the yard or changes its rules.
func (s *Server) SetYardRules(ctx context.Context, req *stockv1.SetYardRulesRequest) (*stockv1.SetYardRulesResponse, error) {
	sampling, err := codec.SamplingOf(req.GetSampling())
	if err != nil {
		return nil, fault.New(fault.Invalid, "BAD_VALUES", "Some values are not right.").At("sampling", "", "has a day that is none", "YYYY-MM-DD").Because(err)
	}
	r, err := s.do(ctx, req, yard.SetRules{Rules: yard.Rules{
		TimeZone: req.GetTimeZone(), BeamMinAgeDays: int(req.GetBeamMinAgeDays()), BlockMinAgeDays: int(req.GetBlockMinAgeDays()),
		BeamsPerStackTier: int(req.GetBeamsPerStackTier()), Sampling: sampling, Stacks: codec.StackRulesOf(req.GetStacks()),
	}, KeepSampling: len(sampling) == 0 && !req.GetClearSampling(), KeepStacks: req.GetStacks() == nil})
	if err != nil {
		return nil, err
	}
	return &stockv1.SetYardRulesResponse{Position: r.position}, nil
}

// dayOf reads a day of a request.
func dayOf(field, text string) (civil.Day, error) {
	day, err := civil.ParseDay(text)
	if err != nil {
		return 0, fault.New(fault.Invalid, "BAD_VALUES", "Some values are not right.").At(field, text, "is no day", "YYYY-MM-DD")
	}
	return day, nil
}

// ReceiveBatch takes a batch into the yard.
func (s *Server) ReceiveBatch(ctx context.Context, req *stockv1.ReceiveBatchRequest) (*stockv1.ReceiveBatchResponse, error) {
	madeOn, err := dayOf("made_on", req.GetMadeOn())
	if err != nil {
		return nil, err
	}
	c := yard.ReceiveBatch{
		BatchID: req.GetBatchId(), MadeOn: madeOn, Concrete: codec.ConcreteOf(req.GetConcrete()), Source: req.GetSource(), At: s.clock.Now(),
	}
	if blocks := req.GetBlocks(); blocks != nil {
		c.Kind = yard.Blocks
		c.Lot = yard.Lot{BlockKind: blocks.GetBlockKind(), Count: int(blocks.GetCount()), MassGEach: blocks.GetMassGEach(), StackID: blocks.GetStackId()}
	} else {
		c.Kind, c.Profile, c.WirePattern = yard.Beams, req.GetBeams().GetProfile(), req.GetBeams().GetWirePattern()
		for _, l := range req.GetBeams().GetLines() {
			c.Lines = append(c.Lines, yard.BeamLine{LengthMM: int(l.GetLengthMm()), Count: int(l.GetCount()), MassGEach: l.GetMassGEach(), StackID: l.GetStackId(),
				KeptJob: l.GetKeptForJobId(), KeptMarks: l.GetKeptForMarks()})
		}
	}
	r, err := s.do(ctx, req, c)
	if err != nil {
		return nil, err
	}
	received, _ := find[yard.BatchReceived](r)
	state, _, err := s.ledger.State(ctx, req.GetYard(), r.position)
	if err != nil {
		return nil, err
	}
	fresh, _ := yard.Evolve(yard.New(req.GetYard()), received).Batch(received.BatchID)
	answer := &stockv1.ReceiveBatchResponse{Batch: readmodel.BatchDoc(state.Rules(), fresh), Position: r.position}
	for _, b := range received.Beams {
		answer.PieceIds = append(answer.PieceIds, b.ID)
	}
	return answer, nil
}

// formats of an uploaded stock count.
var formats = map[stockv1.FileFormat]sheet.Format{
	stockv1.FileFormat_FILE_FORMAT_XLSX: sheet.XLSX,
	stockv1.FileFormat_FILE_FORMAT_CSV:  sheet.CSV,
	stockv1.FileFormat_FILE_FORMAT_JSON: sheet.JSON,
}

// ImportStockCount takes an opening stock count.
func (s *Server) ImportStockCount(ctx context.Context, req *stockv1.ImportStockCountRequest) (*stockv1.ImportStockCountResponse, error) {
	counted, err := count.Read(req.GetFileName(), formats[req.GetFormat()], req.GetContent())
	if err != nil {
		return nil, err
	}
	by, at := rpc.Actor(ctx), s.clock.Now()
	r, err := s.decide(ctx, req, func(state yard.State) ([]yard.Event, error) { return counted.Decide(state, by, at) })
	if err != nil {
		return nil, err
	}
	totals := count.TotalsOf(r.events)
	return &stockv1.ImportStockCountResponse{
		BatchCount: int32(len(totals.BatchIDs)), BeamCount: int32(totals.Beams), BlockCount: int32(totals.Blocks),
		BatchIds: totals.BatchIDs, Position: r.position,
	}, nil
}

// RecordTest records a laboratory's results.
func (s *Server) RecordTest(ctx context.Context, req *stockv1.RecordTestRequest) (*stockv1.RecordTestResponse, error) {
	testedOn, err := dayOf("tested_on", req.GetTestedOn())
	if err != nil {
		return nil, err
	}
	c := yard.RecordTest{
		BatchID: req.GetBatchId(), TestID: req.GetTestId(), Laboratory: req.GetLaboratory(), TestedOn: testedOn,
		Specimen: codec.Specimen(req.GetSpecimen()), By: rpc.Actor(ctx), At: s.clock.Now(),
	}
	if c.Strengths, err = strengthsOf(req.GetStrengthsMpa()); err != nil {
		return nil, err
	}
	r, err := s.do(ctx, req, c)
	if err != nil {
		return nil, err
	}
	recorded, _ := find[yard.TestRecorded](r)
	return &stockv1.RecordTestResponse{Verdict: codec.Verdict(recorded.Test.Verdict), Quarantine: quarantineOf(r), Position: r.position}, nil
}

// strengthsOf reads results as they were reported. One with more decimals than
// are judged is refused: rounding could lift it over a limit.
func strengthsOf(reported []float64) ([]conformity.MilliMPa, error) {
	const hair = 1e-9 // far below a thousandth, far above what a float loses
	bad := fault.New(fault.Invalid, "BAD_VALUES", "Some values are not right.")
	strengths := make([]conformity.MilliMPa, len(reported))
	for i, mpa := range reported {
		strengths[i] = codec.MilliMPa(mpa)
		if math.Abs(codec.MPa(strengths[i])-mpa) > hair {
			bad.At(fmt.Sprintf("strengths_mpa[%d]", i), strconv.FormatFloat(mpa, 'g', -1, 64), "has too many decimals", "at most 3 decimals")
		}
	}
	if len(bad.Places) > 0 {
		return nil, bad
	}
	return strengths, nil
}

// quarantineOf joins the parts of a quarantine; nil when there is none.
func quarantineOf(r result) *stockeventv1.BatchQuarantined {
	var whole *stockeventv1.BatchQuarantined
	for _, e := range r.events {
		q, ok := e.(yard.BatchQuarantined)
		if !ok {
			continue
		}
		part := codec.Quarantine(q)
		if whole == nil {
			whole = part
			whole.Part, whole.Parts = 0, 0
		} else {
			whole.Hits = append(whole.Hits, part.GetHits()...)
		}
	}
	return whole
}

// releaseOf joins the parts of a release.
func releaseOf(r result) *stockeventv1.BatchReleased {
	var whole *stockeventv1.BatchReleased
	for _, e := range r.events {
		released, ok := e.(yard.BatchReleased)
		if !ok {
			continue
		}
		part := codec.Released(released)
		if whole == nil {
			whole = part
			whole.Part, whole.Parts = 0, 0
		} else {
			whole.Cleared = append(whole.Cleared, part.GetCleared()...)
		}
	}
	return whole
}

// ReleaseBatch lets a batch leave the yard.
func (s *Server) ReleaseBatch(ctx context.Context, req *stockv1.ReleaseBatchRequest) (*stockv1.ReleaseBatchResponse, error) {
	r, err := s.do(ctx, req, yard.ReleaseBatch{BatchID: req.GetBatchId(), By: req.GetReleasedBy(), At: s.clock.Now()})
	if err != nil {
		return nil, err
	}
	return &stockv1.ReleaseBatchResponse{Release: releaseOf(r), Position: r.position}, nil
}

// QuarantineBatch stops a batch and says whom it hits.
func (s *Server) QuarantineBatch(ctx context.Context, req *stockv1.QuarantineBatchRequest) (*stockv1.QuarantineBatchResponse, error) {
	r, err := s.do(ctx, req, yard.QuarantineBatch{BatchID: req.GetBatchId(), Reason: req.GetReason(), By: req.GetQuarantinedBy(), At: s.clock.Now()})
	if err != nil {
		return nil, err
	}
	return &stockv1.QuarantineBatchResponse{Quarantine: quarantineOf(r), Position: r.position}, nil
}

// LiftQuarantine lets a batch cure again.
func (s *Server) LiftQuarantine(ctx context.Context, req *stockv1.LiftQuarantineRequest) (*stockv1.LiftQuarantineResponse, error) {
	r, err := s.do(ctx, req, yard.LiftQuarantine{BatchID: req.GetBatchId(), By: req.GetLiftedBy(), Reason: req.GetReason()})
	if err != nil {
		return nil, err
	}
	return &stockv1.LiftQuarantineResponse{Position: r.position}, nil
}
