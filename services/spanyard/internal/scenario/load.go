package scenario

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"google.golang.org/grpc"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/spanyard/internal/yardfile"
)

// Loader brings a scenario into a running program.
type Loader struct {
	s        *Scenario
	layout   layoutv1.LayoutServiceClient
	stock    stockv1.StockServiceClient
	dispatch dispatchv1.DispatchServiceClient
	// say is told what is being done.
	say func(string)

	// Where the ledgers stood after the last change, so that the plan waits
	// for all that was loaded.
	layoutPosition, stockPosition uint64
	revisions                     map[Floor]int32
}

// NewLoader returns a loader that asks the program at the other end of conn.
func NewLoader(s *Scenario, conn grpc.ClientConnInterface, say func(string)) *Loader {
	return &Loader{
		s: s, layout: layoutv1.NewLayoutServiceClient(conn), stock: stockv1.NewStockServiceClient(conn),
		dispatch: dispatchv1.NewDispatchServiceClient(conn), say: say, revisions: map[Floor]int32{},
	}
}

// request names one change of this scenario, always the same. A request id has
// at most 64 characters, so the parts go in as a hash.
func (l *Loader) request(parts ...string) string {
	sum := sha256.Sum256([]byte(l.s.id + "\n" + strings.Join(parts, "\n")))
	return "demo-" + hex.EncodeToString(sum[:16])
}

