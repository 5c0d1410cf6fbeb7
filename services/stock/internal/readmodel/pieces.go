package readmodel

import (
	"cmp"
	"context"
	"maps"
	"slices"

	"github.com/redis/go-redis/v9"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
)

// wanted are the documents that an answer about pieces is made of. Which they
// are is known only from each other: pieces name their batches and stacks. So
// they are asked for again and again, until what was asked for is all that is
// needed; then everything is of one position.
type wanted struct{ pieces, batches, stacks map[string]bool }

func (w wanted) ask(ctx context.Context, tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
	some := func(name, key string, ids map[string]bool) {
		if len(ids) > 0 {
			c[name] = tx.HMGet(ctx, key, slices.Sorted(maps.Keys(ids))...)
		}
	}
	some("pieces", k.pieces(), w.pieces)
	some("piece batches", k.batches(), w.batches)
	some("piece stacks", k.stacks(), w.stacks)
	c["rules"] = tx.Get(ctx, k.rules())
}

func (w wanted) has(o wanted) bool {
	within := func(small, large map[string]bool) bool {
		for id := range small {
			if !large[id] {
				return false
			}
		}
		return true
	}
	return within(o.pieces, w.pieces) && within(o.batches, w.batches) && within(o.stacks, w.stacks)
}

// docs returns what was found of the ids that were asked for under a name.
func (p *page) docs(name string, ids map[string]bool) map[string]string {
	c, _ := p.commands[name].(*redis.SliceCmd)
	if c == nil {
		return nil
	}
	out := map[string]string{}
	for i, id := range slices.Sorted(maps.Keys(ids)) {
		if doc, ok := c.Val()[i].(string); ok {
			out[id] = doc
		}
	}
	return out
}

// pieces asks a question together with the pieces that its answer names, and
// returns those, complete, in the order named. Unknown ones are left out.
func (v *View) pieces(ctx context.Context, yardID string, atLeast uint64, ask question, named func(*page) []string) (*page, []*stockv1.Piece, error) {
	var w wanted
	for {
		p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
			ask(tx, k, c)
			w.ask(ctx, tx, k, c)
		})
		if err != nil {
			return nil, nil, err
		}
		ids := named(p)
		pieces, needs, err := p.decodePieces(ids, p.docs("pieces", w.pieces))
		if err != nil {
			return nil, nil, err
		}
		if w.has(needs) {
			return p, pieces, p.complete(pieces, p.docs("piece batches", w.batches), p.docs("piece stacks", w.stacks))
		}
		w = needs
	}
}

// decodePieces returns those of the pieces that were found, and what has to be
// asked for to complete them.
func (p *page) decodePieces(ids []string, docs map[string]string) ([]*stockv1.Piece, wanted, error) {
	needs := wanted{pieces: map[string]bool{}, batches: map[string]bool{}, stacks: map[string]bool{}}
	pieces := make([]*stockv1.Piece, 0, len(ids))
	for _, id := range ids {
		needs.pieces[id] = true
		doc, found := docs[id]
		if !found {
			continue
		}
		m, err := decode[stockv1.Piece](doc)
		if err != nil {
			return nil, needs, err
		}
		needs.batches[m.GetBatchId()] = true
		if m.GetStackId() != "" {
			needs.stacks[m.GetStackId()] = true
		}
		pieces = append(pieces, m)
	}
	return pieces, needs, nil
}

// complete adds what follows from batches and stacks.
func (p *page) complete(pieces []*stockv1.Piece, batches, stacks map[string]string) error {
	h, err := p.heights(stacks)
	if err != nil {
		return err
	}
	p.batches = map[string]*stockv1.Batch{}
	for _, m := range pieces {
		b, ok := p.batches[m.GetBatchId()]
		if !ok {
			if b, err = decode[stockv1.Batch](batches[m.GetBatchId()]); err != nil {
				return err
			}
			p.batches[m.GetBatchId()] = b
		}
		addBatch(m, b)
		h.place(m)
	}
	return nil
}

func nothingElse(redis.Pipeliner, keys, map[string]redis.Cmder) {}

// Pieces returns pieces by id; unknown ones are left out.
func (v *View) Pieces(ctx context.Context, yardID string, ids []string, atLeast uint64) ([]*stockv1.Piece, uint64, error) {
	p, pieces, err := v.pieces(ctx, yardID, atLeast, nothingElse, func(*page) []string { return ids })
	if err != nil {
		return nil, 0, err
	}
	return pieces, p.position, nil
}

