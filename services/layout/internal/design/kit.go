package design

// WidthMM is the greatest width of a profile, 0 when it has no outline.
func (c Catalogue) WidthMM(profile string) float64 {
	p, ok := c.profile(profile)
	if !ok || len(p.Outline) == 0 {
		return 0
	}
	return widthMM(p.Outline)
}
