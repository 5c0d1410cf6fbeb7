package readmodel

import (
	"cmp"
	"context"
	"math"
	"slices"

	"github.com/redis/go-redis/v9"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

// FreeFilter narrows a list of free pieces; zero values ask for any.
type FreeFilter struct {
	Profile, WirePattern string
	LengthMM             int32
	BlockKind            string
	BeamsOnly            bool
	BlocksOnly           bool
}

func (f FreeFilter) beam(p *stockv1.Piece) bool {
	return !f.BlocksOnly && f.BlockKind == "" &&
		(f.Profile == "" || f.Profile == p.GetProfile()) &&
		(f.WirePattern == "" || f.WirePattern == p.GetWirePattern()) &&
		(f.LengthMM == 0 || f.LengthMM == p.GetLengthMm())
}

func (f FreeFilter) blocks(b *stockv1.FreeBlocks) bool {
	return !f.BeamsOnly && f.Profile == "" && f.WirePattern == "" && f.LengthMM == 0 &&
		(f.BlockKind == "" || f.BlockKind == b.GetBlockKind())
}

// Free lists what may leave and is nobody's: the oldest release first, then by
// batch; within a stack the top first.
func (v *View) Free(ctx context.Context, yardID string, f FreeFilter, atLeast uint64) ([]*stockv1.Piece, []*stockv1.FreeBlocks, uint64, error) {
	p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
		c["free"], c["blocks"] = tx.HGetAll(ctx, k.free()), tx.HGetAll(ctx, k.blocks())
		c["stacks"], c["rules"] = tx.HGetAll(ctx, k.stacks()), tx.Get(ctx, k.rules())
	})
	if err != nil {
		return nil, nil, 0, err
	}
	all, err := decodeAll[stockv1.Piece](p.hash("free"))
	if err != nil {
		return nil, nil, 0, err
	}
	beams := slices.DeleteFunc(all, func(b *stockv1.Piece) bool { return !f.beam(b) })
	heights, err := p.heights(p.hash("stacks"))
	if err != nil {
		return nil, nil, 0, err
	}
	for _, b := range beams {
		heights.place(b)
	}
	slices.SortStableFunc(beams, func(a, b *stockv1.Piece) int {
		return cmp.Or(cmp.Compare(a.GetReleasedOn(), b.GetReleasedOn()), cmp.Compare(a.GetMadeOn(), b.GetMadeOn()),
			cmp.Compare(a.GetBatchId(), b.GetBatchId()), cmp.Compare(a.GetStackId(), b.GetStackId()),
			heights.order(b)-heights.order(a), cmp.Compare(a.GetPieceId(), b.GetPieceId()))
	})
	lots, err := decodeAll[stockv1.FreeBlocks](p.hash("blocks"))
	if err != nil {
		return nil, nil, 0, err
	}
	lots = slices.DeleteFunc(lots, func(b *stockv1.FreeBlocks) bool { return !f.blocks(b) })
	slices.SortStableFunc(lots, func(a, b *stockv1.FreeBlocks) int {
		return cmp.Or(cmp.Compare(a.GetReleasedOn(), b.GetReleasedOn()), cmp.Compare(a.GetMadeOn(), b.GetMadeOn()), cmp.Compare(a.GetBatchId(), b.GetBatchId()))
	})
	return beams, lots, p.position, nil
}

// heights knows where pieces lie in their stacks.
type heights struct {
	index   map[string]int
	size    map[string]int
	perTier int
}

// heights reads stack documents; the page has the rules.
func (p *page) heights(stacks map[string]string) (heights, error) {
	h := heights{index: map[string]int{}, size: map[string]int{}, perTier: 1}
	if text := p.text("rules"); text != "" {
		rules, err := parseRules(text)
		if err != nil {
			return h, fault.New(fault.Unavailable, "VIEW_UNREADABLE", "The stock view cannot be read just now.").Because(err)
		}
		h.perTier = rules.BeamsPerStackTier
	}
	for id, doc := range stacks {
		_, pieces := parseStack(doc)
		h.size[id] = len(pieces)
		for i, piece := range pieces {
			h.index[piece] = i
		}
	}
	return h, nil
}

