// Package api is dispatch's gRPC face: it turns requests into commands and
// questions of the day book, and what comes of them into answers. It decides
// nothing.
package api

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/dispatch/internal/codec"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/office"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
)

// Server answers for dispatch.
type Server struct {
	dispatchv1.UnimplementedDispatchServiceServer
	office *office.Office
}

// New returns a server that speaks for an office.
func New(o *office.Office) *Server { return &Server{office: o} }

// writing is a request that changes something.
type writing interface {
	proto.Message
	GetYard() string
	GetRequestId() string
}

func ask(ctx context.Context, req writing) office.Ask {
	return office.Ask{
		Yard: req.GetYard(), RequestID: req.GetRequestId(), Fingerprint: rpc.Fingerprint(req), Actor: rpc.Actor(ctx),
	}
}

// do carries out a command and returns the position after it.
func (s *Server) do(ctx context.Context, req writing, c daybook.Command) (uint64, error) {
	result, err := s.office.Do(ctx, ask(ctx, req), c)
	return result.Position, err
}

// SetYardRules sets the rules of loading and driving.
func (s *Server) SetYardRules(ctx context.Context, req *dispatchv1.SetYardRulesRequest) (*dispatchv1.SetYardRulesResponse, error) {
	rules := codec.RulesFrom(req.GetRules())
	if _, err := time.LoadLocation(rules.TimeZone); err != nil || rules.TimeZone == "Local" {
		return nil, fault.New(fault.Invalid, "BAD_RULES", "The yard's time zone is not known.").
			At("rules.time_zone", rules.TimeZone, "is no time zone", `an IANA name such as "Etc/UTC"`)
	}
	if err := s.office.SameZone(ctx, req.GetYard(), rules.TimeZone); err != nil {
		return nil, err
	}
	position, err := s.do(ctx, req, daybook.SetRules{Rules: rules})
	if err != nil {
		return nil, err
	}
	return &dispatchv1.SetYardRulesResponse{Position: position}, nil
}

// GetYardRules returns the yard's rules.
func (s *Server) GetYardRules(ctx context.Context, req *dispatchv1.GetYardRulesRequest) (*dispatchv1.GetYardRulesResponse, error) {
	state, _, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	rules, ok := state.Rules()
	if !ok {
		return nil, fault.New(fault.NotFound, "RULES_UNKNOWN", "The rules of yard %s are not set yet.", req.GetYard())
	}
	return &dispatchv1.GetYardRulesResponse{Rules: codec.RulesTo(rules)}, nil
}

// SetTrucks replaces the yard's trucks.
func (s *Server) SetTrucks(ctx context.Context, req *dispatchv1.SetTrucksRequest) (*dispatchv1.SetTrucksResponse, error) {
	position, err := s.do(ctx, req, daybook.SetTrucks{Trucks: codec.TrucksFrom(req.GetTrucks())})
	if err != nil {
		return nil, err
	}
	return &dispatchv1.SetTrucksResponse{Position: position}, nil
}

// ListTrucks lists the yard's trucks.
func (s *Server) ListTrucks(ctx context.Context, req *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
	state, _, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	return &dispatchv1.ListTrucksResponse{Trucks: codec.TrucksTo(state.Trucks())}, nil
}

// SetSites replaces the yard's sites.
func (s *Server) SetSites(ctx context.Context, req *dispatchv1.SetSitesRequest) (*dispatchv1.SetSitesResponse, error) {
	position, err := s.do(ctx, req, daybook.SetSites{Sites: codec.SitesFrom(req.GetSites())})
	if err != nil {
		return nil, err
	}
	return &dispatchv1.SetSitesResponse{Position: position}, nil
}

// ListSites lists the yard's sites.
func (s *Server) ListSites(ctx context.Context, req *dispatchv1.ListSitesRequest) (*dispatchv1.ListSitesResponse, error) {
	state, _, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	return &dispatchv1.ListSitesResponse{Sites: codec.SitesTo(state.Sites())}, nil
}

// CallOffRooms takes call-offs, all or none.
func (s *Server) CallOffRooms(ctx context.Context, req *dispatchv1.CallOffRoomsRequest) (*dispatchv1.CallOffRoomsResponse, error) {
	position, err := s.do(ctx, req, daybook.CallOffRooms{CallOffs: codec.CallOffsFrom(req.GetCallOffs()), At: s.office.Clock.Now()})
	if err != nil {
		return nil, err
	}
	return &dispatchv1.CallOffRoomsResponse{Position: position}, nil
}

// CancelCallOff withdraws a call-off that is not on a confirmed run.
func (s *Server) CancelCallOff(ctx context.Context, req *dispatchv1.CancelCallOffRequest) (*dispatchv1.CancelCallOffResponse, error) {
	position, err := s.do(ctx, req, daybook.CancelCallOff{CallOffID: req.GetCallOffId(), Reason: req.GetReason()})
	if err != nil {
		return nil, err
	}
	return &dispatchv1.CancelCallOffResponse{Position: position}, nil
}

// ListCallOffs lists the call-offs of a day.
func (s *Server) ListCallOffs(ctx context.Context, req *dispatchv1.ListCallOffsRequest) (*dispatchv1.ListCallOffsResponse, error) {
	state, _, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	return &dispatchv1.ListCallOffsResponse{
		CallOffs: codec.CallOffsTo(state.CallOffs(req.GetDay())), ConfirmedIds: state.ConfirmedCallOffs(req.GetDay()),
	}, nil
}

// ListFloors lists the floors whose approved plans dispatch knows.
func (s *Server) ListFloors(ctx context.Context, req *dispatchv1.ListFloorsRequest) (*dispatchv1.ListFloorsResponse, error) {
	last, err := s.office.WaitHeard(ctx, "layout", req.GetYard(), req.GetLayoutAtLeast())
	if err != nil {
		return nil, err
	}
	state, _, err := s.office.State(ctx, req.GetYard(), max(last, req.GetAtLeast()))
	if err != nil {
		return nil, err
	}
	answer := &dispatchv1.ListFloorsResponse{}
	for _, f := range state.Floors() {
		answer.Floors = append(answer.Floors, floor(f))
	}
	return answer, nil
}

func floor(f *daybook.Floor) *dispatchv1.Floor {
	out := &dispatchv1.Floor{
		JobId: f.JobID, Floor: f.FloorKey.Floor, Revision: int32(f.Revision), RoomCount: int32(len(f.Rooms)),
	}
	each := map[string]int64{}
	for _, k := range f.Blocks {
		each[k.Name] = k.MassG
	}
	for _, r := range f.Rooms {
		out.BeamCount += int32(len(r.Beams))
		out.BlockCount += int32(r.BlockCount)
		out.MassG += int64(r.BlockCount) * each[r.BlockKind]
		for _, b := range r.Beams {
			out.MassG += b.MassG
		}
	}
	return out
}
