package daybook

import (
	"cmp"
	"maps"
	"slices"

	"spanyard.example/services/kit/civil"
)

// Need is a product that a job has called off and has not got: beams of a
// product, or blocks of a kind.
type Need struct {
	JobID      string
	Beam       Product
	BlockKind  string
	Count      int
	CallOffIDs []string
}

// Needs returns what is called off from one day to another and is not on a
// confirmed run, by job and product; and the call-offs of which nothing can be
// said, because their floor has no approved plan.
func (s State) Needs(from, to civil.Day) (needs []Need, unknown []string) {
	type key struct {
		job   string
		beam  Product
		block string
	}
	sums := map[key]*Need{}
	add := func(k key, n int, callOff string) {
		if n == 0 {
			return
		}
		sum := sums[k]
		if sum == nil {
			sum = &Need{JobID: k.job, Beam: k.beam, BlockKind: k.block}
			sums[k] = sum
		}
		sum.Count += n
		if !slices.Contains(sum.CallOffIDs, callOff) {
			sum.CallOffIDs = append(sum.CallOffIDs, callOff)
		}
	}
	for day := from; day <= to; day++ {
		for _, w := range s.Outstanding(day.String()) {
			if w.Floor == nil {
				unknown = append(unknown, w.CallOff.ID)
			}
			for _, r := range w.Rooms {
				add(key{job: w.CallOff.JobID, block: r.BlockKind}, r.BlockCount, w.CallOff.ID)
				for _, b := range r.Beams {
					add(key{job: w.CallOff.JobID, beam: b.Product}, 1, w.CallOff.ID)
				}
			}
		}
	}
	for n := range maps.Values(sums) {
		needs = append(needs, *n)
	}
	slices.SortFunc(needs, func(a, b Need) int {
		return cmp.Or(cmp.Compare(a.JobID, b.JobID), cmp.Compare(a.BlockKind, b.BlockKind), cmp.Compare(a.Beam.Profile, b.Beam.Profile),
			cmp.Compare(a.Beam.WirePattern, b.Beam.WirePattern), cmp.Compare(a.Beam.LengthMM, b.Beam.LengthMM))
	})
	return needs, unknown
}
