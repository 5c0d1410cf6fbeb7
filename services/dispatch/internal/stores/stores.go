// Package stores is what dispatch asks of stock, over gRPC: what is free, to
// promise the pieces of a plan, to give back those of a run, and where pieces
// are. Promising and giving back may be repeated without harm: their request
// ids follow from the plan or the run.
package stores

import (
	"context"
	"fmt"
	"slices"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
)

const (
	pageSize = 1000
	// maxPages bounds what one plan looks at: far more than a yard holds.
	maxPages = 1000
)

// Stores speaks to stock.
type Stores struct {
	client stockv1.StockServiceClient
}

// New returns the stores behind a client.
func New(client stockv1.StockServiceClient) *Stores { return &Stores{client: client} }

// Zone returns the time zone in which stock counts the days of a yard; empty
// while stock has no rules for it.
func (s *Stores) Zone(ctx context.Context, yard string) (string, error) {
	answer, err := s.client.GetYardRules(ctx, &stockv1.GetYardRulesRequest{Yard: yard})
	if fault.KindOf(err) == fault.NotFound {
		return "", nil
	}
	return answer.GetRules().GetTimeZone(), err
}

// Free returns everything that may leave the yard now and is nobody's, as of
// a position of the stock ledger that is no older than atLeast.
func (s *Stores) Free(ctx context.Context, yard string, atLeast uint64) (morning.Stock, uint64, error) {
	var stock morning.Stock
	seen := map[string]bool{}
	position, token := atLeast, ""
	for page := 0; page < maxPages; page++ {
		answer, err := s.client.ListFreePieces(ctx, &stockv1.ListFreePiecesRequest{
			Yard: yard, PageSize: pageSize, PageToken: token, AtLeast: position,
		})
		if err != nil {
			return morning.Stock{}, 0, err
		}
		if page == 0 {
			// Later pages may show newer stock; the plan rests on the oldest.
			position = answer.GetPosition()
		}
		if err := add(&stock, seen, answer); err != nil {
			return morning.Stock{}, 0, err
		}
		if token = answer.GetNextPageToken(); token == "" {
			return stock, position, nil
		}
	}
	return morning.Stock{}, 0, fault.New(fault.Internal, "STOCK_WITHOUT_END", "The list of free pieces does not end.")
}

// add takes over a page. A piece that moved from one page to the next while
// they were read counts once.
func add(stock *morning.Stock, seen map[string]bool, page *stockv1.ListFreePiecesResponse) error {
	for _, p := range page.GetBeams() {
		if seen[p.GetPieceId()] || p.GetBatchState() != stockv1.BatchState_BATCH_STATE_RELEASED ||
			p.GetState() != stockeventv1.PieceState_PIECE_STATE_IN_YARD {
			continue
		}
		seen[p.GetPieceId()] = true
		rank, err := releaseRank(p.GetReleasedOn(), p.GetMadeOn())
		if err != nil {
			return fmt.Errorf("piece %s: %w", p.GetPieceId(), err)
		}
		stock.Beams = append(stock.Beams, morning.FreeBeam{
			PieceID: p.GetPieceId(), BatchID: p.GetBatchId(),
			Product: morning.Product{Profile: p.GetProfile(), WirePattern: p.GetWirePattern(), LengthMM: int(p.GetLengthMm())},
			MassG:   p.GetMassG(), StackID: p.GetStackId(), Tier: int(p.GetTier()), Above: int(p.GetPiecesAbove()), ReleaseRank: rank,
			KeptFor: p.GetKeptForJobId(),
		})
	}
	for _, b := range page.GetBlocks() {
		key := "blocks of " + b.GetBatchId() + " on " + b.GetStackId()
		if seen[key] || b.GetBlockCount() <= 0 {
			continue
		}
		seen[key] = true
		rank, err := releaseRank(b.GetReleasedOn(), b.GetMadeOn())
		if err != nil {
			return fmt.Errorf("blocks of batch %s: %w", b.GetBatchId(), err)
		}
		stock.Blocks = append(stock.Blocks, morning.FreeBlocks{
			BatchID: b.GetBatchId(), Kind: b.GetBlockKind(), Count: int(b.GetBlockCount()),
			MassGEach: b.GetMassGEach(), StackID: b.GetStackId(), ReleaseRank: rank,
		})
	}
	return nil
}

// releaseRank orders batches by the day of their release, and those of one day
// by the day on which they were made: an opening count releases all on one.
func releaseRank(releasedOn, madeOn string) (int, error) {
	released, err := civil.ParseDay(releasedOn)
	if err != nil {
		return 0, err
	}
	made, err := civil.ParseDay(madeOn)
	return int(released)*daysBeyond + int(made), err
}

// daysBeyond is more than any day's number since 1970 will be.
const daysBeyond = 100_000

