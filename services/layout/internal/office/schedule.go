package office

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/strength"
)

// Limits of one import. A plan is one event; the limits keep the largest
// event and the largest decision well inside what the ledger stores at once
// (8 MB for an event; package codec tests it).
const (
	maxRoomsPerFloor  = 500
	maxBeamsPerFloor  = 5_000
	maxFloorsPerFile  = 100
	maxBeamsPerImport = 50_000
	maxPlanBytes      = 6 << 20
	// maxPlaces that a refusal names.
	maxPlaces = 100
)

// Row is one room as a row of a room schedule gives it.
type Row struct {
	// Where the row stands: "rooms.xlsx, sheet Rooms, row 4".
	Where   string
	Job     string
	JobName string
	Room    ScheduledRoom
}

// ScheduledRoom is a rectangle between supporting walls, as a room schedule
// gives it. What is empty or 0 is chosen.
type ScheduledRoom struct {
	Floor       string
	Room        string
	Name        string
	LayingOrder int
	// ClearSpanMM along the beams, WidthMM across them.
	ClearSpanMM int
	WidthMM     int
	// SpanDirection of the beams on the sheet: "x" or "y".
	SpanDirection string
	BearingMM     int
	// Category of use; its load is taken where ImposedLoadNPerM2 is nil.
	Category           strength.Category
	ImposedLoadNPerM2  *int
	FinishesLoadNPerM2 int
	Profile            string
	WirePattern        string
	Block              string
	BeamsPerRow        int
}

// DraftPlans draws up a plan for each job and floor of a room schedule.
type DraftPlans struct {
	SourceFile string
	Rows       []Row
	// Unread names the cells that could not be read; in their rows they are
	// zero. Any of them refuses the whole schedule; they are here so that they
	// are reported together with what is wrong with the rest.
	Unread []fault.Place
}

func (c DraftPlans) decide(s State) ([]Event, error) {
	if err := s.ready(); err != nil {
		return nil, err
	}
	if len(c.Rows) == 0 && len(c.Unread) == 0 {
		return nil, fault.New(fault.Invalid, ReasonNoRooms, "%s holds no rooms.", c.SourceFile)
	}
	if err := checkFileName(c.SourceFile); err != nil {
		return nil, err
	}
	scheduled := newScheduled(*s.catalogue, len(c.Unread) > 0)
	for _, row := range c.Rows {
		scheduled.add(row)
	}
	if err := c.refusal(scheduled.places); err != nil {
		return nil, err
	}
	w, err := newDrawer(*s.catalogue)
	if err != nil {
		return nil, err
	}
	events := make([]Event, 0, len(scheduled.order))
	beams := 0
	for _, key := range scheduled.order {
		plan, err := scheduled.plan(w, key)
		if err != nil {
			return nil, err
		}
		plan.Revision = len(s.Revisions(key)) + 1
		if err := limit(c.SourceFile, plan, &beams); err != nil {
			return nil, err
		}
		events = append(events, LayingPlanDrafted{Plan: plan, SourceFile: c.SourceFile})
	}
	return events, nil
}

// refusal returns nil when nothing is wrong.
func (c DraftPlans) refusal(found []fault.Place) error {
	places := append(slices.Clone(c.Unread), found...)
	if len(places) == 0 {
		return nil
	}
	f := fault.New(fault.Invalid, ReasonBadRows, "%s has mistakes; nothing was imported.", c.SourceFile)
	f.Places = places
	if more := len(places) - maxPlaces; more > 0 {
		f.Places = places[:maxPlaces]
		f.At(c.SourceFile, "", fmt.Sprintf("and at least %d more", more), "")
	}
	return f
}

// scheduled collects the rows of a schedule by floor and what is wrong in them.
type scheduled struct {
	catalogue Catalogue
	order     []FloorKey
	floors    map[FloorKey]*floor
	jobs      map[string]named
	// partial says that some cells could not be read: a zero may be one of
	// them, and is not reported as missing again.
	partial bool
	places  []fault.Place
}

// named is a value and the row in which it stood first.
type named struct{ value, where string }

type floor struct {
	jobName string
	rows    []Row
	rooms   map[string]string // room in small letters -> row
	orders  map[int]string    // laying order -> row
}

func newScheduled(c Catalogue, partial bool) *scheduled {
	return &scheduled{catalogue: c, partial: partial, floors: map[FloorKey]*floor{}, jobs: map[string]named{}}
}

// wrong names a cell.
func (d *scheduled) wrong(row Row, column, value, problem, allowed string) {
	d.places = append(d.places, fault.Place{
		Where: row.Where + ", column " + column, Value: value, Problem: problem, Allowed: allowed,
	})
}

// add checks a row by itself, against the catalogue and against the rows
// before it.
func (d *scheduled) add(row Row) {
	before := len(d.places)
	d.checkCells(row)
	d.checkJobName(row)
	d.checkEntries(row)
	f := d.floorOf(row)
	if f == nil {
		return
	}
	d.checkPlaceOnFloor(f, row)
	if d.partial || len(d.places) > before {
		return
	}
	f.rows = append(f.rows, row)
	if len(f.rows) == maxRoomsPerFloor+1 {
		d.wrong(row, "room", row.Room.Room, "is one room too many for a floor", fmt.Sprintf("%d rooms", maxRoomsPerFloor))
	}
}

