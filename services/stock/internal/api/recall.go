package api

import (
	"context"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/papers"
	"spanyard.example/services/stock/internal/readmodel"
	"spanyard.example/services/stock/internal/recall"
)

// RecallBatch finds every piece of a batch. It reads the ledger's own state: a
// recall must not wait for a view, nor miss what the view has not heard of.
func (s *Server) RecallBatch(ctx context.Context, req *stockv1.RecallBatchRequest) (*stockv1.RecallBatchResponse, error) {
	state, position, err := s.ledger.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	found, ok := recall.Of(state, req.GetBatchId())
	if !ok {
		return nil, fault.New(fault.NotFound, "BATCH_UNKNOWN", "There is no batch %s in this yard.", req.GetBatchId())
	}
	r := papers.Recall{Recall: found, Yard: req.GetYard(), At: state.Clock(s.clock.Now()), Contacts: map[string]papers.Contact{}}
	for _, c := range req.GetContacts() {
		r.Contacts[c.GetSiteId()] = papers.Contact{Name: c.GetName(), Call: c.GetContact()}
	}
	answer := &stockv1.RecallBatchResponse{Batch: readmodel.BatchDoc(state.Rules(), found.Batch), Position: position}
	for _, p := range found.Places {
		answer.Places = append(answer.Places, recallPlace(r, p))
	}
	for _, kind := range req.GetFiles() {
		file, err := recallFile(r, kind)
		if err != nil {
			return nil, err
		}
		answer.Files = append(answer.Files, file)
	}
	return answer, nil
}

func recallPlace(r papers.Recall, p recall.Place) *stockv1.RecallPlace {
	m := &stockv1.RecallPlace{
		Kind: stockv1.RecallPlaceKind(p.Kind), StackId: p.StackID, RunId: p.RunID, TruckId: p.TruckID, SiteId: p.SiteID,
		Where: papers.Where(p), Call: r.Call(p), UnitCount: int32(p.Units), MassG: p.MassG, LooseBlockCount: int32(p.LooseBlocks),
	}
	for _, piece := range p.Pieces {
		m.Pieces = append(m.Pieces, readmodel.PieceDoc(piece.Piece, r.Batch, piece.Tier, piece.Above))
	}
	return m
}

func recallFile(r papers.Recall, kind stockv1.RecallFileKind) (*stockv1.RecallFile, error) {
	name := "recall-" + r.Batch.ID
	if kind == stockv1.RecallFileKind_RECALL_FILE_KIND_PDF {
		content, err := r.PDF()
		return &stockv1.RecallFile{Name: name + ".pdf", MediaType: "application/pdf", Content: content}, err
	}
	content, err := r.XLSX()
	return &stockv1.RecallFile{Name: name + ".xlsx", MediaType: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", Content: content}, err
}
