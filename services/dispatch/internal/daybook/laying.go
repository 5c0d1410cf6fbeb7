package daybook

import (
	"slices"
	"time"

	"spanyard.example/services/kit/fault"
)

// ReportKind is what a site tells of a piece.
type ReportKind int

// The kinds. A withdrawn report is kept in the ledger alone.
const (
	ReportedBroken ReportKind = iota + 1
	ReportedMissing
	ReportWithdrawn
)

// maxRemark is how much a site may say of a piece, in bytes.
const maxRemark = 500

// SiteReport is what a site told of a piece of a drop.
type SiteReport struct {
	DropNumber    int
	PieceID, Mark string
	Kind          ReportKind
	Remark        string `json:",omitempty"`
	At            time.Time
}

// ConfirmedRun returns a confirmed run, or the refusal that there is none.
func (s State) ConfirmedRun(id string) (*RunStatus, error) { return s.run(id) }

// atSite returns a run whose drop has left the yard, so that the site can have
// it in hand. What the crew does with it before the driver has the last of it
// off the truck counts as well.
func (s State) atSite(runID string, drop int) (*RunStatus, error) {
	r, err := s.run(runID)
	if err != nil {
		return nil, err
	}
	if drop < 1 || drop > len(r.Run.Drops) {
		return nil, fault.New(fault.Invalid, "DROP_UNKNOWN", "Run %s has no drop %d; its last is drop %d.", runID, drop, len(r.Run.Drops))
	}
	if !r.Departed() {
		return nil, fault.New(fault.Stale, "RUN_NOT_ON_ROAD", "Run %s is %s: nothing of it can be at the site yet.", runID, r.State)
	}
	return r, nil
}

// itemOf finds a piece among those of a drop.
func (r *RunStatus) itemOf(drop int, pieceID string) (*Item, bool) {
	var found *Item
	r.Run.Items(func(pile *Pile, item *Item) {
		if pile.DropNumber == drop && item.PieceID == pieceID {
			found = item
		}
	})
	return found, found != nil
}

// ReportOn returns what the site told of a piece last.
func (r *RunStatus) ReportOn(pieceID string) (SiteReport, bool) {
	at := slices.IndexFunc(r.Reports, func(x SiteReport) bool { return x.PieceID == pieceID })
	if at < 0 {
		return SiteReport{}, false
	}
	return r.Reports[at], true
}

// Stopped returns why a piece of the run must not be used.
func (r *RunStatus) Stopped(pieceID string) (Hit, bool) {
	at := slices.IndexFunc(r.Hits, func(h Hit) bool { return h.PieceID == pieceID })
	if at < 0 {
		return Hit{}, false
	}
	return r.Hits[at], true
}

// isScrapped says whether a piece of the run was written off.
func (r *RunStatus) isScrapped(pieceID string) bool {
	return slices.ContainsFunc(r.Hits, func(h Hit) bool { return h.PieceID == pieceID && h.Kind == Scrapped })
}

// RecordLaying ticks off beams of a drop as laid, or takes ticks back.
type RecordLaying struct {
	RunID        string
	DropNumber   int
	Laid, Unlaid []string
	At           time.Time
}

func (c RecordLaying) decide(s State) ([]Event, error) {
	r, err := s.atSite(c.RunID, c.DropNumber)
	if err != nil {
		return nil, err
	}
	wrong := newFindings("LAYING_INVALID", "Not all of it can be ticked off; nothing is.")
	for _, id := range c.Laid {
		if problem := r.mayLie(c.DropNumber, id); problem != "" {
			wrong.add("laid_piece_ids", id, problem, "beams of this drop that are whole and not stopped")
		}
	}
	for _, id := range c.Unlaid {
		if _, ok := r.itemOf(c.DropNumber, id); !ok {
			wrong.add("not_laid_piece_ids", id, "does not come with this drop", "beams of this drop")
		}
	}
	if err := wrong.err(); err != nil {
		return nil, err
	}
	e := LayingRecorded{RunID: c.RunID, DropNumber: c.DropNumber, At: c.At}
	for _, id := range c.Laid {
		if !slices.Contains(r.LaidBeams, id) && !slices.Contains(e.Laid, id) {
			e.Laid = append(e.Laid, id)
		}
	}
	for _, id := range c.Unlaid {
		if slices.Contains(r.LaidBeams, id) && !slices.Contains(c.Laid, id) && !slices.Contains(e.Unlaid, id) {
			e.Unlaid = append(e.Unlaid, id)
		}
	}
	if len(e.Laid)+len(e.Unlaid) == 0 {
		return nil, nil
	}
	return []Event{e}, nil
}

