package codec

import (
	"fmt"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	"spanyard.example/services/dispatch/internal/daybook"
)

// ToProto returns an event as a message.
func ToProto(event daybook.Event) (*eventv1.Event, error) {
	switch e := event.(type) {
	case daybook.RulesSet:
		return &eventv1.Event{Kind: &eventv1.Event_YardRulesSet{YardRulesSet: &eventv1.YardRulesSet{Rules: RulesTo(e.Rules)}}}, nil
	case daybook.TrucksSet:
		return &eventv1.Event{Kind: &eventv1.Event_TrucksSet{TrucksSet: &eventv1.TrucksSet{Trucks: TrucksTo(e.Trucks)}}}, nil
	case daybook.SitesSet:
		return &eventv1.Event{Kind: &eventv1.Event_SitesSet{SitesSet: &eventv1.SitesSet{Sites: SitesTo(e.Sites)}}}, nil
	case daybook.FloorPlanned:
		return &eventv1.Event{Kind: &eventv1.Event_FloorPlanned{FloorPlanned: floorTo(e.Floor)}}, nil
	case daybook.FloorWithdrawn:
		return &eventv1.Event{Kind: &eventv1.Event_FloorWithdrawn{FloorWithdrawn: &eventv1.FloorWithdrawn{
			JobId: e.JobID, Floor: e.Floor, Revision: int32(e.Revision),
		}}}, nil
	case daybook.CalledOff:
		return &eventv1.Event{Kind: &eventv1.Event_CalledOff{CalledOff: &eventv1.CalledOff{CallOff: callOffTo(e.CallOff)}}}, nil
	case daybook.CallOffCancelled:
		return &eventv1.Event{Kind: &eventv1.Event_CallOffCancelled{CallOffCancelled: &eventv1.CallOffCancelled{
			CallOffId: e.CallOffID, Reason: e.Reason,
		}}}, nil
	}
	return morningToProto(event)
}

func morningToProto(event daybook.Event) (*eventv1.Event, error) {
	switch e := event.(type) {
	case daybook.MorningPlanned:
		return &eventv1.Event{Kind: &eventv1.Event_MorningPlanned{MorningPlanned: &eventv1.MorningPlanned{Plan: PlanTo(e.Plan)}}}, nil
	case daybook.MorningConfirming:
		return &eventv1.Event{Kind: &eventv1.Event_MorningConfirming{MorningConfirming: &eventv1.MorningConfirming{
			PlanId: e.PlanID, ConfirmedBy: e.ConfirmedBy, ReservationId: e.ReservationID, Day: e.Day,
		}}}, nil
	case daybook.RunConfirmed:
		return &eventv1.Event{Kind: &eventv1.Event_RunConfirmed{RunConfirmed: &eventv1.RunConfirmed{
			PlanId: e.PlanID, Day: e.Day, Run: RunTo(e.Run),
		}}}, nil
	case daybook.PicksIssued:
		return &eventv1.Event{Kind: &eventv1.Event_PicksIssued{PicksIssued: &eventv1.PicksIssued{
			RunId: e.RunID, TruckId: e.TruckID, Day: e.Day, LoadingMinute: int32(e.LoadingMinute), Picks: each(e.Picks, pickTo), Moves: each(e.Moves, moveTo),
		}}}, nil
	case daybook.MorningConfirmed:
		return &eventv1.Event{Kind: &eventv1.Event_MorningConfirmed{MorningConfirmed: &eventv1.MorningConfirmed{
			PlanId: e.PlanID, Day: e.Day, ConfirmedBy: e.ConfirmedBy, ConfirmedAt: stamp(e.ConfirmedAt), StockPosition: e.StockPosition,
		}}}, nil
	case daybook.MorningConfirmFailed:
		return &eventv1.Event{Kind: &eventv1.Event_MorningConfirmFailed{MorningConfirmFailed: &eventv1.MorningConfirmFailed{
			PlanId: e.PlanID, Missing: MissingTo(e.Missing), Day: e.Day,
		}}}, nil
	}
	return dayToProto(event)
}

