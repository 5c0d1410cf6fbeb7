package dispatch

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	"spanyard.example/services/dispatch/internal/check"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/kit/fault"
)

func piecesOf(runs []*eventv1.Run) []string {
	var ids []string
	for _, r := range runs {
		for _, p := range r.GetPiles() {
			for _, tier := range p.GetTiers() {
				for _, i := range tier.GetItems() {
					ids = append(ids, i.GetPieceId())
				}
			}
		}
	}
	return ids
}

// TestFromCallOffToDelivered is the main story.
func TestFromCallOffToDelivered(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	ctx := as(t, "Ada Example")
	callOff(t, d, "C3", "north", "9")

	request := &dispatchv1.PlanMorningRequest{Yard: yard, RequestId: "plan-1", Day: day, BudgetMs: 20}
	planned, err := d.PlanMorning(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	plan := planned.GetMorning().GetPlan()
	pieces := piecesOf(plan.GetRuns())
	if len(pieces) != 10 || plan.GetPlanId() != day+"-P1" || plan.GetPlannedBy() != "Ada Example" {
		t.Fatalf("plan %s by %s with %d pieces: %v", plan.GetPlanId(), plan.GetPlannedBy(), len(pieces), plan.GetUnserved())
	}
	if u := plan.GetUnserved(); len(u) != 1 || u[0].GetCallOffId() != "C3" || u[0].GetReason() != eventv1.UnservedReason_UNSERVED_REASON_NO_PLAN {
		t.Errorf("unserved %v", u)
	}
	again, err := d.PlanMorning(ctx, request)
	if diff := cmp.Diff(planned, again, protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("the same request has another answer: %v\n%s", err, diff)
	}

	confirmOnce(t, w, d, plan)
	for _, run := range plan.GetRuns() {
		drive(t, w, d, run)
	}
	for _, r := range listRuns(t, d, 0) {
		if r.GetState() != dispatchv1.RunState_RUN_STATE_DELIVERED || len(r.GetDeliveredDrops()) != len(r.GetRun().GetDrops()) {
			t.Errorf("run %s is %v", r.GetRun().GetRunId(), r.GetState())
		}
	}
	watchAll(t, d, plan)
}

// confirmOnce confirms the plan of the story and looks at it from all sides.
func confirmOnce(t *testing.T, w *world, d *running, plan *eventv1.MorningPlan) {
	t.Helper()
	ctx := as(t, "Ada Example")
	confirmed, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example")
	if err != nil {
		t.Fatal(err)
	}
	if confirmed.GetPieceCount() != 10 || confirmed.GetStockPosition() == 0 || w.stock.held() != 10 {
		t.Errorf("confirmed %v, stock holds %d", confirmed, w.stock.held())
	}
	sameAgain, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example")
	if diff := cmp.Diff(confirmed, sameAgain, protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("the same request has another answer: %v\n%s", err, diff)
	}
	_, err = confirm(t.Context(), d, "confirm-2", plan.GetPlanId(), "Bo Example")
	if f := wantReason(t, err, "ALREADY_CONFIRMED"); !strings.Contains(f.Sentence, "Ada Example") {
		t.Errorf("does not say who: %s", f.Sentence)
	}
	got, err := d.GetMorning(ctx, &dispatchv1.GetMorningRequest{Yard: yard, PlanId: plan.GetPlanId(), AtLeast: confirmed.GetPosition()})
	if err != nil || got.GetMorning().GetState() != dispatchv1.MorningState_MORNING_STATE_CONFIRMED || got.GetMorning().GetConfirmedBy() != "Ada Example" {
		t.Errorf("morning %v, %v", got.GetMorning().GetState(), err)
	}
	list, err := d.ListMornings(ctx, &dispatchv1.ListMorningsRequest{Yard: yard, Day: day})
	if err != nil || len(list.GetMornings()) != 1 || list.GetMornings()[0].GetUnservedCount() != 1 {
		t.Errorf("mornings %v, %v", list, err)
	}
	calls, err := d.ListCallOffs(ctx, &dispatchv1.ListCallOffsRequest{Yard: yard, Day: day})
	if err != nil || !slices.Equal(calls.GetConfirmedIds(), []string{"C1", "C2"}) || len(calls.GetCallOffs()) != 3 {
		t.Errorf("call-offs %v, %v", calls, err)
	}
	_, err = d.CancelCallOff(ctx, &dispatchv1.CancelCallOffRequest{Yard: yard, RequestId: "cancel-C1", CallOffId: "C1", Reason: "late"})
	wantReason(t, err, "CALL_OFF_ON_RUN")
}

// drive lets a run leave and delivers its drops.
func drive(t *testing.T, w *world, d *running, run *eventv1.Run) {
	t.Helper()
	ctx := as(t, "Cy Example")
	depart := &dispatchv1.DepartRunRequest{Yard: yard, RequestId: "depart-" + run.GetRunId(), RunId: run.GetRunId(), DepartedBy: "Cy Example"}
	last := piecesOf([]*eventv1.Run{run})[0]
	w.stock.load(run.GetRunId(), last)
	_, err := d.DepartRun(ctx, depart)
	if f := wantReason(t, err, "NOT_LOADED"); len(f.Places) != 1 || f.Places[0].Where != "piece "+last {
		t.Errorf("got places %v", f.Places)
	}
	w.stock.load(run.GetRunId())
	first, err := d.DepartRun(ctx, depart)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := d.DepartRun(ctx, depart); err != nil || again.GetPosition() != first.GetPosition() {
		t.Errorf("departed again: %v, %v", again, err)
	}
	for _, drop := range run.GetDrops() {
		layFirst(ctx, t, d, run.GetRunId(), drop.GetNumber())
		answer, err := d.DeliverDrop(ctx, &dispatchv1.DeliverDropRequest{
			Yard: yard, RequestId: fmt.Sprintf("drop-%s-%d", run.GetRunId(), drop.GetNumber()), RunId: run.GetRunId(), DropNumber: drop.GetNumber(), ReceivedBy: "Di Example",
		})
		if err != nil || answer.GetPieceCount() == 0 {
			t.Fatalf("drop %d: %v, %v", drop.GetNumber(), answer, err)
		}
	}
}

// layFirst ticks off the first beam of a drop as its site does, off the truck.
func layFirst(ctx context.Context, t *testing.T, d dispatchv1.DispatchServiceClient, runID string, number int32) {
	t.Helper()
	ask := &dispatchv1.GetDropRequest{Yard: yard, RunId: runID, DropNumber: number}
	drop, err := d.GetDrop(ctx, ask)
	if err != nil || !drop.GetDeparted() || drop.GetDelivered() || drop.GetSiteName() == "" || len(drop.GetRooms()) == 0 {
		t.Fatalf("drop %d as its site sees it: %v, %v", number, drop, err)
	}
	for _, room := range drop.GetRooms() {
		for _, p := range room.GetPieces() {
			if p.GetBeam() == nil {
				continue
			}
			laid, err := d.RecordLaying(ctx, &dispatchv1.RecordLayingRequest{
				Yard: yard, RequestId: fmt.Sprintf("lay-%s-%d", runID, number), RunId: runID, DropNumber: number, LaidPieceIds: []string{p.GetPieceId()},
			})
			if err != nil || laid.GetLaidCount() != 1 {
				t.Fatalf("lay %s: %v, %v", p.GetPieceId(), laid, err)
			}
			return
		}
	}
}

// watchAll follows the feed from the beginning, breaks off after each event
// and resumes: nothing is missed and nothing comes twice.
func watchAll(t *testing.T, d *running, plan *eventv1.MorningPlan) {
	t.Helper()
	want := 0
	for _, r := range plan.GetRuns() {
		want += 2 + len(r.GetDrops()) // picks, departure, drops
	}
	read := func(after uint64, day string, n int) []*dispatchv1.WatchPicksResponse {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		stream, err := d.WatchPicks(ctx, &dispatchv1.WatchPicksRequest{Yard: yard, AfterPosition: after, Day: day})
		if err != nil {
			t.Fatal(err)
		}
		var out []*dispatchv1.WatchPicksResponse
		for range n {
			r, err := stream.Recv()
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, r)
		}
		return out
	}
	all := read(0, day, want)
	if all[0].GetPicksIssued().GetRunId() != plan.GetRuns()[0].GetRunId() || len(all[0].GetPicksIssued().GetPicks()) == 0 {
		t.Errorf("the feed begins with %v", all[0])
	}
	var after uint64
	for i := range want {
		one := read(after, "", 1)[0]
		if diff := cmp.Diff(all[i], one, protocmp.Transform()); diff != "" {
			t.Fatalf("event %d after resuming differs:\n%s", i, diff)
		}
		after = one.GetPosition()
	}
}

