package yard

import (
	"fmt"
	"strings"
	"time"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

// ReleaseBatch lets a batch leave the yard.
type ReleaseBatch struct {
	BatchID string
	// By is the person who answers for it.
	By string
	At time.Time
	// On is the day of a release that is recorded later, in an opening count;
	// 0 is the day of At.
	On civil.Day
}

// on returns the day of the release.
func (c ReleaseBatch) on(s State) civil.Day {
	if c.On != 0 {
		return c.On
	}
	return s.Day(c.At)
}

func (c ReleaseBatch) decide(s State) ([]Event, error) {
	var p problems
	p.name("released_by", c.By, 120)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	b, err := s.knownBatch(c.BatchID)
	if err != nil {
		return nil, err
	}
	if err := s.whyNotReleasable(b, c); err != nil {
		return nil, err
	}
	on := c.on(s)
	r := Release{By: c.By, At: c.At, On: on, AgeDays: int(on - b.MadeOn)}
	for _, t := range b.Tests {
		r.TestIDs = append(r.TestIDs, t.ID)
	}
	// A batch that cures has promised pieces only when it was released before
	// and then quarantined.
	var events []Event
	inHitParts(s.CountedOn(b), func(cleared []Hit, part, parts int) {
		events = append(events, BatchReleased{BatchID: b.ID, Release: r, Cleared: cleared, Part: part, Parts: parts})
	})
	return events, nil
}

// whyNotReleasable returns everything that stands against releasing a batch.
// The reason of the fault is that of the first.
func (s State) whyNotReleasable(b Batch, c ReleaseBatch) error {
	var refusal *fault.Error
	against := func(reason, where, value, problem, allowed string) {
		if refusal == nil {
			refusal = fault.New(fault.Stale, reason, "Batch %s cannot be released: %s.", b.ID, problem)
		}
		refusal.At(where, value, problem, allowed)
	}
	switch b.State {
	case Quarantined:
		against("BATCH_QUARANTINED", "state", "", "it is quarantined: "+strings.TrimSuffix(b.QuarantineReason, "."), "lift the quarantine first")
	case Released:
		against("ALREADY_RELEASED", "state", "", fmt.Sprintf("%s released it on %v", b.Release.By, b.Release.On), "")
	}
	on := c.on(s)
	if oldEnough := s.rules.OldEnoughOn(b.Kind, b.MadeOn); on < oldEnough {
		against("TOO_YOUNG", "age", fmt.Sprintf("%d days", on-b.MadeOn),
			fmt.Sprintf("it was made on %v and is old enough on %v, not on %v", b.MadeOn, oldEnough, on),
			fmt.Sprintf("%d days or more", s.rules.MinAgeDays(b.Kind)))
	}
	if today := s.Day(c.At); on > today {
		against("RELEASE_IN_FUTURE", "released_on", on.String(), fmt.Sprintf("%v lies in the future", on), "up to "+today.String())
	}
	for _, t := range b.Tests {
		if t.TestedOn > on {
			against("TESTED_AFTER_RELEASE", "released_on", on.String(), fmt.Sprintf("test %s is of %v, after the release", t.ID, t.TestedOn), "from "+t.TestedOn.String())
		}
	}
	if len(b.Tests) == 0 {
		against("NOT_TESTED", "tests", "", "no test of it is recorded", "at least one test, all conforming")
	}
	for _, missing := range s.untested(b) {
		against("SAMPLES_MISSING", "tests", "", missing, "the specimens of the sampling plan")
	}
	for _, j := range b.FailedJudgements() {
		ids := strings.Join(j.TestIDs, ", ")
		against("TEST_FAILED", "tests", ids, fmt.Sprintf("test %s does not conform", ids), "all results conforming")
	}
	if refusal == nil {
		return nil
	}
	return refusal
}

// QuarantineBatch stops a batch.
type QuarantineBatch struct {
	BatchID, Reason, By string
	At                  time.Time
}

func (c QuarantineBatch) decide(s State) ([]Event, error) {
	var p problems
	p.name("quarantined_by", c.By, 120)
	p.name("reason", c.Reason, 500)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	b, err := s.knownBatch(c.BatchID)
	if err != nil {
		return nil, err
	}
	if b.State == Quarantined {
		return nil, fault.New(fault.Stale, "ALREADY_QUARANTINED",
			"Batch %s is quarantined already, by %s: %s", b.ID, b.QuarantinedBy, b.QuarantineReason)
	}
	return s.quarantine(b, c.Reason, c.By, c.At), nil
}

// quarantine returns the events that stop a batch, with every piece that is
// promised or has left. A batch with very many such pieces takes several
// events, so that stopping it never fails for size.
func (s State) quarantine(b Batch, reason, by string, at time.Time) []Event {
	var events []Event
	inHitParts(s.CountedOn(b), func(hits []Hit, part, parts int) {
		events = append(events, BatchQuarantined{BatchID: b.ID, Reason: reason, By: by, At: at, Hits: hits, Part: part, Parts: parts})
	})
	return events
}

// CountedOn returns the pieces of a batch that somebody counts on: promised or
// gone.
func (s State) CountedOn(b Batch) []Hit {
	var hits []Hit
	for _, id := range b.PieceIDs() {
		p, _ := s.pieces.Get(id)
		switch p.State {
		case Reserved, Picked, Loaded, Delivered:
			hits = append(hits, Hit{PieceID: p.ID, State: p.State, Allocation: *p.Allocation})
		}
	}
	return hits
}

// inHitParts calls fn for every event that hits have to be spread over; once,
// when there are none.
func inHitParts(hits []Hit, fn func(hits []Hit, part, parts int)) {
	parts := max(1, (len(hits)+hitsPerEvent-1)/hitsPerEvent)
	for part := 1; part <= parts; part++ {
		n := min(len(hits), hitsPerEvent)
		fn(hits[:n:n], part, parts)
		hits = hits[n:]
	}
}

// LiftQuarantine lets a batch cure again. It has to be released anew.
type LiftQuarantine struct{ BatchID, By, Reason string }

func (c LiftQuarantine) decide(s State) ([]Event, error) {
	var p problems
	p.name("lifted_by", c.By, 120)
	p.name("reason", c.Reason, 500)
	if err := p.invalid(); err != nil {
		return nil, err
	}
	b, err := s.knownBatch(c.BatchID)
	if err != nil {
		return nil, err
	}
	if b.State != Quarantined {
		return nil, fault.New(fault.Stale, "NOT_QUARANTINED", "Batch %s is not quarantined.", b.ID)
	}
	return []Event{QuarantineLifted(c)}, nil
}
