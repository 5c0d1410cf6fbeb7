package layout_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger/ledgertest"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/layout"
	"spanyard.example/services/layout/internal/codec"
	"spanyard.example/services/layout/internal/officetest"
)

const yard = "tarn"

var morning = time.Date(2031, 4, 28, 5, 0, 0, 0, time.UTC)

// start runs the service on the data in dir until the test ends, and returns
// a client that speaks for a clerk.
func start(t *testing.T, dir string) (context.Context, layoutv1.LayoutServiceClient) {
	t.Helper()
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	ctx, cancel := context.WithCancel(t.Context())
	service, err := layout.New(ctx, layout.Deps{JetStream: ledgertest.On(t, dir), Clock: clock.StartingAt(morning), Log: log})
	if err != nil {
		t.Fatal(err)
	}
	server, err := rpc.NewServer(rpc.ServerOptions{Name: "layout", Log: log, Health: service.Healthy}, service.Register)
	if err != nil {
		t.Fatal(err)
	}
	lis := bufconn.Listen(1 << 20)
	ended := make(chan error, 2)
	go func() { ended <- service.Run(ctx) }()
	go func() { ended <- server.Serve(ctx, lis) }()
	conn, err := rpc.Dial("passthrough:///bufconn", grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return lis.DialContext(ctx)
	}))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
		cancel()
		for range 2 {
			if err := <-ended; err != nil && !errors.Is(err, context.Canceled) {
				t.Error(err)
			}
		}
	})
	return rpc.AsActor(ctx, "Clerk Immo Rask"), layoutv1.NewLayoutServiceClient(conn)
}

func catalogue(requestID string) *layoutv1.SetCatalogueRequest {
	c := codec.CatalogueProto(officetest.Catalogue())
	return &layoutv1.SetCatalogueRequest{
		Yard: yard, RequestId: requestID, Profiles: c.GetProfiles(), Blocks: c.GetBlocks(),
		LengthStepMm: c.GetLengthStepMm(), MinBearingMm: c.GetMinBearingMm(), MaxBeamLengthMm: c.GetMaxBeamLengthMm(), Basis: c.GetBasis(),
	}
}

