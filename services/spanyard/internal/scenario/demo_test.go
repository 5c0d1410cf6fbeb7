package scenario_test

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/testing/protocmp"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/spanyard/demo"
	"spanyard.example/services/spanyard/internal/allinone"
	"spanyard.example/services/spanyard/internal/scenario"
)

// yard is the demo yard in a running house.
type yard struct {
	house    *allinone.House
	conn     *grpc.ClientConn
	loader   *scenario.Loader
	stock    stockv1.StockServiceClient
	dispatch dispatchv1.DispatchServiceClient
	id, day  string
}

// open starts a house on a folder and loads the demo into it.
func open(t *testing.T, data string) *yard {
	t.Helper()
	s, err := scenario.Read(demo.Files)
	if err != nil {
		t.Fatal(err)
	}
	h, err := allinone.Start(t.Context(), allinone.Options{
		Data: data, Listen: "127.0.0.1:0", Clock: clock.StartingAt(s.Start),
		Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError})),
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(h.Stop)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if err := h.Ready(ctx); err != nil {
		t.Fatal(err)
	}
	conn, err := rpc.Dial(h.Address())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	y := &yard{
		house: h, conn: conn, loader: scenario.NewLoader(s, conn, func(string) {}), stock: stockv1.NewStockServiceClient(conn),
		dispatch: dispatchv1.NewDispatchServiceClient(conn), id: s.Main.Yard, day: s.Main.Day,
	}
	if err := y.loader.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	return y
}

func (y *yard) close() {
	y.conn.Close()
	y.house.Stop()
}

// must returns an answer or ends the test.
func must[T any](t *testing.T) func(T, error) T {
	return func(answer T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return answer
	}
}

func (y *yard) plan(t *testing.T) *dispatchv1.Morning {
	t.Helper()
	return must[*dispatchv1.Morning](t)(y.loader.Plan(t.Context()))
}

func (y *yard) batches(t *testing.T, atLeast uint64) *stockv1.ListBatchesResponse {
	t.Helper()
	return must[*stockv1.ListBatchesResponse](t)(y.stock.ListBatches(t.Context(), &stockv1.ListBatchesRequest{Yard: y.id, PageSize: 1000, AtLeast: atLeast}))
}

func (y *yard) sheet(t *testing.T, m *dispatchv1.Morning) *sheet {
	t.Helper()
	s := &sheet{
		plan: m.GetPlan(), trucks: map[string]*dispatcheventv1.Truck{}, sites: map[string]*dispatcheventv1.Site{},
		callOffs: map[string]*dispatcheventv1.CallOff{}, heights: map[string]int32{}, pallets: map[string]int32{},
	}
	ctx := t.Context()
	s.rules = must[*dispatchv1.GetYardRulesResponse](t)(y.dispatch.GetYardRules(ctx, &dispatchv1.GetYardRulesRequest{Yard: y.id})).GetRules()
	for _, k := range must[*dispatchv1.ListTrucksResponse](t)(y.dispatch.ListTrucks(ctx, &dispatchv1.ListTrucksRequest{Yard: y.id})).GetTrucks() {
		s.trucks[k.GetTruckId()] = k
	}
	for _, k := range must[*dispatchv1.ListSitesResponse](t)(y.dispatch.ListSites(ctx, &dispatchv1.ListSitesRequest{Yard: y.id})).GetSites() {
		s.sites[k.GetSiteId()] = k
	}
	for _, k := range must[*dispatchv1.ListCallOffsResponse](t)(y.dispatch.ListCallOffs(ctx, &dispatchv1.ListCallOffsRequest{Yard: y.id, Day: y.day})).GetCallOffs() {
		s.callOffs[k.GetCallOffId()] = k
	}
	c := must[*layoutv1.GetCatalogueResponse](t)(layoutv1.NewLayoutServiceClient(y.conn).GetCatalogue(ctx, &layoutv1.GetCatalogueRequest{Yard: y.id}))
	for _, p := range c.GetProfiles() {
		s.heights[p.GetName()] = p.GetHeightMm()
	}
	for _, b := range c.GetBlocks() {
		s.pallets[b.GetName()] = b.GetPalletHeightMm()
	}
	return s
}

