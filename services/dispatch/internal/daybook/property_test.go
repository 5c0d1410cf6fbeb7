package daybook

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"spanyard.example/services/kit/fault"
)

// TestAnyStory takes random commands in random order and looks at the book
// after every event.
func TestAnyStory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := openYard(t)
		story := &story{t: t, state: s, days: []string{testDay, "2031-05-07"}}
		for range rapid.IntRange(1, 80).Draw(t, "length") {
			story.step()
		}
		// A book that is written down and recalled is the same book.
		again := Recall("testyard", story.state.Memo())
		if diff := cmp.Diff(story.state.Memo(), again.Memo()); diff != "" {
			t.Fatalf("recalled with a difference:\n%s", diff)
		}
		for _, day := range story.days {
			if diff := cmp.Diff(story.state.Outstanding(day), again.Outstanding(day)); diff != "" {
				t.Fatalf("recalled with other work left on %s:\n%s", day, diff)
			}
			if story.state.Basis(day) != again.Basis(day) {
				t.Fatalf("recalled with another basis on %s", day)
			}
		}
		story.folds()
	})
}

// folds: folding a day changes nothing of what is still to be brought, nor of
// what a plan would rest on, also after it was written down and recalled.
func (y *story) folds() {
	s := y.state
	for _, day := range y.days {
		s = s.fold(day)
	}
	for name, after := range map[string]State{"folded": s, "folded and recalled": Recall("testyard", s.Memo())} {
		for _, day := range y.days {
			if diff := cmp.Diff(y.state.Outstanding(day), after.Outstanding(day)); diff != "" {
				y.t.Fatalf("%s, other work is left on %s:\n%s", name, day, diff)
			}
			if y.state.Basis(day) != after.Basis(day) {
				y.t.Fatalf("%s, the basis of %s went from %s to %s", name, day, y.state.Basis(day), after.Basis(day))
			}
			for _, p := range y.state.Plans(day) {
				if q, ok := after.Plan(p.Plan.ID); !ok || q.Size() != p.Size() || q.State != p.State {
					y.t.Fatalf("%s, plan %s is lost", name, p.Plan.ID)
				}
			}
		}
	}
	if diff := cmp.Diff(s.Memo(), Recall("testyard", s.Memo()).Memo()); diff != "" {
		y.t.Fatalf("recalled with a difference after folding:\n%s", diff)
	}
}

type story struct {
	t       *rapid.T
	state   State
	days    []string
	planner planner
	callOff int
}

