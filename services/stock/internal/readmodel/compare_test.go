package readmodel

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

// slow works every answer out from the state of the yard, piece by piece.
type slow struct{ yard.State }

// compare asks the view every query and compares the answers with the slow
// ones at the ledger's end.
func compare(t *testing.T, v *View, b *book) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 15*time.Second)
	defer cancel()
	state, last, _ := b.State(ctx, testYard, 0)
	s := slow{state}
	check := func(what string, got, want any, err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if d := cmp.Diff(want, got, protocmp.Transform(), cmpopts.EquateEmpty()); d != "" {
			t.Fatalf("%s (- state, + view):\n%s", what, d)
		}
	}
	batches, _, err := v.Batches(ctx, testYard, last, "", 1000)
	want := &stockv1.ListBatchesResponse{Position: last}
	var ids []string
	s.Batches(func(x yard.Batch) { want.Batches = append(want.Batches, s.batch(x.ID)) })
	s.Pieces(func(p yard.Piece) { ids = append(ids, p.ID) })
	slices.Sort(ids)
	check("batches", batches, want, err)

	pieces, position, err := v.Pieces(ctx, testYard, append(ids, "X-unknown"), last)
	check("pieces", pieces, s.all(ids), err)
	check("their position", position, last, nil)

	free, next, err := v.Free(ctx, testYard, FreeFilter{}, last, "", 100_000)
	check("free pieces", free, s.free(last), err)
	check("page behind the last", next, "", nil)

	s.Batches(func(x yard.Batch) {
		got, err := v.Batch(ctx, testYard, x.ID, last)
		check("batch "+x.ID, got, &stockv1.GetBatchResponse{Batch: s.batch(x.ID), Pieces: s.all(x.PieceIDs()), Position: last}, err)
	})
	s.Stacks(func(st yard.Stack) {
		got, err := v.Stack(ctx, testYard, st.ID, last)
		check("stack "+st.ID, got, s.stack(st, last), err)
	})
	for _, day := range []civil.Day{s.Day(yardtest.Start), s.Day(yardtest.Start) + 9, s.Day(yardtest.Start) + 400} {
		got, err := v.Summary(ctx, testYard, day, last)
		check("summary for "+day.String(), got, s.summary(day, last), err)
	}
	found, err := v.Marks(ctx, testYard, "J1", storyMarks, last)
	check("marks", found, s.marks("J1", storyMarks, last), err)
	compareHistories(t, v, b, ids, last)
}

// storyMarks are the marks of made-up stories, and one that nothing is for.
var storyMarks = []string{"1-01-05", "1-01-00", "1-01-01", "1-01-02", "1-01-03", "1-01-04", "9-99-99"}

func (s slow) marks(jobID string, marks []string, last uint64) *stockv1.FindMarksResponse {
	m := &stockv1.FindMarksResponse{Position: last}
	batches := map[string]bool{}
	for _, mark := range marks {
		var ids []string
		s.Pieces(func(p yard.Piece) {
			if a := p.Allocation; a != nil && p.State != yard.Scrapped && a.JobID == jobID && a.Mark == mark {
				ids = append(ids, p.ID)
				batches[p.BatchID] = true
			}
		})
		slices.Sort(ids)
		m.Marks = append(m.Marks, &stockv1.FoundMark{Mark: mark, Pieces: s.all(ids)})
	}
	for _, id := range sorted(batches) {
		m.Batches = append(m.Batches, s.batch(id))
	}
	return m
}

func (s slow) batch(id string) *stockv1.Batch {
	b, _ := s.Batch(id)
	m := BatchDoc(s.Rules(), b)
	// Counts are counted anew.
	c := &stockv1.PieceCounts{Made: int32(b.Counts.Made), Scrapped: int32(b.Counts.Made)}
	if b.Kind == yard.Blocks {
		// Loose blocks are no pieces; those scrapped are in no other place.
		c.InYard, c.Scrapped = int32(b.Loose()), int32(b.Counts.Scrapped)
	}
	for _, pieceID := range b.PieceIDs() {
		p, _ := s.Piece(pieceID)
		n := int32(max(p.Blocks, 1))
		where := map[yard.PieceState]*int32{
			yard.InYard: &c.InYard, yard.Reserved: &c.Reserved, yard.Picked: &c.Picked, yard.Loaded: &c.Loaded, yard.Delivered: &c.Delivered,
		}[p.State]
		if where == nil {
			continue
		}
		*where += n
		if b.Kind == yard.Beams {
			c.Scrapped -= n
		}
	}
	m.Counts = c
	return m
}

