// Package api answers the drawing office's gRPC calls: it translates a request
// into a command or a question, asks the domain, and translates back. It
// decides nothing itself.
//
// Answers to writes that draft or approve a plan are made from the events of
// the write alone, never from what the state has become since, so a repeated
// request gets the answer of the first. A change of a draft answers with the
// plan as it stands by then.
package api

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/kit/sheet"
	"spanyard.example/services/layout/internal/codec"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/schedule"
)

// Ledger of the drawing office.
type Ledger = ledger.Ledger[office.State, office.Event]

// Server answers the calls.
type Server struct {
	layoutv1.UnimplementedLayoutServiceServer

	ledger *Ledger
	clock  clock.Clock
}

// New returns a server on a ledger.
func New(l *Ledger, c clock.Clock) *Server { return &Server{ledger: l, clock: c} }

// Register adds the server to a gRPC server.
func (s *Server) Register(r grpc.ServiceRegistrar) { layoutv1.RegisterLayoutServiceServer(r, s) }

// write is a request that changes something.
type write interface {
	proto.Message
	GetYard() string
	GetRequestId() string
}

// do carries out a command in the name of the caller.
func (s *Server) do(ctx context.Context, req write, c office.Command) (ledger.Result[office.Event], error) {
	return s.ledger.Do(ctx, req.GetYard(), ledger.Command[office.State, office.Event]{
		RequestID:   req.GetRequestId(),
		Fingerprint: rpc.Fingerprint(req),
		Actor:       rpc.Actor(ctx),
		Time:        s.clock.Now(),
		Decide:      func(state office.State) ([]office.Event, error) { return office.Decide(state, c) },
	})
}

// positionOf a write is that of its last event, so that a request sent again
// gets the very same answer. Every command of the office leads to events.
func positionOf(r ledger.Result[office.Event]) uint64 {
	if len(r.Events) == 0 {
		return r.Position
	}
	return r.Events[len(r.Events)-1].Position
}

// SetCatalogue replaces the yard's catalogue.
func (s *Server) SetCatalogue(ctx context.Context, req *layoutv1.SetCatalogueRequest) (*layoutv1.SetCatalogueResponse, error) {
	result, err := s.do(ctx, req, office.SetCatalogue{Catalogue: office.Catalogue{
		Profiles: codec.ProfilesOf(req.GetProfiles()), Blocks: codec.BlocksOf(req.GetBlocks()),
		LengthStepMM: int(req.GetLengthStepMm()), MinBearingMM: int(req.GetMinBearingMm()), MaxBeamLengthMM: int(req.GetMaxBeamLengthMm()),
		Basis: codec.BasisOf(req.GetBasis()),
	}})
	if err != nil {
		return nil, err
	}
	return &layoutv1.SetCatalogueResponse{Position: positionOf(result)}, nil
}

// GetCatalogue returns the yard's catalogue.
func (s *Server) GetCatalogue(ctx context.Context, req *layoutv1.GetCatalogueRequest) (*layoutv1.GetCatalogueResponse, error) {
	state, _, err := s.ledger.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	c, ok := state.Catalogue()
	if !ok {
		return nil, fault.New(fault.NotFound, office.ReasonCatalogueMissing, "This yard has no catalogue yet.")
	}
	return &layoutv1.GetCatalogueResponse{
		Profiles: codec.ProfilesProto(c.Profiles), Blocks: codec.BlocksProto(c.Blocks),
		LengthStepMm: int32(c.LengthStepMM), MinBearingMm: int32(c.MinBearingMM), MaxBeamLengthMm: int32(c.MaxBeamLengthMM),
		Basis: codec.BasisProto(c.Basis),
	}, nil
}

// formats of an uploaded room schedule.
var formats = map[layoutv1.FileFormat]sheet.Format{
	layoutv1.FileFormat_FILE_FORMAT_XLSX: sheet.XLSX,
	layoutv1.FileFormat_FILE_FORMAT_CSV:  sheet.CSV,
	layoutv1.FileFormat_FILE_FORMAT_JSON: sheet.JSON,
}

