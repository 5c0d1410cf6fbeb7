package office

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"slices"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/kit/fault"
)

// Repaired is what became of a stopped run.
type Repaired struct {
	RunID     string
	Exchanged []*stockeventv1.PieceExchanged
	Left      []LeftPiece
}

// LeftPiece is a beam that still stops its run, and why.
type LeftPiece struct{ PieceID, Mark, Sentence string }

// RepairRequest asks to repair the stopped runs of a day.
type RepairRequest struct {
	Day, By, Reason string
	StockAtLeast    uint64
}

// Repair has stock exchange the beams that stop runs of a day for equal ones.
// Runs that are not stopped, and those that have left, are not touched; neither
// are loads, trucks and times of those that are: an equal beam weighs the same.
func (o *Office) Repair(ctx context.Context, a Ask, r RepairRequest) (repaired []Repaired, stockPosition uint64, err error) {
	heard, err := o.WaitHeard(ctx, "stock", a.Yard, r.StockAtLeast)
	if err != nil {
		return nil, 0, err
	}
	s, _, err := o.State(ctx, a.Yard, heard)
	if err != nil {
		return nil, 0, err
	}
	if err := s.CheckRunsKept(r.Day); err != nil {
		return nil, 0, err
	}
	for _, run := range s.Runs(r.Day) {
		if run.State != daybook.RunHitState {
			continue
		}
		one := Repaired{RunID: run.Run.ID}
		var done []string
		for _, h := range run.Hits {
			if slices.Contains(done, h.PieceID) {
				continue
			}
			done = append(done, h.PieceID)
			if sentence := whyNotExchanged(h); sentence != "" {
				one.Left = append(one.Left, LeftPiece{h.PieceID, h.Mark, sentence})
				continue
			}
			x, position, err := o.Stores.Exchange(ctx, a.Yard, repairID(a.RequestID, run.Run.ID, h.PieceID), h.PieceID, r.By, r.Reason)
			if fault.KindOf(err) == fault.Unavailable {
				return nil, 0, err
			}
			if err != nil {
				one.Left = append(one.Left, LeftPiece{h.PieceID, h.Mark, problemOf(err)})
				continue
			}
			one.Exchanged = append(one.Exchanged, x)
			stockPosition = max(stockPosition, position)
		}
		repaired = append(repaired, one)
	}
	return repaired, stockPosition, nil
}

// whyNotExchanged says why no other beam can help; empty when one might.
func whyNotExchanged(h daybook.Hit) string {
	switch {
	case h.Mark == "":
		return "is a pallet: cancel the run and plan it again"
	case h.Kind == daybook.Redrawn:
		return "is wanted otherwise by a newer laying plan: cancel the run and plan it again"
	case h.Kind == daybook.PlaceFilled:
		return "is not needed any more: its place is filled"
	case h.Kind == daybook.Returned:
		return "came back to the yard and is promised to nobody: cancel the run and plan it again"
	}
	return ""
}

// problemOf is what stock has against an exchange.
func problemOf(err error) string {
	f := asFault(err)
	if len(f.Places) > 0 {
		return f.Places[0].Problem
	}
	return f.Sentence
}

// repairID names an exchange, so that a repeated request makes it once.
func repairID(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		h.Write([]byte(p + "\x1f"))
	}
	return "repair-" + hex.EncodeToString(h.Sum(nil))[:48]
}
