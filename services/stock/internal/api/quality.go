package api

import (
	"context"
	"fmt"
	"strings"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/maturity"
	"spanyard.example/services/stock/internal/yard"
)

// on returns an open yard and a day of it: the one asked for, or today.
func (s *Server) on(ctx context.Context, yardID, text string, atLeast uint64) (state yard.State, position uint64, day civil.Day, err error) {
	state, position, err = s.ledger.State(ctx, yardID, atLeast)
	if err != nil {
		return state, 0, 0, err
	}
	if !state.Open() {
		return state, 0, 0, fault.New(fault.Stale, "YARD_NOT_OPEN", "The yard %s has no rules yet. Set its time zone and ages first.", yardID)
	}
	day = state.Day(s.clock.Now())
	if text != "" {
		day, err = dayOf("day", text)
	}
	return state, position, day, err
}

// ListDueSamples lists the specimens that are due by a day.
func (s *Server) ListDueSamples(ctx context.Context, req *stockv1.ListDueSamplesRequest) (*stockv1.ListDueSamplesResponse, error) {
	state, position, day, err := s.on(ctx, req.GetYard(), req.GetDay(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	today := state.Day(s.clock.Now())
	answer := &stockv1.ListDueSamplesResponse{Day: day.String(), Position: position}
	for _, d := range state.DueSamples(day) {
		answer.Samples = append(answer.Samples, &stockv1.DueSample{
			BatchId: d.BatchID, Product: d.Product, Rule: codec.SamplingRule(d.Rule), DueOn: d.DueOn.String(),
			TestedCount: int32(d.Tested), MissingCount: int32(d.Missing()), Overdue: d.DueOn < today,
		})
	}
	return answer, nil
}

// ForecastStrength forecasts a batch's strength. It writes nothing: no forecast
// ever becomes a result.
func (s *Server) ForecastStrength(ctx context.Context, req *stockv1.ForecastStrengthRequest) (*stockv1.ForecastStrengthResponse, error) {
	state, position, day, err := s.on(ctx, req.GetYard(), req.GetDay(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	b, ok := state.Batch(req.GetBatchId())
	switch {
	case !ok:
		return nil, fault.New(fault.NotFound, "BATCH_UNKNOWN", "There is no batch %s in this yard.", req.GetBatchId())
	case b.Kind != yard.Beams:
		return nil, fault.New(fault.Stale, "NO_FORECAST", "Batch %s is blocks; only the strength of beams is forecast.", b.ID)
	case day <= b.MadeOn:
		return nil, fault.New(fault.Invalid, "BAD_VALUES", "Some values are not right.").At("day", day.String(), "is not after the batch was made", "from "+(b.MadeOn+1).String())
	}
	cure, err := curingOf(b, req)
	if err != nil {
		return nil, err
	}
	answer, err := cure.forecast(b, int(day-b.MadeOn))
	if err != nil {
		return nil, fault.New(fault.Invalid, "NO_FORECAST", "No forecast can be made: %v.", err).Because(err)
	}
	answer.Position = position
	answer.Sentence = fmt.Sprintf("Forecast only, it releases nothing: batch %s is expected to have a mean cylinder strength of %.1f MPa on %v, %d days old.",
		b.ID, answer.GetMeanMpa(), day, answer.GetAgeDays())
	return answer, nil
}

// RecordCure records the cement of a batch and the temperatures of its cure.
func (s *Server) RecordCure(ctx context.Context, req *stockv1.RecordCureRequest) (*stockv1.RecordCureResponse, error) {
	c := yard.RecordCure{BatchID: req.GetBatchId(), Cure: yard.Cure{Cement: strings.TrimPrefix(req.GetCement().String(), "CEMENT_CLASS_")}}
	for _, x := range req.GetCure() {
		c.Cure.Spells = append(c.Cure.Spells, yard.CureSpell{Celsius: x.GetCelsius(), Days: x.GetDays()})
	}
	r, err := s.do(ctx, req, c)
	if err != nil {
		return nil, err
	}
	return &stockv1.RecordCureResponse{Position: r.position}, nil
}

// curingOf returns the cure that a request tells, and what of it is left open
// as it is recorded for the batch.
func curingOf(b yard.Batch, req *stockv1.ForecastStrengthRequest) (curing, error) {
	cure := curing{cement: maturity.Cement(req.GetCement())}
	for _, c := range req.GetCure() {
		cure.spells = append(cure.spells, maturity.Spell{Celsius: c.GetCelsius(), Days: c.GetDays()})
	}
	if b.Cure != nil && req.GetCement() == 0 {
		cure.cement = maturity.Cement(stockv1.CementClass_value["CEMENT_CLASS_"+b.Cure.Cement])
	}
	if b.Cure != nil && len(cure.spells) == 0 {
		for _, x := range b.Cure.Spells {
			cure.spells = append(cure.spells, maturity.Spell(x))
		}
	}
	if cure.cement == 0 {
		return cure, fault.New(fault.Invalid, "CEMENT_UNKNOWN", "The class of the cement of batch %s is not recorded.", b.ID).
			At("cement", "", "is missing", "R, N or S; or record it for the batch")
	}
	return cure, nil
}

// curing is what is known of a cure.
type curing struct {
	cement maturity.Cement
	spells []maturity.Spell
}

// age returns what the first days of the cure are worth at 20 degrees; days of
// which nothing is told count as they are.
func (c curing) age(days float64) (float64, error) {
	var told []maturity.Spell
	left := days
	for _, x := range c.spells {
		if x.Days = min(x.Days, left); x.Days > 0 {
			told = append(told, x)
			left -= x.Days
		}
	}
	worth, err := maturity.Age(told)
	return worth + left, err
}

// meanAbove is what the mean of a class lies above its characteristic strength
// (EN 1992-1-1 Table 3.1).
const meanAbove = 8 * conformity.MPa

func (c curing) forecast(b yard.Batch, days int) (*stockv1.ForecastStrengthResponse, error) {
	age, err := c.age(float64(days))
	if err != nil {
		return nil, err
	}
	mean28 := codec.MPa(b.Concrete.FckCylinder + meanAbove)
	basis := "the mean of its class, fck + 8 MPa (EN 1992-1-1 Table 3.1)"
	for _, j := range b.Judgements() {
		if j.Specimen != yard.Cylinder || j.AgeDays == 0 {
			continue
		}
		then, err := c.age(float64(j.AgeDays))
		if err != nil {
			return nil, err
		}
		if mean28, err = maturity.From28(c.cement, codec.MPa(j.Verdict.Mean), then); err != nil {
			return nil, err
		}
		basis = fmt.Sprintf("the mean of %v MPa that %d cylinders had at %d days", j.Verdict.Mean, j.Verdict.Results, j.AgeDays)
	}
	mean, err := maturity.Forecast(c.cement, mean28, age)
	return &stockv1.ForecastStrengthResponse{MeanMpa: mean, Mean_28Mpa: mean28, AgeDays: int32(days), MaturityDays: age, Basis: basis}, err
}
