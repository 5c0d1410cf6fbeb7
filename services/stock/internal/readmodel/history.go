package readmodel

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/yard"
)

// tale is what an event means to a piece or a batch: whom it happened to and a
// sentence that says it.
type tale struct {
	// piece or batch id; one of them.
	pieceID, batchID string
	sentence         string
}

// tales returns whom an event happened to. Of a decision about a batch that
// is recorded in several events, the first tells.
func tales(event yard.Event) []tale {
	switch e := event.(type) {
	case yard.BatchReceived:
		return []tale{{batchID: e.BatchID, sentence: received(e)}}
	case yard.TestRecorded:
		return []tale{{batchID: e.BatchID, sentence: fmt.Sprintf("Test %s by %s on %v: %s", e.Test.ID, e.Test.Laboratory, e.Test.TestedOn, e.Test.Verdict.Sentence)}}
	case yard.CureRecorded:
		return []tale{{batchID: e.BatchID, sentence: cured(e.Cure)}}
	case yard.BatchReleased:
		if e.Part > 1 {
			return nil
		}
		return []tale{{batchID: e.BatchID, sentence: fmt.Sprintf("Released by %s, %d days old, on the evidence of %s.", e.Release.By, e.Release.AgeDays, "test "+strings.Join(e.Release.TestIDs, ", "))}}
	case yard.BatchQuarantined:
		if e.Part > 1 {
			return nil
		}
		return []tale{{batchID: e.BatchID, sentence: fmt.Sprintf("Quarantined by %s: %s", e.By, e.Reason)}}
	case yard.QuarantineLifted:
		return []tale{{batchID: e.BatchID, sentence: fmt.Sprintf("Quarantine lifted by %s: %s", e.By, e.Reason)}}
	case yard.BlocksScrapped:
		return []tale{{batchID: e.BatchID, sentence: fmt.Sprintf("%d blocks scrapped: %s", e.Count, e.Reason)}}
	case yard.PiecesReserved:
		out := make([]tale, len(e.Pieces))
		for i, p := range e.Pieces {
			out[i] = tale{pieceID: p.PieceID, sentence: reserved(p)}
		}
		return out
	case yard.ReservationDropped:
		out := make([]tale, len(e.PieceIDs))
		for i, id := range e.PieceIDs {
			out[i] = tale{pieceID: id, sentence: fmt.Sprintf("Freed from reservation %s: %s", e.ReservationID, e.Reason)}
		}
		return out
	case yard.PieceExchanged:
		return []tale{
			{pieceID: e.OldID, sentence: fmt.Sprintf("Freed: beam %s took its place as mark %s on run %s, by %s: %s", e.NewID, e.Allocation.Mark, e.Allocation.RunID, e.By, e.Reason)},
			{pieceID: e.NewID, sentence: fmt.Sprintf("Marked anew: took the place of beam %s as mark %s of job %s on run %s, by %s: %s", e.OldID, e.Allocation.Mark, e.Allocation.JobID, e.Allocation.RunID, e.By, e.Reason)},
		}
	case yard.PalletsPacked, yard.PalletSplit, yard.PalletsMerged, yard.PalletsUnpacked:
		return palletTales(event)
	case yard.KeepingEnded:
		out := make([]tale, len(e.PieceIDs))
		for i, id := range e.PieceIDs {
			out[i] = tale{pieceID: id, sentence: fmt.Sprintf("Freed for anybody by %s: %s", e.By, e.Reason)}
		}
		return out
	default:
		return pieceTale(event)
	}
}

func palletTales(event yard.Event) []tale {
	var out []tale
	switch e := event.(type) {
	case yard.PalletsPacked:
		for _, p := range e.Pallets {
			out = append(out, tale{pieceID: p.ID, sentence: fmt.Sprintf("%d blocks of batch %s put on this pallet.", p.Blocks, e.BatchID)})
		}
	case yard.PalletSplit:
		out = append(out, tale{pieceID: e.PieceID, sentence: fmt.Sprintf("%d blocks went on pallet %s.", e.Blocks, e.NewID)},
			tale{pieceID: e.NewID, sentence: fmt.Sprintf("%d blocks came from pallet %s.", e.Blocks, e.PieceID)})
	case yard.PalletsMerged:
		out = append(out, tale{pieceID: e.PieceID, sentence: "The blocks of " + strings.Join(e.FromIDs, ", ") + " came on this pallet."})
		for _, id := range e.FromIDs {
			out = append(out, tale{pieceID: id, sentence: "Its blocks went on pallet " + e.PieceID + "."})
		}
	case yard.PalletsUnpacked:
		for _, id := range e.PieceIDs {
			out = append(out, tale{pieceID: id, sentence: "Unpacked: its blocks are loose."})
		}
	}
	return out
}

