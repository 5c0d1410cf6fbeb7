package office

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
)

// newest returns the newest revision of a floor, which is the one a person has
// looked at, or says that it is another one.
func (s State) newest(job, floor string, revision int) (Record, error) {
	records := s.Revisions(FloorKey{job, floor})
	if revision < 1 || revision > len(records) {
		return Record{}, Unknown(job, floor, revision)
	}
	if revision != len(records) {
		return Record{}, fault.New(fault.Stale, ReasonNotNewest, "Revision %d of job %s floor %s is not the newest; look at revision %d.", revision, job, floor, len(records)).
			At("revision", strconv.Itoa(revision), "is not the newest revision of this floor", strconv.Itoa(len(records)))
	}
	return records[revision-1], nil
}

// editable returns the newest revision of a floor if it can be changed.
func (s State) editable(job, floor string, revision int) (Record, error) {
	r, err := s.newest(job, floor, revision)
	if err == nil && r.Plan.Catalogue.Basis == nil {
		err = fault.New(fault.Stale, ReasonNotChecked,
			"Revision %d of job %s floor %s is from before strength was computed. Bring its rooms again; they are laid and checked then.", revision, job, floor)
	}
	return r, err
}

// change returns the event that changes a plan: a draft is changed as it is,
// anything else gets a new revision.
func (r Record) change(c LayingPlanChanged) ([]Event, error) {
	next := r.Plan.changed(c)
	if places := next.tooLarge(); len(places) > 0 {
		f := fault.New(fault.Invalid, ReasonBadEdit, "The plan would become too large; nothing was changed.")
		f.Places = places
		return nil, f
	}
	if r.Status != Draft {
		next.Revision++
		return []Event{LayingPlanDrafted{Plan: next, SourceFile: r.SourceFile}}, nil
	}
	c.Job, c.Floor, c.Revision = r.Plan.Job, r.Plan.Floor, r.Plan.Revision
	return []Event{c}, nil
}

// changed returns the plan after a change.
func (p Plan) changed(c LayingPlanChanged) Plan {
	p.Rooms = slices.Clone(p.Rooms)
	for _, room := range c.Rooms {
		if at := p.room(room.Room.ID); at >= 0 {
			p.Rooms[at] = room
		}
	}
	slices.SortStableFunc(p.Rooms, func(a, b Room) int { return a.Room.Order - b.Room.Order })
	p.Problems = slices.Clone(p.Problems)
	for _, n := range c.ProblemsLeftOut {
		if n >= 1 && n <= len(p.Problems) {
			p.Problems[n-1].LeftOut = c.LeftOut
		}
	}
	return p.judged()
}

// EditRoom changes what is asked of a room and lays it anew. A room that was
// left out is taken in again.
type EditRoom struct {
	Job, Floor string
	Revision   int
	Room       string
	// Brief holds the new values of the fields that Fields names.
	Brief  design.Room
	Fields []Field
}

// Field of a room's brief.
type Field string

// Fields of a room's brief.
const (
	FieldName       Field = "room_name"
	FieldCategory   Field = "category"
	FieldImposed    Field = "imposed_kn_per_m2"
	FieldFinishes   Field = "finishes_kn_per_m2"
	FieldPartitions Field = "partitions"
	FieldHoles      Field = "holes"
	FieldOpenSides  Field = "open_sides"
	FieldOutline    Field = "outline"
	FieldDirection  Field = "wishes.direction_degrees"
	FieldProfile    Field = "wishes.profile"
	FieldPattern    Field = "wishes.wire_pattern"
	FieldBlock      Field = "wishes.block_kind"
	FieldPerRow     Field = "wishes.beams_per_row"
	FieldBearing    Field = "wishes.bearing_mm"
)

