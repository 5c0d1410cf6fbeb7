package show_test

import (
	"bytes"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/spanyard/internal/show"
)

var update = flag.Bool("update", false, "write what is printed now as what is expected")

// fixture reads an answer of a service from testdata.
func fixture[M proto.Message](t *testing.T, name string, into M) M {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("testdata", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := protojson.Unmarshal(content, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return into
}

func yard(t *testing.T) show.Yard {
	t.Helper()
	y := show.Yard{ID: "demo", Zone: time.UTC, Trucks: map[string]*dispatcheventv1.Truck{}, Sites: map[string]*dispatcheventv1.Site{}}
	for _, k := range fixture(t, "trucks", &dispatchv1.ListTrucksResponse{}).GetTrucks() {
		y.Trucks[k.GetTruckId()] = k
	}
	for _, s := range fixture(t, "sites", &dispatchv1.ListSitesResponse{}).GetSites() {
		y.Sites[s.GetSiteId()] = s
	}
	return y
}

// TestPages compares every page with the one in testdata and holds it to the
// width of the paper.
func TestPages(t *testing.T) {
	y := yard(t)
	morning := fixture(t, "morning", &dispatchv1.Morning{})
	run := morning.GetPlan().GetRuns()[0]
	batch := fixture(t, "batch", &stockv1.GetBatchResponse{})
	floor := fixture(t, "floor", &layoutv1.GetLayingPlanResponse{})
	hits := &stockeventv1.BatchQuarantined{BatchId: "B1", Reason: "cracks seen", QuarantinedBy: "Pim Quillbottle", Hits: []*stockeventv1.QuarantineHit{{
		PieceId: "B1-001", State: stockeventv1.PieceState_PIECE_STATE_LOADED,
		Allocation: &stockeventv1.Allocation{RunId: "P1-R01", SiteId: "QF", JobId: "J1", CallOffId: "C-01", Mark: "1-01-01"},
	}}}
	for name, page := range map[string]func(io.Writer){
		"morning": func(w io.Writer) { show.Morning(w, morning, nil, y) },
		"morning-none": func(w io.Writer) {
			show.Morning(w, &dispatchv1.Morning{State: dispatchv1.MorningState_MORNING_STATE_DRAFT, Plan: &dispatcheventv1.MorningPlan{
				PlanId: "P2", Day: "2027-03-18", PlannedBy: "Rosamund Tickpenny", PlannedAt: morning.GetPlan().GetPlannedAt(), BoundReason: "nothing is called off",
			}}, nil, y)
		},
		"morning-confirmed": func(w io.Writer) {
			confirmed := proto.CloneOf(morning)
			confirmed.State = dispatchv1.MorningState_MORNING_STATE_CONFIRMED
			status := func(state dispatchv1.RunState) *dispatchv1.RunStatus {
				return &dispatchv1.RunStatus{State: state, PlanId: "P1", Run: run,
					Hits: []*dispatcheventv1.RunHit{{PieceId: "B1-001", Mark: "1-01-01", BatchId: "B1", Reason: "batch B1 is in quarantine: cracks seen", Where: "reserved"}}}
			}
			show.Morning(w, confirmed, []*dispatchv1.RunStatus{status(dispatchv1.RunState_RUN_STATE_HIT),
				status(dispatchv1.RunState_RUN_STATE_DELIVERED), status(dispatchv1.RunState_RUN_STATE_CANCELLED)}, y)
		},
		"runs": func(w io.Writer) {
			show.Runs(w, []*dispatchv1.RunStatus{{
				State: dispatchv1.RunState_RUN_STATE_HIT, PlanId: "P1", Run: run, DeliveredDrops: []int32{1},
				Hits: []*dispatcheventv1.RunHit{{PieceId: "B1-001", Mark: "1-01-01", BatchId: "B1", Reason: "batch B1 is in quarantine: cracks seen", Where: "loaded"}},
			}}, y)
		},
		"drop": func(w io.Writer) {
			beam := &commonv1.BeamProduct{Profile: "T150", WirePattern: "p4", LengthMm: 3600}
			show.Drop(w, "P1-R01", 2, &dispatchv1.GetDropResponse{
				Day: "2027-03-17", TruckId: "T1", TruckName: "Ottoline", SiteId: "QF", SiteName: "Quillfeather Lane 3", Departed: true,
				LeaveYardMinute: 360, ArriveMinute: 402, UnloadMinute: 405, LeaveSiteMinute: 430,
				Rooms: []*dispatchv1.DropRoom{{JobId: "J1", Floor: "1", Room: "01", PlannedBeamCount: 9, Pieces: []*dispatchv1.DropPiece{
					{PieceId: "B1-001", Mark: "1-01-01", Beam: beam, PileNumber: 1, PileTier: 2, Laid: true},
					{PieceId: "B1-002", Mark: "1-01-02", Beam: beam, PileNumber: 1, PileTier: 2},
					{PieceId: "B1-003", Mark: "1-01-03", Beam: beam, PileNumber: 1, PileTier: 1, Report: &dispatcheventv1.PieceReported{
						Kind: dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_BROKEN, Remark: "cracked across at one end"}},
					{PieceId: "B1-004", Mark: "1-01-04", Beam: beam, PileNumber: 1, PileTier: 1, Report: &dispatcheventv1.PieceReported{
						Kind: dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_MISSING}},
					{PieceId: "B1-005", Mark: "1-01-05", Beam: beam, PileNumber: 1, PileTier: 1, StoppedReason: "was scrapped: cracked across, seen at the site by two people"},
					{PieceId: "P1-R01-K01", BlockKind: "K520", BlockCount: 72, PileNumber: 2, PileTier: 1},
				}}},
			})
		},
		"picks": func(w io.Writer) {
			show.Picks(w, &dispatcheventv1.PicksIssued{RunId: run.GetRunId(), TruckId: "T1", Day: "2027-03-17", LoadingMinute: 330, Picks: run.GetPicks()}, y)
		},
		"batch": func(w io.Writer) { show.Batch(w, batch.GetBatch(), batch.GetPieces(), time.UTC) },
		"batches": func(w io.Writer) {
			held := proto.CloneOf(batch.GetBatch())
			held.BatchId, held.State = "B0412-L3", stockv1.BatchState_BATCH_STATE_QUARANTINED
			held.Counts = &stockv1.PieceCounts{Made: 4800, InYard: 1200, Reserved: 1200, Picked: 600, Loaded: 600, Delivered: 600, Scrapped: 600}
			show.Batches(w, []*stockv1.Batch{batch.GetBatch(), held})
		},
		"summary": func(w io.Writer) {
			show.Summary(w, &stockv1.SummariseStockResponse{
				Day: "2027-09-29", Beams: []*stockv1.BeamSummary{{Profile: "T150", WirePattern: "p4", LengthMm: 3600, Free: 12, Provisional: 3, Reserved: 4, Quarantined: 5}},
				Blocks: []*stockv1.BlockSummary{{BlockKind: "K520", Free: 400}},
			})
		},
		"floor":  func(w io.Writer) { show.Floor(w, floor, time.UTC) },
		"floors": func(w io.Writer) { show.Plans(w, []*layoutv1.PlanSummary{floor.GetSummary()}) },
		"recall": func(w io.Writer) {
			show.Recall(w, &stockv1.RecallBatchResponse{Batch: batch.GetBatch(), Places: []*stockv1.RecallPlace{
				{Kind: stockv1.RecallPlaceKind_RECALL_PLACE_KIND_SITE, Where: "at site QF, from run P1-R01", Call: "Bram Oddsock 555 0101, Quillfeather Lane 3",
					UnitCount: 1, MassG: 115_200, Pieces: batch.GetPieces()[1:]},
				{Kind: stockv1.RecallPlaceKind_RECALL_PLACE_KIND_STACK, Where: "in stack A-01", Call: "the yard", UnitCount: 1, MassG: 115_200, Pieces: batch.GetPieces()[:1]},
			}})
		},
		"trace": func(w io.Writer) {
			laid := proto.CloneOf(batch.GetPieces()[1])
			laid.TruckId, laid.DeliveredAt, laid.ReceivedBy = "T1", batch.GetBatch().GetRelease().GetReleasedAt(), "Bram Oddsock"
			show.History(w, &stockv1.GetPieceHistoryResponse{Piece: laid, Batch: batch.GetBatch(), Entries: []*stockv1.HistoryEntry{{
				HappenedAt: batch.GetBatch().GetRelease().GetReleasedAt(), Actor: "Rosamund Tickpenny", Sentence: "Set down at site QF from run P1-R01, received by Bram Oddsock.",
			}}}, time.UTC)
		},
		"rules": func(w io.Writer) {
			show.StockRules(w, "demo", &stockeventv1.YardRulesSet{TimeZone: "Etc/UTC", BeamMinAgeDays: 14, BlockMinAgeDays: 28, BeamsPerStackTier: 4, Sampling: []*stockeventv1.SamplingRule{
				{Kind: stockeventv1.BatchKind_BATCH_KIND_BEAMS, Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CYLINDER, Count: 3, AgeDays: 14, Laboratory: "Tumblewick Testing Room", ForRelease: true},
				{Kind: stockeventv1.BatchKind_BATCH_KIND_BLOCKS, Product: "K520", Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_BLOCK, Count: 6, AgeDays: 28, From: "2027-03-01"},
			}})
		},
		"due": func(w io.Writer) {
			show.DueSamples(w, &stockv1.ListDueSamplesResponse{Day: "2027-03-17", Samples: []*stockv1.DueSample{{
				BatchId: "B1", Product: "T150", DueOn: "2027-03-15", MissingCount: 2, TestedCount: 1, Overdue: true,
				Rule: &stockeventv1.SamplingRule{Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CYLINDER, Count: 3, AgeDays: 14, Laboratory: "Tumblewick Testing Room"},
			}}})
		},
		"production": func(w io.Writer) {
			show.Production(w, []*stockv1.ConcreteControl{
				{FckCylinderMpa: 40, FckCubeMpa: 50, Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CUBE, AgeDays: 14, SampleCount: 1,
					Verdict: &stockeventv1.Verdict{Sentence: "The criterion takes three results; so far: 1."}},
				{FckCylinderMpa: 40, FckCubeMpa: 50, Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CYLINDER, AgeDays: 28, SampleCount: 60, Continuous: true,
					Verdict:  &stockeventv1.Verdict{Sentence: "Does not conform: of 15 results, mean 44.0 MPa is below the required 44.504 MPa."},
					SigmaMpa: 3.043, SigmaFrom: "2027-01-04", SigmaTo: "2027-04-16", LastSigmaMpa: 2.8, BandLowMpa: 1.918, BandHighMpa: 4.168, RenewedCount: 1, Since: "2027-06-02"},
			})
		},
		"marks": func(w io.Writer) {
			show.Marks(w, &stockv1.FindMarksResponse{
				Marks: []*stockv1.FoundMark{{Mark: "1-01-01", Pieces: []*stockv1.Piece{{
					PieceId: "B1-001", BatchId: "B1", LengthMm: 3600, State: stockeventv1.PieceState_PIECE_STATE_LOADED, TruckId: "T1",
					Allocation: hits.GetHits()[0].GetAllocation(),
				}}}, {Mark: "1-01-02"}},
				Batches: []*stockv1.Batch{{BatchId: "B1", Source: "cast C-0412 of line 3"}},
			})
		},
		"quarantine": func(w io.Writer) { show.Quarantine(w, hits) },
		"events":     func(w io.Writer) { events(w, hits) },
		"trucks":     func(w io.Writer) { show.Trucks(w, []*dispatcheventv1.Truck{y.Trucks["T1"]}) },
		"sites":      func(w io.Writer) { show.Sites(w, []*dispatcheventv1.Site{y.Sites["QF"]}) },
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			page(&b)
			compare(t, filepath.Join("testdata", name+".txt"), b.String())
			for _, line := range strings.Split(b.String(), "\n") {
				if utf8.RuneCountInString(line) > 100 || strings.TrimRight(line, " ") != line {
					t.Errorf("over 100 columns, or blank at the end: %q", line)
				}
			}
		})
	}
}

