package main

import (
	"fmt"
	"io"
	"slices"
	"time"
)

// row is one figure and what it is measured against. Value and Bare are in
// Unit; Ratio is the one over the other, worded by the aim.
type row struct {
	What    string  `json:"what"`
	Size    string  `json:"size"`
	Unit    string  `json:"unit"`
	Value   float64 `json:"value"`
	Against string  `json:"against,omitempty"`
	Bare    float64 `json:"bare,omitempty"`
	Ratio   float64 `json:"ratio,omitempty"`
	Aim     string  `json:"aim,omitempty"`
	Note    string  `json:"note,omitempty"`
}

// compare adds a row with a ratio.
func (b *bench) compare(r row) {
	if r.Bare > 0 {
		r.Ratio = r.Value / r.Bare
	}
	b.rows = append(b.rows, r)
}

func printTable(w io.Writer, rows []row) {
	fmt.Fprintln(w, "| what | measured at | stock | against | bare | ratio | aim | |")
	fmt.Fprintln(w, "| - | - | -: | - | -: | -: | - | - |")
	for _, r := range rows {
		bare, ratio := "", ""
		if r.Bare > 0 {
			bare, ratio = number(r.Bare)+" "+r.Unit, fmt.Sprintf("%.2f", r.Ratio)
		}
		fmt.Fprintf(w, "| %s | %s | %s %s | %s | %s | %s | %s | %s |\n",
			r.What, r.Size, number(r.Value), r.Unit, r.Against, bare, ratio, r.Aim, r.Note)
	}
}

// number prints three figures or more.
func number(v float64) string {
	switch {
	case v >= 100:
		return fmt.Sprintf("%.0f", v)
	case v >= 10:
		return fmt.Sprintf("%.1f", v)
	default:
		return fmt.Sprintf("%.2f", v)
	}
}

// times are how long things took.
type times []time.Duration

// at returns a quantile in milliseconds.
func (t times) at(share float64) float64 {
	if len(t) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(t))
	i := min(len(sorted)-1, int(share*float64(len(sorted))))
	return sorted[i].Seconds() * 1000
}

// quantiles adds the middle and the slow end of two series.
func (b *bench) quantiles(what, size, against, aim string, ours, bare times) {
	for _, q := range []struct {
		name  string
		share float64
	}{{"p50", 0.5}, {"p99", 0.99}} {
		b.compare(row{What: what + ", " + q.name, Size: size, Unit: "ms", Value: ours.at(q.share), Against: against, Bare: bare.at(q.share), Aim: aim})
	}
}
