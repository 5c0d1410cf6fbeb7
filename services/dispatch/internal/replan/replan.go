// Package replan makes a plan out of another one: what is to stay stays, what a
// dispatcher wants otherwise is done, and of the rest as little changes as can
// be. It decides by placing whole loads (package routing) and lets the search
// plan only what is left over.
//
// A run is kept in this order of preference: as it is; as it is but later, on
// its truck; on another truck; its load planned anew. A wish that cannot be had
// is refused with every limit that stands against it, and then there is no plan.
package replan

import (
	"cmp"
	"fmt"
	"slices"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/routing"
)

// Wish is what is asked of the runs of a plan.
type Wish struct {
	// Runs of the plan that the new one is made out of.
	Runs []morning.Run
	// Locked runs, by place in Runs, stay as they are or the wish is refused.
	Locked map[int]bool
	Moves  []Move
	// PlanOthers says that the runs that are neither locked nor moved are planned
	// anew; otherwise they stay where they can.
	PlanOthers bool
	// KeepOthers says that they stay where they can even if that leaves more
	// behind.
	KeepOthers bool
}

// Move is a run whose load goes on a truck, which may be its own.
type Move struct {
	Run     int
	TruckID string
	// NotBefore is the first minute of loading.
	NotBefore int
}

// Refusal is why a wish for a run cannot be had.
type Refusal struct {
	// Run by its place in Wish.Runs.
	Run int
	loading.Refusal
}

// Made is a plan, and what it was made against: Problem.Fixed are the runs that
// were kept. Locked are those of the plan's runs that a wish keeps in place.
type Made struct {
	Plan    morning.Plan
	Problem morning.Problem
	Locked  map[int]bool
	// Note says why the other runs were planned anew unasked; empty when they were
	// not.
	Note string
}

// glimpse is how many plans a first look tries.
const glimpse = 200

// Plan makes a plan. stop is asked by the search for what is left over.
//
// That everything due is brought goes before that little changes: when keeping
// runs leaves more behind than planning them anew does, they are planned anew.
func Plan(p morning.Problem, wish Wish, stop func() bool) (Made, []Refusal) {
	if wish.PlanOthers || wish.KeepOthers {
		return plan(p, wish, stop)
	}
	kept, refusals := plan(p, wish, least(stop, glimpse))
	if len(refusals) == 0 && leftG(kept.Plan) == 0 {
		return longer(p, wish, stop, kept), nil
	}
	anew := wish
	anew.PlanOthers = true
	other, otherRefusals := plan(p, anew, least(stop, glimpse))
	switch {
	case len(otherRefusals) == 0 && len(refusals) == 0 && leftG(other.Plan) < leftG(kept.Plan):
		more := leftG(kept.Plan) - leftG(other.Plan)
		made := longer(p, anew, stop, other)
		made.Note = fmt.Sprintf("Keeping the other runs would leave %d kg more behind, so that all were planned anew.", (more+999)/1000)
		return made, nil
	case len(otherRefusals) == 0 && len(refusals) > 0:
		made := longer(p, anew, stop, other)
		made.Note = "The other runs cannot be kept with this wish, so that all were planned anew."
		return made, nil
	case len(refusals) > 0:
		return Made{}, refusals
	}
	return longer(p, wish, stop, kept), nil
}

// longer looks for a better plan than one that a first look gave.
func longer(p morning.Problem, wish Wish, stop func() bool, first Made) Made {
	made, refusals := plan(p, wish, stop)
	if len(refusals) > 0 || leftG(made.Plan) > leftG(first.Plan) {
		return first
	}
	return made
}

// least stops with stop, or after so many questions.
func least(stop func() bool, questions int) func() bool {
	return func() bool {
		questions--
		return questions < 0 || stop != nil && stop()
	}
}

func leftG(p morning.Plan) int64 {
	var sum int64
	for _, u := range p.Unserved {
		sum += u.MassG
	}
	return sum
}

func plan(p morning.Problem, wish Wish, stop func() bool) (Made, []Refusal) {
	d := draft{problem: p, wish: wish}
	if refusals := d.hold(); len(refusals) > 0 {
		return Made{}, refusals
	}
	if !wish.PlanOthers {
		d.keepOthers()
	}
	for i := range wish.Runs {
		if !d.isKept(i) {
			d.problem.Start = append(d.problem.Start, wish.Runs[i])
		}
	}
	return d.finish(stop)
}

// draft is a plan that is being made.
type draft struct {
	problem morning.Problem
	wish    Wish
	kept    []kept
	// placed counts problems that were made, so that pallets that are made up for
	// one are called otherwise than those for another.
	placed int
}

// kept is a run that stays, with its place in Wish.Runs.
type kept struct {
	run  morning.Run
	from int
	// bound says that a wish holds it in place.
	bound bool
}

// with returns the problem with the kept runs fixed, and others.
func (d *draft) with(others ...morning.Run) morning.Problem {
	p := d.problem
	p.Fixed = nil
	for i := range d.kept {
		p.Fixed = append(p.Fixed, d.kept[i].run)
	}
	p.Fixed = append(p.Fixed, others...)
	d.placed++
	p.PalletPrefix += fmt.Sprintf("placed-%d-", d.placed)
	return p
}

// byLoading are the places of runs in the order in which they are loaded.
func byLoading(runs []morning.Run) []int {
	out := make([]int, len(runs))
	for i := range out {
		out[i] = i
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(runs[a].LoadingMinute, runs[b].LoadingMinute) })
	return out
}

