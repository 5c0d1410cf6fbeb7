package yard

import (
	"fmt"
)

// String says for whom a beam is made, as it follows "made for".
func (k *Kept) String() string {
	if k.Mark == "" {
		return "job " + k.JobID
	}
	return fmt.Sprintf("mark %s of job %s", k.Mark, k.JobID)
}

// EndKeeping lets beams that were made for a job go to anybody, all or none.
// What is promised to its job stays promised.
type EndKeeping struct {
	PieceIDs   []string
	By, Reason string
}

func (c EndKeeping) decide(s State) ([]Event, error) {
	var p problems
	p.name("ended_by", c.By, 120)
	p.name("reason", c.Reason, 500)
	p.pieceIDs(c.PieceIDs)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	_, p = s.eachPiece(c.PieceIDs, func(piece Piece) (Event, string) {
		switch {
		case piece.Kept == nil:
			return nil, "is kept for nobody"
		case piece.State != InYard:
			return nil, fmt.Sprintf("is %v; only what is nobody's in the yard is freed", piece.State)
		}
		return nil, ""
	})
	if err := p.stale("CANNOT_FREE", "%d of %d beams cannot be freed. None was.", len(p.places), len(c.PieceIDs)); err != nil {
		return nil, err
	}
	return []Event{KeepingEnded(c)}, nil
}