// mayLie says why a piece cannot be laid; empty when it can.
func (r *RunStatus) mayLie(drop int, pieceID string) string {
	item, ok := r.itemOf(drop, pieceID)
	if !ok {
		return "does not come with this drop"
	}
	if item.IsPallet() {
		return "is a pallet of blocks, and not ticked off"
	}
	if hit, stopped := r.Stopped(pieceID); stopped && hit.Kind != Redrawn {
		return "must not be used: " + hit.Reason
	}
	if r.isScrapped(pieceID) {
		return "was scrapped"
	}
	if slices.Contains(r.TakenBack, pieceID) {
		return "was not taken at the site, or went back to the yard"
	}
	if told, ok := r.ReportOn(pieceID); ok && told.Kind == ReportedBroken {
		return "is reported as broken; what is broken is not laid"
	}
	return ""
}

// ReportPiece tells that a piece of a drop is broken or did not come, or that
// it is there and whole after all.
type ReportPiece struct {
	RunID      string
	DropNumber int
	PieceID    string
	Kind       ReportKind
	Remark     string
	At         time.Time
}

func (c ReportPiece) decide(s State) ([]Event, error) {
	r, err := s.atSite(c.RunID, c.DropNumber)
	if err != nil {
		return nil, err
	}
	wrong := newFindings("REPORT_INVALID", "The report is not right.")
	item, ok := r.itemOf(c.DropNumber, c.PieceID)
	if !ok {
		wrong.add("piece_id", c.PieceID, "does not come with this drop", "a piece of this drop")
	}
	wrong.text("remark", c.Remark, maxRemark)
	if err := wrong.err(); err != nil {
		return nil, err
	}
	if r.isScrapped(c.PieceID) {
		return nil, nil // the yard knows, and has done what it does about it
	}
	told, before := r.ReportOn(c.PieceID)
	if before && told.Kind == c.Kind && told.Remark == c.Remark || !before && c.Kind == ReportWithdrawn {
		return nil, nil
	}
	return []Event{PieceReported{RunID: c.RunID, Report: SiteReport{
		DropNumber: c.DropNumber, PieceID: c.PieceID, Mark: item.Mark, Kind: c.Kind, Remark: c.Remark, At: c.At,
	}}}, nil
}

// layingRecorded keeps what is laid. A beam that was missed and is laid is there.
func (s State) layingRecorded(e LayingRecorded) State {
	return s.withRun(e.RunID, func(r *RunStatus) {
		r.LaidBeams = slices.DeleteFunc(slices.Clone(r.LaidBeams), func(id string) bool { return slices.Contains(e.Unlaid, id) })
		r.LaidBeams = append(r.LaidBeams, e.Laid...)
		r.Reports = slices.DeleteFunc(slices.Clone(r.Reports), func(x SiteReport) bool { return slices.Contains(e.Laid, x.PieceID) })
	})
}

// settle forgets what the site told of a piece that is not there any more: it
// is known, and nothing of it lies in its place.
func (r *RunStatus) settle(pieceID string) {
	r.Reports = slices.DeleteFunc(slices.Clone(r.Reports), func(x SiteReport) bool { return x.PieceID == pieceID })
	r.LaidBeams = without(r.LaidBeams, pieceID)
}

// pieceReported keeps the last that was told of a piece. What is broken or not
// there does not lie in its place.
func (s State) pieceReported(e PieceReported) State {
	return s.withRun(e.RunID, func(r *RunStatus) {
		r.Reports = slices.DeleteFunc(slices.Clone(r.Reports), func(x SiteReport) bool { return x.PieceID == e.Report.PieceID })
		if e.Report.Kind == ReportWithdrawn {
			return
		}
		r.Reports = append(r.Reports, e.Report)
		r.LaidBeams = without(r.LaidBeams, e.Report.PieceID)
	})
}
