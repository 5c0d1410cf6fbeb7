package integration

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"

	"spanyard.example/integration/internal/house"
	"spanyard.example/integration/internal/recount"
	"spanyard.example/integration/internal/scene"
)

// Redis may be lost at any moment: emptied in the middle of the day, and put
// anew in its place.
func TestRedisLost(t *testing.T) {
	s := newScene(t, "redis-lost")
	s.Prepare()
	plan := s.Plan()
	redis := theHouse.Redis()
	defer redis.Close()

	s.Must(redis.FlushAll(t.Context()).Err(), "empty Redis before the morning is confirmed")
	_, err := s.Confirm(plan.GetPlanId())
	s.Must(err, "confirm the morning with Redis just emptied")
	checkBooks(t, s)

	run := plan.GetRuns()[0]
	s.PickAndLoad(run.GetRunId(), run.GetTruckId(), run.GetPicks())
	s.Must(redis.FlushAll(t.Context()).Err(), "empty Redis after a run is loaded")
	checkBooks(t, s)

	s.Must(theHouse.Container("redis").Replace(t.Context()), "put another Redis in its place")
	s.Drive(run)
	soon(t, "the deliveries to be counted in stock", func(ctx context.Context) error {
		count, err := recount.Read(ctx, jetStream(t), s.Yard)
		if err != nil {
			return err
		}
		if got := count.OfRun(run.GetRunId(), stockeventv1.PieceState_PIECE_STATE_DELIVERED); got != len(run.GetPicks()) {
			return fmt.Errorf("%d pieces of run %s are delivered, %d were picked", got, run.GetRunId(), len(run.GetPicks()))
		}
		return nil
	})
	checkBooks(t, s)
}

// Many ask for the same few beams at once while stock is killed again and
// again. Whoever was told that he has them has them, and nobody else.
func TestStockKilledWhileReserving(t *testing.T) {
	s := newScene(t, "stock-killed")
	random := chance(t)
	s.SetRules()
	beams := s.ReceiveBeams("B", 40, 20)
	s.Test("B", 46.1, 45.8, 46.6)
	s.Must(s.Release("B"), "release the batch")

	const callers, wants = 24, 3
	asked := make([][]string, callers)
	answers := make([]error, callers)
	for i := range asked {
		first := random.IntN(len(beams) - wants)
		asked[i] = beams[first : first+wants]
	}
	ctx, cancel := context.WithTimeout(s.Context("Rosamund Tickpenny"), time.Minute)
	defer cancel()
	var all sync.WaitGroup
	for i := range asked {
		all.Go(func() {
			answers[i] = persist(ctx, func(ctx context.Context) error { return reserve(ctx, s, i, asked[i]) })
		})
	}
	for range 3 {
		after(t, time.Duration(random.IntN(300))*time.Millisecond)
		killAndStart(t, "stock")
	}
	all.Wait()
	awaitService(t, "stock")

	count := checkBooks(t, s)
	promised := 0
	for i, err := range answers {
		if passes(orNil(err)) {
			t.Errorf("caller %d was never answered: %v", i, err)
		}
		for _, id := range asked[i] {
			if has := count.Pieces[id].Reservation == reservation(i); has != (err == nil) {
				t.Errorf("caller %d was told %v; beam %s belongs to %q", i, err, id, count.Pieces[id].Reservation)
			}
		}
		if err == nil {
			promised += wants
		}
	}
	if got := count.ByState("B")[stockeventv1.PieceState_PIECE_STATE_RESERVED]; promised == 0 || int(got) != promised {
		t.Errorf("%d beams are reserved in the ledger, %d were promised", got, promised)
	}
}

func reservation(caller int) string { return fmt.Sprintf("R%d", caller) }

func reserve(ctx context.Context, s *scene.Scene, caller int, pieces []string) error {
	request := &stockv1.ReservePiecesRequest{Yard: s.Yard, RequestId: fmt.Sprintf("reserve-%d", caller), ReservationId: reservation(caller)}
	for _, id := range pieces {
		request.Lines = append(request.Lines, &stockv1.ReserveLine{
			What: &stockv1.ReserveLine_PieceId{PieceId: id},
			Allocation: &stockeventv1.Allocation{
				ReservationId: reservation(caller), RunId: fmt.Sprintf("run-%d", caller), SiteId: "PH", JobId: "J1", CallOffId: "C1", Mark: "1-01-01",
			},
		})
	}
	_, err := s.Stock.ReservePieces(ctx, request)
	return err
}

