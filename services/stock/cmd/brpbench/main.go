// Command brpbench plans the picks of public block relocation instances, or
// sorts those of pre-marshalling, checks every answer with a simulator of its
// own and prints how the answers compare with the best that is known.
package main

import (
	"encoding/csv"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"syscall"

	"spanyard.example/services/stock/internal/stacking"
)

func main() {
	o := options{}
	flag.BoolVar(&o.sort, "sort", false, "sort the stacks (pre-marshalling) instead of picking")
	flag.Float64Var(&o.seconds, "seconds", 1, "processor time for each instance and rule")
	flag.IntVar(&o.every, "every", 1, "take only every n-th instance of each class")
	flag.StringVar(&o.only, "only", "", "take only classes that match this regular expression")
	flag.StringVar(&o.rule, "rule", "", "take only this rule: restricted or unrestricted")
	flag.StringVar(&o.csv, "csv", "", "write the rows to this file")
	flag.Parse()
	if flag.NArg() != 1 {
		fmt.Fprintln(os.Stderr, "brpbench [FLAGS] DIR: a folder with best_known.csv and the instances it names")
		os.Exit(2)
	}
	o.dir = flag.Arg(0)
	if err := run(o); err != nil {
		fmt.Fprintln(os.Stderr, "brpbench:", err)
		os.Exit(1)
	}
}

type options struct {
	dir, only, rule, csv string
	sort                 bool
	seconds              float64
	every                int
}

// outcome is one row of the result.
type outcome struct {
	instance, family, class, rule string
	moves, bound                  int
	found, proved                 bool
	known, other                  int // -1: none
	knownProved                   bool
	seconds                       float64
}

func run(o options) error {
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
	_ = w.Write([]string{"instance", "class", "rule", "moves", "bound", "proved", "best_known", "best_known_proved", "seconds"})
	var done []outcome
	seen := map[string]int{}
	for _, row := range rows {
		if !only.MatchString(row.family+" "+row.class) || o.rule != "" && row.rule != o.rule {
			continue
		}
		k := row.family + row.class + row.rule
		seen[k]++
		if (seen[k]-1)%o.every != 0 {
			continue
		}
		r, err := solve(o, row)
		if err != nil {
			return fmt.Errorf("%s (%s): %w", row.instance, row.rule, err)
		}
		done = append(done, r)
		_ = w.Write(r.record())
		w.Flush()
	}
	if err := w.Error(); err != nil {
		return err
	}
	return summarise(os.Stdout, done)
}

// solve plans one instance and replays the plan.
func solve(o options, row known) (outcome, error) {
	r := outcome{instance: row.instance, family: row.family, class: row.class, rule: row.rule,
		known: row.best, other: row.other, knownProved: row.proved}
	p, err := readInstance(filepath.Join(o.dir, row.path), row.family, row.tiers)
	if err != nil {
		return r, err
	}
	p.Rule = stacking.AboveNext
	if row.rule != "restricted" {
		p.Rule = stacking.AnyTop
	}
	began := processorSeconds()
	b := stacking.Budget{Nodes: 1 << 40, Stop: func() bool { return processorSeconds()-began > o.seconds }}
	plan, replay := stacking.Solve, stacking.Replay
	if o.sort {
		plan, replay = stacking.Sort, stacking.Resort
	}
	a, err := plan(p, b)
	r.seconds, r.bound = processorSeconds()-began, a.Bound
	if errors.Is(err, stacking.ErrGaveUp) {
		return r, nil
	}
	if err != nil {
		return r, err
	}
	n, err := replay(p, a.Moves)
	if err != nil {
		return r, fmt.Errorf("the plan does not work: %w", err)
	}
	if n != a.Relocations || a.Bound > n || a.Proved != (a.Bound == n) {
		return r, fmt.Errorf("the plan has %d relocations, not %d with the bound %d", n, a.Relocations, a.Bound)
	}
	if row.best >= 0 && (a.Bound > row.best || row.proved && n < row.best) {
		return r, fmt.Errorf("bound %d and answer %d contradict the known %d", a.Bound, n, row.best)
	}
	r.moves, r.found, r.proved = n, true, a.Proved
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

func (r outcome) record() []string {
	moves := ""
	if r.found {
		moves = strconv.Itoa(r.moves)
	}
	best := ""
	if r.known >= 0 {
		best = strconv.Itoa(r.known)
	}
	return []string{r.instance, r.family + " " + r.class, r.rule, moves, strconv.Itoa(r.bound),
		yes(r.proved), best, yes(r.knownProved), strconv.FormatFloat(r.seconds, 'f', 3, 64)}
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// known is a row of best_known.csv.
type known struct {
	instance, family, class, path, rule string
	tiers, best, other                  int
	proved                              bool
}

func readKnown(name string) ([]known, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	column := map[string]int{}
	var out []known
	for i, rec := range records {
		if i == 0 {
			for j, h := range rec {
				column[h] = j
			}
			continue
		}
		get := func(h string) string { return rec[column[h]] }
		k := known{instance: get("instance"), family: get("family"), class: get("class"), path: get("path"),
			proved: get("proven_optimal") == "yes", best: number(get("best_known")), other: number(get("other_published_value"))}
		rule, height, _ := strings.Cut(get("objective"), ",")
		k.rule = strings.TrimSuffix(rule, " moves to sort")
		k.tiers = number(strings.TrimPrefix(strings.TrimSpace(height), "max height "))
		out = append(out, k)
	}
	return out, nil
}

// number reads a whole number; -1 if there is none.
func number(s string) int {
	n, err := strconv.Atoi(strings.TrimSpace(s))
	if err != nil {
		return -1
	}
	return n
}

// readInstance reads a yard: stacks and pieces (in gen_yard the tiers between
// them), then every stack from the ground up.
func readInstance(name, family string, tiers int) (stacking.Problem, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return stacking.Problem{}, err
	}
	fields := strings.Fields(string(text))
	at := 0
	take := func() int {
		if at >= len(fields) {
			return -1
		}
		at++
		return number(fields[at-1])
	}
	stacks := take()
	if family == "gen_yard" {
		take()
	}
	pieces := take()
	var p stacking.Problem
	for range stacks {
		var stack []int
		for range take() {
			stack = append(stack, len(p.Rank))
			p.Rank = append(p.Rank, take())
		}
		p.Stacks = append(p.Stacks, stack)
		p.Tiers = append(p.Tiers, tiers)
	}
	if at != len(fields) || len(p.Rank) != pieces || tiers < 1 {
		return p, fmt.Errorf("%s: not an instance of %d pieces and %d tiers", name, pieces, tiers)
	}
	return p, nil
}