// order of a piece in its stack, from the bottom.
func (h heights) order(p *stockv1.Piece) int { return h.index[p.GetPieceId()] }

// place fills in tier and what lies above.
func (h heights) place(p *stockv1.Piece) {
	i, ok := h.index[p.GetPieceId()]
	if !ok {
		return
	}
	p.Tier = int32(i/h.perTier) + 1
	p.PiecesAbove = int32(max(0, h.size[p.GetStackId()]-int(p.Tier)*h.perTier))
}

// Pieces returns pieces by id; unknown ones are left out.
func (v *View) Pieces(ctx context.Context, yardID string, ids []string, atLeast uint64) ([]*stockv1.Piece, uint64, error) {
	p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
		c["pieces"], c["batches"] = tx.HMGet(ctx, k.pieces(), ids...), tx.HGetAll(ctx, k.batches())
		c["stacks"], c["rules"] = tx.HGetAll(ctx, k.stacks()), tx.Get(ctx, k.rules())
	})
	if err != nil {
		return nil, 0, err
	}
	pieces, err := p.pieces(p.some("pieces"), p.hash("batches"), p.hash("stacks"))
	return pieces, p.position, err
}

// pieces reads piece documents and completes them.
func (p *page) pieces(docs []string, batches, stacks map[string]string) ([]*stockv1.Piece, error) {
	h, err := p.heights(stacks)
	if err != nil {
		return nil, err
	}
	known := map[string]*stockv1.Batch{}
	out := make([]*stockv1.Piece, 0, len(docs))
	for _, doc := range docs {
		m, err := decode[stockv1.Piece](doc)
		if err != nil {
			return nil, err
		}
		b, ok := known[m.GetBatchId()]
		if !ok {
			if b, err = decode[stockv1.Batch](batches[m.GetBatchId()]); err != nil {
				return nil, err
			}
			known[m.GetBatchId()] = b
		}
		addBatch(m, b)
		h.place(m)
		out = append(out, m)
	}
	return out, nil
}

// Batches lists all batches by id, without their pieces.
func (v *View) Batches(ctx context.Context, yardID string, atLeast uint64) ([]*stockv1.Batch, uint64, error) {
	p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
		c["batches"] = tx.HGetAll(ctx, k.batches())
	})
	if err != nil {
		return nil, 0, err
	}
	batches, err := decodeAll[stockv1.Batch](p.hash("batches"))
	return batches, p.position, err
}

// Batch returns a batch and where each of its pieces is now.
func (v *View) Batch(ctx context.Context, yardID, batchID string, atLeast uint64) (*stockv1.Batch, []*stockv1.Piece, uint64, error) {
	var last *page
	for ids := []string(nil); ; {
		p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
			c["batch"], c["contents"] = tx.HGet(ctx, k.batches(), batchID), tx.HGet(ctx, k.contents(), batchID)
			c["stacks"], c["rules"] = tx.HGetAll(ctx, k.stacks()), tx.Get(ctx, k.rules())
			if len(ids) > 0 {
				c["pieces"] = tx.HMGet(ctx, k.pieces(), ids...)
			}
		})
		if err != nil {
			return nil, nil, 0, err
		}
		last = p
		now := parseContents(p.text("contents"))
		if slices.Equal(now, ids) {
			break
		}
		// Which pieces to ask for is known only now.
		ids = now
	}
	if last.text("batch") == "" {
		return nil, nil, 0, fault.New(fault.NotFound, "BATCH_UNKNOWN", "There is no batch %s in this yard.", batchID)
	}
	b, err := decode[stockv1.Batch](last.text("batch"))
	if err != nil {
		return nil, nil, 0, err
	}
	var docs []string
	if last.commands["pieces"] != nil {
		docs = last.some("pieces")
	}
	pieces, err := last.pieces(docs, map[string]string{batchID: last.text("batch")}, last.hash("stacks"))
	return b, pieces, last.position, err
}

