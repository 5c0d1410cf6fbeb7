package show

import (
	"fmt"
	"io"
	"strings"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

var recallCautions = []string{
	"Nothing of this batch is lifted, laid or loaded before a licensed engineer has decided.",
	"Heavy concrete can kill: nobody stands under a lift, or on a floor with these pieces in it.",
}

// Recall prints where all of a batch is, and whom to call; what is on the road
// first.
func Recall(w io.Writer, r *stockv1.RecallBatchResponse) {
	b := r.GetBatch()
	fmt.Fprintf(w, "RECALL OF BATCH %s: %d %s, %s\n", b.GetBatchId(), b.GetCounts().GetMade(), batchOf(b), batchState(b.GetState()))
	fmt.Fprintf(w, "Made on %s; from %s.\n", b.GetMadeOn(), dash(b.GetSource()))
	if b.GetQuarantineReason() != "" {
		paragraph(w, "", "  ", "Quarantined: "+b.GetQuarantineReason())
	}
	results(w, b)
	cautions(w, recallCautions)
	t := newTable("units#", "mass kg#", "where", "call")
	for _, p := range r.GetPlaces() {
		t.add(p.GetUnitCount(), kg(p.GetMassG()), p.GetWhere(), p.GetCall())
	}
	t.write(w)
	for _, p := range r.GetPlaces() {
		recallPlace(w, p)
	}
}

// results of a batch: its tests and what they come to.
func results(w io.Writer, b *stockv1.Batch) {
	for _, t := range b.GetTests() {
		paragraph(w, "", "  ", Test(t))
	}
	for _, j := range b.GetJudgements() {
		paragraph(w, "", "  ", judgement(j))
	}
}

func recallPlace(w io.Writer, p *stockv1.RecallPlace) {
	fmt.Fprintf(w, "\n%s\n", strings.ToUpper(p.GetWhere()[:1])+p.GetWhere()[1:])
	t := newTable("piece", "length mm#", "blocks#", "mass kg#", "is", "tier#", "above#", "job", "mark")
	for _, x := range p.GetPieces() {
		a := x.GetAllocation()
		length, tier := "-", "-"
		if x.GetLengthMm() > 0 {
			length = fmt.Sprint(x.GetLengthMm())
		}
		if x.GetTier() > 0 {
			tier = fmt.Sprint(x.GetTier())
		}
		t.add(x.GetPieceId(), length, x.GetBlockCount(), kg(x.GetMassG()), pieceState(x.GetState()), tier, x.GetPiecesAbove(), dash(a.GetJobId()), dash(a.GetMark()))
	}
	if p.GetLooseBlockCount() > 0 {
		t.add("loose", "-", p.GetLooseBlockCount(), "-", pieceState(stockeventv1.PieceState_PIECE_STATE_IN_YARD), "-", "-", "-", "-")
	}
	t.write(w)
}