// orNil makes errors.Is usable on an error that may be nil.
func orNil(err error) error {
	if err == nil {
		return errors.New("no error")
	}
	return err
}

// A service is killed while a morning is being confirmed. Asking again under
// the same request id gives the one answer, and the morning is confirmed once.
func TestKilledWhileConfirming(t *testing.T) {
	for _, victim := range []string{"dispatch", "stock"} {
		t.Run(victim, func(t *testing.T) {
			s := newScene(t, "confirm-"+victim)
			random := chance(t)
			s.Prepare()
			plan := s.Plan()
			request := s.Request()
			ctx, cancel := context.WithTimeout(s.Context("Rosamund Tickpenny"), time.Minute)
			defer cancel()
			answered := make(chan error, 1)
			go func() {
				answered <- persist(ctx, func(ctx context.Context) error { return confirm(ctx, s.Clients, s.Yard, plan, request) })
			}()
			after(t, time.Duration(random.IntN(60))*time.Millisecond)
			killAndStart(t, victim)
			s.Must(<-answered, "confirm the morning while %s is killed", victim)
			awaitService(t, victim)
			s.Must(confirm(ctx, s.Clients, s.Yard, plan, request), "confirm the morning again under the same request id")
			allReserved(t, checkBooks(t, s), plan)
			if state := stateOf(t, s, plan); state != dispatchv1.MorningState_MORNING_STATE_CONFIRMED {
				t.Errorf("the morning is %s", state)
			}
		})
	}
}

func confirm(ctx context.Context, c *house.Clients, yard string, plan *dispatcheventv1.MorningPlan, request string) error {
	_, err := c.Dispatch.ConfirmMorning(ctx, &dispatchv1.ConfirmMorningRequest{
		Yard: yard, RequestId: request, PlanId: plan.GetPlanId(), ConfirmedBy: "Rosamund Tickpenny",
	})
	return err
}

func stateOf(t *testing.T, s *scene.Scene, plan *dispatcheventv1.MorningPlan) dispatchv1.MorningState {
	t.Helper()
	got, err := s.Dispatch.GetMorning(t.Context(), &dispatchv1.GetMorningRequest{Yard: s.Yard, PlanId: plan.GetPlanId()})
	s.Must(err, "get plan %s", plan.GetPlanId())
	return got.GetMorning().GetState()
}

// allReserved: every piece of the plan is promised to its run, and no piece
// besides.
func allReserved(t *testing.T, count *recount.Count, plan *dispatcheventv1.MorningPlan) {
	t.Helper()
	planned := 0
	for _, run := range plan.GetRuns() {
		planned += len(run.GetPicks())
		if got := count.OfRun(run.GetRunId(), stockeventv1.PieceState_PIECE_STATE_RESERVED); got != len(run.GetPicks()) {
			t.Errorf("run %s: %d pieces are reserved, %d are planned", run.GetRunId(), got, len(run.GetPicks()))
		}
	}
	reserved := 0
	for _, p := range count.Pieces {
		if p.State == stockeventv1.PieceState_PIECE_STATE_RESERVED {
			reserved++
		}
	}
	if reserved != planned {
		t.Errorf("%d pieces are reserved, %d are planned", reserved, planned)
	}
}

// Two dispatchers, each at a service of his own, plan the same morning and
// confirm at the same moment. One wins, the other is told why not.
func TestTwoDispatchers(t *testing.T) {
	s := newScene(t, "two-dispatchers")
	s.Must(theHouse.Another(t.Context(), "dispatch", "dispatch-2"), "start a second dispatch")
	conn, err := theHouse.Dial("dispatch-2")
	s.Must(err, "connect to the second dispatch")
	defer conn.Close()
	s.Prepare()
	second := &house.Clients{Dispatch: dispatchv1.NewDispatchServiceClient(conn)}

	plans := []*dispatcheventv1.MorningPlan{s.Plan(), s.Plan()}
	errs := make([]error, 2)
	ctx, cancel := context.WithTimeout(s.Context("Rosamund Tickpenny"), time.Minute)
	defer cancel()
	var both sync.WaitGroup
	for i, clients := range []*house.Clients{s.Clients, second} {
		both.Go(func() {
			errs[i] = persist(ctx, func(ctx context.Context) error {
				return confirm(ctx, clients, s.Yard, plans[i], fmt.Sprintf("confirm-%d", i))
			})
		})
	}
	both.Wait()
	winner := slices.Index(errs, nil)
	if winner < 0 || errs[1-winner] == nil || passes(errs[1-winner]) {
		t.Fatalf("exactly one of two confirmations wins; got %v and %v", errs[0], errs[1])
	}
	t.Logf("the other was told: %v", errs[1-winner])
	allReserved(t, checkBooks(t, s), plans[winner])
	if state := stateOf(t, s, plans[winner]); state != dispatchv1.MorningState_MORNING_STATE_CONFIRMED {
		t.Errorf("the winner's morning is %s", state)
	}
	if state := stateOf(t, s, plans[1-winner]); state == dispatchv1.MorningState_MORNING_STATE_CONFIRMED {
		t.Error("the other's morning is confirmed too")
	}
	listed, err := s.Dispatch.ListRuns(t.Context(), &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: scene.Day, AtLeast: s.DispatchAt})
	s.Must(err, "list the runs")
	if got, want := len(listed.GetRuns()), len(plans[winner].GetRuns()); got != want {
		t.Errorf("%d runs are confirmed, the winning plan has %d", got, want)
	}
}

