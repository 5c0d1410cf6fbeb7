package check

import "spanyard.example/services/dispatch/internal/morning"

// piles checks each pile by itself.
func (c *checker) piles(t trip) {
	for i, p := range t.run.Piles {
		if p.Number != i+1 {
			c.add("pile_number", "%s: pile %d has the number %d", t.name, i+1, p.Number)
		}
		if p.DropNumber < 1 || p.DropNumber > len(t.run.Drops) {
			c.add("pile_drop", "%s: pile %d is for drop %d, which the run does not make", t.name, p.Number, p.DropNumber)
		}
		var all []morning.Item
		var sum int64
		for _, tier := range p.Tiers {
			if len(tier.Items) == 0 {
				c.add("tiers", "%s: pile %d has an empty tier", t.name, p.Number)
			}
			all = append(all, tier.Items...)
		}
		pallets := 0
		for _, item := range all {
			sum += item.MassG
			if item.Pallet() {
				pallets++
			}
		}
		if sum != p.MassG {
			c.add("pile_mass", "%s: pile %d is said to weigh %d g and weighs %d g", t.name, p.Number, p.MassG, sum)
		}
		switch {
		case len(all) == 0:
			c.add("tiers", "%s: pile %d is empty", t.name, p.Number)
		case pallets == 0:
			c.beamPile(t, p, all)
		case len(all) > 1:
			c.add("pallet_alone", "%s: pile %d holds a pallet together with other pieces", t.name, p.Number)
		default:
			c.palletPile(t, p, all[0])
		}
		if p.HeightMM > c.problem.Rules.MaxPileHeightMM {
			c.add("pile_height", "%s: pile %d is %d mm high, more than %d mm", t.name, p.Number, p.HeightMM, c.problem.Rules.MaxPileHeightMM)
		}
	}
}

func (c *checker) palletPile(t trip, p morning.Pile, item morning.Item) {
	for _, k := range c.problem.BlockKinds {
		if k.Name != item.BlockKind {
			continue
		}
		along := p.LengthMM == k.PalletLengthMM && p.WidthMM == k.PalletWidthMM
		turned := p.LengthMM == k.PalletWidthMM && p.WidthMM == k.PalletLengthMM
		if !along && !turned || p.HeightMM != k.PalletHeightMM {
			c.add("pile_size", "%s: pallet %d is given a wrong size", t.name, p.Number)
		}
		if item.BlockCount < 1 || item.BlockCount > k.BlocksPerPallet {
			c.add("blocks_per_pallet", "%s: %d blocks %s are on pallet %s", t.name, item.BlockCount, k.Name, item.PieceID)
		}
		return
	}
	c.add("block_kind", "%s: there is no block kind %q", t.name, item.BlockKind)
}

func (c *checker) beamPile(t trip, p morning.Pile, all []morning.Item) {
	rules := c.problem.Rules
	var profile morning.Profile
	for _, f := range c.problem.Profiles {
		if f.Name == all[0].Beam.Profile {
			profile = f
		}
	}
	longest, shortest := 0, all[0].Beam.LengthMM
	for _, item := range all {
		longest = max(longest, item.Beam.LengthMM)
		shortest = min(shortest, item.Beam.LengthMM)
		if item.Beam.Profile != profile.Name {
			c.add("pile_profile", "%s: pile %d mixes profiles", t.name, p.Number)
		}
	}
	if len(p.Tiers) > rules.MaxTiers {
		c.add("max_tiers", "%s: pile %d has %d tiers, more than %d", t.name, p.Number, len(p.Tiers), rules.MaxTiers)
	}
	widest := 0
	for i, tier := range p.Tiers {
		widest = max(widest, len(tier.Items))
		if i > 0 && len(tier.Items) > len(p.Tiers[i-1].Items) {
			c.add("tier_width", "%s: tier %d of pile %d is wider than the tier below it", t.name, i+1, p.Number)
		}
	}
	if p.LengthMM != longest || p.WidthMM != widest*profile.WidthMM ||
		p.HeightMM != len(p.Tiers)*(profile.HeightMM+rules.BearerHeightMM) {
		c.add("pile_size", "%s: pile %d is given a wrong size", t.name, p.Number)
	}
	c.bearers(t, p, longest, shortest)
	c.neighbours(t, p)
	c.layingDown(t, p)
}

