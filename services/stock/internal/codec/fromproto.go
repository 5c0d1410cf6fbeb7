package codec

import (
	"fmt"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/yard"
)

// FromProto returns a stored event.
func FromProto(message *stockeventv1.Event) (yard.Event, error) {
	switch m := message.GetKind().(type) {
	case *stockeventv1.Event_YardRulesSet:
		return rulesSetOf(m.YardRulesSet)
	case *stockeventv1.Event_BatchReceived:
		return batchReceivedOf(m.BatchReceived)
	case *stockeventv1.Event_TestRecorded:
		test, err := testOf(m.TestRecorded)
		return yard.TestRecorded{BatchID: m.TestRecorded.GetBatchId(), Test: test}, err
	case *stockeventv1.Event_CureRecorded:
		e := yard.CureRecorded{BatchID: m.CureRecorded.GetBatchId(), Cure: yard.Cure{Cement: m.CureRecorded.GetCementClass()}}
		for _, x := range m.CureRecorded.GetCure() {
			e.Cure.Spells = append(e.Cure.Spells, yard.CureSpell{Celsius: x.GetCelsius(), Days: x.GetDays()})
		}
		return e, nil
	case *stockeventv1.Event_BatchReleased:
		return releaseOf(m.BatchReleased)
	case *stockeventv1.Event_BatchQuarantined:
		return quarantineOf(m.BatchQuarantined), nil
	case *stockeventv1.Event_QuarantineLifted:
		q := m.QuarantineLifted
		return yard.QuarantineLifted{BatchID: q.GetBatchId(), By: q.GetLiftedBy(), Reason: q.GetReason()}, nil
	case *stockeventv1.Event_PiecesReserved:
		return piecesReservedOf(m.PiecesReserved), nil
	case *stockeventv1.Event_ReservationDropped:
		d := m.ReservationDropped
		return yard.ReservationDropped{ReservationID: d.GetReservationId(), PieceIDs: d.GetPieceIds(), Reason: d.GetReason()}, nil
	case *stockeventv1.Event_BlocksScrapped:
		b := m.BlocksScrapped
		return yard.BlocksScrapped{BatchID: b.GetBatchId(), Count: int(b.GetBlockCount()), Reason: b.GetReason()}, nil
	default:
		return pieceEventOf(message)
	}
}

func pieceEventOf(message *stockeventv1.Event) (yard.Event, error) {
	switch m := message.GetKind().(type) {
	case *stockeventv1.Event_PiecePicked:
		return yard.PiecePicked{PieceID: m.PiecePicked.GetPieceId(), RunID: m.PiecePicked.GetRunId(), Aside: m.PiecePicked.GetAsidePieceIds()}, nil
	case *stockeventv1.Event_PieceLoaded:
		l := m.PieceLoaded
		return yard.PieceLoaded{PieceID: l.GetPieceId(), RunID: l.GetRunId(), TruckID: l.GetTruckId()}, nil
	case *stockeventv1.Event_PieceDelivered:
		d := m.PieceDelivered
		return yard.PieceDelivered{
			PieceID: d.GetPieceId(), RunID: d.GetRunId(), SiteID: d.GetSiteId(), At: timeOf(d.GetDeliveredAt()), ReceivedBy: d.GetReceivedBy(),
		}, nil
	case *stockeventv1.Event_PieceReturned:
		r := m.PieceReturned
		return yard.PieceReturned{PieceID: r.GetPieceId(), StackID: r.GetStackId(), Reason: r.GetReason()}, nil
	case *stockeventv1.Event_PieceScrapped:
		e := yard.PieceScrapped{PieceID: m.PieceScrapped.GetPieceId(), Reason: m.PieceScrapped.GetReason()}
		if to := m.PieceScrapped.GetDeliveredTo(); to != nil {
			a := AllocationOf(to)
			e.DeliveredTo = &a
		}
		return e, nil
	case *stockeventv1.Event_PieceMoved:
		return yard.PieceMoved{PieceID: m.PieceMoved.GetPieceId(), StackID: m.PieceMoved.GetStackId(), Aside: m.PieceMoved.GetAsidePieceIds()}, nil
	case *stockeventv1.Event_PieceExchanged:
		x := m.PieceExchanged
		return yard.PieceExchanged{OldID: x.GetOldPieceId(), NewID: x.GetNewPieceId(), Allocation: AllocationOf(x.GetAllocation()), By: x.GetExchangedBy(), Reason: x.GetReason(),
			NewBatchID: x.GetNewBatchId(), NewStackID: x.GetNewStackId(), NewTier: int(x.GetNewTier())}, nil
	case *stockeventv1.Event_PalletsPacked:
		e := yard.PalletsPacked{BatchID: m.PalletsPacked.GetBatchId()}
		for _, p := range m.PalletsPacked.GetPallets() {
			e.Pallets = append(e.Pallets, yard.PackedPallet{ID: p.GetPieceId(), Blocks: int(p.GetBlockCount())})
		}
		return e, nil
	case *stockeventv1.Event_PalletSplit:
		return yard.PalletSplit{PieceID: m.PalletSplit.GetPieceId(), NewID: m.PalletSplit.GetNewPieceId(), Blocks: int(m.PalletSplit.GetBlockCount())}, nil
	case *stockeventv1.Event_PalletsMerged:
		return yard.PalletsMerged{PieceID: m.PalletsMerged.GetPieceId(), FromIDs: m.PalletsMerged.GetFromPieceIds()}, nil
	case *stockeventv1.Event_PalletsUnpacked:
		return yard.PalletsUnpacked{PieceIDs: m.PalletsUnpacked.GetPieceIds()}, nil
	case *stockeventv1.Event_KeepingEnded:
		k := m.KeepingEnded
		return yard.KeepingEnded{PieceIDs: k.GetPieceIds(), By: k.GetEndedBy(), Reason: k.GetReason()}, nil
	default:
		return nil, fmt.Errorf("event %T is not known to this version", m)
	}
}

