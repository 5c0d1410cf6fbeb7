package api

import (
	"context"

	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/layout/internal/codec"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/strength"
)

// ImportDrawing draws up the next revision of a floor from a drawing.
func (s *Server) ImportDrawing(ctx context.Context, req *layoutv1.ImportDrawingRequest) (*layoutv1.ImportDrawingResponse, error) {
	rooms, in, err := takeIn(req, office.LoadsOf(strength.Category(req.GetCategory()), req.ImposedKnPerM2, req.GetFinishesKnPerM2()))
	if err != nil {
		return nil, err
	}
	command := office.DraftDrawing{SourceFile: req.GetFileName(), Job: req.GetJobId(), JobName: req.GetJobName(), Floor: req.GetFloor(), Rooms: rooms}
	for _, p := range in.problems {
		command.Problems = append(command.Problems, office.Problem{Entity: p.Entity, Layer: p.Layer, What: p.What})
	}
	result, err := s.do(ctx, req, command)
	if err != nil {
		return nil, err
	}
	answer := &layoutv1.ImportDrawingResponse{WidthM: in.widthM, HeightM: in.heightM, UnitMm: in.unit, Layers: in.layers, Position: positionOf(result)}
	record, err := s.after(ctx, req.GetYard(), office.FloorKey{Job: req.GetJobId(), Floor: req.GetFloor()}, result)
	if err != nil {
		return nil, err
	}
	answer.Plan, answer.OpenPoints = summary(record), openPoints(record.Plan)
	return answer, nil
}

// after returns the revision that a change of a plan led to, as it was after
// the change: made from the change's own event where it drafts a revision, and
// from the newest state where it changes one.
func (s *Server) after(ctx context.Context, yard string, key office.FloorKey, result ledger.Result[office.Event]) (office.Record, error) {
	revision := 0
	for _, e := range result.Events {
		switch fact := e.Fact.(type) {
		case office.LayingPlanDrafted:
			return office.Record{Plan: fact.Plan, Status: office.Draft, SourceFile: fact.SourceFile, Totals: fact.Plan.Totals()}, nil
		case office.LayingPlanChanged:
			revision = fact.Revision
		}
	}
	return s.revisionOf(ctx, yard, key, revision, positionOf(result))
}

// EditRoom changes what is asked of a room.
func (s *Server) EditRoom(ctx context.Context, req *layoutv1.EditRoomRequest) (*layoutv1.EditRoomResponse, error) {
	command := office.EditRoom{
		Job: req.GetJobId(), Floor: req.GetFloor(), Revision: int(req.GetRevision()), Room: req.GetRoom(), Brief: briefOf(req.GetBrief()),
	}
	for _, path := range req.GetUpdateMask().GetPaths() {
		command.Fields = append(command.Fields, office.Field(path))
	}
	result, err := s.do(ctx, req, command)
	if err != nil {
		return nil, err
	}
	record, err := s.after(ctx, req.GetYard(), office.FloorKey{Job: req.GetJobId(), Floor: req.GetFloor()}, result)
	if err != nil {
		return nil, err
	}
	answer := &layoutv1.EditRoomResponse{Plan: summary(record), OpenPoints: openPoints(record.Plan), Position: positionOf(result)}
	for _, r := range record.Plan.Rooms {
		if r.Room.ID == req.GetRoom() {
			answer.Room = codec.RoomProto(r, record.Plan.Strength)
		}
	}
	return answer, nil
}

func briefOf(m *layoutv1.RoomBrief) design.Room {
	r := codec.AskedOf(&eventv1.RoomPlan{
		RoomName: m.GetRoomName(), Outline: m.GetOutline(), Holes: m.GetHoles(), OpenSides: m.GetOpenSides(), Partitions: m.GetPartitions(), Wishes: m.GetWishes(),
	})
	r.Loads = design.Loads{Category: strength.Category(m.GetCategory()), ImposedKNPerM2: m.GetImposedKnPerM2(), FinishesKNPerM2: m.GetFinishesKnPerM2()}
	return r
}

// ReorderRooms puts a floor's rooms into another laying order.
func (s *Server) ReorderRooms(ctx context.Context, req *layoutv1.ReorderRoomsRequest) (*layoutv1.ReorderRoomsResponse, error) {
	result, err := s.do(ctx, req, office.ReorderRooms{Job: req.GetJobId(), Floor: req.GetFloor(), Revision: int(req.GetRevision()), Rooms: req.GetRooms()})
	if err != nil {
		return nil, err
	}
	record, err := s.after(ctx, req.GetYard(), office.FloorKey{Job: req.GetJobId(), Floor: req.GetFloor()}, result)
	if err != nil {
		return nil, err
	}
	return &layoutv1.ReorderRoomsResponse{Plan: summary(record), Position: positionOf(result)}, nil
}