// bearers checks that two lines of bearers carry every beam of the pile, with
// no end hanging over by more than the yard allows or a fifth of the beam. It
// tries every distance between the lines.
func (c *checker) bearers(t trip, p morning.Pile, longest, shortest int) {
	for apart := 0; apart <= shortest; apart++ {
		good := true
		for _, length := range []int{longest, shortest} {
			// Twice the overhang at one end.
			over := length - apart
			if over > 2*c.problem.Rules.MaxOverhangMM || 5*over > 2*length {
				good = false
			}
		}
		if good {
			return
		}
	}
	c.add("bearers", "%s: no bearers carry both the %d mm and the %d mm beams of pile %d", t.name, longest, shortest, p.Number)
}

func (c *checker) neighbours(t trip, p morning.Pile) {
	for i := 1; i < len(p.Tiers); i++ {
		for _, upper := range p.Tiers[i].Items {
			for _, lower := range p.Tiers[i-1].Items {
				if difference := upper.Beam.LengthMM - lower.Beam.LengthMM; max(difference, -difference) > 2*c.problem.Rules.MaxOverhangMM {
					c.add("tier_lengths", "%s: in pile %d a beam of %d mm lies on one of %d mm",
						t.name, p.Number, upper.Beam.LengthMM, lower.Beam.LengthMM)
				}
			}
		}
	}
}

// layingDown checks that what is laid first lies on top.
func (c *checker) layingDown(t trip, p morning.Pile) {
	for i, tier := range p.Tiers {
		for _, below := range p.Tiers[:i] {
			for _, upper := range tier.Items {
				for _, lower := range below.Items {
					if upper.LayingNumber > lower.LayingNumber {
						c.add("pile_order", "%s: in pile %d %s lies on %s and is laid after it", t.name, p.Number, upper.Mark, lower.Mark)
					}
				}
			}
		}
	}
}

// deck checks where the piles stand.
func (c *checker) deck(t trip) {
	rules := c.problem.Rules
	for i, p := range t.run.Piles {
		if p.FromMM < 0 || p.FromMM+p.LengthMM > t.truck.DeckLengthMM+rules.MaxTailOverhangMM {
			c.add("deck_length", "%s: pile %d stands from %d to %d mm on a deck of %d mm",
				t.name, p.Number, p.FromMM, p.FromMM+p.LengthMM, t.truck.DeckLengthMM)
		}
		if p.LeftMM < 0 || p.LeftMM+p.WidthMM > t.truck.DeckWidthMM {
			c.add("deck_width", "%s: pile %d stands from %d to %d mm across a deck of %d mm",
				t.name, p.Number, p.LeftMM, p.LeftMM+p.WidthMM, t.truck.DeckWidthMM)
		}
		if p.Lane < 1 || p.Lane > rules.MaxLanes {
			c.add("lanes", "%s: pile %d stands in lane %d", t.name, p.Number, p.Lane)
		}
		if i > 0 && p.FromMM < t.run.Piles[i-1].FromMM {
			c.add("pile_number", "%s: pile %d stands before pile %d", t.name, p.Number, i)
		}
		beside := 1
		for j, q := range t.run.Piles {
			if i == j {
				continue
			}
			along := p.FromMM < q.FromMM+q.LengthMM+rules.PileGapMM && q.FromMM < p.FromMM+p.LengthMM+rules.PileGapMM
			across := p.LeftMM < q.LeftMM+q.WidthMM+rules.PileGapMM && q.LeftMM < p.LeftMM+p.WidthMM+rules.PileGapMM
			if along && across {
				c.add("overlap", "%s: piles %d and %d stand closer than %d mm", t.name, p.Number, q.Number, rules.PileGapMM)
			}
			if along && (p.Lane < q.Lane) != (p.LeftMM < q.LeftMM) {
				c.add("lanes", "%s: piles %d and %d stand side by side and their lanes do not say so", t.name, p.Number, q.Number)
			}
			// Piles that stand beside the front end of this one, or end less
			// than a gap before it.
			if q.FromMM <= p.FromMM && p.FromMM < q.FromMM+q.LengthMM+rules.PileGapMM {
				beside++
			}
		}
		if beside > rules.MaxLanes {
			c.add("lanes", "%s: %d piles stand side by side at pile %d", t.name, beside, p.Number)
		}
	}
}