// Batch returns a batch and where each of its pieces is now.
func (v *View) Batch(ctx context.Context, yardID, batchID string, atLeast uint64) (*stockv1.GetBatchResponse, error) {
	p, pieces, err := v.pieces(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
		c["batch"], c["contents"] = tx.HGet(ctx, k.batches(), batchID), tx.HGet(ctx, k.contents(), batchID)
	}, func(p *page) []string { return parseContents(p.text("contents")) })
	if err != nil {
		return nil, err
	}
	if p.text("batch") == "" {
		return nil, fault.New(fault.NotFound, "BATCH_UNKNOWN", "There is no batch %s in this yard.", batchID)
	}
	b, err := decode[stockv1.Batch](p.text("batch"))
	if err != nil {
		return nil, err
	}
	return &stockv1.GetBatchResponse{Batch: b, Pieces: pieces, Position: p.position}, nil
}

// Stack returns a stack from top to bottom: beams, or the loose blocks of a
// batch and the pallets that stand by them.
func (v *View) Stack(ctx context.Context, yardID, stackID string, atLeast uint64) (*stockv1.GetStackResponse, error) {
	batchID := ""
	for {
		p, pieces, err := v.pieces(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
			c["stack"] = tx.HGet(ctx, k.stacks(), stackID)
			if batchID != "" {
				c["batch"] = tx.HGet(ctx, k.batches(), batchID)
			}
		}, func(p *page) []string { return parseStack(p.text("stack")).pieces })
		if err != nil {
			return nil, err
		}
		stack := parseStack(p.text("stack"))
		if stack.batchID == "" {
			return nil, fault.New(fault.NotFound, "STACK_UNKNOWN", "There is nothing on stack %s in this yard.", stackID)
		}
		if stack.batchID != batchID {
			// Whose loose blocks to ask for is known only now.
			batchID = stack.batchID
			continue
		}
		slices.Reverse(pieces)
		answer := &stockv1.GetStackResponse{StackId: stackID, BatchId: batchID, Pieces: pieces, Position: p.position}
		return answer, p.looseOn(answer, stack)
	}
}

// looseOn adds the loose blocks of a batch of blocks, released or not.
func (p *page) looseOn(answer *stockv1.GetStackResponse, stack stackDoc) error {
	b, err := decode[stockv1.Batch](p.text("batch"))
	if err != nil {
		return err
	}
	loose := b.GetCounts().GetInYard()
	for _, pallet := range answer.GetPieces() {
		if pallet.GetState() == stockeventv1.PieceState_PIECE_STATE_IN_YARD {
			loose -= pallet.GetBlockCount()
		}
	}
	if isBeams(b) || loose == 0 {
		return nil
	}
	answer.Blocks = []*stockv1.FreeBlocks{{
		BatchId: b.GetBatchId(), BlockKind: b.GetBlockKind(), BlockCount: loose, MassGEach: stack.massGEach,
		StackId: answer.GetStackId(), ReleasedOn: b.GetRelease().GetReleasedOn(), MadeOn: b.GetMadeOn(),
	}}
	return nil
}

// History returns a piece, its batch and all that happened to both, oldest
// first.
func (v *View) History(ctx context.Context, yardID, pieceID string, atLeast uint64) (*stockv1.GetPieceHistoryResponse, error) {
	batchID := ""
	for {
		p, pieces, err := v.pieces(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
			c["own"] = tx.ZRange(ctx, k.prefix+pieceHistory(pieceID), 0, -1)
			if batchID != "" {
				c["batch"] = tx.HGet(ctx, k.batches(), batchID)
				c["shared"] = tx.ZRange(ctx, k.prefix+batchHistory(batchID), 0, -1)
			}
		}, func(*page) []string { return []string{pieceID} })
		if err != nil {
			return nil, err
		}
		if len(pieces) == 0 {
			return nil, fault.New(fault.NotFound, "PIECE_UNKNOWN", "There is no piece %s in this yard.", pieceID)
		}
		if pieces[0].GetBatchId() != batchID {
			// Whose history to ask for is known only now.
			batchID = pieces[0].GetBatchId()
			continue
		}
		return p.history(pieces[0])
	}
}

func (p *page) history(piece *stockv1.Piece) (*stockv1.GetPieceHistoryResponse, error) {
	b, err := decode[stockv1.Batch](p.text("batch"))
	if err != nil {
		return nil, err
	}
	answer := &stockv1.GetPieceHistoryResponse{Piece: piece, Batch: b, Position: p.position}
	for _, doc := range append(p.texts("own"), p.texts("shared")...) {
		e, err := decode[stockv1.HistoryEntry](doc)
		if err != nil {
			return nil, err
		}
		answer.Entries = append(answer.Entries, e)
	}
	slices.SortStableFunc(answer.Entries, func(a, b *stockv1.HistoryEntry) int { return cmp.Compare(a.GetPosition(), b.GetPosition()) })
	return answer, nil
}