func TestTwoDispatchersConfirmAtOnce(t *testing.T) {
	w := newWorld(t)
	one, two := w.start(t), w.start(t)
	w.ready(t, one)
	plans := []string{planMorning(t, one, "plan-1").GetPlanId(), planMorning(t, one, "plan-2").GetPlanId()}
	services := []*running{one, two}
	var wg sync.WaitGroup
	errs := make([]error, 8)
	for i := range errs {
		wg.Go(func() {
			by := fmt.Sprintf("Dispatcher %d", i)
			_, errs[i] = confirm(t.Context(), services[i%2], fmt.Sprintf("confirm-%d", i), plans[i/2%2], by)
		})
	}
	wg.Wait()
	won := 0
	for i, err := range errs {
		switch fault.KindOf(err) {
		case fault.Stale, fault.Conflict:
		default:
			if err != nil {
				t.Errorf("dispatcher %d: %v", i, err)
			}
		}
		if err == nil {
			won++
		}
	}
	if won != 1 {
		t.Errorf("%d dispatchers confirmed the morning: %v", won, errs)
	}
	if promised, dropped := w.stock.counts(); promised != 1 || dropped != 0 || w.stock.held() != 10 {
		t.Errorf("%d reservations, %d pieces given back, %d held", promised, dropped, w.stock.held())
	}
	marks := map[string]bool{}
	for _, r := range listRuns(t, two, 0) {
		for _, p := range r.GetRun().GetPicks() {
			if p.GetMark() != "" && marks[p.GetMark()] {
				t.Errorf("mark %s is on two runs", p.GetMark())
			}
			marks[p.GetMark()] = true
		}
	}
}