func (y *story) step() {
	day := rapid.SampledFrom(y.days).Draw(y.t, "day")
	var c Command
	switch rapid.IntRange(0, 17).Draw(y.t, "command") {
	case 0, 1:
		c = y.callOffSomething(day)
	case 2:
		c = CancelCallOff{CallOffID: fmt.Sprintf("C%d", rapid.IntRange(1, 8).Draw(y.t, "call-off")), Reason: "any"}
	case 3, 4:
		plan := y.planner.plan(y.state, day, "T1", "T2")
		for i := range plan.Runs { // sometimes only a part is served
			piles := plan.Runs[i].Piles
			plan.Runs[i].Piles = piles[:rapid.IntRange(1, len(piles)).Draw(y.t, "served")]
			shift := 100 * rapid.IntRange(0, 8).Draw(y.t, "shift")
			plan.Runs[i].LoadingMinute += shift
			plan.Runs[i].BackMinute += shift
		}
		c = RecordPlan{Plan: plan, Basis: y.state.Basis(day)}
	case 5, 6:
		plan := y.anyPlan(day)
		y.do(ConfirmPlan{PlanID: plan, ConfirmedBy: "Ada Example"})
		if rapid.Bool().Draw(y.t, "left in between") {
			return
		}
		c = FinishConfirm{PlanID: plan, StockPosition: 1}
	case 7:
		c = rapid.SampledFrom([]Command{
			FailConfirm{PlanID: y.anyPlan(day), Missing: []Missing{{PieceID: "B1-1", Sentence: "gone"}}},
			ReportHits{Reports: []Report{{PieceID: fmt.Sprintf("B1-%d", rapid.IntRange(1, 40).Draw(y.t, "piece")), Reason: "weak", Kind: Quarantined}}},
			ReportHits{Reports: []Report{{PieceID: fmt.Sprintf("B1-%d", rapid.IntRange(1, 40).Draw(y.t, "piece")), Reason: "weak", Kind: Scrapped}}},
			ClearHits{BatchID: "B1"},
		}).Draw(y.t, "trouble")
	case 8:
		c = DepartRun{RunID: y.anyRun(day), DepartedBy: "Cy Example"}
	case 9:
		run := y.anyRun(day)
		d := DeliverDrop{RunID: run, DropNumber: rapid.IntRange(1, 2).Draw(y.t, "drop"), ReceivedBy: "Di Example"}
		if rapid.IntRange(0, 3).Draw(y.t, "refuses") == 0 {
			d.Refused, d.RefusalReason = []string{y.anyPiece(run)}, "cracked"
		}
		c = d
	case 10:
		c = CancelRun{RunID: y.anyRun(day), Reason: "any"}
	case 11:
		c = rapid.SampledFrom([]Command{
			FreeRun{RunID: y.anyRun(day)},
			FinishConfirm{PlanID: y.anyPlan(day), StockPosition: 1},
			SetTrucks{Trucks: []Truck{testTruck("T1"), testTruck("T2"), testTruck("T3")}},
			ForgetFloor{FloorKey: FloorKey{"J1", "1"}, Revision: 1},
			LearnFloor{Floor: testFloor("J1", "1", 4)},
			Hinder{Day: day, Hindrance: Hindrance{TruckID: "T1", FromMinute: 600, Reason: "gearbox"}},
			Hinder{Day: day, Hindrance: Hindrance{SiteID: "north", UntilMinute: 480, Reason: "road works"}},
			EndHindrance{Day: day, TruckID: "T1"},
			DelayRun{RunID: y.anyRun(day), Minutes: rapid.IntRange(0, 60).Draw(y.t, "late"), Reason: "flat tyre"},
			SetTravel{Legs: []Leg{{ToSiteID: "north", Metres: 9000, Minutes: 14}}},
		}).Draw(y.t, "other")
	case 12, 13:
		run := y.anyRun(day)
		c = SetDown{RunID: run, PieceID: y.anyPiece(run), SiteID: "north"}
	case 14:
		c = TakeBack{PieceID: y.anyPiece(y.anyRun(day))}
	case 15:
		c = y.breaksAtSite(day)
	case 16, 17:
		c = y.siteTells(day)
	}
	y.do(c)
}

// breaksAtSite has a piece of a run written off, as stock's event does it.
func (y *story) breaksAtSite(day string) Command {
	id := y.anyPiece(y.runOnTheRoad(day))
	return Together{ReportHits{Reports: []Report{{PieceID: id, Reason: "was scrapped: cracked", Kind: Scrapped}}}, TakeBack{PieceID: id, Broken: true}}
}

// siteTells ticks a beam off, or tells of a piece.
func (y *story) siteTells(day string) Command {
	run := y.runOnTheRoad(day)
	id, drop := y.anyPiece(run), rapid.IntRange(1, 2).Draw(y.t, "drop")
	return rapid.SampledFrom([]Command{
		RecordLaying{RunID: run, DropNumber: drop, Laid: []string{id}},
		RecordLaying{RunID: run, DropNumber: drop, Unlaid: []string{id}},
		ReportPiece{RunID: run, DropNumber: drop, PieceID: id, Kind: ReportedBroken, Remark: "cracked"},
		ReportPiece{RunID: run, DropNumber: drop, PieceID: id, Kind: ReportedMissing},
		ReportPiece{RunID: run, DropNumber: drop, PieceID: id, Kind: ReportWithdrawn},
	}).Draw(y.t, "told")
}

