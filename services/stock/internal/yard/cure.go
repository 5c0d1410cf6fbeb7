package yard

import (
	"fmt"
	"reflect"

	"spanyard.example/services/kit/fault"
)

// RecordCure records what a batch of beams was made with and how warm it cured.
// It takes the place of what was recorded before.
type RecordCure struct {
	BatchID string
	Cure    Cure
}

func (c RecordCure) decide(s State) ([]Event, error) {
	b, err := s.knownBatch(c.BatchID)
	if err != nil {
		return nil, err
	}
	if b.Kind != Beams {
		return nil, fault.New(fault.Stale, "NO_CURE", "Batch %s is blocks; the cure of beams is recorded.", b.ID)
	}
	var p problems
	if c.Cure.Cement != "R" && c.Cure.Cement != "N" && c.Cure.Cement != "S" {
		p.add("cement", c.Cure.Cement, "is no strength class of cement", "R, N or S (EN 1992-1-1 3.1.2(6))")
	}
	p.within("cure", int64(len(c.Cure.Spells)), 0, 1000)
	for i, x := range c.Cure.Spells {
		if !(x.Celsius >= 0 && x.Celsius <= 80) {
			p.add(fmt.Sprintf("cure[%d].celsius", i), fmt.Sprint(x.Celsius), "is no temperature that the formula holds for", "0 to 80")
		}
		if !(x.Days > 0 && x.Days <= 365) {
			p.add(fmt.Sprintf("cure[%d].days", i), fmt.Sprint(x.Days), "is no time", "above 0, at most 365")
		}
	}
	if err := p.invalid(); err != nil {
		return nil, err
	}
	if b.Cure != nil && reflect.DeepEqual(*b.Cure, c.Cure) {
		return nil, nil
	}
	return []Event{CureRecorded(c)}, nil
}
