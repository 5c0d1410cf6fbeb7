// Package codec turns the drawing office's events and states into bytes and
// back. Events are stored forever: what was ever written stays readable, and
// testdata/history holds one of each kind from every version to prove it.
package codec

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/layout/internal/office"
)

// Encode returns an event's kind, which is the last token of its subject, and
// its bytes.
func Encode(e office.Event) (kind string, data []byte, err error) {
	message, err := EventProto(e)
	if err != nil {
		return "", nil, err
	}
	data, err = proto.MarshalOptions{Deterministic: true}.Marshal(message)
	if err != nil {
		return "", nil, fmt.Errorf("encode %T: %w", e, err)
	}
	return KindOf(message), data, nil
}

// Decode is the inverse of Encode.
func Decode(kind string, data []byte) (office.Event, error) {
	var message eventv1.Event
	if err := proto.Unmarshal(data, &message); err != nil {
		return nil, fmt.Errorf("decode %s: %w", kind, err)
	}
	if got := KindOf(&message); got != kind {
		return nil, fmt.Errorf("decode %s: the content is of kind %q", kind, got)
	}
	return EventOf(&message)
}

// KindOf returns the name of the field that is set; empty when none is that
// this program knows.
func KindOf(e *eventv1.Event) string {
	m := e.ProtoReflect()
	field := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	if field == nil {
		return ""
	}
	return string(field.Name())
}

// EventProto returns the stored form of an event.
func EventProto(e office.Event) (*eventv1.Event, error) {
	switch e := e.(type) {
	case office.CatalogueSet:
		return &eventv1.Event{Kind: &eventv1.Event_CatalogueSet{CatalogueSet: CatalogueProto(e.Catalogue)}}, nil
	case office.LayingPlanDrafted:
		return &eventv1.Event{Kind: &eventv1.Event_LayingPlanDrafted{LayingPlanDrafted: &eventv1.LayingPlanDrafted{
			Plan: PlanProto(e.Plan), SourceFile: e.SourceFile,
		}}}, nil
	case office.LayingPlanChanged:
		return &eventv1.Event{Kind: &eventv1.Event_LayingPlanChanged{LayingPlanChanged: &eventv1.LayingPlanChanged{
			JobId: e.Job, Floor: e.Floor, Revision: int32(e.Revision), ProblemsLeftOut: each(e.ProblemsLeftOut, func(n int) int32 { return int32(n) }), Change: e.Change, LeftOutReason: e.LeftOut,
			Rooms: each(e.Rooms, func(r office.Room) *eventv1.RoomPlan { return RoomProto(r, office.Checked) }),
		}}}, nil
	case office.LayingPlanApproved:
		return &eventv1.Event{Kind: &eventv1.Event_LayingPlanApproved{LayingPlanApproved: &eventv1.LayingPlanApproved{
			Plan: PlanProto(e.Plan), Engineer: e.Engineer, Reason: e.Reason, ApprovedAt: timestamppb.New(e.ApprovedAt),
		}}}, nil
	case office.LayingPlanSuperseded:
		return &eventv1.Event{Kind: &eventv1.Event_LayingPlanSuperseded{LayingPlanSuperseded: &eventv1.LayingPlanSuperseded{
			JobId: e.Job, Floor: e.Floor, Revision: int32(e.Revision), ByRevision: int32(e.ByRevision),
		}}}, nil
	default:
		return nil, fmt.Errorf("an event of type %T has no stored form", e)
	}
}

// EventOf is the inverse of EventProto. It refuses what Evolve could not place.
func EventOf(message *eventv1.Event) (office.Event, error) {
	switch k := message.GetKind().(type) {
	case *eventv1.Event_CatalogueSet:
		return office.CatalogueSet{Catalogue: CatalogueOf(k.CatalogueSet)}, nil
	case *eventv1.Event_LayingPlanDrafted:
		plan, err := PlanOf(k.LayingPlanDrafted.GetPlan())
		return office.LayingPlanDrafted{Plan: plan, SourceFile: k.LayingPlanDrafted.GetSourceFile()}, err
	case *eventv1.Event_LayingPlanChanged:
		c := k.LayingPlanChanged
		return office.LayingPlanChanged{
			Job: c.GetJobId(), Floor: c.GetFloor(), Revision: int(c.GetRevision()), Rooms: each(c.GetRooms(), RoomOf),
			ProblemsLeftOut: each(c.GetProblemsLeftOut(), func(n int32) int { return int(n) }), LeftOut: c.GetLeftOutReason(), Change: c.GetChange(),
		}, nil
	case *eventv1.Event_LayingPlanApproved:
		a := k.LayingPlanApproved
		plan, err := PlanOf(a.GetPlan())
		return office.LayingPlanApproved{
			Plan: plan, Engineer: a.GetEngineer(), Reason: a.GetReason(), ApprovedAt: a.GetApprovedAt().AsTime(),
		}, err
	case *eventv1.Event_LayingPlanSuperseded:
		s := k.LayingPlanSuperseded
		return office.LayingPlanSuperseded{
			Job: s.GetJobId(), Floor: s.GetFloor(), Revision: int(s.GetRevision()), ByRevision: int(s.GetByRevision()),
		}, nil
	default:
		return nil, fmt.Errorf("an event of kind %q is unknown to this version of the program", KindOf(message))
	}
}
