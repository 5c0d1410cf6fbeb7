package show

import (
	"fmt"
	"io"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// Repairs prints what became of the stopped runs of a day.
func Repairs(w io.Writer, day string, repairs []*dispatchv1.RunRepair) {
	if len(repairs) == 0 {
		note(w, "No run of "+longDay(day)+" is stopped: nothing was changed.")
		return
	}
	for _, r := range repairs {
		state := "goes as it was planned"
		if len(r.GetLeft()) > 0 {
			state = fmt.Sprintf("is still stopped by %s", count(len(r.GetLeft()), "piece"))
		}
		fmt.Fprintf(w, "RUN %s %s; %s exchanged.\n", r.GetRunId(), state, count(len(r.GetExchanged()), "beam"))
		if len(r.GetExchanged()) > 0 {
			t := newTable("instead of", "take", "stack", "tier#", "mark anew as")
			t.indent = "  "
			for _, x := range r.GetExchanged() {
				t.add(x.GetOldPieceId(), x.GetNewPieceId(), x.GetStackId(), x.GetStackTier(), x.GetMark())
			}
			t.write(w)
		}
		for _, l := range r.GetLeft() {
			paragraph(w, "  ", "    ", fmt.Sprintf("%s %s %s.", l.GetPieceId(), l.GetMark(), l.GetSentence()))
		}
	}
	fmt.Fprintln(w, "No other run was changed.")
}
