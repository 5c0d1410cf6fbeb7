package desk_test

import (
	"context"
	"net/url"
	"strings"
	"testing"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

func (f *fakeStock) GetPieceHistory(_ context.Context, req *stockv1.GetPieceHistoryRequest) (*stockv1.GetPieceHistoryResponse, error) {
	id := req.GetPieceId()
	return &stockv1.GetPieceHistoryResponse{
		Piece: &stockv1.Piece{PieceId: id, BatchId: "B1", State: f.state[id], Allocation: &stockeventv1.Allocation{RunId: "R1", SiteId: "OR", Mark: "1-01-01"}},
		Batch: &stockv1.Batch{BatchId: "B1"},
	}, nil
}

func (f *fakeStock) ListDueSamples(context.Context, *stockv1.ListDueSamplesRequest) (*stockv1.ListDueSamplesResponse, error) {
	return nil, fault.New(fault.NotFound, "YARD_UNKNOWN", "There is no such yard.")
}

func (f *fakeDispatch) ListMornings(context.Context, *dispatchv1.ListMorningsRequest) (*dispatchv1.ListMorningsResponse, error) {
	return &dispatchv1.ListMorningsResponse{}, nil
}

// A beam that broke at its site is written off on its page, by whoever is told
// of it.
func TestPieceIsWrittenOff(t *testing.T) {
	p := newPhone(t, pim)
	for state, words := range map[stockeventv1.PieceState]string{
		stockeventv1.PieceState_PIECE_STATE_IN_YARD:   "is not free for anybody any more",
		stockeventv1.PieceState_PIECE_STATE_RESERVED:  "Run R1 does not leave before an equal beam",
		stockeventv1.PieceState_PIECE_STATE_DELIVERED: "need not be taken back first. Its place at the site is open again",
	} {
		p.stock.state["B1-3"] = state
		says(t, p.get("/piece/B1-3?reason=cracked+across"), "Broken or lost", words, `value="cracked across"`)
	}
	p.stock.state["B1-3"] = stockeventv1.PieceState_PIECE_STATE_DELIVERED
	p.stock.refuse["scrap"] = fault.New(fault.Stale, "CANNOT_SCRAP", "1 of what was named cannot be scrapped. Nothing was.").At("B1-3", "", "is scrapped already", "")
	_, page := p.send("", "/piece/B1-3/scrap", url.Values{"reason": {"cracked"}})
	says(t, page, "Not done.", "is scrapped already", `value="cracked"`)
	p.stock.refuse, p.stock.asked = nil, nil
	_, page = p.send("", "/piece/B1-3/scrap", url.Values{"reason": {"cracked"}})
	says(t, page, "B1-3 is written off. Its place at the site is open again.")
	scrap, ok := p.stock.asked[0].(*stockv1.ScrapPiecesRequest)
	if !ok || len(p.stock.asked) != 1 || scrap.GetReason() != "cracked" || scrap.GetRequestId() != "q1" || len(scrap.GetPieceIds()) != 1 {
		t.Errorf("asked was %v", p.stock.asked)
	}
	p.stock.state["B1-3"] = stockeventv1.PieceState_PIECE_STATE_SCRAPPED
	if page := p.get("/piece/B1-3"); strings.Contains(page, "Write it off") {
		t.Error("what is scrapped can be scrapped again")
	}
}

// What a site told leads the dispatcher there; the drawing office only reads.
func TestToldBySiteLeadsToThePiece(t *testing.T) {
	for role, offered := range map[auth.Role]bool{auth.Dispatcher: true, auth.DrawingOffice: false} {
		p := newPhone(t, auth.Person{Name: "Rosamund Tickpenny", Roles: []auth.Role{role}})
		p.stock.state["B1-3"] = stockeventv1.PieceState_PIECE_STATE_DELIVERED
		p.dispatch.run.Reports = []*dispatcheventv1.PieceReported{
			{RunId: "R1", DropNumber: 1, PieceId: "B1-3", Mark: "1-01-01", Kind: dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_BROKEN, Remark: "cracked & bent"},
			{RunId: "R1", DropNumber: 1, PieceId: "B1-2", Mark: "1-01-02", Kind: dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_MISSING},
		}
		page := p.get("/")
		says(t, page, "Told by sites", "cracked &amp; bent")
		for _, link := range []string{"/piece/B1-3?reason=broken%2c%20as%20the%20site%20told%3a%20cracked%20%26%20bent#scrap", "/piece/B1-2?reason=did%20not%20come%2c%20as%20the%20site%20told#scrap"} {
			if strings.Contains(page, link) != offered {
				t.Errorf("for %s the page has %s: %v", role, link, !offered)
			}
		}
		if form := strings.Contains(p.get("/piece/B1-3"), "/piece/B1-3/scrap"); form != offered {
			t.Errorf("for %s the piece can be written off: %v", role, form)
		}
	}
}