// Stack returns a stack from top to bottom, and the loose blocks on it.
func (v *View) Stack(ctx context.Context, yardID, stackID string, atLeast uint64) (*stockv1.GetStackResponse, error) {
	var last *page
	var ids []string
	var batchID string
	for asked := false; ; asked = true {
		p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
			c["stack"], c["rules"] = tx.HGet(ctx, k.stacks(), stackID), tx.Get(ctx, k.rules())
			if batchID != "" {
				c["batch"] = tx.HGet(ctx, k.batches(), batchID)
				c["blocks"] = tx.HGet(ctx, k.blocks(), batchID)
				c["pieces"] = tx.HMGet(ctx, k.pieces(), append([]string{""}, ids...)...)
			}
		})
		if err != nil {
			return nil, err
		}
		last = p
		b, now := parseStack(p.text("stack"))
		if b == "" {
			return nil, fault.New(fault.NotFound, "STACK_UNKNOWN", "There is nothing on stack %s in this yard.", stackID)
		}
		if asked && b == batchID && slices.Equal(now, ids) {
			break
		}
		batchID, ids = b, now
	}
	answer := &stockv1.GetStackResponse{StackId: stackID, BatchId: batchID, Position: last.position}
	pieces, err := last.pieces(last.some("pieces"), map[string]string{batchID: last.text("batch")}, map[string]string{stackID: last.text("stack")})
	if err != nil {
		return nil, err
	}
	slices.Reverse(pieces)
	answer.Pieces = pieces
	return answer, last.looseOn(answer)
}

// looseOn adds the loose blocks of a block batch to its stack, released or
// not.
func (p *page) looseOn(answer *stockv1.GetStackResponse) error {
	b, err := decode[stockv1.Batch](p.text("batch"))
	if err != nil {
		return err
	}
	if isBeams(b) || b.GetCounts().GetInYard() == 0 {
		return nil
	}
	loose := &stockv1.FreeBlocks{
		BatchId: b.GetBatchId(), BlockKind: b.GetBlockKind(), BlockCount: b.GetCounts().GetInYard(), StackId: answer.GetStackId(),
		ReleasedOn: b.GetRelease().GetReleasedOn(), MadeOn: b.GetMadeOn(),
	}
	if doc := p.text("blocks"); doc != "" {
		free, err := decode[stockv1.FreeBlocks](doc)
		if err != nil {
			return err
		}
		loose.MassGEach = free.GetMassGEach()
	}
	answer.Blocks = append(answer.Blocks, loose)
	return nil
}

// History returns a piece, its batch and all that happened to both, oldest
// first.
func (v *View) History(ctx context.Context, yardID, pieceID string, atLeast uint64) (*stockv1.GetPieceHistoryResponse, error) {
	pieces, _, err := v.Pieces(ctx, yardID, []string{pieceID}, atLeast)
	if err != nil {
		return nil, err
	}
	if len(pieces) == 0 {
		return nil, fault.New(fault.NotFound, "PIECE_UNKNOWN", "There is no piece %s in this yard.", pieceID)
	}
	batchID := pieces[0].GetBatchId()
	p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
		c["piece"], c["batch"] = tx.HMGet(ctx, k.pieces(), pieceID), tx.HGet(ctx, k.batches(), batchID)
		c["own"], c["shared"] = tx.ZRange(ctx, k.prefix+pieceHistory(pieceID), 0, -1), tx.ZRange(ctx, k.prefix+batchHistory(batchID), 0, -1)
		c["stacks"], c["rules"] = tx.HGetAll(ctx, k.stacks()), tx.Get(ctx, k.rules())
	})
	if err != nil {
		return nil, err
	}
	batches := map[string]string{batchID: p.text("batch")}
	now, err := p.pieces(p.some("piece"), batches, p.hash("stacks"))
	if err != nil || len(now) == 0 {
		return nil, cmp.Or(err, rebuilding())
	}
	b, err := decode[stockv1.Batch](batches[batchID])
	if err != nil {
		return nil, err
	}
	answer := &stockv1.GetPieceHistoryResponse{Piece: now[0], Batch: b, Position: p.position}
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