// brokenIsMissed: of a place whose beam broke nothing stands there or is told
// any more; it is to be brought again, or is on another run.
func (y *story) brokenIsMissed() {
	for _, day := range y.days {
		for _, r := range y.state.Runs(day) {
			r.Run.Items(func(pile *Pile, item *Item) {
				if !r.isScrapped(item.PieceID) {
					return
				}
				if _, told := r.ReportOn(item.PieceID); told || slices.Contains(r.LaidBeams, item.PieceID) {
					y.t.Fatalf("%s of run %s broke, and the site's word on it still stands", item.PieceID, r.Run.ID)
				}
				other, filled := y.state.floor(item.FloorKey).marks.Get(item.Mark)
				if slices.Contains(r.TakenBack, item.PieceID) && !item.IsPallet() && filled && other == r.Run.ID {
					y.t.Fatalf("%s of run %s broke at the site, and its place %s still counts as filled", item.PieceID, r.Run.ID, item.Mark)
				}
			})
		}
	}
}

func (y *story) anyPiece(run string) string {
	r, ok := y.state.Run(run)
	if !ok {
		return "none"
	}
	return rapid.SampledFrom(r.Run.PieceIDs()).Draw(y.t, "piece of the run")
}

func (y *story) callOffSomething(day string) Command {
	y.callOff++
	call := testCallOff(fmt.Sprintf("C%d", y.callOff), "1")
	call.Day = day
	first := rapid.IntRange(1, 4).Draw(y.t, "first room")
	for r := first; r <= rapid.IntRange(first, 4).Draw(y.t, "last room"); r++ {
		call.Rooms = append(call.Rooms, fmt.Sprintf("%02d", r))
	}
	return CallOffRooms{CallOffs: []CallOff{call}}
}

func (y *story) anyPlan(day string) string {
	plans := y.state.Plans(day)
	if len(plans) == 0 {
		return "none"
	}
	return rapid.SampledFrom(plans).Draw(y.t, "plan").Plan.ID
}

func (y *story) anyRun(day string) string {
	runs := y.state.Runs(day)
	if len(runs) == 0 {
		return "none"
	}
	return rapid.SampledFrom(runs).Draw(y.t, "run").Run.ID
}

// runOnTheRoad is one that has left, or any if none has.
func (y *story) runOnTheRoad(day string) string {
	runs := slices.DeleteFunc(y.state.Runs(day), func(r *RunStatus) bool { return !r.Departed() })
	if len(runs) == 0 {
		return y.anyRun(day)
	}
	return rapid.SampledFrom(runs).Draw(y.t, "run on the road").Run.ID
}

func (y *story) do(c Command) {
	before := y.state
	memo := before.Memo()
	events, err := Decide(y.state, c)
	if err != nil {
		if fault.ReasonOf(err) == "" {
			y.t.Fatalf("%T is refused without a reason: %v", c, err)
		}
		if len(events) > 0 {
			y.t.Fatalf("%T is refused and has events", c)
		}
		return
	}
	for _, e := range events {
		y.state = Evolve(y.state, e)
	}
	if diff := cmp.Diff(memo, before.Memo()); diff != "" {
		y.t.Fatalf("%T changed the state before it:\n%s", c, diff)
	}
	y.onlyForward(before, c)
	y.nothingTwice()
	y.filledStaysFilled()
	y.brokenIsMissed()
}

// onlyForward: the states of runs and plans have a direction.
func (y *story) onlyForward(before State, c Command) {
	_, clearing := c.(ClearHits)
	allowed := map[RunState][]RunState{
		RunConfirmedState: {RunConfirmedState, RunHitState, RunDepartedState, RunDeliveredState, RunCancelledState},
		RunHitState:       {RunHitState, RunDeliveredState, RunCancelledState},
		RunDepartedState:  {RunDepartedState, RunDeliveredState},
		RunDeliveredState: {RunDeliveredState},
		RunCancelledState: {RunCancelledState},
	}
	if clearing {
		allowed[RunHitState] = []RunState{RunHitState, RunConfirmedState}
	}
	for _, day := range y.days {
		for _, old := range before.Runs(day) {
			now, ok := y.state.Run(old.Run.ID)
			if !ok {
				y.t.Fatalf("run %s is lost", old.Run.ID)
			}
			if !slices.Contains(allowed[old.State], now.State) || len(now.Delivered) < len(old.Delivered) || len(now.Hits) < len(old.Hits) && !clearing {
				y.t.Fatalf("run %s went from %v to %v", old.Run.ID, old.State, now.State)
			}
		}
		for _, old := range before.Plans(day) {
			now, ok := y.state.Plan(old.Plan.ID)
			if old.State == Confirmed && (!ok || now.State != Confirmed) {
				y.t.Fatalf("plan %s was confirmed and is not any more", old.Plan.ID)
			}
		}
	}
}

