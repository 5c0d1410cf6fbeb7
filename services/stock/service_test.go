package stock_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"math"
	"net"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/redis/go-redis/v9"
	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/testing/protocmp"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger/ledgertest"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/stock"
)

const yard = "tarn"

// hand is a clock that a test sets.
type hand struct{ now time.Time }

func (h *hand) Now() time.Time { return h.now }

// house is a running stock service.
type house struct {
	ctx    context.Context
	client stockv1.StockServiceClient
	js     jetstream.JetStream
	redis  *miniredis.Miniredis
}

// open runs the service on the data in dir until the test ends.
func open(t *testing.T, dir string, c clock.Clock) *house {
	t.Helper()
	return openOn(t, ledgertest.On(t, dir), miniredis.RunT(t), c)
}

// openOn runs a replica of the service on a JetStream and a Redis.
func openOn(t *testing.T, js jetstream.JetStream, memory *miniredis.Miniredis, c clock.Clock, options ...grpc.DialOption) *house {
	t.Helper()
	return openWith(t, stock.Deps{JetStream: js, Clock: c}, memory, options...)
}

// openWith runs a replica with settings of its own.
func openWith(t *testing.T, d stock.Deps, memory *miniredis.Miniredis, options ...grpc.DialOption) *house {
	t.Helper()
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	ctx, cancel := context.WithCancel(t.Context())
	h := &house{ctx: rpc.AsActor(ctx, "Clerk Immo Rask"), js: d.JetStream, redis: memory}
	view := redis.NewClient(&redis.Options{Addr: h.redis.Addr()})
	d.Redis, d.Log = view, log
	service, err := stock.New(ctx, d)
	if err != nil {
		t.Fatal(err)
	}
	server, err := rpc.NewServer(rpc.ServerOptions{Name: "stock", Log: log, Health: service.Healthy}, service.Register)
	if err != nil {
		t.Fatal(err)
	}
	lis := bufconn.Listen(1 << 20)
	ended := make(chan error, 2)
	go func() { ended <- service.Run(ctx) }()
	go func() { ended <- server.Serve(ctx, lis) }()
	options = append(options, grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return lis.DialContext(ctx)
	}))
	conn, err := rpc.Dial("passthrough:///bufconn", options...)
	if err != nil {
		t.Fatal(err)
	}
	h.client = stockv1.NewStockServiceClient(conn)
	t.Cleanup(func() {
		_ = conn.Close()
		cancel()
		for range 2 {
			if err := <-ended; err != nil && !errors.Is(err, context.Canceled) {
				t.Error(err)
			}
		}
		_ = view.Close()
	})
	return h
}

func (h *house) rules(t *testing.T) {
	t.Helper()
	_, err := h.client.SetYardRules(h.ctx, &stockv1.SetYardRulesRequest{
		Yard: yard, RequestId: "rules", TimeZone: "Pacific/Auckland", BeamMinAgeDays: 14, BlockMinAgeDays: 28, BeamsPerStackTier: 4,
	})
	if err != nil {
		t.Fatal(err)
	}
}

