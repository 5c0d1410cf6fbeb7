package show

import (
	"fmt"
	"io"
	"strings"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// PutAway prints an advice, or what was done by it.
func PutAway(w io.Writer, a *stockv1.AdvisePutAwayResponse, done bool) {
	if len(a.GetMoves()) > 0 {
		LoadingCautions(w)
		stackMoves(w, a.GetMoves())
	}
	paragraph(w, "", "", a.GetSentence())
	recorded(w, len(a.GetMoves()), done)
}

// Sorting prints a plan of moves ahead of picks, or what was done by it.
func Sorting(w io.Writer, a *stockv1.PlanSortResponse, done bool) {
	if len(a.GetMoves()) > 0 {
		LoadingCautions(w)
		stackMoves(w, a.GetMoves())
		fmt.Fprintf(w, "No sorting does with fewer moves than %d.\n", a.GetMovesBound())
	}
	paragraph(w, "", "", a.GetSentence())
	recorded(w, len(a.GetMoves()), done)
}

func recorded(w io.Writer, moves int, done bool) {
	if done && moves > 0 {
		fmt.Fprintln(w, "Recorded as made.")
	}
}

// stackMoves prints moves; neighbours from one stack to one other share a line.
func stackMoves(w io.Writer, moves []*stockv1.StackMove) {
	t := newTable("no.#", "from stack", "tier#", "to stack", "tier#", "pieces")
	for from := 0; from < len(moves); {
		to := from + 1
		for to < len(moves) && moves[to].GetFromStackId() == moves[from].GetFromStackId() && moves[to].GetToStackId() == moves[from].GetToStackId() &&
			moves[to].GetFromTier() == moves[from].GetFromTier() && moves[to].GetToTier() == moves[from].GetToTier() {
			to++
		}
		var ids []string
		for _, m := range moves[from:to] {
			ids = append(ids, m.GetPieceId())
		}
		m := moves[from]
		t.add(from+1, m.GetFromStackId(), m.GetFromTier(), m.GetToStackId(), m.GetToTier(), strings.Join(ids, " "))
		from = to
	}
	t.write(w)
}

// asideMoves prints what is moved aside for the picks of a run.
func asideMoves(w io.Writer, indent string, moves []*dispatcheventv1.AsideMove) {
	if len(moves) == 0 {
		return
	}
	fmt.Fprintln(w, indent+"Moved aside for them:")
	t := newTable("before no.#", "piece", "from stack", "to stack")
	t.indent = indent
	for _, m := range moves {
		to := m.GetToStackId()
		if to == m.GetFromStackId() {
			to = "aside, and back"
		}
		t.add(m.GetBeforePick(), m.GetPieceId(), m.GetFromStackId(), to)
	}
	t.write(w)
}

// Exchanged prints which beams took the places of which.
func Exchanged(w io.Writer, list []*stockeventv1.PieceExchanged) {
	t := newTable("instead of", "take", "stack", "tier#", "mark anew as", "job", "run")
	for _, x := range list {
		a := x.GetAllocation()
		t.add(x.GetOldPieceId(), x.GetNewPieceId(), x.GetNewStackId(), x.GetNewTier(), dash(a.GetMark()), a.GetJobId(), a.GetRunId())
	}
	t.write(w)
}

// Pallets prints the blocks of each batch by pallet.
func Pallets(w io.Writer, list []*stockv1.BlockCount) {
	if len(list) == 0 {
		note(w, "There are no such blocks in this yard.")
		return
	}
	t := newTable("block", "batch", "stack", "state", "loose#", "standing#", "promised#", "on pallets#", "standing pallets")
	for _, b := range list {
		state := "curing"
		switch {
		case b.GetQuarantined():
			state = "QUARANTINED"
		case b.GetReleased():
			state = "released"
		}
		standing, names := pallets(b.GetStanding())
		promised, _ := pallets(b.GetPromised())
		t.add(b.GetBlockKind(), b.GetBatchId(), b.GetStackId(), state, b.GetLooseCount(), standing, promised, len(b.GetPromised()), dash(names))
	}
	t.write(w)
}

// pallets sums pallets up, and names each with its blocks.
func pallets(list []*stockv1.PalletCount) (int, string) {
	sum := 0
	var words []string
	for _, p := range list {
		sum += int(p.GetBlockCount())
		words = append(words, fmt.Sprintf("%s(%d)", p.GetPieceId(), p.GetBlockCount()))
	}
	return sum, strings.Join(words, " ")
}