// filledStaysFilled: what was set down by hand is never asked for again, also
// when its run is cancelled; a run that brings it a second time is stopped.
func (y *story) filledStaysFilled() {
	filled := map[string]bool{}
	for _, day := range y.days {
		for _, r := range y.state.Runs(day) {
			r.Run.Items(func(_ *Pile, item *Item) {
				if !item.IsPallet() && slices.Contains(r.SetDown, item.PieceID) {
					filled[item.Mark] = r.State == RunCancelledState
				}
			})
		}
	}
	for _, day := range y.days {
		for _, w := range y.state.Outstanding(day) {
			for _, room := range w.Rooms {
				for _, b := range room.Beams {
					if _, is := filled[b.Mark]; is {
						y.t.Fatalf("place %s is filled and is to be brought again", b.Mark)
					}
				}
			}
		}
		for _, r := range y.state.Runs(day) {
			r.Run.Items(func(_ *Pile, item *Item) {
				if r.State == RunCancelledState || item.IsPallet() || !filled[item.Mark] {
					return
				}
				if !slices.ContainsFunc(r.Hits, func(h Hit) bool { return h.PieceID == item.PieceID && h.Kind == PlaceFilled }) {
					y.t.Fatalf("run %s brings something to the filled place %s and is not stopped", r.Run.ID, item.Mark)
				}
			})
		}
	}
}

// nothingTwice: no place and no piece is on two live runs, no room gets more
// blocks than it needs, and each confirmed plan has its runs once. What came
// back to the yard is on no run, and a run is stopped where another piece has
// filled its place meanwhile.
func (y *story) nothingTwice() {
	marks, pieces, blocks := map[string]string{}, map[string]string{}, map[string]int{}
	for _, day := range y.days {
		confirming := 0
		for _, p := range y.state.Plans(day) {
			if p.State == Confirming {
				confirming++
			}
			runs := 0
			for _, r := range y.state.Runs(day) {
				if r.PlanID == p.Plan.ID {
					runs++
				}
			}
			if p.State == Confirmed && runs != len(p.Plan.Runs) || p.State != Confirmed && runs != 0 {
				y.t.Fatalf("plan %s in state %v has %d runs", p.Plan.ID, p.State, runs)
			}
		}
		if confirming > 1 {
			y.t.Fatalf("%d plans of %s are being confirmed at once", confirming, day)
		}
		for _, r := range y.state.Runs(day) {
			if r.State == RunCancelledState {
				continue
			}
			r.Run.Items(func(_ *Pile, item *Item) {
				if slices.Contains(r.TakenBack, item.PieceID) ||
					slices.ContainsFunc(r.Hits, func(h Hit) bool { return h.PieceID == item.PieceID && h.Kind == PlaceFilled }) {
					return
				}
				if other, ok := pieces[item.PieceID]; ok {
					y.t.Fatalf("piece %s is on runs %s and %s", item.PieceID, other, r.Run.ID)
				}
				pieces[item.PieceID] = r.Run.ID
				if item.IsPallet() {
					blocks[item.Room] += item.BlockCount
					return
				}
				if other, ok := marks[item.Mark]; ok {
					y.t.Fatalf("place %s is on runs %s and %s", item.Mark, other, r.Run.ID)
				}
				marks[item.Mark] = r.Run.ID
			})
		}
	}
	for room, n := range blocks {
		if n > 20 {
			y.t.Fatalf("room %s gets %d blocks and needs 20", room, n)
		}
	}
}