func (s slow) piece(id string) *stockv1.Piece {
	p, _ := s.Piece(id)
	b, _ := s.Batch(p.BatchID)
	m := &stockv1.Piece{
		PieceId: p.ID, BatchId: b.ID, State: stockeventv1.PieceState(p.State), BatchState: stockv1.BatchState(b.State),
		Profile: b.Profile, WirePattern: b.WirePattern, LengthMm: int32(p.LengthMM), BlockKind: b.Lot.BlockKind,
		BlockCount: int32(p.Blocks), MassG: p.MassG, StackId: p.StackID, MadeOn: b.MadeOn.String(), TruckId: p.TruckID, ReceivedBy: p.ReceivedBy,
	}
	if p.Kept != nil {
		m.KeptForJobId, m.KeptForMark = p.Kept.JobID, p.Kept.Mark
	}
	if p.State == yard.Delivered || p.BrokeAfterDelivery() {
		m.DeliveredAt = timestamppb.New(p.DeliveredAt)
	}
	if a := p.Allocation; a != nil {
		m.Allocation = &stockeventv1.Allocation{
			ReservationId: a.ReservationID, RunId: a.RunID, SiteId: a.SiteID, JobId: a.JobID, CallOffId: a.CallOffID, Mark: a.Mark,
		}
	}
	if b.Release != nil {
		m.ReleasedOn = b.Release.On.String()
	}
	if p.StackID == "" {
		return m
	}
	if p.Blocks > 0 {
		m.Tier = 1
		return m
	}
	st, _ := s.Stack(p.StackID)
	tier := func(i int) int { return i/s.Rules().BeamsPerStackTier + 1 }
	own := tier(slices.Index(st.Pieces, id))
	m.Tier = int32(own)
	for i := range st.Pieces {
		if tier(i) > own {
			m.PiecesAbove++
		}
	}
	return m
}

func (s slow) all(ids []string) []*stockv1.Piece {
	var list []*stockv1.Piece
	for _, id := range ids {
		list = append(list, s.piece(id))
	}
	return list
}

func (s slow) loose(b yard.Batch) *stockv1.FreeBlocks {
	m := &stockv1.FreeBlocks{
		BatchId: b.ID, BlockKind: b.Lot.BlockKind, BlockCount: int32(b.Counts.InYard), MassGEach: b.Lot.MassGEach,
		StackId: b.Lot.StackID, MadeOn: b.MadeOn.String(),
	}
	if b.Release != nil {
		m.ReleasedOn = b.Release.On.String()
	}
	return m
}

// free lists by day of release, day of making and batch, then stack by stack
// from the top.
func (s slow) free(last uint64) *stockv1.ListFreePiecesResponse {
	var released []yard.Batch
	s.Batches(func(b yard.Batch) {
		if b.State == yard.Released {
			released = append(released, b)
		}
	})
	slices.SortStableFunc(released, func(a, b yard.Batch) int {
		if a.Release.On != b.Release.On {
			return int(a.Release.On - b.Release.On)
		}
		return int(a.MadeOn - b.MadeOn)
	})
	var stacks []yard.Stack
	s.Stacks(func(st yard.Stack) { stacks = append(stacks, st) })
	slices.SortFunc(stacks, func(a, b yard.Stack) int { return strings.Compare(a.ID, b.ID) })
	m := &stockv1.ListFreePiecesResponse{Position: last}
	for _, b := range released {
		if b.Kind == yard.Blocks {
			if b.Counts.InYard > 0 {
				m.Blocks = append(m.Blocks, s.loose(b))
			}
			continue
		}
		for _, st := range stacks {
			for _, id := range slices.Backward(st.Pieces) {
				if p, _ := s.Piece(id); p.State == yard.InYard && p.BatchID == b.ID {
					m.Beams = append(m.Beams, s.piece(id))
				}
			}
		}
	}
	return m
}

func (s slow) stack(st yard.Stack, last uint64) *stockv1.GetStackResponse {
	m := &stockv1.GetStackResponse{StackId: st.ID, BatchId: st.BatchID, Position: last}
	for _, id := range slices.Backward(st.Pieces) {
		m.Pieces = append(m.Pieces, s.piece(id))
	}
	b, _ := s.Batch(st.BatchID)
	if b.Kind != yard.Blocks {
		return m
	}
	for _, id := range slices.Backward(b.PalletIDs()) {
		if p, _ := s.Piece(id); p.State == yard.Reserved || p.State == yard.InYard {
			m.Pieces = append(m.Pieces, s.piece(id))
		}
	}
	if b.Loose() > 0 {
		m.Blocks = []*stockv1.FreeBlocks{s.loose(b)}
		m.Blocks[0].BlockCount = int32(b.Loose())
	}
	return m
}