// setters of the fields.
var setters = map[Field]func(room *design.Room, brief design.Room){
	FieldName:       func(r *design.Room, b design.Room) { r.Name = b.Name },
	FieldCategory:   func(r *design.Room, b design.Room) { r.Loads.Category = b.Loads.Category },
	FieldImposed:    func(r *design.Room, b design.Room) { r.Loads.ImposedKNPerM2 = b.Loads.ImposedKNPerM2 },
	FieldFinishes:   func(r *design.Room, b design.Room) { r.Loads.FinishesKNPerM2 = b.Loads.FinishesKNPerM2 },
	FieldPartitions: func(r *design.Room, b design.Room) { r.Partitions = b.Partitions },
	FieldHoles:      func(r *design.Room, b design.Room) { r.Shape.Holes, r.HoleSupports = b.Shape.Holes, b.HoleSupports },
	FieldOpenSides:  func(r *design.Room, b design.Room) { r.OpenSides = b.OpenSides },
	FieldOutline:    func(r *design.Room, b design.Room) { r.Shape.Outline = b.Shape.Outline },
	FieldDirection:  func(r *design.Room, b design.Room) { r.DirectionDegrees = b.DirectionDegrees },
	FieldProfile:    func(r *design.Room, b design.Room) { r.Profile = b.Profile },
	FieldPattern:    func(r *design.Room, b design.Room) { r.Pattern = b.Pattern },
	FieldBlock:      func(r *design.Room, b design.Room) { r.Block = b.Block },
	FieldPerRow:     func(r *design.Room, b design.Room) { r.PerRow = b.PerRow },
	FieldBearing:    func(r *design.Room, b design.Room) { r.BearingMM = b.BearingMM },
}

func (c EditRoom) decide(s State) ([]Event, error) {
	record, err := s.editable(c.Job, c.Floor, c.Revision)
	if err != nil {
		return nil, err
	}
	at := record.Plan.room(c.Room)
	if at < 0 {
		return nil, unknownRoom(record.Plan, c.Room)
	}
	room := record.Plan.Rooms[at].Room
	var names []string
	for _, field := range c.Fields {
		set, ok := setters[field]
		if !ok {
			return nil, fault.New(fault.Invalid, ReasonBadEdit, "There is nothing of that name to change in a room.").
				At("update_mask", string(field), "is no field of a room", fieldNames())
		}
		set(&room, c.Brief)
		names = append(names, string(field))
	}
	f := fault.New(fault.Invalid, ReasonBadEdit, "Room %s cannot be changed so; nothing was changed.", c.Room)
	checkBrief(f, "", room, slices.Contains(c.Fields, FieldOutline) || slices.Contains(c.Fields, FieldHoles))
	if len(f.Places) > 0 {
		return nil, f
	}
	laid, err := record.Plan.relaid(at, room)
	if err != nil {
		return nil, err
	}
	what := "laid anew"
	if len(names) > 0 {
		what += " with other " + strings.Join(names, ", ")
	}
	return record.change(LayingPlanChanged{Rooms: []Room{laid}, Change: fmt.Sprintf("Room %s %s.", c.Room, what)})
}

