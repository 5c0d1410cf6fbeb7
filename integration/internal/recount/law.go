package recount

import (
	"fmt"
	"time"

	eventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
)

// released checks a release by hand: old enough on that day, and every test it
// rests on recorded and conforming.
func (c *Count) released(e *eventv1.BatchReleased) {
	b := c.batch(e.GetBatchId())
	if b.Quarantined {
		c.wrong("batch %s is released out of quarantine", e.GetBatchId())
	}
	b.Released = true
	least := c.rules.GetBlockMinAgeDays()
	if b.Beams {
		least = c.rules.GetBeamMinAgeDays()
	}
	if age, err := days(b.MadeOn, e.GetReleasedOn()); err != nil {
		c.wrong("batch %s: %v", e.GetBatchId(), err)
	} else if age < int(least) || age != int(e.GetAgeDays()) {
		c.wrong("batch %s is released at %d days of age, the event says %d, the rule %d", e.GetBatchId(), age, e.GetAgeDays(), least)
	}
	if e.GetReleasedBy() == "" || len(e.GetTestIds()) == 0 {
		c.wrong("batch %s is released by %q on %d tests", e.GetBatchId(), e.GetReleasedBy(), len(e.GetTestIds()))
	}
	for _, test := range e.GetTestIds() {
		if !b.Conforming[test] {
			c.wrong("batch %s is released on test %s, which does not conform or is not there", e.GetBatchId(), test)
		}
	}
}

// days counts calendar days from one to another.
func days(from, to string) (int, error) {
	a, err := time.Parse(time.DateOnly, from)
	if err != nil {
		return 0, err
	}
	b, err := time.Parse(time.DateOnly, to)
	if err != nil {
		return 0, err
	}
	return int(b.Sub(a) / (24 * time.Hour)), nil
}

// check adds up every batch: what was made is somewhere, once.
func (c *Count) check() {
	for id, b := range c.Batches {
		if b.Loose < 0 {
			c.wrong("batch %s has %d loose blocks", id, b.Loose)
		}
		var sum int32
		for _, n := range c.ByState(id) {
			sum += n
		}
		if sum != b.Made {
			c.wrong("batch %s: %d were made, %d are somewhere", id, b.Made, sum)
		}
	}
}

// ByState counts a batch's beams, or its blocks, by where they are.
func (c *Count) ByState(batch string) map[eventv1.PieceState]int32 {
	n := map[eventv1.PieceState]int32{}
	b := c.Batches[batch]
	for _, p := range c.Pieces {
		switch {
		case p.Batch != batch:
		case b.Beams:
			n[p.State]++
		default:
			n[p.State] += p.Blocks
		}
	}
	if b != nil {
		n[eventv1.PieceState_PIECE_STATE_IN_YARD] += b.Loose
		n[eventv1.PieceState_PIECE_STATE_SCRAPPED] += b.ScrappedBlocks
	}
	return n
}

// Total adds up all batches of a kind by where they are.
func (c *Count) Total(beams bool) map[eventv1.PieceState]int32 {
	n := map[eventv1.PieceState]int32{}
	for id, b := range c.Batches {
		if b.Beams != beams {
			continue
		}
		for state, k := range c.ByState(id) {
			n[state] += k
		}
	}
	return n
}

// OfRun counts the pieces that are promised to a run and have reached a state.
func (c *Count) OfRun(run string, state eventv1.PieceState) int {
	n := 0
	for _, p := range c.Pieces {
		if p.Run == run && p.State == state {
			n++
		}
	}
	return n
}

// Err returns everything that is wrong.
func (c *Count) Err() error {
	if len(c.Wrong) == 0 {
		return nil
	}
	shown := c.Wrong[:min(len(c.Wrong), 20)]
	text := ""
	for _, line := range shown {
		text += "\n  " + line
	}
	return fmt.Errorf("the ledger of stock breaks the laws of the yard %d times:%s", len(c.Wrong), text)
}