// TestDeathBetweenTheSteps kills dispatch right after stock has promised the
// pieces and before dispatch could note it.
func TestDeathBetweenTheSteps(t *testing.T) {
	for _, when := range []string{"before the promise", "after the promise"} {
		t.Run(when, func(t *testing.T) {
			w := newWorld(t)
			d := w.start(t)
			w.ready(t, d)
			plan := planMorning(t, d, "plan-1")
			arrived, release := make(chan struct{}), make(chan struct{})
			hooks := map[bool]map[string]func() error{true: w.stock.before, false: w.stock.after}[when == "before the promise"]
			once := sync.OnceFunc(func() { close(arrived) })
			w.stock.hook(hooks, "ReservePieces", func() error {
				once()
				<-release
				return fault.New(fault.Conflict, "LOST", "The line is cut.")
			})
			answered := make(chan error, 1)
			go func() {
				_, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example")
				answered <- err
			}()
			<-arrived
			w.stock.hook(hooks, "ReservePieces", nil)
			go close(release)
			d.kill()
			if err := <-answered; err == nil {
				t.Fatal("the confirmation got an answer from the dead")
			}
			d = w.start(t)
			eventually(t, "the plan is confirmed", func() bool {
				got, err := d.GetMorning(t.Context(), &dispatchv1.GetMorningRequest{Yard: yard, PlanId: plan.GetPlanId()})
				return err == nil && got.GetMorning().GetState() == dispatchv1.MorningState_MORNING_STATE_CONFIRMED
			})
			if promised, _ := w.stock.counts(); promised != 1 {
				t.Errorf("%d reservations", promised)
			}
			if runs := listRuns(t, d, 0); len(runs) != len(plan.GetRuns()) {
				t.Errorf("%d runs of %d", len(runs), len(plan.GetRuns()))
			}
			answer, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example")
			if err != nil || answer.GetStockPosition() == 0 {
				t.Errorf("the same request after all: %v, %v", answer, err)
			}
		})
	}
}

