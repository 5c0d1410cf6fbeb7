package pages

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

// roomView is a room of a laying plan with its checks, and what can be changed
// in it.
type roomView struct {
	roomRow
	Floor  floorRow
	Newest int32
	// Then is the revision that a change of an approved one leads to.
	Then    int32
	CanEdit bool
	Picture *picture
	Beams   []beamRow
	// Before and Next are its neighbours in the laying order.
	Before, Next string
	// Fields of the form, and what they were when the form was made.
	Fields map[string]string
	Was    string
	Walls  []wallFields
	Sides  []sideField
	// Profiles, Patterns and Blocks that can be asked for.
	Profiles, Patterns, Blocks []string
	Categories                 []string
	// Corner of the room that partitions are measured from, on the drawing.
	Corner place
	// Changed beams against the revision Against; 0 when there is none.
	Against int32
	Changes []*layoutv1.BeamChange
}

// beamRow is the beams of a row that are alike.
type beamRow struct {
	Row             int32
	Marks           []string
	OffsetMM        int32
	LengthM, Kg     string
	Product, Check  string
	Full, FullBar   int
	ClearM          string
	Changed, Double bool
}

// wallFields are the fields of a partition.
type wallFields struct {
	Number               int
	X1, Y1, X2, Y2, Load string
}

// sideField is a side of the outline.
type sideField struct {
	Index, Number int
	LengthM       string
	Open          bool
}

func room(r *shell.Request) error {
	revision, err := revisionOf(r)
	if err != nil {
		return err
	}
	return showRoom(r, revision, nil)
}

// showRoom of a revision; entered is what a refused form had in it.
func showRoom(r *shell.Request, revision int32, entered map[string]string) error {
	answer, err := planOf(r, revision)
	if err != nil {
		return err
	}
	plan, at, err := roomIn(r, answer)
	if err != nil {
		return err
	}
	p := plan.GetRooms()[at]
	v := roomView{roomRow: roomRowOf(r, p), Floor: floorRowOf(answer.GetSummary()), Fields: askedOf(p), Categories: categories}
	v.Newest = v.Floor.GetRevision()
	if revision != 0 {
		newest, err := planOf(r, 0)
		if err != nil {
			return err
		}
		v.Newest = newest.GetSummary().GetRevision()
	}
	v.Then = v.Newest + 1
	v.CanEdit = r.Person().Has(auth.DrawingOffice) && v.Floor.GetRevision() == v.Newest && v.Floor.GetStrength() != layouteventv1.Strength_STRENGTH_NOT_CHECKED
	v.Was = pack(v.Fields)
	if entered != nil {
		v.Fields = entered
	}
	if at > 0 {
		v.Before = plan.GetRooms()[at-1].GetRoom()
	}
	if at+1 < len(plan.GetRooms()) {
		v.Next = plan.GetRooms()[at+1].GetRoom()
	}
	if err := v.compare(r); err != nil {
		return err
	}
	changed := map[string]bool{}
	for _, c := range v.Changes {
		changed[c.GetMark()] = true
	}
	if v.Picture = roomPicture(p, changed); v.Picture != nil {
		v.Picture.numberSides(p)
		low, _ := boundsOf(p.GetOutline())
		v.Corner = v.Picture.at(&layouteventv1.PlanPoint{XMm: low.X, YMm: low.Y})
	}
	v.Beams = beamRows(p, changed)
	v.choices(plan)
	v.form(p)
	return r.Show("room", v)
}

// roomIn the answer, as the page's address names it.
func roomIn(r *shell.Request, answer *layoutv1.GetLayingPlanResponse) (*layouteventv1.LayingPlan, int, error) {
	id := r.R.PathValue("room")
	plan := answer.GetPlan()
	at := slices.IndexFunc(plan.GetRooms(), func(p *layouteventv1.RoomPlan) bool { return p.GetRoom() == id })
	if at < 0 {
		return nil, 0, fault.New(fault.NotFound, "ROOM_UNKNOWN", "%s", r.Shell().Words.Say("room.unknown", plan.GetJobId(), plan.GetFloor(), id))
	}
	return plan, at, nil
}

// compare the room with the revision before.
func (v *roomView) compare(r *shell.Request) error {
	revision := v.Floor.GetRevision()
	if revision < 2 {
		return nil
	}
	answer, err := r.Shell().Layout.CompareRevisions(r.Ctx(), &layoutv1.CompareRevisionsRequest{
		Yard: r.Shell().Yard, JobId: v.Floor.GetJobId(), Floor: v.Floor.GetFloor(), FromRevision: revision - 1, ToRevision: revision,
	})
	if err != nil {
		return err
	}
	v.Against = revision - 1
	for _, c := range answer.GetChanges() {
		if c.GetRoom() == v.GetRoom() {
			v.Changes = append(v.Changes, c)
		}
	}
	return nil
}

func beamRows(p *layouteventv1.RoomPlan, changed map[string]bool) []beamRow {
	var rows []beamRow
	var last *layouteventv1.BeamPlan
	for _, b := range p.GetBeams() {
		full := int(math.Ceil(100*b.GetFullness() - 1e-9))
		alike := last != nil && last.GetRow() == b.GetRow() && proto.Equal(last.GetProduct(), b.GetProduct()) && last.GetClearSpanMm() == b.GetClearSpanMm()
		if last = b; !alike {
			rows = append(rows, beamRow{
				Row: b.GetRow(), OffsetMM: b.GetOffsetMm(), LengthM: inMetres(float64(b.GetProduct().GetLengthMm())), ClearM: inMetres(b.GetClearSpanMm()),
				Kg: strconv.FormatFloat(float64(b.GetMassG())/1000, 'f', 1, 64), Product: b.GetProduct().GetProfile() + "/" + b.GetProduct().GetWirePattern(),
			})
		}
		row := &rows[len(rows)-1]
		row.Double = alike
		row.Marks = append(row.Marks, b.GetMark())
		row.Changed = row.Changed || changed[b.GetMark()]
		if full > row.Full || row.Check == "" {
			row.Full, row.FullBar, row.Check = full, min(100, full), b.GetGoverning()
		}
	}
	return rows
}

// choices that the plan's own catalogue has.
func (v *roomView) choices(plan *layouteventv1.LayingPlan) {
	for _, p := range plan.GetProfiles() {
		v.Profiles = append(v.Profiles, p.GetName())
		v.Patterns = append(v.Patterns, p.GetWirePatterns()...)
	}
	slices.Sort(v.Patterns)
	v.Patterns = slices.Compact(v.Patterns)
	for _, b := range plan.GetBlocks() {
		v.Blocks = append(v.Blocks, b.GetName())
	}
}

// spareWalls are empty lines for partitions that are not there yet.
const spareWalls = 2

func (v *roomView) form(p *layouteventv1.RoomPlan) {
	lines := splitWalls(v.Fields["partitions"])
	for range spareWalls {
		lines = append(lines, nil)
	}
	for i, line := range lines {
		line = append(slices.Clone(line), make([]string, wallNumbers)...)
		v.Walls = append(v.Walls, wallFields{i + 1, line[0], line[1], line[2], line[3], line[4]})
	}
	if n := len(p.GetOutline()); n <= mostNumberedSides {
		open := strings.Split(v.Fields["open_sides"], ",")
		for i, a := range p.GetOutline() {
			b := p.GetOutline()[(i+1)%n]
			v.Sides = append(v.Sides, sideField{i, i + 1, inMetres(math.Hypot(b.GetXMm()-a.GetXMm(), b.GetYMm()-a.GetYMm())), slices.Contains(open, strconv.Itoa(i))})
		}
	}
}