// leaderOf returns the node that leads a stream.
func leaderOf(t *testing.T, stream string) string {
	t.Helper()
	found, err := jetStream(t).Stream(t.Context(), stream)
	if err != nil {
		t.Fatal(err)
	}
	return found.CachedInfo().Cluster.Leader
}

// The NATS node that leads the ledger of stock dies: work goes on, and what
// was acknowledged stays.
func TestNATSNodeKilled(t *testing.T) {
	s := newScene(t, "nats-killed")
	s.SetRules()
	ctx, cancel := context.WithTimeout(s.Context("Pim Quillbottle"), 90*time.Second)
	defer cancel()
	received := map[string]bool{}
	receive := func(batch string) {
		t.Helper()
		began := time.Now()
		err := persist(ctx, func(ctx context.Context) error {
			_, err := s.Stock.ReceiveBatch(ctx, scene.BatchRequest(s.Yard, "receive-"+batch, batch, 3, 20))
			return err
		})
		s.Must(err, "receive batch %s", batch)
		received[batch] = true
		if took := time.Since(began); took > time.Second {
			t.Logf("batch %s took %v", batch, took.Round(time.Millisecond))
		}
	}
	receive("before")
	node := leaderOf(t, "spanyard-stock")
	s.Must(theHouse.Container(node).Kill(t.Context()), "kill %s", node)
	for n := range 5 {
		receive(fmt.Sprintf("without-%d", n))
	}
	s.Must(theHouse.Container(node).Start(t.Context()), "start %s again", node)
	s.Must(theHouse.AwaitNATS(t.Context(), node), "wait for %s", node)
	receive("after")
	count := checkBooks(t, s)
	for batch := range received {
		if count.Batches[batch] == nil {
			t.Errorf("batch %s was acknowledged and is lost", batch)
		}
	}
	for _, name := range house.Services {
		awaitService(t, name)
	}
}

// A NATS node that is cut off from the other two and comes back learns what it
// missed and changes nothing.
func TestNATSNodeCutOff(t *testing.T) {
	s := newScene(t, "nats-cut-off")
	s.Prepare()
	plan := s.Plan()
	node := theHouse.Container(leaderOf(t, "spanyard-stock"))
	s.Must(node.Cut(t.Context()), "cut off %s", node.Name)
	t.Cleanup(func() { backInService(t, node) })
	request := s.Request()
	ctx, cancel := context.WithTimeout(s.Context("Rosamund Tickpenny"), time.Minute)
	defer cancel()
	s.Must(persist(ctx, func(ctx context.Context) error { return confirm(ctx, s.Clients, s.Yard, plan, request) }),
		"confirm the morning with a node cut off")
	s.Must(node.Heal(t.Context()), "connect %s again", node.Name)
	s.Must(theHouse.AwaitNATS(t.Context(), node.Name), "wait for %s", node.Name)
	allReserved(t, checkBooks(t, s), plan)
}

// backInService connects a node again, whatever became of the test, and waits
// for the services.
func backInService(t *testing.T, node *house.Container) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	if t.Failed() {
		if err := node.Heal(ctx); err != nil {
			t.Logf("it may be connected already: %v", err)
		}
	}
	for _, name := range house.Services {
		if err := theHouse.AwaitService(ctx, name); err != nil {
			t.Error(err)
		}
	}
}
