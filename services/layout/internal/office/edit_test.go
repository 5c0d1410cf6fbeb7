package office_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
)

func placesOf(err error) []string {
	var f *fault.Error
	if !errors.As(err, &f) {
		return nil
	}
	var got []string
	for _, p := range f.Places {
		got = append(got, p.Where)
	}
	return got
}

// TestEditRefusals: what no room can be is refused with the field named, and
// nothing is changed.
func TestEditRefusals(t *testing.T) {
	at := func(x, y float64) geometry.Point { return geometry.Point{X: x, Y: y} }
	nan := math.NaN()
	s := must(t, withCatalogue(t), drawn(three()...))
	for name, c := range map[string]struct {
		brief  design.Room
		fields []office.Field
		places []string
	}{
		"unknown field":       {design.Room{}, []office.Field{"colour"}, []string{"update_mask"}},
		"name on two lines":   {design.Room{Name: "A\nB"}, []office.Field{office.FieldName}, []string{"room_name"}},
		"no category":         {design.Room{}, []office.Field{office.FieldCategory}, []string{"category"}},
		"endless load":        {design.Room{Loads: design.Loads{ImposedKNPerM2: math.Inf(1)}}, []office.Field{office.FieldImposed}, []string{"imposed_kn_per_m2"}},
		"negative finishes":   {design.Room{Loads: design.Loads{FinishesKNPerM2: -0.1}}, []office.Field{office.FieldFinishes}, []string{"finishes_kn_per_m2"}},
		"no direction":        {design.Room{DirectionDegrees: &nan}, []office.Field{office.FieldDirection}, []string{"wishes.direction_degrees"}},
		"endless profile":     {design.Room{Profile: strings.Repeat("T", 33)}, []office.Field{office.FieldProfile}, []string{"wishes.profile"}},
		"four in a row":       {design.Room{PerRow: 4}, []office.Field{office.FieldPerRow}, []string{"wishes.beams_per_row"}},
		"bearing of no size":  {design.Room{BearingMM: nan}, []office.Field{office.FieldBearing}, []string{"wishes.bearing_mm"}},
		"side that is none":   {design.Room{OpenSides: map[int]bool{4: true}}, []office.Field{office.FieldOpenSides}, []string{"open_sides"}},
		"corner nowhere":      {design.Room{Shape: geometry.Polygon{Outline: []geometry.Point{at(0, 0), at(nan, 0), at(0, 9)}}}, []office.Field{office.FieldOutline}, []string{"outline"}},
		"outline that is off": {design.Room{Shape: geometry.Polygon{Outline: []geometry.Point{at(0, 0), at(9, 9), at(9, 0), at(0, 9)}}}, []office.Field{office.FieldOutline}, []string{"outline"}},
		"hole outside":        {design.Room{Shape: geometry.Polygon{Holes: [][]geometry.Point{{at(-900, 0), at(9, 9), at(9, 0)}}}}, []office.Field{office.FieldHoles}, []string{"outline"}},
		"partition elsewhere": {design.Room{Partitions: []arrange.Partition{{From: at(0, 0), To: at(9000, 0), NPerMM: 1}}}, []office.Field{office.FieldPartitions}, []string{"partitions[0]"}},
		"partition nowhere":   {design.Room{Partitions: []arrange.Partition{{From: at(nan, 0), To: at(900, 0), NPerMM: 1}}}, []office.Field{office.FieldPartitions}, []string{"partitions[0]"}},
		"weightless wall":     {design.Room{Partitions: []arrange.Partition{{From: at(0, 0), To: at(900, 0), NPerMM: nan}}}, []office.Field{office.FieldPartitions}, []string{"partitions[0].kn_per_m"}},
	} {
		t.Run(name, func(t *testing.T) {
			events, err := office.Decide(s, edit(1, "01", c.brief, c.fields...))
			if len(events) > 0 || fault.KindOf(err) != fault.Invalid || fault.ReasonOf(err) != office.ReasonBadEdit {
				t.Fatalf("%d events, %v", len(events), err)
			}
			if d := cmp.Diff(c.places, placesOf(err)); d != "" {
				t.Errorf("places (-want +got):\n%s\n%v", d, err)
			}
		})
	}
}

