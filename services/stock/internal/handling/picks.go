package handling

import (
	"cmp"
	"slices"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/stacking"
	"spanyard.example/services/stock/internal/yard"
)

// Plan is which beams are picked, in order, and what is moved aside for it.
type Plan struct {
	Picks []Pick
	Moves []Move
	// Bound: no choice of beams and no moves do with fewer moves from stack to
	// stack.
	Bound int
	// Proved: the moves are as few as can be, and nothing is lifted aside only to
	// be put back.
	Proved bool
}

// handlings is what the moves of a plan cost: a beam that is lifted aside and
// put back is handled twice.
func (p Plan) handlings() int {
	n := len(p.Moves)
	for _, m := range p.Moves {
		if m.FromID == m.ToID {
			n++
		}
	}
	return n
}

// PlanPicks chooses a beam for every wish and plans the picks in the order of
// the wishes, so that as few beams as possible are moved aside; of choices that
// cost the same the oldest released goes first. A wish that no beam fills is a
// fault that names it.
//
// A greedy plan comes first. Where it moves more than the bound says is needed,
// the moves for its beams are planned anew by the search of package stacking,
// and with few wishes and one beam a tier the beams are chosen anew as well.
func PlanPicks(s yard.State, wishes []Wish, b stacking.Budget) (Plan, error) {
	g := newGround(s)
	g.stacksOf(wishes)
	work := &picker{ground: g.copy(), wishes: wishes, keys: keysOf(wishes), holding: map[Wish]map[string]bool{}, changed: map[string]bool{}}
	if err := work.greedy(); err != nil {
		return Plan{}, err
	}
	plan := Plan{Picks: work.picks, Moves: work.moves, Bound: bound(g, wishes)}
	if plan.handlings() > plan.Bound {
		plan = improve(g, wishes, plan, b)
	}
	plan.Proved = plan.handlings() == plan.Bound
	return plan, nil
}

// stacksOf leaves out the stacks that hold nothing that is wished for and may
// take nothing that lies above it: there is nothing to do with them.
func (g *ground) stacksOf(wishes []Wish) {
	kinds := kindsOf(wishes)
	batches := map[string]bool{}
	for id, ids := range g.stacks {
		if slices.ContainsFunc(ids, func(piece string) bool { return g.wanted(g.piece(piece), kinds) }) {
			batches[g.owner[id]] = true
		}
	}
	g.ids = slices.DeleteFunc(g.ids, func(id string) bool {
		if owner := g.owner[id]; owner != "" && !batches[owner] {
			delete(g.stacks, id)
			return true
		}
		return false
	})
}

// wanted says whether a beam fills any wish of some kinds.
func (g *ground) wanted(p yard.Piece, kinds []Wish) bool {
	return slices.ContainsFunc(kinds, func(w Wish) bool { return g.fills(p, w) })
}

// kindsOf returns each kind of wish once.
func kindsOf(wishes []Wish) []Wish {
	var kinds []Wish
	seen := map[Wish]bool{}
	for _, key := range keysOf(wishes) {
		if !seen[key] {
			seen[key] = true
			kinds = append(kinds, key)
		}
	}
	return kinds
}

// picker makes a plan wish by wish.
type picker struct {
	*ground
	wishes []Wish
	// keys name wishes that the same beams fill.
	keys  []Wish
	picks []Pick
	moves []Move
	// holding are the stacks that held something for a wish in the beginning, by
	// its key; changed are those that something was laid on since.
	holding map[Wish]map[string]bool
	changed map[string]bool
}

// mayHold says whether a stack may have something for a wish.
func (p *picker) mayHold(stackID string, w Wish) bool {
	w.Group = 0
	stacks, ok := p.holding[w]
	if !ok {
		stacks = map[string]bool{}
		for _, id := range p.ids {
			if slices.ContainsFunc(p.stacks[id], func(piece string) bool { return p.fills(p.piece(piece), w) }) {
				stacks[id] = true
			}
		}
		p.holding[w] = stacks
	}
	return stacks[stackID] || p.changed[stackID]
}

// keysOf returns the wishes without what tells equal ones apart.
func keysOf(wishes []Wish) []Wish {
	keys := slices.Clone(wishes)
	for i := range keys {
		keys[i].Group = 0
	}
	return keys
}

