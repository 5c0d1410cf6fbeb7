package allinone_test

import (
	"bytes"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"path/filepath"
	"strings"
	"testing"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/spanyard/demo"
	"spanyard.example/services/spanyard/internal/allinone"
	"spanyard.example/services/spanyard/internal/yardfile"
)

var fennimore = auth.Person{Name: "Fennimore Dabbletwig", Roles: []auth.Role{auth.DrawingOffice}}

// upload sends a form with a file, as the page at from has it.
func (b *browser) upload(from, path, name string, content []byte, fields ...string) answer {
	b.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	fields = append(fields, "request_id", fmt.Sprintf("%s %s %d", path, name, len(content)))
	if m := formToken.FindStringSubmatch(b.get(from).text); m != nil {
		fields = append(fields, "form_token", m[1])
	}
	for i := 0; i+1 < len(fields); i += 2 {
		if err := form.WriteField(fields[i], fields[i+1]); err != nil {
			b.t.Fatal(err)
		}
	}
	part, err := form.CreateFormFile("file", name)
	if err == nil {
		_, err = part.Write(content)
	}
	if err == nil {
		err = form.Close()
	}
	if err != nil {
		b.t.Fatal(err)
	}
	req, err := http.NewRequestWithContext(b.t.Context(), http.MethodPost, b.base+path, &body)
	if err != nil {
		b.t.Fatal(err)
	}
	req.Header.Set("Content-Type", form.FormDataContentType())
	resp, err := b.http.Do(req)
	if err != nil {
		b.t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return answer{resp.StatusCode, resp.Header, string(text), resp.Request.URL.Path}
}

// catalogued sets the demo's catalogue.
func catalogued(t *testing.T, h *allinone.House) {
	t.Helper()
	content, err := demo.Files.ReadFile("catalogue.yaml")
	if err != nil {
		t.Fatal(err)
	}
	req := &layoutv1.SetCatalogueRequest{}
	if err := yardfile.Read("catalogue.yaml", content, req, "yard", "request_id"); err != nil {
		t.Fatal(err)
	}
	req.Yard, req.RequestId = "y1", "catalogue"
	conn, err := rpc.Dial(h.Address())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := layoutv1.NewLayoutServiceClient(conn).SetCatalogue(rpc.AsActor(t.Context(), fennimore.Name), req); err != nil {
		t.Fatal(err)
	}
}

// officeBrowser sits at the drawing office's desk.
func officeBrowser(t *testing.T) *browser {
	t.Helper()
	h, _ := withDesk(t, fennimore, rosamund)
	b := newBrowser(t, h)
	want(t, "floors without a catalogue", b.get(h.DeskAddress()+"&to=/floors"), http.StatusOK, "There is no laying plan yet", "spanyard catalogue set")
	catalogued(t, h)
	want(t, "no floors", b.get("/floors"), http.StatusOK, "There is no laying plan yet", "Bring a floor")
	return b
}

// dxf is a drawing of two rooms, one of them too wide for any beam, and a line
// that belongs to nothing.
func dxf(layer string) []byte {
	var d strings.Builder
	pair := func(code int, value any) { fmt.Fprintf(&d, "%d\n%v\n", code, value) }
	pair(0, "SECTION")
	pair(2, "HEADER")
	pair(9, "$INSUNITS")
	pair(70, 4)
	pair(0, "ENDSEC")
	pair(0, "SECTION")
	pair(2, "ENTITIES")
	for _, r := range [][4]int{{0, 0, 4000, 5200}, {5000, 0, 14000, 14000}} {
		pair(0, "LWPOLYLINE")
		pair(8, layer)
		pair(90, 4)
		pair(70, 1)
		for _, c := range [][2]int{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
			pair(10, r[0]+c[0]*r[2])
			pair(20, r[1]+c[1]*r[3])
		}
	}
	pair(0, "LINE")
	pair(8, layer)
	pair(10, 30000)
	pair(20, 0)
	pair(11, 30500)
	pair(21, 0)
	pair(0, "ENDSEC")
	pair(0, "EOF")
	return []byte(d.String())
}

var drawingFields = []string{
	"job", "J1", "job_name", "Thimble Row", "floor", "1", "room_layers", "ROOMS", "unit_mm", "0", "smallest_m2", "1", "category", "A", "imposed", "", "finishes", "1,2",
}

func TestDeskBringsADrawingToAnApprovedFloor(t *testing.T) {
	b := officeBrowser(t)
	bring := func(name string, content []byte) answer {
		return b.upload("/floors/new", "/floors/drawing", name, content, drawingFields...)
	}
	want(t, "a picture", bring("plan.png", []byte("x")), http.StatusUnprocessableEntity, "plan.png is no drawing", "Thimble Row")
	want(t, "an empty file", bring("plan.dxf", nil), http.StatusUnprocessableEntity, "plan.dxf is empty")
	want(t, "other layers", bring("plan.dxf", dxf("WALLS")), http.StatusUnprocessableEntity, "WALLS (3)", `value="ROOMS"`)
	want(t, "the drawing", bring("plan.dxf", dxf("ROOMS")), http.StatusOK, "Revision 1 is drawn up", "Open points: 2", "1 on layer ROOMS", "Draft")
	want(t, "the list", b.get("/floors"), http.StatusOK, "J1, floor 1", "open points: 2")

	page := b.get("/floors/J1/1")
	if strings.Contains(page.text, "/approve") || strings.Contains(page.text, "style=") {
		t.Error("a floor with open points can be approved, or has a style of its own")
	}
	leave := []string{"revision", "1", "reason", "cast on site", "all", "yes"}
	want(t, "no reason", b.post("/floors/J1/1", "/floors/J1/1/leave-out", "revision", "1", "all", "yes"), http.StatusUnprocessableEntity, "Not done.")
	want(t, "left out", b.post("/floors/J1/1", "/floors/J1/1/leave-out", append(leave, "request_id", "l1")...), http.StatusOK, "Still open: 0", "cast on site", "Approve revision 1")
	want(t, "the order", b.post("/floors/J1/1", "/floors/J1/1/order", "revision", "1", "order_room", "01", "order", "first"), http.StatusUnprocessableEntity, "is no number")
	want(t, "the approval", b.post("/floors/J1/1", "/floors/J1/1/approve", "revision", "1", "engineer", "Isolde Thornwhistle", "request_id", "a1"), http.StatusOK, "Revision 1 is approved; Isolde Thornwhistle answers for it.")
	for file, head := range map[string]string{
		"drawing.pdf?sheet=A1": "%PDF", "drawing.svg": "<svg", "drawing.png": "\x89PNG", "drawing.dxf": "", "quantities.xlsx": "PK", "quantities.csv": "", "quantities.pdf": "%PDF", "calculations.pdf": "%PDF",
	} {
		if a := b.get("/floors/J1/1/papers/" + file); a.status != http.StatusOK || !strings.HasPrefix(a.text, head) || !strings.Contains(a.header.Get("Content-Disposition"), "attachment") {
			t.Errorf("%s: %d %.40q", file, a.status, a.text)
		}
	}
	sheet := b.get("/floors/J1/1/sheet.svg")
	if sheet.status != http.StatusOK || !strings.Contains(sheet.header.Get("Content-Security-Policy"), "sandbox") {
		t.Errorf("the sheet: %d, %v", sheet.status, sheet.header)
	}
	want(t, "an unknown sheet", b.get("/floors/J1/1/papers/secrets.pdf"), http.StatusNotFound, "There is no such page.")
	want(t, "an unknown revision", b.get("/floors/J1/1?revision=7"), http.StatusNotFound, "Not done.")
	want(t, "no revision", b.get("/floors/J1/1?revision=x"), http.StatusNotFound, "There is no revision x")
	want(t, "an unknown room", b.get("/floors/J1/1/room/77"), http.StatusNotFound, "has no room 77")
	want(t, "one revision", b.get("/floors/J1/1/compare"), http.StatusOK, "one revision")
	want(t, "a search", b.get("/find?q=J1"), http.StatusOK, `href="/floors/J1/1?revision=1"`)
}

func TestDeskChangesARoomAndThePlanFollows(t *testing.T) {
	b := officeBrowser(t)
	csv := "job,job_name,floor,room,room_name,laying_order,clear_span_mm,width_mm,span_direction,bearing_mm,category,imposed_load_kn_m2,finishes_load_kn_m2,profile,wire_pattern,block_kind,beams_per_row\n" +
		"J2,Quill Lane,1,01,Parlour,1,3380,4200,x,100,A,1.5,1.2,,,K520,\nJ2,Quill Lane,1,02,Pantry,2,2780,3600,y,100,A,1.5,1.2,,,K520,\n"
	want(t, "bad cells", b.upload("/floors/new", "/floors/schedule", "rooms.csv", []byte(strings.Replace(csv, "3380", "wide", 1))), http.StatusUnprocessableEntity, "clear_span_mm")
	want(t, "the schedule", b.upload("/floors/new", "/floors/schedule", "rooms.csv", []byte(csv)), http.StatusOK, "Revision 1 is drawn up from rooms.csv", "Parlour", "their places on the sheet are not")
	want(t, "the approval", b.post("/floors/J2/1", "/floors/J2/1/approve", "revision", "1", "engineer", "Isolde Thornwhistle"), http.StatusOK, "is approved")

	const room = "/floors/J2/1/room/01"
	page := b.get(room)
	want(t, "the room", page, http.StatusOK, "1-01-01", "The change makes revision 2", "along x, left to right")
	fields := func(more ...string) []string {
		_, was, _ := strings.Cut(b.get(room).text, `name="was" value="`)
		was, _, _ = strings.Cut(was, `"`)
		return append([]string{
			"was", strings.ReplaceAll(was, "&amp;", "&"), "room_name", "Parlour", "category", "A", "imposed_kn_per_m2", "1.5", "finishes_kn_per_m2", "1.2", "direction", "0", "degrees", "",
			"wishes.profile", "", "wishes.wire_pattern", "", "wishes.block_kind", "K520", "wishes.beams_per_row", "0", "wishes.bearing_mm", "100",
		}, more...)
	}
	want(t, "nothing", b.post(room, room, fields("revision", "1")...), http.StatusUnprocessableEntity, "Nothing in the form of room 01 differs")
	want(t, "no number", b.post(room, room, fields("revision", "1", "imposed_kn_per_m2", "heavy")...), http.StatusUnprocessableEntity, `&#34;heavy&#34; is no number`, `value="heavy"`)
	want(t, "half a partition", b.post(room, room, fields("revision", "1", "wall_1_x1", "100", "wall_1_y1", "", "wall_1_x2", "", "wall_1_y2", "", "wall_1_load", "")...), http.StatusUnprocessableEntity, "is not whole")
	want(t, "a load and a partition", b.post(room, room, fields("revision", "1", "request_id", "e1", "imposed_kn_per_m2", "2,5",
		"wall_1_x1", "1000", "wall_1_y1", "500", "wall_1_x2", "1000", "wall_1_y2", "3000", "wall_1_load", "3.5")...), http.StatusOK,
		"Room 01 is laid anew in revision 2", "imposed 2.5", "3.5 kN/m", "differ from revision 1", `value="1000"`)
	want(t, "another direction", b.post(room, room, fields("revision", "2", "request_id", "e2", "imposed_kn_per_m2", "2.5", "direction", "90")...), http.StatusOK, "Room 01", "along y, up and down")
	want(t, "an old form", b.post(room, room, fields("revision", "1", "request_id", "e3", "direction", "45")...), http.StatusConflict, "Not done.")
	want(t, "the first revision", b.get("/floors/J2/1?revision=1"), http.StatusOK, "This is revision 1; the newest is 2.")
	want(t, "the comparison", b.get("/floors/J2/1/compare?from=1&to=2"), http.StatusOK, "beams are as before", "Room 01", "The yard has for it")
	want(t, "the same twice", b.get("/floors/J2/1/compare?from=2&to=2"), http.StatusOK, "Choose two different revisions.")
	want(t, "the order", b.post("/floors/J2/1", "/floors/J2/1/order", "revision", "2", "order_room", "02", "order", "0.5"), http.StatusUnprocessableEntity, "every room of the floor")
}

// Whoever is no drawing office looks, and the layout service refuses the rest.
func TestDeskKeepsFloorsToTheDrawingOffice(t *testing.T) {
	b := officeBrowser(t)
	want(t, "the drawing", b.upload("/floors/new", "/floors/drawing", "plan.dxf", dxf("ROOMS"), drawingFields...), http.StatusOK, "is drawn up")
	b.post("/", "/take", "name", rosamund.Name)
	for _, path := range []string{"/floors", "/floors/new", "/floors/J1/1", "/floors/J1/1/room/01"} {
		if a := b.get(path); a.status != http.StatusOK || strings.Contains(a.text, `method="post" action="/floors`) {
			t.Errorf("%s: %d, with forms of the drawing office", path, a.status)
		}
	}
	want(t, "a drawing by the dispatcher", b.upload("/floors", "/floors/drawing", "other.dxf", dxf("ROOMS"), drawingFields...), http.StatusForbidden, "That is for the drawing office.")
	want(t, "an approval by the dispatcher", b.post("/floors", "/floors/J1/1/approve", "revision", "1", "engineer", "Me"), http.StatusForbidden, "That is for the drawing office.")
	want(t, "a paper for the dispatcher", b.get("/floors/J1/1/papers/drawing.pdf"), http.StatusOK, "%PDF")
}

// A file that is too large is refused, and none stays on the disk.
func TestDeskBoundsUploads(t *testing.T) {
	folder := t.TempDir()
	t.Setenv("TMPDIR", folder)
	b := officeBrowser(t)
	large := bytes.Repeat([]byte("0\nEOF\n"), 9<<20/6)
	want(t, "a large schedule", b.upload("/floors/new", "/floors/schedule", "rooms.csv", large), http.StatusUnprocessableEntity, "larger than 8 MiB")
	want(t, "a drawing that is none", b.upload("/floors/new", "/floors/drawing", "plan.dxf", large, drawingFields...), http.StatusUnprocessableEntity, "Not done.")
	left, err := filepath.Glob(filepath.Join(folder, "multipart-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("uploads stay on the disk: %v, %v", left, err)
	}
}
