package daybook

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Changes is how one plan differs from another.
type Changes struct {
	Before, After Totals
	Runs          []RunDifference
	UnchangedRuns int
	CallOffs      []CallOffDifference
}

// Totals is what a plan comes to.
type Totals struct {
	Runs, DistanceM, CrewWaitingMinutes, MovedAside int
	Beams, UnservedBeams, UnservedBlocks            int
	MassG                                           int64
}

// DifferenceKind is what became of a run.
type DifferenceKind int

// The kinds, numbered as in the contract.
const (
	OtherTimes DifferenceKind = iota + 1
	OtherTruck
	OtherLoad
	RunGone
	RunNew
)

// RunDifference is a run that is not the same in both plans.
type RunDifference struct {
	Kind              DifferenceKind
	BeforeID, AfterID string
	Sentence          string
}

// CallOffDifference is a call-off that comes otherwise.
type CallOffDifference struct{ CallOffID, Sentence string }

// Compare says how a plan differs from one before. Loads are told apart by the
// places that they are for, not by their pieces: an equal beam for the same mark
// is no difference.
func Compare(before, after *Plan) Changes {
	c := Changes{Before: totals(before), After: totals(after)}
	pairs := pair(before.Runs, after.Runs)
	taken := map[int]bool{}
	for i := range before.Runs {
		j, ok := pairs[i]
		if !ok {
			c.Runs = append(c.Runs, gone(&before.Runs[i]))
			continue
		}
		taken[j] = true
		if d, differs := difference(&before.Runs[i], &after.Runs[j]); differs {
			c.Runs = append(c.Runs, d)
		} else {
			c.UnchangedRuns++
		}
	}
	for j := range after.Runs {
		if !taken[j] {
			c.Runs = append(c.Runs, fresh(&after.Runs[j]))
		}
	}
	c.CallOffs = callOffDifferences(before, after)
	return c
}

func totals(p *Plan) Totals {
	t := Totals{Runs: len(p.Runs), CrewWaitingMinutes: p.CrewWaitingMinutes, MovedAside: p.MovedAsideCount, MassG: p.MassG()}
	for i := range p.Runs {
		t.DistanceM += p.Runs[i].DistanceM
		t.Beams += p.Runs[i].beamCount()
	}
	for _, u := range p.Unserved {
		t.UnservedBeams += u.BeamCount
		t.UnservedBlocks += u.BlockCount
	}
	return t
}

func (r *Run) beamCount() int {
	n := 0
	r.Items(func(_ *Pile, item *Item) {
		if !item.IsPallet() {
			n++
		}
	})
	return n
}

// spot is what a piece is for: a mark of a room, or a room's blocks.
type spot struct{ callOffID, room, mark string }

// load is what a run brings, by what it is for: beams count one, blocks each.
func (r *Run) load() map[spot]int {
	out := map[spot]int{}
	r.Items(func(_ *Pile, item *Item) {
		if item.IsPallet() {
			out[spot{item.CallOffID, item.Room, ""}] += item.BlockCount
			return
		}
		out[spot{item.CallOffID, item.Room, item.Mark}]++
	})
	return out
}

// common is how much of one load is in another.
func common(a, b map[spot]int) int {
	n := 0
	for s, count := range a {
		n += min(count, b[s])
	}
	return n
}

