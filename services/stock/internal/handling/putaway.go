package handling

import (
	"slices"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/stacking"
	"spanyard.example/services/stock/internal/yard"
)

// Advice is where beams are put away, in order, and what later picks cost then.
type Advice struct {
	Moves []Move
	// Later moves aside that the picks need after it, and the fewest that any
	// advice would leave.
	Later, LaterBound int
}

// mostPlaces is how many empty places, and how many stacks of the batch, an
// advice looks at, in the order in which the yard lists them.
const mostPlaces = 24

// AdvisePutAway says where beams of one batch are put away, taken from the tops
// of their stacks, so that later picks stay cheap. What is wished for first
// comes to lie on top; without wishes, beams of a length and of a job are kept
// together. The beams go to empty places and to other stacks of their batch.
func AdvisePutAway(s yard.State, pieceIDs []string, wishes []Wish, b stacking.Budget) (Advice, error) {
	g := newGround(s)
	if len(g.rules.Stacks.Places) == 0 {
		return Advice{}, fault.New(fault.Refused, "PLACES_UNKNOWN", "The yard lists no stack places. Set them with its rules, so that advice can be given.")
	}
	rank := g.ranks(pieceIDs, wishes)
	if len(wishes) == 0 {
		if pieceIDs = g.mixed(pieceIDs, rank); len(pieceIDs) == 0 {
			return Advice{}, nil // they lie well
		}
	}
	order, err := g.offTheTops(pieceIDs, rank)
	if err != nil {
		return Advice{}, err
	}
	a, put, err := fewestPlaces(g, order, rank, len(wishes) == 0, b)
	if err != nil {
		return Advice{}, err
	}
	advice := Advice{Later: put.Picks.Relocations, LaterBound: min(put.Bound, put.Picks.Relocations)}
	for _, p := range put.Puts {
		id, to := a.pieces[p.Piece], a.stacks[p.Stack]
		from := g.piece(id).StackID
		m := Move{PieceID: id, FromID: from, ToID: to, FromTier: g.tier(from, id)}
		g.take(from, id)
		if !g.mayPut(to, id) {
			return Advice{}, noRoom()
		}
		g.put(to, id)
		m.ToTier = g.tier(to, id)
		advice.Moves = append(advice.Moves, m)
	}
	_, err = carriedOut(s, advice.Moves)
	return advice, err
}

// fewestPlaces asks for an advice with one empty place, then with two, and so
// on, until no more places make later picks cheaper: a place that stays empty
// is worth something to the next batch.
func fewestPlaces(g *ground, order []string, rank map[string]int, apart bool, b stacking.Budget) (best *arrival, advice stacking.Advice, err error) {
	for places := 0; places <= mostPlaces; places++ {
		a := newArrival(g, order, rank, places)
		if a.empty < places {
			break
		}
		put, failed := a.putAway(apart, b)
		if failed != nil {
			continue
		}
		if best == nil || put.Picks.Relocations < advice.Picks.Relocations {
			best, advice = a, put
		}
		if advice.Picks.Relocations <= put.Bound {
			break
		}
	}
	if best == nil && apart {
		return fewestPlaces(g, order, rank, false, b)
	}
	if best == nil {
		return nil, advice, noRoom()
	}
	return best, advice, nil
}

func noRoom() *fault.Error {
	return fault.New(fault.Refused, "NO_ROOM", "There is no place in the yard for these beams: all that are long enough are taken or full.")
}

// mixed returns those of some beams that share a stack with one of another kind:
// the others lie well where they are.
func (g *ground) mixed(pieceIDs []string, rank map[string]int) []string {
	kinds := map[string]map[int]bool{}
	for _, id := range pieceIDs {
		stack := g.piece(id).StackID
		if kinds[stack] == nil {
			kinds[stack] = map[int]bool{}
		}
		kinds[stack][rank[id]] = true
	}
	return slices.DeleteFunc(slices.Clone(pieceIDs), func(id string) bool { return len(kinds[g.piece(id).StackID]) < 2 })
}

