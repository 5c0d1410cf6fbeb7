// Package availability says what a yard can promise for a day: what is free
// now, what may be released by then, what is short of what is asked for, and
// what a quarantine takes away.
//
// What may be released by then is provisional: it is shown, and never
// confirmed before a named person has released it.
package availability

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/yard"
)

// Product is a kind of beams or of blocks that are interchangeable.
type Product struct {
	Profile, WirePattern string
	LengthMM             int
	// BlockKind is empty for beams.
	BlockKind string
}

// Need is what a job asks for. Beams that are kept for the job count for it.
type Need struct {
	Product
	Count int
	JobID string
}

// Line is one product on a day, in beams or blocks. Free, Kept, Provisional,
// Later, Withheld, Promised, Stopped and OnRuns add up to all that was made of
// it and is neither delivered nor scrapped.
type Line struct {
	Product
	// Free is released, nobody's and for anybody.
	Free int
	// Kept is released and nobody's, and kept for the job it was made for.
	Kept int
	// Provisional may be released by the day, Later cannot be.
	Provisional, Later int
	// Withheld is quarantined, or has results that do not conform.
	Withheld int
	// Promised is reserved; Stopped is reserved too, and quarantined since: whom
	// it was promised to needs another piece, which Needed counts.
	Promised, Stopped int
	// OnRuns is picked or loaded. What of it belongs to a run that was cancelled
	// is free again when it is taken back.
	OnRuns int
	Needed int
	// Short is what is needed and neither free nor kept for the job that needs
	// it; ShortEvenSo is what is left of it when all that is provisional is
	// released in time.
	Short, ShortEvenSo int
	// Coming are the batches that are provisional or later, the earliest first.
	Coming []Coming
}

// Coming is what of a batch may become free, and what that waits for.
type Coming struct {
	BatchID string
	Count   int
	// Kept is how many of them are kept for a job.
	Kept       int
	EarliestOn civil.Day
	Sentence   string
}

// Withheld is a quarantined batch: what it takes from the stock, and whom it
// hits.
type Withheld struct {
	BatchID, Reason string
	// Taken is what lies in the yard and is nobody's.
	Taken int
	Hits  []yard.Hit
}

// Answer is what can be promised for a day.
type Answer struct {
	// Lines of beams by profile, wires and length, then of blocks by kind.
	Lines    []Line
	Withheld []Withheld
}

// On looks at a yard today and asks what can be promised for a later day.
func On(s yard.State, today, day civil.Day, needs []Need) Answer {
	c := counter{state: s, today: today, day: max(today, day), products: map[Product]*entry{}}
	s.Batches(c.batch)
	for _, n := range needs {
		e := c.of(n.Product)
		e.line.Needed += n.Count
		e.needs[n.JobID] += n.Count
	}
	var out Answer
	for _, e := range c.products {
		e.shortages()
		slices.SortStableFunc(e.line.Coming, func(a, b Coming) int {
			return cmp.Or(cmp.Compare(a.EarliestOn, b.EarliestOn), cmp.Compare(a.BatchID, b.BatchID))
		})
		out.Lines = append(out.Lines, e.line)
	}
	slices.SortFunc(out.Lines, func(a, b Line) int { return a.compare(b.Product) })
	out.Withheld = c.withheld
	return out
}

func (p Product) compare(o Product) int {
	return cmp.Or(cmp.Compare(p.BlockKind, o.BlockKind), cmp.Compare(p.Profile, o.Profile),
		cmp.Compare(p.WirePattern, o.WirePattern), cmp.Compare(p.LengthMM, o.LengthMM))
}

// entry is a product while it is counted.
type entry struct {
	line Line
	// kept and coming are released and provisional beams by the job that they
	// are kept for; needs by the job that asks.
	kept, coming, needs map[string]int
}

type counter struct {
	state      yard.State
	today, day civil.Day
	products   map[Product]*entry
	withheld   []Withheld
}

func (c *counter) of(p Product) *entry {
	e := c.products[p]
	if e == nil {
		e = &entry{line: Line{Product: p}, kept: map[string]int{}, coming: map[string]int{}, needs: map[string]int{}}
		c.products[p] = e
	}
	return e
}

