package replan

import (
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/routing"
)

// Verdict is what a truck could do with a load, all other runs staying as they
// are: the run, or the limits that stand against it.
type Verdict struct {
	TruckID  string
	Refusals []string
	Run      morning.Run
}

// Verdicts tries a load on every truck but one beside fixed runs.
func Verdicts(p morning.Problem, fixed []morning.Run, load routing.Load, but string) []Verdict {
	p.Fixed = fixed
	var out []Verdict
	for _, t := range p.Trucks {
		if t.ID == but {
			continue
		}
		load.TruckID = t.ID
		v := Verdict{TruckID: t.ID}
		run, why := routing.Place(p, load)
		for _, r := range why {
			v.Refusals = append(v.Refusals, r.Sentence)
		}
		if len(why) == 0 {
			v.Run = run
		}
		out = append(out, v)
	}
	return out
}