func (h *house) receive(t *testing.T, batch, madeOn string, count int32) *stockv1.ReceiveBatchResponse {
	t.Helper()
	r, err := h.client.ReceiveBatch(h.ctx, &stockv1.ReceiveBatchRequest{
		Yard: yard, RequestId: "receive-" + batch, BatchId: batch, MadeOn: madeOn,
		Concrete: &stockeventv1.Concrete{FckCylinderMpa: 50, FckCubeMpa: 60},
		Pieces: &stockv1.ReceiveBatchRequest_Beams{Beams: &stockv1.BeamLines{Profile: "P150", WirePattern: "5W", Lines: []*stockv1.BeamLine{
			{LengthMm: 4200, Count: count, MassGEach: 136_500, StackId: "A-" + batch},
		}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (h *house) test(t *testing.T, batch, id, on string, cubes ...float64) *stockv1.RecordTestResponse {
	t.Helper()
	r, err := h.client.RecordTest(h.ctx, &stockv1.RecordTestRequest{
		Yard: yard, RequestId: "test-" + batch + id, BatchId: batch, TestId: id, Laboratory: "Farrow Bench Laboratory",
		TestedOn: on, Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CUBE, StrengthsMpa: cubes,
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (h *house) release(batch, requestID string) (*stockv1.ReleaseBatchResponse, error) {
	return h.client.ReleaseBatch(h.ctx, &stockv1.ReleaseBatchRequest{Yard: yard, RequestId: requestID, BatchId: batch, ReleasedBy: "Wenda Harrow"})
}

func reserve(batch, requestID, reservation, run string, ids ...string) *stockv1.ReservePiecesRequest {
	r := &stockv1.ReservePiecesRequest{Yard: yard, RequestId: requestID, ReservationId: reservation}
	for _, id := range ids {
		r.Lines = append(r.Lines, &stockv1.ReserveLine{
			What:       &stockv1.ReserveLine_PieceId{PieceId: batch + id},
			Allocation: &stockeventv1.Allocation{RunId: run, SiteId: "S1", JobId: "J1", Mark: "1-01" + id},
		})
	}
	return r
}

func reason(t *testing.T, err error, want string) *fault.Error {
	t.Helper()
	var f *fault.Error
	if !errors.As(err, &f) || f.Reason != want {
		t.Fatalf("got %v, want %s", err, want)
	}
	return f
}

// TestStory takes a batch from the bed to a site, and a late bad result after
// it.
func TestStory(t *testing.T) {
	// In Auckland it is the day after already.
	c := &hand{time.Date(2027, 3, 14, 12, 30, 0, 0, time.UTC)}
	dir := t.TempDir()
	var late *stockv1.RecordTestResponse
	t.Run("from bed to site", func(t *testing.T) { late = tellStory(t, open(t, dir, c), c) })
	t.Run("after a restart with an empty Redis", func(t *testing.T) {
		h := open(t, dir, c)
		h.look(t, late.GetPosition())
		again := h.test(t, "B1", "T2", "2027-03-15", 48.0)
		if d := cmp.Diff(late, again, protocmp.Transform()); d != "" {
			t.Fatalf("a repeated request was answered otherwise:\n%s", d)
		}
		_, err := h.client.RecordTest(h.ctx, &stockv1.RecordTestRequest{Yard: yard, RequestId: "test-B1T2", BatchId: "B1", TestId: "T9", Laboratory: "L",
			TestedOn: "2027-03-15", Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CUBE, StrengthsMpa: []float64{70}})
		reason(t, err, "REQUEST_ID_REUSED")
	})
}

// tellStory returns the answer to the late result.
func tellStory(t *testing.T, h *house, c *hand) *stockv1.RecordTestResponse {
	_, err := h.client.ReceiveBatch(h.ctx, &stockv1.ReceiveBatchRequest{Yard: yard, RequestId: "x", BatchId: "B1", MadeOn: "2027-03-01",
		Concrete: &stockeventv1.Concrete{FckCylinderMpa: 50, FckCubeMpa: 60}, Pieces: &stockv1.ReceiveBatchRequest_Blocks{Blocks: &stockv1.BlockLine{BlockKind: "K", Count: 1, MassGEach: 1, StackId: "S"}}})
	reason(t, err, "YARD_NOT_OPEN")
	_, err = h.client.GetYardRules(h.ctx, &stockv1.GetYardRulesRequest{Yard: yard})
	if fault.KindOf(err) != fault.NotFound {
		t.Errorf("rules of a yard that has none: %v", err)
	}
	h.rules(t)
	rules, err := h.client.GetYardRules(h.ctx, &stockv1.GetYardRulesRequest{Yard: yard})
	if err != nil || rules.GetRules().GetTimeZone() != "Pacific/Auckland" || rules.GetRules().GetBlockMinAgeDays() != 28 || rules.GetPosition() != 1 {
		t.Fatalf("rules: %v, %v", rules, err)
	}
	received := h.receive(t, "B1", "2027-03-02", 10)
	if got := received.GetBatch().GetOldEnoughOn(); got != "2027-03-16" {
		t.Fatalf("old enough on %s", got)
	}
	_, err = h.release("B1", "r1")
	if f := reason(t, err, "TOO_YOUNG"); len(f.Places) != 2 {
		t.Fatalf("places: %v", f.Places)
	}
	h.test(t, "B1", "T1", "2027-03-14", 62.5, 64.0, 61.0)
	_, err = h.client.ReservePieces(h.ctx, reserve("B1", "v0", "P0", "R1", "-001"))
	reason(t, err, "PIECES_GONE")
	c.now = c.now.Add(time.Hour * 23) // 15 March, 11:30 in UTC: 16 March in Auckland
	if _, err = h.release("B1", "r2"); err != nil {
		t.Fatal(err)
	}
	if _, err = h.client.ReservePieces(h.ctx, reserve("B1", "v1", "P1", "R1", "-010", "-009", "-008")); err != nil {
		t.Fatal(err)
	}
	_, err = h.client.ReservePieces(h.ctx, reserve("B1", "v2", "P2", "R2", "-007", "-008", "-099"))
	if f := reason(t, err, "PIECES_GONE"); len(f.Places) != 2 || f.Places[0].Where != "B1-008" {
		t.Fatalf("places: %v", f.Places)
	}
	ids := []string{"B1-010", "B1-009", "B1-008"}
	if _, err = h.client.PickPieces(h.ctx, &stockv1.PickPiecesRequest{Yard: yard, RequestId: "pick", RunId: "R1", PieceIds: ids}); err != nil {
		t.Fatal(err)
	}
	if _, err = h.client.LoadPieces(h.ctx, &stockv1.LoadPiecesRequest{Yard: yard, RequestId: "load", RunId: "R1", TruckId: "T", PieceIds: ids}); err != nil {
		t.Fatal(err)
	}
	if _, err = h.client.DeliverPieces(h.ctx, &stockv1.DeliverPiecesRequest{Yard: yard, RequestId: "set", RunId: "R1", SiteId: "S1", PieceIds: ids[:2]}); err != nil {
		t.Fatal(err)
	}
	late := h.test(t, "B1", "T2", "2027-03-15", 48.0)
	if late.GetVerdict().GetConforms() || len(late.GetQuarantine().GetHits()) != 3 {
		t.Fatalf("late result: %v", late)
	}
	h.look(t, late.GetPosition())
	// Redis is emptied: the same answers come back.
	h.redis.FlushAll()
	h.look(t, late.GetPosition())
	return late
}

// look asks what the story has led to.
func (h *house) look(t *testing.T, position uint64) {
	t.Helper()
	batch, err := h.client.GetBatch(h.ctx, &stockv1.GetBatchRequest{Yard: yard, BatchId: "B1", AtLeast: position})
	if err != nil {
		t.Fatal(err)
	}
	counts := &stockv1.PieceCounts{Made: 10, InYard: 7, Loaded: 1, Delivered: 2}
	if d := cmp.Diff(counts, batch.GetBatch().GetCounts(), protocmp.Transform()); d != "" {
		t.Fatalf("counts:\n%s", d)
	}
	free, err := h.client.ListFreePieces(h.ctx, &stockv1.ListFreePiecesRequest{Yard: yard, AtLeast: position})
	if err != nil || len(free.GetBeams()) != 0 {
		t.Fatalf("free: %v, %v", free, err)
	}
	stack, err := h.client.GetStack(h.ctx, &stockv1.GetStackRequest{Yard: yard, StackId: "A-B1", AtLeast: position})
	if err != nil {
		t.Fatal(err)
	}
	if top := stack.GetPieces()[0]; top.GetPieceId() != "B1-007" || top.GetTier() != 2 || stack.GetPieces()[6].GetPiecesAbove() != 3 {
		t.Fatalf("stack: %v", stack)
	}
	history, err := h.client.GetPieceHistory(h.ctx, &stockv1.GetPieceHistoryRequest{Yard: yard, PieceId: "B1-010", AtLeast: position})
	if err != nil {
		t.Fatal(err)
	}
	var events []string
	for _, e := range history.GetEntries() {
		events = append(events, e.GetEvent())
	}
	want := []string{"batch_received", "test_recorded", "batch_released", "pieces_reserved", "piece_picked", "piece_loaded", "piece_delivered", "test_recorded", "batch_quarantined"}
	if d := cmp.Diff(want, events); d != "" {
		t.Fatalf("history:\n%s", d)
	}
	h.lookForMarks(t, position)
	h.recall(t, position)
	sum, err := h.client.SummariseStock(h.ctx, &stockv1.SummariseStockRequest{Yard: yard, AtLeast: position})
	if err != nil || sum.GetBeams()[0].GetQuarantined() != 7 {
		t.Fatalf("summary: %v, %v", sum, err)
	}
}

// lookForMarks asks where the beams of a changed plan are.
func (h *house) lookForMarks(t *testing.T, position uint64) {
	t.Helper()
	found, err := h.client.FindMarks(h.ctx, &stockv1.FindMarksRequest{
		Yard: yard, JobId: "J1", Marks: []string{"1-01-008", "1-01-007", "1-01-010"}, AtLeast: position,
	})
	if err != nil || len(found.GetMarks()) != 3 || len(found.GetBatches()) != 1 {
		t.Fatalf("marks: %v, %v", found, err)
	}
	loaded, nothing, laid := found.GetMarks()[0], found.GetMarks()[1], found.GetMarks()[2]
	if p := loaded.GetPieces()[0]; p.GetState() != stockeventv1.PieceState_PIECE_STATE_LOADED || p.GetTruckId() != "T" || p.GetAllocation().GetRunId() != "R1" {
		t.Errorf("the loaded beam: %v", p)
	}
	if nothing.GetMark() != "1-01-007" || len(nothing.GetPieces()) != 0 {
		t.Errorf("a mark that nothing is for: %v", nothing)
	}
	if p := laid.GetPieces()[0]; p.GetPieceId() != "B1-010" || p.GetAllocation().GetSiteId() != "S1" || !p.GetDeliveredAt().IsValid() {
		t.Errorf("the delivered beam: %v", p)
	}
	_, err = h.client.FindMarks(h.ctx, &stockv1.FindMarksRequest{Yard: yard, JobId: "J1", Marks: make([]string, 5001)})
	if fault.KindOf(err) != fault.Invalid {
		t.Errorf("too many marks: %v", err)
	}
}

// recall finds the whole batch, and says whom to call.
func (h *house) recall(t *testing.T, position uint64) {
	t.Helper()
	r, err := h.client.RecallBatch(h.ctx, &stockv1.RecallBatchRequest{
		Yard: yard, BatchId: "B1", AtLeast: position, Contacts: []*stockv1.SiteContact{{SiteId: "S1", Name: "Alder Row 4", Contact: "Ulla Fenn 555 0102"}},
		Files: []stockv1.RecallFileKind{stockv1.RecallFileKind_RECALL_FILE_KIND_XLSX, stockv1.RecallFileKind_RECALL_FILE_KIND_PDF},
	})
	if err != nil || len(r.GetPlaces()) != 3 || len(r.GetFiles()) != 2 {
		t.Fatalf("recall: %v, %v", r, err)
	}
	truck, site, stack := r.GetPlaces()[0], r.GetPlaces()[1], r.GetPlaces()[2]
	if truck.GetWhere() != "on truck T, run R1, to site S1" || truck.GetUnitCount() != 1 || truck.GetCall() != "Ulla Fenn 555 0102, Alder Row 4" {
		t.Errorf("on the road: %v", truck)
	}
	if site.GetKind() != stockv1.RecallPlaceKind_RECALL_PLACE_KIND_SITE || len(site.GetPieces()) != 2 || site.GetPieces()[0].GetAllocation().GetMark() != "1-01-009" {
		t.Errorf("at the site: %v", site)
	}
	if stack.GetStackId() != "A-B1" || stack.GetUnitCount() != 7 || stack.GetPieces()[6].GetTier() != 2 {
		t.Errorf("in the yard: %v", stack)
	}
	if _, err := h.client.RecallBatch(h.ctx, &stockv1.RecallBatchRequest{Yard: yard, BatchId: "B9"}); fault.ReasonOf(err) != "BATCH_UNKNOWN" {
		t.Errorf("recall of an unknown batch: %v", err)
	}
}

// TestDueAndForecast: what the laboratory has to test today, and what may be
// expected meanwhile.
func TestDueAndForecast(t *testing.T) {
	h := open(t, t.TempDir(), &hand{time.Date(2027, 3, 20, 8, 0, 0, 0, time.UTC)})
	if _, err := h.client.SetYardRules(h.ctx, &stockv1.SetYardRulesRequest{
		Yard: yard, RequestId: "rules", TimeZone: "Etc/UTC", BeamMinAgeDays: 14, BlockMinAgeDays: 28, BeamsPerStackTier: 4,
		Sampling: []*stockeventv1.SamplingRule{{Kind: stockeventv1.BatchKind_BATCH_KIND_BEAMS, Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CUBE, Count: 3, AgeDays: 14, Laboratory: "Farrow Bench Laboratory"}},
	}); err != nil {
		t.Fatal(err)
	}
	h.receive(t, "B1", "2027-03-01", 2)
	h.receive(t, "B2", "2027-03-06", 2)
	h.receive(t, "B3", "2027-03-07", 2)
	h.test(t, "B1", "T1", "2027-03-15", 66, 67)
	due, err := h.client.ListDueSamples(h.ctx, &stockv1.ListDueSamplesRequest{Yard: yard})
	if err != nil || due.GetDay() != "2027-03-20" || len(due.GetSamples()) != 2 {
		t.Fatalf("due: %v, %v", due, err)
	}
	if first, second := due.GetSamples()[0], due.GetSamples()[1]; first.GetBatchId() != "B1" || !first.GetOverdue() || first.GetMissingCount() != 1 ||
		second.GetBatchId() != "B2" || second.GetOverdue() || second.GetRule().GetLaboratory() != "Farrow Bench Laboratory" {
		t.Errorf("due: %v", due)
	}
	// C50: fcm = 58; at 14 days and 20 degrees class R has 0.9205 of it (EN
	// 1992-1-1 Table 3.1 and (3.2)).
	forecast, err := h.client.ForecastStrength(h.ctx, &stockv1.ForecastStrengthRequest{Yard: yard, BatchId: "B2", Cement: stockv1.CementClass_CEMENT_CLASS_R})
	if err != nil || forecast.GetAgeDays() != 14 || math.Abs(forecast.GetMeanMpa()-58*0.9205) > 0.01 {
		t.Errorf("forecast: %v, %v", forecast, err)
	}
	if _, err := h.release("B2", "r"); fault.ReasonOf(err) != "NOT_TESTED" {
		t.Errorf("a forecast released the batch: %v", err)
	}
}

// TestWatchResumes follows the yard, stops, and goes on exactly behind.
func TestWatchResumes(t *testing.T) {
	h := open(t, t.TempDir(), &hand{time.Date(2027, 3, 20, 8, 0, 0, 0, time.UTC)})
	h.rules(t)
	h.receive(t, "B1", "2027-03-01", 2)
	h.receive(t, "B2", "2027-03-01", 2)
	watch := func(after uint64, n int) []uint64 {
		ctx, cancel := context.WithTimeout(h.ctx, 10*time.Second)
		defer cancel()
		stream, err := h.client.WatchStock(ctx, &stockv1.WatchStockRequest{Yard: yard, AfterPosition: after})
		if err != nil {
			t.Fatal(err)
		}
		var got []uint64
		for range n {
			m, err := stream.Recv()
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, m.GetPosition())
		}
		return got
	}
	first := watch(0, 2)
	h.receive(t, "B3", "2027-03-01", 2)
	rest := watch(first[1], 2)
	if d := cmp.Diff([]uint64{1, 2, 3, 4}, append(first, rest...)); d != "" {
		t.Fatal(d)
	}
}

func TestPages(t *testing.T) {
	h := open(t, t.TempDir(), &hand{time.Date(2027, 3, 20, 8, 0, 0, 0, time.UTC)})
	h.rules(t)
	for _, b := range []string{"B1", "B2", "B3"} {
		h.receive(t, b, "2027-03-01", 7)
		h.test(t, b, "T", "2027-03-10", 66)
		if _, err := h.release(b, "r"+b); err != nil {
			t.Fatal(err)
		}
	}
	var ids []string
	for token, pages := "", 0; ; pages++ {
		r, err := h.client.ListFreePieces(h.ctx, &stockv1.ListFreePiecesRequest{Yard: yard, Profile: "P150", PageSize: 5, PageToken: token, AtLeast: 10})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range r.GetBeams() {
			ids = append(ids, p.GetPieceId())
		}
		if token = r.GetNextPageToken(); token == "" {
			break
		}
		if _, err := h.client.ListFreePieces(h.ctx, &stockv1.ListFreePiecesRequest{Yard: yard, PageToken: token}); fault.ReasonOf(err) != "PAGE_TOKEN_INVALID" {
			t.Fatalf("a token of another list: %v", err)
		}
		if pages > 10 {
			t.Fatal("the list does not end")
		}
	}
	if len(ids) != 21 || ids[0] != "B1-007" || ids[20] != "B3-001" {
		t.Fatalf("free pieces: %v", ids)
	}
}
