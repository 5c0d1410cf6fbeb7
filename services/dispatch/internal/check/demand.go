package check

import (
	"sort"

	"spanyard.example/services/dispatch/internal/morning"
)

// room names a room of a call-off.
type room struct{ callOff, name string }

// demandIsMet checks that what is brought and what is left make up what was
// asked for, mark by mark and block by block.
func (c *checker) demandIsMet() {
	marks := map[room]map[string]morning.Item{}
	blocks := map[room]map[string]int{}
	for _, r := range c.plan.Runs {
		for _, item := range items(r) {
			key := room{item.CallOffID, item.Room}
			if marks[key] == nil {
				marks[key], blocks[key] = map[string]morning.Item{}, map[string]int{}
			}
			if item.Pallet() {
				blocks[key][item.BlockKind] += item.BlockCount
				continue
			}
			if _, twice := marks[key][item.Mark]; twice {
				c.add("mark_twice", "mark %s of call-off %s is brought twice", item.Mark, item.CallOffID)
			}
			marks[key][item.Mark] = item
		}
	}
	left := map[room]morning.Unserved{}
	for _, u := range c.plan.Unserved {
		key := room{u.CallOffID, u.Room}
		if _, twice := left[key]; twice {
			c.add("unserved", "room %s of call-off %s is listed as unserved twice", u.Room, u.CallOffID)
		}
		if u.Reason < morning.NoPlan || u.Reason > morning.AfterUnserved || u.Sentence == "" {
			c.add("unserved", "room %s of call-off %s is left without a reason", u.Room, u.CallOffID)
		}
		left[key] = u
	}
	asked := map[room]bool{}
	for _, o := range c.problem.Orders {
		for _, r := range o.Rooms {
			key := room{o.CallOffID, r.Name}
			asked[key] = true
			c.roomIsMet(o, r, marks[key], blocks[key], left[key])
		}
	}
	for key := range marks {
		if !asked[key] {
			c.add("not_asked", "room %s of call-off %s is brought and was not asked for", key.name, key.callOff)
		}
	}
	for key := range left {
		if !asked[key] {
			c.add("unserved", "room %s of call-off %s is left and was not asked for", key.name, key.callOff)
		}
	}
}

func (c *checker) roomIsMet(o morning.Order, r morning.Room, marks map[string]morning.Item, blocks map[string]int, left morning.Unserved) {
	brought := 0
	var leftG int64
	for _, b := range r.Beams {
		item, ok := marks[b.Mark]
		if !ok {
			leftG += b.MassG
			continue
		}
		brought++
		if item.Beam != b.Product || item.JobID != o.JobID || item.Floor != o.Floor {
			c.add("product", "mark %s of call-off %s gets another beam than drawn", b.Mark, o.CallOffID)
		}
	}
	if brought != len(marks) {
		c.add("not_asked", "room %s of call-off %s gets marks that it does not have", r.Name, o.CallOffID)
	}
	for kind := range blocks {
		if kind != r.BlockKind {
			c.add("product", "room %s of call-off %s gets blocks %s", r.Name, o.CallOffID, kind)
		}
	}
	for _, k := range c.problem.BlockKinds {
		if k.Name == r.BlockKind {
			leftG += int64(r.BlockCount-blocks[r.BlockKind]) * k.MassG
		}
	}
	if brought+left.BeamCount != len(r.Beams) || blocks[r.BlockKind]+left.BlockCount != r.BlockCount || left.MassG != leftG {
		c.add("demand", "room %s of call-off %s needs %d beams and %d blocks; %d and %d are brought, %d and %d (%d g of %d g) listed as left",
			r.Name, o.CallOffID, len(r.Beams), r.BlockCount, brought, blocks[r.BlockKind],
			left.BeamCount, left.BlockCount, left.MassG, leftG)
	}
}

// asked is one thing of a site's laying order: a beam, or a room's blocks.
type asked struct {
	order  morning.Order
	room   morning.Room
	number int
	mark   string
	blocks int
}

// layingOrderOf lists a site's laying order from the raw call-offs.
func (c *checker) layingOrderOf(siteID string) []asked {
	var orders []morning.Order
	for _, o := range c.problem.Orders {
		if o.SiteID == siteID {
			orders = append(orders, o)
		}
	}
	sort.Slice(orders, func(a, b int) bool {
		x, y := orders[a], orders[b]
		if x.Window.ClosesMinute != y.Window.ClosesMinute {
			return x.Window.ClosesMinute < y.Window.ClosesMinute
		}
		if x.Window.OpensMinute != y.Window.OpensMinute {
			return x.Window.OpensMinute < y.Window.OpensMinute
		}
		return x.CallOffID < y.CallOffID
	})
	var list []asked
	for _, o := range orders {
		for _, r := range o.Rooms {
			if r.BlockCount > 0 {
				list = append(list, asked{o, r, len(list) + 1, "", r.BlockCount})
			}
			for _, b := range r.Beams {
				list = append(list, asked{o, r, len(list) + 1, b.Mark, 0})
			}
		}
	}
	return list
}

