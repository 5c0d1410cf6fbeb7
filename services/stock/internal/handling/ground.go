// Package handling plans how beams are handled in a yard: which are picked for
// what is wanted and what is moved aside for it, where a new batch is put away,
// and how stacks are sorted ahead of a morning.
//
// In a yard several beams lie side by side in a tier, and every beam of the top
// tier lies free. Package stacking knows columns only. A plan of columns is
// always possible in tiers when, within each tier, the beam that is wanted first
// lies uppermost in the column; its bound is not one for tiers, so the bounds of
// this package are its own.
package handling

import (
	"cmp"
	"maps"
	"slices"

	"spanyard.example/services/stock/internal/yard"
)

// Product says which beams are equal.
type Product struct {
	Profile, WirePattern string
	LengthMM             int
}

// Wish is a place on a truck to be filled.
type Wish struct {
	Product
	// MassG that the load was computed with; 0 takes any.
	MassG int64
	// JobID may have what is kept for it.
	JobID string
	// PieceID is set when only that piece will do.
	PieceID string
	// Group joins wishes that are picked in any order among themselves; 0 is a
	// group of its own.
	Group int
}

// Pick takes a beam for a wish.
type Pick struct {
	// Wish is the index of the wish.
	Wish                      int
	PieceID, BatchID, StackID string
	// Tier from the bottom, from 1, when it is picked.
	Tier int
}

// Move takes a beam from the top tier of a stack to another stack. When both
// are the same it is lifted aside and put back: there is no better place.
type Move struct {
	PieceID, FromID, ToID string
	FromTier, ToTier      int
	// BeforePick is the place of a pick in the order of picking, from 1; 0 when
	// there are no picks.
	BeforePick int
}

// ground is the stacks of beams while they are worked on.
type ground struct {
	state yard.State
	rules yard.Rules
	// stacks bottom first, and the batch that each holds.
	stacks map[string][]string
	owner  map[string]string
	// ids of all stacks and empty places, in order.
	ids []string
	// aside are beams that were lifted and wait beside their stack.
	aside map[string]bool
	// pieces and batches that were looked up: the state does not change, and
	// every beam is looked at for many wishes.
	pieces  map[string]yard.Piece
	batches map[string]yard.Batch
}

func newGround(s yard.State) *ground {
	g := &ground{state: s, rules: s.Rules(), stacks: map[string][]string{}, owner: map[string]string{}, aside: map[string]bool{},
		pieces: map[string]yard.Piece{}, batches: map[string]yard.Batch{}}
	s.Stacks(func(st yard.Stack) {
		g.owner[st.ID] = st.BatchID
		if len(st.Pieces) > 0 {
			g.stacks[st.ID] = st.Pieces
		}
	})
	for _, place := range g.rules.Stacks.Places {
		if _, taken := g.owner[place.ID]; !taken && !place.ForBlocks {
			g.stacks[place.ID] = nil
		}
	}
	g.ids = slices.Sorted(maps.Keys(g.stacks))
	return g
}

// copy returns a ground that can be changed without touching this one.
func (g *ground) copy() *ground {
	c := *g
	c.stacks, c.owner, c.aside = maps.Clone(g.stacks), maps.Clone(g.owner), maps.Clone(g.aside)
	return &c
}

func (g *ground) piece(id string) yard.Piece {
	p, ok := g.pieces[id]
	if !ok {
		p, _ = g.state.Piece(id)
		g.pieces[id] = p
	}
	return p
}

func (g *ground) batch(id string) yard.Batch {
	b, ok := g.batches[id]
	if !ok {
		b, _ = g.state.Batch(id)
		g.batches[id] = b
	}
	return b
}

func (g *ground) tier(stackID, id string) int {
	return slices.Index(g.stacks[stackID], id)/g.rules.BeamsPerStackTier + 1
}

// above returns the beams in higher tiers than the one at an index that are
// still there, the uppermost first.
func (g *ground) above(stackID string, at int) []string {
	var out []string
	ids, per := g.stacks[stackID], g.rules.BeamsPerStackTier
	for i := len(ids) - 1; i/per > at/per; i-- {
		if !g.aside[ids[i]] {
			out = append(out, ids[i])
		}
	}
	return out
}

// take removes a beam from its stack.
func (g *ground) take(stackID, id string) {
	ids := g.stacks[stackID]
	i := slices.Index(ids, id)
	g.stacks[stackID] = slices.Concat(ids[:i], ids[i+1:])
	delete(g.aside, id)
	if len(g.stacks[stackID]) == 0 {
		delete(g.owner, stackID)
		if place, listed := g.rules.Stacks.Place(stackID); !listed || place.ForBlocks {
			delete(g.stacks, stackID) // nobody may stand there any more
		}
	}
}

// put lays a beam on top of a stack.
func (g *ground) put(stackID, id string) {
	g.stacks[stackID] = append(slices.Clip(g.stacks[stackID]), id)
	g.owner[stackID] = g.piece(id).BatchID
}

// mayPut says whether a beam may be laid on top of a stack.
func (g *ground) mayPut(stackID, id string) bool {
	p, rules := g.piece(id), g.rules.Stacks
	ids, known := g.stacks[stackID]
	if owner := g.owner[stackID]; !known || owner != "" && owner != p.BatchID || rules.WhyNotAt(p.LengthMM, stackID) != "" {
		return false
	}
	if most := rules.TiersOf(stackID); most > 0 && len(ids) >= most*g.rules.BeamsPerStackTier {
		return false
	}
	for _, below := range ids {
		if g.aside[below] || rules.WhyNotTogether(p.LengthMM, g.piece(below).LengthMM) != "" {
			return false
		}
	}
	return true
}

// productOf a beam.
func (g *ground) productOf(p yard.Piece) Product {
	b := g.batch(p.BatchID)
	return Product{Profile: b.Profile, WirePattern: b.WirePattern, LengthMM: p.LengthMM}
}

// fills says whether a beam may be picked for a wish.
func (g *ground) fills(p yard.Piece, w Wish) bool {
	b := g.batch(p.BatchID)
	if b.State != yard.Released || p.IsPallet() {
		return false
	}
	if w.PieceID != "" {
		return p.ID == w.PieceID && (p.State == yard.InYard || p.State == yard.Reserved)
	}
	return p.State == yard.InYard && g.productOf(p) == w.Product && (w.MassG == 0 || p.MassG == w.MassG) && (p.Kept == nil || p.Kept.JobID == w.JobID)
}

// older orders beams by the release of their batches, then by their making.
func (g *ground) older(a, b yard.Piece) int {
	x, y := g.batch(a.BatchID), g.batch(b.BatchID)
	if x.Release == nil || y.Release == nil {
		return 0
	}
	return cmp.Or(cmp.Compare(x.Release.On, y.Release.On), cmp.Compare(x.MadeOn, y.MadeOn), cmp.Compare(x.ID, y.ID))
}
