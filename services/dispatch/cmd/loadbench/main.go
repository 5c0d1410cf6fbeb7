// Command loadbench plans public instances of sequence loading with axle
// limits, checks every answer with code of its own, and prints how the answers
// compare with the best that is known.
package main

import (
	"cmp"
	"encoding/csv"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"syscall"
	"text/tabwriter"

	"spanyard.example/services/dispatch/internal/lifo"
)

func main() {
	o := options{}
	flag.IntVar(&o.every, "every", 1, "take only every n-th instance of each class")
	flag.StringVar(&o.only, "only", "", "take only instances that match this regular expression")
	flag.StringVar(&o.csv, "csv", "", "write the rows to this file")
	flag.Parse()
	if flag.NArg() != 1 {
		fmt.Fprintln(os.Stderr, "loadbench [FLAGS] DIR: a folder with best_known.csv and the instances it names")
		os.Exit(2)
	}
	o.dir = flag.Arg(0)
	if err := run(o, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "loadbench:", err)
		os.Exit(1)
	}
}

type options struct {
	dir, only, csv string
	every          int
}

// outcome is one row of the result.
type outcome struct {
	known
	plan    lifo.Plan
	seconds float64
}

// same is by how much a distance may differ from one printed with six
// decimals and still be the same.
const same = 2e-6

func run(o options, to io.Writer) error {
	runtime.GOMAXPROCS(1)
	rows, err := readKnown(filepath.Join(o.dir, "best_known.csv"))
	if err != nil {
		return err
	}
	only, err := regexp.Compile(o.only)
	if err != nil {
		return err
	}
	out := io.Discard
	if o.csv != "" {
		f, err := os.Create(o.csv)
		if err != nil {
			return err
		}
		defer func() { _ = f.Close() }()
		out = f
	}
	w := csv.NewWriter(out)
	_ = w.Write([]string{"instance", "class", "axles", "routes", "distance", "lower_bound", "best_known", "gap_percent", "proved", "seconds"})
	var done []outcome
	seen := map[string]int{}
	for _, row := range rows {
		seen[row.class()]++
		if !only.MatchString(row.instance) || (seen[row.class()]-1)%max(1, o.every) != 0 {
			continue
		}
		r, err := solve(o, row)
		if err != nil {
			return fmt.Errorf("%s (%s): %w", row.instance, row.class(), err)
		}
		done = append(done, r)
		_ = w.Write(r.record())
		w.Flush()
	}
	if err := w.Error(); err != nil {
		return err
	}
	return summarise(to, done)
}

// solve plans one instance and verifies the plan.
func solve(o options, row known) (outcome, error) {
	r := outcome{known: row}
	in, err := readInstance(filepath.Join(o.dir, row.path))
	if err != nil {
		return r, err
	}
	effort := lifo.Thorough
	if len(in.customers) > 25 {
		effort = lifo.Quick
	}
	began := processorSeconds()
	r.plan, err = lifo.Solve(in.problem(row.axles), effort)
	r.seconds = processorSeconds() - began
	if err != nil {
		return r, err
	}
	distance, err := in.verify(r.plan.Routes, row.axles)
	switch {
	case err != nil:
		return r, fmt.Errorf("the plan does not work: %w", err)
	case math.Abs(distance-r.plan.Distance) > same || r.plan.LowerBound > distance+same:
		return r, fmt.Errorf("the routes are %f long, not %f with the bound %f", distance, r.plan.Distance, r.plan.LowerBound)
	case row.best > 0 && r.plan.LowerBound > row.best+same, row.proved && distance < row.best-same:
		return r, fmt.Errorf("bound %f and distance %f contradict the known %f", r.plan.LowerBound, distance, row.best)
	}
	return r, nil
}

// processorSeconds is the time that this program has computed: on a machine
// with other work it says more than the time that has passed.
func processorSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// gap is how far in percent the plan is above the best known distance, or
// above its own bound where none is known.
func (r outcome) gap() float64 {
	against := r.best
	if against <= 0 {
		against = r.plan.LowerBound
	}
	gap := 100 * (r.plan.Distance/against - 1)
	if math.Abs(r.plan.Distance-against) <= same {
		return 0
	}
	return gap
}

func (r outcome) record() []string {
	best := ""
	if r.best > 0 {
		best = fixed(r.best, 6)
	}
	return []string{
		r.instance, r.class(), yes(r.axles), strconv.Itoa(len(r.plan.Routes)), fixed(r.plan.Distance, 6),
		fixed(r.plan.LowerBound, 6), best, fixed(r.gap(), 3), yes(r.plan.Proved), fixed(r.seconds, 3),
	}
}

func fixed(x float64, digits int) string { return strconv.FormatFloat(x, 'f', digits, 64) }

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// summarise prints a line for each class.
func summarise(to io.Writer, done []outcome) error {
	t := tabwriter.NewWriter(to, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintln(t, "class\tinstances\tproved\tas best known\tmean gap %\tworst gap %\tmean s\tworst s\t")
	slices.SortStableFunc(done, func(a, b outcome) int {
		return cmp.Or(cmp.Compare(a.customers(), b.customers()), cmp.Compare(a.class(), b.class()))
	})
	for len(done) > 0 {
		n := 1
		for n < len(done) && done[n].class() == done[0].class() {
			n++
		}
		var proved, equal int
		var gaps, worstGap, seconds, worstSeconds float64
		for _, r := range done[:n] {
			if r.plan.Proved {
				proved++
			}
			if r.best > 0 && r.gap() == 0 {
				equal++
			}
			gaps, worstGap = gaps+r.gap(), max(worstGap, r.gap())
			seconds, worstSeconds = seconds+r.seconds, max(worstSeconds, r.seconds)
		}
		_, _ = fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%.2f\t%.2f\t%.2f\t%.2f\t\n",
			done[0].class(), n, proved, equal, gaps/float64(n), worstGap, seconds/float64(n), worstSeconds)
		done = done[n:]
	}
	return t.Flush()
}
