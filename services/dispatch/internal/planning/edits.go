package planning

import (
	"fmt"
	"slices"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/replan"
	"spanyard.example/services/kit/fault"
)

// Edit is one wish for a plan; one of its fields is set.
type Edit struct {
	Lock, Unlock     string
	Move             *MoveRun
	Forbid, Allow    *daybook.ForbiddenTruck
	Without, With    string
	LeaveOut, TakeIn string
}

// MoveRun puts the load of a run on a truck.
type MoveRun struct {
	RunID, TruckID string
	// NotBeforeMinute of loading; 0 is when the run is loaded now.
	NotBeforeMinute int
}

// editing is a plan's wishes while edits are added to them.
type editing struct {
	state  daybook.State
	base   *daybook.Plan
	wishes daybook.Wishes
	wish   replan.Wish
	fault  *fault.Error
}

// Wish adds edits to what was wished of a plan already. It refuses edits that
// name what is not there, each by its place.
func Wish(s daybook.State, base *daybook.Plan, edits []Edit, planOthers bool) (daybook.Wishes, replan.Wish, error) {
	e := editing{
		state: s, base: base,
		wishes: daybook.Wishes{
			WithoutTrucks: slices.Clone(base.Wishes.WithoutTrucks), Forbidden: slices.Clone(base.Wishes.Forbidden), LeftOut: slices.Clone(base.Wishes.LeftOut),
		},
		wish:  replan.Wish{Runs: RunsOf(base.Runs), Locked: map[int]bool{}, PlanOthers: planOthers},
		fault: fault.New(fault.Invalid, "BAD_EDIT", "What is wished of plan %s cannot be understood; nothing was changed.", base.ID),
	}
	for i := range base.Runs {
		if base.Runs[i].Locked {
			e.wish.Locked[i] = true
		}
	}
	for i := range edits {
		e.add(fmt.Sprintf("edits[%d]", i), &edits[i])
	}
	if len(e.fault.Places) > 0 {
		return daybook.Wishes{}, replan.Wish{}, e.fault
	}
	return e.wishes, e.wish, nil
}

func (e *editing) add(where string, edit *Edit) {
	switch {
	case edit.Lock != "":
		if i, ok := e.run(where, edit.Lock); ok {
			e.wish.Locked[i] = true
		}
	case edit.Unlock != "":
		if i, ok := e.run(where, edit.Unlock); ok {
			delete(e.wish.Locked, i)
		}
	case edit.Move != nil:
		e.move(where, edit.Move)
	case edit.Forbid != nil:
		if e.truck(where, edit.Forbid.TruckID) && e.callOff(where, edit.Forbid.CallOffID) && !slices.Contains(e.wishes.Forbidden, *edit.Forbid) {
			e.wishes.Forbidden = append(e.wishes.Forbidden, *edit.Forbid)
		}
	case edit.Allow != nil:
		e.wishes.Forbidden = slices.DeleteFunc(e.wishes.Forbidden, func(f daybook.ForbiddenTruck) bool { return f == *edit.Allow })
	case edit.Without != "":
		if e.truck(where, edit.Without) {
			e.wishes.WithoutTrucks = with(e.wishes.WithoutTrucks, edit.Without)
		}
	case edit.With != "":
		e.wishes.WithoutTrucks = slices.DeleteFunc(e.wishes.WithoutTrucks, func(id string) bool { return id == edit.With })
	case edit.LeaveOut != "":
		if e.callOff(where, edit.LeaveOut) {
			e.wishes.LeftOut = with(e.wishes.LeftOut, edit.LeaveOut)
		}
	case edit.TakeIn != "":
		e.wishes.LeftOut = slices.DeleteFunc(e.wishes.LeftOut, func(id string) bool { return id == edit.TakeIn })
	}
}

func with(list []string, id string) []string {
	if slices.Contains(list, id) {
		return list
	}
	return append(list, id)
}

func (e *editing) move(where string, m *MoveRun) {
	i, ok := e.run(where, m.RunID)
	if !ok || !e.truck(where, m.TruckID) {
		return
	}
	if slices.ContainsFunc(e.wish.Moves, func(o replan.Move) bool { return o.Run == i }) {
		e.fault.At(where, m.RunID, "is moved twice", "each run once")
		return
	}
	notBefore := m.NotBeforeMinute
	if notBefore == 0 {
		notBefore = e.base.Runs[i].LoadingMinute
	}
	e.wish.Moves = append(e.wish.Moves, replan.Move{Run: i, TruckID: m.TruckID, NotBefore: notBefore})
}

func (e *editing) run(where, id string) (int, bool) {
	i := slices.IndexFunc(e.base.Runs, func(r daybook.Run) bool { return r.ID == id })
	if i < 0 {
		e.fault.At(where, id, "is no run of the plan", fmt.Sprintf("%s-R01 to %s-R%02d", e.base.ID, e.base.ID, len(e.base.Runs)))
	}
	return i, i >= 0
}

func (e *editing) truck(where, id string) bool {
	ok := slices.ContainsFunc(e.state.Trucks(), func(t daybook.Truck) bool { return t.ID == id })
	if !ok {
		e.fault.At(where, id, "is no truck of this yard", "ids from the list of trucks")
	}
	return ok
}

func (e *editing) callOff(where, id string) bool {
	ok := slices.ContainsFunc(e.state.CallOffs(e.base.Day), func(c daybook.CallOff) bool { return c.ID == id })
	if !ok {
		e.fault.At(where, id, "is not called off for "+e.base.Day, "ids from the list of call-offs")
	}
	return ok
}