func pieceTale(event yard.Event) []tale {
	switch e := event.(type) {
	case yard.PiecePicked:
		return []tale{{pieceID: e.PieceID, sentence: fmt.Sprintf("Taken off its stack for run %s%s.", e.RunID, lifted(e.Aside))}}
	case yard.PieceLoaded:
		return []tale{{pieceID: e.PieceID, sentence: fmt.Sprintf("Put on truck %s for run %s.", e.TruckID, e.RunID)}}
	case yard.PieceDelivered:
		return []tale{{pieceID: e.PieceID, sentence: delivered(e)}}
	case yard.PieceReturned:
		return []tale{{pieceID: e.PieceID, sentence: fmt.Sprintf("Came back to stack %s: %s", e.StackID, e.Reason)}}
	case yard.PieceScrapped:
		return []tale{{pieceID: e.PieceID, sentence: scrapped(e)}}
	case yard.PieceMoved:
		return []tale{{pieceID: e.PieceID, sentence: fmt.Sprintf("Put on top of stack %s%s.", e.StackID, lifted(e.Aside))}}
	default:
		return nil
	}
}

func cured(c yard.Cure) string {
	var days float64
	for _, x := range c.Spells {
		days += x.Days
	}
	return fmt.Sprintf("Cement of class %s; temperatures of the first %.1f days recorded.", c.Cement, days)
}

func received(e yard.BatchReceived) string {
	what := fmt.Sprintf("%d beams of profile %s with wires %s", len(e.Beams), e.Profile, e.WirePattern)
	if e.Kind == yard.Blocks {
		what = fmt.Sprintf("%d blocks %s", e.Lot.Count, e.Lot.BlockKind)
	}
	sentence := fmt.Sprintf("Batch %s received: %s, made on %v", e.BatchID, what, e.MadeOn)
	if e.Source != "" {
		sentence += ", from " + e.Source
	}
	return sentence + "."
}

func reserved(p yard.ReservedPiece) string {
	a := p.Allocation
	var b strings.Builder
	if p.Pallet != nil {
		fmt.Fprintf(&b, "%d blocks of batch %s put on this pallet and promised", p.Pallet.Count, p.Pallet.BatchID)
	} else {
		b.WriteString("Promised")
	}
	fmt.Fprintf(&b, " to run %s", a.RunID)
	if a.SiteID != "" {
		fmt.Fprintf(&b, " for site %s", a.SiteID)
	}
	if a.Mark != "" {
		fmt.Fprintf(&b, " as mark %s", a.Mark)
	}
	return b.String() + "."
}

// lifted says what was lifted aside for a piece.
func lifted(aside []string) string {
	if len(aside) == 0 {
		return ""
	}
	const most = 6
	text := strings.Join(aside[:min(len(aside), most)], ", ")
	if len(aside) > most {
		text += fmt.Sprintf(" and %d more", len(aside)-most)
	}
	return "; lifted aside for it: " + text
}

func delivered(e yard.PieceDelivered) string {
	sentence := fmt.Sprintf("Set down at site %s from run %s", e.SiteID, e.RunID)
	if e.ReceivedBy != "" {
		sentence += ", received by " + e.ReceivedBy
	}
	return sentence + "."
}

func scrapped(e yard.PieceScrapped) string {
	a := e.DeliveredTo
	if a == nil {
		return "Scrapped: " + e.Reason
	}
	sentence := fmt.Sprintf("Scrapped after it was delivered to site %s by run %s", a.SiteID, a.RunID)
	if a.Mark != "" {
		sentence += fmt.Sprintf(", where mark %s of job %s is open again", a.Mark, a.JobID)
	}
	return sentence + ": " + e.Reason
}

// entry returns one line of a history.
func entry(m ledger.Meta, t tale) *stockv1.HistoryEntry {
	return &stockv1.HistoryEntry{
		HappenedAt: timestamppb.New(m.Time), Event: m.Type, Actor: m.Actor, Sentence: t.sentence, Position: m.Position,
	}
}
