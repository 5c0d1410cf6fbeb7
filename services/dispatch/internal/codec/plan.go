package codec

import (
	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	"spanyard.example/services/dispatch/internal/daybook"
)

// PlanTo returns a plan as a message.
func PlanTo(p daybook.Plan) *eventv1.MorningPlan {
	return &eventv1.MorningPlan{
		PlanId:          p.ID,
		Day:             p.Day,
		PlannedBy:       p.PlannedBy,
		PlannedAt:       stamp(p.PlannedAt),
		Runs:            each(p.Runs, RunTo),
		Unserved:        each(p.Unserved, unservedTo),
		RunLowerBound:   int32(p.RunLowerBound),
		BoundReason:     p.BoundReason,
		TookMs:          int32(p.TookMS),
		StockPosition:   p.StockPosition,
		MovedAsideCount: int32(p.MovedAsideCount),
		MovedAsideBound: int32(p.MovedAsideBound),
		PicksNote:       p.PicksNote,

		CrewWaitingMinutes: int32(p.CrewWaitingMinutes),
		BasedOnPlanId:      p.BasedOn,
		WithoutTruckIds:    p.Wishes.WithoutTrucks,
		ForbiddenTrucks:    each(p.Wishes.Forbidden, forbiddenTo),
		LeftOutCallOffIds:  p.Wishes.LeftOut,
	}
}

func planFrom(p *eventv1.MorningPlan) daybook.Plan {
	return daybook.Plan{
		ID:              p.GetPlanId(),
		Day:             p.GetDay(),
		PlannedBy:       p.GetPlannedBy(),
		PlannedAt:       moment(p.GetPlannedAt()),
		Runs:            each(p.GetRuns(), runFrom),
		Unserved:        each(p.GetUnserved(), unservedFrom),
		RunLowerBound:   int(p.GetRunLowerBound()),
		BoundReason:     p.GetBoundReason(),
		TookMS:          int(p.GetTookMs()),
		StockPosition:   p.GetStockPosition(),
		MovedAsideCount: int(p.GetMovedAsideCount()),
		MovedAsideBound: int(p.GetMovedAsideBound()),

		CrewWaitingMinutes: int(p.GetCrewWaitingMinutes()),
		PicksNote:          p.GetPicksNote(),
		BasedOn:            p.GetBasedOnPlanId(),
		Wishes: daybook.Wishes{
			WithoutTrucks: p.GetWithoutTruckIds(), Forbidden: each(p.GetForbiddenTrucks(), ForbiddenFrom), LeftOut: p.GetLeftOutCallOffIds(),
		},
	}
}

func forbiddenTo(f daybook.ForbiddenTruck) *eventv1.ForbiddenTruck {
	return &eventv1.ForbiddenTruck{CallOffId: f.CallOffID, TruckId: f.TruckID}
}

// ForbiddenFrom is the inverse of what a plan says of a forbidden truck.
func ForbiddenFrom(f *eventv1.ForbiddenTruck) daybook.ForbiddenTruck {
	return daybook.ForbiddenTruck{CallOffID: f.GetCallOffId(), TruckID: f.GetTruckId()}
}

// RunTo returns a run as a message.
func RunTo(r daybook.Run) *eventv1.Run {
	return &eventv1.Run{
		RunId:         r.ID,
		TruckId:       r.TruckID,
		Trip:          int32(r.Trip),
		LoadingMinute: int32(r.LoadingMinute),
		LeaveMinute:   int32(r.LeaveMinute),
		BackMinute:    int32(r.BackMinute),
		DistanceM:     int32(r.DistanceM),
		Drops:         each(r.Drops, dropTo),
		Piles:         each(r.Piles, pileTo),
		MassG:         r.MassG,
		AxleLoads:     each(r.AxleLoads, axlesTo),
		Picks:         each(r.Picks, pickTo),
		Moves:         each(r.Moves, moveTo),
		Locked:        r.Locked,
	}
}