// Load makes all changes of the scenario that have not been made before.
func (l *Loader) Load(ctx context.Context) error {
	for _, step := range []struct {
		say string
		do  func(context.Context) error
	}{
		{"rules and catalogue", l.setUp},
		{"laying plans", l.drawingOffice},
		{"stock", l.yard},
		{"test results and releases", l.laboratory},
		{"trucks, sites and call-offs", l.dispatcher},
		{"what the services tell each other", l.settle},
	} {
		l.say("Loading " + step.say)
		if err := step.do(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (l *Loader) setUp(ctx context.Context) error {
	m := l.s.Main
	l.s.stockRules.Yard, l.s.stockRules.RequestId = m.Yard, l.request("stock-rules")
	set, err := l.stock.SetYardRules(rpc.AsActor(ctx, m.People.Yard), l.s.stockRules)
	if err != nil {
		return err
	}
	l.stockPosition = max(l.stockPosition, set.GetPosition())
	_, err = l.dispatch.SetYardRules(rpc.AsActor(ctx, m.People.Dispatcher), &dispatchv1.SetYardRulesRequest{
		Yard: m.Yard, RequestId: l.request("rules"), Rules: l.s.rules,
	})
	if err != nil {
		return err
	}
	l.s.catalogue.Yard, l.s.catalogue.RequestId = m.Yard, l.request("catalogue")
	_, err = l.layout.SetCatalogue(rpc.AsActor(ctx, m.People.DrawingOffice), l.s.catalogue)
	return err
}

func (l *Loader) drawingOffice(ctx context.Context) error {
	m := l.s.Main
	ctx = rpc.AsActor(ctx, m.People.DrawingOffice)
	for i, t := range l.s.rooms {
		format, err := yardfile.TableFormat(t.name)
		if err != nil {
			return err
		}
		answer, err := l.layout.ImportRoomSchedule(ctx, &layoutv1.ImportRoomScheduleRequest{
			Yard: m.Yard, RequestId: l.request("rooms", fmt.Sprint(i)), FileName: t.name, Format: layoutv1.FileFormat(format), Content: t.content,
		})
		if err != nil {
			return err
		}
		for _, p := range answer.GetPlans() {
			l.revisions[Floor{p.GetJobId(), p.GetFloor()}] = p.GetRevision()
		}
	}
	for _, a := range m.Approvals {
		for _, f := range a.Floors {
			if err := l.approve(ctx, a, f); err != nil {
				return err
			}
		}
	}
	return nil
}

func (l *Loader) approve(ctx context.Context, a Approval, f Floor) error {
	revision, ok := l.revisions[f]
	if !ok {
		return fault.New(fault.Invalid, "BAD_FILE", "%s is not right.", MainFile).
			At("approvals", f.Job+", floor "+f.Floor, "is in none of the scenario's room schedules", "")
	}
	answer, err := l.layout.ApproveLayingPlan(ctx, &layoutv1.ApproveLayingPlanRequest{
		Yard: l.s.Main.Yard, RequestId: l.request("approve", f.Job, f.Floor), JobId: f.Job, Floor: f.Floor,
		Revision: revision, Engineer: a.Engineer, Reason: a.Reason,
	})
	if err != nil {
		return err
	}
	l.layoutPosition = max(l.layoutPosition, answer.GetPosition())
	return nil
}

func (l *Loader) yard(ctx context.Context) error {
	format, err := yardfile.TableFormat(l.s.stockCount.name)
	if err != nil {
		return err
	}
	answer, err := l.stock.ImportStockCount(rpc.AsActor(ctx, l.s.Main.People.Yard), &stockv1.ImportStockCountRequest{
		Yard: l.s.Main.Yard, RequestId: l.request("count"), FileName: l.s.stockCount.name,
		Format: stockv1.FileFormat(format), Content: l.s.stockCount.content,
	})
	if err != nil {
		return err
	}
	l.stockPosition = max(l.stockPosition, answer.GetPosition())
	return nil
}

func (l *Loader) laboratory(ctx context.Context) error {
	m := l.s.Main
	ctx = rpc.AsActor(ctx, m.People.LaboratoryContact)
	for _, t := range m.Tests {
		kind := stockeventv1.SpecimenKind_value["SPECIMEN_KIND_"+strings.ToUpper(t.Specimen)]
		if kind == 0 {
			return fault.New(fault.Invalid, "BAD_FILE", "%s is not right.", MainFile).
				At("tests, "+t.Test, t.Specimen, "is no specimen", "cylinder, cube, block")
		}
		answer, err := l.stock.RecordTest(ctx, &stockv1.RecordTestRequest{
			Yard: m.Yard, RequestId: l.request("test", t.Test), BatchId: t.Batch, TestId: t.Test, Laboratory: t.Laboratory,
			TestedOn: t.TestedOn, Specimen: stockeventv1.SpecimenKind(kind), StrengthsMpa: t.StrengthsMpa,
		})
		if err != nil {
			return err
		}
		l.stockPosition = max(l.stockPosition, answer.GetPosition())
	}
	for _, r := range m.Releases {
		answer, err := l.stock.ReleaseBatch(ctx, &stockv1.ReleaseBatchRequest{
			Yard: m.Yard, RequestId: l.request("release", r.Batch), BatchId: r.Batch, ReleasedBy: r.ReleasedBy,
		})
		if err != nil {
			return err
		}
		l.stockPosition = max(l.stockPosition, answer.GetPosition())
	}
	return nil
}

func (l *Loader) dispatcher(ctx context.Context) error {
	m := l.s.Main
	ctx = rpc.AsActor(ctx, m.People.Dispatcher)
	l.s.trucks.Yard, l.s.trucks.RequestId = m.Yard, l.request("trucks")
	if _, err := l.dispatch.SetTrucks(ctx, l.s.trucks); err != nil {
		return err
	}
	l.s.sites.Yard, l.s.sites.RequestId = m.Yard, l.request("sites")
	if _, err := l.dispatch.SetSites(ctx, l.s.sites); err != nil {
		return err
	}
	l.s.callOffs.Yard, l.s.callOffs.RequestId = m.Yard, l.request("call-offs")
	_, err := l.dispatch.CallOffRooms(ctx, l.s.callOffs)
	return err
}

// settle waits until dispatch knows every approved floor and the view of the
// stock shows every change. The plan request itself names no positions: it has
// to be the same request on every start.
func (l *Loader) settle(ctx context.Context) error {
	_, err := l.dispatch.ListFloors(ctx, &dispatchv1.ListFloorsRequest{Yard: l.s.Main.Yard, LayoutAtLeast: l.layoutPosition})
	if err != nil {
		return err
	}
	_, err = l.stock.SummariseStock(ctx, &stockv1.SummariseStockRequest{Yard: l.s.Main.Yard, Day: l.s.Main.Day, AtLeast: l.stockPosition})
	return err
}

// Plan plans the scenario's morning, or returns the plan made before, with
// what has become of it since.
func (l *Loader) Plan(ctx context.Context) (*dispatchv1.Morning, error) {
	m := l.s.Main
	l.say("Planning the morning of " + m.Day)
	planning, cancel := context.WithTimeout(ctx, planBudgetMS*time.Millisecond+planMargin)
	defer cancel()
	answer, err := l.dispatch.PlanMorning(rpc.AsActor(planning, m.People.Dispatcher), &dispatchv1.PlanMorningRequest{
		Yard: m.Yard, RequestId: l.request("plan"), Day: m.Day, BudgetMs: planBudgetMS,
	})
	if err != nil {
		return nil, err
	}
	now, err := l.dispatch.GetMorning(ctx, &dispatchv1.GetMorningRequest{
		Yard: m.Yard, PlanId: answer.GetMorning().GetPlan().GetPlanId(), AtLeast: answer.GetPosition(),
	})
	if err != nil {
		return nil, err
	}
	return now.GetMorning(), nil
}

// planBudgetMS is far more than planning a scenario takes, so that a slow
// machine comes to the same plan as a fast one.
const planBudgetMS = 30_000

// planMargin is for what planning does beside improving the plan.
const planMargin = time.Minute
