package routing

import (
	"cmp"
	"slices"
)

// delivery is what was brought to a site by a minute.
type delivery struct{ minute, beams int }

func insertDelivery(all []delivery, d delivery) []delivery {
	at, _ := slices.BinarySearchFunc(all, d, func(a, b delivery) int { return cmp.Compare(a.minute, b.minute) })
	return slices.Insert(all, at, d)
}

// unlaid counts what lies at a site and is not laid yet, in sixtieths of a
// beam: so many beams an hour take as many sixtieths a minute.
type unlaid struct {
	perMinute     int
	sixtieths     int
	minute        int
	waitedMinutes int
	begun         bool
}

// add brings a delivery; the crew begins with the first.
func (u *unlaid) add(d delivery) {
	if u.begun {
		laid := u.perMinute * (d.minute - u.minute)
		if laid > u.sixtieths {
			u.waitedMinutes += (laid - u.sixtieths) / u.perMinute
		}
		u.sixtieths = max(0, u.sixtieths-laid)
	}
	u.begun, u.minute = true, d.minute
	u.sixtieths += 60 * d.beams
}

// hasRoom tells whether a site can hold beams that are brought by a minute, and
// all that comes after them.
func (c *chain) hasRoom(brought []delivery, minute, beams int) bool {
	if !c.bounded() || beams == 0 {
		return true
	}
	u := unlaid{perMinute: c.site.LaidPerHour}
	for _, d := range insertDelivery(slices.Clone(brought), delivery{minute, beams}) {
		u.add(d)
		if d.minute >= minute && u.sixtieths > 60*c.site.HoldsBeams {
			return false
		}
	}
	return true
}

// room is the first minute from which a place of a site is free for so long,
// and the site can hold the beams then; one after closes when there is none.
func (w *world) room(d *diary, chain, from, takes, beams, closes int) int {
	c := &w.chains[chain]
	for {
		from = freePlace(d.places[chain], from, takes, c.site.Places)
		if from > closes || c.hasRoom(d.brought[chain], from+takes, beams) && c.nextUnload(from) == from {
			return from
		}
		from++
	}
}

// crewWaiting are the minutes in which the crews of sites that the plan goes to
// and whose pace is known have laid all that was brought and wait for more.
func (b *builder) crewWaiting() int {
	visited := map[int]bool{}
	for i := range b.plan.runs {
		for _, s := range b.plan.runs[i].drops {
			visited[s.chain] = true
		}
	}
	sum := 0
	for i := range b.chains {
		if pace := b.chains[i].site.LaidPerHour; pace > 0 && (visited[i] || len(b.chains[i].fixed) > 0) {
			u := unlaid{perMinute: pace}
			for _, d := range b.diary.brought[i] {
				if d.beams > 0 {
					u.add(d)
				}
			}
			sum += u.waitedMinutes
		}
	}
	return sum
}
