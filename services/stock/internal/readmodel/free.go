package readmodel

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"github.com/redis/go-redis/v9"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// freeList is all that is free at one position of one view, in order. A planner
// reads a large yard page by page; reading and sorting it anew for each page
// would take as long as the yard is large, squared.
type freeList struct {
	yard, prefix string
	position     uint64
	entries      []freeEntry
}

// freeLists keeps the last list that was read.
type freeLists struct {
	mu   sync.Mutex
	last *freeList
}

// Free lists what may leave and is nobody's: beams, then blocks; the oldest
// release first, of one day what was made first, then by batch; within a stack
// the top first. It lists at most
// limit of what comes behind after, and returns where the next page begins;
// empty when there is no more.
func (v *View) Free(ctx context.Context, yardID string, f FreeFilter, atLeast uint64, after string, limit int) (*stockv1.ListFreePiecesResponse, string, error) {
	list, err := v.freeList(ctx, yardID, atLeast)
	if err != nil {
		return nil, "", err
	}
	answer := &stockv1.ListFreePiecesResponse{Position: list.position}
	from, found := slices.BinarySearchFunc(list.entries, after, func(e freeEntry, key string) int { return cmp.Compare(e.key, key) })
	if found {
		from++
	}
	last, listed := "", 0
	for _, e := range list.entries[from:] {
		if e.beam != nil && !f.beam(e.beam) || e.blocks != nil && !f.blocks(e.blocks) {
			continue
		}
		if listed == limit {
			return answer, last, nil
		}
		if e.beam != nil {
			answer.Beams = append(answer.Beams, e.beam)
		} else {
			answer.Blocks = append(answer.Blocks, e.blocks)
		}
		last = e.key
		listed++
	}
	return answer, "", nil
}

// freeList reads what is free, unless the list that was read last is of the same
// position of the same view.
func (v *View) freeList(ctx context.Context, yardID string, atLeast uint64) (*freeList, error) {
	now, err := v.read(ctx, yardID, atLeast, func(redis.Pipeliner, keys, map[string]redis.Cmder) {})
	if err != nil {
		return nil, err
	}
	v.free.mu.Lock()
	last := v.free.last
	v.free.mu.Unlock()
	if last != nil && last.yard == yardID && last.prefix == now.keys.prefix && last.position == now.position {
		return last, nil
	}
	p, err := v.read(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
		c["free"], c["blocks"] = tx.HGetAll(ctx, k.free()), tx.HGetAll(ctx, k.blocks())
		c["stacks"], c["rules"] = tx.HGetAll(ctx, k.stacks()), tx.Get(ctx, k.rules())
	})
	if err != nil {
		return nil, err
	}
	list := &freeList{yard: yardID, prefix: p.keys.prefix, position: p.position}
	if list.entries, err = p.freeEntries(); err != nil {
		return nil, err
	}
	slices.SortFunc(list.entries, func(a, b freeEntry) int { return cmp.Compare(a.key, b.key) })
	v.free.mu.Lock()
	v.free.last = list
	v.free.mu.Unlock()
	return list, nil
}

// freeEntry is a line of the list of what is free. Its key orders the list,
// and stays where it is when other lines go.
type freeEntry struct {
	key    string
	beam   *stockv1.Piece
	blocks *stockv1.FreeBlocks
}

func (p *page) freeEntries() ([]freeEntry, error) {
	heights, err := p.heights(p.hash("stacks"))
	if err != nil {
		return nil, err
	}
	var entries []freeEntry
	for _, doc := range p.hash("free") {
		b, err := decode[stockv1.Piece](doc)
		if err != nil {
			return nil, err
		}
		heights.place(b)
		fromTop := math.MaxInt32 - heights.order(b)
		entries = append(entries, freeEntry{beam: b, key: fmt.Sprintf("beam\x00%s\x00%s\x00%s\x00%s\x00%010d\x00%s",
			b.GetReleasedOn(), b.GetMadeOn(), b.GetBatchId(), b.GetStackId(), fromTop, b.GetPieceId())})
	}
	for _, doc := range p.hash("blocks") {
		b, err := decode[stockv1.FreeBlocks](doc)
		if err != nil {
			return nil, err
		}
		entries = append(entries, freeEntry{blocks: b, key: fmt.Sprintf("blocks\x00%s\x00%s\x00%s", b.GetReleasedOn(), b.GetMadeOn(), b.GetBatchId())})
	}
	return entries, nil
}
