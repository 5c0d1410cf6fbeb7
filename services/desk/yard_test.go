package desk_test

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
)

// fakeStock has a stack of three beams; what it is asked to do is kept.
type fakeStock struct {
	stockv1.UnimplementedStockServiceServer
	empty  bool
	state  map[string]stockeventv1.PieceState
	asked  []proto.Message
	refuse map[string]error
	moves  []*stockv1.StackMove
}

// did keeps a request and says what it comes to.
func (f *fakeStock) did(what string, req proto.Message) error {
	f.asked = append(f.asked, req)
	return f.refuse[what]
}

func (f *fakeStock) GetYardRules(context.Context, *stockv1.GetYardRulesRequest) (*stockv1.GetYardRulesResponse, error) {
	if f.empty {
		return nil, fault.New(fault.NotFound, "YARD_UNKNOWN", "There is no such yard.")
	}
	return &stockv1.GetYardRulesResponse{Rules: &stockeventv1.YardRulesSet{TimeZone: "Etc/UTC", BeamsPerStackTier: 2}}, nil
}

func (f *fakeStock) ListBatches(context.Context, *stockv1.ListBatchesRequest) (*stockv1.ListBatchesResponse, error) {
	if f.empty {
		return nil, fault.New(fault.NotFound, "YARD_UNKNOWN", "There is no such yard.")
	}
	return &stockv1.ListBatchesResponse{Batches: []*stockv1.Batch{
		{BatchId: "B1", Kind: stockeventv1.BatchKind_BATCH_KIND_BEAMS, MadeOn: "2027-03-01", Counts: &stockv1.PieceCounts{InYard: 3}},
		{BatchId: "B2", Kind: stockeventv1.BatchKind_BATCH_KIND_BEAMS, MadeOn: "2027-03-08", Counts: &stockv1.PieceCounts{InYard: 3}},
		{BatchId: "B3", Kind: stockeventv1.BatchKind_BATCH_KIND_BEAMS, MadeOn: "2027-03-09", Counts: &stockv1.PieceCounts{Delivered: 3}},
	}}, nil
}

func (f *fakeStock) GetPieces(_ context.Context, req *stockv1.GetPiecesRequest) (*stockv1.GetPiecesResponse, error) {
	answer := &stockv1.GetPiecesResponse{Position: 7}
	for _, id := range req.GetPieceIds() {
		p := &stockv1.Piece{PieceId: id, BatchId: "B1", State: f.state[id], Allocation: &stockeventv1.Allocation{RunId: "R1"}}
		if p.GetState() == stockeventv1.PieceState_PIECE_STATE_RESERVED && !strings.Contains(id, "K") {
			p.StackId, p.Tier = "A-01", 1
		}
		answer.Pieces = append(answer.Pieces, p)
	}
	return answer, nil
}

func (f *fakeStock) GetStack(_ context.Context, req *stockv1.GetStackRequest) (*stockv1.GetStackResponse, error) {
	if req.GetStackId() != "A-01" {
		return nil, fault.New(fault.NotFound, "STACK_UNKNOWN", "There is no such stack.")
	}
	answer := &stockv1.GetStackResponse{StackId: "A-01"}
	for _, id := range []string{"B1-3", "B1-2", "B1-1"} {
		if f.state[id] == stockeventv1.PieceState_PIECE_STATE_RESERVED {
			answer.Pieces = append(answer.Pieces, &stockv1.Piece{PieceId: id, BatchId: "B1", StackId: "A-01", Tier: 1})
		}
	}
	return answer, nil
}

func (f *fakeStock) PickPieces(_ context.Context, req *stockv1.PickPiecesRequest) (*stockv1.PickPiecesResponse, error) {
	if err := f.did("pick", req); err != nil {
		return nil, err
	}
	for _, id := range req.GetPieceIds() {
		f.state[id] = stockeventv1.PieceState_PIECE_STATE_PICKED
	}
	return &stockv1.PickPiecesResponse{PieceCount: int32(len(req.GetPieceIds())), Position: 8}, nil
}

