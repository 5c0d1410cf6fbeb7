package pages

import (
	"path"
	"strconv"
	"strings"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

// Limits of uploaded files: the drawing's is the desk's own, the schedule's
// that of its contract.
const (
	mostDrawingBytes  = shell.MostUploadBytes
	mostScheduleBytes = 8 << 20
)

// newFloorView is the forms that bring a floor in.
type newFloorView struct {
	// Entered is what the form had in it, or begins with.
	Entered map[string]string
	// Again: a floor that is there already gets its next revision.
	Again                     bool
	CanEdit                   bool
	DrawingBytes, DrawingMiB  int64
	ScheduleBytes, SchedulMiB int64
	Categories                []string
	Units                     []unit
}

// unit of a drawing, in millimetres; 0 believes the file.
type unit struct{ MM, Key string }

// beginnings of the form's fields.
var beginnings = map[string]string{
	"job": "", "job_name": "", "floor": "", "room_layers": "*", "opening_layers": "", "unit_mm": "0", "smallest_m2": "1", "category": "A", "imposed": "", "finishes": "1.2",
}

func newFloor(r *shell.Request) error {
	v := newFloorView{
		Entered: map[string]string{}, CanEdit: r.Person().Has(auth.DrawingOffice), Categories: categories,
		DrawingBytes: mostDrawingBytes, DrawingMiB: mostDrawingBytes >> 20, ScheduleBytes: mostScheduleBytes, SchedulMiB: mostScheduleBytes >> 20,
		Units: []unit{{"0", "floors.unit.file"}, {"1", "floors.unit.mm"}, {"10", "floors.unit.cm"}, {"1000", "floors.unit.m"}, {"25.4", "floors.unit.in"}, {"304.8", "floors.unit.ft"}},
	}
	for field, value := range beginnings {
		v.Entered[field] = value
		if r.R.Form.Has(field) || r.R.URL.Query().Has(field) {
			v.Entered[field] = r.Form(field)
		}
	}
	v.Again = v.Entered["job"] != "" && r.Problem == nil
	return r.Show("floornew", v)
}

// categories of use (EN 1991-1-1, table 6.1).
var categories = []string{"A", "B", "C", "D", "E"}

// refused shows the forms again with what was refused.
func refused(r *shell.Request, err error) error {
	r.Problem = err
	return newFloor(r)
}

func bringDrawing(r *shell.Request) error {
	name, content, err := r.File("file", mostDrawingBytes)
	if err != nil {
		return refused(r, err)
	}
	req := &layoutv1.ImportDrawingRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), FileName: name, Content: content, Format: layoutv1.FloorFormat_FLOOR_FORMAT_DXF,
		JobId: r.Form("job"), JobName: r.Form("job_name"), Floor: r.Form("floor"), Category: r.Form("category"),
		RoomLayers: namesIn(r.Form("room_layers")), OpeningLayers: namesIn(r.Form("opening_layers")),
	}
	switch strings.ToLower(path.Ext(name)) {
	case ".dxf":
	case ".json":
		req.Format = layoutv1.FloorFormat_FLOOR_FORMAT_OUTLINES
	default:
		return refused(r, fault.New(fault.Invalid, "FILE_FORMAT_UNKNOWN", "%s", r.Shell().Words.Say("floors.no_drawing", name)))
	}
	f := numbers{say: r.Shell().Words.Say, bad: fault.New(fault.Invalid, "FIELD_INVALID", "%s", r.Shell().Words.Say("floors.not_brought", name))}
	req.UnitMm = f.number("floors.unit", r.Form("unit_mm"))
	req.SmallestM2 = f.number("floors.smallest", r.Form("smallest_m2"))
	req.FinishesKnPerM2 = f.number("room.finishes", r.Form("finishes"))
	if text := r.Form("imposed"); text != "" {
		imposed := f.number("room.imposed", text)
		req.ImposedKnPerM2 = &imposed
	}
	if err := f.err(); err != nil {
		return refused(r, err)
	}
	answer, err := r.Shell().Layout.ImportDrawing(r.Ctx(), req)
	if err != nil {
		return refused(r, err)
	}
	p := answer.GetPlan()
	return r.Go(floorPath(p.GetJobId(), p.GetFloor()), "floors.said.drawn", p.GetRevision(), figureOf(answer.GetUnitMm()),
		strconv.FormatFloat(answer.GetWidthM(), 'f', 2, 64), strconv.FormatFloat(answer.GetHeightM(), 'f', 2, 64), p.GetRoomCount(), len(answer.GetOpenPoints()))
}

// namesIn a field, apart by commas or lines.
func namesIn(text string) []string {
	var names []string
	for _, name := range strings.FieldsFunc(text, func(c rune) bool { return c == ',' || c == '\n' || c == '\r' }) {
		if name = strings.TrimSpace(name); name != "" {
			names = append(names, name)
		}
	}
	return names
}

var scheduleFormats = map[string]layoutv1.FileFormat{
	".xlsx": layoutv1.FileFormat_FILE_FORMAT_XLSX, ".csv": layoutv1.FileFormat_FILE_FORMAT_CSV, ".json": layoutv1.FileFormat_FILE_FORMAT_JSON,
}

func bringSchedule(r *shell.Request) error {
	name, content, err := r.File("file", mostScheduleBytes)
	if err != nil {
		return refused(r, err)
	}
	format, ok := scheduleFormats[strings.ToLower(path.Ext(name))]
	if !ok {
		return refused(r, fault.New(fault.Invalid, "FILE_FORMAT_UNKNOWN", "%s", r.Shell().Words.Say("floors.no_schedule", name)))
	}
	answer, err := r.Shell().Layout.ImportRoomSchedule(r.Ctx(), &layoutv1.ImportRoomScheduleRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), FileName: name, Format: format, Content: content,
	})
	if err != nil {
		return refused(r, err)
	}
	plans := answer.GetPlans()
	if len(plans) == 1 {
		p := plans[0]
		return r.Go(floorPath(p.GetJobId(), p.GetFloor()), "floors.said.scheduled", p.GetRevision(), name, p.GetRoomCount(), p.GetOpenPointCount())
	}
	var open int32
	for _, p := range plans {
		open += p.GetOpenPointCount()
	}
	return r.Go("/floors?state=draft", "floors.said.schedule", len(plans), name, open)
}

// numbers reads numbers of a form and notes what is none.
type numbers struct {
	say func(string, ...any) string
	bad *fault.Error
}

// number of a field, with a point or a comma before the decimals; empty is 0.
func (f *numbers) number(field, text string) float64 {
	if text = strings.TrimSpace(text); text == "" {
		return 0
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
	if err != nil || v != v || v > 1e12 || v < -1e12 {
		f.bad.At(f.say(field), text, f.say("floors.no_number"), f.say("floors.number_allowed"))
		return 0
	}
	return v
}

func (f *numbers) err() error {
	if len(f.bad.Places) > 0 {
		return f.bad
	}
	return nil
}
