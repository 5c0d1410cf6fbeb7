package show

import (
	"fmt"
	"io"
	"strings"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// picks prints picks in loading order. Neighbours from one tier of one stack
// for one tier of one pile share a line; every piece still stands beside its
// mark.
func picks(w io.Writer, indent string, list []*dispatcheventv1.Pick) {
	t := newTable("no.#", "stack", "tier#", "length mm#", "pile/tier", "batch", "piece=mark")
	t.indent = indent
	for _, group := range together(list) {
		first, last := group[0], group[len(group)-1]
		numbers := fmt.Sprint(first.GetNumber())
		if len(group) > 1 {
			numbers += fmt.Sprintf("-%d", last.GetNumber())
		}
		length, tier := "-", "-"
		if first.GetBeam() != nil {
			length, tier = fmt.Sprint(first.GetBeam().GetLengthMm()), fmt.Sprint(first.GetStackTier())
		}
		var pairs []string
		for _, p := range group {
			pairs = append(pairs, pair(p))
		}
		t.add(numbers, first.GetStackId(), tier, length, fmt.Sprintf("%d/%d", first.GetPileNumber(), first.GetPileTier()),
			first.GetBatchId(), strings.Join(pairs, " "))
	}
	t.write(w)
}

func together(list []*dispatcheventv1.Pick) [][]*dispatcheventv1.Pick {
	var groups [][]*dispatcheventv1.Pick
	for i, p := range list {
		if i > 0 && joins(list[i-1], p) {
			groups[len(groups)-1] = append(groups[len(groups)-1], p)
			continue
		}
		groups = append(groups, []*dispatcheventv1.Pick{p})
	}
	return groups
}

func joins(a, b *dispatcheventv1.Pick) bool {
	return a.GetBeam() != nil && b.GetBeam() != nil && a.GetStackId() == b.GetStackId() && a.GetStackTier() == b.GetStackTier() &&
		a.GetBatchId() == b.GetBatchId() && a.GetBeam().GetLengthMm() == b.GetBeam().GetLengthMm() &&
		a.GetPileNumber() == b.GetPileNumber() && a.GetPileTier() == b.GetPileTier()
}

// pair prints a beam as the rest of its id after the batch, and its mark; a
// pallet with what goes on it.
func pair(p *dispatcheventv1.Pick) string {
	if p.GetBeam() == nil {
		return fmt.Sprintf("pallet %s: %d blocks %s", p.GetPieceId(), p.GetBlockCount(), p.GetBlockKind())
	}
	return strings.TrimPrefix(p.GetPieceId(), p.GetBatchId()+"-") + "=" + p.GetMark()
}

// Picks prints the picks of one run as the yard gets them.
func Picks(w io.Writer, p *dispatcheventv1.PicksIssued, y Yard) {
	fmt.Fprintf(w, "PICKS FOR RUN %s: %s, %s, loading from %s\n", p.GetRunId(), y.truck(p.GetTruckId()), longDay(p.GetDay()), Clock(p.GetLoadingMinute()))
	picks(w, "", p.GetPicks())
	asideMoves(w, "", p.GetMoves())
}

// Change prints one entry of the feed of picks.
func Change(w io.Writer, e *dispatchv1.WatchPicksResponse, y Yard) {
	fmt.Fprintf(w, "[%d] %s %s\n", e.GetPosition(), moment(e.GetHappenedAt(), y.Zone), e.GetActor())
	switch what := e.GetWhat().(type) {
	case *dispatchv1.WatchPicksResponse_PicksIssued:
		Picks(w, what.PicksIssued, y)
	case *dispatchv1.WatchPicksResponse_RunChanged:
		Changed(w, what.RunChanged)
	case *dispatchv1.WatchPicksResponse_RunCleared:
		RunCleared(w, what.RunCleared)
	case *dispatchv1.WatchPicksResponse_PieceSetDown:
		d := what.PieceSetDown
		fmt.Fprintf(w, "Piece %s of run %s was set down by hand at %s%s.\n", d.GetPieceId(), d.GetRunId(), y.site(d.GetSiteId()), forPlace(d.GetMark()))
	case *dispatchv1.WatchPicksResponse_PieceExchanged:
		x := what.PieceExchanged
		paragraph(w, "", "  ", fmt.Sprintf("RUN %s: take %s from stack %s, tier %d, instead of %s, and mark it anew%s; %s: %s", x.GetRunId(), x.GetNewPieceId(),
			x.GetStackId(), x.GetStackTier(), x.GetOldPieceId(), forPlace(x.GetMark()), x.GetExchangedBy(), x.GetReason()))
	case *dispatchv1.WatchPicksResponse_PieceTakenBack:
		b := what.PieceTakenBack
		if b.GetBroken() {
			paragraph(w, "", "  ", fmt.Sprintf("Piece %s of run %s broke after it was delivered, and another is wanted%s.", b.GetPieceId(), b.GetRunId(), forPlace(b.GetMark())))
			return
		}
		fmt.Fprintf(w, "Piece %s of run %s is back from its site%s.\n", b.GetPieceId(), b.GetRunId(), forPlace(b.GetMark()))
	case *dispatchv1.WatchPicksResponse_RunDeparted:
		fmt.Fprintf(w, "Run %s has left the yard; %s let it go.\n", what.RunDeparted.GetRunId(), what.RunDeparted.GetDepartedBy())
	case *dispatchv1.WatchPicksResponse_LayingRecorded:
		e := what.LayingRecorded
		fmt.Fprintf(w, "drop %d of run %s: %d beams ticked off as laid, %d ticks taken back\n", e.GetDropNumber(), e.GetRunId(), len(e.GetLaidPieceIds()), len(e.GetNotLaidPieceIds()))
	case *dispatchv1.WatchPicksResponse_PieceReported:
		e := what.PieceReported
		told := map[dispatcheventv1.PieceReportKind]string{
			dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_BROKEN: "IS BROKEN", dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_MISSING: "DID NOT COME",
		}[e.GetKind()]
		if told == "" {
			told = "is there and whole after all"
		}
		fmt.Fprintf(w, "drop %d of run %s: %s %s %s\n", e.GetDropNumber(), e.GetRunId(), strings.TrimSpace(e.GetMark()+" "+e.GetPieceId()), told, e.GetRemark())
	case *dispatchv1.WatchPicksResponse_RunCancelled:
		fmt.Fprintf(w, "RUN %s IS CANCELLED: %s\n", what.RunCancelled.GetRunId(), what.RunCancelled.GetReason())
	case *dispatchv1.WatchPicksResponse_DropDelivered:
		d := what.DropDelivered
		fmt.Fprintf(w, "Drop %d of run %s is delivered at %s: %s, received by %s.\n", d.GetDropNumber(), d.GetRunId(), y.site(d.GetSiteId()),
			count(len(d.GetPieceIds()), "piece"), d.GetReceivedBy())
		if n := len(d.GetRefusedPieceIds()); n > 0 {
			fmt.Fprintf(w, "  REFUSED, and on its way back: %s (%s): %s\n", count(n, "piece"), d.GetRefusalReason(), strings.Join(d.GetRefusedPieceIds(), ", "))
		}
	}
}

// forPlace names the place of a beam; pallets have none.
func forPlace(mark string) string {
	if mark == "" {
		return ""
	}
	return ", place " + mark
}