func (f *fakeStock) ExchangePieces(_ context.Context, req *stockv1.ExchangePiecesRequest) (*stockv1.ExchangePiecesResponse, error) {
	if err := f.did("exchange", req); err != nil {
		return nil, err
	}
	return &stockv1.ExchangePiecesResponse{Exchanged: []*stockeventv1.PieceExchanged{{NewPieceId: "B2-9", NewStackId: "A-07", NewTier: 2}}, Position: 9}, nil
}

func (f *fakeStock) ScrapPieces(_ context.Context, req *stockv1.ScrapPiecesRequest) (*stockv1.ScrapPiecesResponse, error) {
	delivered := int32(0)
	if f.state[req.GetPieceIds()[0]] == stockeventv1.PieceState_PIECE_STATE_DELIVERED {
		delivered = 1
	}
	return &stockv1.ScrapPiecesResponse{PieceCount: 1, Position: 10, DeliveredCount: delivered}, f.did("scrap", req)
}

func (f *fakeStock) LoadPieces(_ context.Context, req *stockv1.LoadPiecesRequest) (*stockv1.LoadPiecesResponse, error) {
	if err := f.did("load", req); err != nil {
		return nil, err
	}
	for _, id := range req.GetPieceIds() {
		f.state[id] = stockeventv1.PieceState_PIECE_STATE_LOADED
	}
	return &stockv1.LoadPiecesResponse{Position: 11}, nil
}

func (f *fakeStock) RelocatePieces(_ context.Context, req *stockv1.RelocatePiecesRequest) (*stockv1.RelocatePiecesResponse, error) {
	return &stockv1.RelocatePiecesResponse{Position: 12}, f.did("move", req)
}

func (f *fakeStock) AdvisePutAway(context.Context, *stockv1.AdvisePutAwayRequest) (*stockv1.AdvisePutAwayResponse, error) {
	return &stockv1.AdvisePutAwayResponse{Moves: f.moves, Sentence: "The beams lie well already.", Position: 7}, nil
}

// fakeDispatch has one run: two beams and a pallet.
type fakeDispatch struct {
	dispatchv1.UnimplementedDispatchServiceServer
	empty bool
	run   *dispatchv1.RunStatus
}

func (f *fakeDispatch) ListRuns(_ context.Context, req *dispatchv1.ListRunsRequest) (*dispatchv1.ListRunsResponse, error) {
	if f.empty {
		return nil, fault.New(fault.NotFound, "YARD_UNKNOWN", "There is no such yard.")
	}
	if req.GetDay() != f.run.GetDay() {
		return &dispatchv1.ListRunsResponse{}, nil
	}
	return &dispatchv1.ListRunsResponse{Runs: []*dispatchv1.RunStatus{f.run}, Position: 3}, nil
}

func (f *fakeDispatch) ListTrucks(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
	return &dispatchv1.ListTrucksResponse{Trucks: []*dispatcheventv1.Truck{{TruckId: "T1", Name: "Ottoline"}}}, nil
}

func (f *fakeDispatch) ListSites(context.Context, *dispatchv1.ListSitesRequest) (*dispatchv1.ListSitesResponse, error) {
	return &dispatchv1.ListSitesResponse{Sites: []*dispatcheventv1.Site{{SiteId: "OR", Name: "Owlpenny Rise"}}}, nil
}

func (f *fakeDispatch) DepartRun(context.Context, *dispatchv1.DepartRunRequest) (*dispatchv1.DepartRunResponse, error) {
	f.run.State = dispatchv1.RunState_RUN_STATE_DEPARTED
	return &dispatchv1.DepartRunResponse{Position: 4}, nil
}

// standing is a clock at the evening before the run.
type standing struct{}

func (standing) Now() time.Time { return time.Date(2027, 3, 16, 15, 30, 0, 0, time.UTC) }

// phone is a desk before fake services, and somebody's browser.
type phone struct {
	t        *testing.T
	base     string
	browser  *http.Client
	stock    *fakeStock
	dispatch *fakeDispatch
}

