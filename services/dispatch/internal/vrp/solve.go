package vrp

import (
	"math/rand/v2"
	"slices"

	"spanyard.example/services/dispatch/internal/lns"
)

// Settings of the search, tried on the public sets; heat and price are in legs of
// mean length.
const (
	// The wide wave, in which plans may leave customers out, takes a part of the
	// time, and the narrow one, of whole plans only, the rest.
	wideShare             = 0.75
	wideHot, wideCold     = 20, 0.03
	narrowHot, narrowCold = 1, 0.03
	firstPrice            = 20
	// forbidding is a price that no way outweighs.
	forbidding = 1e12
	// fleetShare is how much of a search goes into getting rid of vehicles at
	// most, coldest the heat at its end.
	fleetShare = 0.4
	coldest    = 0.003
	// glances is how many attempts are made between two looks at the clock.
	glances = 16
)

// Solve plans tours within a budget. It returns the best that it found, which
// leaves customers absent only when it found no tours for all of them.
func Solve(p Problem, b Budget) (Solution, error) {
	if err := p.check(); err != nil {
		return Solution{}, err
	}
	m := newModel(&p)
	random := rand.New(rand.NewPCG(b.Seed, 17))
	first := m.copyOf(m.first())
	m.recreate(first, random)
	clock := &clock{budget: b}
	if p.FewestVehicles {
		first = m.fewerVehicles(first, random, clock)
	}
	leg := max(first.distance(), 1) / float64(m.places)
	began := clock.look()
	turn := began + wideShare*(1-began)
	s := lns.New[*plan](m, first, random)
	m.price = firstPrice * leg
	s.Anneal(lns.Wave{Hot: wideHot * leg, Cold: wideCold * leg}, clock.between(began, turn))
	m.price = forbidding
	s.Anneal(lns.Wave{Hot: narrowHot * leg, Cold: narrowCold * leg}, clock.between(turn, 1))
	return m.solution(s.Best(), clock.attempts), nil
}

// clock says how much of a budget is spent.
type clock struct {
	budget   Budget
	attempts int
	seen     float64
}

// spent looks at the clock every few attempts.
func (c *clock) spent() float64 {
	if c.attempts%glances == 0 {
		return c.look()
	}
	return c.seen
}

// between counts attempts, and says how much of a part of the budget is spent.
func (c *clock) between(from, to float64) func() float64 {
	return func() float64 {
		c.attempts++
		return (c.spent() - from) / max(1e-9, to-from)
	}
}

func (c *clock) look() float64 {
	c.seen = 0
	if c.budget.Iterations > 0 {
		c.seen = float64(c.attempts) / float64(c.budget.Iterations)
	}
	if c.budget.Spent != nil {
		c.seen = max(c.seen, c.budget.Spent())
	}
	return c.seen
}

func (m *model) solution(p *plan, attempts int) Solution {
	out := Solution{Absent: slices.Clone(p.absent), Iterations: attempts}
	for _, v := range p.vehicles {
		if v.customers > 0 {
			out.Tours = append(out.Tours, v.tour())
			out.Distance += v.distance
		}
	}
	slices.Sort(out.Absent)
	return out
}
