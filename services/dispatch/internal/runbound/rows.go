package runbound

// rows are the groups of pieces that have a weight, and the visits.
type rows struct {
	// grain is how many groups at least a full load consists of.
	grain int64
	// of each unit of each site, and how many units each of these rows has.
	of   [][]int
	size []int
	// visits to each site at least; their rows follow those of the units.
	visits []int
}

const (
	// coarse rows are few, so that their best weights are soon found; fine ones
	// prove a little more.
	coarse, fine = 5, 20
	// mostRows of units is how many fine ones there may be.
	mostRows = 400
)

// newRows groups the units, by the greatest load that may come to their site.
func (s *Proof) newRows(grain int64) rows {
	r := rows{grain: grain}
	for i := range s.p.Sites {
		var most int64
		for kind := range s.p.Trucks {
			most = max(most, min(s.p.Trucks[kind].CapacityG, s.p.Sites[i].MostG[kind]))
		}
		r.group(s.p.Sites[i].Units, most/grain)
		r.visits = append(r.visits, s.pricer.visits(i))
	}
	return r
}

// group puts units of a site that follow each other into rows of equal weight:
// pallets that may change places, and beams up to a mass.
func (r *rows) group(units []Unit, mostG int64) {
	var of []int
	var sum int64
	for i := 0; i < len(units); {
		end := groupEnd(units, i)
		var mass int64
		for k := i; k < end; k++ {
			mass += units[k].MassG
		}
		if i == 0 || units[i].Pallet || units[i-1].Pallet || sum+mass > mostG {
			r.size = append(r.size, 0)
			sum = 0
		}
		sum += mass
		for ; i < end; i++ {
			of = append(of, len(r.size)-1)
			r.size[len(r.size)-1]++
		}
	}
	r.of = append(r.of, of)
}

// newMaster knows no runs yet.
func (s *Proof) newMaster() *master {
	covers := make([]float64, len(s.rows.size))
	for i := range covers {
		covers[i] = 1
	}
	for _, n := range s.rows.visits {
		covers = append(covers, float64(n))
	}
	var minutes []float64
	for i := range s.p.Trucks {
		minutes = append(minutes, float64(s.p.Trucks[i].FreeMinutes))
	}
	return newMaster(covers, minutes)
}

// firstWeights are those by length of lane: of the longest stretches that some truck
// can bring, one after the other, each unit weighs as much of the deck as it adds to
// those before it. No stretch within one of them carries more than its own piles.
func (s *Proof) firstWeights() []float64 {
	weights := make([]float64, s.master.rows)
	var m measure
	kind := 0
	for k := range s.p.Trucks {
		if by := newMeasure(&s.pricer.decks[k], 0, 0); by.whole > m.whole {
			kind, m = k, by
		}
	}
	for site := range s.p.Sites {
		units := s.p.Sites[site].Units
		for from := 0; from < len(units); {
			to := s.pricer.farthest(site, from)
			piles := pileCount{p: s.p, truck: &s.p.Trucks[kind], deck: &s.pricer.decks[kind]}
			var before int64
			for u := from; u < max(to, from+1); u++ {
				piles.add(&units[u])
				least := piles.least()
				now := m.of(&least)
				weights[s.rows.of[site][u]] += float64(now-before) / float64(m.whole)
				before = now
			}
			from = max(to, from+1)
		}
	}
	return weights
}
