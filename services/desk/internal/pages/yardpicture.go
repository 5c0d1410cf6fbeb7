package pages

import (
	"slices"
	"strings"
)

// ground is stacks as they stand when the steps so far are done, each with its
// pieces from the bottom. perTier lie side by side.
type ground struct {
	perTier int
	stacks  map[string][]string
	// batches of the pieces: the short number of a piece leaves its batch out.
	batches map[string]string
}

func (g *ground) take(stackID, pieceID string) {
	g.stacks[stackID] = slices.DeleteFunc(slices.Clone(g.stacks[stackID]), func(id string) bool { return id == pieceID })
}

func (g *ground) put(stackID, pieceID string) {
	g.stacks[stackID] = append(slices.Clone(g.stacks[stackID]), pieceID)
}

// short number of a piece, as it is painted at its head.
func (g *ground) short(pieceID string) string {
	return strings.TrimPrefix(pieceID, g.batches[pieceID]+"-")
}

// Sizes of the picture of a stack, in its own units: a beam seen from its end
// and the bearer under it.
const (
	beamWide, tierHigh, labelWide, headHigh = 46, 36, 40, 30
)

// stackPicture is a stack seen from the heads of its beams.
type stackPicture struct {
	StackID string
	// Tiers, the top first.
	Tiers []tierPicture
	// Tier in which the marked pieces lie, and how many tiers there are.
	Tier, Of int
	// Above is how many beams lie in higher tiers.
	Above        int
	Width, Depth int
	// ArrowX is over the first marked beam, or -1. The arrow points up where it
	// is lifted, Down where it is laid.
	ArrowX int
	Down   bool
}

// tierPicture is beams side by side.
type tierPicture struct {
	Number, Y, Bearer int
	Beams             []beamPicture
	// Plain tiers are drawn as a whole: Row is the kind of all their beams, empty
	// for the tier that is looked at.
	Row string
}

// beamPicture is a beam seen from its end. Kind is take, beside, above, below, or held:
// marked, and must not be lifted.
type beamPicture struct {
	X           int
	Short, Kind string
}

// rowsOf are where the beams of whole tiers lie, for one, two, and so on to a
// full tier: a page has each once, and its pictures only name them.
func (g *ground) rowsOf() [][]int {
	rows := make([][]int, g.perTier)
	for n := range rows {
		for i := range n + 1 {
			rows[n] = append(rows[n], labelWide+i*beamWide)
		}
	}
	return rows
}

// picture of a stack with some of its pieces marked.
func (g *ground) picture(stackID string, marked ...string) *stackPicture {
	ids := g.stacks[stackID]
	p := &stackPicture{StackID: stackID, Of: (len(ids) + g.perTier - 1) / g.perTier, ArrowX: -1}
	p.Width, p.Depth = labelWide+g.perTier*beamWide+4, headHigh+p.Of*tierHigh+6
	for i, id := range ids {
		if tier := i/g.perTier + 1; slices.Contains(marked, id) && (p.Tier == 0 || tier < p.Tier) {
			p.Tier = tier
		}
	}
	for number := p.Of; number >= 1; number-- {
		t := tierPicture{Number: number, Y: headHigh + (p.Of-number)*tierHigh}
		for i, id := range ids[(number-1)*g.perTier : min(number*g.perTier, len(ids))] {
			b := beamPicture{X: labelWide + i*beamWide, Kind: "below"}
			switch {
			case slices.Contains(marked, id):
				b.Kind, b.Short = "take", g.short(id)
				if p.ArrowX < 0 {
					p.ArrowX = b.X + beamWide/2
				}
			case number == p.Tier:
				b.Kind, b.Short = "beside", g.short(id)
			case number > p.Tier:
				b.Kind = "above"
				p.Above++
			}
			t.Beams = append(t.Beams, b)
		}
		t.Bearer = len(t.Beams) * beamWide
		if number != p.Tier {
			t.Row = t.Beams[0].Kind
		}
		p.Tiers = append(p.Tiers, t)
	}
	return p
}

// hold shows what is marked as what must not be lifted.
func (p *stackPicture) hold() {
	p.ArrowX = -1
	for _, t := range p.Tiers {
		for i := range t.Beams {
			if t.Beams[i].Kind == "take" {
				t.Beams[i].Kind = "held"
			}
		}
	}
}