func compare(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(filepath.Clean(file))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", file, diff)
	}
}

// events prints one of each kind.
func events(w io.Writer, hits *stockeventv1.BatchQuarantined) {
	for i, e := range []*stockeventv1.Event{
		{Kind: &stockeventv1.Event_YardRulesSet{YardRulesSet: &stockeventv1.YardRulesSet{BeamMinAgeDays: 14, BlockMinAgeDays: 28}}},
		{Kind: &stockeventv1.Event_BatchReceived{BatchReceived: &stockeventv1.BatchReceived{BatchId: "B1", Profile: "T150", WirePattern: "p4", Beams: []*stockeventv1.BeamPiece{{}}}}},
		{Kind: &stockeventv1.Event_BatchReceived{BatchReceived: &stockeventv1.BatchReceived{BatchId: "K1", Kind: stockeventv1.BatchKind_BATCH_KIND_BLOCKS, Blocks: &stockeventv1.BlockLot{BlockKind: "K520", Count: 400}}}},
		{Kind: &stockeventv1.Event_TestRecorded{TestRecorded: &stockeventv1.TestRecorded{BatchId: "B1", TestId: "T-1", Verdict: &stockeventv1.Verdict{Sentence: "Conforms."}}}},
		{Kind: &stockeventv1.Event_BatchReleased{BatchReleased: &stockeventv1.BatchReleased{BatchId: "B1", ReleasedBy: "Pim Quillbottle"}}},
		{Kind: &stockeventv1.Event_BatchQuarantined{BatchQuarantined: hits}},
		{Kind: &stockeventv1.Event_QuarantineLifted{QuarantineLifted: &stockeventv1.QuarantineLifted{BatchId: "B1", LiftedBy: "Pim Quillbottle", Reason: "cores drilled"}}},
		{Kind: &stockeventv1.Event_PiecesReserved{PiecesReserved: &stockeventv1.PiecesReserved{ReservationId: "P1", Pieces: []*stockeventv1.ReservedPiece{{}, {}}}}},
		{Kind: &stockeventv1.Event_ReservationDropped{ReservationDropped: &stockeventv1.ReservationDropped{ReservationId: "P1", PieceIds: []string{"B1-001"}, Reason: "cancelled"}}},
		{Kind: &stockeventv1.Event_PiecePicked{PiecePicked: &stockeventv1.PiecePicked{PieceId: "B1-001", RunId: "P1-R01"}}},
		{Kind: &stockeventv1.Event_PieceLoaded{PieceLoaded: &stockeventv1.PieceLoaded{PieceId: "B1-001", RunId: "P1-R01", TruckId: "T1"}}},
		{Kind: &stockeventv1.Event_PieceDelivered{PieceDelivered: &stockeventv1.PieceDelivered{PieceId: "B1-001", RunId: "P1-R01", SiteId: "QF"}}},
		{Kind: &stockeventv1.Event_PieceReturned{PieceReturned: &stockeventv1.PieceReturned{PieceId: "B1-001", StackId: "A-01", Reason: "truck broke down"}}},
		{Kind: &stockeventv1.Event_PieceScrapped{PieceScrapped: &stockeventv1.PieceScrapped{PieceId: "B1-001", Reason: "broke while lifted"}}},
		{Kind: &stockeventv1.Event_PieceScrapped{PieceScrapped: &stockeventv1.PieceScrapped{PieceId: "B1-002", Reason: "cracked across", DeliveredTo: hits.GetHits()[0].GetAllocation()}}},
		{Kind: &stockeventv1.Event_PieceMoved{PieceMoved: &stockeventv1.PieceMoved{PieceId: "B1-001", StackId: "A-02"}}},
		{Kind: &stockeventv1.Event_BlocksScrapped{BlocksScrapped: &stockeventv1.BlocksScrapped{BatchId: "K1", BlockCount: 2, Reason: "broken corners"}}},
		{},
	} {
		show.StockEvent(w, &stockv1.WatchStockResponse{Position: uint64(i + 1), Actor: "Pim Quillbottle", Event: e}, time.UTC)
	}
}

// TestNoEventIsWithoutWords: every kind of event that the contract has is said
// in words of its own.
func TestNoEventIsWithoutWords(t *testing.T) {
	kinds := (&stockeventv1.Event{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range kinds.Len() {
		e := &stockeventv1.Event{}
		e.ProtoReflect().Set(kinds.Get(i), e.ProtoReflect().NewField(kinds.Get(i)))
		var b bytes.Buffer
		show.StockEvent(&b, &stockv1.WatchStockResponse{Event: e}, time.UTC)
		if strings.Contains(b.String(), "has no words for") {
			t.Errorf("%s has no words", kinds.Get(i).Name())
		}
	}
}