func runFrom(r *eventv1.Run) daybook.Run {
	return daybook.Run{
		ID:            r.GetRunId(),
		TruckID:       r.GetTruckId(),
		Trip:          int(r.GetTrip()),
		LoadingMinute: int(r.GetLoadingMinute()),
		LeaveMinute:   int(r.GetLeaveMinute()),
		BackMinute:    int(r.GetBackMinute()),
		DistanceM:     int(r.GetDistanceM()),
		Drops:         each(r.GetDrops(), dropFrom),
		Piles:         each(r.GetPiles(), pileFrom),
		MassG:         r.GetMassG(),
		AxleLoads:     each(r.GetAxleLoads(), axlesFrom),
		Picks:         each(r.GetPicks(), pickFrom),
		Moves:         each(r.GetMoves(), moveFrom),
		Locked:        r.GetLocked(),
	}
}

func moveTo(m daybook.AsideMove) *eventv1.AsideMove {
	return &eventv1.AsideMove{PieceId: m.PieceID, FromStackId: m.FromID, ToStackId: m.ToID, BeforePick: int32(m.BeforePick)}
}

func moveFrom(m *eventv1.AsideMove) daybook.AsideMove {
	return daybook.AsideMove{PieceID: m.GetPieceId(), FromID: m.GetFromStackId(), ToID: m.GetToStackId(), BeforePick: int(m.GetBeforePick())}
}

func dropTo(d daybook.Drop) *eventv1.Drop {
	return &eventv1.Drop{
		Number: int32(d.Number), SiteId: d.SiteID, ArriveMinute: int32(d.ArriveMinute),
		UnloadMinute: int32(d.UnloadMinute), LeaveMinute: int32(d.LeaveMinute), CallOffIds: d.CallOffIDs,
	}
}

func dropFrom(d *eventv1.Drop) daybook.Drop {
	return daybook.Drop{
		Number: int(d.GetNumber()), SiteID: d.GetSiteId(), ArriveMinute: int(d.GetArriveMinute()),
		UnloadMinute: int(d.GetUnloadMinute()), LeaveMinute: int(d.GetLeaveMinute()), CallOffIDs: d.GetCallOffIds(),
	}
}

func axlesTo(a daybook.AxleLoads) *eventv1.AxleLoads {
	return &eventv1.AxleLoads{AfterDrop: int32(a.AfterDrop), FrontKg: int32(a.FrontKG), RearKg: int32(a.RearKG)}
}

func axlesFrom(a *eventv1.AxleLoads) daybook.AxleLoads {
	return daybook.AxleLoads{AfterDrop: int(a.GetAfterDrop()), FrontKG: int(a.GetFrontKg()), RearKG: int(a.GetRearKg())}
}

func pileTo(p daybook.Pile) *eventv1.Pile {
	return &eventv1.Pile{
		Number: int32(p.Number), DropNumber: int32(p.DropNumber), Lane: int32(p.Lane),
		FromMm: int32(p.FromMM), LeftMm: int32(p.LeftMM), LengthMm: int32(p.LengthMM),
		WidthMm: int32(p.WidthMM), HeightMm: int32(p.HeightMM), MassG: p.MassG,
		Tiers: each(p.Tiers, func(items []daybook.Item) *eventv1.Tier {
			return &eventv1.Tier{Items: each(items, itemTo)}
		}),
	}
}

func pileFrom(p *eventv1.Pile) daybook.Pile {
	return daybook.Pile{
		Number: int(p.GetNumber()), DropNumber: int(p.GetDropNumber()), Lane: int(p.GetLane()),
		FromMM: int(p.GetFromMm()), LeftMM: int(p.GetLeftMm()), LengthMM: int(p.GetLengthMm()),
		WidthMM: int(p.GetWidthMm()), HeightMM: int(p.GetHeightMm()), MassG: p.GetMassG(),
		Tiers: each(p.GetTiers(), func(t *eventv1.Tier) []daybook.Item {
			return each(t.GetItems(), itemFrom)
		}),
	}
}

func itemTo(i daybook.Item) *eventv1.Item {
	return &eventv1.Item{
		PieceId: i.PieceID, Mark: i.Mark, Beam: ProductTo(i.Beam), BlockKind: i.BlockKind,
		BlockCount: int32(i.BlockCount), MassG: i.MassG, JobId: i.FloorKey.JobID, Floor: i.FloorKey.Floor,
		Room: i.Room, CallOffId: i.CallOffID, LayingNumber: int32(i.LayingNumber), BatchId: i.BatchID,
	}
}