// checkEntries makes sure that the yard makes what a row names.
func (d *scheduled) checkEntries(row Row) {
	r := row.Room
	profile := d.catalogue.profile(r.Profile)
	if profile == nil && r.Profile != "" {
		d.wrong(row, "profile", r.Profile, "is not in the yard's catalogue", d.catalogue.profileNames())
	}
	if d.catalogue.block(r.Block) == nil && r.Block != "" {
		d.wrong(row, "block_kind", r.Block, "is not in the yard's catalogue", d.catalogue.blockNames())
	}
	if profile != nil && r.WirePattern != "" && !slices.Contains(profile.WirePatterns, r.WirePattern) {
		d.wrong(row, "wire_pattern", r.WirePattern, "is no wire pattern of profile "+profile.Name, strings.Join(profile.WirePatterns, ", "))
	}
	if r.BearingMM > 0 && r.BearingMM < d.catalogue.MinBearingMM {
		d.wrong(row, "bearing_mm", strconv.Itoa(r.BearingMM), "is shorter than the yard's shortest bearing", fmt.Sprintf("%d mm or more", d.catalogue.MinBearingMM))
	}
}

// checkJobName makes sure that a job has one name in a file.
func (d *scheduled) checkJobName(row Row) {
	if row.Job == "" || row.JobName == "" {
		return
	}
	first, ok := d.jobs[row.Job]
	if !ok {
		d.jobs[row.Job] = named{row.JobName, row.Where}
		return
	}
	if first.value != row.JobName {
		d.wrong(row, "job_name", row.JobName, "is not the name that the job has in "+first.where, first.value)
	}
}

// floorOf returns the floor that a row belongs to; nil when the row does not
// say, or when the file has too many.
func (d *scheduled) floorOf(row Row) *floor {
	key := FloorKey{row.Job, row.Room.Floor}
	if key.Job == "" || key.Floor == "" {
		return nil
	}
	f, ok := d.floors[key]
	if ok {
		return f
	}
	f = &floor{jobName: row.JobName, rooms: map[string]string{}, orders: map[int]string{}}
	d.floors[key] = f
	d.order = append(d.order, key)
	if len(d.order) == maxFloorsPerFile+1 {
		d.wrong(row, "floor", key.Floor, "is one floor too many for a single file", fmt.Sprintf("%d floors", maxFloorsPerFile))
	}
	return f
}

// checkPlaceOnFloor makes sure that marks and laying order of a floor are
// clear. Two rooms that differ in capitals only would have marks that a crew
// cannot tell apart.
func (d *scheduled) checkPlaceOnFloor(f *floor, row Row) {
	if name := strings.ToLower(row.Room.Room); name != "" {
		if first, ok := f.rooms[name]; ok {
			d.wrong(row, "room", row.Room.Room, "is on this floor already, in "+first, "a room once on each floor")
		} else {
			f.rooms[name] = row.Where
		}
	}
	if order := row.Room.LayingOrder; order != 0 {
		if first, ok := f.orders[order]; ok {
			d.wrong(row, "laying_order", strconv.Itoa(order), "is the place of another room of this floor, in "+first, "a number once on each floor")
		} else {
			f.orders[order] = row.Where
		}
	}
}

// plan lays a floor of which every row is good. The rooms are put side by side
// on the sheet: a schedule does not say where they are.
func (d *scheduled) plan(w *drawer, key FloorKey) (Plan, error) {
	f := d.floors[key]
	rows := slices.Clone(f.rows)
	slices.SortFunc(rows, func(a, b Row) int { return a.Room.LayingOrder - b.Room.LayingOrder })
	made := drawing{key: key, jobName: f.jobName, schematic: true}
	var at geometry.Point
	rowHeight := 0.0
	for _, row := range rows {
		room := row.Room.design()
		low, high := room.Shape.Bounds()
		if at.X > 0 && at.X+high.X-low.X > sheetWidthMM {
			at, rowHeight = geometry.Point{Y: at.Y - rowHeight - apartMM}, 0
		}
		height := high.Y - low.Y
		for i := range room.Shape.Outline {
			room.Shape.Outline[i].X += at.X
			room.Shape.Outline[i].Y += at.Y - height
		}
		at.X, rowHeight = at.X+high.X-low.X+apartMM, max(rowHeight, height)
		made.rooms = append(made.rooms, room)
	}
	return w.drawUp(made)
}

const (
	// apartMM is how far rooms of a schedule are put from each other: more
	// than their beams' bearings, so that they keep clear of each other.
	apartMM = 1_500
	// sheetWidthMM is where a new row of rooms begins.
	sheetWidthMM = 30_000
)

// design returns the room as the engine takes it, with a corner at the origin.
func (r ScheduledRoom) design() design.Room {
	along, across, direction := float64(r.ClearSpanMM), float64(r.WidthMM), 0.0
	if r.SpanDirection == "y" {
		along, across, direction = across, along, 90
	}
	loads := LoadsOf(r.Category, nil, float64(r.FinishesLoadNPerM2)/1000)
	if r.ImposedLoadNPerM2 != nil {
		loads.ImposedKNPerM2 = float64(*r.ImposedLoadNPerM2) / 1000
	}
	return design.Room{
		ID: r.Room, Name: r.Name, Order: r.LayingOrder, Loads: loads,
		Shape:            geometry.Polygon{Outline: []geometry.Point{{X: 0, Y: 0}, {X: along, Y: 0}, {X: along, Y: across}, {X: 0, Y: across}}},
		DirectionDegrees: &direction, Profile: r.Profile, Pattern: r.WirePattern, Block: r.Block, PerRow: r.BeamsPerRow, BearingMM: float64(r.BearingMM),
	}
}