func newPhone(t *testing.T, who ...auth.Person) *phone {
	t.Helper()
	beam := &commonv1.BeamProduct{Profile: "T150", WirePattern: "p4", LengthMm: 3600}
	reserved := stockeventv1.PieceState_PIECE_STATE_RESERVED
	p := &phone{t: t, stock: &fakeStock{refuse: map[string]error{}, state: map[string]stockeventv1.PieceState{"B1-1": reserved, "B1-2": reserved, "B1-3": reserved, "R1-K01": reserved}},
		dispatch: &fakeDispatch{run: &dispatchv1.RunStatus{Day: "2027-03-17", State: dispatchv1.RunState_RUN_STATE_CONFIRMED, Run: &dispatcheventv1.Run{
			RunId: "R1", TruckId: "T1", LoadingMinute: 330, Drops: []*dispatcheventv1.Drop{{Number: 1, SiteId: "OR"}}, Picks: []*dispatcheventv1.Pick{
				{Number: 1, PieceId: "B1-3", BatchId: "B1", StackId: "A-01", Mark: "1-01-01", Beam: beam, PileNumber: 1, PileTier: 1, MassG: 115000},
				{Number: 2, PieceId: "B1-2", BatchId: "B1", StackId: "A-01", Mark: "1-01-02", Beam: beam, PileNumber: 1, PileTier: 1, MassG: 115000},
				{Number: 3, PieceId: "R1-K01", BatchId: "K1", StackId: "P-01", BlockKind: "K520", BlockCount: 12, PileNumber: 2, PileTier: 1},
			}}}}}
	signer, err := auth.OpenSigner(filepath.Join(t.TempDir(), "key.pem"))
	if err != nil {
		t.Fatal(err)
	}
	keys, err := auth.NewKeys(signer.Public())
	if err != nil {
		t.Fatal(err)
	}
	quiet := slog.New(slog.DiscardHandler)
	server, err := rpc.NewServer(rpc.ServerOptions{Name: "fakes", Log: quiet, Access: rpc.Access{Keys: keys, Now: standing{}.Now}}, func(r grpc.ServiceRegistrar) {
		stockv1.RegisterStockServiceServer(r, p.stock)
		dispatchv1.RegisterDispatchServiceServer(r, p.dispatch)
	})
	if err != nil {
		t.Fatal(err)
	}
	listener, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.WithoutCancel(t.Context()))
	served := make(chan error, 1)
	go func() { served <- server.Serve(ctx, listener) }()
	line, err := rpc.Dial(listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := line.Close(); err != nil {
			t.Error(err)
		}
		stop()
		<-served
	})
	d, err := desk.New(desk.Deps{Yard: "y1", Layout: line, Stock: line, Dispatch: line, Signer: signer, Demo: who, DemoKey: "k", Clock: standing{}, Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	pages := httptest.NewServer(d.Handler())
	t.Cleanup(pages.Close)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	p.base, p.browser = pages.URL, &http.Client{Jar: jar, Timeout: 20 * time.Second}
	p.get("/enter?key=k")
	return p
}

func (p *phone) get(path string) string {
	p.t.Helper()
	_, text := p.do(http.MethodGet, path, nil, "")
	return text
}

func (p *phone) do(method, path string, form url.Values, accept string) (int, string) {
	p.t.Helper()
	req, err := http.NewRequestWithContext(p.t.Context(), method, p.base+path, strings.NewReader(form.Encode()))
	if err != nil {
		p.t.Fatal(err)
	}
	if form != nil {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if accept != "" {
		req.Header.Set("Accept", accept)
	}
	resp, err := p.browser.Do(req)
	if err != nil {
		p.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return resp.StatusCode, string(body)
}

var tokenField = regexp.MustCompile(`name="form_token" value="([0-9a-f]+)"`)

// send posts a form as the page's script does, or as a browser without it.
func (p *phone) send(accept, path string, fields url.Values) (int, string) {
	p.t.Helper()
	m := tokenField.FindStringSubmatch(p.get(runPath))
	if m == nil {
		p.t.Fatal("the page has no form")
	}
	fields.Set("form_token", m[1])
	if fields.Get("request_id") == "" {
		fields.Set("request_id", "q1")
	}
	return p.do(http.MethodPost, path, fields, accept)
}

// answered is what a script gets.
type answered struct {
	Said, Problem string
	Places        []string
	Position      uint64
	Changed, Keep bool
	Sign, Stale   bool
}

func (p *phone) tap(path string, fields url.Values) answered {
	p.t.Helper()
	_, text := p.send("application/json", path, fields)
	var a answered
	if err := json.Unmarshal([]byte(text), &a); err != nil {
		p.t.Fatalf("the script got %s: %v", text, err)
	}
	return a
}

const runPath = "/yard/run/2027-03-17/R1"

var pim = auth.Person{Name: "Pim Quillbottle", Roles: []auth.Role{auth.Yard}}

func says(t *testing.T, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("the page does not say %q:\n%s", w, text)
		}
	}
}

func TestYardSaysWhatToDoFirst(t *testing.T) {
	p := newPhone(t, pim)
	p.stock.empty, p.dispatch.empty = true, true
	says(t, p.get("/yard"), "There is nothing to load on this day", "No beams lie in the yard")
	p.stock.empty, p.dispatch.empty = false, false
	says(t, p.get("/yard"), "Wed 17 Mar 2027", "Load next", "T1 Ottoline", "5:30", "Owlpenny Rise", "Begin to pick", "0 of 3", "/yard/put-away/B2")
	if page := p.get("/yard?day=2027-03-16"); strings.Contains(page, "Ottoline") || strings.Contains(page, "B3") {
		t.Error("a day without runs has one, or a batch that is gone is to be put away")
	}
	says(t, p.get("/yard/run/2027-03-17/R9"), "There is no confirmed run R9 on 2027-03-17.")
	says(t, p.get("/yard?day=tomorrow"), "Wed 17 Mar 2027")
}

// Without a script: pick, load, leave, each a form and a page.
func TestYardPicksLoadsAndLetsGo(t *testing.T) {
	p := newPhone(t, pim)
	page := p.get(runPath)
	says(t, page, "Lift beam 3", "1-01-01", "3.60&nbsp;m, 115&nbsp;kg", "tier 2 of 2", "Not there", "Broken", "Pallet of 12 blocks K520", `href="#y-beam"`)
	if strings.Contains(page, "style=") || strings.Contains(page, "<script>") || strings.Contains(page, "ZgotmplZ") {
		t.Error("the page has what a browser refuses")
	}
	_, page = p.send("", runPath+"/picked", url.Values{"piece_id": {"B1-3", "B1-2"}, "person": {pim.Name}})
	says(t, page, "Off the stack: B1-3, B1-2.", "2 of 3 off the stacks")
	_, page = p.send("", runPath+"/picked", url.Values{"piece_id": {"R1-K01"}, "request_id": {"q2"}})
	says(t, page, "All pieces are off the stacks")
	_, page = p.send("", runPath+"/loaded", url.Values{"request_id": {"q3"}})
	says(t, page, "All is on truck T1.", "Truck T1 Ottoline leaves")
	_, page = p.send("", runPath+"/left", url.Values{"request_id": {"q4"}, "stock": {"11"}})
	says(t, page, "Run R1 has left.", "This truck has left")
	var ids []string
	for _, m := range p.stock.asked {
		if load, ok := m.(*stockv1.LoadPiecesRequest); ok {
			ids = load.GetPieceIds()
		}
	}
	if !slices.Equal(ids, []string{"B1-3", "B1-2", "R1-K01"}) {
		t.Errorf("loaded were %q", ids)
	}
}

// A page that repeats nothing comes packed; one that does never.
func TestYardPacksThePageOfARun(t *testing.T) {
	p := newPhone(t, pim)
	for path, want := range map[string]bool{runPath: true, "/yard": false, "/yard/run/2027-03-17/R9": false} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, p.base+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		resp, err := p.browser.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		if err := resp.Body.Close(); err != nil {
			t.Error(err)
		}
		if resp.Uncompressed != want {
			t.Errorf("%s comes packed: %v", path, resp.Uncompressed)
		}
	}
}

