package dispatch

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger/ledgertest"
	"spanyard.example/services/kit/rpc"
)

const (
	yard = "testyard"
	day  = "2031-05-06"
)

// world is what is around dispatch, and stays when dispatch dies.
type world struct {
	js     jetstream.JetStream
	log    *slog.Logger
	stock  *fakeStock
	layout interface {
		publish(context.Context, string, ...*layouteventv1.Event) (uint64, error)
	}
	stockClient stockv1.StockServiceClient
}

func newWorld(t *testing.T) *world {
	t.Helper()
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	w := &world{js: ledgertest.JetStream(t), log: log}
	w.stock = newFakeStock(t, w.js, log)
	w.layout = newLayout(t, w.js, log)
	conn, stop := serveAt(t, "stock", log, nil, w.stock.register)
	t.Cleanup(stop)
	w.stockClient = stockv1.NewStockServiceClient(conn)
	return w
}

// serveAt serves in memory until stop is called.
func serveAt(t *testing.T, name string, log *slog.Logger, health func(context.Context) error, register func(grpc.ServiceRegistrar)) (conn *grpc.ClientConn, stop func()) {
	t.Helper()
	server, err := rpc.NewServer(rpc.ServerOptions{Name: name, Log: log, Health: health, StopTime: time.Second}, register)
	if err != nil {
		t.Fatal(err)
	}
	lis := bufconn.Listen(1 << 20)
	ctx, cancel := context.WithCancel(context.WithoutCancel(t.Context()))
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(ctx, lis) }()
	conn, err = rpc.Dial("passthrough:///"+name, grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return lis.DialContext(ctx)
	}))
	if err != nil {
		t.Fatal(err)
	}
	return conn, func() {
		conn.Close()
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// running is one life of dispatch.
type running struct {
	dispatchv1.DispatchServiceClient
	service *Service
	// kill ends everything of this life; it may be called more than once.
	kill func()
}

func (w *world) start(t *testing.T, change ...func(*Service)) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(context.WithoutCancel(t.Context()))
	service, err := New(ctx, Deps{
		JetStream: w.js, Stock: w.stockClient, Log: w.log,
		Clock: clock.StartingAt(time.Date(2031, 5, 5, 14, 0, 0, 0, time.UTC)),
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range change {
		c(service)
	}
	conn, stop := serveAt(t, "dispatch", w.log, service.Healthy, service.Register)
	ended := make(chan error, 1)
	go func() { ended <- service.Run(ctx) }()
	dead := false
	kill := func() {
		if dead {
			return
		}
		dead = true
		cancel()
		if err := <-ended; err != nil && !errors.Is(err, context.Canceled) {
			t.Errorf("dispatch ended with %v", err)
		}
		stop()
	}
	t.Cleanup(kill)
	return &running{DispatchServiceClient: dispatchv1.NewDispatchServiceClient(conn), service: service, kill: kill}
}

func as(t *testing.T, name string) context.Context { return rpc.AsActor(t.Context(), name) }

func (w *world) approve(t *testing.T, floor string, revision int32, rooms int) uint64 {
	t.Helper()
	plan := &layouteventv1.LayingPlan{
		JobId: "J-07", Floor: floor, Revision: revision,
		Profiles: []*commonv1.BeamProfile{{Name: "T150", HeightMm: 150, WidthMm: 120, MassGPerM: 20_000}},
		Blocks: []*commonv1.BlockKind{{
			Name: "B20", LengthMm: 200, PitchMm: 600, MassG: 15_000, BlocksPerPallet: 60,
			PalletLengthMm: 1200, PalletWidthMm: 800, PalletHeightMm: 1000, PalletTareG: 20_000,
		}},
	}
	for r := 1; r <= rooms; r++ {
		room := &layouteventv1.RoomPlan{Room: fmt.Sprintf("%02d", r), LayingOrder: int32(r), BlockKind: "B20", BlockCount: 20}
		for b := 1; b <= 4; b++ {
			room.Beams = append(room.Beams, &layouteventv1.BeamPlan{
				Mark: fmt.Sprintf("%s-%02d-%02d", floor, r, b), MassG: 84_000,
				Product: &commonv1.BeamProduct{Profile: "T150", WirePattern: "4x5", LengthMm: 4200},
			})
		}
		plan.Rooms = append(plan.Rooms, room)
	}
	events := []*layouteventv1.Event{{Kind: &layouteventv1.Event_LayingPlanApproved{LayingPlanApproved: &layouteventv1.LayingPlanApproved{Plan: plan, Engineer: "Ing. Example", Reason: "tested"}}}}
	if revision > 1 {
		events = append(events, &layouteventv1.Event{Kind: &layouteventv1.Event_LayingPlanSuperseded{LayingPlanSuperseded: &layouteventv1.LayingPlanSuperseded{
			JobId: "J-07", Floor: floor, Revision: revision - 1, ByRevision: revision,
		}}})
	}
	position, err := w.layout.publish(t.Context(), fmt.Sprintf("approve-%s-%d", floor, revision), events...)
	if err != nil {
		t.Fatal(err)
	}
	return position
}

// setUp opens the yard with two trucks and two sites.
func setUp(t *testing.T, d dispatchv1.DispatchServiceClient) {
	t.Helper()
	ctx := as(t, "Ada Example")
	hours := &commonv1.DayWindow{OpensMinute: 300, ClosesMinute: 1080}
	if _, err := d.SetYardRules(ctx, &dispatchv1.SetYardRulesRequest{Yard: yard, RequestId: "rules", Rules: &eventv1.YardRules{
		TimeZone: "Etc/UTC", Place: &commonv1.Place{LatitudeDeg: 50, LongitudeDeg: 10}, RoadFactorPercent: 130, SpeedKmPerH: 50,
		LoadingMinutes: 30, MaxTiers: 6, MaxPileHeightMm: 1500, BearerHeightMm: 80, BearerInsetMm: 300, MaxOverhangMm: 300,
		PileGapMm: 100, MaxLanes: 2, MaxTailOverhangMm: 500,
	}}); err != nil {
		t.Fatal(err)
	}
	truck := func(id string) *eventv1.Truck {
		return &eventv1.Truck{
			TruckId: id, Name: "Truck " + id, DeckLengthMm: 6800, DeckWidthMm: 2450, PayloadKg: 9000, TareFrontKg: 4200, TareRearKg: 2800,
			MaxFrontKg: 7100, MaxRearKg: 11500, WheelbaseMm: 5200, DeckStartMm: 600, OverallLengthMm: 8600, MaxGrossKg: 18000, Hours: hours, HasCrane: true,
		}
	}
	if _, err := d.SetTrucks(ctx, &dispatchv1.SetTrucksRequest{Yard: yard, RequestId: "trucks", Trucks: []*eventv1.Truck{truck("T1"), truck("T2")}}); err != nil {
		t.Fatal(err)
	}
	site := func(id string, north float64) *eventv1.Site {
		return &eventv1.Site{SiteId: id, Name: "Site " + id, Place: &commonv1.Place{LatitudeDeg: 50 + north, LongitudeDeg: 10}, Opens: hours, UnloadFixedMinutes: 10, UnloadMinutesPerPile: 5, Places: 1}
	}
	if _, err := d.SetSites(ctx, &dispatchv1.SetSitesRequest{Yard: yard, RequestId: "sites", Sites: []*eventv1.Site{site("north", 0.1), site("south", -0.1)}}); err != nil {
		t.Fatal(err)
	}
}

func callOff(t *testing.T, d dispatchv1.DispatchServiceClient, id, site, floor string, rooms ...string) {
	t.Helper()
	if _, err := d.CallOffRooms(as(t, "Ada Example"), &dispatchv1.CallOffRoomsRequest{Yard: yard, RequestId: "call-" + id, CallOffs: []*eventv1.CallOff{{
		CallOffId: id, SiteId: site, JobId: "J-07", Floor: floor, Rooms: rooms, Day: day, Window: &commonv1.DayWindow{OpensMinute: 420, ClosesMinute: 900},
	}}}); err != nil {
		t.Fatal(err)
	}
}

// ready has a yard with an approved floor of two rooms that both sites want.
func (w *world) ready(t *testing.T, d *running) {
	t.Helper()
	position := w.approve(t, "1", 1, 2)
	setUp(t, d)
	if _, err := d.ListFloors(t.Context(), &dispatchv1.ListFloorsRequest{Yard: yard, LayoutAtLeast: position}); err != nil {
		t.Fatal(err)
	}
	callOff(t, d, "C1", "north", "1", "01")
	callOff(t, d, "C2", "south", "1", "02")
}

func planMorning(t *testing.T, d dispatchv1.DispatchServiceClient, requestID string) *eventv1.MorningPlan {
	t.Helper()
	answer, err := d.PlanMorning(as(t, "Ada Example"), &dispatchv1.PlanMorningRequest{Yard: yard, RequestId: requestID, Day: day, BudgetMs: 20})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetMorning().GetPlan()
}

func confirm(ctx context.Context, d dispatchv1.DispatchServiceClient, requestID, planID, by string) (*dispatchv1.ConfirmMorningResponse, error) {
	return d.ConfirmMorning(rpc.AsActor(ctx, by), &dispatchv1.ConfirmMorningRequest{Yard: yard, RequestId: requestID, PlanId: planID, ConfirmedBy: by})
}

func listRuns(t *testing.T, d dispatchv1.DispatchServiceClient, stockAtLeast uint64) []*dispatchv1.RunStatus {
	t.Helper()
	answer, err := d.ListRuns(t.Context(), &dispatchv1.ListRunsRequest{Yard: yard, Day: day, StockAtLeast: stockAtLeast})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetRuns()
}

func wantReason(t *testing.T, err error, reason string) *fault.Error {
	t.Helper()
	if fault.ReasonOf(err) != reason {
		t.Fatalf("got %v, want refusal %s", err, reason)
	}
	var f *fault.Error
	errors.As(err, &f)
	return f
}

// eventually waits for something that happens in the background.
func eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	limit := time.After(20 * time.Second)
	for !is() {
		select {
		case <-limit:
			t.Fatalf("it never came about that %s", what)
		case <-tick.C:
		}
	}
}
