package daybook

import "slices"

// Report is what stock says about a piece that a run may count on.
type Report struct {
	// RunID that stock knows the piece to be on; empty looks it up.
	RunID   string
	PieceID string
	BatchID string
	Reason  string
	// Where the piece was; empty says it by how far the run has come.
	Where string
	Kind  HitKind
}

// ReportHits puts pieces that must not be used on the runs that have them.
// Runs that were cancelled, and pieces that are on no run, are left alone.
type ReportHits struct{ Reports []Report }

func (c ReportHits) decide(s State) ([]Event, error) {
	byRun := map[string]int{}
	var changes []RunChanged
	for _, r := range c.Reports {
		runID, hit, ok := s.hit(r)
		if !ok {
			continue
		}
		n, known := byRun[runID]
		if !known {
			n = len(changes)
			byRun[runID] = n
			status, confirmed := s.runs.Get(runID)
			changes = append(changes, RunChanged{RunID: runID, Departed: confirmed && status.Departed()})
		}
		changes[n].Hits = append(changes[n].Hits, hit)
	}
	var events []Event
	for _, change := range changes {
		events = append(events, change)
	}
	return events, nil
}

func (s State) hit(r Report) (string, Hit, bool) {
	if r.RunID == "" {
		r.RunID = s.runOfPiece(r.PieceID)
	}
	var run *Run
	status, ok := s.runs.Get(r.RunID)
	switch {
	case ok && status.State == RunCancelledState:
		return "", Hit{}, false
	case ok:
		run = &status.Run
	default:
		_, run = s.confirmingPlanOf(r.RunID)
	}
	if run == nil {
		return "", Hit{}, false
	}
	hit := Hit{PieceID: r.PieceID, BatchID: r.BatchID, Reason: r.Reason, Where: r.Where, Kind: r.Kind}
	found := false
	run.Items(func(pile *Pile, item *Item) {
		if item.PieceID != r.PieceID {
			return
		}
		found = true
		hit.Mark = item.Mark
		if hit.BatchID == "" {
			hit.BatchID = item.BatchID
		}
		if hit.Where == "" {
			hit.Where = whereOn(status, pile, item)
		}
	})
	if status != nil {
		for _, old := range status.Hits {
			if old == hit {
				return "", Hit{}, false
			}
		}
	}
	return r.RunID, hit, found
}

// runOfPiece returns the live run, or the run about to be confirmed, that has
// a piece.
func (s State) runOfPiece(pieceID string) string {
	if run, ok := s.pieces.Get(pieceID); ok {
		return run
	}
	confirming, _ := s.Unsettled()
	for _, id := range confirming {
		p, ok := s.plans.Get(id)
		if !ok {
			continue
		}
		for i := range p.Plan.Runs {
			if slices.Contains(p.Plan.Runs[i].PieceIDs(), pieceID) {
				return p.Plan.Runs[i].ID
			}
		}
	}
	return ""
}

// whereOn says where a piece is by how far its run has come.
func whereOn(r *RunStatus, pile *Pile, item *Item) string {
	switch {
	case r == nil:
		return "reserved"
	case r.isDown(pile, item):
		return "delivered"
	case r.Departed():
		return "loaded"
	default:
		return "reserved"
	}
}

// ClearHits takes back the hits by the quarantine of a batch that was released
// anew. Runs that were cancelled carry nothing and are left alone.
type ClearHits struct{ BatchID string }

func (c ClearHits) decide(s State) ([]Event, error) {
	var events []Event
	clear := func(runID string, departed bool, hits []Hit) {
		e := RunCleared{RunID: runID, BatchID: c.BatchID, Departed: departed}
		for _, h := range hits {
			if h.Kind == Quarantined && h.BatchID == c.BatchID && !slices.Contains(e.PieceIDs, h.PieceID) {
				e.PieceIDs = append(e.PieceIDs, h.PieceID)
			}
		}
		if len(e.PieceIDs) > 0 {
			events = append(events, e)
		}
	}
	each(s.runs, func(id string, r *RunStatus) {
		if r.State != RunCancelledState {
			clear(id, r.Departed(), r.Hits)
		}
	})
	confirming, _ := s.Unsettled()
	for _, id := range confirming {
		p, _ := s.plans.Get(id)
		for i := range p.Plan.Runs {
			var hits []Hit
			for _, h := range p.EarlyHits {
				if h.RunID == p.Plan.Runs[i].ID {
					hits = append(hits, h.Hit)
				}
			}
			clear(p.Plan.Runs[i].ID, false, hits)
		}
	}
	return events, nil
}

// clears says whether the event takes a hit back.
func (e RunCleared) clears(h Hit) bool {
	return h.Kind == Quarantined && h.BatchID == e.BatchID && slices.Contains(e.PieceIDs, h.PieceID)
}
