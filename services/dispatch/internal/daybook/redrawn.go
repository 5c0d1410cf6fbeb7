package daybook

import "fmt"

// redrawn returns the hits of a floor's new plan: beams on runs that the plan
// wants otherwise, or no longer. Runs that were cancelled carry nothing.
func (s State) redrawn(f Floor) []Event {
	wanted := map[string]Product{}
	for _, room := range f.Rooms {
		for _, b := range room.Beams {
			wanted[b.Mark] = b.Product
		}
	}
	var reports []Report
	look := func(run *Run) {
		run.Items(func(_ *Pile, item *Item) {
			if item.IsPallet() || item.FloorKey != f.FloorKey {
				return
			}
			product, ok := wanted[item.Mark]
			if ok && product == item.Beam {
				return
			}
			reason := fmt.Sprintf("revision %d of the laying plan has no beam %s", f.Revision, item.Mark)
			if ok {
				reason = fmt.Sprintf("revision %d of the laying plan wants %s/%s %d mm as %s", f.Revision, product.Profile, product.WirePattern, product.LengthMM, item.Mark)
			}
			reports = append(reports, Report{RunID: run.ID, PieceID: item.PieceID, BatchID: item.BatchID, Reason: reason, Kind: Redrawn})
		})
	}
	each(s.runs, func(_ string, r *RunStatus) {
		if r.State != RunCancelledState {
			look(&r.Run)
		}
	})
	confirming, _ := s.Unsettled()
	for _, id := range confirming {
		p, _ := s.plans.Get(id)
		for i := range p.Plan.Runs {
			look(&p.Plan.Runs[i])
		}
	}
	events, _ := ReportHits{Reports: reports}.decide(s) // it refuses nothing
	return events
}