func TestPiecesThatAreGoneAreNamed(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	var beam *eventv1.Pick
	for _, p := range plan.GetRuns()[0].GetPicks() {
		if p.GetMark() != "" {
			beam = p
		}
	}
	w.stock.mu.Lock()
	w.stock.pieces[beam.GetPieceId()].State = stockeventv1.PieceState_PIECE_STATE_SCRAPPED
	w.stock.mu.Unlock()
	for range 2 { // the same request gives the same answer
		_, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example")
		f := wantReason(t, err, "PIECES_GONE")
		want := fault.Place{Where: "run " + plan.GetRuns()[0].GetRunId() + ", piece " + beam.GetPieceId(), Value: beam.GetMark(), Problem: "is promised to somebody else"}
		if f.Kind != fault.Stale || len(f.Places) != 1 || f.Places[0] != want {
			t.Errorf("got %v %v", f.Kind, f.Places)
		}
	}
	got, err := d.GetMorning(t.Context(), &dispatchv1.GetMorningRequest{Yard: yard, PlanId: plan.GetPlanId()})
	if err != nil || got.GetMorning().GetState() != dispatchv1.MorningState_MORNING_STATE_FAILED || got.GetMorning().GetMissing()[0].GetMark() != beam.GetMark() {
		t.Errorf("morning %v, %v", got.GetMorning(), err)
	}
	if w.stock.held() != 0 || len(listRuns(t, d, 0)) != 0 {
		t.Errorf("%d pieces held, runs %v", w.stock.held(), listRuns(t, d, 0))
	}
	next := planMorning(t, d, "plan-2")
	if _, err := confirm(t.Context(), d, "confirm-2", next.GetPlanId(), "Ada Example"); err != nil {
		t.Errorf("the next plan: %v", err)
	}
}

func TestQuarantineShowsOnTheRun(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	if _, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example"); err != nil {
		t.Fatal(err)
	}
	batch := ""
	for _, p := range plan.GetRuns()[0].GetPicks() {
		if p.GetMark() != "" {
			batch = p.GetBatchId()
		}
	}
	position := w.stock.quarantine(t, batch)
	var hit []*dispatchv1.RunStatus
	for _, r := range listRuns(t, d, position) {
		if r.GetState() == dispatchv1.RunState_RUN_STATE_HIT {
			hit = append(hit, r)
			for _, h := range r.GetHits() {
				if h.GetBatchId() != batch || h.GetMark() == "" || h.GetWhere() != "reserved" || !strings.Contains(h.GetReason(), "cylinders too weak") {
					t.Errorf("hit says %v", h)
				}
			}
		}
	}
	if len(hit) == 0 {
		t.Fatal("no run is shown as hit")
	}
	run := hit[0].GetRun().GetRunId()
	scrapped := piecesOf([]*eventv1.Run{hit[0].GetRun()})[0]
	position, err := w.stock.events.publish(t.Context(), "scrap", &stockeventv1.Event{Kind: &stockeventv1.Event_PieceScrapped{
		PieceScrapped: &stockeventv1.PieceScrapped{PieceId: scrapped, Reason: "dropped from the fork"},
	}})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range listRuns(t, d, position) {
		if hits := r.GetHits(); r.GetRun().GetRunId() == run && hits[len(hits)-1].GetPieceId() != scrapped {
			t.Errorf("the scrapped piece %s is not among %v", scrapped, hits)
		}
	}
	ctx := as(t, "Ada Example")
	w.stock.load(run)
	_, err = d.DepartRun(ctx, &dispatchv1.DepartRunRequest{Yard: yard, RequestId: "depart", RunId: run, DepartedBy: "Cy Example"})
	wantReason(t, err, "RUN_HIT")
}