// Reserve promises all pieces of a plan, or none, and returns the position of
// the stock ledger after it.
func (s *Stores) Reserve(ctx context.Context, yard string, p *daybook.PlanStatus) (uint64, error) {
	req := &stockv1.ReservePiecesRequest{
		Yard: yard, RequestId: "confirm-" + p.Plan.ID, ReservationId: p.ReservationID,
	}
	for i := range p.Plan.Runs {
		run := &p.Plan.Runs[i]
		sites := map[int]string{}
		for _, d := range run.Drops {
			sites[d.Number] = d.SiteID
		}
		run.Items(func(pile *daybook.Pile, item *daybook.Item) {
			line := &stockv1.ReserveLine{Allocation: &stockeventv1.Allocation{
				ReservationId: p.ReservationID, RunId: run.ID, SiteId: sites[pile.DropNumber],
				JobId: item.FloorKey.JobID, CallOffId: item.CallOffID, Mark: item.Mark,
			}}
			if item.IsPallet() {
				line.What = &stockv1.ReserveLine_Blocks{Blocks: &stockv1.ReserveBlocks{
					BatchId: item.BatchID, BlockCount: int32(item.BlockCount), PalletId: item.PieceID,
				}}
			} else {
				line.What = &stockv1.ReserveLine_PieceId{PieceId: item.PieceID}
			}
			req.Lines = append(req.Lines, line)
		})
	}
	answer, err := s.client.ReservePieces(rpc.AsActor(ctx, p.ConfirmedBy), req)
	return answer.GetPosition(), err
}

// Drop gives back what is promised and not picked: of one run, or of the whole
// reservation when runID is empty. A reservation that stock does not know
// holds nothing.
func (s *Stores) Drop(ctx context.Context, yard, requestID, reservationID, runID, reason string) error {
	_, err := s.client.DropReservation(rpc.AsActor(ctx, "dispatch"), &stockv1.DropReservationRequest{
		Yard: yard, RequestId: requestID, ReservationId: reservationID, RunId: runID, Reason: reason,
	})
	if fault.KindOf(err) == fault.NotFound {
		return nil
	}
	return err
}

// NotLoaded returns, as places, the pieces of a run that are not on its truck
// or must not leave, as of a position no older than atLeast.
func (s *Stores) NotLoaded(ctx context.Context, yard string, run *daybook.Run, atLeast uint64) ([]fault.Place, error) {
	return s.against(ctx, yard, run, atLeast, whyNotLoaded)
}

// Gone returns, as places, the pieces of a run that stand at a site already, as
// of a position no older than atLeast, and of which the book does not know it.
func (s *Stores) Gone(ctx context.Context, yard string, run *daybook.Run, known []string, atLeast uint64) ([]fault.Place, error) {
	return s.against(ctx, yard, run, atLeast, func(p *stockv1.Piece, runID string) string {
		if isDelivered(p, runID) && !slices.Contains(known, p.GetPieceId()) {
			return "is delivered, which dispatch has not heard of yet; try again in a moment, or take it back into the yard first"
		}
		return ""
	})
}

// isDelivered says whether a piece stands at a site as part of a run.
func isDelivered(p *stockv1.Piece, runID string) bool {
	return p.GetState() == stockeventv1.PieceState_PIECE_STATE_DELIVERED && p.GetAllocation().GetRunId() == runID
}

// against asks stock for a run's pieces and returns those that something
// stands against.
func (s *Stores) against(ctx context.Context, yard string, run *daybook.Run, atLeast uint64, why func(p *stockv1.Piece, runID string) string) ([]fault.Place, error) {
	marks := map[string]string{}
	run.Items(func(_ *daybook.Pile, item *daybook.Item) { marks[item.PieceID] = item.Mark })
	answer, err := s.client.GetPieces(ctx, &stockv1.GetPiecesRequest{Yard: yard, PieceIds: run.PieceIDs(), AtLeast: atLeast})
	if err != nil {
		return nil, err
	}
	known := map[string]*stockv1.Piece{}
	for _, p := range answer.GetPieces() {
		known[p.GetPieceId()] = p
	}
	var places []fault.Place
	for _, id := range run.PieceIDs() {
		if problem := why(known[id], run.ID); problem != "" {
			places = append(places, fault.Place{Where: "piece " + id, Value: marks[id], Problem: problem})
		}
	}
	return places, nil
}

func whyNotLoaded(p *stockv1.Piece, runID string) string {
	switch {
	case p == nil:
		return "is not known in stock"
	case isDelivered(p, runID):
		// Set down by hand: the truck has not to bring it any more.
		return ""
	case p.GetBatchState() == stockv1.BatchState_BATCH_STATE_QUARANTINED:
		return fmt.Sprintf("is of batch %s, which is in quarantine", p.GetBatchId())
	case p.GetBatchState() != stockv1.BatchState_BATCH_STATE_RELEASED:
		return fmt.Sprintf("is of batch %s, which is not released", p.GetBatchId())
	case p.GetState() != stockeventv1.PieceState_PIECE_STATE_LOADED:
		return fmt.Sprintf("is not loaded yet: it is %s", Word(p.GetState()))
	case p.GetAllocation().GetRunId() != runID:
		return fmt.Sprintf("is loaded for run %s", p.GetAllocation().GetRunId())
	}
	return ""
}

// Word says where a piece is as a clerk says it.
func Word(s stockeventv1.PieceState) string {
	switch s {
	case stockeventv1.PieceState_PIECE_STATE_IN_YARD:
		return "in the yard"
	case stockeventv1.PieceState_PIECE_STATE_RESERVED:
		return "reserved"
	case stockeventv1.PieceState_PIECE_STATE_PICKED:
		return "picked"
	case stockeventv1.PieceState_PIECE_STATE_LOADED:
		return "loaded"
	case stockeventv1.PieceState_PIECE_STATE_DELIVERED:
		return "delivered"
	case stockeventv1.PieceState_PIECE_STATE_SCRAPPED:
		return "scrapped"
	default:
		return "in a state that is not known"
	}
}
