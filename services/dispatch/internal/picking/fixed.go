package picking

import (
	"fmt"
	"slices"

	"spanyard.example/services/dispatch/internal/morning"
)

// place is a room of a call-off.
type place struct{ callOffID, room string }

// mark is a beam's place, as a call-off asks for it.
type mark struct{ callOffID, mark string }

// fixed is what the fixed runs of a problem bring and take.
type fixed struct {
	marks  map[mark]bool
	blocks map[place]int
	pieces map[string]bool
}

func fixedOf(p morning.Problem) fixed {
	f := fixed{map[mark]bool{}, map[place]int{}, map[string]bool{}}
	for i := range p.Fixed {
		p.Fixed[i].Items(func(_ *morning.Pile, item *morning.Item) {
			f.pieces[item.PieceID] = true
			if item.Pallet() {
				f.blocks[place{item.CallOffID, item.Room}] += item.BlockCount
				return
			}
			f.marks[mark{item.CallOffID, item.Mark}] = true
		})
	}
	return f
}

// takeFixed takes the blocks of fixed runs out of what is free: from the stacks
// that their picks name, and where those have too few by now, from any of their
// batch.
func (a *allotment) takeFixed() {
	for i := range a.problem.Fixed {
		r := &a.problem.Fixed[i]
		stacks := map[string]string{}
		for _, k := range r.Picks {
			stacks[k.PieceID] = k.StackID
		}
		r.Items(func(_ *morning.Pile, item *morning.Item) {
			if !item.Pallet() {
				return
			}
			left := item.BlockCount
			for _, named := range []bool{true, false} {
				for _, b := range a.blocks[item.BlockKind] {
					if b.BatchID == item.BatchID && (!named || b.StackID == stacks[item.PieceID]) {
						n := min(left, b.Count)
						b.Count -= n
						left -= n
					}
				}
			}
		})
	}
}

// Numbers returns the laying number of an item, 0 when nobody asks for it.
func Numbers(orders []morning.Order) func(*morning.Item) int {
	blocks, beams := map[place]int{}, map[mark]int{}
	for i, number := range firstNumbers(orders) {
		o := &orders[i]
		for _, r := range o.Rooms {
			if r.BlockCount > 0 {
				blocks[place{o.CallOffID, r.Name}] = number
				number++
			}
			for _, b := range r.Beams {
				beams[mark{o.CallOffID, b.Mark}] = number
				number++
			}
		}
	}
	return func(item *morning.Item) int {
		if item.Pallet() {
			return blocks[place{item.CallOffID, item.Room}]
		}
		return beams[mark{item.CallOffID, item.Mark}]
	}
}

// still returns a room without what fixed runs bring of its blocks.
func (f fixed) still(o *morning.Order, r morning.Room) morning.Room {
	r.BlockCount -= f.blocks[place{o.CallOffID, r.Name}]
	return r
}

func (f fixed) brings(o *morning.Order, b *morning.Beam) bool {
	return f.marks[mark{o.CallOffID, b.Mark}]
}

// nextPallet makes up the id of a pallet that no fixed run has.
func (a *allotment) nextPallet() string {
	for {
		a.pallets++
		if id := fmt.Sprintf("%spallet-%03d", a.problem.PalletPrefix, a.pallets); !a.fixed.pieces[id] {
			return id
		}
	}
}

// stacksOfFixed adds from which stack the pallets of fixed runs come.
func (y *yard) stacksOfFixed(runs []morning.Run) {
	for i := range runs {
		for _, k := range runs[i].Picks {
			if k.BlockKind != "" {
				y.palletStacks[k.PieceID] = k.StackID
			}
		}
	}
}

// free returns the beams that fixed runs leave.
func (f fixed) free(all []morning.FreeBeam) []*morning.FreeBeam {
	out := make([]*morning.FreeBeam, 0, len(all))
	for i := range all {
		if !f.pieces[all[i].PieceID] {
			out = append(out, &all[i])
		}
	}
	return slices.Clip(out)
}
