package codec

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	"spanyard.example/services/stock/internal/yard"
)

// ToProto returns an event as it is stored.
func ToProto(event yard.Event) *stockeventv1.Event {
	switch e := event.(type) {
	case yard.RulesSet:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_YardRulesSet{YardRulesSet: Rules(e.Rules)}}
	case yard.BatchReceived:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_BatchReceived{BatchReceived: batchReceived(e)}}
	case yard.TestRecorded:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_TestRecorded{TestRecorded: Test(e.BatchID, e.Test)}}
	case yard.CureRecorded:
		m := &stockeventv1.CureRecorded{BatchId: e.BatchID, CementClass: e.Cure.Cement}
		for _, x := range e.Cure.Spells {
			m.Cure = append(m.Cure, &stockeventv1.CureTemperature{Celsius: x.Celsius, Days: x.Days})
		}
		return &stockeventv1.Event{Kind: &stockeventv1.Event_CureRecorded{CureRecorded: m}}
	case yard.BatchReleased:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_BatchReleased{BatchReleased: Released(e)}}
	case yard.BatchQuarantined:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_BatchQuarantined{BatchQuarantined: Quarantine(e)}}
	case yard.QuarantineLifted:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_QuarantineLifted{QuarantineLifted: &stockeventv1.QuarantineLifted{
			BatchId: e.BatchID, LiftedBy: e.By, Reason: e.Reason,
		}}}
	case yard.PiecesReserved:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PiecesReserved{PiecesReserved: piecesReserved(e)}}
	case yard.ReservationDropped:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_ReservationDropped{ReservationDropped: &stockeventv1.ReservationDropped{
			ReservationId: e.ReservationID, PieceIds: e.PieceIDs, Reason: e.Reason,
		}}}
	case yard.BlocksScrapped:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_BlocksScrapped{BlocksScrapped: &stockeventv1.BlocksScrapped{
			BatchId: e.BatchID, BlockCount: int32(e.Count), Reason: e.Reason,
		}}}
	default:
		return pieceEvent(event)
	}
}

// Rules returns the rules of a yard as messages carry them.
func Rules(r yard.Rules) *stockeventv1.YardRulesSet {
	m := &stockeventv1.YardRulesSet{
		TimeZone: r.TimeZone, BeamMinAgeDays: int32(r.BeamMinAgeDays),
		BlockMinAgeDays: int32(r.BlockMinAgeDays), BeamsPerStackTier: int32(r.BeamsPerStackTier),
	}
	for _, rule := range r.Sampling {
		m.Sampling = append(m.Sampling, SamplingRule(rule))
	}
	if s := r.Stacks; s.MaxTiers+s.MaxOverhangMM+s.BearerInsetMM+len(s.Places) > 0 {
		m.Stacks = &stockeventv1.StackRules{MaxTiers: int32(s.MaxTiers), MaxOverhangMm: int32(s.MaxOverhangMM), BearerInsetMm: int32(s.BearerInsetMM)}
		for _, p := range s.Places {
			m.Stacks.Places = append(m.Stacks.Places, &stockeventv1.StackPlace{StackId: p.ID, LongestMm: int32(p.LongestMM), MaxTiers: int32(p.MaxTiers), ForBlocks: p.ForBlocks})
		}
	}
	return m
}

// Exchanged returns an exchange of beams as messages carry it.
func Exchanged(e yard.PieceExchanged) *stockeventv1.PieceExchanged {
	return &stockeventv1.PieceExchanged{OldPieceId: e.OldID, NewPieceId: e.NewID, Allocation: Allocation(e.Allocation), ExchangedBy: e.By, Reason: e.Reason,
		NewBatchId: e.NewBatchID, NewStackId: e.NewStackID, NewTier: int32(e.NewTier)}
}

// SamplingRule returns a rule of sampling as messages carry it.
func SamplingRule(r yard.SamplingRule) *stockeventv1.SamplingRule {
	m := &stockeventv1.SamplingRule{
		Kind: BatchKind(r.Kind), Product: r.Product, Specimen: stockeventv1.SpecimenKind(r.Specimen), Count: int32(r.Count),
		AgeDays: int32(r.AgeDays), Laboratory: r.Laboratory, ForRelease: r.ForRelease,
	}
	if r.From != 0 {
		m.From = r.From.String()
	}
	return m
}

