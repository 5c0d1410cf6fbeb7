package picking

import (
	"cmp"
	"slices"

	"spanyard.example/services/dispatch/internal/morning"
)

// Finish deals the pieces of equal product and mass out again in the order in
// which the trucks are loaded, writes the picks of every run, and returns how
// many pieces of the stacks have to be lifted aside for them.
//
// A truck is loaded in the reverse of its trip: the piles of the last drop
// first, piles from the front of the deck, each from the bottom tier up.
func Finish(p morning.Problem, lots []Lot, runs []morning.Run) (movedAside int) {
	y := newYard(p, lots, runs)
	order := make([]int, len(runs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(runs[a].LoadingMinute, runs[b].LoadingMinute)
	})
	for _, i := range order {
		y.pickRun(&runs[i])
	}
	return y.moved
}

// alike is what makes two beams exchangeable without touching a load: both are
// kept for the same job, or for nobody.
type alike struct {
	product morning.Product
	massG   int64
	keptFor string
}

// alike returns the group of the beam that an item was given.
func (y *yard) alike(item morning.Item) alike {
	return alike{item.Beam, item.MassG, y.keptFor[item.PieceID]}
}

// yard is the stacks while they are picked from.
type yard struct {
	stacks map[string]*stack
	// groups of exchangeable beams.
	groups map[alike][]*beam
	// quota is how many beams of a group still come from each batch.
	quota map[alike]map[string]int
	// palletStacks says where the blocks of each pallet come from.
	palletStacks map[string]string
	// keptFor is the job that a beam is kept for, by piece.
	keptFor map[string]string
	moved   int
}

type beam struct {
	*morning.FreeBeam
	stack *stack
	// gone from the stack, because it was picked or lifted aside.
	gone   bool
	picked bool
	// hidden counts the pieces above it that are not free.
	hidden int
}

type stack struct {
	beams []*beam
	// lifted is how many pieces that are not free were lifted aside.
	lifted int
}

func newYard(p morning.Problem, lots []Lot, runs []morning.Run) *yard {
	y := &yard{
		stacks: map[string]*stack{}, groups: map[alike][]*beam{},
		quota: map[alike]map[string]int{}, palletStacks: map[string]string{}, keptFor: map[string]string{},
	}
	for i := range p.Stock.Beams {
		f := &p.Stock.Beams[i]
		s := y.stacks[f.StackID]
		if s == nil {
			s = &stack{}
			y.stacks[f.StackID] = s
		}
		b := &beam{FreeBeam: f, stack: s}
		s.beams = append(s.beams, b)
		key := alike{f.Product, f.MassG, f.KeptFor}
		y.keptFor[f.PieceID] = f.KeptFor
		y.groups[key] = append(y.groups[key], b)
	}
	for _, s := range y.stacks {
		s.findHidden()
	}
	for _, l := range lots {
		for i := range l.Units {
			if u := &l.Units[i]; u.Item.Pallet() {
				y.palletStacks[u.Item.PieceID] = u.StackID
			}
		}
	}
	y.stacksOfFixed(p.Fixed)
	y.setQuotas(runs)
	return y
}

func (s *stack) findHidden() {
	slices.SortFunc(s.beams, func(a, b *beam) int {
		return cmp.Or(cmp.Compare(b.Tier, a.Tier), cmp.Compare(a.PieceID, b.PieceID))
	})
	for _, b := range s.beams {
		free := 0
		for _, o := range s.beams {
			if o.Tier > b.Tier {
				free++
			}
		}
		b.hidden = max(0, b.Above-free)
	}
}

// setQuotas says how many beams of each group come from each batch: the
// oldest batches to the last piece, then the next.
func (y *yard) setQuotas(runs []morning.Run) {
	need := map[alike]int{}
	for _, r := range runs {
		for _, p := range r.Piles {
			for _, t := range p.Tiers {
				for _, i := range t.Items {
					if !i.Pallet() {
						need[y.alike(i)]++
					}
				}
			}
		}
	}
	for key, n := range need {
		group := y.groups[key]
		slices.SortFunc(group, func(a, b *beam) int {
			return cmp.Or(
				cmp.Compare(a.ReleaseRank, b.ReleaseRank), cmp.Compare(a.BatchID, b.BatchID),
				cmp.Compare(b.Tier, a.Tier), cmp.Compare(a.PieceID, b.PieceID))
		})
		y.quota[key] = map[string]int{}
		for _, b := range group[:min(n, len(group))] {
			y.quota[key][b.BatchID]++
		}
	}
}

func (y *yard) pickRun(r *morning.Run) {
	piles := make([]*morning.Pile, len(r.Piles))
	for i := range r.Piles {
		piles[i] = &r.Piles[i]
	}
	slices.SortStableFunc(piles, func(a, b *morning.Pile) int { return cmp.Compare(b.DropNumber, a.DropNumber) })
	r.Picks = nil
	for _, p := range piles {
		for t := range p.Tiers {
			y.pickTier(r, p, t)
		}
	}
}

// pickTier picks the items of one tier. Their order is free, so the one that
// is easiest to get at goes first.
func (y *yard) pickTier(r *morning.Run, p *morning.Pile, tier int) {
	items := p.Tiers[tier].Items
	for done := 0; done < len(items); done++ {
		var best *beam
		at, cost := done, 0
		for i := done; i < len(items) && !items[i].Pallet(); i++ {
			if b, c := y.cheapest(items[i]); b != nil && (best == nil || c < cost) {
				best, at, cost = b, i, c
			}
		}
		items[done], items[at] = items[at], items[done]
		item := &items[done]
		pick := morning.Pick{
			Number: len(r.Picks) + 1, Mark: item.Mark, Beam: item.Beam, BlockKind: item.BlockKind,
			BlockCount: item.BlockCount, MassG: item.MassG, PileNumber: p.Number, PileTier: tier + 1,
		}
		if best != nil {
			y.take(best, item)
			pick.StackID, pick.StackTier = best.StackID, best.Tier
		} else {
			pick.StackID = y.palletStacks[item.PieceID]
		}
		pick.PieceID, pick.BatchID = item.PieceID, item.BatchID
		r.Picks = append(r.Picks, pick)
	}
}

// cheapest returns the beam for the item that is easiest to get at, and how
// many pieces have to be lifted aside for it.
func (y *yard) cheapest(item morning.Item) (*beam, int) {
	key := y.alike(item)
	var best *beam
	cost := 0
	for _, b := range y.groups[key] {
		if b.picked || y.quota[key][b.BatchID] == 0 {
			continue
		}
		if c := b.cost(); best == nil || c < cost {
			best, cost = b, c
		}
		if cost == 0 {
			break
		}
	}
	return best, cost
}

func (b *beam) cost() int {
	if b.gone {
		return 0
	}
	c := max(0, b.hidden-b.stack.lifted)
	for _, o := range b.stack.beams {
		if o.Tier <= b.Tier {
			break
		}
		if !o.gone {
			c++
		}
	}
	return c
}

// take picks the beam for the item; what lies above it is lifted aside.
func (y *yard) take(b *beam, item *morning.Item) {
	y.moved += b.cost()
	if !b.gone {
		b.stack.lifted = max(b.stack.lifted, b.hidden)
		for _, o := range b.stack.beams {
			if o.Tier > b.Tier {
				o.gone = true
			}
		}
	}
	b.gone, b.picked = true, true
	y.quota[y.alike(*item)][b.BatchID]--
	item.PieceID, item.BatchID = b.PieceID, b.BatchID
}
