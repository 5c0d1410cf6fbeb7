// Package recall finds every piece of a batch: in which stack and tier, on
// which truck, at which site and for which mark, and whom to call. It is pure:
// the state of the yard in, places out.
//
// What must stay true: the units of all places together are what was made of
// the batch, so that nothing of it is forgotten.
package recall

import (
	"cmp"
	"slices"

	"spanyard.example/services/stock/internal/yard"
)

// Kind says what sort of place it is. Places are listed in this order: what is
// on the road has to be stopped first.
type Kind int

// The kinds of places.
const (
	OnTruck Kind = iota + 1
	AtSite
	BesideTruck
	InStack
	WrittenOff
)

// Place is where pieces of the batch are together.
type Place struct {
	Kind Kind
	// StackID in the yard; RunID from picked on; TruckID on a truck and SiteID
	// of the site that it drives to, or at which the pieces are.
	StackID, RunID, TruckID, SiteID string
	Pieces                          []Piece
	// LooseBlocks are blocks that are on no pallet.
	LooseBlocks int
	// Units are beams, or blocks.
	Units int
	MassG int64
}

// Piece is a beam or a pallet and where it lies in its stack.
type Piece struct {
	yard.Piece
	// Tier from the bottom, from 1, and how many pieces lie in higher tiers; 0
	// off a stack.
	Tier, Above int
}

// Recall is all of a batch.
type Recall struct {
	Batch  yard.Batch
	Places []Place
}

// Of finds all of a batch; false when the yard has none of that id.
func Of(s yard.State, batchID string) (Recall, bool) {
	b, ok := s.Batch(batchID)
	if !ok {
		return Recall{}, false
	}
	f := finder{state: s, batch: b, places: map[key]*Place{}, stacks: map[string]map[string]int{}}
	for _, id := range b.PieceIDs() {
		if p, ok := s.Piece(id); ok {
			f.add(p)
		}
	}
	f.addBlocks()
	r := Recall{Batch: b}
	for _, p := range f.places {
		r.Places = append(r.Places, *p)
	}
	slices.SortFunc(r.Places, func(a, b Place) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.SiteID, b.SiteID), cmp.Compare(a.RunID, b.RunID),
			cmp.Compare(a.TruckID, b.TruckID), cmp.Compare(a.StackID, b.StackID))
	})
	return r, true
}

type key struct {
	kind                            Kind
	stackID, runID, truckID, siteID string
}

type finder struct {
	state  yard.State
	batch  yard.Batch
	places map[key]*Place
	// stacks hold the order of pieces by stack.
	stacks map[string]map[string]int
}

func (f *finder) place(k key) *Place {
	p := f.places[k]
	if p == nil {
		p = &Place{Kind: k.kind, StackID: k.stackID, RunID: k.runID, TruckID: k.truckID, SiteID: k.siteID}
		f.places[k] = p
	}
	return p
}

func (f *finder) add(p yard.Piece) {
	var k key
	if a := p.Allocation; a != nil {
		k.runID, k.siteID = a.RunID, a.SiteID
	}
	switch p.State {
	case yard.Picked:
		k.kind = BesideTruck
	case yard.Loaded:
		k.kind, k.truckID = OnTruck, p.TruckID
	case yard.Delivered:
		k.kind = AtSite
	case yard.Scrapped, yard.Dissolved:
		k = key{kind: WrittenOff}
	default:
		// Promised pieces lie in their stack among the others.
		k = key{kind: InStack, stackID: p.StackID}
	}
	place := f.place(k)
	tier, above := f.height(p)
	place.Pieces = append(place.Pieces, Piece{Piece: p, Tier: tier, Above: above})
	place.Units += p.Units()
	place.MassG += p.MassG
}

// height says in which tier a piece lies and how many lie higher.
func (f *finder) height(p yard.Piece) (tier, above int) {
	if p.StackID == "" {
		return 0, 0
	}
	if p.IsPallet() {
		return 1, 0
	}
	order, known := f.stacks[p.StackID]
	if !known {
		order = map[string]int{}
		st, _ := f.state.Stack(p.StackID)
		for i, id := range st.Pieces {
			order[id] = i
		}
		f.stacks[p.StackID] = order
	}
	i, there := order[p.ID]
	if !there {
		return 0, 0
	}
	perTier := f.state.Rules().BeamsPerStackTier
	tier = i/perTier + 1
	return tier, max(0, len(order)-tier*perTier)
}

// addBlocks adds what of a batch of blocks is on no pallet.
func (f *finder) addBlocks() {
	if f.batch.Kind != yard.Blocks {
		return
	}
	add := func(k key, n int) {
		if n <= 0 {
			return
		}
		p := f.place(k)
		p.LooseBlocks += n
		p.Units += n
		p.MassG += int64(n) * f.batch.Lot.MassGEach
	}
	add(key{kind: InStack, stackID: f.batch.Lot.StackID}, f.batch.Loose())
	// Scrapped pallets are counted piece by piece.
	off := 0
	if p := f.places[key{kind: WrittenOff}]; p != nil {
		off = p.Units
	}
	add(key{kind: WrittenOff}, f.batch.Counts.Scrapped-off)
}