// layingOrderHolds checks, site by site, that loads are consecutive stretches
// of the laying order, that they arrive in that order, that nothing of a
// call-off goes while something earlier of it stays, and that a room's blocks
// come no later than its beams. (Blocks stand before the beams of their room
// in the laying order, so the last follows from the first two; it is checked
// by itself because a crew cannot lay without.)
func (c *checker) layingOrderHolds() {
	seen := map[string]bool{}
	for _, o := range c.problem.Orders {
		if !seen[o.SiteID] {
			seen[o.SiteID] = true
			c.siteOrder(o.SiteID)
		}
	}
}

// visit is one drop at a site, with what it brings.
type visit struct {
	unload int
	marks  map[room]map[string]morning.Item
	blocks map[room]int
	lowest int
	top    int
}

func (c *checker) visits(siteID string) []visit {
	var all []visit
	for _, r := range c.plan.Runs {
		for d, drop := range r.Drops {
			if drop.SiteID != siteID {
				continue
			}
			v := visit{unload: drop.UnloadMinute, marks: map[room]map[string]morning.Item{}, blocks: map[room]int{}}
			for _, p := range r.Piles {
				if p.DropNumber != d+1 {
					continue
				}
				for _, tier := range p.Tiers {
					for _, item := range tier.Items {
						v.add(item)
					}
				}
			}
			all = append(all, v)
		}
	}
	sort.Slice(all, func(a, b int) bool { return all[a].unload < all[b].unload })
	return all
}

func (v *visit) add(item morning.Item) {
	key := room{item.CallOffID, item.Room}
	if item.Pallet() {
		v.blocks[key] += item.BlockCount
	} else {
		if v.marks[key] == nil {
			v.marks[key] = map[string]morning.Item{}
		}
		v.marks[key][item.Mark] = item
	}
	if v.lowest == 0 || item.LayingNumber < v.lowest {
		v.lowest = item.LayingNumber
	}
	v.top = max(v.top, item.LayingNumber)
}

func (c *checker) siteOrder(siteID string) {
	visits := c.visits(siteID)
	for i := 1; i < len(visits); i++ {
		if visits[i].unload == visits[i-1].unload {
			c.add("arrival_order", "two runs are unloaded at %s at the same minute %d", siteID, visits[i].unload)
		}
	}
	blocksSoFar := map[room]int{}
	// reached is the visit that brought the last thing; missing names the
	// call-offs of which something has been left.
	reached := 0
	missing := map[string]bool{}
	for _, a := range c.layingOrderOf(siteID) {
		key := room{a.order.CallOffID, a.room.Name}
		var came []int
		brought := 0
		for i, v := range visits {
			if item, ok := v.marks[key][a.mark]; ok && a.blocks == 0 {
				came = append(came, i)
				if item.LayingNumber != a.number {
					c.add("laying_number", "%s has the laying number %d at %s instead of %d", a.mark, item.LayingNumber, siteID, a.number)
				}
			}
			if a.blocks > 0 && v.blocks[key] > 0 {
				came = append(came, i)
				brought += v.blocks[key]
			}
		}
		if len(came) > 0 {
			if missing[a.order.CallOffID] {
				c.add("after_unserved", "%s room %s %s goes although something before it stays", a.order.CallOffID, a.room.Name, a.mark)
			}
			if came[0] < reached {
				c.add("arrival_order", "%s room %s %s arrives before something that is laid earlier", a.order.CallOffID, a.room.Name, a.mark)
			}
			reached = max(reached, came[len(came)-1])
		}
		if a.blocks > 0 {
			blocksSoFar[key] = reached
		} else if at, ok := blocksSoFar[key]; ok && len(came) > 0 && came[0] < at {
			c.add("blocks_late", "blocks of room %s of %s come later than beam %s", a.room.Name, a.order.CallOffID, a.mark)
		}
		if a.blocks > 0 && brought < a.blocks || a.blocks == 0 && len(came) == 0 {
			missing[a.order.CallOffID] = true
		}
	}
	c.stretches(siteID, visits)
}

// stretches checks by the numbers on the pieces that no load reaches into
// another.
func (c *checker) stretches(siteID string, visits []visit) {
	for i := 1; i < len(visits); i++ {
		if visits[i].lowest < visits[i-1].top {
			c.add("stretch", "the loads of two runs to %s are no consecutive stretches of its laying order", siteID)
		}
	}
}
