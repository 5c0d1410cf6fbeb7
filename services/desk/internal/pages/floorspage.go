package pages

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

// floorView is one revision of a floor.
type floorView struct {
	floorRow
	Revisions []floorRow
	// Newest revision of the floor; changes are made to it alone.
	Newest int32
	// CanEdit: the person may change this revision, or what it leads to.
	CanEdit bool
	// Unchecked: from before strength was computed; nothing to draw.
	Unchecked bool
	Schematic bool
	Open      []*layoutv1.OpenPoint
	Problems  []problemGroup
	LeftOut   []problemGroup
	Rooms     []roomRow
	Picture   *picture
	Papers    []paper
	Zone      *time.Location
	// Before is the revision to compare with; 0 when there is none.
	Before int32
	// Entered is what a refused form had in it.
	Entered map[string]string
}

// problemGroup is what is wrong in the same way with entities of one layer of a
// drawing: they are mended, or left out, together.
type problemGroup struct {
	Layer, What, Reason string
	// Numbers of the problems, apart by commas.
	Numbers  string
	Entities []string
	Count    int
}

// mostEntities of a group that are named.
const mostEntities = 12

// roomRow is a room in the list.
type roomRow struct {
	*layouteventv1.RoomPlan
	State  string
	AreaM2 string
	// Products are the beams by profile and wires, with their number.
	Products string
	LongestM string
	// Full is the fullest beam in per cent, FullBar the same for a bar that
	// ends at 100; Check is what governs it.
	Full, FullBar int
	Check         string
	Direction     string
	Loads         string
}

func revisionOf(r *shell.Request) (int32, error) {
	text := r.Form("revision")
	if text == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil || n < 1 {
		return 0, fault.New(fault.NotFound, "REVISION_UNKNOWN", "%s", r.Shell().Words.Say("floors.no_revision", text))
	}
	return int32(n), nil
}

// planOf the page's floor; revision 0 is the newest.
func planOf(r *shell.Request, revision int32) (*layoutv1.GetLayingPlanResponse, error) {
	return r.Shell().Layout.GetLayingPlan(r.Ctx(), &layoutv1.GetLayingPlanRequest{
		Yard: r.Shell().Yard, JobId: r.R.PathValue("job"), Floor: r.R.PathValue("floor"), Revision: revision,
	})
}

func floor(r *shell.Request) error {
	revision, err := revisionOf(r)
	if err != nil {
		return err
	}
	return showFloor(r, revision)
}

func showFloor(r *shell.Request, revision int32) error {
	answer, err := planOf(r, revision)
	if err != nil {
		return err
	}
	v := floorView{floorRow: floorRowOf(answer.GetSummary()), Zone: r.Zone(), Entered: map[string]string{}}
	if v.Revisions, err = revisionsOf(r); err != nil {
		return err
	}
	v.Newest = v.GetRevision()
	if len(v.Revisions) > 0 {
		v.Newest = v.Revisions[0].GetRevision()
	}
	plan := answer.GetPlan()
	v.Unchecked = v.GetStrength() == layouteventv1.Strength_STRENGTH_NOT_CHECKED
	v.Schematic = plan.GetSchematic()
	v.CanEdit = r.Person().Has(auth.DrawingOffice) && v.GetRevision() == v.Newest && !v.Unchecked
	v.openPoints(answer)
	for _, p := range plan.GetRooms() {
		v.Rooms = append(v.Rooms, roomRowOf(r, p))
	}
	v.Picture = floorPicture(plan.GetRooms(), v.roomPath(""))
	if !v.Unchecked {
		v.Papers = floorPapersOf(v.Path, v.GetRevision())
	}
	v.Before = v.GetRevision() - 1
	for _, field := range []string{"reason", "engineer", "remark"} {
		v.Entered[field] = r.R.PostFormValue(field)
	}
	return r.Show("floor", v)
}

// roomPath is where a room's page lies; the room itself is added by the
// picture.
func (v *floorView) roomPath(room string) string { return v.Path + "/room/" + room }

// revisionsOf the page's floor, the newest first.
func revisionsOf(r *shell.Request) ([]floorRow, error) {
	plans, err := allPlans(r, r.R.PathValue("job"))
	if err != nil {
		return nil, err
	}
	var rows []floorRow
	for _, p := range plans {
		if p.GetFloor() == r.R.PathValue("floor") {
			rows = append(rows, floorRowOf(p))
		}
	}
	return rows, nil
}