// batch counts what of a batch is in the yard.
func (c *counter) batch(b yard.Batch) {
	standing, earliest, sentence := c.standing(b)
	if failed := b.FailedJudgements(); b.State == yard.Curing && len(failed) > 0 {
		c.withheld = append(c.withheld, Withheld{BatchID: b.ID, Reason: "its results do not conform, and no retest took their place. " + failed[0].Verdict.Sentence, Taken: b.Counts.InYard, Hits: c.state.CountedOn(b)})
	}
	if b.State == yard.Quarantined {
		c.withheld = append(c.withheld, Withheld{BatchID: b.ID, Reason: b.QuarantineReason, Taken: b.Counts.InYard, Hits: c.state.CountedOn(b)})
	}
	if b.Counts.InYard+b.Counts.Reserved+b.Counts.Picked+b.Counts.Loaded == 0 {
		return
	}
	if b.Kind == yard.Blocks {
		e := c.of(Product{BlockKind: b.Lot.BlockKind})
		e.line.OnRuns += b.Counts.Picked + b.Counts.Loaded
		if b.State == yard.Released {
			e.line.Promised += b.Counts.Reserved
		} else {
			e.stop(b.Counts.Reserved, "")
		}
		e.add(standing, Coming{BatchID: b.ID, Count: b.Counts.InYard, EarliestOn: earliest, Sentence: sentence}, nil)
		return
	}
	type pile struct {
		count int
		kept  map[string]int
	}
	piles := map[int]*pile{}
	for _, id := range b.BeamIDs {
		p, _ := c.state.Piece(id)
		if p.State == yard.Reserved {
			if e := c.of(Product{Profile: b.Profile, WirePattern: b.WirePattern, LengthMM: p.LengthMM}); b.State == yard.Released {
				e.line.Promised++
			} else {
				e.stop(1, p.Allocation.JobID)
			}
		}
		if p.State == yard.Picked || p.State == yard.Loaded {
			c.of(Product{Profile: b.Profile, WirePattern: b.WirePattern, LengthMM: p.LengthMM}).line.OnRuns++
		}
		if p.State != yard.InYard {
			continue
		}
		at := piles[p.LengthMM]
		if at == nil {
			at = &pile{kept: map[string]int{}}
			piles[p.LengthMM] = at
		}
		at.count++
		if p.Kept != nil {
			at.kept[p.Kept.JobID]++
		}
	}
	for lengthMM, at := range piles {
		e := c.of(Product{Profile: b.Profile, WirePattern: b.WirePattern, LengthMM: lengthMM})
		e.add(standing, Coming{BatchID: b.ID, Count: at.count, EarliestOn: earliest, Sentence: sentence}, at.kept)
	}
}

// stop counts what is promised to a job and must not leave: the job needs it
// anew.
func (e *entry) stop(n int, jobID string) {
	e.line.Stopped += n
	e.line.Needed += n
	if n > 0 {
		e.needs[jobID] += n
	}
}

// standing is what may become of a batch by the day.
type standing int

const (
	free standing = iota
	provisional
	later
	withheld
)

// standing returns what may become of a batch by the day, when it may be
// released, and what that waits for.
func (c *counter) standing(b yard.Batch) (standing, civil.Day, string) {
	switch {
	case b.State == yard.Released:
		return free, c.today, ""
	case b.State == yard.Quarantined || len(b.FailedJudgements()) > 0:
		return withheld, 0, ""
	}
	earliest, sentence := c.waits(b)
	if earliest > c.day {
		return later, earliest, sentence
	}
	return provisional, earliest, sentence
}

// waits returns the first day on which a batch may be released, and a sentence
// on what a release still waits for. It is never before today.
func (c *counter) waits(b yard.Batch) (civil.Day, string) {
	rules := c.state.Rules()
	old := rules.OldEnoughOn(b.Kind, b.MadeOn)
	earliest := max(c.today, old)
	var parts []string
	if old > c.today {
		parts = append(parts, fmt.Sprintf("old enough on %v", old))
	}
	for _, sample := range c.state.Awaited(b) {
		earliest = max(earliest, sample.DueOn)
		parts = append(parts, fmt.Sprintf("%d of %d %ss of %d days to be tested, due on %v",
			sample.Missing(), sample.Rule.Count, sample.Rule.Specimen, sample.Rule.AgeDays, sample.DueOn))
	}
	if len(b.Tests) == 0 && !slices.ContainsFunc(parts, func(s string) bool { return strings.Contains(s, "to be tested") }) {
		parts = append(parts, "no test is recorded yet")
	}
	parts = append(parts, "to be released by a named person")
	return earliest, strings.Join(parts, "; ")
}

// add counts what of a batch is in the yard and nobody's.
func (e *entry) add(of standing, c Coming, kept map[string]int) {
	if c.Count == 0 {
		return
	}
	for job, n := range kept {
		c.Kept += n
		switch of {
		case free:
			e.kept[job] += n
		case provisional:
			e.coming[job] += n
		}
	}
	switch of {
	case free:
		e.line.Free += c.Count - c.Kept
		e.line.Kept += c.Kept
	case withheld:
		e.line.Withheld += c.Count
	case provisional:
		e.line.Provisional += c.Count
		e.line.Coming = append(e.line.Coming, c)
	case later:
		e.line.Later += c.Count
		e.line.Coming = append(e.line.Coming, c)
	}
}

// shortages compares what is needed with what there is. A job takes first what
// is kept for it; what it lacks comes from what is for anybody.
func (e *entry) shortages() {
	var now, then, comingKept int
	for job, n := range e.needs {
		now += max(0, n-e.kept[job])
		then += max(0, n-e.kept[job]-e.coming[job])
	}
	for _, n := range e.coming {
		comingKept += n
	}
	e.line.Short = max(0, now-e.line.Free)
	e.line.ShortEvenSo = max(0, then-e.line.Free-(e.line.Provisional-comingKept))
}
