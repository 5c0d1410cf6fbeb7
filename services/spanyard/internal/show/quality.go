package show

import (
	"fmt"
	"io"
	"strings"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// DueSamples prints what has to be tested.
func DueSamples(w io.Writer, list *stockv1.ListDueSamplesResponse) {
	fmt.Fprintf(w, "DUE FOR TESTING BY %s\n", strings.ToUpper(longDay(list.GetDay())))
	if len(list.GetSamples()) == 0 {
		note(w, "Nothing is due.")
		return
	}
	t := newTable("due on", "", "batch", "product", "missing#", "of#", "specimens", "at days#", "laboratory")
	for _, s := range list.GetSamples() {
		late := ""
		if s.GetOverdue() {
			late = "OVERDUE"
		}
		r := s.GetRule()
		t.add(s.GetDueOn(), late, s.GetBatchId(), s.GetProduct(), s.GetMissingCount(), r.GetCount(), specimens(r.GetSpecimen()), r.GetAgeDays(), dash(r.GetLaboratory()))
	}
	t.write(w)
}

// Forecast prints a forecast as what it is.
func Forecast(w io.Writer, f *stockv1.ForecastStrengthResponse) {
	paragraph(w, "", "", "FORECAST. "+f.GetSentence())
	paragraph(w, "", "", fmt.Sprintf("It rests on %s; that makes %.1f MPa at 28 days. The cure is worth %.1f days at 20 degrees.",
		f.GetBasis(), f.GetMean_28Mpa(), f.GetMaturityDays()))
}

// sampling prints a sampling plan.
func sampling(w io.Writer, plan []*stockeventv1.SamplingRule) {
	if len(plan) == 0 {
		note(w, "There is no sampling plan.")
		return
	}
	t := newTable("of", "product", "specimens#", "", "at days#", "for release", "from", "laboratory")
	for _, r := range plan {
		release := "no"
		if r.GetForRelease() {
			release = "yes"
		}
		product := r.GetProduct()
		if product == "" {
			product = "all"
		}
		t.add(word(r.GetKind().String(), "BATCH_KIND_"), product, r.GetCount(), specimens(r.GetSpecimen()), r.GetAgeDays(), release, dash(r.GetFrom()), dash(r.GetLaboratory()))
	}
	t.write(w)
}
