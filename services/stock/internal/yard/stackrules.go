package yard

import (
	"fmt"
	"slices"
)

// StackRules say how pieces are stacked in the yard. What is 0 or empty is not
// limited.
type StackRules struct {
	MaxTiers int `json:",omitempty"`
	// MaxOverhangMM is how far a beam may hang over the bearers at each end, and
	// never more than a fifth of its length (common practice). The bearers of a
	// stack stand one above the other, so its beams differ in length by no more
	// than twice this.
	MaxOverhangMM int `json:",omitempty"`
	// BearerInsetMM is the distance of the bearers from the ends of a beam.
	BearerInsetMM int `json:",omitempty"`
	// Places where stacks may stand; none means anywhere. Never changed in place.
	Places []StackPlace `json:",omitempty"`
}

// StackPlace is a place in the yard where a stack may stand.
type StackPlace struct {
	ID string
	// LongestMM and MaxTiers are 0 where the place does not limit them.
	LongestMM, MaxTiers int
	ForBlocks           bool
}

// MaxStackPlaces of a yard.
const MaxStackPlaces = 2000

func (r StackRules) equal(o StackRules) bool {
	return r.MaxTiers == o.MaxTiers && r.MaxOverhangMM == o.MaxOverhangMM && r.BearerInsetMM == o.BearerInsetMM && slices.Equal(r.Places, o.Places)
}

func (r StackRules) check(p *problems) {
	p.within("stacks.max_tiers", int64(r.MaxTiers), 0, 100)
	p.within("stacks.max_overhang_mm", int64(r.MaxOverhangMM), 0, 5000)
	p.within("stacks.bearer_inset_mm", int64(r.BearerInsetMM), 0, 5000)
	if r.MaxOverhangMM > 0 && r.BearerInsetMM > r.MaxOverhangMM {
		p.add("stacks.bearer_inset_mm", fmt.Sprint(r.BearerInsetMM), "is more than a beam may hang over its bearers", fmt.Sprintf("at most %d", r.MaxOverhangMM))
	}
	p.within("stacks.places", int64(len(r.Places)), 0, MaxStackPlaces)
	seen := map[string]bool{}
	for i, place := range r.Places {
		where := fmt.Sprintf("stacks.places[%d].", i)
		p.name(where+"stack_id", place.ID, 64)
		if seen[place.ID] {
			p.add(where+"stack_id", place.ID, "is listed twice", "each place once")
		}
		seen[place.ID] = true
		p.within(where+"longest_mm", int64(place.LongestMM), 0, 30_000)
		p.within(where+"max_tiers", int64(place.MaxTiers), 0, 100)
	}
}

// Place returns a place by its id; false when the yard does not list it.
func (r StackRules) Place(id string) (StackPlace, bool) {
	i := slices.IndexFunc(r.Places, func(p StackPlace) bool { return p.ID == id })
	if i < 0 {
		return StackPlace{}, false
	}
	return r.Places[i], true
}

// TiersOf returns the most tiers of a stack at a place; 0 is any number.
func (r StackRules) TiersOf(id string) int {
	if place, ok := r.Place(id); ok && place.MaxTiers > 0 {
		return place.MaxTiers
	}
	return r.MaxTiers
}

// WhyNotTogether says why beams of two lengths may not lie in one stack; empty
// when they may. Its bearers stand one above the other: they reach the longest
// beam's bearing lines only if the shortest beam does.
func (r StackRules) WhyNotTogether(aMM, bMM int) string {
	longest, shortest := max(aMM, bMM), min(aMM, bMM)
	// Counted in fifths of a millimetre, so that a fifth of a length is exact.
	if over5 := min(5*r.MaxOverhangMM, longest); r.MaxOverhangMM > 0 && 5*(longest-shortest) > 2*over5 {
		return fmt.Sprintf("beams of %d and %d mm differ by more than the %d mm that bearers in line allow", aMM, bMM, 2*over5/5)
	}
	return ""
}

// WhyNotAt says why a beam may not lie at a place, whatever lies there; empty
// when it may.
func (r StackRules) WhyNotAt(lengthMM int, stackID string) string {
	place, listed := r.Place(stackID)
	switch {
	case len(r.Places) > 0 && !listed:
		return fmt.Sprintf("%s is no stack place of this yard", stackID)
	case place.ForBlocks:
		return fmt.Sprintf("stack place %s is for blocks", stackID)
	case place.LongestMM > 0 && lengthMM > place.LongestMM:
		return fmt.Sprintf("stack place %s takes beams of at most %d mm, not of %d mm", stackID, place.LongestMM, lengthMM)
	}
	return ""
}

// piles are the stacks while the pieces of one command are moved one after the
// other.
type piles struct {
	state State
	// stacks that differ from those of the state; of pieces that are new there,
	// lengths holds the length.
	stacks  map[string][]string
	lengths map[string]int
}

func (s State) piles() *piles {
	return &piles{state: s, stacks: map[string][]string{}, lengths: map[string]int{}}
}

func (p *piles) on(stackID string) []string {
	ids, begun := p.stacks[stackID]
	if !begun {
		st, _ := p.state.stacks.Get(stackID)
		ids = st.Pieces
	}
	return ids
}

func (p *piles) lengthMM(id string) int {
	if length, known := p.lengths[id]; known {
		return length
	}
	piece, _ := p.state.pieces.Get(id)
	return piece.LengthMM
}

// whyNot says why a beam may not be put on top of a stack; empty when it may.
func (p *piles) whyNot(lengthMM int, stackID string) string {
	rules := p.state.rules.Stacks
	if problem := rules.WhyNotAt(lengthMM, stackID); problem != "" {
		return problem
	}
	ids := p.on(stackID)
	if most := rules.TiersOf(stackID); most > 0 && len(ids) >= most*p.state.rules.BeamsPerStackTier {
		return fmt.Sprintf("stack %s is full: it takes %d tiers of %d beams", stackID, most, p.state.rules.BeamsPerStackTier)
	}
	for _, id := range ids {
		if problem := rules.WhyNotTogether(lengthMM, p.lengthMM(id)); problem != "" {
			return fmt.Sprintf("does not fit on stack %s: %s", stackID, problem)
		}
	}
	return ""
}

func (p *piles) put(id string, lengthMM int, stackID string) {
	p.stacks[stackID] = append(slices.Clip(p.on(stackID)), id)
	p.lengths[id] = lengthMM
}

// above counts the pieces in higher tiers than one that lies on a stack.
func (p *piles) above(id, stackID string) int {
	ids := p.on(stackID)
	tier := slices.Index(ids, id)/p.state.rules.BeamsPerStackTier + 1
	return max(0, len(ids)-tier*p.state.rules.BeamsPerStackTier)
}
