package stores

import (
	"context"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/testing/protocmp"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/kit/fault"
)

// recorder answers with what it was given and keeps what it was asked.
type recorder struct {
	stockv1.StockServiceClient
	pages   map[string]*stockv1.ListFreePiecesResponse
	asked   []*stockv1.ListFreePiecesRequest
	reserve *stockv1.ReservePiecesRequest
	pieces  []*stockv1.Piece
	dropErr error
}

func (r *recorder) ListFreePieces(_ context.Context, req *stockv1.ListFreePiecesRequest, _ ...grpc.CallOption) (*stockv1.ListFreePiecesResponse, error) {
	r.asked = append(r.asked, req)
	return r.pages[req.GetPageToken()], nil
}

func (r *recorder) ReservePieces(_ context.Context, req *stockv1.ReservePiecesRequest, _ ...grpc.CallOption) (*stockv1.ReservePiecesResponse, error) {
	r.reserve = req
	return &stockv1.ReservePiecesResponse{Position: 9}, nil
}

func (r *recorder) DropReservation(context.Context, *stockv1.DropReservationRequest, ...grpc.CallOption) (*stockv1.DropReservationResponse, error) {
	return nil, r.dropErr
}

func (r *recorder) GetPieces(context.Context, *stockv1.GetPiecesRequest, ...grpc.CallOption) (*stockv1.GetPiecesResponse, error) {
	return &stockv1.GetPiecesResponse{Pieces: r.pieces}, nil
}

func piece(id string, change func(*stockv1.Piece)) *stockv1.Piece {
	p := &stockv1.Piece{
		PieceId: id, BatchId: "L1", State: stockeventv1.PieceState_PIECE_STATE_IN_YARD, BatchState: stockv1.BatchState_BATCH_STATE_RELEASED,
		Profile: "T150", WirePattern: "4x5", LengthMm: 4200, MassG: 84_000, StackId: "S1", Tier: 2, PiecesAbove: 3, ReleasedOn: "1970-01-11", MadeOn: "1970-01-06",
	}
	if change != nil {
		change(p)
	}
	return p
}

func TestFreeReadsEveryPageOnce(t *testing.T) {
	r := &recorder{pages: map[string]*stockv1.ListFreePiecesResponse{
		"": {
			Beams: []*stockv1.Piece{
				piece("L1-001", nil),
				piece("L1-002", func(p *stockv1.Piece) { p.BatchState = stockv1.BatchState_BATCH_STATE_QUARANTINED }),
				piece("L1-003", func(p *stockv1.Piece) { p.State = stockeventv1.PieceState_PIECE_STATE_RESERVED }),
			},
			NextPageToken: "two", Position: 40,
		},
		"two": { // a piece that moved while the pages were read
			Beams:    []*stockv1.Piece{piece("L1-001", nil), piece("L1-004", nil)},
			Blocks:   []*stockv1.FreeBlocks{{BatchId: "B1", BlockKind: "B20", BlockCount: 70, MassGEach: 15_000, StackId: "S2", ReleasedOn: "1970-01-02", MadeOn: "1970-01-02"}},
			Position: 44,
		},
	}}
	stock, position, err := New(r).Free(t.Context(), "testyard", 30)
	if err != nil || position != 40 {
		t.Fatalf("position %d, %v", position, err)
	}
	beam := morning.FreeBeam{
		PieceID: "L1-001", BatchID: "L1", Product: morning.Product{Profile: "T150", WirePattern: "4x5", LengthMM: 4200},
		MassG: 84_000, StackID: "S1", Tier: 2, Above: 3, ReleaseRank: 1_000_005,
	}
	second := beam
	second.PieceID = "L1-004"
	want := morning.Stock{
		Beams:  []morning.FreeBeam{beam, second},
		Blocks: []morning.FreeBlocks{{BatchID: "B1", Kind: "B20", Count: 70, MassGEach: 15_000, StackID: "S2", ReleaseRank: 100_001}},
	}
	if diff := cmp.Diff(want, stock); diff != "" {
		t.Error(diff)
	}
	if r.asked[0].GetAtLeast() != 30 || r.asked[1].GetAtLeast() != 40 {
		t.Errorf("asked for positions %d and %d", r.asked[0].GetAtLeast(), r.asked[1].GetAtLeast())
	}
}