// What a script sends is answered in what it can act on.
func TestYardAnswersTaps(t *testing.T) {
	p := newPhone(t, pim, auth.Person{Name: "Odo Bristlecomb", Roles: []auth.Role{auth.Yard}})
	if a := p.tap(runPath+"/picked", url.Values{"piece_id": {"B1-3"}, "person": {pim.Name}}); a.Position != 8 || a.Said == "" || a.Problem != "" || a.Keep {
		t.Errorf("a pick is answered %+v", a)
	}
	p.stock.refuse["pick"] = fault.New(fault.Stale, "CANNOT_PICK", "1 of 1 pieces cannot be picked. None was.").At("B1-2", "", "is quarantined", "")
	if a := p.tap(runPath+"/picked", url.Values{"piece_id": {"B1-2"}}); a.Keep || !strings.Contains(a.Problem, "cannot be picked") || len(a.Places) != 1 {
		t.Errorf("a refusal is answered %+v", a)
	}
	_, page := p.send("", runPath+"/picked", url.Values{"piece_id": {"B1-2"}})
	says(t, page, "Not done.", "is quarantined", "Lift beam 2")
	p.stock.refuse["pick"] = fault.New(fault.Unavailable, "AWAY", "Stock cannot be reached.")
	if a := p.tap(runPath+"/picked", url.Values{"piece_id": {"B1-2"}}); !a.Keep || a.Sign || a.Stale {
		t.Errorf("without the service it is answered %+v", a)
	}
	if a := p.tap(runPath+"/picked", url.Values{"piece_id": {"B1-2"}, "person": {"Odo Bristlecomb"}}); !a.Keep || !a.Sign {
		t.Errorf("another's tap is answered %+v", a)
	}
	var a answered
	_, text := p.do(http.MethodPost, runPath+"/picked", url.Values{"form_token": {"old"}}, "application/json")
	if err := json.Unmarshal([]byte(text), &a); err != nil || !a.Keep || !a.Stale {
		t.Errorf("an old form is answered %s", text)
	}
	p.browser.Jar = nil
	status, text := p.do(http.MethodPost, runPath+"/picked", url.Values{}, "application/json")
	if err := json.Unmarshal([]byte(text), &a); err != nil || status != http.StatusUnauthorized || !a.Keep || !a.Sign {
		t.Errorf("signed out it is answered %d %s", status, text)
	}
}