// TestChangesOfWhatIsNotThere: a change names the newest revision of a floor
// and rooms and problems that are in it.
func TestChangesOfWhatIsNotThere(t *testing.T) {
	s := must(t, withCatalogue(t), drawn(three()...), drawn(three()...))
	for name, c := range map[string]struct {
		command office.Command
		kind    fault.Kind
		reason  string
		says    string
	}{
		"older revision":    {edit(1, "01", design.Room{}), fault.Stale, office.ReasonNotNewest, "look at revision 2"},
		"no such revision":  {edit(3, "01", design.Room{}), fault.NotFound, office.ReasonPlanUnknown, "no revision 3"},
		"no such floor":     {office.EditRoom{Job: "J1", Floor: "9", Revision: 1, Room: "01"}, fault.NotFound, office.ReasonPlanUnknown, "floor 9"},
		"no such room":      {edit(2, "04", design.Room{}), fault.NotFound, office.ReasonRoomUnknown, "01, 02, 03"},
		"room left unnamed": {office.ReorderRooms{Job: "J1", Floor: "1", Revision: 2, Rooms: []string{"03", "01"}}, fault.Invalid, office.ReasonBadEdit, `"02" is not named`},
		"room named twice":  {office.ReorderRooms{Job: "J1", Floor: "1", Revision: 2, Rooms: []string{"03", "01", "02", "03"}}, fault.Invalid, office.ReasonBadEdit, `"03" is named twice`},
		"room not there":    {office.ReorderRooms{Job: "J1", Floor: "1", Revision: 2, Rooms: []string{"03", "01", "02", "04"}}, fault.NotFound, office.ReasonRoomUnknown, "04"},
		"nothing open":      {office.LeaveOut{Job: "J1", Floor: "1", Revision: 2, AllOpen: true, Reason: "none"}, fault.Stale, office.ReasonNothingToDo, "Nothing"},
		"no reason":         {office.LeaveOut{Job: "J1", Floor: "1", Revision: 2, Rooms: []string{"01"}}, fault.Invalid, office.ReasonBadEdit, "Say why"},
		"no such problem":   {office.LeaveOut{Job: "J1", Floor: "1", Revision: 2, Problems: []int{1}, Reason: "none"}, fault.NotFound, office.ReasonProblemUnknown, "no problem"},
		"room to leave out": {office.LeaveOut{Job: "J1", Floor: "1", Revision: 2, Rooms: []string{"9"}, Reason: "none"}, fault.NotFound, office.ReasonRoomUnknown, "01, 02, 03"},
	} {
		t.Run(name, func(t *testing.T) {
			events, err := office.Decide(s, c.command)
			if len(events) > 0 || fault.KindOf(err) != c.kind || fault.ReasonOf(err) != c.reason || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%d events, %v", len(events), err)
			}
		})
	}
}

// TestDrawingRefusals: a drawing that cannot be a floor is refused with every
// place named.
func TestDrawingRefusals(t *testing.T) {
	s := withCatalogue(t)
	change := func(f func(*office.DraftDrawing)) office.DraftDrawing {
		c := drawn(three()...)
		f(&c)
		return c
	}
	for name, c := range map[string]struct {
		command office.DraftDrawing
		places  []string
	}{
		"no file":         {change(func(c *office.DraftDrawing) { c.SourceFile = "" }), []string{"file_name"}},
		"no job":          {change(func(c *office.DraftDrawing) { c.Job, c.JobName = " ", "" }), []string{"job_id", "job_name"}},
		"floor":           {change(func(c *office.DraftDrawing) { c.Floor = "1-a" }), []string{"floor"}},
		"no rooms":        {change(func(c *office.DraftDrawing) { c.Rooms = nil }), []string{"rooms"}},
		"problems":        {change(func(c *office.DraftDrawing) { c.Problems = make([]office.Problem, 2001) }), []string{"problems"}},
		"room names":      {change(func(c *office.DraftDrawing) { c.Rooms[0].ID, c.Rooms[1].ID, c.Rooms[2].ID = "a", "A", "x-y" }), []string{"room A", "room x-y"}},
		"what is asked":   {change(func(c *office.DraftDrawing) { c.Rooms[2].PerRow, c.Rooms[0].Loads.Category = 9, "Z" }), []string{"room 01, category", "room 03, wishes.beams_per_row"}},
		"corner nowhere":  {change(func(c *office.DraftDrawing) { c.Rooms[1].Shape.Outline[2].X = 2e8 }), []string{"room 02, outline"}},
		"too many rooms":  {change(func(c *office.DraftDrawing) { c.Rooms = grid(501) }), []string{"rooms"}},
		"too many bytes":  {change(func(c *office.DraftDrawing) { c.Problems = wordy(2000) }), []string{"job J1, floor 1"}},
		"cut after these": {change(func(c *office.DraftDrawing) { c.Rooms = twice(grid(400)) }), nil},
	} {
		t.Run(name, func(t *testing.T) {
			events, err := office.Decide(s, c.command)
			if len(events) > 0 || fault.KindOf(err) != fault.Invalid || fault.ReasonOf(err) != office.ReasonBadRows {
				t.Fatalf("%d events, %v", len(events), err)
			}
			got := placesOf(err)
			if c.places == nil && len(got) == 101 {
				return
			}
			if d := cmp.Diff(c.places, got); d != "" {
				t.Errorf("places (-want +got):\n%s\n%v", d, err)
			}
		})
	}
}

func grid(n int) []design.Room {
	var rooms []design.Room
	for i := range n {
		rooms = append(rooms, officetest.Box(fmt.Sprintf("%03d", i), i+1, float64(i%20)*3000, float64(i/20)*3000, 2500, 2500))
	}
	return rooms
}

func twice(rooms []design.Room) []design.Room {
	for i := range rooms {
		rooms[i].ID = "1"
	}
	return rooms
}

func wordy(n int) []office.Problem {
	problems := make([]office.Problem, n)
	for i := range problems {
		problems[i].What = strings.Repeat("crosses itself ", 300)
	}
	return problems
}

// TestPlansGrowNoLarger: what a plan may not be when it is imported, it may not
// become.
func TestPlansGrowNoLarger(t *testing.T) {
	c := drawn(three()...)
	c.Problems = make([]office.Problem, 2000)
	s := must(t, withCatalogue(t), c)
	leave := office.LeaveOut{Job: mill.Job, Floor: mill.Floor, Revision: 1, AllOpen: true, Reason: strings.Repeat("\U00010400", 1000)}
	events, err := office.Decide(s, leave)
	if len(events) > 0 || fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "would become too large") {
		t.Errorf("%d events, %v", len(events), err)
	}
	leave.Reason = "dimension lines"
	must(t, s, leave)
}