// dayToProto writes what happens to a day, and the table of ways.
func dayToProto(event daybook.Event) (*eventv1.Event, error) {
	switch e := event.(type) {
	case daybook.TravelSet:
		return &eventv1.Event{Kind: &eventv1.Event_TravelSet{TravelSet: &eventv1.TravelSet{Legs: each(e.Legs, LegTo)}}}, nil
	case daybook.DayHindered:
		return &eventv1.Event{Kind: &eventv1.Event_DayHindered{DayHindered: &eventv1.DayHindered{Day: e.Day, Hindrance: hindranceTo(e.Hindrance)}}}, nil
	case daybook.HindranceEnded:
		return &eventv1.Event{Kind: &eventv1.Event_HindranceEnded{HindranceEnded: &eventv1.HindranceEnded{Day: e.Day, TruckId: e.TruckID, SiteId: e.SiteID}}}, nil
	case daybook.RunDelayed:
		return &eventv1.Event{Kind: &eventv1.Event_RunDelayed{RunDelayed: &eventv1.RunDelayed{RunId: e.RunID, Minutes: int32(e.Minutes), Reason: e.Reason}}}, nil
	}
	return runToProto(event)
}

func runToProto(event daybook.Event) (*eventv1.Event, error) {
	switch e := event.(type) {
	case daybook.RunChanged:
		return &eventv1.Event{Kind: &eventv1.Event_RunChanged{RunChanged: &eventv1.RunChanged{RunId: e.RunID, Hits: HitsTo(e.Hits), Departed: e.Departed}}}, nil
	case daybook.RunCleared:
		return &eventv1.Event{Kind: &eventv1.Event_RunCleared{RunCleared: &eventv1.RunCleared{
			RunId: e.RunID, BatchId: e.BatchID, PieceIds: e.PieceIDs, Departed: e.Departed,
		}}}, nil
	case daybook.PieceSetDown:
		return &eventv1.Event{Kind: &eventv1.Event_PieceSetDown{PieceSetDown: &eventv1.PieceSetDown{
			RunId: e.RunID, PieceId: e.PieceID, SiteId: e.SiteID, Mark: e.Mark,
		}}}, nil
	case daybook.PieceExchanged:
		return &eventv1.Event{Kind: &eventv1.Event_PieceExchanged{PieceExchanged: &eventv1.PieceExchanged{
			RunId: e.RunID, OldPieceId: e.OldID, NewPieceId: e.NewID, Mark: e.Mark, BatchId: e.BatchID, StackId: e.StackID, StackTier: int32(e.StackTier),
			ExchangedBy: e.By, Reason: e.Reason,
		}}}, nil
	case daybook.PieceTakenBack:
		return &eventv1.Event{Kind: &eventv1.Event_PieceTakenBack{PieceTakenBack: &eventv1.PieceTakenBack{
			RunId: e.RunID, PieceId: e.PieceID, Mark: e.Mark, Broken: e.Broken,
		}}}, nil
	case daybook.RunDeparted:
		return &eventv1.Event{Kind: &eventv1.Event_RunDeparted{RunDeparted: &eventv1.RunDeparted{
			RunId: e.RunID, DepartedBy: e.DepartedBy, DepartedAt: stamp(e.DepartedAt),
		}}}, nil
	case daybook.DropDelivered:
		return &eventv1.Event{Kind: &eventv1.Event_DropDelivered{DropDelivered: &eventv1.DropDelivered{
			RunId: e.RunID, DropNumber: int32(e.DropNumber), SiteId: e.SiteID, PieceIds: e.PieceIDs,
			ReceivedBy: e.ReceivedBy, DeliveredAt: stamp(e.DeliveredAt), RefusedPieceIds: e.Refused, RefusalReason: e.RefusalReason,
		}}}, nil
	case daybook.LayingRecorded:
		return &eventv1.Event{Kind: &eventv1.Event_LayingRecorded{LayingRecorded: &eventv1.LayingRecorded{
			RunId: e.RunID, DropNumber: int32(e.DropNumber), LaidPieceIds: e.Laid, NotLaidPieceIds: e.Unlaid, RecordedAt: stamp(e.At),
		}}}, nil
	case daybook.PieceReported:
		return &eventv1.Event{Kind: &eventv1.Event_PieceReported{PieceReported: ReportTo(e.RunID, e.Report)}}, nil
	case daybook.RunCancelled:
		return &eventv1.Event{Kind: &eventv1.Event_RunCancelled{RunCancelled: &eventv1.RunCancelled{
			RunId: e.RunID, Reason: e.Reason, ReservationId: e.ReservationID,
		}}}, nil
	case daybook.RunFreed:
		return &eventv1.Event{Kind: &eventv1.Event_RunFreed{RunFreed: &eventv1.RunFreed{
			RunId: e.RunID, ReservationId: e.ReservationID,
		}}}, nil
	}
	return nil, fmt.Errorf("dispatch has no event %T in its contract", event)
}

