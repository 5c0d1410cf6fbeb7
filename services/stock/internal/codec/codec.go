// Package codec turns the yard's events into the protobuf messages that are
// stored forever, and back. It is the only place that knows both.
//
// A message that was ever written can be read by every later version: fields
// are only added, and the histories under testdata are replayed by every
// build.
package codec

import (
	"fmt"
	"math"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
)

// Encode returns an event's type, which is the name of the field that holds
// it, and its bytes.
func Encode(event yard.Event) (kind string, data []byte, err error) {
	message := ToProto(event)
	data, err = proto.Marshal(message)
	if err != nil {
		return "", nil, fmt.Errorf("encode %T: %w", event, err)
	}
	return Kind(message), data, nil
}

// Decode is the inverse of Encode.
func Decode(kind string, data []byte) (yard.Event, error) {
	var message stockeventv1.Event
	if err := proto.Unmarshal(data, &message); err != nil {
		return nil, fmt.Errorf("decode %s: %w", kind, err)
	}
	if got := Kind(&message); got != kind {
		return nil, fmt.Errorf("decode %s: the message holds %q", kind, got)
	}
	return FromProto(&message)
}

// Kind returns the name of the field that is set.
func Kind(message *stockeventv1.Event) string {
	m := message.ProtoReflect()
	field := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	if field == nil {
		return ""
	}
	return string(field.Name())
}

// MPa returns a strength as messages carry it.
func MPa(m conformity.MilliMPa) float64 { return float64(m) / float64(conformity.MPa) }

// MilliMPa returns a strength from a message, to the nearest thousandth.
func MilliMPa(mpa float64) conformity.MilliMPa {
	return conformity.MilliMPa(math.Round(mpa * float64(conformity.MPa)))
}

// BatchKind returns a kind as messages carry it.
func BatchKind(k yard.Kind) stockeventv1.BatchKind { return stockeventv1.BatchKind(k) }

// PieceState returns a state as messages carry it.
func PieceState(s yard.PieceState) stockeventv1.PieceState { return stockeventv1.PieceState(s) }

// Specimen returns what was crushed, from a message.
func Specimen(s stockeventv1.SpecimenKind) yard.Specimen { return yard.Specimen(s) }

// Allocation returns an allocation as messages carry it.
func Allocation(a yard.Allocation) *stockeventv1.Allocation {
	return &stockeventv1.Allocation{
		ReservationId: a.ReservationID, RunId: a.RunID, SiteId: a.SiteID, JobId: a.JobID,
		CallOffId: a.CallOffID, Mark: a.Mark,
	}
}

// AllocationOf returns an allocation from a message.
func AllocationOf(a *stockeventv1.Allocation) yard.Allocation {
	return yard.Allocation{
		ReservationID: a.GetReservationId(), RunID: a.GetRunId(), SiteID: a.GetSiteId(), JobID: a.GetJobId(),
		CallOffID: a.GetCallOffId(), Mark: a.GetMark(),
	}
}

// Concrete returns strengths as messages carry them.
func Concrete(c yard.Concrete) *stockeventv1.Concrete {
	return &stockeventv1.Concrete{
		FckCylinderMpa: MPa(c.FckCylinder), FckCubeMpa: MPa(c.FckCube), DeclaredBlockMpa: MPa(c.DeclaredBlock),
	}
}

// ConcreteOf returns strengths from a message.
func ConcreteOf(c *stockeventv1.Concrete) yard.Concrete {
	return yard.Concrete{
		FckCylinder: MilliMPa(c.GetFckCylinderMpa()), FckCube: MilliMPa(c.GetFckCubeMpa()),
		DeclaredBlock: MilliMPa(c.GetDeclaredBlockMpa()),
	}
}

// Test returns a test as messages carry it.
func Test(batchID string, t yard.Test) *stockeventv1.TestRecorded {
	return &stockeventv1.TestRecorded{
		BatchId: batchID, TestId: t.ID, Laboratory: t.Laboratory, TestedOn: t.TestedOn.String(),
		Specimen: stockeventv1.SpecimenKind(t.Specimen), Verdict: Verdict(t.Verdict),
		StrengthsMpa: strengths(t.Strengths), JudgedWith: t.JudgedWith,
	}
}

func strengths(list []conformity.MilliMPa) []float64 {
	var out []float64
	for _, s := range list {
		out = append(out, MPa(s))
	}
	return out
}

// Judgement returns a verdict on several tests as messages carry it.
func Judgement(j yard.Judgement) *stockv1.Judgement {
	return &stockv1.Judgement{
		Specimen: stockeventv1.SpecimenKind(j.Specimen), TestedOn: j.TestedOn.String(), AgeDays: int32(j.AgeDays),
		TestIds: j.TestIDs, StrengthsMpa: strengths(j.Strengths), Verdict: Verdict(j.Verdict), Superseded: j.Superseded,
	}
}

