package routing

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

// attempts is how many plans a search tries at most. It bounds the search so
// that the same morning gives the same plan on any machine that is not
// stopped first.
const attempts = 1000

// quiet is after how many attempts without a better plan a search ends whose
// plan brings everything with the least number of runs.
const quiet = 250

// cost is what is compared between plans: the lower, the better.
type cost struct {
	unservedG      int64
	unservedPieces int
	runs           int
	metres         int
	waiting        int
}

func (c cost) compare(o cost) int {
	return cmp.Or(
		cmp.Compare(c.unservedG, o.unservedG), cmp.Compare(c.unservedPieces, o.unservedPieces),
		cmp.Compare(c.runs, o.runs), cmp.Compare(c.metres, o.metres), cmp.Compare(c.waiting, o.waiting))
}

func costOf(p *plan) cost {
	c := cost{unservedG: p.lateG, unservedPieces: p.latePieces, runs: len(p.runs)}
	for i := range p.runs {
		c.metres += p.runs[i].metres
		c.waiting += p.runs[i].waiting
	}
	return c
}

// search looks for better plans by making plans from changed turns.
type search struct {
	world  *world
	random *rand.Rand
	// turns of the best plan so far, never more than most.
	turns []turn
	most  int
	best  plan
	cost  cost
	// least is the bound on the runs of the best plan; since counts the
	// attempts after it.
	least, since int
}

// newSearch makes the first plan.
func newSearch(w *world) *search {
	s := &search{world: w, random: rand.New(rand.NewPCG(w.problem.Seed, 2)), turns: w.firstTurns()}
	s.most = 2*len(s.turns) + 4
	s.keep(s.turns, w.construct(s.turns))
	return s
}

func (s *search) keep(turns []turn, p plan) {
	if c := costOf(&p); s.since == 0 || c.compare(s.cost) < 0 {
		s.since = 0
		s.least, _ = s.world.boundAndReason(&p)
	}
	s.turns, s.best, s.cost = turns, p, costOf(&p)
}

// improve makes so many more attempts, fewer when it is stopped or done.
func (s *search) improve(attempts int, stop func() bool) {
	if len(s.turns) == 0 {
		return
	}
	for range attempts {
		if stop != nil && stop() {
			return
		}
		if s.since > quiet && s.cost.runs <= s.least && s.cost.unservedPieces == 0 {
			return
		}
		s.since++
		turns := change(s.turns, s.most, s.random)
		p := s.world.construct(turns)
		if c := costOf(&p); c.compare(s.cost) <= 0 {
			s.keep(turns, p)
		}
	}
}

// firstTurns gives each chain a turn for each run it needs, urgent chains
// first in each round.
func (w *world) firstTurns() []turn {
	var turns []turn
	chains := w.urgent()
	for round := 0; ; round++ {
		any := false
		for _, c := range chains {
			if w.runsFrom(c, 0) > round {
				turns = append(turns, turn{chain: c})
				any = true
			}
		}
		if !any {
			return turns
		}
	}
}

// change returns the turns with one to three of them moved, exchanged or done
// in another way, or added; never more than most.
func change(turns []turn, most int, random *rand.Rand) []turn {
	out := slices.Clone(turns)
	for range 1 + random.IntN(3) {
		i, j := random.IntN(len(out)), random.IntN(len(out))
		switch random.IntN(5) {
		case 0:
			out[i], out[j] = out[j], out[i]
		case 1:
			moved := out[i]
			out = slices.Insert(slices.Delete(out, i, i+1), j, moved)
		case 2:
			out[i].taste = taste(random.IntN(int(tastes)))
		case 3:
			out[i].alone = !out[i].alone
		default:
			out = slices.Insert(out, i, turn{chain: out[j].chain})
			out = out[:min(len(out), most)]
		}
	}
	return out
}