// openPoints sorts what is open and what was left out: rooms one by one,
// entities of the drawing in groups.
func (v *floorView) openPoints(answer *layoutv1.GetLayingPlanResponse) {
	problems := answer.GetPlan().GetProblems()
	open := map[int]bool{}
	for _, o := range answer.GetOpenPoints() {
		if o.GetRoom() != "" {
			v.Open = append(v.Open, o)
		} else {
			open[int(o.GetProblem())] = true
		}
	}
	for i, p := range problems {
		switch {
		case open[i+1]:
			v.Problems = intoGroup(v.Problems, i+1, p)
		case p.GetLeftOutReason() != "":
			v.LeftOut = intoGroup(v.LeftOut, i+1, p)
		}
	}
	for _, groups := range [][]problemGroup{v.Problems, v.LeftOut} {
		slices.SortStableFunc(groups, func(a, b problemGroup) int { return cmp.Compare(b.Count, a.Count) })
	}
}

func intoGroup(groups []problemGroup, number int, p *layouteventv1.PlanProblem) []problemGroup {
	at := slices.IndexFunc(groups, func(g problemGroup) bool {
		return g.Layer == p.GetLayer() && g.What == p.GetProblem() && g.Reason == p.GetLeftOutReason()
	})
	if at < 0 {
		at = len(groups)
		groups = append(groups, problemGroup{Layer: p.GetLayer(), What: p.GetProblem(), Reason: p.GetLeftOutReason()})
	}
	g := &groups[at]
	if g.Count++; g.Count > 1 {
		g.Numbers += ","
	}
	g.Numbers += strconv.Itoa(number)
	if len(g.Entities) < mostEntities {
		g.Entities = append(g.Entities, p.GetEntity())
	}
	return groups
}

// roomState in a word: laid, refused, left, unchecked.
func roomState(p *layouteventv1.RoomPlan) string {
	switch p.GetState() {
	case layouteventv1.RoomState_ROOM_STATE_LAID:
		return "laid"
	case layouteventv1.RoomState_ROOM_STATE_REFUSED:
		return "refused"
	case layouteventv1.RoomState_ROOM_STATE_LEFT_OUT:
		return "left"
	default:
		return "unchecked"
	}
}

func roomRowOf(r *shell.Request, p *layouteventv1.RoomPlan) roomRow {
	say := r.Shell().Words.Say
	row := roomRow{RoomPlan: p, State: roomState(p), AreaM2: strconv.FormatFloat(areaOf(p)/1e6, 'f', 1, 64)}
	row.Loads = say("room.loads", kilonewtons(p.GetImposedLoadNPerM2()), kilonewtons(p.GetFinishesLoadNPerM2()))
	if p.GetCategory() != "" {
		row.Loads = say("room.category_is", p.GetCategory()) + ", " + row.Loads
	}
	var longest int32
	var kinds []string
	counts := map[string]int{}
	fullest := 0.0
	for _, b := range p.GetBeams() {
		kind := b.GetProduct().GetProfile() + "/" + b.GetProduct().GetWirePattern()
		if counts[kind]++; counts[kind] == 1 {
			kinds = append(kinds, kind)
		}
		longest = max(longest, b.GetProduct().GetLengthMm())
		if b.GetFullness() > fullest {
			fullest, row.Check = b.GetFullness(), b.GetGoverning()
		}
	}
	for i, kind := range kinds {
		kinds[i] = fmt.Sprintf("%d × %s", counts[kind], kind)
	}
	row.Products, row.LongestM = strings.Join(kinds, ", "), inMetres(float64(longest))
	// What is full to the brim is not shown as less.
	row.Full = int(math.Ceil(100*fullest - 1e-9))
	row.FullBar = min(100, row.Full)
	if len(p.GetBeams()) > 0 {
		row.Direction = directionOf(say, p)
	}
	return row
}

