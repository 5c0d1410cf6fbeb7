package api

import (
	"context"
	"slices"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/dispatch/internal/codec"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/kit/fault"
)

// GetDrop returns a drop as its site sees it.
func (s *Server) GetDrop(ctx context.Context, req *dispatchv1.GetDropRequest) (*dispatchv1.GetDropResponse, error) {
	state, position, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	r, err := state.ConfirmedRun(req.GetRunId())
	if err != nil {
		return nil, err
	}
	number := int(req.GetDropNumber())
	at := slices.IndexFunc(r.Run.Drops, func(d daybook.Drop) bool { return d.Number == number })
	if at < 0 {
		return nil, fault.New(fault.NotFound, "DROP_UNKNOWN", "Run %s has no drop %d.", req.GetRunId(), number)
	}
	d := r.Run.Drops[at]
	rules, _ := state.Rules()
	answer := &dispatchv1.GetDropResponse{
		Day: r.Day, TruckId: r.Run.TruckID, SiteId: d.SiteID, Departed: r.Departed(), Delivered: slices.Contains(r.Delivered, number),
		Cancelled: r.State == daybook.RunCancelledState, LeaveYardMinute: int32(r.Run.LeaveMinute), ArriveMinute: int32(d.ArriveMinute),
		UnloadMinute: int32(d.UnloadMinute), LeaveSiteMinute: int32(d.LeaveMinute), TimeZone: rules.TimeZone,
		Rooms: dropRooms(state, r, number), Position: position,
	}
	if site, ok := state.Site(d.SiteID); ok {
		answer.SiteName = site.Name
	}
	for _, t := range state.Trucks() {
		if t.ID == r.Run.TruckID {
			answer.TruckName = t.Name
		}
	}
	return answer, nil
}

// dropRooms are what comes off at a drop, room by room in laying order.
func dropRooms(state daybook.State, r *daybook.RunStatus, number int) []*dispatchv1.DropRoom {
	type placed struct {
		item *daybook.Item
		pile int
		tier int
	}
	var all []placed
	for p := range r.Run.Piles {
		pile := &r.Run.Piles[p]
		for t := range pile.Tiers {
			for i := range pile.Tiers[t] {
				if pile.DropNumber == number {
					all = append(all, placed{&pile.Tiers[t][i], pile.Number, t + 1})
				}
			}
		}
	}
	slices.SortStableFunc(all, func(a, b placed) int { return a.item.LayingNumber - b.item.LayingNumber })
	var rooms []*dispatchv1.DropRoom
	for _, p := range all {
		last := len(rooms) - 1
		key := p.item.FloorKey
		if last < 0 || rooms[last].GetJobId() != key.JobID || rooms[last].GetFloor() != key.Floor || rooms[last].GetRoom() != p.item.Room {
			rooms = append(rooms, &dispatchv1.DropRoom{JobId: key.JobID, Floor: key.Floor, Room: p.item.Room})
			last++
			rooms[last].Revision, rooms[last].PlannedBeamCount = planned(state, key, p.item.Room)
		}
		piece := pieceTo(r, p.item)
		piece.PileNumber, piece.PileTier = int32(p.pile), int32(p.tier)
		rooms[last].Pieces = append(rooms[last].Pieces, piece)
	}
	return rooms
}

// planned says what the approved plan wants in a room.
func planned(state daybook.State, key daybook.FloorKey, room string) (revision, beams int32) {
	for _, f := range state.Floors() {
		if f.FloorKey != key {
			continue
		}
		for _, demand := range f.Rooms {
			if demand.Room == room {
				return int32(f.Revision), int32(len(demand.Beams))
			}
		}
		return int32(f.Revision), 0
	}
	return 0, 0
}

func pieceTo(r *daybook.RunStatus, item *daybook.Item) *dispatchv1.DropPiece {
	out := &dispatchv1.DropPiece{
		PieceId: item.PieceID, Mark: item.Mark, BlockKind: item.BlockKind, BlockCount: int32(item.BlockCount), MassG: item.MassG,
		Laid: slices.Contains(r.LaidBeams, item.PieceID),
	}
	if !item.IsPallet() {
		out.Beam = codec.ProductTo(item.Beam)
	}
	if told, ok := r.ReportOn(item.PieceID); ok {
		out.Report = codec.ReportTo(r.Run.ID, told)
	}
	if hit, ok := r.Stopped(item.PieceID); ok {
		out.StoppedReason = hit.Reason
	}
	return out
}

// RecordLaying ticks off beams of a drop as laid.
func (s *Server) RecordLaying(ctx context.Context, req *dispatchv1.RecordLayingRequest) (*dispatchv1.RecordLayingResponse, error) {
	position, err := s.do(ctx, req, daybook.RecordLaying{
		RunID: req.GetRunId(), DropNumber: int(req.GetDropNumber()), Laid: req.GetLaidPieceIds(), Unlaid: req.GetNotLaidPieceIds(), At: s.office.Clock.Now(),
	})
	if err != nil {
		return nil, err
	}
	state, _, err := s.office.State(ctx, req.GetYard(), position)
	if err != nil {
		return nil, err
	}
	r, err := state.ConfirmedRun(req.GetRunId())
	if err != nil {
		return nil, err
	}
	answer := &dispatchv1.RecordLayingResponse{Position: position}
	r.Run.Items(func(pile *daybook.Pile, item *daybook.Item) {
		if pile.DropNumber == int(req.GetDropNumber()) && slices.Contains(r.LaidBeams, item.PieceID) {
			answer.LaidCount++
		}
	})
	return answer, nil
}

// ReportPiece keeps what a site tells of a piece.
func (s *Server) ReportPiece(ctx context.Context, req *dispatchv1.ReportPieceRequest) (*dispatchv1.ReportPieceResponse, error) {
	position, err := s.do(ctx, req, daybook.ReportPiece{
		RunID: req.GetRunId(), DropNumber: int(req.GetDropNumber()), PieceID: req.GetPieceId(), Kind: reportKindFrom(req.GetKind()),
		Remark: req.GetRemark(), At: s.office.Clock.Now(),
	})
	if err != nil {
		return nil, err
	}
	return &dispatchv1.ReportPieceResponse{Position: position}, nil
}

func reportKindFrom(k eventv1.PieceReportKind) daybook.ReportKind {
	switch k {
	case eventv1.PieceReportKind_PIECE_REPORT_KIND_BROKEN:
		return daybook.ReportedBroken
	case eventv1.PieceReportKind_PIECE_REPORT_KIND_MISSING:
		return daybook.ReportedMissing
	default:
		return daybook.ReportWithdrawn
	}
}