func rulesSetOf(r *stockeventv1.YardRulesSet) (yard.Event, error) {
	sampling, err := SamplingOf(r.GetSampling())
	return yard.RulesSet{Rules: yard.Rules{
		TimeZone: r.GetTimeZone(), BeamMinAgeDays: int(r.GetBeamMinAgeDays()), BlockMinAgeDays: int(r.GetBlockMinAgeDays()),
		BeamsPerStackTier: int(r.GetBeamsPerStackTier()), Sampling: sampling, Stacks: StackRulesOf(r.GetStacks()),
	}}, err
}

// StackRulesOf returns the rules of stacking from a message.
func StackRulesOf(m *stockeventv1.StackRules) yard.StackRules {
	r := yard.StackRules{MaxTiers: int(m.GetMaxTiers()), MaxOverhangMM: int(m.GetMaxOverhangMm()), BearerInsetMM: int(m.GetBearerInsetMm())}
	for _, p := range m.GetPlaces() {
		r.Places = append(r.Places, yard.StackPlace{ID: p.GetStackId(), LongestMM: int(p.GetLongestMm()), MaxTiers: int(p.GetMaxTiers()), ForBlocks: p.GetForBlocks()})
	}
	return r
}

// SamplingOf returns a sampling plan from messages.
func SamplingOf(list []*stockeventv1.SamplingRule) ([]yard.SamplingRule, error) {
	var out []yard.SamplingRule
	for _, m := range list {
		r := yard.SamplingRule{
			Kind: yard.Kind(m.GetKind()), Product: m.GetProduct(), Specimen: Specimen(m.GetSpecimen()), Count: int(m.GetCount()),
			AgeDays: int(m.GetAgeDays()), Laboratory: m.GetLaboratory(), ForRelease: m.GetForRelease(),
		}
		if m.GetFrom() != "" {
			from, err := civil.ParseDay(m.GetFrom())
			if err != nil {
				return nil, err
			}
			r.From = from
		}
		out = append(out, r)
	}
	return out, nil
}

func batchReceivedOf(m *stockeventv1.BatchReceived) (yard.Event, error) {
	madeOn, err := civil.ParseDay(m.GetMadeOn())
	if err != nil {
		return nil, err
	}
	e := yard.BatchReceived{
		BatchID: m.GetBatchId(), Kind: yard.Kind(m.GetKind()), MadeOn: madeOn, Concrete: ConcreteOf(m.GetConcrete()),
		Profile: m.GetProfile(), WirePattern: m.GetWirePattern(), Source: m.GetSource(),
	}
	for _, b := range m.GetBeams() {
		e.Beams = append(e.Beams, yard.Beam{
			ID: b.GetPieceId(), LengthMM: int(b.GetLengthMm()), MassG: b.GetMassG(), StackID: b.GetStackId(),
			Kept: yard.Kept{JobID: b.GetKeptForJobId(), Mark: b.GetKeptForMark()},
		})
	}
	if lot := m.GetBlocks(); lot != nil {
		e.Lot = yard.Lot{
			BlockKind: lot.GetBlockKind(), Count: int(lot.GetCount()), MassGEach: lot.GetMassGEach(), StackID: lot.GetStackId(),
		}
	}
	return e, nil
}

func releaseOf(m *stockeventv1.BatchReleased) (yard.Event, error) {
	on, err := civil.ParseDay(m.GetReleasedOn())
	if err != nil {
		return nil, err
	}
	return yard.BatchReleased{BatchID: m.GetBatchId(), Release: yard.Release{
		By: m.GetReleasedBy(), At: timeOf(m.GetReleasedAt()), On: on, AgeDays: int(m.GetAgeDays()), TestIDs: m.GetTestIds(),
	}, Cleared: hitsOf(m.GetCleared()), Part: int(m.GetPart()), Parts: int(m.GetParts())}, nil
}

func quarantineOf(m *stockeventv1.BatchQuarantined) yard.Event {
	return yard.BatchQuarantined{
		BatchID: m.GetBatchId(), Reason: m.GetReason(), By: m.GetQuarantinedBy(), At: timeOf(m.GetQuarantinedAt()),
		Hits: hitsOf(m.GetHits()), Part: int(m.GetPart()), Parts: int(m.GetParts()),
	}
}

func piecesReservedOf(m *stockeventv1.PiecesReserved) yard.Event {
	e := yard.PiecesReserved{ReservationID: m.GetReservationId(), Part: int(m.GetPart()), Parts: int(m.GetParts())}
	for _, p := range m.GetPieces() {
		r := yard.ReservedPiece{PieceID: p.GetPieceId(), Allocation: AllocationOf(p.GetAllocation())}
		if pallet := p.GetPallet(); pallet != nil {
			r.Pallet = &yard.Pallet{
				BatchID: pallet.GetBatchId(), BlockKind: pallet.GetBlockKind(), Count: int(pallet.GetBlockCount()), MassG: pallet.GetMassG(),
			}
		}
		e.Pieces = append(e.Pieces, r)
	}
	return e
}
