// Package scene plays what happens in a yard over the services' own RPCs: a
// small invented yard, made for tests of faults, whose numbers can be checked
// by hand.
//
// One floor has four rooms of 3400 mm clear span and 100 mm bearing, so every
// beam is 3600 mm long (3400 + 2 x 100) and has 115.2 kg (3.6 m x 32 kg/m).
package scene

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/rpc"

	"spanyard.example/integration/internal/house"
)

// ClockStartsAt is when the services' clocks start in the tests: the afternoon
// before the morning that is planned, on which the demo's clock starts too.
const ClockStartsAt = "2027-03-16T15:30:00Z"

// Day whose morning is planned.
const Day = "2027-03-17"

// Scene is one yard. Its requests fail the test when they are refused.
type Scene struct {
	*house.Clients
	T    testing.TB
	Yard string

	requests atomic.Int64
	// Positions of the three ledgers that later steps must see.
	LayoutAt, StockAt, DispatchAt uint64
}

// New returns a scene in a yard that nobody has used.
func New(t testing.TB, clients *house.Clients, yard string) *Scene {
	return &Scene{Clients: clients, T: t, Yard: yard}
}

// Context for one request, in the name of a person.
func (s *Scene) Context(person string) context.Context {
	return rpc.AsActor(s.T.Context(), person)
}

// Request returns a new request id.
func (s *Scene) Request() string {
	return fmt.Sprintf("%s-%d", s.Yard, s.requests.Add(1))
}

// Must fails the test on an error.
func (s *Scene) Must(err error, what string, args ...any) {
	s.T.Helper()
	if err != nil {
		s.T.Fatalf("%s: %v", fmt.Sprintf(what, args...), err)
	}
}

// DaysBefore returns the day that is n days before the services' clocks start.
func DaysBefore(n int) string {
	start, err := time.Parse(time.RFC3339, ClockStartsAt)
	if err != nil {
		return err.Error()
	}
	return start.AddDate(0, 0, -n).Format(time.DateOnly)
}

// DrawFloor sets the catalogue, imports the floor and approves its plan.
func (s *Scene) DrawFloor() {
	s.T.Helper()
	ctx := s.Context("Drawing Office")
	_, err := s.Layout.SetCatalogue(ctx, catalogue(s.Yard, s.Request()))
	s.Must(err, "set the catalogue")
	rows := []string{"job,job_name,floor,room,room_name,laying_order,clear_span_mm,width_mm,span_direction,bearing_mm," +
		"category,imposed_load_kn_m2,finishes_load_kn_m2,profile,wire_pattern,block_kind,beams_per_row"}
	for room := 1; room <= 4; room++ {
		rows = append(rows, fmt.Sprintf("J1,Puddlewick House,1,%02d,Room %d,%d,3400,4800,x,100,A,1.5,1.2,T150,p4,K520,1", room, room, room))
	}
	imported, err := s.Layout.ImportRoomSchedule(ctx, &layoutv1.ImportRoomScheduleRequest{
		Yard: s.Yard, RequestId: s.Request(), FileName: "rooms.csv",
		Format: layoutv1.FileFormat_FILE_FORMAT_CSV, Content: []byte(strings.Join(rows, "\n") + "\n"),
	})
	s.Must(err, "import the room schedule")
	for _, plan := range imported.GetPlans() {
		approved, err := s.Layout.ApproveLayingPlan(ctx, &layoutv1.ApproveLayingPlanRequest{
			Yard: s.Yard, RequestId: s.Request(), JobId: plan.GetJobId(), Floor: plan.GetFloor(), Revision: plan.GetRevision(),
			Engineer: "Isolde Thornwhistle", Reason: "sheets looked through",
		})
		s.Must(err, "approve floor %s", plan.GetFloor())
		s.LayoutAt = approved.GetPosition()
	}
}

// SetRules opens the yard in stock and in dispatch.
func (s *Scene) SetRules() {
	s.T.Helper()
	ctx := s.Context("Yard Manager")
	stock, err := s.Stock.SetYardRules(ctx, &stockv1.SetYardRulesRequest{
		Yard: s.Yard, RequestId: s.Request(), TimeZone: "Etc/UTC", BeamMinAgeDays: 14, BlockMinAgeDays: 28, BeamsPerStackTier: 6,
	})
	s.Must(err, "set the rules of stock")
	s.StockAt = stock.GetPosition()
	dispatch, err := s.Dispatch.SetYardRules(ctx, &dispatchv1.SetYardRulesRequest{
		Yard: s.Yard, RequestId: s.Request(),
		Rules: &dispatcheventv1.YardRules{
			TimeZone: "Etc/UTC", Place: &commonv1.Place{LatitudeDeg: -41.3, LongitudeDeg: -119.6},
			RoadFactorPercent: 130, SpeedKmPerH: 40, LoadingMinutes: 30,
			MaxTiers: 6, MaxPileHeightMm: 1800, BearerHeightMm: 75, BearerInsetMm: 300, MaxOverhangMm: 300,
			PileGapMm: 100, MaxLanes: 2, MaxTailOverhangMm: 300,
		},
	})
	s.Must(err, "set the rules of dispatch")
	s.DispatchAt = dispatch.GetPosition()
}