// A beam that is not there is exchanged and written off; without an equal one
// it is written off, and the run is stopped.
func TestYardMissesABeam(t *testing.T) {
	p := newPhone(t, pim)
	missing := url.Values{"piece_id": {"B1-3"}, "why": {"missing"}}
	if a := p.tap(runPath+"/gone", missing); !a.Changed || a.Position != 10 || !strings.Contains(a.Said, "Take B2-9 from stack A-07, tier 2, instead of B1-3") {
		t.Errorf("it is answered %+v", a)
	}
	exchange, ok := p.stock.asked[0].(*stockv1.ExchangePiecesRequest)
	scrap, also := p.stock.asked[1].(*stockv1.ScrapPiecesRequest)
	if !ok || !also || exchange.GetExchangedBy() != pim.Name || exchange.GetRequestId() != "q1" || scrap.GetRequestId() != "q1-gone" || !strings.Contains(scrap.GetReason(), "not there") {
		t.Errorf("asked was %v", p.stock.asked)
	}
	p.stock.refuse["exchange"] = fault.New(fault.Stale, "CANNOT_EXCHANGE", "1 of 1 beams cannot be exchanged. None was.")
	if a := p.tap(runPath+"/gone", url.Values{"piece_id": {"B1-3"}, "why": {"broken"}}); !strings.Contains(a.Said, "no equal one is free") {
		t.Errorf("without an equal it is answered %+v", a)
	}
	before := len(p.stock.asked)
	p.stock.state["B1-3"] = stockeventv1.PieceState_PIECE_STATE_PICKED
	if a := p.tap(runPath+"/gone", missing); !strings.Contains(a.Problem, "cannot be exchanged") || len(p.stock.asked) != before+1 {
		t.Errorf("what somebody picked meanwhile is answered %+v", a)
	}
}