// directionOf the beams of a room, in words.
func directionOf(say func(string, ...any) string, p *layouteventv1.RoomPlan) string {
	degrees := p.GetDirectionDegrees()
	switch {
	case p.GetSpanDirection() == "x" || p.GetSpanDirection() == "y":
		return say("room.along." + p.GetSpanDirection())
	case math.Abs(degrees) < 1e-6 || math.Abs(math.Abs(degrees)-180) < 1e-6:
		return say("room.along.x")
	case math.Abs(math.Abs(degrees)-90) < 1e-6:
		return say("room.along.y")
	default:
		return say("room.degrees", figureOf(math.Round(10*degrees)/10))
	}
}

func kilonewtons(newtons int32) string { return figureOf(float64(newtons) / 1000) }

// onFloor does what a form asks of a floor, and shows the floor with what was
// refused and the form as it was.
func onFloor(do func(*shell.Request, floorForm) error) func(*shell.Request) error {
	return func(r *shell.Request) error {
		f := floorForm{job: r.R.PathValue("job"), floor: r.R.PathValue("floor")}
		f.path = floorPath(f.job, f.floor)
		revision, err := revisionOf(r)
		if err == nil {
			f.revision = revision
			err = do(r, f)
		}
		if err == nil {
			return nil
		}
		r.Problem = err
		return showFloor(r, 0)
	}
}

// floorForm is which revision a form is about.
type floorForm struct {
	job, floor, path string
	revision         int32
}

func leaveOut(r *shell.Request, f floorForm) error {
	req := &layoutv1.LeaveOutRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), JobId: f.job, Floor: f.floor, Revision: f.revision,
		Rooms: r.R.PostForm["room"], AllOpen: r.Form("all") != "", Reason: r.Form("reason"),
	}
	for _, group := range r.R.PostForm["problems"] {
		for text := range strings.SplitSeq(group, ",") {
			n, err := strconv.ParseInt(text, 10, 32)
			if err != nil {
				return fault.New(fault.Invalid, "PROBLEM_UNKNOWN", "%s", r.Shell().Words.Say("problem.form")).Because(err)
			}
			req.Problems = append(req.Problems, int32(n))
		}
	}
	answer, err := r.Shell().Layout.LeaveOut(r.Ctx(), req)
	if err != nil {
		return err
	}
	return r.Go(f.path, "floors.said.left_out", answer.GetPlan().GetRevision(), answer.GetPlan().GetOpenPointCount())
}

// reorder puts the rooms in the order of the numbers that a person gave them.
func reorder(r *shell.Request, f floorForm) error {
	type numbered struct {
		room   string
		number float64
	}
	var rooms []numbered
	bad := fault.New(fault.Invalid, "ORDER_INVALID", "%s", r.Shell().Words.Say("floors.order_wrong"))
	for i, room := range r.R.PostForm["order_room"] {
		text := ""
		if i < len(r.R.PostForm["order"]) {
			text = r.R.PostForm["order"][i]
		}
		n, err := strconv.ParseFloat(strings.ReplaceAll(strings.TrimSpace(text), ",", "."), 64)
		if err != nil {
			bad.At(room, text, r.Shell().Words.Say("floors.no_number"), r.Shell().Words.Say("floors.order_allowed"))
		}
		rooms = append(rooms, numbered{room, n})
	}
	if len(bad.Places) > 0 {
		return bad
	}
	slices.SortStableFunc(rooms, func(a, b numbered) int { return cmp.Compare(a.number, b.number) })
	req := &layoutv1.ReorderRoomsRequest{Yard: r.Shell().Yard, RequestId: requestID(r), JobId: f.job, Floor: f.floor, Revision: f.revision}
	for _, n := range rooms {
		req.Rooms = append(req.Rooms, n.room)
	}
	answer, err := r.Shell().Layout.ReorderRooms(r.Ctx(), req)
	if err != nil {
		return err
	}
	return r.Go(f.path, "floors.said.order", answer.GetPlan().GetRevision(), strings.Join(req.GetRooms(), ", "))
}

func approve(r *shell.Request, f floorForm) error {
	answer, err := r.Shell().Layout.ApproveLayingPlan(r.Ctx(), &layoutv1.ApproveLayingPlanRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), JobId: f.job, Floor: f.floor, Revision: f.revision, Engineer: r.Form("engineer"), Reason: r.Form("remark"),
	})
	if err != nil {
		return err
	}
	return r.Go(f.path, "floors.said.approved", answer.GetPlan().GetRevision(), answer.GetPlan().GetEngineer())
}
