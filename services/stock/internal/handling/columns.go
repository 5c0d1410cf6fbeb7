package handling

import (
	"maps"
	"slices"

	"spanyard.example/services/stock/internal/stacking"
)

// mostColumns is how many stacks one plan of package stacking takes, and
// mostChosen up to how many wishes beams are chosen by it as well.
const (
	mostColumns = 64
	mostChosen  = 40
)

// columns is a ground as package stacking sees it.
type columns struct {
	ground *ground
	// stacks are the ids of the columns, pieces those of the beams by number.
	stacks []string
	pieces []string
	number map[string]int
	yard   stacking.Problem
}

// columnsOf builds the columns of a ground on which nothing is aside. rank is
// when a beam is picked, from 1, and 0 for one that stays. In each tier the beam
// that is picked first lies uppermost; when stacks are sorted, those that lie
// above what is picked before them lie uppermost, since they have to go. False
// when there are too many stacks.
func columnsOf(g *ground, rank map[string]int, rule stacking.Rule, sorting bool) (*columns, bool) {
	c := &columns{ground: g, number: map[string]int{}}
	if len(g.ids) > mostColumns {
		return c, false
	}
	per := g.rules.BeamsPerStackTier
	all := slices.Concat(slices.Collect(maps.Values(g.stacks))...)
	for _, id := range g.ids {
		if len(g.stacks[id]) == 0 && !g.takesAll(id, all) {
			continue
		}
		c.stacks = append(c.stacks, id)
		var column []int
		first := never // that is picked of the tiers below
		for tier := range slices.Chunk(g.stacks[id], per) {
			ordered := slices.Clone(tier)
			inTheWay := func(id string) bool { return sorting && later(rank[id]) > first }
			slices.SortStableFunc(ordered, func(a, b string) int {
				if x, y := inTheWay(a), inTheWay(b); x != y {
					if x {
						return 1
					}
					return -1
				}
				return later(rank[b]) - later(rank[a]) // Stays is later than all
			})
			for _, piece := range ordered {
				c.number[piece] = len(c.pieces)
				column = append(column, len(c.pieces))
				c.pieces = append(c.pieces, piece)
				c.yard.Rank = append(c.yard.Rank, rank[piece])
			}
			for _, piece := range tier {
				first = min(first, later(rank[piece]))
			}
		}
		c.yard.Stacks = append(c.yard.Stacks, column)
		c.yard.Tiers = append(c.yard.Tiers, g.rules.Stacks.TiersOf(id)*per)
	}
	c.yard.Rule = rule
	c.yard.Rests = c.rests
	return c, len(c.pieces) > 0
}

// takesAll says whether a place is long enough for all of some beams: package
// stacking knows no beams that fit on some stacks only.
func (g *ground) takesAll(stackID string, pieceIDs []string) bool {
	return !slices.ContainsFunc(pieceIDs, func(id string) bool { return g.rules.Stacks.WhyNotAt(g.piece(id).LengthMM, stackID) != "" })
}

const never = 1 << 30

func later(rank int) int {
	if rank == stacking.Stays {
		return never
	}
	return rank
}

// rests says whether a beam may lie on another one: of its batch, and of a
// length that bearers in line allow. What lies deeper is checked when a plan
// is carried out.
func (c *columns) rests(piece, below int) bool {
	p, q := c.ground.piece(c.pieces[piece]), c.ground.piece(c.pieces[below])
	return p.BatchID == q.BatchID && c.ground.rules.Stacks.WhyNotTogether(p.LengthMM, q.LengthMM) == ""
}

// improve plans the moves anew with the search of columns and keeps the better
// plan. What the search proves is proof only where columns and stacks are the
// same: with one beam a tier.
func improve(g *ground, wishes []Wish, plan Plan, b stacking.Budget) Plan {
	rank, order := map[string]int{}, map[string]Pick{}
	for group, members := range groups(wishes) {
		for _, p := range plan.Picks {
			if slices.Contains(members, p.Wish) {
				rank[p.PieceID] = group + 1
				order[p.PieceID] = p
			}
		}
	}
	c, ok := columnsOf(g, rank, stacking.AboveNext, false)
	if !ok {
		return plan
	}
	if answer, err := stacking.Solve(c.yard, b); err == nil && answer.Relocations < plan.handlings() {
		if better, ok := c.carryOut(answer.Moves, order); ok {
			better.Bound = plan.Bound
			plan = better
		}
	}
	if plan.handlings() > plan.Bound && g.rules.BeamsPerStackTier == 1 && len(wishes) <= mostChosen && len(groups(wishes)) == len(wishes) {
		plan = c.choose(wishes, plan, b)
	}
	return plan
}

// choose lets the search choose the beams as well.
func (c *columns) choose(wishes []Wish, plan Plan, b stacking.Budget) Plan {
	r := stacking.Request{Yard: c.yard, Age: make([]int, len(c.pieces))}
	r.Yard.Rule = stacking.AnyTop
	var ordered []string
	ordered = append(ordered, c.pieces...)
	slices.SortStableFunc(ordered, func(x, y string) int { return c.ground.older(c.ground.piece(x), c.ground.piece(y)) })
	for age, id := range ordered {
		r.Age[c.number[id]] = age
	}
	for _, w := range wishes {
		var fit []int
		for i, id := range c.pieces {
			if c.ground.fills(c.ground.piece(id), w) {
				fit = append(fit, i)
			}
		}
		r.Wanted = append(r.Wanted, fit)
	}
	chosen, answer, err := stacking.Choose(r, b)
	if err != nil || answer.Relocations > plan.handlings() {
		return plan
	}
	order := map[string]Pick{}
	for wish, piece := range chosen {
		order[c.pieces[piece]] = Pick{Wish: wish}
	}
	better, ok := c.carryOut(answer.Moves, order)
	if !ok {
		return plan
	}
	better.Bound = max(plan.Bound, min(answer.Bound, len(better.Moves)))
	return better
}

// carryOut turns the moves of columns into a plan, on the ground itself; false
// when the ground does not allow one of them.
func (c *columns) carryOut(moves []stacking.Move, of map[string]Pick) (Plan, bool) {
	g := c.ground.copy()
	var plan Plan
	for _, m := range moves {
		id, from := c.pieces[m.Piece], c.stacks[m.From]
		at := slices.Index(g.stacks[from], id)
		if at < 0 || len(g.above(from, at)) > 0 {
			return plan, false
		}
		tier := g.tier(from, id)
		if m.To == stacking.Out {
			p := g.piece(id)
			plan.Picks = append(plan.Picks, Pick{Wish: of[id].Wish, PieceID: id, BatchID: p.BatchID, StackID: from, Tier: tier})
			g.take(from, id)
			continue
		}
		to := c.stacks[m.To]
		g.take(from, id)
		if !g.mayPut(to, id) {
			return plan, false
		}
		g.put(to, id)
		plan.Moves = append(plan.Moves, Move{PieceID: id, FromID: from, ToID: to, FromTier: tier, ToTier: g.tier(to, id), BeforePick: len(plan.Picks) + 1})
	}
	return plan, true
}