// hold keeps what is locked and moves what is to be moved.
func (d *draft) hold() []Refusal {
	var out []Refusal
	d.kept = d.candidates(func(i int) bool { return d.wish.Locked[i] }, true)
	for _, i := range byLoading(d.wish.Runs) {
		if d.wish.Locked[i] && !d.isMoved(i) {
			out = append(out, refused(i, d.stands(i))...)
		}
	}
	if len(out) > 0 {
		return out
	}
	for _, m := range d.wish.Moves {
		run, why := d.move(m)
		if len(why) > 0 {
			out = append(out, refused(m.Run, why)...)
			continue
		}
		d.kept = append(d.kept, kept{run, m.Run, true})
	}
	return out
}

// candidates are runs that may be kept as they are: none of them is kept or
// moved, and its pieces are there.
func (d *draft) candidates(which func(int) bool, bound bool) []kept {
	var out []kept
	for _, i := range byLoading(d.wish.Runs) {
		if which(i) && !d.isMoved(i) && !d.isKept(i) && (bound || len(d.missing(i)) == 0) {
			out = append(out, kept{d.wish.Runs[i], i, bound})
		}
	}
	return out
}

func refused(run int, why []loading.Refusal) []Refusal {
	var out []Refusal
	for _, r := range why {
		out = append(out, Refusal{run, r})
	}
	return out
}

func (d *draft) isMoved(run int) bool {
	return slices.ContainsFunc(d.wish.Moves, func(m Move) bool { return m.Run == run })
}

func (d *draft) isKept(run int) bool {
	return slices.ContainsFunc(d.kept, func(k kept) bool { return k.from == run })
}

// move finds a time for a load on a truck: one that leaves the other runs alone
// if there is any.
func (d *draft) move(m Move) (morning.Run, []loading.Refusal) {
	load := routing.LoadOf(&d.wish.Runs[m.Run], m.TruckID)
	load.NotBefore = m.NotBefore
	if !d.wish.PlanOthers {
		var others []morning.Run
		for _, k := range d.candidates(func(int) bool { return true }, false) {
			others = append(others, k.run)
		}
		if run, why := routing.Place(d.with(others...), load); len(why) == 0 {
			return run, nil
		}
	}
	return routing.Place(d.with(), load)
}

// stands says what keeps a run from staying as it is beside the others that are
// kept.
func (d *draft) stands(run int) []loading.Refusal {
	r := &d.wish.Runs[run]
	if why := d.missing(run); len(why) > 0 {
		return why
	}
	p := d.problem
	p.Fixed = nil
	for i := range d.kept {
		if d.kept[i].from != run {
			p.Fixed = append(p.Fixed, d.kept[i].run)
		}
	}
	return routing.Stands(p, r)
}

// keepOthers keeps the runs that no wish is about: those that can stay as they
// are first, and then the loads of the others.
func (d *draft) keepOthers() {
	others := d.candidates(func(int) bool { return true }, false)
	d.kept = append(d.kept, others...)
	for _, k := range others {
		// One that goes only gives the others more room.
		if len(d.stands(k.from)) > 0 {
			d.kept = slices.DeleteFunc(d.kept, func(o kept) bool { return o.from == k.from })
		}
	}
	for _, i := range byLoading(d.wish.Runs) {
		if d.isKept(i) {
			continue
		}
		if run, ok := d.elsewhere(&d.wish.Runs[i]); ok {
			d.kept = append(d.kept, kept{run, i, false})
		}
	}
}

// elsewhere places a load that cannot go as it did: on its truck before any
// other, and not sooner than it was before sooner.
func (d *draft) elsewhere(r *morning.Run) (morning.Run, bool) {
	var best morning.Run
	found := false
	for _, own := range []bool{true, false} {
		for _, notBefore := range []int{r.LoadingMinute, 0} {
			for _, t := range d.problem.Trucks {
				if (t.ID == r.TruckID) != own {
					continue
				}
				load := routing.LoadOf(r, t.ID)
				load.NotBefore = notBefore
				run, why := routing.Place(d.with(), load)
				if len(why) == 0 && (!found || run.LoadingMinute < best.LoadingMinute) {
					best, found = run, true
				}
			}
			if found {
				return best, true
			}
		}
	}
	return best, false
}

// finish plans what is left over around what is kept. What is kept and turns
// out to stand before something that has to come first is planned with it.
func (d *draft) finish(stop func() bool) (Made, []Refusal) {
	for {
		problem := d.with()
		plan := routing.Plan(problem, stop)
		if len(plan.Blocked) == 0 {
			return Made{Plan: plan, Problem: problem, Locked: d.locked(plan)}, nil
		}
		var refusals []Refusal
		blocked := map[int]bool{}
		for _, b := range plan.Blocked {
			blocked[b.Fixed] = true
			if k := d.kept[b.Fixed]; k.bound {
				refusals = append(refusals, Refusal{k.from, loading.Refusal{Rule: "after_unserved", Sentence: b.Sentence}})
			}
		}
		if len(refusals) > 0 {
			return Made{}, refusals
		}
		var still []kept
		for i, k := range d.kept {
			if !blocked[i] {
				still = append(still, k)
			}
		}
		d.kept = still
	}
}

// locked are the runs of a plan that a wish keeps in place.
func (d *draft) locked(plan morning.Plan) map[int]bool {
	out := map[int]bool{}
	for i := range plan.Runs {
		r := &plan.Runs[i]
		out[i] = slices.ContainsFunc(d.kept, func(k kept) bool {
			return k.bound && k.run.TruckID == r.TruckID && k.run.LoadingMinute == r.LoadingMinute
		})
	}
	return out
}
