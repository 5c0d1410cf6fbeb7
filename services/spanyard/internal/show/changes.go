package show

import (
	"fmt"
	"io"
	"slices"
	"strings"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// Edited prints what came of wishes for a plan.
func Edited(w io.Writer, before string, a *dispatchv1.EditMorningResponse) {
	if id := a.GetMorning().GetPlan().GetPlanId(); id != "" {
		fmt.Fprintf(w, "PLAN %s, MADE OUT OF %s\n", id, before)
	} else {
		fmt.Fprintf(w, "WHAT WOULD COME OF IT; %s STAYS AND NOTHING IS RECORDED\n", before)
	}
	if a.GetNote() != "" {
		paragraph(w, "", "", a.GetNote())
	}
	Changes(w, a.GetChanges())
}

// Compared heads the comparison of two plans.
func Compared(w io.Writer, before, after string) {
	fmt.Fprintf(w, "FROM %s TO %s\n", before, after)
}

// Changes prints how one plan differs from another.
func Changes(w io.Writer, c *dispatchv1.PlanChanges) {
	b, a := c.GetBefore(), c.GetAfter()
	t := newTable("", "before#", "after#")
	t.add("runs", b.GetRunCount(), a.GetRunCount())
	t.add("km", b.GetDistanceM()/1000, a.GetDistanceM()/1000)
	t.add("minutes that crews wait", b.GetCrewWaitingMinutes(), a.GetCrewWaitingMinutes())
	t.add("pieces moved aside", b.GetMovedAsideCount(), a.GetMovedAsideCount())
	t.add("beams brought", b.GetBeamCount(), a.GetBeamCount())
	t.add("beams left", b.GetUnservedBeamCount(), a.GetUnservedBeamCount())
	t.add("blocks left", b.GetUnservedBlockCount(), a.GetUnservedBlockCount())
	t.write(w)
	if len(c.GetRuns()) == 0 {
		fmt.Fprintf(w, "No run is another: %s as before.\n", count(c.GetUnchangedRunCount(), "run"))
	} else {
		fmt.Fprintf(w, "Runs as before: %d. Otherwise:\n", c.GetUnchangedRunCount())
	}
	for _, r := range c.GetRuns() {
		paragraph(w, "  ", "      ", r.GetSentence())
	}
	for _, d := range c.GetCallOffs() {
		paragraph(w, "  ", "      ", fmt.Sprintf("%s %s", d.GetCallOffId(), d.GetSentence()))
	}
}

// Replanned prints what a happening hit and what is planned instead.
func Replanned(w io.Writer, day string, tried bool, a *dispatchv1.ReplanMorningResponse) {
	if len(a.GetHitRuns()) == 0 {
		note(w, "No run of "+longDay(day)+" is hit: nothing was planned again.")
		return
	}
	fmt.Fprintf(w, "RUNS OF %s THAT ARE HIT\n", strings.ToUpper(longDay(day)))
	for _, h := range a.GetHitRuns() {
		end := "planned again"
		if h.GetKeptBecause() != "" {
			end = "NOT planned again: " + h.GetKeptBecause()
		}
		paragraph(w, "  ", "      ", fmt.Sprintf("%s: %s; %s", h.GetRunId(), h.GetSentence(), end))
	}
	if a.GetMorning() == nil {
		return
	}
	if id := a.GetMorning().GetPlan().GetPlanId(); tried {
		fmt.Fprintln(w, "WHAT WOULD COME OF IT; NOTHING IS RECORDED")
	} else {
		fmt.Fprintf(w, "PLAN %s FOR WHAT THEY WERE TO BRING, AND WHATEVER ELSE IS NOT ON A RUN\n", id)
		defer fmt.Fprintf(w, "Confirm it: spanyard morning confirm %s\n", id)
	}
	Changes(w, a.GetChanges())
}

// Explained prints why something of a plan is as it is.
func Explained(w io.Writer, a *dispatchv1.ExplainMorningResponse) {
	paragraph(w, "", "", a.GetHeadline())
	for _, s := range a.GetSentences() {
		paragraph(w, "  ", "  ", s)
	}
	if len(a.GetTrucks()) == 0 {
		return
	}
	fmt.Fprintln(w, "WHAT OTHER TRUCKS COULD DO, EVERYTHING ELSE STAYING AS IT IS")
	for _, v := range a.GetTrucks() {
		if len(v.GetRefusals()) == 0 {
			paragraph(w, "  ", "      ", fmt.Sprintf("%s could: loads %s, unloads from %s", v.GetTruckId(), Clock(v.GetLoadingMinute()), Clock(v.GetUnloadMinute())))
			continue
		}
		paragraph(w, "  ", "      ", fmt.Sprintf("%s cannot: %s", v.GetTruckId(), strings.Join(v.GetRefusals(), "; ")))
	}
}

// Travel prints the known ways, by where they begin.
func Travel(w io.Writer, legs []*dispatcheventv1.TravelLeg) {
	if len(legs) == 0 {
		note(w, "No way is known: distances and times are worked out from places, road factor and speed.")
		return
	}
	sorted := slices.Clone(legs)
	slices.SortStableFunc(sorted, func(a, b *dispatcheventv1.TravelLeg) int {
		return strings.Compare(a.GetFromSiteId(), b.GetFromSiteId())
	})
	t := newTable("from", "to", "km#", "minutes#")
	for _, l := range sorted {
		t.add(placeName(l.GetFromSiteId()), placeName(l.GetToSiteId()), fmt.Sprintf("%.1f", float64(l.GetMetres())/1000), l.GetMinutes())
	}
	t.write(w)
}

func placeName(siteID string) string {
	if siteID == "" {
		return "yard"
	}
	return siteID
}
