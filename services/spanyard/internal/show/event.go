package show

import (
	"fmt"
	"io"
	"time"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// StockEvent prints one entry of the feed of stock.
func StockEvent(w io.Writer, e *stockv1.WatchStockResponse, zone *time.Location) {
	paragraph(w, "", "    ", fmt.Sprintf("[%d] %s %s: %s", e.GetPosition(), moment(e.GetHappenedAt(), zone), e.GetActor(), happened(e.GetEvent())))
}

// happened says an event in a sentence.
func happened(e *stockeventv1.Event) string {
	switch k := e.GetKind().(type) {
	case *stockeventv1.Event_YardRulesSet:
		r := k.YardRulesSet
		return fmt.Sprintf("yard rules set: beams leave at %d days, blocks at %d days", r.GetBeamMinAgeDays(), r.GetBlockMinAgeDays())
	case *stockeventv1.Event_BatchReceived:
		return received(k.BatchReceived)
	case *stockeventv1.Event_TestRecorded:
		return fmt.Sprintf("test %s of batch %s recorded. %s", k.TestRecorded.GetTestId(), k.TestRecorded.GetBatchId(), Verdict(k.TestRecorded.GetVerdict()))
	case *stockeventv1.Event_CureRecorded:
		return fmt.Sprintf("cure of batch %s recorded, cement of class %s", k.CureRecorded.GetBatchId(), k.CureRecorded.GetCementClass())
	case *stockeventv1.Event_BatchReleased:
		return fmt.Sprintf("batch %s released by %s", k.BatchReleased.GetBatchId(), k.BatchReleased.GetReleasedBy())
	case *stockeventv1.Event_BatchQuarantined:
		return fmt.Sprintf("batch %s QUARANTINED, hits %s: %s", k.BatchQuarantined.GetBatchId(),
			count(len(k.BatchQuarantined.GetHits()), "piece"), k.BatchQuarantined.GetReason())
	case *stockeventv1.Event_QuarantineLifted:
		return fmt.Sprintf("quarantine of batch %s lifted by %s: %s", k.QuarantineLifted.GetBatchId(), k.QuarantineLifted.GetLiftedBy(), k.QuarantineLifted.GetReason())
	default:
		return moved(e)
	}
}

func received(b *stockeventv1.BatchReceived) string {
	if b.GetKind() == stockeventv1.BatchKind_BATCH_KIND_BLOCKS {
		return fmt.Sprintf("batch %s received: %s %s", b.GetBatchId(), count(b.GetBlocks().GetCount(), "block"), b.GetBlocks().GetBlockKind())
	}
	return fmt.Sprintf("batch %s received: %s %s/%s", b.GetBatchId(), count(len(b.GetBeams()), "beam"), b.GetProfile(), b.GetWirePattern())
}

// moved says the events of single pieces and reservations.
func moved(e *stockeventv1.Event) string {
	switch k := e.GetKind().(type) {
	case *stockeventv1.Event_PiecesReserved:
		return fmt.Sprintf("%s reserved (%s)", count(len(k.PiecesReserved.GetPieces()), "piece"), k.PiecesReserved.GetReservationId())
	case *stockeventv1.Event_ReservationDropped:
		return fmt.Sprintf("%s free again (%s): %s", count(len(k.ReservationDropped.GetPieceIds()), "piece"),
			k.ReservationDropped.GetReservationId(), k.ReservationDropped.GetReason())
	case *stockeventv1.Event_PiecePicked:
		return fmt.Sprintf("%s picked for run %s", k.PiecePicked.GetPieceId(), k.PiecePicked.GetRunId())
	case *stockeventv1.Event_PieceLoaded:
		return fmt.Sprintf("%s loaded on %s, run %s", k.PieceLoaded.GetPieceId(), k.PieceLoaded.GetTruckId(), k.PieceLoaded.GetRunId())
	case *stockeventv1.Event_PieceDelivered:
		return fmt.Sprintf("%s delivered at %s, run %s", k.PieceDelivered.GetPieceId(), k.PieceDelivered.GetSiteId(), k.PieceDelivered.GetRunId())
	case *stockeventv1.Event_PieceReturned:
		return fmt.Sprintf("%s came back to %s: %s", k.PieceReturned.GetPieceId(), k.PieceReturned.GetStackId(), k.PieceReturned.GetReason())
	case *stockeventv1.Event_PieceScrapped:
		if to := k.PieceScrapped.GetDeliveredTo(); to != nil {
			return fmt.Sprintf("%s scrapped after it was delivered at %s, run %s: %s", k.PieceScrapped.GetPieceId(), to.GetSiteId(), to.GetRunId(), k.PieceScrapped.GetReason())
		}
		return fmt.Sprintf("%s scrapped: %s", k.PieceScrapped.GetPieceId(), k.PieceScrapped.GetReason())
	case *stockeventv1.Event_PieceMoved:
		return fmt.Sprintf("%s moved to %s", k.PieceMoved.GetPieceId(), k.PieceMoved.GetStackId())
	case *stockeventv1.Event_BlocksScrapped:
		return fmt.Sprintf("%s of batch %s scrapped: %s", count(k.BlocksScrapped.GetBlockCount(), "block"), k.BlocksScrapped.GetBatchId(), k.BlocksScrapped.GetReason())
	case *stockeventv1.Event_PieceExchanged:
		x := k.PieceExchanged
		return fmt.Sprintf("%s takes the place of %s as mark %s on run %s, by %s: %s", x.GetNewPieceId(), x.GetOldPieceId(), dash(x.GetAllocation().GetMark()), x.GetAllocation().GetRunId(), x.GetExchangedBy(), x.GetReason())
	case *stockeventv1.Event_PalletsPacked:
		return fmt.Sprintf("%s of batch %s packed", count(len(k.PalletsPacked.GetPallets()), "pallet"), k.PalletsPacked.GetBatchId())
	case *stockeventv1.Event_PalletSplit:
		return fmt.Sprintf("%s of pallet %s put on pallet %s", count(k.PalletSplit.GetBlockCount(), "block"), k.PalletSplit.GetPieceId(), k.PalletSplit.GetNewPieceId())
	case *stockeventv1.Event_PalletsMerged:
		return fmt.Sprintf("%s put on pallet %s", count(len(k.PalletsMerged.GetFromPieceIds()), "pallet"), k.PalletsMerged.GetPieceId())
	case *stockeventv1.Event_PalletsUnpacked:
		return fmt.Sprintf("%s unpacked", count(len(k.PalletsUnpacked.GetPieceIds()), "pallet"))
	case *stockeventv1.Event_KeepingEnded:
		return fmt.Sprintf("%s no longer kept for their job, by %s: %s", count(len(k.KeepingEnded.GetPieceIds()), "beam"), k.KeepingEnded.GetEndedBy(), k.KeepingEnded.GetReason())
	default:
		return "something that this version of spanyard has no words for"
	}
}