// ranks says when beams are wished for, from 1; 0 for never. Without wishes,
// equal beams get equal ranks, so that they are laid together.
func (g *ground) ranks(pieceIDs []string, wishes []Wish) map[string]int {
	rank := map[string]int{}
	for i, w := range wishes {
		for _, id := range pieceIDs {
			p := g.piece(id)
			own := g.productOf(p) == w.Product && (p.Kept == nil || p.Kept.JobID == w.JobID)
			if rank[id] == 0 && (w.PieceID == id || w.PieceID == "" && own) {
				rank[id] = i + 1
				break
			}
		}
	}
	if len(wishes) > 0 {
		return rank
	}
	kinds := map[[2]any]int{}
	for _, id := range pieceIDs {
		p := g.piece(id)
		job := ""
		if p.Kept != nil {
			job = p.Kept.JobID
		}
		kind := [2]any{p.LengthMM, job}
		if kinds[kind] == 0 {
			kinds[kind] = len(kinds) + 1
		}
		rank[id] = kinds[kind]
	}
	return rank
}

// offTheTops orders beams so that each lies free when its turn comes, those
// that are wished for last first.
func (g *ground) offTheTops(pieceIDs []string, rank map[string]int) ([]string, error) {
	work := g.copy()
	left := slices.Clone(pieceIDs)
	var order []string
	for len(left) > 0 {
		best := -1
		for i, id := range left {
			p := work.piece(id)
			at := slices.Index(work.stacks[p.StackID], id)
			if at < 0 || p.IsPallet() {
				return nil, fault.New(fault.Stale, "NOT_IN_STACK", "Piece %s is no beam that lies in a stack.", id)
			}
			if len(work.above(p.StackID, at)) == 0 && (best < 0 || later(rank[id]) > later(rank[left[best]])) {
				best = i
			}
		}
		if best < 0 {
			return nil, fault.New(fault.Stale, "LIES_UNDER", "Piece %s lies under beams that are not to be put away.", left[0])
		}
		order = append(order, left[best])
		work.take(work.piece(left[best]).StackID, left[best])
		left = slices.Delete(left, best, best+1)
	}
	return order, nil
}

// arrival is what package stacking is asked.
type arrival struct {
	stacking.Arrival
	stacks []string
	pieces []string
	// empty is how many of the stacks are empty places.
	empty int
}

// newArrival lists what may take the beams: stacks of their batch that lose
// none of them, and so many empty places.
func newArrival(g *ground, order []string, rank map[string]int, places int) *arrival {
	a := &arrival{}
	batch := g.piece(order[0]).BatchID
	leaving := map[string]bool{}
	for _, id := range order {
		leaving[g.piece(id).StackID] = true
	}
	add := func(id string) {
		a.stacks = append(a.stacks, id)
		var column []int
		for _, piece := range g.stacks[id] {
			column = append(column, len(a.pieces))
			a.pieces = append(a.pieces, piece)
			a.Yard.Rank = append(a.Yard.Rank, rank[piece])
		}
		a.Yard.Stacks = append(a.Yard.Stacks, column)
		a.Yard.Tiers = append(a.Yard.Tiers, g.rules.Stacks.TiersOf(id)*g.rules.BeamsPerStackTier)
	}
	for _, id := range g.ids {
		if g.owner[id] == batch && !leaving[id] && len(a.stacks) < mostPlaces {
			add(id)
		}
	}
	for _, place := range g.rules.Stacks.Places {
		if ids, listed := g.stacks[place.ID]; listed && len(ids) == 0 && a.empty < places && g.takesAll(place.ID, order) {
			a.empty++
			add(place.ID)
		}
	}
	first := len(a.pieces)
	for i, id := range order {
		a.pieces = append(a.pieces, id)
		a.Yard.Rank = append(a.Yard.Rank, rank[id])
		a.New = append(a.New, first+i)
	}
	a.InOrder = true
	a.Yard.Rule = stacking.AboveNext
	a.Yard.Rests = func(piece, below int) bool {
		p, q := g.piece(a.pieces[piece]), g.piece(a.pieces[below])
		return g.rules.Stacks.WhyNotTogether(p.LengthMM, q.LengthMM) == "" && p.BatchID == q.BatchID
	}
	return a
}

// putAway asks for an advice; apart keeps beams of different ranks in different
// stacks.
func (a *arrival) putAway(apart bool, b stacking.Budget) (stacking.Advice, error) {
	if len(a.stacks) == 0 {
		return stacking.Advice{}, stacking.ErrNoRoom
	}
	asked := a.Arrival
	if apart {
		asked.Yard.Rests = func(piece, below int) bool {
			return a.Yard.Rests(piece, below) && a.Yard.Rank[piece] == a.Yard.Rank[below]
		}
	}
	return stacking.PutAway(asked, b)
}
