package office

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/laying"
)

// Limits of one import. A plan is one event; the limits keep the largest
// event and the largest decision well inside what the ledger stores at once
// (8 MB for an event; package codec tests it).
const (
	maxRoomsPerFloor  = 500
	maxBeamsPerFloor  = 5_000
	maxFloorsPerFile  = 100
	maxBeamsPerImport = 50_000
	// maxPlaces that a refusal names.
	maxPlaces = 100
)

// Row is one room as a row of a room schedule gives it.
type Row struct {
	// Where the row stands: "rooms.xlsx, sheet Rooms, row 4".
	Where   string
	Job     string
	JobName string
	Room    laying.Room
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
	if s.catalogue == nil {
		return nil, fault.New(fault.Stale, ReasonCatalogueMissing,
			"This yard has no catalogue yet. Set the catalogue of beams and blocks first, then import the rooms.")
	}
	if len(c.Rows) == 0 && len(c.Unread) == 0 {
		return nil, fault.New(fault.Invalid, ReasonNoRooms, "%s holds no rooms.", c.SourceFile)
	}
	if c.SourceFile == "" || !printable(c.SourceFile, false) {
		return nil, fault.New(fault.Invalid, ReasonBadRows, "The file has no name that can be printed. Nothing was imported.").
			At("file_name", "", "is missing or cannot be printed", "the name of the file")
	}
	drawing := newDrawing(*s.catalogue, len(c.Unread) > 0)
	for _, row := range c.Rows {
		drawing.add(row)
	}
	if err := c.refusal(drawing.places); err != nil {
		return nil, err
	}
	events := make([]Event, 0, len(drawing.order))
	for _, key := range drawing.order {
		plan := drawing.plan(key)
		plan.Revision = len(s.Revisions(key)) + 1
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

// drawing collects the rows of a schedule by floor and what is wrong in them.
type drawing struct {
	catalogue Catalogue
	order     []FloorKey
	floors    map[FloorKey]*floor
	jobs      map[string]named
	beams     int
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
	beams   int
	rooms   map[string]string // room in small letters -> row
	orders  map[int]string    // laying order -> row
}

func newDrawing(c Catalogue, partial bool) *drawing {
	return &drawing{catalogue: c, partial: partial, floors: map[FloorKey]*floor{}, jobs: map[string]named{}}
}

// wrong names a cell.
func (d *drawing) wrong(row Row, column, value, problem, allowed string) {
	d.places = append(d.places, fault.Place{
		Where: row.Where + ", column " + column, Value: value, Problem: problem, Allowed: allowed,
	})
}

// add checks a row by itself, against the catalogue and against the rows
// before it.
func (d *drawing) add(row Row) {
	before := len(d.places)
	d.checkCells(row)
	d.checkJobName(row)
	profile, block := d.entries(row)
	for _, p := range laying.Check(believable(row.Room), profile, block, d.catalogue.rules()) {
		d.wrong(row, p.Field, p.Value, p.Problem, p.Allowed)
	}
	f := d.floorOf(row)
	if f == nil {
		return
	}
	d.checkPlaceOnFloor(f, row)
	if d.partial || len(d.places) > before {
		return
	}
	f.rows = append(f.rows, row)
	d.count(f, row, laying.BeamCount(row.Room, *profile, *block))
}

// entries returns the catalogue entries that a row names.
func (d *drawing) entries(row Row) (*laying.Profile, *laying.Block) {
	r := row.Room
	profile, block := d.catalogue.profile(r.Profile), d.catalogue.block(r.Block)
	if profile == nil && r.Profile != "" {
		d.wrong(row, "profile", r.Profile, "is not in the yard's catalogue", d.catalogue.profileNames())
	}
	if block == nil && r.Block != "" {
		d.wrong(row, "block_kind", r.Block, "is not in the yard's catalogue", d.catalogue.blockNames())
	}
	return profile, block
}

// checkJobName makes sure that a job has one name in a file.
func (d *drawing) checkJobName(row Row) {
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
func (d *drawing) floorOf(row Row) *floor {
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
func (d *drawing) checkPlaceOnFloor(f *floor, row Row) {
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

// count keeps a floor and an import within what one event and one decision
// may hold. Only the row that crosses a limit is named.
func (d *drawing) count(f *floor, row Row, beams int) {
	if len(f.rows) == maxRoomsPerFloor+1 {
		d.wrong(row, "room", row.Room.Room, "is one room too many for a floor", fmt.Sprintf("%d rooms", maxRoomsPerFloor))
	}
	if f.beams <= maxBeamsPerFloor && f.beams+beams > maxBeamsPerFloor {
		d.wrong(row, "width_mm", strconv.Itoa(row.Room.WidthMM), "brings the floor to too many beams", fmt.Sprintf("%d beams on a floor", maxBeamsPerFloor))
	}
	if d.beams <= maxBeamsPerImport && d.beams+beams > maxBeamsPerImport {
		d.wrong(row, "width_mm", strconv.Itoa(row.Room.WidthMM), "brings the file to too many beams", fmt.Sprintf("%d beams in a file", maxBeamsPerImport))
	}
	f.beams += beams
	d.beams += beams
}

// plan lays a floor of which every row is good.
func (d *drawing) plan(key FloorKey) Plan {
	f := d.floors[key]
	rows := slices.Clone(f.rows)
	slices.SortFunc(rows, func(a, b Row) int { return a.Room.LayingOrder - b.Room.LayingOrder })
	p := Plan{Job: key.Job, JobName: f.jobName, Floor: key.Floor, Strength: NotChecked}
	profiles, blocks := map[string]bool{}, map[string]bool{}
	for _, row := range rows {
		profile, block := d.catalogue.profile(row.Room.Profile), d.catalogue.block(row.Room.Block)
		profiles[profile.Name], blocks[block.Name] = true, true
		p.Rooms = append(p.Rooms, laying.Lay(row.Room, *profile, *block, d.catalogue.rules()))
	}
	for _, profile := range d.catalogue.Profiles {
		if profiles[profile.Name] {
			p.Profiles = append(p.Profiles, profile)
		}
	}
	for _, block := range d.catalogue.Blocks {
		if blocks[block.Name] {
			p.Blocks = append(p.Blocks, block)
		}
	}
	return p
}
