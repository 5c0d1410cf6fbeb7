package papers

import (
	"fmt"
	"slices"
	"strings"

	"spanyard.example/services/dispatch/internal/daybook"
)

// kg turns grams into kilograms.
func kg(g int64) float64 { return float64(g) / 1000 }

// minute is a time of the day as people say it; past midnight it goes on.
func minute(m int) string { return fmt.Sprintf("%d:%02d", m/60, m%60) }

func (r Run) siteName(id string) string {
	if name := r.Sites[id].Name; name != "" {
		return fmt.Sprintf("%s (%s)", name, id)
	}
	return id
}

// short names a pallet by what its id adds to that of the run.
func (r Run) short(id string) string { return strings.TrimPrefix(id, r.ID+"-") }

func items(pile daybook.Pile) []daybook.Item {
	var out []daybook.Item
	for _, tier := range pile.Tiers {
		out = append(out, tier...)
	}
	return out
}

func pieces(pile daybook.Pile) int { return len(items(pile)) }

func (r Run) pilesOf(drop int) []daybook.Pile {
	return slices.DeleteFunc(slices.Clone(r.Piles), func(p daybook.Pile) bool { return p.DropNumber != drop })
}

// alike splits a tier into stretches of beams of one length, or of pallets.
func alike(tier []daybook.Item) [][]daybook.Item {
	var parts [][]daybook.Item
	for i, item := range tier {
		if i > 0 && item.Beam.LengthMM == tier[i-1].Beam.LengthMM {
			parts[len(parts)-1] = append(parts[len(parts)-1], item)
			continue
		}
		parts = append(parts, []daybook.Item{item})
	}
	return parts
}

func count(part []daybook.Item) string {
	if part[0].IsPallet() {
		return "-"
	}
	return fmt.Sprint(len(part))
}

func lengthMM(item daybook.Item) string {
	if item.IsPallet() {
		return "-"
	}
	return fmt.Sprint(item.Beam.LengthMM)
}

// names says what a stretch of a tier is: marks, or pallets.
func (r Run) names(part []daybook.Item) string {
	words := make([]string, 0, len(part))
	for _, item := range part {
		if item.IsPallet() {
			words = append(words, fmt.Sprintf("pallet %s: %d blocks %s, room %s-%s", r.short(item.PieceID), item.BlockCount, item.BlockKind, item.FloorKey.Floor, item.Room))
			continue
		}
		words = append(words, item.Mark)
	}
	return strings.Join(words, "  ")
}

// summary says what a pile holds without naming each piece.
func summary(pile daybook.Pile) string {
	var words []string
	for _, item := range items(pile) {
		what := fmt.Sprintf("beams of %d mm", item.Beam.LengthMM)
		if item.IsPallet() {
			what = fmt.Sprintf("pallet of %d blocks %s", item.BlockCount, item.BlockKind)
		}
		if !slices.Contains(words, what) {
			words = append(words, what)
		}
	}
	return strings.Join(words, ", ")
}

// access says what a driver must know of the way in.
func access(s daybook.Site) []string {
	var lines []string
	if s.MaxGrossKG > 0 {
		lines = append(lines, fmt.Sprintf("The way in takes at most %d kg gross.", s.MaxGrossKG))
	}
	if s.MaxVehicleLengthMM > 0 {
		lines = append(lines, fmt.Sprintf("The way in takes vehicles of at most %.1f m.", float64(s.MaxVehicleLengthMM)/1000))
	}
	if s.HasLifting {
		return append(lines, "The site has a crane or a forklift.")
	}
	return append(lines, "The site has no lifting gear: the truck's own crane unloads.")
}

// fromStack is what a pick list takes from one stack.
type fromStack struct {
	stack   string
	batches []string
	pieces  int
	massG   int64
}

// stacks sums the picks up by stack, in the order in which they are come to.
func (r Run) stacks() []fromStack {
	var out []fromStack
	for _, pick := range r.Picks {
		at := slices.IndexFunc(out, func(s fromStack) bool { return s.stack == pick.StackID })
		if at < 0 {
			at = len(out)
			out = append(out, fromStack{stack: pick.StackID})
		}
		out[at].pieces++
		out[at].massG += pick.MassG
		if !slices.Contains(out[at].batches, pick.BatchID) {
			out[at].batches = append(out[at].batches, pick.BatchID)
		}
	}
	return out
}

// pilesInLoadingOrder names the piles as the picks come to them.
func (r Run) pilesInLoadingOrder() []string {
	var out []string
	for _, pick := range r.Picks {
		name := fmt.Sprintf("pile %d", pick.PileNumber)
		if !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// aside says how far from the middle of the deck, across, the middle of the mass
// lies at departure.
func (r Run) aside() string {
	var moment, sum int64
	for _, p := range r.Piles {
		moment += p.MassG * int64(2*p.LeftMM+p.WidthMM-r.Truck.DeckWidthMM)
		sum += p.MassG
	}
	mm := moment / max(1, 2*sum)
	const where = "Seen across the deck, the middle of the mass lies %s at departure. Who loads and who drives judge whether that will do."
	switch {
	case mm <= -10:
		return fmt.Sprintf(where, fmt.Sprintf("%d cm left of the middle", -mm/10))
	case mm >= 10:
		return fmt.Sprintf(where, fmt.Sprintf("%d cm right of the middle", mm/10))
	default:
		return fmt.Sprintf(where, "in the middle")
	}
}
