package readmodel

import (
	"context"
	"maps"
	"slices"

	"github.com/redis/go-redis/v9"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// Marks says of marks of a job which pieces are promised or gone for each, in
// the order of the marks.
func (v *View) Marks(ctx context.Context, yardID, jobID string, marks []string, atLeast uint64) (*stockv1.FindMarksResponse, error) {
	fields := make([]string, len(marks))
	for i, mark := range marks {
		fields[i] = markKey{jobID, mark}.field()
	}
	p, pieces, err := v.pieces(ctx, yardID, atLeast, func(tx redis.Pipeliner, k keys, c map[string]redis.Cmder) {
		c["marks"] = tx.HMGet(ctx, k.marks(), fields...)
	}, func(p *page) []string {
		var ids []string
		c, _ := p.commands["marks"].(*redis.SliceCmd)
		for _, doc := range c.Val() {
			text, _ := doc.(string) // nil for a mark that nothing is for
			ids = append(ids, parseContents(text)...)
		}
		return ids
	})
	if err != nil {
		return nil, err
	}
	byMark := map[string][]*stockv1.Piece{}
	for _, m := range pieces {
		mark := m.GetAllocation().GetMark()
		byMark[mark] = append(byMark[mark], m)
	}
	answer := &stockv1.FindMarksResponse{Position: p.position}
	for _, mark := range marks {
		answer.Marks = append(answer.Marks, &stockv1.FoundMark{Mark: mark, Pieces: byMark[mark]})
	}
	for _, id := range slices.Sorted(maps.Keys(p.batches)) {
		answer.Batches = append(answer.Batches, p.batches[id])
	}
	return answer, nil
}
