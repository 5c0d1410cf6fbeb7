package layout_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/dxf"
	"spanyard.example/services/layout/internal/sharedtest"
)

// millDXF is a drawing of two rooms with names, an opening in the first, and
// an outline that crosses itself.
func millDXF(t *testing.T) []byte {
	t.Helper()
	path := func(layer string, xy ...float64) dxf.Stroke {
		p := dxf.Stroke{Layer: layer, Closed: true}
		for i := 0; i < len(xy); i += 2 {
			p.Points = append(p.Points, dxf.Point{X: xy[i], Y: xy[i+1]})
		}
		return p
	}
	var b bytes.Buffer
	err := dxf.Write(&b, dxf.Written{
		Strokes: []dxf.Stroke{
			path("ROOMS", 0, 0, 4200, 0, 4200, 3600, 0, 3600),
			path("ROOMS", 4500, 0, 7500, 0, 7500, 2600, 4500, 2600),
			path("ROOMS", 9000, 0, 12_000, 2600, 12_000, 0, 9000, 2600),
			path("VOIDS", 1200, 1400, 2000, 1400, 2000, 2000, 1200, 2000),
		},
		Texts: []dxf.WrittenText{
			{Text: dxf.Text{Value: "Hall", Layer: "NAMES", At: dxf.Point{X: 3000, Y: 3000}}, Height: 200},
			{Text: dxf.Text{Value: "Study", Layer: "NAMES", At: dxf.Point{X: 6000, Y: 1500}}, Height: 200},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func millImport(t *testing.T, requestID string) *layoutv1.ImportDrawingRequest {
	t.Helper()
	return &layoutv1.ImportDrawingRequest{
		Yard: yard, RequestId: requestID, FileName: "mill.dxf", Format: layoutv1.FloorFormat_FLOOR_FORMAT_DXF, Content: millDXF(t),
		JobId: "J-9", JobName: "House at the mill", Floor: "1", RoomLayers: []string{"rooms"}, OpeningLayers: []string{"VOIDS"},
		Category: "A", FinishesKnPerM2: 0.5,
	}
}

// outlines is a floor as JSON in which rooms say their own loads, partitions,
// openings and wishes.
const outlines = `{"id": "mill", "units": "mm", "rooms": [
	{"name": "Archive", "id": "01", "outline": [[0,0],[3600,0],[3600,3000],[0,3000]], "category": "E", "imposed_kn_per_m2": 6,
	 "partitions": [{"from": [0,1500], "to": [3600,1500], "kn_per_m": 4.5}]},
	{"name": "Stairs", "id": "02", "outline": [[4000,0],[8000,0],[8000,3400],[4000,3400]], "finishes_kn_per_m2": 1.25,
	 "holes": [[[4000,1000],[5200,1000],[5200,2400],[4000,2400]], [[7000,1400],[7400,1400],[7400,1800],[7000,1800]]], "hole_supports": [true, false]},
	{"name": "Bay", "id": "03", "outline": [[9000,0],[12000,0],[12000,2400],[9000,2400]], "open_sides": [0, 2], "profile": "T190", "beams_per_row": 2, "bearing_mm": 120}]}`

func outlinesImport(requestID string) *layoutv1.ImportDrawingRequest {
	return &layoutv1.ImportDrawingRequest{
		Yard: yard, RequestId: requestID, FileName: "mill.json", Format: layoutv1.FloorFormat_FLOOR_FORMAT_OUTLINES, Content: []byte(outlines),
		JobId: "J-9", JobName: "House at the mill", Floor: "2", Category: "A", ImposedKnPerM2: proto.Float64(1.5), FinishesKnPerM2: 0.5,
	}
}

func roomNamed(t *testing.T, p *eventv1.LayingPlan, id string) *eventv1.RoomPlan {
	t.Helper()
	for _, r := range p.GetRooms() {
		if r.GetRoom() == id {
			return r
		}
	}
	t.Fatalf("there is no room %s", id)
	return nil
}

func plan(t *testing.T, client layoutv1.LayoutServiceClient, floor string, revision int32, atLeast uint64) *layoutv1.GetLayingPlanResponse {
	t.Helper()
	return must(client.GetLayingPlan(t.Context(), &layoutv1.GetLayingPlanRequest{Yard: yard, JobId: "J-9", Floor: floor, Revision: revision, AtLeast: atLeast}))(t)
}

// TestDrawingToApproval goes from a drawing with a bad outline to an approved
// plan.
func TestDrawingToApproval(t *testing.T) {
	ctx, client := start(t, t.TempDir())
	must(client.SetCatalogue(ctx, catalogue("c1")))(t)
	imported := must(client.ImportDrawing(ctx, millImport(t, "d1")))(t)
	if imported.GetUnitMm() != 1 || imported.GetWidthM() != 12 || imported.GetHeightM() != 3.6 || len(imported.GetLayers()) != 2 {
		t.Errorf("read with %g mm to a unit, %g by %g m, layers %v", imported.GetUnitMm(), imported.GetWidthM(), imported.GetHeightM(), imported.GetLayers())
	}
	s := imported.GetPlan()
	if s.GetRoomCount() != 2 || s.GetBeamCount() == 0 || s.GetOpenPointCount() != 1 || s.GetStrength() != eventv1.Strength_STRENGTH_INCOMPLETE || s.GetSourceFile() != "mill.dxf" {
		t.Errorf("summary: %v", s)
	}
	if o := imported.GetOpenPoints(); len(o) != 1 || o[0].GetProblem() != 1 || !strings.Contains(o[0].GetWhat(), "crosses itself") || o[0].GetHelp() == "" {
		t.Errorf("open: %v", o)
	}
	got := plan(t, client, "1", 0, imported.GetPosition())
	sameMessage(t, s, got.GetSummary())
	hall := roomNamed(t, got.GetPlan(), "Hall")
	if len(hall.GetHoles()) != 1 || hall.GetCategory() != "A" || hall.GetImposedLoadNPerM2() != 2000 || hall.GetState() != eventv1.RoomState_ROOM_STATE_LAID || len(hall.GetTrimmers()) == 0 {
		t.Errorf("hall: %v", hall)
	}
	for _, b := range hall.GetBeams() {
		if b.GetFullness() <= 0 || b.GetFullness() > 1 || b.GetGoverning() == "" || len(b.GetCorners()) != 4 {
			t.Errorf("beam: %v", b)
		}
	}

	approve := &layoutv1.ApproveLayingPlanRequest{Yard: yard, RequestId: "a1", JobId: "J-9", Floor: "1", Revision: 1, Engineer: "Odalys Brenk"}
	_, err := client.ApproveLayingPlan(ctx, approve)
	wantFault(t, err, fault.Stale, "OPEN_POINTS", "problem 1")
	leave := &layoutv1.LeaveOutRequest{Yard: yard, RequestId: "l1", JobId: "J-9", Floor: "1", Revision: 1, AllOpen: true, Reason: "A roof line."}
	left := must(client.LeaveOut(ctx, leave))(t)
	if len(left.GetOpenPoints()) != 0 || left.GetPlan().GetStrength() != eventv1.Strength_STRENGTH_CHECKED {
		t.Errorf("left out: %v", left)
	}
	sameMessage(t, left, must(client.LeaveOut(ctx, leave))(t))
	approved := must(client.ApproveLayingPlan(ctx, approve))(t)
	if approved.GetPlan().GetState() != layoutv1.PlanState_PLAN_STATE_APPROVED {
		t.Errorf("approved: %v", approved)
	}
	sameMessage(t, imported, must(client.ImportDrawing(ctx, millImport(t, "d1")))(t))
	changed := millImport(t, "d1")
	changed.Floor = "3"
	_, err = client.ImportDrawing(ctx, changed)
	wantFault(t, err, fault.Invalid, "REQUEST_ID_REUSED")
}

// TestOutlinesSayWhatRoomsAre: loads, partitions, openings and wishes of JSON
// outlines are those of the laid rooms.
func TestOutlinesSayWhatRoomsAre(t *testing.T) {
	ctx, client := start(t, t.TempDir())
	must(client.SetCatalogue(ctx, catalogue("c1")))(t)
	imported := must(client.ImportDrawing(ctx, outlinesImport("d1")))(t)
	if imported.GetWidthM() != 12 || imported.GetHeightM() != 3.4 || imported.GetUnitMm() != 1 {
		t.Errorf("read as %g by %g m with %g mm to a unit", imported.GetWidthM(), imported.GetHeightM(), imported.GetUnitMm())
	}
	p := plan(t, client, "2", 1, imported.GetPosition()).GetPlan()
	archive, stairs, bay := roomNamed(t, p, "01"), roomNamed(t, p, "02"), roomNamed(t, p, "03")
	if archive.GetCategory() != "E" || archive.GetImposedLoadNPerM2() != 6000 || archive.GetFinishesLoadNPerM2() != 500 || archive.GetPartitions()[0].GetKnPerM() != 4.5 {
		t.Errorf("archive: %v", archive)
	}
	if stairs.GetCategory() != "A" || stairs.GetImposedLoadNPerM2() != 1500 || stairs.GetFinishesLoadNPerM2() != 1250 || !stairs.GetHoles()[0].GetSupports() || stairs.GetHoles()[1].GetSupports() {
		t.Errorf("stairs: %v", stairs)
	}
	if bay.GetSpanDirection() != "x" || bay.GetKit().GetProfile() != "T190" || bay.GetBearingMm() != 120 || !slices.Equal(bay.GetOpenSides(), []int32{0, 2}) {
		t.Errorf("bay: direction %q, %v, bearing %d, open %v", bay.GetSpanDirection(), bay.GetKit(), bay.GetBearingMm(), bay.GetOpenSides())
	}
	for _, b := range bay.GetBeams() {
		if b.GetBeamsInRow() != 2 || b.GetProduct().GetProfile() != "T190" || float64(b.GetProduct().GetLengthMm()) < 3000+2*120 {
			t.Errorf("beam of the bay: %v", b)
		}
	}
	for _, r := range p.GetRooms() {
		if r.GetState() != eventv1.RoomState_ROOM_STATE_LAID {
			t.Errorf("room %s: %s %s", r.GetRoom(), r.GetRefusal(), r.GetRefusalHelp())
		}
	}
}

func editRequest(requestID string, revision int32, room string, brief *layoutv1.RoomBrief, paths ...string) *layoutv1.EditRoomRequest {
	return &layoutv1.EditRoomRequest{Yard: yard, RequestId: requestID, JobId: "J-9", Floor: "2", Revision: revision, Room: room, Brief: brief,
		UpdateMask: &fieldmaskpb.FieldMask{Paths: paths}}
}

// TestEditCompareReorder edits a room of a draft and of an approved plan, and
// compares the revisions.
func TestEditCompareReorder(t *testing.T) {
	ctx, client := start(t, t.TempDir())
	must(client.SetCatalogue(ctx, catalogue("c1")))(t)
	first := must(client.ImportDrawing(ctx, outlinesImport("d1")))(t)
	before := plan(t, client, "2", 1, first.GetPosition()).GetPlan()

	// Only what the mask names is changed.
	brief := &layoutv1.RoomBrief{RoomName: "Not taken", Category: "B", ImposedKnPerM2: 3, FinishesKnPerM2: 9, Wishes: &eventv1.RoomWishes{BeamsPerRow: 2, Profile: "T150", DirectionDegrees: proto.Float64(90)}}
	request := editRequest("e1", 1, "03", brief, "category", "imposed_kn_per_m2", "wishes.profile")
	edited := must(client.EditRoom(ctx, request))(t)
	sameMessage(t, edited, must(client.EditRoom(ctx, request))(t))
	r := edited.GetRoom()
	if edited.GetPlan().GetRevision() != 1 || r.GetRoomName() != "Bay" || r.GetCategory() != "B" || r.GetImposedLoadNPerM2() != 3000 || r.GetFinishesLoadNPerM2() != 500 ||
		r.GetWishes().GetProfile() != "T150" || r.GetWishes().DirectionDegrees != nil || r.GetWishes().GetBeamsPerRow() != 2 {
		t.Errorf("edited: %v", r)
	}
	if d := r.GetDrawn(); d.GetCategory() != "A" || d.GetWishes().GetProfile() != "T190" {
		t.Errorf("drawn was: %v", d)
	}
	must(client.ApproveLayingPlan(ctx, &layoutv1.ApproveLayingPlanRequest{Yard: yard, RequestId: "a1", JobId: "J-9", Floor: "2", Revision: 1, Engineer: "Odalys Brenk"}))(t)

	second := must(client.EditRoom(ctx, editRequest("e2", 1, "03", &layoutv1.RoomBrief{Outline: []*eventv1.PlanPoint{
		{XMm: 9000, YMm: 0}, {XMm: 12_200, YMm: 0}, {XMm: 12_200, YMm: 2400}, {XMm: 9000, YMm: 2400}}}, "outline")))(t)
	if p := second.GetPlan(); p.GetRevision() != 2 || p.GetState() != layoutv1.PlanState_PLAN_STATE_DRAFT {
		t.Errorf("an approved plan that is edited: %v", p)
	}
	old := plan(t, client, "2", 1, second.GetPosition())
	if old.GetSummary().GetState() != layoutv1.PlanState_PLAN_STATE_APPROVED || roomNamed(t, old.GetPlan(), "03").GetClearSpanMm() != 3000 {
		t.Errorf("revision 1: %v", old.GetSummary())
	}
	now := plan(t, client, "2", 2, second.GetPosition()).GetPlan()
	for _, id := range []string{"01", "02"} {
		sameMessage(t, roomNamed(t, before, id), roomNamed(t, now, id))
	}
	reorder := &layoutv1.ReorderRoomsRequest{Yard: yard, RequestId: "o1", JobId: "J-9", Floor: "2", Revision: 2, Rooms: []string{"03", "01", "02"}}
	ordered := must(client.ReorderRooms(ctx, reorder))(t)
	sameMessage(t, ordered, must(client.ReorderRooms(ctx, reorder))(t))

	c := must(client.CompareRevisions(ctx, &layoutv1.CompareRevisionsRequest{Yard: yard, JobId: "J-9", Floor: "2", FromRevision: 1, ToRevision: 2, AtLeast: ordered.GetPosition()}))(t)
	bay := roomNamed(t, now, "03")
	if !c.GetLayingOrderChanged() || len(c.GetChanges()) != len(bay.GetBeams()) || int(c.GetUnchangedBeamCount())+len(c.GetChanges()) != int(ordered.GetPlan().GetBeamCount()) {
		t.Errorf("compared: %v", c)
	}
	for _, x := range c.GetChanges() {
		if x.GetKind() != layoutv1.BeamChangeKind_BEAM_CHANGE_KIND_REMADE || x.GetRoom() != "03" || x.GetAfter().GetLengthMm() != x.GetBefore().GetLengthMm()+200 || x.GetMovedMm() != 200 {
			t.Errorf("change: %v", x)
		}
	}
	same := must(client.CompareRevisions(ctx, &layoutv1.CompareRevisionsRequest{Yard: yard, JobId: "J-9", Floor: "2", FromRevision: 2, ToRevision: 2}))(t)
	if len(same.GetChanges()) > 0 || same.GetUnchangedBeamCount() != ordered.GetPlan().GetBeamCount() {
		t.Errorf("a revision differs from itself: %v", same)
	}
	_, err := client.CompareRevisions(ctx, &layoutv1.CompareRevisionsRequest{Yard: yard, JobId: "J-9", Floor: "2", FromRevision: 1, ToRevision: 3})
	wantFault(t, err, fault.NotFound, "PLAN_UNKNOWN")
}

// TestWrongDrawingInput: every request says where it is wrong.
func TestWrongDrawingInput(t *testing.T) {
	ctx, client := start(t, t.TempDir())
	_, err := client.ImportDrawing(ctx, outlinesImport("d0"))
	wantFault(t, err, fault.Stale, "CATALOGUE_MISSING")
	must(client.SetCatalogue(ctx, catalogue("c1")))(t)
	imported := must(client.ImportDrawing(ctx, outlinesImport("d1")))(t)

	bad := func(change func(*layoutv1.ImportDrawingRequest)) error {
		r := millImport(t, "d2")
		change(r)
		_, err := client.ImportDrawing(ctx, r)
		return err
	}
	for name, c := range map[string]struct {
		change func(*layoutv1.ImportDrawingRequest)
		reason string
		place  string
	}{
		"no yard":       {func(r *layoutv1.ImportDrawingRequest) { r.Yard = "No Yard" }, "BAD_REQUEST", "yard"},
		"no request id": {func(r *layoutv1.ImportDrawingRequest) { r.RequestId = "" }, "BAD_REQUEST", "request_id"},
		"no format":     {func(r *layoutv1.ImportDrawingRequest) { r.Format = 0 }, "BAD_REQUEST", "format"},
		"no content":    {func(r *layoutv1.ImportDrawingRequest) { r.Content = nil }, "BAD_REQUEST", "content"},
		"no job":        {func(r *layoutv1.ImportDrawingRequest) { r.JobId = "" }, "BAD_REQUEST", "job_id"},
		"blank job":     {func(r *layoutv1.ImportDrawingRequest) { r.JobId = " J" }, "BAD_ROWS", "job_id"},
		"floor":         {func(r *layoutv1.ImportDrawingRequest) { r.Floor = "1-2" }, "BAD_REQUEST", "floor"},
		"category":      {func(r *layoutv1.ImportDrawingRequest) { r.Category = "" }, "BAD_REQUEST", "category"},
		"endless load":  {func(r *layoutv1.ImportDrawingRequest) { r.FinishesKnPerM2 = math.Inf(1) }, "BAD_REQUEST", "finishes_kn_per_m2"},
		"no such layer": {func(r *layoutv1.ImportDrawingRequest) { r.RoomLayers = []string{"WALLS"} }, "DRAWING_NO_ROOMS", "room_layers"},
		"no drawing":    {func(r *layoutv1.ImportDrawingRequest) { r.Content = []byte("no drawing") }, "DRAWING_UNREADABLE", ""},
		"unit":          {func(r *layoutv1.ImportDrawingRequest) { r.UnitMm = 1000 }, "DRAWING_SIZE", ""},
		"no outlines":   {func(r *layoutv1.ImportDrawingRequest) { r.Format = 2 }, "OUTLINES_INVALID", "content"},
		"misspelt field": {func(r *layoutv1.ImportDrawingRequest) {
			r.Format, r.Content = 2, []byte(strings.Replace(outlines, `"profile"`, `"profil"`, 1))
		}, "OUTLINES_INVALID", "content"},
	} {
		t.Run(name, func(t *testing.T) {
			var places []string
			if c.place != "" {
				places = []string{c.place}
			}
			wantFault(t, bad(c.change), fault.Invalid, c.reason, places...)
		})
	}

	for name, c := range map[string]struct {
		request *layoutv1.EditRoomRequest
		kind    fault.Kind
		reason  string
		place   string
	}{
		"no mask":          {&layoutv1.EditRoomRequest{Yard: yard, RequestId: "e", JobId: "J-9", Floor: "2", Revision: 1, Room: "01", Brief: &layoutv1.RoomBrief{}}, fault.Invalid, "BAD_REQUEST", "update_mask"},
		"no brief":         {editRequest("e", 1, "01", nil, "room_name"), fault.Invalid, "BAD_REQUEST", "brief"},
		"wrong mask":       {editRequest("e", 1, "01", &layoutv1.RoomBrief{}, "wishes"), fault.Invalid, "BAD_EDIT", "update_mask"},
		"unknown room":     {editRequest("e", 1, "77", &layoutv1.RoomBrief{}, "room_name"), fault.NotFound, "ROOM_UNKNOWN", "room"},
		"unknown floor":    {editRequest("e", 2, "01", &layoutv1.RoomBrief{}, "room_name"), fault.NotFound, "PLAN_UNKNOWN", ""},
		"no category":      {editRequest("e", 1, "01", &layoutv1.RoomBrief{}, "category"), fault.Invalid, "BAD_EDIT", "category"},
		"load":             {editRequest("e", 1, "01", &layoutv1.RoomBrief{ImposedKnPerM2: -1}, "imposed_kn_per_m2"), fault.Invalid, "BAD_REQUEST", "brief.imposed_kn_per_m2"},
		"corners":          {editRequest("e", 1, "01", &layoutv1.RoomBrief{Outline: []*eventv1.PlanPoint{{}, {XMm: math.NaN()}, {XMm: 5}}}, "outline"), fault.Invalid, "BAD_EDIT", "outline"},
		"two corners":      {editRequest("e", 1, "01", &layoutv1.RoomBrief{Outline: []*eventv1.PlanPoint{{}, {XMm: 5}}}, "outline"), fault.Invalid, "BAD_EDIT", "outline"},
		"partition":        {editRequest("e", 1, "01", &layoutv1.RoomBrief{Partitions: []*eventv1.PlanPartition{{KnPerM: 1}}}, "partitions", "outline"), fault.Invalid, "BAD_EDIT", ""},
		"direction":        {editRequest("e", 1, "01", &layoutv1.RoomBrief{Wishes: &eventv1.RoomWishes{DirectionDegrees: proto.Float64(math.Inf(-1))}}, "wishes.direction_degrees"), fault.Invalid, "BAD_EDIT", "wishes.direction_degrees"},
		"stale revision 0": {editRequest("e", 0, "01", &layoutv1.RoomBrief{}, "room_name"), fault.Invalid, "BAD_REQUEST", "revision"},
	} {
		t.Run(name, func(t *testing.T) {
			var places []string
			if c.place != "" {
				places = []string{c.place}
			}
			_, err := client.EditRoom(ctx, c.request)
			wantFault(t, err, c.kind, c.reason, places...)
		})
	}
	must(client.ImportDrawing(ctx, outlinesImport("d3")))(t)
	_, err = client.EditRoom(ctx, editRequest("e", 1, "01", &layoutv1.RoomBrief{RoomName: "Hall"}, "room_name"))
	wantFault(t, err, fault.Stale, "NOT_NEWEST_REVISION", "revision")
	_, err = client.LeaveOut(ctx, &layoutv1.LeaveOutRequest{Yard: yard, RequestId: "l", JobId: "J-9", Floor: "2", Revision: 2, AllOpen: true})
	wantFault(t, err, fault.Invalid, "BAD_REQUEST", "reason")
	_, err = client.LeaveOut(ctx, &layoutv1.LeaveOutRequest{Yard: yard, RequestId: "l", JobId: "J-9", Floor: "2", Revision: 2, Problems: []int32{1}, Reason: "no"})
	wantFault(t, err, fault.NotFound, "PROBLEM_UNKNOWN", "problems")
	_, err = client.ReorderRooms(ctx, &layoutv1.ReorderRoomsRequest{Yard: yard, RequestId: "o", JobId: "J-9", Floor: "2", Revision: 2, Rooms: []string{"01"}})
	wantFault(t, err, fault.Invalid, "BAD_EDIT", "rooms")
	_, err = client.RenderDocuments(ctx, &layoutv1.RenderDocumentsRequest{Yard: yard, JobId: "J-9", Floor: "2", Sheet: "A4", Documents: []layoutv1.DocumentKind{1}})
	wantFault(t, err, fault.Invalid, "BAD_REQUEST", "sheet")
	_, err = client.RenderDocuments(ctx, &layoutv1.RenderDocumentsRequest{Yard: yard, JobId: "J-9", Floor: "2"})
	wantFault(t, err, fault.Invalid, "BAD_REQUEST", "documents")
	_, err = client.RenderDocuments(ctx, &layoutv1.RenderDocumentsRequest{Yard: yard, JobId: "J-9", Floor: "9", Documents: []layoutv1.DocumentKind{1}})
	wantFault(t, err, fault.NotFound, "PLAN_UNKNOWN")
	if p := plan(t, client, "2", 0, 0).GetSummary(); p.GetRevision() != 2 || imported.GetPlan().GetRevision() != 1 {
		t.Errorf("refusals led to revision %d", p.GetRevision())
	}
}

// TestDocuments makes every document of a stored plan and finds the plan's
// totals in them.
func TestDocuments(t *testing.T) {
	ctx, client := start(t, t.TempDir())
	must(client.SetCatalogue(ctx, catalogue("c1")))(t)
	imported := must(client.ImportDrawing(ctx, outlinesImport("d1")))(t)
	var kinds []layoutv1.DocumentKind
	for k := range layoutv1.DocumentKind_name {
		if k > 0 {
			kinds = append(kinds, layoutv1.DocumentKind(k))
		}
	}
	slices.Sort(kinds)
	ask := &layoutv1.RenderDocumentsRequest{Yard: yard, JobId: "J-9", Floor: "2", Documents: kinds, Sheet: "A3", AtLeast: imported.GetPosition()}
	made := must(client.RenderDocuments(ctx, ask))(t).GetDocuments()
	if len(made) != len(kinds) {
		t.Fatalf("%d documents of %d", len(made), len(kinds))
	}
	names := map[string]bool{}
	for i, d := range made {
		if d.GetKind() != kinds[i] || names[d.GetName()] || !strings.HasPrefix(d.GetName(), "J-9-floor-2-rev-1-draft-") {
			t.Errorf("document %d is a %v named %q", i, d.GetKind(), d.GetName())
		}
		names[d.GetName()] = true
		begins := map[string]string{".pdf": "%PDF", ".png": "\x89PNG", ".svg": "<svg", ".xlsx": "PK"}[filepath.Ext(d.GetName())]
		if !bytes.HasPrefix(d.GetContent(), []byte(begins)) {
			t.Errorf("%s begins with %q", d.GetName(), d.GetContent()[:8])
		}
	}
	s := imported.GetPlan()
	document := func(k layoutv1.DocumentKind) []byte { return made[slices.Index(kinds, k)].GetContent() }
	rows := must(csv.NewReader(bytes.NewReader(document(layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_CSV))).ReadAll())(t)
	if len(rows) != 1+int(s.GetBeamCount()) {
		t.Errorf("%d beams in the list of %d", len(rows)-1, s.GetBeamCount())
	}
	if got := sum(t, rows, "length_mm"); got != float64(s.GetBeamLengthMm()) {
		t.Errorf("beams of %g mm, want %d", got, s.GetBeamLengthMm())
	}
	checkWorkbook(t, document(layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_XLSX), s)
	drawn, err := dxf.Read(document(layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_DXF))
	if err != nil {
		t.Fatal(err)
	}
	beams, draft := 0, false
	for _, p := range drawn.Paths {
		if p.Layer == "BEAM_OUTLINES" && p.Closed {
			beams++
		}
	}
	for _, x := range drawn.Texts {
		draft = draft || strings.Contains(x.Value, "draft")
	}
	if beams != int(s.GetBeamCount()) || !draft {
		t.Errorf("%d beams of %d are drawn; marked as a draft: %v", beams, s.GetBeamCount(), draft)
	}

	// Nobody lays by a draft.
	lay := &layoutv1.DrawApprovedPlanRequest{Yard: yard, JobId: "J-9", Floor: "2", Revision: 1}
	_, err = client.DrawApprovedPlan(ctx, lay)
	wantFault(t, err, fault.Stale, "PLAN_NOT_APPROVED")
	must(client.ApproveLayingPlan(ctx, &layoutv1.ApproveLayingPlanRequest{Yard: yard, RequestId: "a1", JobId: "J-9", Floor: "2", Revision: 1, Engineer: "Odalys Brenk"}))(t)
	if drawn := must(client.DrawApprovedPlan(ctx, lay))(t).GetDrawing(); !bytes.HasPrefix(drawn, []byte("<svg")) || bytes.Contains(drawn, []byte("draft")) {
		t.Errorf("the approved plan is drawn as %.60q", drawn)
	}
	ask.Documents = []layoutv1.DocumentKind{layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_SVG}
	d := must(client.RenderDocuments(ctx, ask))(t).GetDocuments()[0]
	if d.GetName() != "J-9-floor-2-rev-1-laying-plan.svg" || bytes.Contains(d.GetContent(), []byte("draft")) {
		t.Errorf("%s of an approved plan", d.GetName())
	}
}

// sum adds up a column of a table.
func sum(t *testing.T, rows [][]string, column string) float64 {
	t.Helper()
	at := slices.Index(rows[0], column)
	if at < 0 {
		t.Fatalf("no column %s in %v", column, rows[0])
	}
	total := 0.0
	for _, r := range rows[1:] {
		total += must(strconv.ParseFloat(r[at], 64))(t)
	}
	return total
}

func checkWorkbook(t *testing.T, content []byte, s *layoutv1.PlanSummary) {
	t.Helper()
	book := must(excelize.OpenReader(bytes.NewReader(content)))(t)
	defer func() { _ = book.Close() }()
	blocks := 0.0
	for _, r := range must(book.GetRows("Quantities"))(t)[1:] {
		switch {
		case r[0] == "beams in all":
			want := []string{fmt.Sprint(s.GetBeamCount()), fmt.Sprint(float64(s.GetBeamLengthMm()) / 1000), fmt.Sprint(float64(s.GetBeamMassG()) / 1000)}
			if d := cmp.Diff(want, r[2:5]); d != "" {
				t.Errorf("beams in all (-want +got):\n%s", d)
			}
		case strings.HasPrefix(r[0], "blocks "):
			blocks += must(strconv.ParseFloat(r[2], 64))(t)
		}
	}
	if blocks != float64(s.GetBlockCount()) {
		t.Errorf("%g blocks, want %d", blocks, s.GetBlockCount())
	}
}

// TestPublicDrawings brings the public drawings whose rooms are known: their
// rooms are laid or refused with help, and the plan is approved once what is
// open is left out.
func TestPublicDrawings(t *testing.T) {
	folder := sharedtest.Dir(t, "floors", "dxf")
	ctx, client := start(t, t.TempDir())
	must(client.SetCatalogue(ctx, catalogue("c1")))(t)
	for i, g := range []struct {
		file, layer string
		unitMM      float64
		rooms       int
	}{
		{"plan-swiss-cm-ngf-large-reduced.dxf", "Z23_NGF-POLYGONE", 10, 49},
		{"plan-swiss-1og-raumpolygone.dxf", "Raumpolygone", 1000, 47},
	} {
		t.Run(g.file, func(t *testing.T) {
			content, err := os.ReadFile(filepath.Join(folder, g.file))
			if err != nil {
				t.Skipf("%s is not among the public drawings here: it is not tried", g.file)
			}
			req := &layoutv1.ImportDrawingRequest{
				Yard: yard, RequestId: fmt.Sprint("d", i), FileName: g.file, Format: layoutv1.FloorFormat_FLOOR_FORMAT_DXF, Content: content, JobId: "J-9", JobName: "Known floor",
				Floor: fmt.Sprint(i), RoomLayers: []string{g.layer}, UnitMm: g.unitMM, SmallestM2: 1, Category: "A", FinishesKnPerM2: 0.5,
			}
			imported := must(client.ImportDrawing(ctx, req))(t)
			p := plan(t, client, req.GetFloor(), 1, imported.GetPosition()).GetPlan()
			laid := 0
			for _, r := range p.GetRooms() {
				if r.GetState() == eventv1.RoomState_ROOM_STATE_LAID {
					laid++
				} else if r.GetRefusal() == "" || r.GetRefusalHelp() == "" {
					t.Errorf("room %s: %q %q", r.GetRoom(), r.GetRefusal(), r.GetRefusalHelp())
				}
			}
			if len(p.GetRooms()) != g.rooms || laid < g.rooms*2/3 {
				t.Errorf("%d rooms of %d, %d laid", len(p.GetRooms()), g.rooms, laid)
			}
			again := proto.Clone(req).(*layoutv1.ImportDrawingRequest)
			again.RequestId += "-again"
			second := must(client.ImportDrawing(ctx, again))(t)
			c := must(client.CompareRevisions(ctx, &layoutv1.CompareRevisionsRequest{Yard: yard, JobId: "J-9", Floor: req.GetFloor(), FromRevision: 1, ToRevision: 2, AtLeast: second.GetPosition()}))(t)
			if len(c.GetChanges()) > 0 || len(c.GetRoomsAdded())+len(c.GetRoomsRemoved()) > 0 || c.GetLayingOrderChanged() || c.GetUnchangedBeamCount() != imported.GetPlan().GetBeamCount() {
				t.Errorf("brought again it differs: %d changes, %v added, %v removed", len(c.GetChanges()), c.GetRoomsAdded(), c.GetRoomsRemoved())
			}
			if len(second.GetOpenPoints()) > 0 {
				must(client.LeaveOut(ctx, &layoutv1.LeaveOutRequest{Yard: yard, RequestId: req.GetRequestId() + "-l", JobId: "J-9", Floor: req.GetFloor(), Revision: 2, AllOpen: true, Reason: "in situ"}))(t)
			}
			approved := must(client.ApproveLayingPlan(ctx, &layoutv1.ApproveLayingPlanRequest{Yard: yard, RequestId: req.GetRequestId() + "-a", JobId: "J-9", Floor: req.GetFloor(), Revision: 2, Engineer: "Odalys Brenk"}))(t)
			t.Logf("%d rooms, %d laid, %d beams, %d problems", len(p.GetRooms()), laid, approved.GetPlan().GetBeamCount(), len(p.GetProblems()))
		})
	}
}
