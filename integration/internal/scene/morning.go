package scene

import (
	"fmt"
	"time"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// CallOff sets trucks and sites and calls the floor off for the morning, two
// rooms to a call-off.
func (s *Scene) CallOff() {
	s.T.Helper()
	ctx := s.Context("Rosamund Tickpenny")
	allDay := &commonv1.DayWindow{OpensMinute: 6 * 60, ClosesMinute: 15 * 60}
	var trucks []*dispatcheventv1.Truck
	for n := 1; n <= 3; n++ {
		trucks = append(trucks, &dispatcheventv1.Truck{
			TruckId: fmt.Sprintf("T%d", n), Name: fmt.Sprintf("Truck %d", n), DeckLengthMm: 8000, DeckWidthMm: 2450, PayloadKg: 15000,
			TareFrontKg: 4600, TareRearKg: 4900, MaxFrontKg: 7500, MaxRearKg: 19000, WheelbaseMm: 5500, DeckStartMm: 1000,
			OverallLengthMm: 10400, MaxGrossKg: 26000, Hours: allDay,
		})
	}
	_, err := s.Dispatch.SetTrucks(ctx, &dispatchv1.SetTrucksRequest{Yard: s.Yard, RequestId: s.Request(), Trucks: trucks})
	s.Must(err, "set the trucks")
	_, err = s.Dispatch.SetSites(ctx, &dispatchv1.SetSitesRequest{
		Yard: s.Yard, RequestId: s.Request(),
		Sites: []*dispatcheventv1.Site{{
			SiteId: "PH", Name: "Puddlewick House", Place: &commonv1.Place{LatitudeDeg: -41.27, LongitudeDeg: -119.58},
			Opens: allDay, UnloadFixedMinutes: 10, UnloadMinutesPerPile: 3, HasLifting: true, Contact: "Foreman Bram Oddsock", Places: 1,
		}},
	})
	s.Must(err, "set the sites")
	// The approval has to reach dispatch before rooms of the floor are called
	// off.
	floors, err := s.Dispatch.ListFloors(ctx, &dispatchv1.ListFloorsRequest{Yard: s.Yard, LayoutAtLeast: s.LayoutAt})
	s.Must(err, "list the floors that dispatch knows")
	if len(floors.GetFloors()) != 1 {
		s.T.Fatalf("dispatch knows %d floors; one was approved", len(floors.GetFloors()))
	}
	var callOffs []*dispatcheventv1.CallOff
	for n, rooms := range [][]string{{"01", "02"}, {"03", "04"}} {
		callOffs = append(callOffs, &dispatcheventv1.CallOff{
			CallOffId: fmt.Sprintf("C%d", n+1), SiteId: "PH", JobId: "J1", Floor: "1", Rooms: rooms, Day: Day,
			Window: &commonv1.DayWindow{OpensMinute: 7 * 60, ClosesMinute: 14 * 60},
		})
	}
	called, err := s.Dispatch.CallOffRooms(ctx, &dispatchv1.CallOffRoomsRequest{Yard: s.Yard, RequestId: s.Request(), CallOffs: callOffs})
	s.Must(err, "call off the rooms")
	s.DispatchAt = called.GetPosition()
}

// Prepare plays everything up to the planning of the morning.
func (s *Scene) Prepare() {
	s.T.Helper()
	s.DrawFloor()
	s.SetRules()
	s.CountStock()
	s.CallOff()
}

// Plan plans the morning and expects everything that is called off on it.
func (s *Scene) Plan() *dispatcheventv1.MorningPlan {
	s.T.Helper()
	planned, err := s.Dispatch.PlanMorning(s.Context("Rosamund Tickpenny"), &dispatchv1.PlanMorningRequest{
		Yard: s.Yard, RequestId: s.Request(), Day: Day, StockAtLeast: s.StockAt,
	})
	s.Must(err, "plan the morning")
	plan := planned.GetMorning().GetPlan()
	for _, u := range plan.GetUnserved() {
		s.T.Errorf("not served: %s", u.GetSentence())
	}
	if len(plan.GetRuns()) == 0 {
		s.T.Fatal("the plan has no runs")
	}
	s.DispatchAt = planned.GetPosition()
	return plan
}

// Confirm confirms a plan; the caller judges the error.
func (s *Scene) Confirm(plan string) (*dispatchv1.ConfirmMorningResponse, error) {
	return s.ConfirmAs(plan, s.Request())
}

// ConfirmAs confirms a plan under a request id that may be used again.
func (s *Scene) ConfirmAs(plan, request string) (*dispatchv1.ConfirmMorningResponse, error) {
	confirmed, err := s.Dispatch.ConfirmMorning(s.Context("Rosamund Tickpenny"), &dispatchv1.ConfirmMorningRequest{
		Yard: s.Yard, RequestId: request, PlanId: plan, ConfirmedBy: "Rosamund Tickpenny",
	})
	if err == nil {
		s.DispatchAt, s.StockAt = confirmed.GetPosition(), confirmed.GetStockPosition()
	}
	return confirmed, err
}

// PickAndLoad takes a run's pieces off their stacks and puts them on the
// truck, in loading order.
func (s *Scene) PickAndLoad(run, truck string, picks []*dispatcheventv1.Pick) {
	s.T.Helper()
	ids := make([]string, 0, len(picks))
	for _, p := range picks {
		ids = append(ids, p.GetPieceId())
	}
	ctx := s.Context("Pim Quillbottle")
	_, err := s.Stock.PickPieces(ctx, &stockv1.PickPiecesRequest{Yard: s.Yard, RequestId: s.Request(), RunId: run, PieceIds: ids})
	s.Must(err, "pick run %s", run)
	loaded, err := s.Stock.LoadPieces(ctx, &stockv1.LoadPiecesRequest{Yard: s.Yard, RequestId: s.Request(), RunId: run, TruckId: truck, PieceIds: ids})
	s.Must(err, "load run %s", run)
	s.StockAt = loaded.GetPosition()
}

// Drive lets a loaded run leave and delivers each of its drops.
func (s *Scene) Drive(run *dispatcheventv1.Run) {
	s.T.Helper()
	ctx := s.Context("Rosamund Tickpenny")
	// What was loaded has to reach dispatch first.
	_, err := s.Dispatch.ListRuns(ctx, &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: Day, StockAtLeast: s.StockAt})
	s.Must(err, "list the runs")
	_, err = s.Dispatch.DepartRun(ctx, &dispatchv1.DepartRunRequest{Yard: s.Yard, RequestId: s.Request(), RunId: run.GetRunId(), DepartedBy: "Odo Bristlecomb"})
	s.Must(err, "run %s leaves", run.GetRunId())
	for _, drop := range run.GetDrops() {
		delivered, err := s.Dispatch.DeliverDrop(ctx, &dispatchv1.DeliverDropRequest{
			Yard: s.Yard, RequestId: s.Request(), RunId: run.GetRunId(), DropNumber: drop.GetNumber(), ReceivedBy: "Foreman Bram Oddsock",
		})
		s.Must(err, "deliver drop %d of run %s", drop.GetNumber(), run.GetRunId())
		s.DispatchAt = delivered.GetPosition()
	}
}

// Carried counts the beams and the blocks on a plan's trucks.
func Carried(plan *dispatcheventv1.MorningPlan) (beams, blocks int32) {
	for _, run := range plan.GetRuns() {
		for _, pile := range run.GetPiles() {
			for _, tier := range pile.GetTiers() {
				for _, item := range tier.GetItems() {
					if item.GetBeam() != nil {
						beams++
					}
					blocks += item.GetBlockCount()
				}
			}
		}
	}
	return beams, blocks
}

// Soon is how long the services get for what they do in the background.
const Soon = 30 * time.Second
