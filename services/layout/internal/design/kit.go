package design

import "spanyard.example/services/layout/internal/arrange"

// Kit returns the family of a profile and a block out of which a room is laid,
// with the wire patterns that the room's wishes leave; false when the
// catalogue has none.
func (c Catalogue) Kit(room Room, profile, block string) (arrange.Kit, bool) {
	for _, k := range c.kits(room) {
		if k.Profile == profile && k.Block == block {
			return k, true
		}
	}
	return arrange.Kit{}, false
}

// WidthMM is the greatest width of a profile, 0 when it has no outline.
func (c Catalogue) WidthMM(profile string) float64 {
	p, ok := c.profile(profile)
	if !ok || len(p.Outline) == 0 {
		return 0
	}
	return widthMM(p.Outline)
}