func TestCancelledRunIsFreed(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	if _, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example"); err != nil {
		t.Fatal(err)
	}
	run := plan.GetRuns()[0]
	mine := len(piecesOf([]*eventv1.Run{run}))
	// Somebody set a piece of it down past dispatch: its place must not be
	// planned again.
	gone := piecesOf([]*eventv1.Run{run})[0]
	w.stock.put(gone, stockeventv1.PieceState_PIECE_STATE_DELIVERED)
	_, err := d.CancelRun(as(t, "Ada Example"), &dispatchv1.CancelRunRequest{Yard: yard, RequestId: "cancel-gone", RunId: run.GetRunId(), Reason: "truck broken"})
	wantReason(t, err, "RUN_DELIVERED")
	w.stock.put(gone, stockeventv1.PieceState_PIECE_STATE_RESERVED)
	// Stock is away, and dispatch dies before it comes back.
	w.stock.hook(w.stock.before, "DropReservation", func() error { return fault.New(fault.Conflict, "AWAY", "Stock is away.") })
	ctx := as(t, "Ada Example")
	if _, err := d.CancelRun(ctx, &dispatchv1.CancelRunRequest{Yard: yard, RequestId: "cancel", RunId: run.GetRunId(), Reason: "truck broken"}); err != nil {
		t.Fatal(err)
	}
	if w.stock.held() != 10 {
		t.Fatalf("%d pieces are held", w.stock.held())
	}
	d.kill()
	w.stock.hook(w.stock.before, "DropReservation", nil)
	d = w.start(t)
	eventually(t, "the run's pieces are free", func() bool { return w.stock.held() == 10-mine })
	second := planMorning(t, d, "plan-2")
	if got := len(piecesOf(second.GetRuns())); got != mine {
		t.Errorf("planned again: %d pieces, want %d", got, mine)
	}
	if _, err := confirm(t.Context(), d, "confirm-2", second.GetPlanId(), "Ada Example"); err != nil {
		t.Error(err)
	}
	states := map[dispatchv1.RunState]int{}
	for _, r := range listRuns(t, d, 0) {
		states[r.GetState()]++
	}
	if states[dispatchv1.RunState_RUN_STATE_CANCELLED] != 1 {
		t.Errorf("runs %v", states)
	}
}

// TestLatePromiseOfAFailedPlanIsGivenBack: another replica failed the plan,
// and this one died holding stock's promise. The next start gives it back.
func TestLatePromiseOfAFailedPlanIsGivenBack(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	w.stock.hook(w.stock.before, "ReservePieces", func() error { return fault.New(fault.Stale, "PIECES_GONE", "Gone for a moment.") })
	_, err := confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example")
	wantReason(t, err, "PIECES_GONE")
	w.stock.hook(w.stock.before, "ReservePieces", nil)
	state, _, err := d.service.office.State(t.Context(), yard, 0)
	if err != nil {
		t.Fatal(err)
	}
	status, _ := state.Plan(plan.GetPlanId())
	if _, err := d.service.office.Stores.Reserve(t.Context(), yard, status); err != nil {
		t.Fatal(err)
	}
	d.kill()
	w.start(t)
	eventually(t, "nothing is held", func() bool { return w.stock.held() == 0 })
}

func TestPlanThatBreaksARuleIsNotPublished(t *testing.T) {
	w := newWorld(t)
	overload := func(s *Service) {
		planner := s.office.Planner
		s.office.Planner = func(p morning.Problem, stop func() bool) morning.Plan {
			plan := planner(p, stop)
			plan.Runs[0].Piles = append(plan.Runs[0].Piles, plan.Runs[0].Piles[0])
			return plan
		}
	}
	d := w.start(t, overload)
	w.ready(t, d)
	_, err := d.PlanMorning(as(t, "Ada Example"), &dispatchv1.PlanMorningRequest{Yard: yard, RequestId: "plan-1", Day: day, BudgetMs: 20})
	if fault.KindOf(err) != fault.Internal {
		t.Fatalf("got %v", err)
	}
	list, err := d.ListMornings(t.Context(), &dispatchv1.ListMorningsRequest{Yard: yard, Day: day})
	if err != nil || len(list.GetMornings()) != 0 {
		t.Errorf("published %v, %v", list, err)
	}
	d.service.office.Checker = func(morning.Problem, morning.Plan) []check.Violation { return nil }
	planMorning(t, d, "plan-1")
}

// TestPlanningAgainWhenTheBookChanges: a call-off arrives while the planner
// works; the plan that is recorded has it.
func TestPlanningAgainWhenTheBookChanges(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	position := w.approve(t, "1", 1, 2)
	setUp(t, d)
	if _, err := d.ListFloors(t.Context(), &dispatchv1.ListFloorsRequest{Yard: yard, LayoutAtLeast: position}); err != nil {
		t.Fatal(err)
	}
	callOff(t, d, "C1", "north", "1", "01")
	once := sync.OnceFunc(func() { callOff(t, d, "C2", "south", "1", "02") })
	w.stock.hook(w.stock.before, "ListFreePieces", func() error { once(); return nil })
	if got := len(piecesOf(planMorning(t, d, "plan-1").GetRuns())); got != 10 {
		t.Errorf("the plan has %d pieces, want those of both call-offs", got)
	}
}

