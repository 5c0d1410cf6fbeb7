package design

import (
	"fmt"
	"math"

	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/strength"
)

// tryMM is a clear span that every beam can be computed over.
const tryMM = 1500

// Try validates a catalogue and computes a short beam of every profile and
// wire pattern. It reports the first number with which that cannot be done;
// whether a beam carries much is not asked.
func (c Catalogue) Try() error {
	d, err := New(c)
	if err != nil {
		return err
	}
	room := Room{Loads: Loads{Category: "A"}}
	for _, k := range c.kits(room) {
		for i, w := range k.Patterns {
			m := arrange.Member{Pattern: i, PerRow: 1, ClearMM: math.Max(tryMM, c.Rules.ShortestMM), BearingMM: c.Rules.BearingMM, TributaryMM: k.PitchMM}
			if _, _, err := strength.Judge(d.beam(room, k, m)); err != nil {
				return fmt.Errorf("no beam of profile %s with wire pattern %s can be computed: %w", k.Profile, w.Name, err)
			}
		}
	}
	return nil
}

// WidthMM is the greatest width of a profile, 0 when it has no outline.
func (c Catalogue) WidthMM(profile string) float64 {
	p, ok := c.profile(profile)
	if !ok || len(p.Outline) == 0 {
		return 0
	}
	return widthMM(p.Outline)
}