func pieceEvent(event yard.Event) *stockeventv1.Event {
	switch e := event.(type) {
	case yard.PiecePicked:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PiecePicked{PiecePicked: &stockeventv1.PiecePicked{
			PieceId: e.PieceID, RunId: e.RunID, AsidePieceIds: e.Aside,
		}}}
	case yard.PieceLoaded:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PieceLoaded{PieceLoaded: &stockeventv1.PieceLoaded{
			PieceId: e.PieceID, RunId: e.RunID, TruckId: e.TruckID,
		}}}
	case yard.PieceDelivered:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PieceDelivered{PieceDelivered: &stockeventv1.PieceDelivered{
			PieceId: e.PieceID, RunId: e.RunID, SiteId: e.SiteID, DeliveredAt: timestamppb.New(e.At), ReceivedBy: e.ReceivedBy,
		}}}
	case yard.PieceReturned:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PieceReturned{PieceReturned: &stockeventv1.PieceReturned{
			PieceId: e.PieceID, StackId: e.StackID, Reason: e.Reason,
		}}}
	case yard.PieceScrapped:
		m := &stockeventv1.PieceScrapped{PieceId: e.PieceID, Reason: e.Reason}
		if e.DeliveredTo != nil {
			m.DeliveredTo = Allocation(*e.DeliveredTo)
		}
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PieceScrapped{PieceScrapped: m}}
	case yard.PieceMoved:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PieceMoved{PieceMoved: &stockeventv1.PieceMoved{
			PieceId: e.PieceID, StackId: e.StackID, AsidePieceIds: e.Aside,
		}}}
	case yard.PieceExchanged:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PieceExchanged{PieceExchanged: Exchanged(e)}}
	case yard.PalletsPacked:
		m := &stockeventv1.PalletsPacked{BatchId: e.BatchID}
		for _, p := range e.Pallets {
			m.Pallets = append(m.Pallets, &stockeventv1.PackedPallet{PieceId: p.ID, BlockCount: int32(p.Blocks)})
		}
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PalletsPacked{PalletsPacked: m}}
	case yard.PalletSplit:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PalletSplit{PalletSplit: &stockeventv1.PalletSplit{
			PieceId: e.PieceID, NewPieceId: e.NewID, BlockCount: int32(e.Blocks),
		}}}
	case yard.PalletsMerged:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PalletsMerged{PalletsMerged: &stockeventv1.PalletsMerged{PieceId: e.PieceID, FromPieceIds: e.FromIDs}}}
	case yard.PalletsUnpacked:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_PalletsUnpacked{PalletsUnpacked: &stockeventv1.PalletsUnpacked{PieceIds: e.PieceIDs}}}
	case yard.KeepingEnded:
		return &stockeventv1.Event{Kind: &stockeventv1.Event_KeepingEnded{KeepingEnded: &stockeventv1.KeepingEnded{
			PieceIds: e.PieceIDs, EndedBy: e.By, Reason: e.Reason,
		}}}
	default:
		// The set of events is closed; a test encodes each of them.
		return &stockeventv1.Event{}
	}
}

func batchReceived(e yard.BatchReceived) *stockeventv1.BatchReceived {
	m := &stockeventv1.BatchReceived{
		BatchId: e.BatchID, Kind: BatchKind(e.Kind), MadeOn: e.MadeOn.String(), Concrete: Concrete(e.Concrete),
		Profile: e.Profile, WirePattern: e.WirePattern, Source: e.Source,
	}
	for _, b := range e.Beams {
		m.Beams = append(m.Beams, &stockeventv1.BeamPiece{
			PieceId: b.ID, LengthMm: int32(b.LengthMM), MassG: b.MassG, StackId: b.StackID,
			KeptForJobId: b.Kept.JobID, KeptForMark: b.Kept.Mark,
		})
	}
	if e.Kind == yard.Blocks {
		m.Blocks = &stockeventv1.BlockLot{
			BlockKind: e.Lot.BlockKind, Count: int32(e.Lot.Count), MassGEach: e.Lot.MassGEach, StackId: e.Lot.StackID,
		}
	}
	return m
}

func piecesReserved(e yard.PiecesReserved) *stockeventv1.PiecesReserved {
	m := &stockeventv1.PiecesReserved{ReservationId: e.ReservationID, Part: int32(e.Part), Parts: int32(e.Parts)}
	for _, p := range e.Pieces {
		r := &stockeventv1.ReservedPiece{PieceId: p.PieceID, Allocation: Allocation(p.Allocation)}
		if p.Pallet != nil {
			r.Pallet = &stockeventv1.Pallet{
				BatchId: p.Pallet.BatchID, BlockKind: p.Pallet.BlockKind, BlockCount: int32(p.Pallet.Count), MassG: p.Pallet.MassG,
			}
		}
		m.Pieces = append(m.Pieces, r)
	}
	return m
}