func (s slow) summary(day civil.Day, last uint64) *stockv1.SummariseStockResponse {
	m := &stockv1.SummariseStockResponse{Position: last, Day: day.String()}
	beams := map[string]*stockv1.BeamSummary{}
	blocks := map[string]*stockv1.BlockSummary{}
	// column finds where n of a batch count that are in the yard and nobody's.
	column := func(b yard.Batch, free, provisional, quarantined *int32, n int) {
		switch {
		case b.State == yard.Released:
			*free += int32(n)
		case b.State == yard.Quarantined || len(b.FailedJudgements()) > 0:
			*quarantined += int32(n)
		case s.Rules().OldEnoughOn(b.Kind, b.MadeOn) <= day:
			*provisional += int32(n)
		}
	}
	s.Pieces(func(p yard.Piece) {
		b, _ := s.Batch(p.BatchID)
		if p.LengthMM == 0 {
			return
		}
		x := &stockv1.BeamSummary{Profile: b.Profile, WirePattern: b.WirePattern, LengthMm: int32(p.LengthMM)}
		key := b.Profile + b.WirePattern + string(rune(p.LengthMM))
		if beams[key] != nil {
			x = beams[key]
		}
		beams[key] = x
		switch p.State {
		case yard.InYard:
			column(b, &x.Free, &x.Provisional, &x.Quarantined, 1)
		case yard.Reserved:
			x.Reserved++
		}
	})
	s.Batches(func(b yard.Batch) {
		if b.Kind != yard.Blocks {
			return
		}
		x := blocks[b.Lot.BlockKind]
		if x == nil {
			x = &stockv1.BlockSummary{BlockKind: b.Lot.BlockKind}
			blocks[b.Lot.BlockKind] = x
		}
		column(b, &x.Free, &x.Provisional, &x.Quarantined, b.Counts.InYard)
		x.Reserved += int32(b.Counts.Reserved)
	})
	for _, key := range sorted(beams) {
		if x := beams[key]; x.GetFree()+x.GetProvisional()+x.GetReserved()+x.GetQuarantined() > 0 {
			m.Beams = append(m.Beams, x)
		}
	}
	for _, key := range sorted(blocks) {
		if x := blocks[key]; x.GetFree()+x.GetProvisional()+x.GetReserved()+x.GetQuarantined() > 0 {
			m.Blocks = append(m.Blocks, x)
		}
	}
	return m
}

func sorted[V any](m map[string]V) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// concerns says whether an event is part of the history of a piece.
func concerns(event yard.Event, pieceID, batchID string) bool {
	has := func(ids ...string) bool { return slices.Contains(ids, pieceID) }
	switch e := event.(type) {
	case yard.BatchReceived:
		return e.BatchID == batchID
	case yard.TestRecorded:
		return e.BatchID == batchID
	case yard.CureRecorded:
		return e.BatchID == batchID
	case yard.BatchReleased:
		return e.BatchID == batchID
	case yard.BatchQuarantined:
		return e.BatchID == batchID
	case yard.QuarantineLifted:
		return e.BatchID == batchID
	case yard.BlocksScrapped:
		return e.BatchID == batchID
	case yard.PiecesReserved:
		return slices.ContainsFunc(e.Pieces, func(r yard.ReservedPiece) bool { return r.PieceID == pieceID })
	case yard.KeepingEnded:
		return has(e.PieceIDs...)
	case yard.PieceExchanged:
		return has(e.OldID, e.NewID)
	case yard.PalletsPacked:
		return slices.ContainsFunc(e.Pallets, func(p yard.PackedPallet) bool { return p.ID == pieceID })
	case yard.PalletSplit:
		return has(e.PieceID, e.NewID)
	case yard.PalletsMerged:
		return has(append(e.FromIDs, e.PieceID)...)
	case yard.PalletsUnpacked:
		return has(e.PieceIDs...)
	case yard.ReservationDropped:
		return has(e.PieceIDs...)
	case yard.PiecePicked:
		return has(e.PieceID)
	case yard.PieceLoaded:
		return has(e.PieceID)
	case yard.PieceDelivered:
		return has(e.PieceID)
	case yard.PieceReturned:
		return has(e.PieceID)
	case yard.PieceScrapped:
		return has(e.PieceID)
	case yard.PieceMoved:
		return has(e.PieceID)
	default:
		return false
	}
}

func compareHistories(t *testing.T, v *View, b *book, ids []string, last uint64) {
	t.Helper()
	for i := 0; i < len(ids); i += 7 {
		got, err := v.History(t.Context(), testYard, ids[i], last)
		if err != nil {
			t.Fatal(err)
		}
		var want, positions []uint64
		for _, e := range b.events {
			if concerns(e.Fact, ids[i], got.GetBatch().GetBatchId()) {
				want = append(want, e.Position)
			}
		}
		for _, e := range got.GetEntries() {
			positions = append(positions, e.GetPosition())
			if e.GetActor() == "" || e.GetSentence() == "" || e.GetEvent() == "" || e.GetHappenedAt() == nil {
				t.Fatalf("a history says nothing: %v", e)
			}
		}
		if !slices.Equal(positions, want) {
			t.Fatalf("history of %s has %v, want %v", ids[i], positions, want)
		}
	}
}
