package integration

import (
	"testing"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"

	"spanyard.example/integration/internal/scene"
)

// A result that comes late and is bad: the batch stops by itself, all of it is
// found, on a truck, at two sites and in its stacks, and the morning is planned
// again without it.
func TestLateResultStopsABatchEverywhere(t *testing.T) {
	s := newScene(t, "late-result")
	s.Prepare()
	plan := s.Plan()
	_, err := s.Confirm(plan.GetPlanId())
	s.Must(err, "confirm the morning")
	out := sendOut(t, s, plan)

	late, err := s.Stock.RecordTest(s.Context("Nettie Underbloom"), &stockv1.RecordTestRequest{
		Yard: s.Yard, RequestId: s.Request(), BatchId: "B1", TestId: "B1-late", Laboratory: "Tumblewick Testing Room",
		TestedOn: scene.DaysBefore(2), Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CYLINDER, StrengthsMpa: []float64{33.1, 34.0, 32.8},
	})
	s.Must(err, "record the late result")
	if late.GetVerdict().GetConforms() || len(late.GetQuarantine().GetHits()) != out.all() {
		t.Fatalf("verdict %v; the quarantine hits %d pieces, %d are out", late.GetVerdict(), len(late.GetQuarantine().GetHits()), out.all())
	}
	s.StockAt = late.GetPosition()
	recalled(t, s, out)
	planAgain(t, s, plan, out)
	checkBooks(t, s)
}

// out counts the beams of the batch by where they were sent.
type out struct {
	atSite  map[string]int
	onTruck int
	// waiting is the run that is loaded and has not left.
	waiting *dispatcheventv1.Run
}

func (o out) all() int {
	n := o.onTruck
	for _, at := range o.atSite {
		n += at
	}
	return n
}

// sendOut has the morning's truck loaded and half of its beams set down at its
// site by hand, and twelve more beams brought to a second site.
func sendOut(t *testing.T, s *scene.Scene, plan *dispatcheventv1.MorningPlan) out {
	t.Helper()
	o := out{atSite: map[string]int{}}
	for i, run := range plan.GetRuns() {
		s.PickAndLoad(run.GetRunId(), run.GetTruckId(), run.GetPicks())
		beams := beamsOf(run)
		if i < len(plan.GetRuns())-1 {
			s.Drive(run)
			o.atSite["PH"] += len(beams)
			continue
		}
		o.waiting = run
		half := beams[:len(beams)/2]
		deliver(s, run.GetRunId(), "PH", half)
		o.atSite["PH"] += len(half)
		o.onTruck += len(beams) - len(half)
	}
	bringByHand(s, &o, 12)
	if o.waiting == nil || o.onTruck == 0 || o.all() != 40 {
		t.Fatalf("sent out: %+v", o)
	}
	return o
}

func deliver(s *scene.Scene, run, site string, pieces []string) {
	s.T.Helper()
	done, err := s.Stock.DeliverPieces(s.Context("Pim Quillbottle"), &stockv1.DeliverPiecesRequest{
		Yard: s.Yard, RequestId: s.Request(), RunId: run, SiteId: site, PieceIds: pieces, ReceivedBy: "Steward Ottilie Crumbgate",
	})
	s.Must(err, "set pieces of run %s down at %s", run, site)
	s.StockAt = done.GetPosition()
}

// bringByHand brings free beams of the batch to the second site on a run that
// dispatch knows nothing of.
func bringByHand(s *scene.Scene, o *out, count int) {
	s.T.Helper()
	free, err := s.Stock.ListFreePieces(s.T.Context(), &stockv1.ListFreePiecesRequest{Yard: s.Yard, BeamsOnly: true, AtLeast: s.StockAt})
	s.Must(err, "list the free beams")
	req := &stockv1.ReservePiecesRequest{Yard: s.Yard, RequestId: s.Request(), ReservationId: "by-hand"}
	var ids []string
	for _, beam := range free.GetBeams()[:count] {
		ids = append(ids, beam.GetPieceId())
		req.Lines = append(req.Lines, &stockv1.ReserveLine{
			What:       &stockv1.ReserveLine_PieceId{PieceId: beam.GetPieceId()},
			Allocation: &stockeventv1.Allocation{RunId: "by-hand", SiteId: "GH", JobId: "J9", Mark: "G-01-" + beam.GetPieceId()},
		})
	}
	ctx := s.Context("Pim Quillbottle")
	_, err = s.Stock.ReservePieces(ctx, req)
	s.Must(err, "reserve beams by hand")
	_, err = s.Stock.PickPieces(ctx, &stockv1.PickPiecesRequest{Yard: s.Yard, RequestId: s.Request(), RunId: "by-hand", PieceIds: ids})
	s.Must(err, "pick them")
	_, err = s.Stock.LoadPieces(ctx, &stockv1.LoadPiecesRequest{Yard: s.Yard, RequestId: s.Request(), RunId: "by-hand", TruckId: "T9", PieceIds: ids})
	s.Must(err, "load them")
	deliver(s, "by-hand", "GH", ids)
	o.atSite["GH"] += count
}

func beamsOf(run *dispatcheventv1.Run) []string {
	var ids []string
	for _, pick := range run.GetPicks() {
		if pick.GetBeam() != nil {
			ids = append(ids, pick.GetPieceId())
		}
	}
	return ids
}