// FromProto is the inverse of ToProto.
func FromProto(msg *eventv1.Event) (daybook.Event, error) {
	switch k := msg.GetKind().(type) {
	case *eventv1.Event_YardRulesSet:
		return daybook.RulesSet{Rules: RulesFrom(k.YardRulesSet.GetRules())}, nil
	case *eventv1.Event_TrucksSet:
		return daybook.TrucksSet{Trucks: TrucksFrom(k.TrucksSet.GetTrucks())}, nil
	case *eventv1.Event_SitesSet:
		return daybook.SitesSet{Sites: SitesFrom(k.SitesSet.GetSites())}, nil
	case *eventv1.Event_FloorPlanned:
		return daybook.FloorPlanned{Floor: floorFrom(k.FloorPlanned)}, nil
	case *eventv1.Event_FloorWithdrawn:
		e := k.FloorWithdrawn
		return daybook.FloorWithdrawn{FloorKey: daybook.FloorKey{JobID: e.GetJobId(), Floor: e.GetFloor()}, Revision: int(e.GetRevision())}, nil
	case *eventv1.Event_CalledOff:
		return daybook.CalledOff{CallOff: callOffFrom(k.CalledOff.GetCallOff())}, nil
	case *eventv1.Event_CallOffCancelled:
		return daybook.CallOffCancelled{CallOffID: k.CallOffCancelled.GetCallOffId(), Reason: k.CallOffCancelled.GetReason()}, nil
	}
	return morningFromProto(msg)
}

func morningFromProto(msg *eventv1.Event) (daybook.Event, error) {
	switch k := msg.GetKind().(type) {
	case *eventv1.Event_MorningPlanned:
		return daybook.MorningPlanned{Plan: planFrom(k.MorningPlanned.GetPlan())}, nil
	case *eventv1.Event_MorningConfirming:
		e := k.MorningConfirming
		return daybook.MorningConfirming{
			PlanID: e.GetPlanId(), Day: e.GetDay(), ConfirmedBy: e.GetConfirmedBy(), ReservationID: e.GetReservationId(),
		}, nil
	case *eventv1.Event_RunConfirmed:
		e := k.RunConfirmed
		return daybook.RunConfirmed{PlanID: e.GetPlanId(), Day: e.GetDay(), Run: runFrom(e.GetRun())}, nil
	case *eventv1.Event_PicksIssued:
		e := k.PicksIssued
		return daybook.PicksIssued{
			RunID: e.GetRunId(), TruckID: e.GetTruckId(), Day: e.GetDay(),
			LoadingMinute: int(e.GetLoadingMinute()), Picks: each(e.GetPicks(), pickFrom), Moves: each(e.GetMoves(), moveFrom),
		}, nil
	case *eventv1.Event_MorningConfirmed:
		e := k.MorningConfirmed
		return daybook.MorningConfirmed{
			PlanID: e.GetPlanId(), Day: e.GetDay(), ConfirmedBy: e.GetConfirmedBy(),
			ConfirmedAt: moment(e.GetConfirmedAt()), StockPosition: e.GetStockPosition(),
		}, nil
	case *eventv1.Event_MorningConfirmFailed:
		e := k.MorningConfirmFailed
		return daybook.MorningConfirmFailed{PlanID: e.GetPlanId(), Day: e.GetDay(), Missing: each(e.GetMissing(), missingFrom)}, nil
	}
	return dayFromProto(msg)
}

func dayFromProto(msg *eventv1.Event) (daybook.Event, error) {
	switch k := msg.GetKind().(type) {
	case *eventv1.Event_TravelSet:
		return daybook.TravelSet{Legs: each(k.TravelSet.GetLegs(), LegFrom)}, nil
	case *eventv1.Event_DayHindered:
		return daybook.DayHindered{Day: k.DayHindered.GetDay(), Hindrance: HindranceFrom(k.DayHindered.GetHindrance())}, nil
	case *eventv1.Event_HindranceEnded:
		e := k.HindranceEnded
		return daybook.HindranceEnded{Day: e.GetDay(), TruckID: e.GetTruckId(), SiteID: e.GetSiteId()}, nil
	case *eventv1.Event_RunDelayed:
		e := k.RunDelayed
		return daybook.RunDelayed{RunID: e.GetRunId(), Minutes: int(e.GetMinutes()), Reason: e.GetReason()}, nil
	}
	return runFromProto(msg)
}

// LegTo writes a known way.
func LegTo(l daybook.Leg) *eventv1.TravelLeg {
	return &eventv1.TravelLeg{FromSiteId: l.FromSiteID, ToSiteId: l.ToSiteID, Metres: int32(l.Metres), Minutes: int32(l.Minutes)}
}

