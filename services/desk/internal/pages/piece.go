package pages

import (
	"time"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
)

func piecePages() []shell.Page {
	return []shell.Page{
		{Pattern: "GET /piece/{piece}", Handle: piece},
		{Pattern: "POST /piece/{piece}/scrap", Handle: scrapPiece},
	}
}

// pieceView is a piece and all that happened to it.
type pieceView struct {
	*stockv1.GetPieceHistoryResponse
	State string
	Zone  *time.Location
	// Scrap names the words for what writing the piece off leads to; empty when
	// it cannot be, or not by this person.
	Scrap string
	// Reason as it was entered, or as the site told it.
	Reason string
}

func piece(r *shell.Request) error {
	s := r.Shell()
	answer, err := s.Stock.GetPieceHistory(r.Ctx(), &stockv1.GetPieceHistoryRequest{Yard: s.Yard, PieceId: r.R.PathValue("piece"), AtLeast: r.AtLeast()})
	if err != nil {
		return err
	}
	v := pieceView{GetPieceHistoryResponse: answer, State: stateOf(answer.GetBatch().GetState()), Zone: r.Zone(), Reason: r.Form("reason")}
	if r.Person().Has(auth.Yard) || r.Person().Has(auth.Dispatcher) {
		v.Scrap = scrapWords(answer.GetPiece().GetState())
	}
	return r.Show("piece", v)
}

// scrapWords says what it leads to that a piece is written off.
func scrapWords(s stockeventv1.PieceState) string {
	switch s {
	case stockeventv1.PieceState_PIECE_STATE_IN_YARD:
		return "piece.scrap_yard"
	case stockeventv1.PieceState_PIECE_STATE_RESERVED, stockeventv1.PieceState_PIECE_STATE_PICKED, stockeventv1.PieceState_PIECE_STATE_LOADED:
		return "piece.scrap_run"
	case stockeventv1.PieceState_PIECE_STATE_DELIVERED:
		return "piece.scrap_site"
	default:
		return ""
	}
}

// scrapPiece writes a piece off, wherever it is.
func scrapPiece(r *shell.Request) error {
	s, id := r.Shell(), r.R.PathValue("piece")
	answer, err := s.Stock.ScrapPieces(r.Ctx(), &stockv1.ScrapPiecesRequest{Yard: s.Yard, RequestId: requestID(r), PieceIds: []string{id}, Reason: r.Form("reason")})
	if err != nil {
		r.Problem = err
		return piece(r)
	}
	word := "piece.said_scrapped"
	if answer.GetDeliveredCount() > 0 {
		word = "piece.said_scrapped_site"
	}
	return r.GoSeeing("/piece/"+id, answer.GetPosition(), word, id)
}
