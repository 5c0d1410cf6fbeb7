package daybook

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

// CallOffRooms takes call-offs, all or none. A call-off that is already in
// the book word for word is taken as done.
type CallOffRooms struct {
	CallOffs []CallOff
	At       time.Time
}

func (c CallOffRooms) decide(s State) ([]Event, error) {
	if err := s.opened(); err != nil {
		return nil, err
	}
	f := newFindings("BAD_CALL_OFFS", "The call-offs cannot be taken as they are; none was taken.")
	var events []Event
	seen := map[string]bool{}
	after := s
	for i, call := range c.CallOffs {
		where := fmt.Sprintf("call_offs[%d]", i)
		if call.ID != "" {
			where = fmt.Sprintf("call-off %s", call.ID)
		}
		if seen[call.ID] {
			f.add(where+", call_off_id", call.ID, "stands twice in the request", "each id once")
			continue
		}
		seen[call.ID] = true
		if old, ok := s.callOffs.Get(call.ID); ok {
			if !sameCallOff(*old, call) {
				f.add(where+", call_off_id", call.ID, fmt.Sprintf("is taken by a call-off for %s", old.Day),
					"a new id, or cancel the other call-off first")
			}
			continue
		}
		f.callOff(s, where, call)
		if err := s.CheckNotPast(call.Day, c.At); err != nil && validDay(call.Day) == nil {
			f.add(where+", day", call.Day, "is over", "today or later, in the yard's time zone")
		}
		f.calledTwice(after, where, call)
		events = append(events, CalledOff{CallOff: call})
		after = Evolve(after, CalledOff{CallOff: call})
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	return events, nil
}

func sameCallOff(a, b CallOff) bool {
	if len(a.Rooms) == 0 && len(b.Rooms) == 0 {
		a.Rooms, b.Rooms = nil, nil
	}
	return reflect.DeepEqual(a, b)
}

// callOff checks a call-off by itself.
func (f *findings) callOff(s State, where string, c CallOff) {
	f.id(where+", call_off_id", c.ID)
	f.id(where+", job_id", c.JobID)
	f.id(where+", floor", c.Floor)
	if _, ok := s.sites.Get(c.SiteID); !ok {
		f.add(where+", site_id", c.SiteID, "is no site of this yard", "an id from the list of sites")
	}
	if _, err := civil.ParseDay(c.Day); err != nil {
		f.add(where+", day", c.Day, "is no day", "YYYY-MM-DD")
	}
	f.window(where+", window", c.Window)
	floor := s.floor(c.FloorKey).floor
	for i, room := range c.Rooms {
		at := fmt.Sprintf("%s, rooms[%d]", where, i)
		if slices.Contains(c.Rooms[:i], room) {
			f.add(at, room, "stands twice in the call-off", "each room once")
			continue
		}
		if floor == nil {
			f.id(at, room)
			continue
		}
		if n, _ := floor.room(room); n < 0 {
			f.add(at, room, fmt.Sprintf("is no room of floor %s of job %s", c.Floor, c.JobID), roomNames(floor))
		}
	}
}

func roomNames(f *Floor) string {
	var names []string
	for i := range f.Rooms {
		names = append(names, f.Rooms[i].Room)
	}
	return strings.Join(names, ", ")
}

// calledTwice refuses a room that another call-off asks for. What a confirmed
// morning left unserved may be called off again for another day.
func (f *findings) calledTwice(s State, where string, c CallOff) {
	b := s.floor(c.FloorKey)
	for _, id := range b.called {
		other, ok := s.callOffs.Get(id)
		if !ok {
			continue
		}
		shared, all := sharedRooms(b.floor, c, *other)
		if all {
			f.add(where+", rooms", "", fmt.Sprintf("asks for rooms of floor %s that call-off %s for %s asks for as well", c.Floor, id, other.Day),
				"each room once; name the rooms, or cancel the other call-off")
			continue
		}
		for _, room := range shared {
			if s.roomIsServed(b, room) {
				f.add(where+", rooms", room, fmt.Sprintf("is on its runs already by call-off %s for %s", id, other.Day), "rooms that are not on a run")
			} else if other.Day == c.Day || !s.day(other.Day).served {
				f.add(where+", rooms", room, fmt.Sprintf("is called off by call-off %s for %s already", id, other.Day),
					"each room once; leave it out, or cancel the other call-off")
			}
		}
	}
}

// sharedRooms returns the rooms that both call-offs ask for. all says that
// the floor's rooms are not known and one of them asks for all.
func sharedRooms(floor *Floor, a, b CallOff) (rooms []string, all bool) {
	if floor == nil && (len(a.Rooms) == 0 || len(b.Rooms) == 0) {
		return nil, true
	}
	theirs := roomsOf(floor, b)
	for _, room := range roomsOf(floor, a) {
		if slices.Contains(theirs, room) {
			rooms = append(rooms, room)
		}
	}
	return rooms, false
}

// roomsOf returns the rooms that a call-off asks for.
func roomsOf(floor *Floor, c CallOff) []string {
	if len(c.Rooms) > 0 || floor == nil {
		return c.Rooms
	}
	var rooms []string
	for i := range floor.Rooms {
		rooms = append(rooms, floor.Rooms[i].Room)
	}
	return rooms
}

// roomIsServed reports whether all of a room is on live runs.
func (s State) roomIsServed(b *floorBook, room string) bool {
	if b.floor == nil {
		return false
	}
	_, demand := b.floor.room(room)
	if demand == nil {
		return false
	}
	left := b.left(*demand)
	return len(left.Beams) == 0 && left.BlockCount == 0
}

// left returns what of a room is not on live runs.
func (b *floorBook) left(r RoomDemand) RoomDemand {
	beams := r.Beams
	r.Beams = nil
	for _, beam := range beams {
		if _, ok := b.marks.Get(beam.Mark); !ok && !b.isLaid(beam.Mark) {
			r.Beams = append(r.Beams, beam)
		}
	}
	n, _ := b.blocks.Get(r.Room)
	r.BlockCount = max(0, r.BlockCount-n)
	return r
}

// CancelCallOff withdraws a call-off that is not on a confirmed run.
type CancelCallOff struct{ CallOffID, Reason string }

func (c CancelCallOff) decide(s State) ([]Event, error) {
	call, ok := s.callOffs.Get(c.CallOffID)
	if !ok {
		return nil, fault.New(fault.NotFound, "CALL_OFF_UNKNOWN", "There is no call-off %s in yard %s.", c.CallOffID, s.yard)
	}
	for _, r := range s.Runs(call.Day) {
		if r.State != RunCancelledState && carries(&r.Run, c.CallOffID) {
			return nil, fault.New(fault.Stale, "CALL_OFF_ON_RUN",
				"Call-off %s is on run %s, which is %s; cancel the run first.", c.CallOffID, r.Run.ID, r.State)
		}
	}
	if f, ok := s.Folded(call.Day); ok && slices.Contains(f.CallOffs, c.CallOffID) {
		return nil, fault.New(fault.Stale, "CALL_OFF_ON_RUN", "Call-off %s was delivered on %s.", c.CallOffID, call.Day)
	}
	if id := s.day(call.Day).confirming; id != "" {
		return nil, fault.New(fault.Conflict, "DAY_BEING_CONFIRMED",
			"Plan %s for %s is being confirmed just now; try again in a moment.", id, call.Day)
	}
	return []Event{CallOffCancelled(c)}, nil
}

func carries(r *Run, callOffID string) bool {
	for _, d := range r.Drops {
		if slices.Contains(d.CallOffIDs, callOffID) {
			return true
		}
	}
	return false
}

// Wanted is what of a call-off is still to be brought.
type Wanted struct {
	CallOff CallOff
	// Site is nil when it is no longer among the yard's sites.
	Site *Site
	// Floor is nil while no plan is approved.
	Floor *Floor
	// Rooms with what is left of them, in laying order of the floor.
	Rooms []RoomDemand
	// UnknownRooms are asked for and not in the approved plan.
	UnknownRooms []string
}

// Outstanding returns what is called off for a day and not on a live run,
// in the order of the call-offs. Of two call-offs for one floor the first
// gets what both ask for.
func (s State) Outstanding(day string) []Wanted {
	var out []Wanted
	asked := map[FloorKey][]string{}
	for _, c := range s.CallOffs(day) {
		w := Wanted{CallOff: c}
		w.Site, _ = s.sites.Get(c.SiteID)
		b := s.floor(c.FloorKey)
		w.Floor = b.floor
		if w.Floor == nil {
			out = append(out, w)
			continue
		}
		rooms := roomsOf(w.Floor, c)
		for i := range w.Floor.Rooms {
			demand := w.Floor.Rooms[i]
			if !slices.Contains(rooms, demand.Room) || slices.Contains(asked[c.FloorKey], demand.Room) {
				continue
			}
			asked[c.FloorKey] = append(asked[c.FloorKey], demand.Room)
			if left := b.left(demand); len(left.Beams) > 0 || left.BlockCount > 0 {
				w.Rooms = append(w.Rooms, left)
			}
		}
		for _, room := range rooms {
			if n, _ := w.Floor.room(room); n < 0 {
				w.UnknownRooms = append(w.UnknownRooms, room)
			}
		}
		if len(w.Rooms) > 0 || len(w.UnknownRooms) > 0 {
			out = append(out, w)
		}
	}
	return out
}

// ConfirmedCallOffs returns the ids of a day's call-offs that are wholly on
// live runs.
func (s State) ConfirmedCallOffs(day string) []string {
	open := map[string]bool{}
	for _, w := range s.Outstanding(day) {
		open[w.CallOff.ID] = true
	}
	var out []string
	for _, c := range s.CallOffs(day) {
		if !open[c.ID] {
			out = append(out, c.ID)
		}
	}
	return out
}