// pair finds for runs of one plan those of another that bring the most of the
// same, the pairs with the most first.
func pair(before, after []Run) map[int]int {
	type match struct{ i, j, common int }
	var all []match
	loads := make([]map[spot]int, len(after))
	for j := range after {
		loads[j] = after[j].load()
	}
	for i := range before {
		load := before[i].load()
		for j := range after {
			if n := common(load, loads[j]); n > 0 {
				all = append(all, match{i, j, n})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b match) int { return cmp.Compare(b.common, a.common) })
	out, taken := map[int]int{}, map[int]bool{}
	for _, m := range all {
		if _, ok := out[m.i]; !ok && !taken[m.j] {
			out[m.i], taken[m.j] = m.j, true
		}
	}
	return out
}

// difference tells how a run goes otherwise.
func difference(a, b *Run) (RunDifference, bool) {
	d := RunDifference{BeforeID: a.ID, AfterID: b.ID}
	var parts []string
	if a.TruckID != b.TruckID {
		d.Kind = OtherTruck
		parts = append(parts, fmt.Sprintf("truck %s instead of %s", b.TruckID, a.TruckID))
	}
	if off, on := loadChange(a, b); off != "" || on != "" {
		d.Kind = OtherLoad
		if off != "" {
			parts = append(parts, off+" off")
		}
		if on != "" {
			parts = append(parts, on+" on")
		}
	}
	if times := timeChange(a, b); times != "" {
		d.Kind = cmp.Or(d.Kind, OtherTimes)
		parts = append(parts, times)
	}
	d.Sentence = fmt.Sprintf("%s, %s to %s: %s", short(b.ID), b.TruckID, b.sites(), strings.Join(parts, "; "))
	return d, d.Kind != 0
}

// short is the id of a run without that of its plan.
func short(runID string) string { return runID[strings.LastIndex(runID, "-")+1:] }

func (r *Run) sites() string {
	var ids []string
	for _, d := range r.Drops {
		ids = append(ids, d.SiteID)
	}
	return strings.Join(ids, ", ")
}

// loadChange is what a run does not bring any more, and what it brings now.
func loadChange(a, b *Run) (off, on string) {
	x, y := a.load(), b.load()
	return lacking(x, y), lacking(y, x)
}

// lacking is what of a load another does not have.
func lacking(a, b map[spot]int) string {
	beams, blocks := 0, 0
	for s, n := range a {
		switch less := n - b[s]; {
		case less <= 0:
		case s.mark == "":
			blocks += less
		default:
			beams += less
		}
	}
	return amount(beams, blocks)
}

func amount(beams, blocks int) string {
	var parts []string
	if beams > 0 {
		parts = append(parts, counted(beams, "beam"))
	}
	if blocks > 0 {
		parts = append(parts, counted(blocks, "block"))
	}
	return strings.Join(parts, " and ")
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func timeChange(a, b *Run) string {
	var parts []string
	if a.LoadingMinute != b.LoadingMinute {
		parts = append(parts, fmt.Sprintf("loads %s instead of %s", clockTime(b.LoadingMinute), clockTime(a.LoadingMinute)))
	}
	for _, d := range b.Drops {
		for _, o := range a.Drops {
			if o.SiteID == d.SiteID && o.UnloadMinute != d.UnloadMinute {
				parts = append(parts, fmt.Sprintf("at %s %s instead of %s", d.SiteID, clockTime(d.UnloadMinute), clockTime(o.UnloadMinute)))
			}
		}
	}
	return strings.Join(parts, ", ")
}

func gone(r *Run) RunDifference {
	return RunDifference{Kind: RunGone, BeforeID: r.ID, Sentence: fmt.Sprintf("%s, %s to %s: is not driven", short(r.ID), r.TruckID, r.sites())}
}

func fresh(r *Run) RunDifference {
	blocks := 0
	r.Items(func(_ *Pile, item *Item) { blocks += item.BlockCount })
	return RunDifference{Kind: RunNew, AfterID: r.ID, Sentence: fmt.Sprintf("%s, %s to %s: is new, with %s; loads %s",
		short(r.ID), r.TruckID, r.sites(), amount(r.beamCount(), blocks), clockTime(r.LoadingMinute))}
}

// arrival is what of a call-off comes, and when.
type arrival struct{ first, last, beams, blocks int }

func arrivals(p *Plan) map[string]arrival {
	out := map[string]arrival{}
	for i := range p.Runs {
		r := &p.Runs[i]
		r.Items(func(pile *Pile, item *Item) {
			a, seen := out[item.CallOffID]
			for _, d := range r.Drops {
				if d.Number != pile.DropNumber {
					continue
				}
				if !seen || d.UnloadMinute < a.first {
					a.first = d.UnloadMinute
				}
				a.last = max(a.last, d.UnloadMinute)
			}
			if item.IsPallet() {
				a.blocks += item.BlockCount
			} else {
				a.beams++
			}
			out[item.CallOffID] = a
		})
	}
	return out
}

func callOffDifferences(before, after *Plan) []CallOffDifference {
	a, b := arrivals(before), arrivals(after)
	var ids []string
	for id := range a {
		ids = append(ids, id)
	}
	for id := range b {
		if _, ok := a[id]; !ok {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	var out []CallOffDifference
	for _, id := range ids {
		x, was := a[id]
		y, is := b[id]
		switch {
		case !is:
			out = append(out, CallOffDifference{id, fmt.Sprintf("is not brought; before: %s", amount(x.beams, x.blocks))})
		case !was:
			out = append(out, CallOffDifference{id, fmt.Sprintf("is brought now: %s, first unloaded at %s", amount(y.beams, y.blocks), clockTime(y.first))})
		case x != y:
			out = append(out, CallOffDifference{id, comesOtherwise(x, y)})
		}
	}
	return out
}

func comesOtherwise(x, y arrival) string {
	var parts []string
	if x.beams != y.beams || x.blocks != y.blocks {
		parts = append(parts, fmt.Sprintf("%s instead of %s", amount(y.beams, y.blocks), amount(x.beams, x.blocks)))
	}
	if x.first != y.first {
		parts = append(parts, fmt.Sprintf("first unloaded at %s instead of %s", clockTime(y.first), clockTime(x.first)))
	}
	if x.last != y.last {
		parts = append(parts, fmt.Sprintf("last unloaded at %s instead of %s", clockTime(y.last), clockTime(x.last)))
	}
	return strings.Join(parts, "; ")
}