// Summary counts the yard by product for a day.
func (v *View) Summary(ctx context.Context, yardID string, day civil.Day, atLeast uint64) (*stockv1.SummariseStockResponse, error) {
	p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
		c["batches"], c["tally"] = tx.HGetAll(ctx, k.batches()), tx.HGetAll(ctx, k.tally())
	})
	if err != nil {
		return nil, err
	}
	batches, err := decodeAll[stockv1.Batch](p.hash("batches"))
	if err != nil {
		return nil, err
	}
	byID := map[string]*stockv1.Batch{}
	for _, b := range batches {
		byID[b.GetBatchId()] = b
	}
	answer := &stockv1.SummariseStockResponse{Position: p.position, Day: day.String(), Blocks: blockSummary(batches, day)}
	answer.Beams, err = beamSummary(byID, p.hash("tally"), day)
	return answer, err
}

func beamSummary(batches map[string]*stockv1.Batch, tallies map[string]string, day civil.Day) ([]*stockv1.BeamSummary, error) {
	type product struct {
		profile, wires string
		lengthMM       int
	}
	sums := map[product]*stockv1.BeamSummary{}
	for field, value := range tallies {
		k, t, err := parseTally(field, value)
		b := batches[k.batchID]
		if err != nil || b == nil {
			return nil, fault.New(fault.Unavailable, "VIEW_UNREADABLE", "The stock view cannot be read just now.").Because(err)
		}
		at := product{b.GetProfile(), b.GetWirePattern(), k.lengthMM}
		s := sums[at]
		if s == nil {
			s = &stockv1.BeamSummary{Profile: at.profile, WirePattern: at.wires, LengthMm: int32(at.lengthMM)}
			sums[at] = s
		}
		free, provisional, held := standing(b, t.inYard, day)
		s.Free, s.Provisional = s.GetFree()+free, s.GetProvisional()+provisional
		s.Quarantined, s.Reserved = s.GetQuarantined()+held, s.GetReserved()+int32(t.reserved)
	}
	var out []*stockv1.BeamSummary
	for _, s := range sums {
		if s.GetFree()+s.GetProvisional()+s.GetReserved()+s.GetQuarantined() > 0 {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b *stockv1.BeamSummary) int {
		return cmp.Or(cmp.Compare(a.GetProfile(), b.GetProfile()), cmp.Compare(a.GetWirePattern(), b.GetWirePattern()), cmp.Compare(a.GetLengthMm(), b.GetLengthMm()))
	})
	return out, nil
}

// standing sorts what of a batch is in the yard and nobody's by what may
// become of it by a day.
func standing(b *stockv1.Batch, inYard int, day civil.Day) (free, provisional, quarantined int32) {
	n := int32(min(inYard, math.MaxInt32))
	switch {
	case b.GetState() == stockv1.BatchState_BATCH_STATE_RELEASED:
		return n, 0, 0
	case b.GetState() == stockv1.BatchState_BATCH_STATE_QUARANTINED:
		return 0, 0, n
	case oldEnough(b, day):
		return 0, n, 0
	default:
		return 0, 0, 0
	}
}

func blockSummary(batches []*stockv1.Batch, day civil.Day) []*stockv1.BlockSummary {
	sums := map[string]*stockv1.BlockSummary{}
	for _, b := range batches {
		if isBeams(b) {
			continue
		}
		s := sums[b.GetBlockKind()]
		if s == nil {
			s = &stockv1.BlockSummary{BlockKind: b.GetBlockKind()}
			sums[b.GetBlockKind()] = s
		}
		free, provisional, held := standing(b, int(b.GetCounts().GetInYard()), day)
		s.Free, s.Provisional = s.GetFree()+free, s.GetProvisional()+provisional
		s.Quarantined, s.Reserved = s.GetQuarantined()+held, s.GetReserved()+b.GetCounts().GetReserved()
	}
	var out []*stockv1.BlockSummary
	for _, s := range sums {
		if s.GetFree()+s.GetProvisional()+s.GetReserved()+s.GetQuarantined() > 0 {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b *stockv1.BlockSummary) int { return cmp.Compare(a.GetBlockKind(), b.GetBlockKind()) })
	return out
}