// ImportRoomSchedule draws up plans from a room schedule.
func (s *Server) ImportRoomSchedule(ctx context.Context, req *layoutv1.ImportRoomScheduleRequest) (*layoutv1.ImportRoomScheduleResponse, error) {
	command, err := schedule.Read(req.GetFileName(), formats[req.GetFormat()], req.GetContent())
	if err != nil {
		return nil, err
	}
	result, err := s.do(ctx, req, command)
	if err != nil {
		return nil, err
	}
	answer := &layoutv1.ImportRoomScheduleResponse{Position: positionOf(result)}
	for _, e := range result.Events {
		if drafted, ok := e.Fact.(office.LayingPlanDrafted); ok {
			answer.Plans = append(answer.Plans, summary(office.Record{
				Plan: drafted.Plan, Status: office.Draft, SourceFile: drafted.SourceFile, Totals: drafted.Plan.Totals(),
			}))
		}
	}
	return answer, nil
}

// ApproveLayingPlan approves a drafted plan for making and laying.
func (s *Server) ApproveLayingPlan(ctx context.Context, req *layoutv1.ApproveLayingPlanRequest) (*layoutv1.ApproveLayingPlanResponse, error) {
	result, err := s.do(ctx, req, office.Approve{
		Job: req.GetJobId(), Floor: req.GetFloor(), Revision: int(req.GetRevision()),
		Engineer: req.GetEngineer(), Reason: req.GetReason(), At: s.clock.Now().UTC(),
	})
	if err != nil {
		return nil, err
	}
	answer := &layoutv1.ApproveLayingPlanResponse{Position: positionOf(result)}
	for _, e := range result.Events {
		approved, ok := e.Fact.(office.LayingPlanApproved)
		if !ok {
			continue
		}
		source, err := s.sourceFile(ctx, req.GetYard(), answer.GetPosition(), approved.Plan)
		if err != nil {
			return nil, err
		}
		answer.Plan = summary(office.Record{
			Plan: approved.Plan, Status: office.Approved, SourceFile: source, Totals: approved.Plan.Totals(),
			Engineer: approved.Engineer, Reason: approved.Reason, ApprovedAt: approved.ApprovedAt,
		})
	}
	return answer, nil
}

// sourceFile returns where a revision came from, which the event of its
// approval does not repeat. It never changes, so it may be taken from a later
// state.
func (s *Server) sourceFile(ctx context.Context, yard string, position uint64, p office.Plan) (string, error) {
	state, _, err := s.ledger.State(ctx, yard, position)
	if err != nil {
		return "", err
	}
	records := state.Revisions(office.FloorKey{Job: p.Job, Floor: p.Floor})
	return records[p.Revision-1].SourceFile, nil
}

// revisionOf returns a revision of a floor; 0 is the newest.
func (s *Server) revisionOf(ctx context.Context, yard string, key office.FloorKey, revision int, atLeast uint64) (office.Record, error) {
	state, _, err := s.ledger.State(ctx, yard, atLeast)
	if err != nil {
		return office.Record{}, err
	}
	records := state.Revisions(key)
	if len(records) == 0 || revision > len(records) {
		return office.Record{}, office.Unknown(key.Job, key.Floor, revision)
	}
	if revision == 0 {
		revision = len(records)
	}
	return records[revision-1], nil
}

// GetLayingPlan returns one revision of a floor's plan.
func (s *Server) GetLayingPlan(ctx context.Context, req *layoutv1.GetLayingPlanRequest) (*layoutv1.GetLayingPlanResponse, error) {
	record, err := s.revisionOf(ctx, req.GetYard(), office.FloorKey{Job: req.GetJobId(), Floor: req.GetFloor()}, int(req.GetRevision()), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	return &layoutv1.GetLayingPlanResponse{Summary: summary(record), Plan: codec.PlanProto(record.Plan), OpenPoints: openPoints(record.Plan)}, nil
}

// ListLayingPlans lists plans by job and floor, newest revision first.
func (s *Server) ListLayingPlans(ctx context.Context, req *layoutv1.ListLayingPlansRequest) (*layoutv1.ListLayingPlansResponse, error) {
	after, err := parseToken(req.GetPageToken(), req.GetJobId())
	if err != nil {
		return nil, err
	}
	state, _, err := s.ledger.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	size := int(req.GetPageSize())
	if size == 0 {
		size = defaultPageSize
	}
	records, more := page(state, req.GetJobId(), after, size)
	answer := &layoutv1.ListLayingPlansResponse{}
	for _, r := range records {
		answer.Plans = append(answer.Plans, summary(r))
	}
	if more {
		answer.NextPageToken = tokenAfter(records[len(records)-1].Plan, req.GetJobId())
	}
	return answer, nil
}