// CountStock imports an opening count with enough for one floor and a half:
// 60 beams in three stacks and 800 blocks, old enough and released.
func (s *Scene) CountStock() {
	s.T.Helper()
	const head = "batch,kind,made_on,profile,wire_pattern,length_mm,block_kind,count,mass_kg_each,stack,fck_cylinder_mpa,fck_cube_mpa," +
		"declared_block_mpa,laboratory,test_id,tested_on,specimen,strengths_mpa,released_by\n"
	made, tested := DaysBefore(40), DaysBefore(20)
	var rows strings.Builder
	rows.WriteString(head)
	for stack := 1; stack <= 3; stack++ {
		fmt.Fprintf(&rows, "B1,beams,%s,T150,p4,3600,,20,115.2,A-%d,40,50,,Tumblewick Testing Room,B1-T,%s,cylinder,46.2; 46.9; 45.8,Pim Quillbottle\n", made, stack, tested)
	}
	fmt.Fprintf(&rows, "K1,blocks,%s,,,,K520,800,13.5,K-1,,,3.6,Tumblewick Testing Room,K1-T,%s,block,4.2; 4.4; 4.1; 4.3; 4.5; 4.2,Pim Quillbottle\n", made, tested)
	counted, err := s.Stock.ImportStockCount(s.Context("Pim Quillbottle"), &stockv1.ImportStockCountRequest{
		Yard: s.Yard, RequestId: s.Request(), FileName: "count.csv",
		Format: stockv1.FileFormat_FILE_FORMAT_CSV, Content: []byte(rows.String()),
	})
	s.Must(err, "import the stock count")
	if counted.GetBeamCount() != 60 || counted.GetBlockCount() != 800 || counted.GetBatchCount() != 2 {
		s.T.Fatalf("the stock count took %d beams, %d blocks, %d batches; the file has 60, 800, 2",
			counted.GetBeamCount(), counted.GetBlockCount(), counted.GetBatchCount())
	}
	s.StockAt = counted.GetPosition()
}

// ReceiveBeams takes a batch of beams of 3600 mm into the yard, cast so many
// days ago, and returns their ids.
func (s *Scene) ReceiveBeams(batch string, count int32, daysAgo int) []string {
	s.T.Helper()
	received, err := s.Stock.ReceiveBatch(s.Context("Pim Quillbottle"), BatchRequest(s.Yard, s.Request(), batch, count, daysAgo))
	s.Must(err, "receive batch %s", batch)
	s.StockAt = received.GetPosition()
	return received.GetPieceIds()
}

// BatchRequest asks to receive a batch of beams of 3600 mm.
func BatchRequest(yard, request, batch string, count int32, daysAgo int) *stockv1.ReceiveBatchRequest {
	return &stockv1.ReceiveBatchRequest{
		Yard: yard, RequestId: request, BatchId: batch, MadeOn: DaysBefore(daysAgo),
		Concrete: &stockeventv1.Concrete{FckCylinderMpa: 40, FckCubeMpa: 50},
		Pieces: &stockv1.ReceiveBatchRequest_Beams{Beams: &stockv1.BeamLines{
			Profile: "T150", WirePattern: "p4",
			Lines: []*stockv1.BeamLine{{LengthMm: 3600, Count: count, MassGEach: 115200, StackId: batch + "-stack"}},
		}},
		Source: "cast " + batch,
	}
}

// Test records cylinder strengths of a batch; EN 206 Annex B asks three
// results of class C40/50 for a mean of 44 MPa and none below 36 MPa.
func (s *Scene) Test(batch string, strengths ...float64) *stockv1.RecordTestResponse {
	s.T.Helper()
	tested, err := s.Stock.RecordTest(s.Context("Nettie Underbloom"), &stockv1.RecordTestRequest{
		Yard: s.Yard, RequestId: s.Request(), BatchId: batch, TestId: batch + "-T", Laboratory: "Tumblewick Testing Room",
		TestedOn: DaysBefore(0), Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CYLINDER, StrengthsMpa: strengths,
	})
	s.Must(err, "record the test of batch %s", batch)
	s.StockAt = tested.GetPosition()
	return tested
}

// Release lets a batch leave; the caller judges the error.
func (s *Scene) Release(batch string) error {
	released, err := s.Stock.ReleaseBatch(s.Context("Nettie Underbloom"), &stockv1.ReleaseBatchRequest{
		Yard: s.Yard, RequestId: s.Request(), BatchId: batch, ReleasedBy: "Nettie Underbloom",
	})
	if err == nil {
		s.StockAt = released.GetPosition()
	}
	return err
}