// TestDemoMorning: the demo holds what it promises, its plan keeps every limit
// and serves all that can be served.
func TestDemoMorning(t *testing.T) {
	y := open(t, t.TempDir())
	m := y.plan(t)
	s := y.sheet(t, m)
	s.check(t)
	floors := must[*dispatchv1.ListFloorsResponse](t)(y.dispatch.ListFloors(t.Context(), &dispatchv1.ListFloorsRequest{Yard: y.id})).GetFloors()
	s.servedAndLeft(t, floors)

	p := m.GetPlan()
	t.Logf("planned in %d ms: %d runs, lower bound %d", p.GetTookMs(), len(p.GetRuns()), p.GetRunLowerBound())
	if len(p.GetRuns()) != int(p.GetRunLowerBound()) {
		t.Errorf("%d runs are not proved to be the fewest; the bound is %d", len(p.GetRuns()), p.GetRunLowerBound())
	}
	beams, early, ids := 0, 0, []string(nil)
	for _, run := range p.GetRuns() {
		for _, item := range itemsOf(run) {
			if item.GetBeam() != nil {
				beams++
				ids = append(ids, item.GetPieceId())
			}
		}
		for _, d := range run.GetDrops() {
			if d.GetSiteId() == "SS" && run.GetTruckId() != "T5" {
				t.Errorf("%s goes up Saltwhistle Steps", run.GetTruckId())
			}
			if d.GetSiteId() == "OR" && d.GetUnloadMinute() <= 7*60+15 {
				early++
			}
		}
	}
	if beams < 400 || early == 0 {
		t.Errorf("%d beams, %d early drops", beams, early)
	}
	pieces := must[*stockv1.GetPiecesResponse](t)(y.stock.GetPieces(t.Context(), &stockv1.GetPiecesRequest{Yard: y.id, PieceIds: ids})).GetPieces()
	for _, piece := range pieces {
		if piece.GetBatchState() != stockv1.BatchState_BATCH_STATE_RELEASED {
			t.Errorf("%s of batch %s, %s, is on the plan", piece.GetPieceId(), piece.GetBatchId(), piece.GetBatchState())
		}
	}
	reasons := map[dispatcheventv1.UnservedReason]bool{}
	for _, u := range p.GetUnserved() {
		reasons[u.GetReason()] = true
	}
	want := map[dispatcheventv1.UnservedReason]bool{
		dispatcheventv1.UnservedReason_UNSERVED_REASON_NO_PLAN: true, dispatcheventv1.UnservedReason_UNSERVED_REASON_NO_STOCK: true,
		dispatcheventv1.UnservedReason_UNSERVED_REASON_AFTER_UNSERVED: true,
	}
	if diff := cmp.Diff(want, reasons); diff != "" {
		t.Errorf("why things are left (-want +got):\n%s", diff)
	}
}

// TestDemoStartsAgain: a second start changes nothing and shows the same plan.
func TestDemoStartsAgain(t *testing.T) {
	data := t.TempDir()
	y := open(t, data)
	first, before := y.plan(t), y.batches(t, 0)
	y.close()
	y = open(t, data)
	second, after := y.plan(t), y.batches(t, 0)
	if diff := cmp.Diff(first, second, protocmp.Transform()); diff != "" {
		t.Errorf("plan (-first +second):\n%s", diff)
	}
	if diff := cmp.Diff(before, after, protocmp.Transform()); diff != "" {
		t.Errorf("stock (-first +second):\n%s", diff)
	}
	list := must[*dispatchv1.ListMorningsResponse](t)(y.dispatch.ListMornings(t.Context(), &dispatchv1.ListMorningsRequest{Yard: y.id, Day: y.day}))
	if n := len(list.GetMornings()); n != 1 {
		t.Errorf("%d plans after two starts", n)
	}
}

