package yard

import (
	"fmt"
	"slices"
)

// MaxBlocksPerPallet keeps a slip of the pen from becoming a pallet.
const MaxBlocksPerPallet = 500

// PackedPallet is a pallet that was packed.
type PackedPallet struct {
	ID     string
	Blocks int
}

// PackPallets puts loose blocks of a batch on pallets that nobody is promised.
type PackPallets struct {
	BatchID string
	Pallets []PackedPallet
}

func (c PackPallets) decide(s State) ([]Event, error) {
	var p problems
	p.batch("batch_id", c.BatchID)
	p.within("pallets", int64(len(c.Pallets)), 1, 500)
	for i, pallet := range c.Pallets {
		p.pallet(fmt.Sprintf("pallets[%d].", i), pallet)
	}
	if err := p.invalid(); err != nil {
		return nil, err
	}
	b, err := s.knownBatch(c.BatchID)
	if err != nil {
		return nil, err
	}
	loose, seen := b.Loose(), map[string]bool{}
	for _, pallet := range c.Pallets {
		loose -= pallet.Blocks
		switch _, known := s.pieces.Get(pallet.ID); {
		case b.Kind != Blocks:
			p.add("batch_id", c.BatchID, "is a batch of beams", "a batch of blocks")
		case known || seen[pallet.ID]:
			p.add("pallets", pallet.ID, "is a number that is taken", "a new number for each pallet")
		case loose < 0:
			p.add("pallets", pallet.ID, fmt.Sprintf("would need more loose blocks than batch %s has, %d", b.ID, b.Loose()), "")
		}
		seen[pallet.ID] = true
	}
	if err := p.stale("CANNOT_PACK", "The pallets cannot be packed. None was."); err != nil {
		return nil, err
	}
	return []Event{PalletsPacked(c)}, nil
}

func (p *problems) pallet(where string, pallet PackedPallet) {
	if !pieceID.MatchString(pallet.ID) {
		p.add(where+"piece_id", pallet.ID, "is no pallet number", "1 to 96 "+allowedID)
	}
	p.within(where+"block_count", int64(pallet.Blocks), 1, MaxBlocksPerPallet)
}

// SplitPallet puts some blocks of a pallet that nobody is promised on a new one.
type SplitPallet struct {
	PieceID, NewID string
	Blocks         int
}

func (c SplitPallet) decide(s State) ([]Event, error) {
	var p problems
	p.pallet("new_", PackedPallet{ID: c.NewID, Blocks: c.Blocks})
	if err := p.invalid(); err != nil {
		return nil, err
	}
	piece, problem := s.standing(c.PieceID)
	if problem != "" {
		p.add("piece_id", c.PieceID, problem, "")
	} else if c.Blocks >= piece.Blocks {
		p.add("block_count", fmt.Sprint(c.Blocks), fmt.Sprintf("would leave none of the %d blocks on pallet %s", piece.Blocks, piece.ID), fmt.Sprintf("at most %d", piece.Blocks-1))
	}
	if _, known := s.pieces.Get(c.NewID); known {
		p.add("new_piece_id", c.NewID, "is a number that is taken", "a new number")
	}
	if err := p.stale("CANNOT_SPLIT", "Pallet %s cannot be split.", c.PieceID); err != nil {
		return nil, err
	}
	return []Event{PalletSplit(c)}, nil
}

// MergePallets makes one pallet of several of one batch that nobody is
// promised.
type MergePallets struct {
	PieceID string
	FromIDs []string
}

func (c MergePallets) decide(s State) ([]Event, error) {
	var p problems
	p.pieceIDs(append([]string{c.PieceID}, c.FromIDs...))
	p.within("from_piece_ids", int64(len(c.FromIDs)), 1, 100)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	into, problem := s.standing(c.PieceID)
	if problem != "" {
		p.add("piece_id", c.PieceID, problem, "")
	}
	sum := into.Blocks
	for _, id := range c.FromIDs {
		from, problem := s.standing(id)
		if problem == "" && from.BatchID != into.BatchID {
			problem = fmt.Sprintf("holds blocks of batch %s, not of batch %s", from.BatchID, into.BatchID)
		}
		if problem != "" {
			p.add("from_piece_ids", id, problem, "pallets of one batch that nobody is promised")
		}
		sum += from.Blocks
	}
	if sum > MaxBlocksPerPallet {
		p.add("from_piece_ids", fmt.Sprintf("%d blocks", sum), "is too much for one pallet", fmt.Sprintf("at most %d", MaxBlocksPerPallet))
	}
	if err := p.stale("CANNOT_MERGE", "The pallets cannot be made one. None was changed."); err != nil {
		return nil, err
	}
	return []Event{PalletsMerged(c)}, nil
}

// UnpackPallets makes the blocks of pallets loose again, all or none.
type UnpackPallets struct{ PieceIDs []string }

func (c UnpackPallets) decide(s State) ([]Event, error) {
	var p problems
	p.pieceIDs(c.PieceIDs)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	for _, id := range c.PieceIDs {
		if _, problem := s.standing(id); problem != "" {
			p.add(id, "", problem, "")
		}
	}
	if err := p.stale("CANNOT_UNPACK", "%d of %d pallets cannot be unpacked. None was.", len(p.places), len(c.PieceIDs)); err != nil {
		return nil, err
	}
	return []Event{PalletsUnpacked(c)}, nil
}

// standing returns a pallet that stands in the yard and is nobody's, or why it
// is none.
func (s State) standing(id string) (Piece, string) {
	p, ok := s.pieces.Get(id)
	switch {
	case !ok:
		return p, "there is no such pallet in this yard"
	case !p.IsPallet() && p.State != Dissolved:
		return p, "is a beam"
	case p.State != InYard:
		return p, whyGone(p)
	}
	return p, ""
}

// Loose returns the blocks of a batch that lie on no pallet.
func (b Batch) Loose() int { return b.Counts.InYard - b.OnPallets }

// unpackFor returns the pallets of a batch that have to be unpacked so that so
// many blocks are loose, the smallest first.
func (s State) unpackFor(b Batch, blocks int) []string {
	var pallets []Piece
	for _, id := range b.PalletIDs() {
		if p, _ := s.pieces.Get(id); p.State == InYard {
			pallets = append(pallets, p)
		}
	}
	slices.SortStableFunc(pallets, func(x, y Piece) int { return x.Blocks - y.Blocks })
	var ids []string
	for loose := b.Loose(); loose < blocks && len(pallets) > 0; pallets = pallets[1:] {
		loose += pallets[0].Blocks
		ids = append(ids, pallets[0].ID)
	}
	return ids
}
