package routing

import (
	"cmp"
	"slices"
)

// outing is a run as its driver sees it.
type outing struct {
	span
	// driving is how much of it the driver drives.
	driving int
}

func insertOuting(all []outing, o outing) []outing {
	at, _ := slices.BinarySearchFunc(all, o, func(a, b outing) int { return cmp.Compare(a.from, b.from) })
	return slices.Insert(all, at, o)
}

// driverMay tells whether a driver may make one run more.
func (w *world) driverMay(outings []outing, more outing) bool {
	rules := w.problem.Rules.Driver
	if rules.MaxDrivingMinutes == 0 && rules.DrivingBeforeBreakMinutes == 0 {
		return true
	}
	all, sinceBreak, until := 0, 0, 0
	for i, o := range insertOuting(slices.Clone(outings), more) {
		if i > 0 && o.from-until >= rules.BreakMinutes {
			sinceBreak = 0
		}
		all += o.driving
		sinceBreak += o.driving
		until = o.to
		if rules.MaxDrivingMinutes > 0 && all > rules.MaxDrivingMinutes ||
			rules.DrivingBeforeBreakMinutes > 0 && sinceBreak > rules.DrivingBeforeBreakMinutes {
			return false
		}
	}
	return true
}

// afterBreak is the first minute from which on the driver has had a break since
// the run before.
func (w *world) afterBreak(outings []outing, from int) int {
	for _, o := range outings {
		if o.from < from {
			from = max(from, o.to+w.problem.Rules.Driver.BreakMinutes)
		}
	}
	return from
}

// loadingMinutes is the time to load a truck.
func (w *world) loadingMinutes(l *loaded) int {
	minutes := w.problem.Rules.LoadingMinutes
	for _, n := range l.piles {
		minutes += n * w.problem.Rules.LoadingMinutesPerPile
	}
	return minutes
}

// freeBay is the first minute from which a loading bay and a forklift are free for
// so long.
func (w *world) freeBay(d *diary, from, takes int) int {
	if most := w.loadedAtOnce(); most > 0 {
		return freePlace(d.bays, from, takes, most)
	}
	return from
}

func (w *world) bayFree(d *diary, from, takes int) bool {
	most := w.loadedAtOnce()
	return most == 0 || placeFree(d.bays, from, takes, most)
}

// loadedAtOnce is how many trucks are loaded at a time: each takes a bay and a
// forklift. 0 is as many as come.
func (w *world) loadedAtOnce() int {
	bays, forklifts := w.problem.Rules.LoadingBays, w.problem.Rules.Forklifts
	if bays == 0 || forklifts == 0 {
		return max(bays, forklifts)
	}
	return min(bays, forklifts)
}