func TestNewerPlanReplacesTheFloor(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	plan := planMorning(t, d, "plan-1")
	position := w.approve(t, "1", 2, 1)
	floors, err := d.ListFloors(t.Context(), &dispatchv1.ListFloorsRequest{Yard: yard, LayoutAtLeast: position})
	if err != nil || len(floors.GetFloors()) != 1 {
		t.Fatalf("floors %v, %v", floors, err)
	}
	if f := floors.GetFloors()[0]; f.GetRevision() != 2 || f.GetBeamCount() != 4 || f.GetBlockCount() != 20 || f.GetMassG() != 636_000 { // 4 x 84 kg + 20 x 15 kg
		t.Errorf("floor %v", f)
	}
	_, err = confirm(t.Context(), d, "confirm-1", plan.GetPlanId(), "Ada Example")
	if f := wantReason(t, err, "PLAN_OVERTAKEN"); len(f.Places) != 5 {
		t.Errorf("got places %v", f.Places)
	}
}

func TestReadsRefuseWhatTheyDoNotKnow(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	_, err := d.ListTrucks(t.Context(), &dispatchv1.ListTrucksRequest{Yard: "nowhere"})
	wantReason(t, err, "YARD_UNKNOWN")
	_, err = d.SetYardRules(as(t, "Ada Example"), &dispatchv1.SetYardRulesRequest{Yard: yard, RequestId: "r", Rules: &eventv1.YardRules{TimeZone: "Nowhere/Land"}})
	wantReason(t, err, "BAD_RULES")
	setUp(t, d)
	_, err = d.GetMorning(t.Context(), &dispatchv1.GetMorningRequest{Yard: yard, PlanId: "x"})
	wantReason(t, err, "PLAN_UNKNOWN")
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	_, err = d.ListRuns(ctx, &dispatchv1.ListRunsRequest{Yard: yard, Day: day, StockAtLeast: 1 << 40})
	wantReason(t, err, "POSITION_NOT_REACHED")
	_, err = d.PlanMorning(as(t, "Ada Example"), &dispatchv1.PlanMorningRequest{Yard: yard, RequestId: "p", Day: "2031-02-30"})
	wantReason(t, err, "BAD_DAY")
	_, err = d.CancelRun(as(t, "Ada Example"), &dispatchv1.CancelRunRequest{Yard: yard, RequestId: "c", RunId: "x", Reason: "y"})
	wantReason(t, err, "RUN_UNKNOWN")
}

// TestOneTimeZone: dispatch and stock count a yard's days by one time zone.
func TestOneTimeZone(t *testing.T) {
	w := newWorld(t)
	d := w.start(t)
	w.ready(t, d)
	set := func(zone string) {
		w.stock.mu.Lock()
		defer w.stock.mu.Unlock()
		w.stock.zone = zone
	}
	set("Etc/UTC")
	planMorning(t, d, "plan-1")
	set("Etc/GMT+5")
	ctx := as(t, "Ada Example")
	_, err := d.PlanMorning(ctx, &dispatchv1.PlanMorningRequest{Yard: yard, RequestId: "plan-2", Day: day, BudgetMs: 20})
	if f := wantReason(t, err, "ZONES_DIFFER"); !strings.Contains(f.Sentence, "Etc/UTC") || !strings.Contains(f.Sentence, "Etc/GMT+5") {
		t.Errorf("does not name both zones: %s", f.Sentence)
	}
	rules, err := d.GetYardRules(ctx, &dispatchv1.GetYardRulesRequest{Yard: yard})
	if err != nil {
		t.Fatal(err)
	}
	change := &dispatchv1.SetYardRulesRequest{Yard: yard, RequestId: "zone", Rules: rules.GetRules()}
	change.Rules.TimeZone = "Etc/GMT+3"
	_, err = d.SetYardRules(ctx, change)
	wantReason(t, err, "ZONES_DIFFER")
	change.Rules.TimeZone = "Etc/GMT+5"
	if _, err := d.SetYardRules(ctx, change); err != nil {
		t.Fatal(err)
	}
	planMorning(t, d, "plan-2")
}