// TestDemoDelivered drives the whole morning: what has left the stock is what
// was delivered, in Redis and after a start from the ledger alone.
func TestDemoDelivered(t *testing.T) {
	data := t.TempDir()
	y := open(t, data)
	m, before := y.plan(t), y.batches(t, 0)
	position := y.drive(t, m)
	want := deliveredOf(m.GetPlan())
	check := func(when string, got *stockv1.ListBatchesResponse) {
		t.Helper()
		for i, b := range got.GetBatches() {
			left := present(before.GetBatches()[i]) - present(b)
			if left != want[b.GetBatchId()] || b.GetCounts().GetDelivered() != left || b.GetCounts().GetMade() != present(b)+left {
				t.Errorf("%s: batch %s: %d left the stock, %d delivered by the plan, counts %v", when, b.GetBatchId(), left, want[b.GetBatchId()], b.GetCounts())
			}
		}
	}
	after := y.batches(t, position)
	check("in Redis", after)
	y.close()
	y = open(t, data)
	again := y.batches(t, position)
	check("after a start from the ledger", again)
	if diff := cmp.Diff(after, again, protocmp.Transform(), protocmp.IgnoreFields(&stockv1.ListBatchesResponse{}, "position")); diff != "" {
		t.Errorf("stock before and after the start (-before +after):\n%s", diff)
	}
	if state := y.plan(t).GetState(); state != dispatchv1.MorningState_MORNING_STATE_CONFIRMED {
		t.Errorf("the plan is %s", state)
	}
}

// present counts what of a batch is in the yard or on its way.
func present(b *stockv1.Batch) int32 {
	c := b.GetCounts()
	return c.GetInYard() + c.GetReserved() + c.GetPicked() + c.GetLoaded()
}

// deliveredOf counts beams and blocks of a plan by batch.
func deliveredOf(p *dispatcheventv1.MorningPlan) map[string]int32 {
	counts := map[string]int32{}
	for _, run := range p.GetRuns() {
		for _, item := range itemsOf(run) {
			if item.GetBeam() != nil {
				counts[item.GetBatchId()]++
			} else {
				counts[item.GetBatchId()] += item.GetBlockCount()
			}
		}
	}
	return counts
}

// drive confirms the morning, picks, loads, and delivers all of it, and
// returns the position of the stock ledger at the end.
func (y *yard) drive(t *testing.T, m *dispatchv1.Morning) uint64 {
	t.Helper()
	ctx := rpc.AsActor(t.Context(), "Rosamund Tickpenny")
	plan := m.GetPlan()
	must[*dispatchv1.ConfirmMorningResponse](t)(y.dispatch.ConfirmMorning(ctx, &dispatchv1.ConfirmMorningRequest{
		Yard: y.id, RequestId: "confirm", PlanId: plan.GetPlanId(), ConfirmedBy: "Rosamund Tickpenny",
	}))
	for _, run := range plan.GetRuns() {
		id := run.GetRunId()
		var pieces []string
		for _, pick := range run.GetPicks() {
			pieces = append(pieces, pick.GetPieceId())
		}
		must[*stockv1.PickPiecesResponse](t)(y.stock.PickPieces(ctx, &stockv1.PickPiecesRequest{Yard: y.id, RequestId: "pick-" + id, RunId: id, PieceIds: pieces}))
		must[*stockv1.LoadPiecesResponse](t)(y.stock.LoadPieces(ctx, &stockv1.LoadPiecesRequest{
			Yard: y.id, RequestId: "load-" + id, RunId: id, TruckId: run.GetTruckId(), PieceIds: pieces,
		}))
		must[*dispatchv1.DepartRunResponse](t)(y.dispatch.DepartRun(ctx, &dispatchv1.DepartRunRequest{Yard: y.id, RequestId: "depart-" + id, RunId: id, DepartedBy: "Rosamund Tickpenny"}))
		for _, d := range run.GetDrops() {
			must[*dispatchv1.DeliverDropResponse](t)(y.dispatch.DeliverDrop(ctx, &dispatchv1.DeliverDropRequest{
				Yard: y.id, RequestId: id + "-" + d.GetSiteId(), RunId: id, DropNumber: d.GetNumber(), ReceivedBy: "Foreman Bram Oddsock",
			}))
		}
	}
	return y.awaitDelivered(t, plan)
}

// awaitDelivered waits until stock has heard of every delivery from dispatch.
func (y *yard) awaitDelivered(t *testing.T, plan *dispatcheventv1.MorningPlan) uint64 {
	t.Helper()
	var want int32
	for _, n := range deliveredOf(plan) {
		want += n
	}
	deadline := time.After(30 * time.Second)
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		list := y.batches(t, 0)
		var got int32
		for _, b := range list.GetBatches() {
			got += b.GetCounts().GetDelivered()
		}
		if got == want {
			return list.GetPosition()
		}
		select {
		case <-deadline:
			t.Fatalf("stock has heard of %d delivered beams and blocks, %d were", got, want)
		case <-tick.C:
		}
	}
}