// groups returns the wishes that are picked together, in order.
func groups(wishes []Wish) [][]int {
	var out [][]int
	for i, w := range wishes {
		if i > 0 && w.Group != 0 && w.Group == wishes[i-1].Group {
			out[len(out)-1] = append(out[len(out)-1], i)
			continue
		}
		out = append(out, []int{i})
	}
	return out
}

func (p *picker) greedy() error {
	for _, group := range groups(p.wishes) {
		for len(group) > 0 {
			at, c, found := 0, candidate{}, false
			tried := map[Wish]bool{}
			for i, wish := range group {
				if tried[p.keys[wish]] {
					continue
				}
				tried[p.keys[wish]] = true
				if d, ok := p.cheapest(p.keys[wish]); ok && (!found || p.better(d, c)) {
					at, c, found = i, d, true
				} else if !ok {
					return noBeam(p.wishes[wish], wish)
				}
			}
			p.pick(group[at], c)
			group = slices.Delete(group, at, at+1)
		}
	}
	return nil
}

func noBeam(w Wish, index int) error {
	if w.PieceID != "" {
		return fault.New(fault.Stale, "PIECE_GONE", "Piece %s, wish %d, does not lie in a stack, or must not leave.", w.PieceID, index+1)
	}
	return fault.New(fault.Stale, "BEAMS_SHORT", "No free beam %s/%s of %d mm is left for wish %d.", w.Profile, w.WirePattern, w.LengthMM, index+1)
}

// candidate is a beam that fills a wish, and what lies above it.
type candidate struct {
	stackID string
	piece   yard.Piece
	above   []string
}

func (p *picker) better(a, b candidate) bool {
	return cmp.Or(cmp.Compare(len(a.above), len(b.above)), p.older(a.piece, b.piece), cmp.Compare(a.stackID, b.stackID)) < 0
}

// cheapest returns the beam for a wish with the least above it.
func (p *picker) cheapest(w Wish) (best candidate, found bool) {
	for _, id := range p.ids {
		if !p.mayHold(id, w) {
			continue
		}
		ids := p.stacks[id]
		for i := len(ids) - 1; i >= 0; i-- {
			piece := p.piece(ids[i])
			if !p.fills(piece, w) {
				continue
			}
			c := candidate{stackID: id, piece: piece, above: p.above(id, i)}
			if p.aside[piece.ID] {
				c.above = nil
			}
			if !found || p.better(c, best) {
				best, found = c, true
			}
			break // what lies deeper has as much above it
		}
	}
	return best, found
}

// pick moves aside what lies above a beam and takes it.
func (p *picker) pick(wish int, c candidate) {
	for _, id := range c.above {
		to := p.goodPlace(c.stackID, id, wish)
		m := Move{PieceID: id, FromID: c.stackID, ToID: to, FromTier: p.tier(c.stackID, id), BeforePick: len(p.picks) + 1}
		if to == c.stackID {
			p.aside[id] = true
			m.ToTier = m.FromTier
		} else {
			p.take(c.stackID, id)
			p.put(to, id)
			p.changed[to] = true
			m.ToTier = p.tier(to, id)
		}
		p.moves = append(p.moves, m)
	}
	p.picks = append(p.picks, Pick{Wish: wish, PieceID: c.piece.ID, BatchID: c.piece.BatchID, StackID: c.stackID, Tier: p.tier(c.stackID, c.piece.ID)})
	p.take(c.stackID, c.piece.ID)
}

// goodPlace returns the stack that a beam is best moved to: where nothing that
// is wished for lies, else where it is wished for latest, else aside.
func (p *picker) goodPlace(fromID, id string, wish int) string {
	best, latest := fromID, -1
	for _, to := range p.ids {
		if to == fromID || !p.mayPut(to, id) {
			continue
		}
		use := len(p.wishes) + 1
		for i := wish; i < len(p.wishes) && use > len(p.wishes); i++ {
			if slices.ContainsFunc(p.stacks[to], func(below string) bool { return p.fills(p.piece(below), p.keys[i]) }) {
				use = i
			}
		}
		if use > latest {
			best, latest = to, use
		}
	}
	return best
}
