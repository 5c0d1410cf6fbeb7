package runbound

import "math"

// nearby is half of the shortest ways to a place and from it: whatever the order
// of a run's places, its ways are at least as long as these together.
func (p *Problem) nearby(place int) float64 {
	in, out := math.MaxInt, math.MaxInt
	for other := range p.Minutes {
		if other != place {
			in, out = min(in, p.Minutes[other][place]), min(out, p.Minutes[place][other])
		}
	}
	return float64(in+out) / 2
}

// minutes is the shortest time from loading to being back of a run with these
// drops in any order; false where no order keeps windows and limits.
func (p *Problem) minutes(kind int, drops []part) (int, bool) {
	var aboard int64
	for i := range drops {
		aboard += drops[i].uses[0]
	}
	t := &p.Trucks[kind]
	o := orders{p: p, kind: kind, drops: drops, least: math.MaxInt}
	o.after(0, 0, aboard, trip{p.LoadingMinutes, t.OpensMinute, t.ClosesMinute})
	return o.least, o.least < math.MaxInt
}

// trip is a part of a run: how long it takes, and when it starts at the
// earliest and at the latest without waiting more than it must.
type trip struct{ minutes, early, late int }

// then adds a place where the next thing starts within a window.
func (t trip) then(drive, opens, closes, takes int) (trip, bool) {
	before := t.minutes + drive
	if t.early+before > closes {
		return t, false
	}
	wait := max(0, opens-before-t.late)
	return trip{before + wait + takes, max(opens-before, t.early) - wait, min(closes-before, t.late)}, true
}

// orders tries the orders of drops.
type orders struct {
	p     *Problem
	kind  int
	drops []part
	used  [MaxDrops]bool
	least int
}

func (o *orders) after(done, at int, aboard int64, t trip) {
	if done == len(o.drops) {
		closes := o.p.Trucks[o.kind].ClosesMinute
		if back, ok := t.then(o.p.Minutes[at][0], 0, closes, 0); ok {
			o.least = min(o.least, back.minutes)
		}
		return
	}
	for i := range o.drops {
		d := &o.drops[i]
		if o.used[i] || aboard > o.p.Sites[d.site].MostG[o.kind] {
			continue
		}
		if next, ok := t.then(o.p.Minutes[at][d.site+1], d.opens, d.close, d.unload); ok {
			o.used[i] = true
			o.after(done+1, d.site+1, aboard-d.uses[0], next)
			o.used[i] = false
		}
	}
}