// A beam that lies on the next pick is moved away first, or is passed over.
func TestYardMovesAside(t *testing.T) {
	p := newPhone(t, pim)
	p.dispatch.run.Run.Moves = []*dispatcheventv1.AsideMove{{PieceId: "B1-1", FromStackId: "A-01", ToStackId: "A-02", BeforePick: 1}}
	says(t, p.get(runPath), "First move beam 1 away", "Done: it lies on A-02", `href="#step-2"`, "after the lift")
	_, page := p.send("", runPath+"/aside", url.Values{"piece_id": {"B1-1"}, "to": {"A-02"}})
	says(t, page, "On stack A-02 now: B1-1.")
	p.stock.refuse["move"] = fault.New(fault.Stale, "CANNOT_MOVE", "The moves cannot be made as they are planned. None was recorded.")
	if a := p.tap(runPath+"/aside", url.Values{"piece_id": {"B1-1"}, "to": {"A-02"}}); a.Keep || !strings.Contains(a.Problem, "cannot be made") {
		t.Errorf("a refused move is answered %+v", a)
	}
}

func TestYardShowsWhatMustNotLeave(t *testing.T) {
	p := newPhone(t, auth.Person{Name: "Rosamund Tickpenny", Roles: []auth.Role{auth.Dispatcher}})
	p.dispatch.run.State = dispatchv1.RunState_RUN_STATE_HIT
	p.dispatch.run.Hits = []*dispatcheventv1.RunHit{{PieceId: "B1-3", Mark: "1-01-01", Reason: "batch B1 is in quarantine"}}
	page := p.get(runPath)
	says(t, page, "This run must not leave as it is.", "batch B1 is in quarantine", "Leave beam 3", `class="b-held" fill="url(#p-held)"`, "Lift beam 2")
	if strings.Contains(page, runPath+"/gone") {
		t.Error("the dispatcher is offered what yard staff record")
	}
	says(t, p.get("/yard"), "stopped")
}

func TestYardPutsAway(t *testing.T) {
	p := newPhone(t, pim)
	says(t, p.get("/yard/put-away/B1"), "The beams lie well already.")
	p.stock.moves = []*stockv1.StackMove{{PieceId: "B1-3", FromStackId: "A-01", ToStackId: "A-09", FromTier: 2, ToTier: 1}, {PieceId: "B1-2", FromStackId: "A-01", ToStackId: "A-09", FromTier: 1, ToTier: 1}}
	says(t, p.get("/yard/put-away/B1"), "A-09", "0 of 2 lifts", "Move beam 3", "Done: 3 lies on A-09")
	_, page := p.send("", "/yard/put-away/B1", url.Values{"piece_id": {"B1-3"}, "to": {"A-09"}})
	says(t, page, "On stack A-09 now: B1-3.")
	move, ok := p.stock.asked[0].(*stockv1.RelocatePiecesRequest)
	if !ok || len(move.GetMoves()) != 1 || move.GetMoves()[0].GetToStackId() != "A-09" {
		t.Errorf("asked was %v", p.stock.asked)
	}
}

// A strange phone gets the worker, and nothing of the yard.
func TestYardsWorker(t *testing.T) {
	p := newPhone(t, pim)
	p.browser.Jar = nil
	status, text := p.do(http.MethodGet, "/yard/worker.js", nil, "")
	if status != http.StatusOK || !strings.Contains(text, "addEventListener") {
		t.Errorf("the worker is %d %s", status, text)
	}
	if page := p.get(runPath); strings.Contains(page, "B1-3") {
		t.Error("a stranger sees the run")
	}
}