func itemFrom(i *eventv1.Item) daybook.Item {
	return daybook.Item{
		PieceID: i.GetPieceId(), Mark: i.GetMark(), Beam: Product(i.GetBeam()), BlockKind: i.GetBlockKind(),
		BlockCount: int(i.GetBlockCount()), MassG: i.GetMassG(),
		FloorKey: daybook.FloorKey{JobID: i.GetJobId(), Floor: i.GetFloor()},
		Room:     i.GetRoom(), CallOffID: i.GetCallOffId(), LayingNumber: int(i.GetLayingNumber()), BatchID: i.GetBatchId(),
	}
}

func pickTo(p daybook.Pick) *eventv1.Pick {
	return &eventv1.Pick{
		Number: int32(p.Number), PieceId: p.PieceID, StackId: p.StackID, StackTier: int32(p.StackTier),
		Mark: p.Mark, Beam: ProductTo(p.Beam), BlockKind: p.BlockKind, BlockCount: int32(p.BlockCount),
		MassG: p.MassG, PileNumber: int32(p.PileNumber), PileTier: int32(p.PileTier), BatchId: p.BatchID,
	}
}

func pickFrom(p *eventv1.Pick) daybook.Pick {
	return daybook.Pick{
		Number: int(p.GetNumber()), PieceID: p.GetPieceId(), StackID: p.GetStackId(), StackTier: int(p.GetStackTier()),
		Mark: p.GetMark(), Beam: Product(p.GetBeam()), BlockKind: p.GetBlockKind(), BlockCount: int(p.GetBlockCount()),
		MassG: p.GetMassG(), PileNumber: int(p.GetPileNumber()), PileTier: int(p.GetPileTier()), BatchID: p.GetBatchId(),
	}
}

func unservedTo(u daybook.Unserved) *eventv1.Unserved {
	return &eventv1.Unserved{
		CallOffId: u.CallOffID, SiteId: u.SiteID, Room: u.Room, BeamCount: int32(u.BeamCount),
		BlockCount: int32(u.BlockCount), MassG: u.MassG, Reason: eventv1.UnservedReason(u.Reason), Sentence: u.Sentence,
	}
}

func unservedFrom(u *eventv1.Unserved) daybook.Unserved {
	return daybook.Unserved{
		CallOffID: u.GetCallOffId(), SiteID: u.GetSiteId(), Room: u.GetRoom(), BeamCount: int(u.GetBeamCount()),
		BlockCount: int(u.GetBlockCount()), MassG: u.GetMassG(), Reason: daybook.UnservedReason(u.GetReason()), Sentence: u.GetSentence(),
	}
}

func missingTo(m daybook.Missing) *eventv1.MissingPiece {
	return &eventv1.MissingPiece{PieceId: m.PieceID, RunId: m.RunID, Mark: m.Mark, Sentence: m.Sentence}
}

func missingFrom(m *eventv1.MissingPiece) daybook.Missing {
	return daybook.Missing{PieceID: m.GetPieceId(), RunID: m.GetRunId(), Mark: m.GetMark(), Sentence: m.GetSentence()}
}

// MissingTo returns missing pieces as messages.
func MissingTo(m []daybook.Missing) []*eventv1.MissingPiece { return each(m, missingTo) }

func hitTo(h daybook.Hit) *eventv1.RunHit {
	return &eventv1.RunHit{PieceId: h.PieceID, Mark: h.Mark, BatchId: h.BatchID, Reason: h.Reason, Where: h.Where,
		Kind: eventv1.RunHitKind(h.Kind)}
}

func hitFrom(h *eventv1.RunHit) daybook.Hit {
	return daybook.Hit{PieceID: h.GetPieceId(), Mark: h.GetMark(), BatchID: h.GetBatchId(), Reason: h.GetReason(), Where: h.GetWhere(),
		Kind: daybook.HitKind(h.GetKind())}
}

// HitsTo returns hits as messages.
func HitsTo(h []daybook.Hit) []*eventv1.RunHit { return each(h, hitTo) }