// ConcreteControl returns a production control as messages carry it.
func ConcreteControl(c yard.ConcreteControl) *stockv1.ConcreteControl {
	p := c.Production
	m := &stockv1.ConcreteControl{
		FckCylinderMpa: MPa(c.Concrete.FckCylinder), FckCubeMpa: MPa(c.Concrete.FckCube), Specimen: stockeventv1.SpecimenKind(c.Specimen),
		AgeDays: int32(c.AgeDays), SampleCount: int32(p.Results), Continuous: p.Continuous, Verdict: Verdict(p.Verdict),
		SigmaMpa: MPa(p.Sigma), LastSigmaMpa: MPa(p.Last), BandLowMpa: MPa(p.Low), BandHighMpa: MPa(p.High), RenewedCount: int32(p.Renewed),
	}
	if p.Continuous {
		m.SigmaFrom, m.SigmaTo = p.SigmaFrom.String(), p.SigmaTo.String()
	}
	if p.Since != 0 {
		m.Since = p.Since.String()
	}
	return m
}

// Verdict returns a verdict as messages carry it.
func Verdict(v conformity.Verdict) *stockeventv1.Verdict {
	return &stockeventv1.Verdict{
		Conforms: v.Conforms, Criterion: v.Criterion, MeanMpa: MPa(v.Mean), RequiredMeanMpa: MPa(v.RequiredMean),
		LowestMpa: MPa(v.Lowest), RequiredLowestMpa: MPa(v.RequiredLowest), Sentence: v.Sentence,
		ResultCount: int32(v.Results),
	}
}

func testOf(m *stockeventv1.TestRecorded) (yard.Test, error) {
	testedOn, err := civil.ParseDay(m.GetTestedOn())
	if err != nil {
		return yard.Test{}, err
	}
	v := m.GetVerdict()
	t := yard.Test{
		ID: m.GetTestId(), Laboratory: m.GetLaboratory(), TestedOn: testedOn, Specimen: Specimen(m.GetSpecimen()),
		Verdict: conformity.Verdict{
			Conforms: v.GetConforms(), Criterion: v.GetCriterion(), Mean: MilliMPa(v.GetMeanMpa()),
			RequiredMean: MilliMPa(v.GetRequiredMeanMpa()), Lowest: MilliMPa(v.GetLowestMpa()),
			RequiredLowest: MilliMPa(v.GetRequiredLowestMpa()), Sentence: v.GetSentence(), Results: int(v.GetResultCount()),
		},
		JudgedWith: m.GetJudgedWith(),
	}
	for _, s := range m.GetStrengthsMpa() {
		t.Strengths = append(t.Strengths, MilliMPa(s))
	}
	return t, nil
}

// Release returns a release as messages carry it.
func Release(batchID string, r yard.Release) *stockeventv1.BatchReleased {
	return &stockeventv1.BatchReleased{
		BatchId: batchID, ReleasedBy: r.By, ReleasedAt: timestamppb.New(r.At), ReleasedOn: r.On.String(),
		AgeDays: int32(r.AgeDays), TestIds: r.TestIDs,
	}
}

// Quarantine returns a quarantine as messages carry it.
func Quarantine(e yard.BatchQuarantined) *stockeventv1.BatchQuarantined {
	return &stockeventv1.BatchQuarantined{
		BatchId: e.BatchID, Reason: e.Reason, QuarantinedBy: e.By, QuarantinedAt: timestamppb.New(e.At),
		Hits: hits(e.Hits), Part: int32(e.Part), Parts: int32(e.Parts),
	}
}

// Released returns a release with what it cleared, as messages carry it.
func Released(e yard.BatchReleased) *stockeventv1.BatchReleased {
	m := Release(e.BatchID, e.Release)
	m.Cleared, m.Part, m.Parts = hits(e.Cleared), int32(e.Part), int32(e.Parts)
	return m
}

func hits(list []yard.Hit) []*stockeventv1.QuarantineHit {
	var out []*stockeventv1.QuarantineHit
	for _, h := range list {
		out = append(out, &stockeventv1.QuarantineHit{
			PieceId: h.PieceID, State: PieceState(h.State), Allocation: Allocation(h.Allocation),
		})
	}
	return out
}

func hitsOf(list []*stockeventv1.QuarantineHit) []yard.Hit {
	var out []yard.Hit
	for _, h := range list {
		out = append(out, yard.Hit{
			PieceID: h.GetPieceId(), State: yard.PieceState(h.GetState()), Allocation: AllocationOf(h.GetAllocation()),
		})
	}
	return out
}

// timeOf keeps "no time" apart from 1970.
func timeOf(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}