// LegFrom is the inverse of LegTo.
func LegFrom(l *eventv1.TravelLeg) daybook.Leg {
	return daybook.Leg{FromSiteID: l.GetFromSiteId(), ToSiteID: l.GetToSiteId(), Metres: int(l.GetMetres()), Minutes: int(l.GetMinutes())}
}

func hindranceTo(h daybook.Hindrance) *eventv1.Hindrance {
	return &eventv1.Hindrance{
		TruckId: h.TruckID, SiteId: h.SiteID, FromMinute: int32(h.FromMinute), UntilMinute: int32(h.UntilMinute), Reason: h.Reason,
	}
}

// HindranceFrom reads a hindrance.
func HindranceFrom(h *eventv1.Hindrance) daybook.Hindrance {
	return daybook.Hindrance{
		TruckID: h.GetTruckId(), SiteID: h.GetSiteId(), FromMinute: int(h.GetFromMinute()), UntilMinute: int(h.GetUntilMinute()), Reason: h.GetReason(),
	}
}

func runFromProto(msg *eventv1.Event) (daybook.Event, error) {
	switch k := msg.GetKind().(type) {
	case *eventv1.Event_RunChanged:
		e := k.RunChanged
		return daybook.RunChanged{RunID: e.GetRunId(), Hits: each(e.GetHits(), hitFrom), Departed: e.GetDeparted()}, nil
	case *eventv1.Event_RunCleared:
		e := k.RunCleared
		return daybook.RunCleared{RunID: e.GetRunId(), BatchID: e.GetBatchId(), PieceIDs: e.GetPieceIds(), Departed: e.GetDeparted()}, nil
	case *eventv1.Event_PieceSetDown:
		e := k.PieceSetDown
		return daybook.PieceSetDown{RunID: e.GetRunId(), PieceID: e.GetPieceId(), SiteID: e.GetSiteId(), Mark: e.GetMark()}, nil
	case *eventv1.Event_PieceExchanged:
		e := k.PieceExchanged
		return daybook.PieceExchanged{
			RunID: e.GetRunId(), OldID: e.GetOldPieceId(), NewID: e.GetNewPieceId(), Mark: e.GetMark(), BatchID: e.GetBatchId(), StackID: e.GetStackId(),
			StackTier: int(e.GetStackTier()), By: e.GetExchangedBy(), Reason: e.GetReason(),
		}, nil
	case *eventv1.Event_PieceTakenBack:
		e := k.PieceTakenBack
		return daybook.PieceTakenBack{RunID: e.GetRunId(), PieceID: e.GetPieceId(), Mark: e.GetMark(), Broken: e.GetBroken()}, nil
	case *eventv1.Event_RunDeparted:
		e := k.RunDeparted
		return daybook.RunDeparted{RunID: e.GetRunId(), DepartedBy: e.GetDepartedBy(), DepartedAt: moment(e.GetDepartedAt())}, nil
	case *eventv1.Event_LayingRecorded:
		e := k.LayingRecorded
		return daybook.LayingRecorded{
			RunID: e.GetRunId(), DropNumber: int(e.GetDropNumber()), Laid: e.GetLaidPieceIds(), Unlaid: e.GetNotLaidPieceIds(), At: moment(e.GetRecordedAt()),
		}, nil
	case *eventv1.Event_PieceReported:
		return daybook.PieceReported{RunID: k.PieceReported.GetRunId(), Report: reportFrom(k.PieceReported)}, nil
	case *eventv1.Event_DropDelivered:
		e := k.DropDelivered
		return daybook.DropDelivered{
			RunID: e.GetRunId(), DropNumber: int(e.GetDropNumber()), SiteID: e.GetSiteId(), PieceIDs: e.GetPieceIds(),
			ReceivedBy: e.GetReceivedBy(), DeliveredAt: moment(e.GetDeliveredAt()), Refused: e.GetRefusedPieceIds(), RefusalReason: e.GetRefusalReason(),
		}, nil
	case *eventv1.Event_RunCancelled:
		e := k.RunCancelled
		return daybook.RunCancelled{RunID: e.GetRunId(), Reason: e.GetReason(), ReservationID: e.GetReservationId()}, nil
	case *eventv1.Event_RunFreed:
		return daybook.RunFreed{RunID: k.RunFreed.GetRunId(), ReservationID: k.RunFreed.GetReservationId()}, nil
	}
	return nil, fmt.Errorf("dispatch does not know the event %q", Kind(msg))
}