func testRun() daybook.Run {
	key := daybook.FloorKey{JobID: "J1", Floor: "1"}
	return daybook.Run{
		ID: "R1", Drops: []daybook.Drop{{Number: 1, SiteID: "north"}, {Number: 2, SiteID: "south"}},
		Piles: []daybook.Pile{
			{DropNumber: 2, Tiers: [][]daybook.Item{{{PieceID: "L1-001", Mark: "1-01-01", BatchID: "L1", FloorKey: key, CallOffID: "C2"}}}},
			{DropNumber: 1, Tiers: [][]daybook.Item{{{PieceID: "R1-K01", BlockKind: "B20", BlockCount: 20, BatchID: "B1", FloorKey: key, CallOffID: "C1"}}}},
		},
	}
}

func TestReserveSaysWhomEachPieceIsFor(t *testing.T) {
	r := &recorder{}
	plan := &daybook.PlanStatus{Plan: daybook.Plan{ID: "P1", Runs: []daybook.Run{testRun()}}, ReservationID: "P1", ConfirmedBy: "Ada Example"}
	if position, err := New(r).Reserve(t.Context(), "testyard", plan); err != nil || position != 9 {
		t.Fatal(position, err)
	}
	want := &stockv1.ReservePiecesRequest{
		Yard: "testyard", RequestId: "confirm-P1", ReservationId: "P1",
		Lines: []*stockv1.ReserveLine{
			{
				What:       &stockv1.ReserveLine_PieceId{PieceId: "L1-001"},
				Allocation: &stockeventv1.Allocation{ReservationId: "P1", RunId: "R1", SiteId: "south", JobId: "J1", CallOffId: "C2", Mark: "1-01-01"},
			},
			{
				What:       &stockv1.ReserveLine_Blocks{Blocks: &stockv1.ReserveBlocks{BatchId: "B1", BlockCount: 20, PalletId: "R1-K01"}},
				Allocation: &stockeventv1.Allocation{ReservationId: "P1", RunId: "R1", SiteId: "north", JobId: "J1", CallOffId: "C1"},
			},
		},
	}
	if diff := cmp.Diff(want, r.reserve, protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
}

func TestDropOfWhatIsNotThere(t *testing.T) {
	r := &recorder{dropErr: fault.New(fault.NotFound, "RESERVATION_UNKNOWN", "There is no reservation.")}
	if err := New(r).Drop(t.Context(), "testyard", "free-1", "P1", "", "any"); err != nil {
		t.Error(err)
	}
	r.dropErr = fault.New(fault.Unavailable, "AWAY", "Away.")
	if err := New(r).Drop(t.Context(), "testyard", "free-1", "P1", "", "any"); err == nil {
		t.Error("an error of stock was lost")
	}
}

func TestNotLoaded(t *testing.T) {
	loaded := func(p *stockv1.Piece) {
		p.State = stockeventv1.PieceState_PIECE_STATE_LOADED
		p.Allocation = &stockeventv1.Allocation{RunId: "R1"}
	}
	for name, c := range map[string]struct {
		beam *stockv1.Piece
		says string
	}{
		"loaded":      {piece("L1-001", loaded), ""},
		"unknown":     {piece("L1-999", loaded), "is not known"},
		"picked":      {piece("L1-001", func(p *stockv1.Piece) { loaded(p); p.State = stockeventv1.PieceState_PIECE_STATE_PICKED }), "it is picked"},
		"other run":   {piece("L1-001", func(p *stockv1.Piece) { loaded(p); p.Allocation.RunId = "R2" }), "loaded for run R2"},
		"quarantined": {piece("L1-001", func(p *stockv1.Piece) { loaded(p); p.BatchState = stockv1.BatchState_BATCH_STATE_QUARANTINED }), "quarantine"},
		"curing":      {piece("L1-001", func(p *stockv1.Piece) { loaded(p); p.BatchState = stockv1.BatchState_BATCH_STATE_CURING }), "not released"},
	} {
		t.Run(name, func(t *testing.T) {
			r := &recorder{pieces: []*stockv1.Piece{c.beam, piece("R1-K01", loaded)}}
			run := testRun()
			places, err := New(r).NotLoaded(t.Context(), "testyard", &run, 1)
			if err != nil {
				t.Fatal(err)
			}
			if c.says == "" {
				if len(places) != 0 {
					t.Errorf("got %v", places)
				}
				return
			}
			if len(places) != 1 || places[0].Where != "piece L1-001" || places[0].Value != "1-01-01" || !strings.Contains(places[0].Problem, c.says) {
				t.Errorf("got %v, want %q", places, c.says)
			}
		})
	}
}
