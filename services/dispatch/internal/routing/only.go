package routing

import "spanyard.example/services/dispatch/internal/morning"

// spot is where something is to be brought: a place of a beam, or a room with
// blocks.
type spot struct{ callOffID, room, mark string }

func spotOf(item *morning.Item) (spot, int) {
	if item.Pallet() {
		return spot{item.CallOffID, item.Room, ""}, item.BlockCount
	}
	return spot{item.CallOffID, item.Room, item.Mark}, 1
}

// worldOf is the morning as if nothing but a load and what fixed runs bring had
// been called off: the load has the first choice of the pieces, and keeps those
// that it has. The laying order of what is there stays.
func worldOf(p morning.Problem, l Load) *world {
	asked := map[spot]int{}
	add := func(item *morning.Item) {
		s, n := spotOf(item)
		asked[s] += n
	}
	for i := range p.Fixed {
		p.Fixed[i].Items(func(_ *morning.Pile, item *morning.Item) { add(item) })
	}
	p.Prefer = map[morning.BeamPlace]string{}
	for _, d := range l.Drops {
		for i := range d.Items {
			add(&d.Items[i])
			if item := &d.Items[i]; !item.Pallet() {
				p.Prefer[morning.BeamPlace{CallOffID: item.CallOffID, Mark: item.Mark}] = item.PieceID
			}
		}
	}
	orders := make([]morning.Order, len(p.Orders))
	for i, o := range p.Orders {
		rooms := o.Rooms
		o.Rooms = nil
		for _, r := range rooms {
			if r = only(o.CallOffID, r, asked); r.BlockCount > 0 || len(r.Beams) > 0 {
				o.Rooms = append(o.Rooms, r)
			}
		}
		orders[i] = o
	}
	p.Orders = orders
	return settle(p, nil)
}

// only returns a room with what is asked of it.
func only(callOffID string, r morning.Room, asked map[spot]int) morning.Room {
	beams := r.Beams
	r.Beams = nil
	for _, b := range beams {
		if asked[spot{callOffID, r.Name, b.Mark}] > 0 {
			r.Beams = append(r.Beams, b)
		}
	}
	r.BlockCount = min(r.BlockCount, asked[spot{callOffID, r.Name, ""}])
	return r
}
