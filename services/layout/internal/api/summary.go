package api

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/layout/internal/office"
)

var planStates = map[office.Status]layoutv1.PlanState{
	office.Draft:      layoutv1.PlanState_PLAN_STATE_DRAFT,
	office.Approved:   layoutv1.PlanState_PLAN_STATE_APPROVED,
	office.Superseded: layoutv1.PlanState_PLAN_STATE_SUPERSEDED,
}

// summary returns a revision without its rooms.
func summary(r office.Record) *layoutv1.PlanSummary {
	s := &layoutv1.PlanSummary{
		JobId: r.Plan.Job, JobName: r.Plan.JobName, Floor: r.Plan.Floor, Revision: int32(r.Plan.Revision),
		State: planStates[r.Status], Strength: eventv1.Strength(r.Plan.Strength),
		Engineer: r.Engineer, Reason: r.Reason, SourceFile: r.SourceFile,
		RoomCount: int32(r.Totals.Rooms), BeamCount: int32(r.Totals.Beams),
		BeamLengthMm: r.Totals.BeamLengthMM, BeamMassG: r.Totals.BeamMassG,
		BlockCount: int32(r.Totals.Blocks), BlockMassG: r.Totals.BlockMassG,
		OpenPointCount: int32(r.Totals.OpenPoints), LeftOutRoomCount: int32(r.Totals.LeftOut),
	}
	if !r.ApprovedAt.IsZero() {
		s.ApprovedAt = timestamppb.New(r.ApprovedAt)
	}
	return s
}

// openPoints of a plan; one from before strength was computed has none that
// could be mended.
func openPoints(p office.Plan) []*layoutv1.OpenPoint {
	if p.Strength == office.NotChecked {
		return nil
	}
	var points []*layoutv1.OpenPoint
	for _, o := range p.OpenPoints() {
		points = append(points, &layoutv1.OpenPoint{Room: o.Room, Problem: int32(o.Problem), What: o.What, Help: o.Help})
	}
	return points
}
