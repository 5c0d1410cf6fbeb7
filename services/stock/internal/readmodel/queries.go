package readmodel

import (
	"cmp"
	"context"
	"maps"
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
		stack := parseStack(doc)
		if stack.massGEach > 0 {
			// Pallets stand side by side on the ground.
			for _, pallet := range stack.pieces {
				h.index[pallet] = 0
			}
			continue
		}
		h.size[id] = len(stack.pieces)
		for i, piece := range stack.pieces {
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

// Batches lists batches by id, without their pieces: at most limit of those
// behind after. It returns where the next page begins; empty when there is no
// more.
func (v *View) Batches(ctx context.Context, yardID string, atLeast uint64, after string, limit int) (*stockv1.ListBatchesResponse, string, error) {
	p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
		c["batches"] = tx.HGetAll(ctx, k.batches())
	})
	if err != nil {
		return nil, "", err
	}
	docs, next := p.hash("batches"), ""
	maps.DeleteFunc(docs, func(id, _ string) bool { return id <= after })
	if ids := slices.Sorted(maps.Keys(docs)); len(ids) > limit {
		next = ids[limit-1]
		maps.DeleteFunc(docs, func(id, _ string) bool { return id > next })
	}
	batches, err := decodeAll[stockv1.Batch](docs)
	return &stockv1.ListBatchesResponse{Batches: batches, Position: p.position}, next, err
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
	case b.GetState() == stockv1.BatchState_BATCH_STATE_QUARANTINED, failed(b):
		return 0, 0, n
	case oldEnough(b, day):
		return 0, n, 0
	default:
		return 0, 0, 0
	}
}

// failed reports whether results of a batch do not conform. It will not be
// released, whatever its age, unless a retest takes their place.
func failed(b *stockv1.Batch) bool {
	return slices.ContainsFunc(b.GetJudgements(), func(j *stockv1.Judgement) bool { return !j.GetVerdict().GetConforms() && !j.GetSuperseded() })
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