// recalled asks where the batch is and expects every piece, and whom to call.
func recalled(t *testing.T, s *scene.Scene, o out) {
	t.Helper()
	sites, err := s.Dispatch.ListSites(t.Context(), &dispatchv1.ListSitesRequest{Yard: s.Yard})
	s.Must(err, "list the sites")
	req := &stockv1.RecallBatchRequest{Yard: s.Yard, BatchId: "B1", Files: []stockv1.RecallFileKind{
		stockv1.RecallFileKind_RECALL_FILE_KIND_PDF, stockv1.RecallFileKind_RECALL_FILE_KIND_XLSX,
	}}
	req.Contacts = append(req.Contacts, &stockv1.SiteContact{SiteId: "GH", Name: "Gorseknot Hall", Contact: "Steward Ottilie Crumbgate"})
	for _, site := range sites.GetSites() {
		req.Contacts = append(req.Contacts, &stockv1.SiteContact{SiteId: site.GetSiteId(), Name: site.GetName(), Contact: site.GetContact()})
	}
	answer, err := s.Stock.RecallBatch(s.Context("Nettie Underbloom"), req)
	s.Must(err, "recall the batch")
	found, onTruck, stacked := map[string]int{}, 0, 0
	for _, p := range answer.GetPlaces() {
		switch p.GetKind() {
		case stockv1.RecallPlaceKind_RECALL_PLACE_KIND_SITE:
			found[p.GetSiteId()] += int(p.GetUnitCount())
			if p.GetCall() == "" {
				t.Errorf("nobody is named to call at %s", p.GetSiteId())
			}
		case stockv1.RecallPlaceKind_RECALL_PLACE_KIND_TRUCK:
			onTruck += int(p.GetUnitCount())
		case stockv1.RecallPlaceKind_RECALL_PLACE_KIND_STACK:
			stacked += int(p.GetUnitCount())
		}
	}
	if found["PH"] != o.atSite["PH"] || found["GH"] != o.atSite["GH"] || onTruck != o.onTruck || stacked != 60-o.all() {
		t.Errorf("found at sites %v, on the truck %d, in stacks %d; sent out: %+v of 60", found, onTruck, stacked, o)
	}
	if len(answer.GetFiles()) != 2 {
		t.Errorf("%d papers of the recall", len(answer.GetFiles()))
	}
}

// planAgain takes the truck's load back, brings a sound batch in, and plans the
// day from here: nothing of the stopped batch is on the new plan.
func planAgain(t *testing.T, s *scene.Scene, before *dispatcheventv1.MorningPlan, o out) {
	t.Helper()
	ctx := s.Context("Rosamund Tickpenny")
	listed, err := s.Dispatch.ListRuns(ctx, &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: scene.Day, StockAtLeast: s.StockAt})
	s.Must(err, "list the runs")
	for _, run := range listed.GetRuns() {
		if len(run.GetHits()) == 0 {
			t.Errorf("run %s is not hit", run.GetRun().GetRunId())
		}
	}
	_, err = s.Dispatch.DepartRun(ctx, &dispatchv1.DepartRunRequest{Yard: s.Yard, RequestId: s.Request(), RunId: o.waiting.GetRunId(), DepartedBy: "Odo Bristlecomb"})
	if err == nil {
		t.Error("the truck leaves with stopped beams")
	}
	_, err = s.Dispatch.CancelRun(ctx, &dispatchv1.CancelRunRequest{Yard: s.Yard, RequestId: s.Request(), RunId: o.waiting.GetRunId(), Reason: "its beams are stopped"})
	s.Must(err, "cancel the run")
	// What is on the truck, and what was set down beside it, comes back.
	back, err := s.Stock.ReturnPieces(s.Context("Pim Quillbottle"), &stockv1.ReturnPiecesRequest{
		Yard: s.Yard, RequestId: s.Request(), StackId: "A-1", Reason: "stopped", PieceIds: beamsOf(o.waiting),
	})
	s.Must(err, "take the beams back")
	s.StockAt = back.GetPosition()
	s.ReceiveBeams("B2", 60, 20)
	s.Test("B2", 46.1, 45.8, 46.6)
	s.Must(s.Release("B2"), "release a sound batch")
	// The pallets are still on the truck: they come back as loose blocks.
	returnPallets(s, o.waiting)
	again, err := s.Dispatch.PlanMorning(ctx, &dispatchv1.PlanMorningRequest{Yard: s.Yard, RequestId: s.Request(), Day: scene.Day, StockAtLeast: s.StockAt})
	s.Must(err, "plan the morning again")
	fresh := again.GetMorning().GetPlan()
	beams := 0
	for _, run := range fresh.GetRuns() {
		for _, pick := range run.GetPicks() {
			if pick.GetBatchId() == "B1" {
				t.Errorf("piece %s of the stopped batch is on the new plan", pick.GetPieceId())
			}
			if pick.GetBeam() != nil {
				beams++
			}
		}
		for _, drop := range run.GetDrops() {
			if drop.GetSiteId() != "PH" {
				t.Errorf("run %s goes to %s", run.GetRunId(), drop.GetSiteId())
			}
		}
	}
	if want := len(beamsOf(o.waiting)); beams != want {
		t.Errorf("the new plan brings %d beams, the stopped run had %d", beams, want)
	}
	_, err = s.Confirm(fresh.GetPlanId())
	s.Must(err, "confirm the plan %s instead of %s", fresh.GetPlanId(), before.GetPlanId())
}

func returnPallets(s *scene.Scene, run *dispatcheventv1.Run) {
	s.T.Helper()
	var pallets []string
	for _, pick := range run.GetPicks() {
		if pick.GetBeam() == nil {
			pallets = append(pallets, pick.GetPieceId())
		}
	}
	if len(pallets) == 0 {
		return
	}
	back, err := s.Stock.ReturnPieces(s.Context("Pim Quillbottle"), &stockv1.ReturnPiecesRequest{
		Yard: s.Yard, RequestId: s.Request(), StackId: "K-1", Reason: "the run is cancelled", PieceIds: pallets,
	})
	s.Must(err, "take the pallets back")
	s.StockAt = back.GetPosition()
}
