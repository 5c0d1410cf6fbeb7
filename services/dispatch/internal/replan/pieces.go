package replan

import (
	"fmt"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
)

// lot is the blocks of one kind and batch.
type lot struct{ batchID, kind string }

// missing says which pieces of a run are not free any more as they were, or are
// on another run that is kept.
func (d *draft) missing(run int) []loading.Refusal {
	free := map[string]*morning.FreeBeam{}
	for i := range d.problem.Stock.Beams {
		free[d.problem.Stock.Beams[i].PieceID] = &d.problem.Stock.Beams[i]
	}
	blocks := map[lot]int{}
	for _, b := range d.problem.Stock.Blocks {
		blocks[lot{b.BatchID, b.Kind}] += b.Count
	}
	for i := range d.kept {
		if d.kept[i].from == run {
			continue
		}
		d.kept[i].run.Items(func(_ *morning.Pile, item *morning.Item) {
			delete(free, item.PieceID)
			blocks[lot{item.BatchID, item.BlockKind}] -= item.BlockCount
		})
	}
	var gone []string
	d.wish.Runs[run].Items(func(_ *morning.Pile, item *morning.Item) {
		if item.Pallet() {
			of := lot{item.BatchID, item.BlockKind}
			if blocks[of] -= item.BlockCount; blocks[of] < 0 {
				gone = append(gone, "blocks of batch "+item.BatchID)
			}
			return
		}
		if f := free[item.PieceID]; f == nil || f.MassG != item.MassG || f.Product != item.Beam {
			gone = append(gone, item.PieceID)
		}
	})
	if len(gone) == 0 {
		return nil
	}
	return []loading.Refusal{{Rule: "stock", Sentence: fmt.Sprintf("pieces that are not free any more, or on another run: %d, the first is %s", len(gone), gone[0])}}
}
