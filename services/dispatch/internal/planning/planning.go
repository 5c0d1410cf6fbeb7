// Package planning translates between the day book and the planner: what is
// outstanding in the book and free in stock becomes a morning.Problem, and a
// morning.Plan becomes a plan of the book. It decides nothing that the planner
// could decide; it only sets aside what the planner cannot be asked.
package planning

import (
	"fmt"
	"slices"
	"time"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

// palletPrefix starts the ids of pallets in a problem. No beam's id has a
// colon, so that the two cannot be mixed up; the book gives the pallets of a
// recorded plan their lasting ids.
const palletPrefix = "pallet:"

// Problem returns what has to be planned for a day from now on, with what is
// wished, and what cannot be planned at all, with the reason.
func Problem(s daybook.State, day string, now time.Time, wishes daybook.Wishes, stock morning.Stock) (morning.Problem, []daybook.Unserved, error) {
	rules, _ := s.Rules()
	date, err := civil.ParseDay(day)
	if err != nil {
		return morning.Problem{}, nil, fault.New(fault.Invalid, "BAD_DAY", "The day is not one of the calendar.").
			At("day", day, "is no day", "YYYY-MM-DD")
	}
	p := morning.Problem{
		Rules:        rulesOf(rules),
		Stock:        stock,
		Busy:         busy(s.Runs(day)),
		PalletPrefix: palletPrefix,
		Seed:         uint64(uint32(date)),

		EarliestLoadingMinute: s.EarliestLoading(day, now),
	}
	for _, l := range s.Travel() {
		p.Travel = append(p.Travel, morning.Leg{FromID: l.FromSiteID, ToID: l.ToSiteID, Metres: l.Metres, Minutes: l.Minutes})
	}
	if p.Trucks, err = trucks(s.Trucks(), wishes.WithoutTrucks); err != nil {
		return morning.Problem{}, nil, err
	}
	var unserved []daybook.Unserved
	sites := map[string]bool{}
	list := catalogue{profiles: map[string]int{}, blocks: map[string]int{}}
	for _, w := range s.Outstanding(day) {
		aside := setAside(&w, wishes)
		unserved = append(unserved, aside...)
		if w.Site == nil || w.Floor == nil || len(w.Rooms) == 0 {
			continue
		}
		if !sites[w.Site.ID] {
			sites[w.Site.ID] = true
			p.Sites = append(p.Sites, site(*w.Site))
		}
		list.add(w.Floor)
		p.Orders = append(p.Orders, order(w, wishes))
	}
	p.Profiles, p.BlockKinds = list.profileList, list.blockList
	hinder(&p, s.Hindrances(day))
	return p, unserved, nil
}

// setAside takes out of a call-off what the planner cannot be asked to plan, or
// is not to be.
func setAside(w *daybook.Wanted, wishes daybook.Wishes) []daybook.Unserved {
	c := w.CallOff
	one := func(room string, reason daybook.UnservedReason, format string, args ...any) daybook.Unserved {
		return daybook.Unserved{CallOffID: c.ID, SiteID: c.SiteID, Room: room, Reason: reason, Sentence: fmt.Sprintf(format, args...)}
	}
	if w.Floor == nil {
		rooms := c.Rooms
		if len(rooms) == 0 {
			rooms = []string{""}
		}
		var out []daybook.Unserved
		for _, room := range rooms {
			out = append(out, one(room, daybook.NoPlan, "Floor %s of job %s has no approved laying plan.", c.Floor, c.JobID))
		}
		return out
	}
	var out []daybook.Unserved
	for _, room := range w.UnknownRooms {
		out = append(out, one(room, daybook.NoPlan, "The approved laying plan of floor %s of job %s has no room %s.", c.Floor, c.JobID, room))
	}
	w.Rooms = slices.DeleteFunc(slices.Clone(w.Rooms), func(r daybook.RoomDemand) bool {
		u := one(r.Room, 0, "")
		u.BeamCount, u.BlockCount, u.MassG = len(r.Beams), r.BlockCount, massOf(w.Floor, r)
		if slices.Contains(wishes.LeftOut, c.ID) {
			u.Reason = daybook.LeftOut
			u.Sentence = fmt.Sprintf("Call-off %s is left out of this plan, as it was wished.", c.ID)
		} else if name := unlisted(w.Floor, r); name != "" {
			u.Reason = daybook.NoPlan
			u.Sentence = fmt.Sprintf("The laying plan uses %s in room %s without saying its size.", name, r.Room)
		} else if w.Site == nil {
			u.Reason = daybook.NoAccess
			u.Sentence = fmt.Sprintf("Site %s is no longer in the list of sites.", c.SiteID)
		} else {
			return false
		}
		out = append(out, u)
		return true
	})
	return out
}

// unlisted returns a profile or block kind of the room that the floor's plan
// does not describe.
func unlisted(f *daybook.Floor, r daybook.RoomDemand) string {
	for _, b := range r.Beams {
		if !slices.ContainsFunc(f.Profiles, func(p daybook.Profile) bool { return p.Name == b.Product.Profile }) {
			return "profile " + b.Product.Profile
		}
	}
	if r.BlockCount > 0 && !slices.ContainsFunc(f.Blocks, func(k daybook.BlockKind) bool { return k.Name == r.BlockKind }) {
		return "block kind " + r.BlockKind
	}
	return ""
}

func massOf(f *daybook.Floor, r daybook.RoomDemand) int64 {
	var sum int64
	for _, b := range r.Beams {
		sum += b.MassG
	}
	for _, k := range f.Blocks {
		if k.Name == r.BlockKind {
			sum += int64(r.BlockCount) * k.MassG
		}
	}
	return sum
}

// catalogue gathers what the floors' plans say of profiles and block kinds.
// Plans of different age may differ: then the larger size counts, so that
// whatever comes out of the yard fits.
type catalogue struct {
	profiles, blocks map[string]int
	profileList      []morning.Profile
	blockList        []morning.BlockKind
}

func (c *catalogue) add(f *daybook.Floor) {
	for _, p := range f.Profiles {
		i, ok := c.profiles[p.Name]
		if !ok {
			c.profiles[p.Name] = len(c.profileList)
			c.profileList = append(c.profileList, morning.Profile{Name: p.Name, HeightMM: p.HeightMM, WidthMM: p.WidthMM})
			continue
		}
		old := &c.profileList[i]
		old.HeightMM, old.WidthMM = max(old.HeightMM, p.HeightMM), max(old.WidthMM, p.WidthMM)
	}
	for _, b := range f.Blocks {
		i, ok := c.blocks[b.Name]
		if !ok {
			c.blocks[b.Name] = len(c.blockList)
			c.blockList = append(c.blockList, morning.BlockKind{
				Name: b.Name, BlocksPerPallet: b.BlocksPerPallet, PalletLengthMM: b.PalletLengthMM, PalletWidthMM: b.PalletWidthMM,
				PalletHeightMM: b.PalletHeightMM, PalletTareG: b.PalletTareG, MassG: b.MassG,
			})
			continue
		}
		old := &c.blockList[i]
		old.BlocksPerPallet = min(old.BlocksPerPallet, b.BlocksPerPallet)
		old.PalletLengthMM, old.PalletWidthMM = max(old.PalletLengthMM, b.PalletLengthMM), max(old.PalletWidthMM, b.PalletWidthMM)
		old.PalletHeightMM, old.PalletTareG = max(old.PalletHeightMM, b.PalletHeightMM), max(old.PalletTareG, b.PalletTareG)
		old.MassG = max(old.MassG, b.MassG)
	}
}