// LeaveOut takes rooms and problems out of a plan by hand.
func (s *Server) LeaveOut(ctx context.Context, req *layoutv1.LeaveOutRequest) (*layoutv1.LeaveOutResponse, error) {
	command := office.LeaveOut{
		Job: req.GetJobId(), Floor: req.GetFloor(), Revision: int(req.GetRevision()), Rooms: req.GetRooms(), AllOpen: req.GetAllOpen(), Reason: req.GetReason(),
	}
	for _, n := range req.GetProblems() {
		command.Problems = append(command.Problems, int(n))
	}
	result, err := s.do(ctx, req, command)
	if err != nil {
		return nil, err
	}
	record, err := s.after(ctx, req.GetYard(), office.FloorKey{Job: req.GetJobId(), Floor: req.GetFloor()}, result)
	if err != nil {
		return nil, err
	}
	return &layoutv1.LeaveOutResponse{Plan: summary(record), OpenPoints: openPoints(record.Plan), Position: positionOf(result)}, nil
}

var changeKinds = map[office.ChangeKind]layoutv1.BeamChangeKind{
	office.Added: layoutv1.BeamChangeKind_BEAM_CHANGE_KIND_ADDED, office.Removed: layoutv1.BeamChangeKind_BEAM_CHANGE_KIND_REMOVED,
	office.Remade: layoutv1.BeamChangeKind_BEAM_CHANGE_KIND_REMADE, office.Moved: layoutv1.BeamChangeKind_BEAM_CHANGE_KIND_MOVED,
}

// CompareRevisions says beam by beam what differs between two revisions.
func (s *Server) CompareRevisions(ctx context.Context, req *layoutv1.CompareRevisionsRequest) (*layoutv1.CompareRevisionsResponse, error) {
	key := office.FloorKey{Job: req.GetJobId(), Floor: req.GetFloor()}
	before, err := s.revisionOf(ctx, req.GetYard(), key, int(req.GetFromRevision()), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	after, err := s.revisionOf(ctx, req.GetYard(), key, int(req.GetToRevision()), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	c := office.Compare(before.Plan, after.Plan)
	answer := &layoutv1.CompareRevisionsResponse{
		UnchangedBeamCount: int32(c.Unchanged), RoomsAdded: c.RoomsAdded, RoomsRemoved: c.RoomsRemoved, LayingOrderChanged: c.OrderChanged,
	}
	for _, x := range c.Changes {
		m := &layoutv1.BeamChange{Mark: x.Mark, Room: x.Room, Kind: changeKinds[x.Kind], MovedMm: int32(x.MovedMM)}
		if x.Kind != office.Added {
			m.Before = codec.ProductProto(x.Before)
		}
		if x.Kind != office.Removed {
			m.After = codec.ProductProto(x.After)
		}
		answer.Changes = append(answer.Changes, m)
	}
	return answer, nil
}

// DrawApprovedPlan draws an approved plan, or what took its place, for those who
// lay it.
func (s *Server) DrawApprovedPlan(ctx context.Context, req *layoutv1.DrawApprovedPlanRequest) (*layoutv1.DrawApprovedPlanResponse, error) {
	key := office.FloorKey{Job: req.GetJobId(), Floor: req.GetFloor()}
	record, err := s.revisionOf(ctx, req.GetYard(), key, int(req.GetRevision()), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	if record.ApprovedAt.IsZero() {
		return nil, fault.New(fault.Stale, "PLAN_NOT_APPROVED", "Revision %d of job %s floor %s is not approved: nobody is to lay by it.", req.GetRevision(), key.Job, key.Floor)
	}
	from, err := sourcesOf(record)
	if err != nil {
		return nil, err
	}
	made, err := documents([]layoutv1.DocumentKind{layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_SVG}, from)
	if err != nil {
		return nil, err
	}
	return &layoutv1.DrawApprovedPlanResponse{Drawing: made[0].GetContent()}, nil
}

// RenderDocuments makes drawings, quantities and calculation sheets of a plan.
func (s *Server) RenderDocuments(ctx context.Context, req *layoutv1.RenderDocumentsRequest) (*layoutv1.RenderDocumentsResponse, error) {
	key := office.FloorKey{Job: req.GetJobId(), Floor: req.GetFloor()}
	record, err := s.revisionOf(ctx, req.GetYard(), key, int(req.GetRevision()), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	from, err := sourcesOf(record)
	if err != nil {
		return nil, err
	}
	from.sheet = req.GetSheet()
	made, err := documents(req.GetDocuments(), from)
	return &layoutv1.RenderDocumentsResponse{Documents: made}, err
}
