package show

import (
	"fmt"
	"io"
	"slices"
	"strings"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// Run prints one run: the sheet that goes with the truck.
func Run(w io.Writer, run *dispatcheventv1.Run, y Yard) {
	fmt.Fprintf(w, "RUN %s: %s, trip %d\n", run.GetRunId(), y.truck(run.GetTruckId()), run.GetTrip())
	times(w, run, y)
	weights(w, run, y)
	fmt.Fprintln(w, "  Piles from the front of the deck to the tail, each from top to bottom; sizes in mm:")
	for _, pile := range run.GetPiles() {
		printPile(w, pile, run, y)
	}
	fmt.Fprintln(w, "  Picks in loading order, piece=mark:")
	picks(w, "  ", run.GetPicks())
	asideMoves(w, "  ", run.GetMoves())
}

func times(w io.Writer, run *dispatcheventv1.Run, y Yard) {
	fmt.Fprintf(w, "  Load from %s, leave %s, back %s; %s km in all.\n", Clock(run.GetLoadingMinute()), Clock(run.GetLeaveMinute()),
		Clock(run.GetBackMinute()), metres(int64(run.GetDistanceM())))
	for _, d := range run.GetDrops() {
		line := fmt.Sprintf("Drop %d at %s: arrive %s, unload from %s, leave %s; for %s", d.GetNumber(), y.site(d.GetSiteId()),
			Clock(d.GetArriveMinute()), Clock(d.GetUnloadMinute()), Clock(d.GetLeaveMinute()), strings.Join(d.GetCallOffIds(), ", "))
		if contact := y.Sites[d.GetSiteId()].GetContact(); contact != "" {
			line += "; ask for " + contact
		}
		paragraph(w, "  ", "    ", line+".")
	}
}

func weights(w io.Writer, run *dispatcheventv1.Run, y Yard) {
	truck := y.Trucks[run.GetTruckId()]
	fmt.Fprintf(w, "  Mass %s kg of %d kg payload.\n", wholeKg(run.GetMassG()), truck.GetPayloadKg())
	t := newTable("axle loads", "front kg#", "limit kg#", "rear kg#", "limit kg#", "gross kg#", "limit kg#")
	t.indent = "  "
	for _, a := range run.GetAxleLoads() {
		when := "at departure"
		if a.GetAfterDrop() > 0 {
			when = fmt.Sprintf("after drop %d", a.GetAfterDrop())
		}
		t.add(when, a.GetFrontKg(), truck.GetMaxFrontKg(), a.GetRearKg(), truck.GetMaxRearKg(), a.GetFrontKg()+a.GetRearKg(), truck.GetMaxGrossKg())
	}
	t.write(w)
}

func printPile(w io.Writer, p *dispatcheventv1.Pile, run *dispatcheventv1.Run, y Yard) {
	drop := ""
	if len(run.GetDrops()) > 1 {
		drop = fmt.Sprintf(", drop %d", p.GetDropNumber())
	}
	head := fmt.Sprintf("Pile %d, lane %d: %d to %d, %d wide, %d high, %s kg%s", p.GetNumber(), p.GetLane(),
		p.GetFromMm(), p.GetFromMm()+p.GetLengthMm(), p.GetWidthMm(), p.GetHeightMm(), wholeKg(p.GetMassG()), drop)
	if tiers := p.GetTiers(); len(tiers) == 1 && len(tiers[0].GetItems()) == 1 && tiers[0].GetItems()[0].GetBeam() == nil {
		paragraph(w, "  ", "    ", head+": "+what(tiers[0].GetItems(), run.GetRunId()))
		return
	}
	fmt.Fprintln(w, "  "+head)
	t := newTable("tier#", "pieces#", "length mm#", "what")
	t.indent = "    "
	for i, tier := range slices.Backward(p.GetTiers()) {
		for j, part := range sameLength(tier.GetItems()) {
			number := ""
			if j == 0 {
				number = fmt.Sprint(i + 1)
			}
			t.add(number, len(part), lengthOf(part[0]), what(part, run.GetRunId()))
		}
	}
	t.write(w)
}

// sameLength splits a tier into stretches of beams of one length, or pallets.
func sameLength(items []*dispatcheventv1.Item) [][]*dispatcheventv1.Item {
	var parts [][]*dispatcheventv1.Item
	for i, item := range items {
		if i > 0 && lengthOf(item) == lengthOf(items[i-1]) {
			parts[len(parts)-1] = append(parts[len(parts)-1], item)
			continue
		}
		parts = append(parts, []*dispatcheventv1.Item{item})
	}
	return parts
}

func lengthOf(item *dispatcheventv1.Item) string {
	if item.GetBeam() == nil {
		return "-"
	}
	return fmt.Sprint(item.GetBeam().GetLengthMm())
}

// what names beams by their marks and pallets by what their ids add to the
// id of the run.
func what(items []*dispatcheventv1.Item, run string) string {
	var words []string
	for _, item := range items {
		if item.GetBeam() != nil {
			words = append(words, item.GetMark())
			continue
		}
		words = append(words, fmt.Sprintf("pallet %s, %d %s, room %s-%s", shortID(item.GetPieceId(), run), item.GetBlockCount(), item.GetBlockKind(),
			item.GetFloor(), item.GetRoom()))
	}
	return strings.Join(words, " ")
}

// Runs prints the confirmed runs of a day as they stand now.
func Runs(w io.Writer, runs []*dispatchv1.RunStatus, y Yard) {
	if len(runs) == 0 {
		note(w, "No confirmed runs on this day.")
		return
	}
	t := newTable("run", "truck", "trip#", "state", "load h:mm#", "leave h:mm#", "back h:mm#", "mass kg#", "drops")
	for _, r := range runs {
		var drops []string
		for _, d := range r.GetRun().GetDrops() {
			text := fmt.Sprintf("%d %s %s", d.GetNumber(), d.GetSiteId(), Clock(d.GetArriveMinute()))
			if slices.Contains(r.GetDeliveredDrops(), d.GetNumber()) {
				text += " delivered"
			}
			drops = append(drops, text)
		}
		run := r.GetRun()
		t.add(run.GetRunId(), y.truck(run.GetTruckId()), run.GetTrip(), word(r.GetState().String(), "RUN_STATE_"), Clock(run.GetLoadingMinute()),
			Clock(run.GetLeaveMinute()), Clock(run.GetBackMinute()), wholeKg(run.GetMassG()), strings.Join(drops, ", "))
	}
	t.write(w)
	for _, r := range runs {
		hitsOf(w, r, y)
	}
}
