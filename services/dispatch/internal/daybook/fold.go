package daybook

import (
	"slices"
	"strings"

	"github.com/benbjohnson/immutable"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

// keepRunsDays is how long the runs of a day are kept one by one once all of
// them are over, counted back from the newest day that was planned.
const keepRunsDays = 60

// Folded is what is kept of the runs of a day that is long over. The places
// that they filled stay filled, and the ledger has every event of them.
type Folded struct {
	Delivered int `json:",omitempty"`
	Cancelled int `json:",omitempty"`
	// CallOffs that the runs carried.
	CallOffs []string `json:",omitempty"`
}

// FoldedPlan is what is kept of a plan of such a day.
type FoldedPlan struct {
	Runs, Pieces int
	MassG        int64
	Unserved     int
}

// Laid is what the folded runs brought to a floor.
type Laid struct {
	FloorKey
	// Marks, sorted, with a sign between that no text of the yard holds and at
	// both ends: a fraction of what a map of them takes.
	Marks  string         `json:",omitempty"`
	Blocks map[string]int `json:",omitempty"`
}

// between marks in Laid.Marks.
const between = "\x1f"

func (b *floorBook) isLaid(mark string) bool {
	return b.laidMarks != "" && strings.Contains(b.laidMarks, between+mark+between)
}

// foldOld folds the days that are so long before the newest one that was
// planned.
func (s State) foldOld(newest civil.Day) State {
	before := (newest - keepRunsDays).String()
	var old []string
	for it := s.days.Iterator(); !it.Done(); {
		day, d, _ := it.Next()
		if day >= before {
			break
		}
		if len(d.runs) > 0 && d.confirming == "" {
			old = append(old, day)
		}
	}
	for _, day := range old {
		s = s.fold(day)
	}
	return s
}

// fold folds a day if all of its runs are over.
func (s State) fold(day string) State {
	runs := s.Runs(day)
	for _, r := range runs {
		if r.State != RunDeliveredState && !(r.State == RunCancelledState && r.Freed) {
			return s
		}
	}
	kept, _ := s.Folded(day)
	f := &kept
	f.CallOffs = slices.Clone(f.CallOffs)
	for _, r := range runs {
		s = s.foldRun(r, f)
	}
	d := s.day(day)
	for _, id := range d.plans {
		s = s.withPlan(id, foldPlan)
	}
	slices.Sort(f.CallOffs)
	f.CallOffs = slices.Compact(f.CallOffs)
	return s.withDay(day, func(d *dayBook) { d.runs, d.folded = nil, f })
}

// Size of a plan, also when its runs are folded.
func (p *PlanStatus) Size() FoldedPlan {
	if p.Folded != nil {
		return *p.Folded
	}
	return FoldedPlan{Runs: len(p.Plan.Runs), Pieces: p.Plan.PieceCount(), MassG: p.Plan.MassG(), Unserved: len(p.Plan.Unserved)}
}

func foldPlan(p *PlanStatus) {
	size := p.Size()
	p.Folded = &size
	p.Plan.Runs, p.Plan.Unserved, p.EarlyHits, p.Missing = nil, nil, nil, nil
}

func (s State) foldRun(r *RunStatus, f *Folded) State {
	cancelled := r.State == RunCancelledState
	if cancelled {
		f.Cancelled++
	} else {
		f.Delivered++
		for _, d := range r.Run.Drops {
			f.CallOffs = append(f.CallOffs, d.CallOffIDs...)
		}
	}
	marks := map[FloorKey][]string{}
	r.Run.Items(func(_ *Pile, item *Item) {
		if run, ok := s.pieces.Get(item.PieceID); ok && run == r.Run.ID {
			s.pieces = s.pieces.Delete(item.PieceID)
		}
		if cancelled && !slices.Contains(r.SetDown, item.PieceID) || slices.Contains(r.TakenBack, item.PieceID) {
			return
		}
		if item.IsPallet() {
			s = s.withFloor(item.FloorKey, func(b *floorBook) {
				n, _ := b.laidBlocks.Get(item.Room)
				b.laidBlocks = b.laidBlocks.Set(item.Room, n+item.BlockCount)
			})
			return
		}
		if run, ok := s.floor(item.FloorKey).marks.Get(item.Mark); ok && run == r.Run.ID {
			marks[item.FloorKey] = append(marks[item.FloorKey], item.Mark)
		}
	})
	for key, list := range marks {
		s = s.withFloor(key, func(b *floorBook) { b.lay(list) })
	}
	s.runs = s.runs.Delete(r.Run.ID)
	return s
}

// lay moves marks from the map to the text of what is laid.
func (b *floorBook) lay(marks []string) {
	for _, mark := range marks {
		b.marks = b.marks.Delete(mark)
	}
	all := append(slices.Clone(marks), strings.FieldsFunc(b.laidMarks, func(r rune) bool { return string(r) == between })...)
	slices.Sort(all)
	b.laidMarks = between + strings.Join(all, between) + between
	b.laidCount = len(all)
}

// laid writes down what folded runs brought to the floors.
func (s State) laid() []Laid {
	var out []Laid
	each(s.floors, func(key string, b *floorBook) {
		if b.laidMarks == "" && b.laidBlocks.Len() == 0 {
			return
		}
		job, floor, _ := strings.Cut(key, between)
		l := Laid{FloorKey: FloorKey{JobID: job, Floor: floor}, Marks: b.laidMarks}
		each(b.laidBlocks, func(room string, n int) {
			if l.Blocks == nil {
				l.Blocks = map[string]int{}
			}
			l.Blocks[room] = n
		})
		out = append(out, l)
	})
	return out
}

// recallLaid is the inverse of laid.
func (s State) recallLaid(list []Laid) State {
	for _, l := range list {
		s = s.withFloor(l.FloorKey, func(b *floorBook) {
			b.laidMarks = l.Marks
			b.laidCount = max(0, strings.Count(l.Marks, between)-1)
			// A live run may still carry a piece for a place that a folded one filled.
			for mark := range strings.FieldsFuncSeq(l.Marks, func(r rune) bool { return string(r) == between }) {
				b.marks = b.marks.Delete(mark)
			}
			b.laidBlocks = immutable.NewSortedMap[string, int](nil)
			for room, count := range l.Blocks {
				b.laidBlocks = b.laidBlocks.Set(room, count)
				n, _ := b.blocks.Get(room)
				b.blocks = b.blocks.Set(room, n+count)
			}
		})
	}
	return s
}

// Folded returns what is kept of a day that is folded; false for other days.
func (s State) Folded(day string) (Folded, bool) {
	if f := s.day(day).folded; f != nil {
		return *f, true
	}
	return Folded{}, false
}

// CheckRunsKept refuses to show the runs of a day that is folded.
func (s State) CheckRunsKept(day string) error {
	f, ok := s.Folded(day)
	if !ok || len(s.day(day).runs) > 0 {
		return nil
	}
	return fault.New(fault.Stale, "DAY_FOLDED",
		"The runs of %s are over for more than %d days and are no longer kept one by one. Delivered: %d, cancelled: %d. The history of each piece in stock says where it went.",
		day, keepRunsDays, f.Delivered, f.Cancelled)
}

// dayOfFolded returns the folded day that a run belonged to: the id of a run
// begins with its day.
func (s State) dayOfFolded(runID string) string {
	if len(runID) < len(civil.Layout) {
		return ""
	}
	day := runID[:len(civil.Layout)]
	if _, ok := s.Folded(day); ok && strings.HasPrefix(runID, day+"-P") {
		return day
	}
	return ""
}
