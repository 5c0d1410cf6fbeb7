package runbound

// visits is how many runs go to a site at least: each brings as much as any
// kind of truck could. A part of what a truck can bring is something it can
// bring, so that the longest stretches, one after the other, are the fewest.
func (x *pricer) visits(site int) int {
	n := 0
	for from := 0; from < len(x.p.Sites[site].Units); n++ {
		to := x.farthest(site, from)
		if to == from {
			return n
		}
		from = to
	}
	return n
}

// farthest is the end of the longest stretch from a unit on that any kind of truck
// could bring; the unit itself if none brings any.
func (x *pricer) farthest(site, from int) int {
	to := from
	for kind := range x.p.Trucks {
		for i := range x.all[kind][site] {
			if s := &x.all[kind][site][i]; s.from == from {
				to = max(to, s.to)
			}
		}
	}
	return to
}
