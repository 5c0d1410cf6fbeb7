package stores

import (
	"context"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/rpc"
)

// Exchange lets an equal beam that lies free take the place of a promised one,
// in the name of a person. It returns what took its place and the position of
// the stock ledger after it.
func (s *Stores) Exchange(ctx context.Context, yard, requestID, pieceID, by, reason string) (*stockeventv1.PieceExchanged, uint64, error) {
	answer, err := s.client.ExchangePieces(rpc.AsActor(ctx, by), &stockv1.ExchangePiecesRequest{
		Yard: yard, RequestId: requestID, Exchanges: []*stockv1.PieceExchange{{OldPieceId: pieceID}}, ExchangedBy: by, Reason: reason,
	})
	if err != nil {
		return nil, 0, err
	}
	return answer.GetExchanged()[0], answer.GetPosition(), nil
}
