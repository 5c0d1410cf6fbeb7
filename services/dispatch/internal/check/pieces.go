package check

import (
	"sort"

	"spanyard.example/services/dispatch/internal/morning"
)

// piecesExistOnce checks that every beam is a free one of the yard, that no
// piece is used twice, and that no batch gives more blocks than it has.
func (c *checker) piecesExistOnce() {
	used := map[string]bool{}
	type lot struct{ batch, kind string }
	blocks := map[lot]int{}
	for _, r := range c.plan.Runs {
		for _, item := range items(r) {
			if used[item.PieceID] || item.PieceID == "" {
				c.add("piece_twice", "piece %q is used twice", item.PieceID)
			}
			used[item.PieceID] = true
			if item.Pallet() {
				blocks[lot{item.BatchID, item.BlockKind}] += item.BlockCount
				c.palletMass(item)
				continue
			}
			found := false
			for _, f := range c.problem.Stock.Beams {
				if f.PieceID == item.PieceID {
					found = true
					if f.Product != item.Beam || f.MassG != item.MassG || f.BatchID != item.BatchID {
						c.add("piece_data", "piece %s is not what the plan says it is", item.PieceID)
					}
					if f.KeptFor != "" && f.KeptFor != item.JobID {
						c.add("piece_kept", "piece %s is made for job %s and goes to job %s", item.PieceID, f.KeptFor, item.JobID)
					}
				}
			}
			if !found {
				c.add("piece_free", "piece %s is not free in the yard", item.PieceID)
			}
		}
	}
	for l, n := range blocks {
		free := 0
		for _, b := range c.problem.Stock.Blocks {
			if b.BatchID == l.batch && b.Kind == l.kind {
				free += b.Count
			}
		}
		if n > free {
			c.add("blocks_free", "batch %s gives %d blocks %s and has %d free", l.batch, n, l.kind, free)
		}
	}
}

func (c *checker) palletMass(item morning.Item) {
	for _, k := range c.problem.BlockKinds {
		for _, b := range c.problem.Stock.Blocks {
			if k.Name == item.BlockKind && b.Kind == k.Name && b.BatchID == item.BatchID &&
				int64(item.BlockCount)*b.MassGEach+k.PalletTareG == item.MassG {
				return
			}
		}
	}
	c.add("piece_data", "pallet %s does not weigh what %d blocks %s of batch %s on it weigh", item.PieceID, item.BlockCount, item.BlockKind, item.BatchID)
}

// picks checks that a run's picks are its pieces, each pile from the bottom
// up and the last drop's piles first.
func (c *checker) picks(t trip) {
	type spot struct {
		piece      string
		pile, tier int
	}
	want := map[spot]morning.Item{}
	drop := map[int]int{}
	for _, p := range t.run.Piles {
		drop[p.Number] = p.DropNumber
		for i, tier := range p.Tiers {
			for _, item := range tier.Items {
				want[spot{item.PieceID, p.Number, i + 1}] = item
			}
		}
	}
	if len(t.run.Picks) != len(items(t.run)) {
		c.add("picks", "%s has %d picks for %d pieces", t.name, len(t.run.Picks), len(items(t.run)))
	}
	reached := map[int]int{}
	for i, pick := range t.run.Picks {
		key := spot{pick.PieceID, pick.PileNumber, pick.PileTier}
		item, ok := want[key]
		delete(want, key)
		same := ok && item.BatchID == pick.BatchID && item.Mark == pick.Mark && item.Beam == pick.Beam &&
			item.BlockKind == pick.BlockKind && item.BlockCount == pick.BlockCount && item.MassG == pick.MassG
		if !same || pick.Number != i+1 {
			c.add("picks", "%s: pick %d (%s) is not a piece of its load as it stands there", t.name, i+1, pick.PieceID)
		}
		// Where stock planned the picks, it knows more of the stacks than the
		// problem says, and what was moved there meanwhile.
		if !c.plan.ByStock && !c.inStack(pick) {
			c.add("pick_stack", "%s: pick %d (%s) is not in stack %s", t.name, i+1, pick.PieceID, pick.StackID)
		}
		if pick.PileTier < reached[pick.PileNumber] {
			c.add("pick_order", "%s: pick %d goes under pieces that are loaded before it", t.name, i+1)
		}
		reached[pick.PileNumber] = pick.PileTier
		if i > 0 && drop[pick.PileNumber] > drop[t.run.Picks[i-1].PileNumber] {
			c.add("pick_order", "%s: pick %d is for a later drop than pick %d", t.name, i+1, i)
		}
	}
}

func (c *checker) inStack(pick morning.Pick) bool {
	if pick.BlockKind != "" {
		for _, b := range c.problem.Stock.Blocks {
			if b.BatchID == pick.BatchID && b.Kind == pick.BlockKind && b.StackID == pick.StackID {
				return true
			}
		}
		return false
	}
	for _, f := range c.problem.Stock.Beams {
		if f.PieceID == pick.PieceID {
			return f.StackID == pick.StackID && f.Tier == pick.StackTier
		}
	}
	return false
}

// plannedMoves checks that every move belongs to a pick of its run.
func (c *checker) plannedMoves() {
	moves := 0
	for _, r := range c.plan.Runs {
		for _, m := range r.Moves {
			moves++
			if m.BeforePick < 1 || m.BeforePick > len(r.Picks) || m.PieceID == "" || m.FromID == "" || m.ToID == "" {
				c.add("moved_aside", "run of truck %s moves piece %q from %q to %q before pick %d, which it does not have", r.TruckID, m.PieceID, m.FromID, m.ToID, m.BeforePick)
			}
		}
	}
	if moves != c.plan.MovedAside || c.plan.MovedAsideBound > moves {
		c.add("moved_aside", "the plan says that %d pieces are moved aside, at least %d; its runs move %d", c.plan.MovedAside, c.plan.MovedAsideBound, moves)
	}
}

// movedAside picks everything again, run by run as the trucks are loaded, and
// counts each piece that has to be lifted aside once.
func (c *checker) movedAside() {
	if c.plan.ByStock {
		c.plannedMoves()
		return
	}
	runs := append([]morning.Run(nil), c.plan.Runs...)
	sort.SliceStable(runs, func(a, b int) bool { return runs[a].LoadingMinute < runs[b].LoadingMinute })
	off := map[string]bool{}
	strangers := map[string]int{}
	moved := 0
	for _, r := range runs {
		for _, pick := range r.Picks {
			if pick.BlockKind != "" {
				continue
			}
			if !off[pick.PieceID] {
				above, free := 0, 0
				for _, f := range c.problem.Stock.Beams {
					if f.PieceID == pick.PieceID {
						above = f.Above
					}
					if f.StackID == pick.StackID && f.Tier > pick.StackTier {
						free++
						if !off[f.PieceID] {
							off[f.PieceID] = true
							moved++
						}
					}
				}
				if others := above - free; others > strangers[pick.StackID] {
					moved += others - strangers[pick.StackID]
					strangers[pick.StackID] = others
				}
			}
			off[pick.PieceID] = true
		}
	}
	if moved != c.plan.MovedAside {
		c.add("moved_aside", "the plan says that %d pieces are lifted aside; it takes %d", c.plan.MovedAside, moved)
	}
}