func read(t *testing.T, name string) []byte {
	t.Helper()
	content, err := os.ReadFile("internal/schedule/testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// workbook puts a CSV text into an XLSX file. Numbers become numbers, except
// those that begin with a zero, which people keep as text.
func workbook(t *testing.T, text []byte) []byte {
	t.Helper()
	records, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	book := excelize.NewFile()
	for r, record := range records {
		for c, value := range record {
			cell, err := excelize.CoordinatesToCellName(c+1, r+1)
			if err != nil {
				t.Fatal(err)
			}
			if strings.HasPrefix(value, "0") && len(value) > 1 {
				err = book.SetCellStr("Sheet1", cell, value)
			} else {
				err = book.SetCellDefault("Sheet1", cell, value)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	var out bytes.Buffer
	if err := book.Write(&out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func importFile(requestID, name string, format layoutv1.FileFormat, content []byte) *layoutv1.ImportRoomScheduleRequest {
	return &layoutv1.ImportRoomScheduleRequest{Yard: yard, RequestId: requestID, FileName: name, Format: format, Content: content}
}

func csvImport(t *testing.T, requestID string) *layoutv1.ImportRoomScheduleRequest {
	return importFile(requestID, "rooms.csv", layoutv1.FileFormat_FILE_FORMAT_CSV, read(t, "rooms.csv"))
}

func approval(requestID string, revision int32) *layoutv1.ApproveLayingPlanRequest {
	return &layoutv1.ApproveLayingPlanRequest{
		Yard: yard, RequestId: requestID, JobId: "J-1042", Floor: "1", Revision: revision,
		Engineer: " Odalys Brenk", Reason: "Same spans as the tested floor.",
	}
}

// must returns the answer of a call that has to succeed.
func must[A any](answer A, err error) func(*testing.T) A {
	return func(t *testing.T) A {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return answer
	}
}

func sameMessage(t *testing.T, want, got proto.Message) {
	t.Helper()
	if d := cmp.Diff(want, got, protocmp.Transform()); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// wantFault checks kind, reason and the places' beginnings.
func wantFault(t *testing.T, err error, kind fault.Kind, reason string, places ...string) {
	t.Helper()
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != kind || f.Reason != reason {
		t.Fatalf("got %v, want %v %s", err, kind, reason)
	}
	for _, want := range places {
		found := false
		for _, p := range f.Places {
			found = found || strings.HasPrefix(p.Where, want)
		}
		if !found {
			t.Errorf("%q is not named in %v", want, err)
		}
	}
}

func TestThreeFormatsGiveOnePlan(t *testing.T) {
	ctx, client := start(t, t.TempDir())
	must(client.SetCatalogue(ctx, catalogue("c1")))(t)
	text := read(t, "rooms.csv")
	var plans []*eventv1.LayingPlan
	for i, req := range []*layoutv1.ImportRoomScheduleRequest{
		importFile("i1", "rooms.csv", layoutv1.FileFormat_FILE_FORMAT_CSV, text),
		importFile("i2", "rooms.json", layoutv1.FileFormat_FILE_FORMAT_JSON, read(t, "rooms.json")),
		importFile("i3", "rooms.xlsx", layoutv1.FileFormat_FILE_FORMAT_XLSX, workbook(t, text)),
	} {
		answer := must(client.ImportRoomSchedule(ctx, req))(t)
		if len(answer.GetPlans()) != 2 {
			t.Fatalf("%s gave %d plans, want one for each floor", req.GetFileName(), len(answer.GetPlans()))
		}
		got := must(client.GetLayingPlan(ctx, &layoutv1.GetLayingPlanRequest{
			Yard: yard, JobId: "J-1042", Floor: "1", AtLeast: answer.GetPosition()}))(t)
		sameMessage(t, answer.GetPlans()[0], got.GetSummary())
		if got.GetPlan().GetRevision() != int32(i+1) || got.GetSummary().GetSourceFile() != req.GetFileName() {
			t.Errorf("revision %d from %s", got.GetPlan().GetRevision(), got.GetSummary().GetSourceFile())
		}
		got.GetPlan().Revision = 0
		plans = append(plans, got.GetPlan())
	}
	sameMessage(t, plans[0], plans[1])
	sameMessage(t, plans[0], plans[2])

	// By hand: the living room is laid first, 3.00 m across: double rows at
	// 450, 1080, 1710 and 2340 mm from its wall, of 3,400 + 2 x 100 mm, 108 kg;
	// then the hall, 3.06 m across: single rows at 510, 1020, 1530, 2040 and
	// 2550 mm, of 3,000 + 2 x 100 mm, 96 kg. Blocks: 5 bays of 16 and 6 of 14.
	s := must(client.GetLayingPlan(ctx, &layoutv1.GetLayingPlanRequest{Yard: yard, JobId: "J-1042", Floor: "1", Revision: 1}))(t)
	sameMessage(t, &layoutv1.PlanSummary{
		JobId: "J-1042", JobName: "House at Tarnwick", Floor: "1", Revision: 1, SourceFile: "rooms.csv",
		State: layoutv1.PlanState_PLAN_STATE_DRAFT, Strength: eventv1.Strength_STRENGTH_CHECKED,
		RoomCount: 2, BeamCount: 13, BeamLengthMm: 8*3600 + 5*3200, BeamMassG: 8*108_000 + 5*96_000, BlockCount: 164, BlockMassG: 164 * 13_800,
	}, s.GetSummary())
	var marks []string
	for _, r := range s.GetPlan().GetRooms() {
		for _, b := range r.GetBeams() {
			marks = append(marks, b.GetMark())
		}
	}
	want := strings.Fields("1-02-01 1-02-02 1-02-03 1-02-04 1-02-05 1-02-06 1-02-07 1-02-08 1-01-01 1-01-02 1-01-03 1-01-04 1-01-05")
	if d := cmp.Diff(want, marks); d != "" {
		t.Errorf("marks (-want +got):\n%s", d)
	}
}

func TestApproveSupersedeRepeatRestart(t *testing.T) {
	dir := t.TempDir()
	var approved *layoutv1.ApproveLayingPlanResponse
	var imported *layoutv1.ImportRoomScheduleResponse
	var listed *layoutv1.ListLayingPlansResponse
	t.Run("first life", func(t *testing.T) {
		ctx, client := start(t, dir)
		must(client.SetCatalogue(ctx, catalogue("c1")))(t)
		imported = must(client.ImportRoomSchedule(ctx, csvImport(t, "i1")))(t)
		approved = must(client.ApproveLayingPlan(ctx, approval("a1", 1)))(t)
		p := approved.GetPlan()
		if p.GetState() != layoutv1.PlanState_PLAN_STATE_APPROVED || p.GetEngineer() != "Odalys Brenk" || p.GetSourceFile() != "rooms.csv" {
			t.Errorf("approved: %v", p)
		}
		if at := p.GetApprovedAt().AsTime(); at.Before(morning) || at.After(morning.Add(time.Hour)) {
			t.Errorf("approved at %v, not by the service's clock", at)
		}
		_, err := client.ApproveLayingPlan(ctx, approval("a2", 1))
		wantFault(t, err, fault.Stale, "ALREADY_APPROVED")

		must(client.ImportRoomSchedule(ctx, csvImport(t, "i2")))(t)
		second := must(client.ApproveLayingPlan(ctx, approval("a3", 2)))(t)
		listed = must(client.ListLayingPlans(ctx, &layoutv1.ListLayingPlansRequest{Yard: yard, JobId: "J-1042", AtLeast: second.GetPosition()}))(t)
		checkStates(t, listed, "1/2 APPROVED", "1/1 SUPERSEDED", "2/2 DRAFT", "2/1 DRAFT")
		// The first approval, sent again, answers as it did then.
		sameMessage(t, approved, must(client.ApproveLayingPlan(ctx, approval("a1", 1)))(t))
		_, err = client.ApproveLayingPlan(ctx, approval("a1", 2))
		wantFault(t, err, fault.Invalid, "REQUEST_ID_REUSED")
	})
	t.Run("second life", func(t *testing.T) {
		ctx, client := start(t, dir)
		sameMessage(t, listed, must(client.ListLayingPlans(ctx, &layoutv1.ListLayingPlansRequest{Yard: yard}))(t))
		sameMessage(t, approved, must(client.ApproveLayingPlan(ctx, approval("a1", 1)))(t))
		sameMessage(t, imported, must(client.ImportRoomSchedule(ctx, csvImport(t, "i1")))(t))
		sameMessage(t, listed, must(client.ListLayingPlans(ctx, &layoutv1.ListLayingPlansRequest{Yard: yard}))(t))
		got := must(client.GetCatalogue(ctx, &layoutv1.GetCatalogueRequest{Yard: yard}))(t)
		want := catalogue("")
		for i, p := range want.GetProfiles() { // what follows from the outline
			p.HeightMm, p.WidthMm, p.MassGPerM = []int32{150, 190}[i], []int32{120, 140}[i], []int64{30_000, 43_750}[i]
			for _, w := range p.GetPatterns() {
				p.WirePatterns = append(p.WirePatterns, w.GetName())
			}
		}
		sameMessage(t, &layoutv1.GetCatalogueResponse{Profiles: want.GetProfiles(), Blocks: want.GetBlocks(),
			LengthStepMm: 50, MinBearingMm: 90, MaxBeamLengthMm: 8_000, Basis: want.GetBasis()}, got)
		newer := must(client.ImportRoomSchedule(ctx, csvImport(t, "i3")))(t)
		if r := newer.GetPlans()[0].GetRevision(); r != 3 {
			t.Errorf("the next import is revision %d, want 3", r)
		}
	})
}

func checkStates(t *testing.T, list *layoutv1.ListLayingPlansResponse, want ...string) {
	t.Helper()
	var got []string
	for _, p := range list.GetPlans() {
		state := strings.TrimPrefix(p.GetState().String(), "PLAN_STATE_")
		got = append(got, p.GetFloor()+"/"+string(rune('0'+p.GetRevision()))+" "+state)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("plans (-want +got):\n%s", d)
	}
}

func TestBadFilesChangeNothing(t *testing.T) {
	ctx, client := start(t, t.TempDir())
	_, err := client.ImportRoomSchedule(ctx, csvImport(t, "i0"))
	wantFault(t, err, fault.Stale, "CATALOGUE_MISSING")
	set := must(client.SetCatalogue(ctx, catalogue("c1")))(t)

	bad := strings.NewReplacer("3000,3060", "3000,wide", "T150,6W", "T150,9W", "J-1042,House at Tarnwick,2", "J-1042,House,2").
		Replace(string(read(t, "rooms.csv")))
	_, err = client.ImportRoomSchedule(ctx, importFile("i1", "bad.csv", layoutv1.FileFormat_FILE_FORMAT_CSV, []byte(bad)))
	wantFault(t, err, fault.Invalid, "BAD_ROWS",
		"bad.csv, row 2, column width_mm", "bad.csv, row 3, column wire_pattern", "bad.csv, row 4, column job_name")
	_, err = client.ImportRoomSchedule(ctx, importFile("i1", "bad.xlsx", layoutv1.FileFormat_FILE_FORMAT_XLSX, workbook(t, []byte(bad))))
	wantFault(t, err, fault.Invalid, "BAD_ROWS", "bad.xlsx, sheet Sheet1, row 2, column width_mm")
	_, err = client.ImportRoomSchedule(ctx, importFile("i1", "bad.xlsx", layoutv1.FileFormat_FILE_FORMAT_XLSX, []byte("no workbook")))
	wantFault(t, err, fault.Invalid, "BAD_FILE", "bad.xlsx")
	_, err = client.ImportRoomSchedule(ctx, importFile("i1", "rooms.csv", layoutv1.FileFormat_FILE_FORMAT_CSV, []byte("job,room\nJ1,01\n")))
	wantFault(t, err, fault.Invalid, "BAD_HEADER", "rooms.csv, row 1")

	worse := catalogue("c2")
	worse.Profiles[0].MassGPerM = 40_000
	_, err = client.SetCatalogue(ctx, worse)
	wantFault(t, err, fault.Invalid, "BAD_CATALOGUE", "profiles[0].mass_g_per_m")

	list := must(client.ListLayingPlans(ctx, &layoutv1.ListLayingPlansRequest{Yard: yard}))(t)
	if len(list.GetPlans()) != 0 {
		t.Errorf("%d plans after nothing but refusals", len(list.GetPlans()))
	}
	// A refused request id is free: nothing happened under it.
	good := must(client.ImportRoomSchedule(ctx, csvImport(t, "i1")))(t)
	if good.GetPosition() != set.GetPosition()+2 {
		t.Errorf("position %d after %d and two plans", good.GetPosition(), set.GetPosition())
	}
}

func TestReads(t *testing.T) {
	ctx, client := start(t, t.TempDir())
	_, err := client.GetCatalogue(ctx, &layoutv1.GetCatalogueRequest{Yard: "nowhere"})
	wantFault(t, err, fault.NotFound, "YARD_UNKNOWN")
	set := must(client.SetCatalogue(ctx, catalogue("c1")))(t)
	_, err = client.GetLayingPlan(ctx, &layoutv1.GetLayingPlanRequest{Yard: yard, JobId: "J-1042", Floor: "1"})
	wantFault(t, err, fault.NotFound, "PLAN_UNKNOWN")

	short, cancel := context.WithTimeout(ctx, 500*time.Millisecond)
	defer cancel()
	_, err = client.GetCatalogue(short, &layoutv1.GetCatalogueRequest{Yard: yard, AtLeast: set.GetPosition() + 1})
	wantFault(t, err, fault.Stale, "POSITION_NOT_REACHED")

	other := strings.ReplaceAll(string(read(t, "rooms.csv")), "J-1042", "J-7")
	must(client.ImportRoomSchedule(ctx, csvImport(t, "i1")))(t)
	must(client.ImportRoomSchedule(ctx, csvImport(t, "i2")))(t)
	must(client.ImportRoomSchedule(ctx, importFile("i3", "other.csv", layoutv1.FileFormat_FILE_FORMAT_CSV, []byte(other))))(t)

	whole := must(client.ListLayingPlans(ctx, &layoutv1.ListLayingPlansRequest{Yard: yard}))(t)
	if len(whole.GetPlans()) != 6 || whole.GetNextPageToken() != "" {
		t.Fatalf("%d plans, next page %q", len(whole.GetPlans()), whole.GetNextPageToken())
	}
	for _, size := range []int32{1, 2, 3, 4, 6} {
		var paged []*layoutv1.PlanSummary
		req := &layoutv1.ListLayingPlansRequest{Yard: yard, PageSize: size}
		for {
			page := must(client.ListLayingPlans(ctx, req))(t)
			paged = append(paged, page.GetPlans()...)
			if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
				break
			}
		}
		sameMessage(t, whole, &layoutv1.ListLayingPlansResponse{Plans: paged})
	}
	first := must(client.ListLayingPlans(ctx, &layoutv1.ListLayingPlansRequest{Yard: yard, JobId: "J-7", PageSize: 1}))(t)
	rest := must(client.ListLayingPlans(ctx, &layoutv1.ListLayingPlansRequest{Yard: yard, JobId: "J-7", PageToken: first.GetNextPageToken()}))(t)
	checkStates(t, first, "1/1 DRAFT")
	checkStates(t, rest, "2/1 DRAFT")
	for _, token := range []string{"rubbish", first.GetNextPageToken()} {
		_, err = client.ListLayingPlans(ctx, &layoutv1.ListLayingPlansRequest{Yard: yard, PageToken: token})
		wantFault(t, err, fault.Invalid, "PAGE_TOKEN_INVALID", "page_token")
	}
}

func TestWritesNeedSomebodyToAnswerForThem(t *testing.T) {
	ctx, client := start(t, t.TempDir())
	_, err := client.SetCatalogue(rpc.AsActor(ctx, ""), catalogue("c1"))
	wantFault(t, err, fault.Invalid, "ACTOR_MISSING")
	must(client.SetCatalogue(ctx, catalogue("c1")))(t)
	must(client.ImportRoomSchedule(ctx, csvImport(t, "i1")))(t)
	blank := approval("a1", 1)
	blank.Engineer, blank.Reason = " ", "\t"
	_, err = client.ApproveLayingPlan(ctx, blank)
	wantFault(t, err, fault.Invalid, "ENGINEER_MISSING", "engineer")
}

// TestDesignFromFiles lays a drawing through the design service: good rooms
// are laid, a hopeless one is refused with help, and documents come out.
func TestDesignFromFiles(t *testing.T) {
	lis := bufconn.Listen(1 << 20)
	server, err := rpc.NewServer(rpc.ServerOptions{Name: "design", Log: slog.New(slog.NewTextHandler(io.Discard, nil))}, layout.RegisterDesigns)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(ctx, lis) }()
	defer func() {
		cancel()
		if err := <-ended; err != nil && !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	}()
	conn, err := rpc.Dial("passthrough:///bufconn", grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return lis.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	c := layoutv1.NewDesignServiceClient(conn)
	catalogue, err := os.ReadFile("cmd/floorbench/testdata/catalogue.json")
	if err != nil {
		t.Fatal(err)
	}
	ask := &layoutv1.DesignFloorRequest{
		CatalogueJson: catalogue, FileName: "mill.json", Format: layoutv1.FloorFormat_FLOOR_FORMAT_OUTLINES, Category: "A", ImposedKnPerM2: 2,
		Content: []byte(`{"id":"mill","units":"mm","rooms":[
			{"name":"Hall","outline":[[0,0],[4200,0],[4200,2000],[2600,2000],[2600,3600],[0,3600]]},
			{"name":"Barn","outline":[[6000,0],[19000,0],[19000,14000],[6000,14000]]}]}`),
	}
	ask.Content = bytes.ReplaceAll(ask.GetContent(), []byte("\n"), nil)
	for k := layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_PDF; k <= layoutv1.DocumentKind_DOCUMENT_KIND_CALCULATIONS_PDF; k++ {
		ask.Documents = append(ask.Documents, k)
	}
	got, err := c.DesignFloor(ctx, ask)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.GetRooms()) != 2 || got.GetRooms()[0].GetRefusal() != "" || got.GetRooms()[0].GetBeamCount() == 0 || got.GetRooms()[1].GetHelp() == "" {
		t.Errorf("rooms: %v", got.GetRooms())
	}
	if len(got.GetDocuments()) != len(ask.GetDocuments()) {
		t.Errorf("%d documents of %d", len(got.GetDocuments()), len(ask.GetDocuments()))
	}
	for _, d := range got.GetDocuments() {
		if len(d.GetContent()) < 200 || !strings.HasPrefix(d.GetName(), "mill-") {
			t.Errorf("document %s has %d bytes", d.GetName(), len(d.GetContent()))
		}
	}
	ask.CatalogueJson = []byte(`{"profils": []}`)
	if _, err := c.DesignFloor(ctx, ask); fault.ReasonOf(err) != "JSON_INVALID" || !strings.Contains(err.Error(), "profils") {
		t.Errorf("a misspelt catalogue: %v", err)
	}
}