func fieldNames() string {
	var names []string
	for f := range setters {
		names = append(names, string(f))
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

func unknownRoom(p Plan, id string) error {
	return fault.New(fault.NotFound, ReasonRoomUnknown, "Job %s floor %s has no room %s.", p.Job, p.Floor, clip(id)).
		At("room", clip(id), "is not on this floor", someNames(p.Rooms, func(r Room) string { return r.Room.ID }))
}

// ReorderRooms puts the rooms of a floor into another laying order.
type ReorderRooms struct {
	Job, Floor string
	Revision   int
	// Rooms, all of the floor's, in their new order.
	Rooms []string
}

func (c ReorderRooms) decide(s State) ([]Event, error) {
	record, err := s.editable(c.Job, c.Floor, c.Revision)
	if err != nil {
		return nil, err
	}
	change := LayingPlanChanged{Change: "Laying order: " + strings.Join(c.Rooms, ", ") + "."}
	f := fault.New(fault.Invalid, ReasonBadEdit, "The laying order has to name every room of the floor once.")
	seen := map[string]bool{}
	for i, id := range c.Rooms {
		at := record.Plan.room(id)
		if at < 0 {
			return nil, unknownRoom(record.Plan, id)
		}
		if seen[id] {
			f.At("rooms", id, "is named twice", "once")
		}
		seen[id] = true
		room := record.Plan.Rooms[at]
		if room.Room.Order != i+1 {
			room.Room.Order = i + 1
			change.Rooms = append(change.Rooms, room)
		}
	}
	for _, r := range record.Plan.Rooms {
		if !seen[r.Room.ID] {
			f.At("rooms", r.Room.ID, "is not named", "every room of the floor")
		}
	}
	if len(f.Places) > 0 {
		return nil, f
	}
	return record.change(change)
}

// LeaveOut takes rooms and problems out of a plan by hand.
type LeaveOut struct {
	Job, Floor string
	Revision   int
	Rooms      []string
	// Problems by their numbers, from 1.
	Problems []int
	// AllOpen leaves out everything that is open.
	AllOpen bool
	Reason  string
}

func (c LeaveOut) decide(s State) ([]Event, error) {
	record, err := s.editable(c.Job, c.Floor, c.Revision)
	if err != nil {
		return nil, err
	}
	reason := strings.TrimSpace(c.Reason)
	if reason == "" || utf8.RuneCountInString(reason) > maxReasonChars || !printable(reason, true) {
		return nil, fault.New(fault.Invalid, ReasonBadEdit, "Say why it is left out.").
			At("reason", "", "is missing or cannot be printed", fmt.Sprintf("1 to %d printable characters", maxReasonChars))
	}
	rooms, problems := c.named(record.Plan)
	if len(rooms)+len(problems) == 0 {
		return nil, fault.New(fault.Stale, ReasonNothingToDo, "Nothing was named that could be left out.")
	}
	change := LayingPlanChanged{LeftOut: reason, ProblemsLeftOut: problems}
	for _, id := range rooms {
		at := record.Plan.room(id)
		if at < 0 {
			return nil, unknownRoom(record.Plan, id)
		}
		was := record.Plan.Rooms[at]
		change.Rooms = append(change.Rooms, Room{RoomPlan: design.RoomPlan{Room: was.Room, Refused: was.Refused}, LeftOut: reason, Drawn: was.Drawn})
	}
	for _, n := range problems {
		if n < 1 || n > len(record.Plan.Problems) {
			return nil, unknownProblem(record.Plan, n)
		}
	}
	change.Change = fmt.Sprintf("Left out: %s and %s. %s", counted(len(rooms), "room"), counted(len(problems), "problem of the drawing", "problems of the drawing"), reason)
	return record.change(change)
}

// named returns what is to be left out, each once.
func (c LeaveOut) named(p Plan) (rooms []string, problems []int) {
	rooms, problems = slices.Clone(c.Rooms), slices.Clone(c.Problems)
	if c.AllOpen {
		for _, o := range p.OpenPoints() {
			if o.Room != "" {
				rooms = append(rooms, o.Room)
			} else {
				problems = append(problems, o.Problem)
			}
		}
	}
	slices.Sort(rooms)
	slices.Sort(problems)
	return slices.Compact(rooms), slices.Compact(problems)
}

func unknownProblem(p Plan, n int) error {
	allowed := fmt.Sprintf("1 to %d", len(p.Problems))
	if len(p.Problems) == 0 {
		allowed = "none: the drawing gave no problems"
	}
	return fault.New(fault.NotFound, ReasonProblemUnknown, "Job %s floor %s has no problem of that number.", p.Job, p.Floor).
		At("problems", strconv.Itoa(n), "is not in the plan's list", allowed)
}

// counted writes a number of things; the plural is the word and an s where it
// is not given.
func counted(n int, one string, many ...string) string {
	switch {
	case n == 1:
		return "1 " + one
	case len(many) > 0:
		return fmt.Sprintf("%d %s", n, many[0])
	default:
		return fmt.Sprintf("%d %ss", n, one)
	}
}
