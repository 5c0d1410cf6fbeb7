// Command routebench plans the tours of public instances with time windows and
// of those with several trips, checks every answer with a simulator of its own,
// and prints how the answers compare with the best that is known.
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
	"strconv"
	"strings"
	"time"

	"spanyard.example/services/dispatch/internal/vrp"
)

type options struct {
	dir, only, csv string
	seconds        float64
	every          int
	iterations     int
	seed           uint64
}

func main() {
	var o options
	flag.Float64Var(&o.seconds, "seconds", 1, "time for each instance")
	flag.IntVar(&o.iterations, "iterations", 0, "plans to try for each instance, whatever time they take; 0 goes by time")
	flag.IntVar(&o.every, "every", 1, "take only every n-th instance of each class")
	flag.StringVar(&o.only, "only", "", "take only families and classes that match this regular expression")
	flag.StringVar(&o.csv, "csv", "", "write the rows to this file")
	flag.Uint64Var(&o.seed, "seed", 1, "seed of the search")
	flag.Parse()
	if flag.NArg() != 1 {
		fmt.Fprintln(os.Stderr, "routebench [FLAGS] DIR: a folder with best_known.csv and the instances it names")
		os.Exit(2)
	}
	o.dir = flag.Arg(0)
	if err := run(o); err != nil {
		fmt.Fprintln(os.Stderr, "routebench:", err)
		os.Exit(1)
	}
}

// task is a row of best_known.csv.
type task struct {
	instance, family, class, path, objective, best string
	proven                                         bool
}

// outcome of a task.
type outcome struct {
	task
	vehicles, bestVehicles int
	distance, bestDistance float64
	absent                 int
	seconds                float64
}

// gap in percent of the distance; only where the vehicles are as many.
func (o outcome) gap() float64 { return 100 * (o.distance - o.bestDistance) / o.bestDistance }

var vehiclesOf = regexp.MustCompile(`K=([0-9]+)`)

func run(o options) error {
	tasks, err := readTasks(filepath.Join(o.dir, "best_known.csv"))
	if err != nil {
		return err
	}
	only, err := regexp.Compile(o.only)
	if err != nil {
		return err
	}
	seen := map[string]int{}
	var done []outcome
	for _, t := range tasks {
		group := t.family + " " + t.class + " " + kind(t.objective)
		if kind(t.objective) == "" || t.best == "infeasible" || t.best == "inf" || !only.MatchString(group) {
			continue
		}
		if seen[group]++; (seen[group]-1)%o.every != 0 {
			continue
		}
		out, err := solve(o, t)
		if err != nil {
			return fmt.Errorf("%s: %w", t.instance, err)
		}
		done = append(done, out)
	}
	if len(done) == 0 {
		return errors.New("no instance matches")
	}
	if o.csv != "" {
		if err := writeRows(o.csv, done); err != nil {
			return err
		}
	}
	summary(os.Stdout, done)
	return nil
}

// kind of an objective that this program plans for; empty for others.
func kind(objective string) string {
	switch {
	case strings.HasPrefix(objective, "hierarchical"):
		return "vehicles, then distance"
	case strings.HasPrefix(objective, "multi-trip"):
		return "distance, several trips"
	}
	return ""
}

func readTasks(file string) ([]task, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	var out []task
	for _, r := range rows[1:] {
		out = append(out, task{instance: r[0], family: r[1], class: r[2], path: r[3], objective: r[4], best: r[5], proven: r[6] == "yes"})
	}
	return out, nil
}

func solve(o options, t task) (outcome, error) {
	in, err := readInstance(filepath.Join(o.dir, t.path), t)
	if err != nil {
		return outcome{}, err
	}
	began := time.Now()
	limit := time.Duration(o.seconds * float64(time.Second))
	budget := vrp.Budget{Seed: o.seed, Iterations: o.iterations}
	if o.iterations == 0 {
		budget.Spent = func() float64 { return float64(time.Since(began)) / float64(limit) }
	}
	s, err := vrp.Solve(in.problem(), budget)
	if err != nil {
		return outcome{}, err
	}
	out := outcome{task: t, vehicles: len(s.Tours), absent: len(s.Absent), seconds: time.Since(began).Seconds()}
	if out.distance, err = in.simulate(s.Tours, out.absent); err != nil {
		return out, fmt.Errorf("the answer breaks a rule: %w", err)
	}
	vehicles, distance, both := strings.Cut(t.best, " / ")
	if !both {
		distance = vehicles
		vehicles = "0"
	}
	if out.bestVehicles, err = strconv.Atoi(vehicles); err != nil {
		return out, err
	}
	out.bestDistance, err = strconv.ParseFloat(distance, 64)
	return out, err
}

func writeRows(file string, done []outcome) error {
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	w := csv.NewWriter(f)
	_ = w.Write([]string{"instance", "family", "class", "vehicles", "distance", "best_vehicles", "best_distance", "gap_percent", "absent", "seconds"})
	for _, o := range done {
		_ = w.Write([]string{
			o.instance, o.family, o.class, strconv.Itoa(o.vehicles), fmt.Sprintf("%.2f", o.distance), strconv.Itoa(o.bestVehicles),
			fmt.Sprintf("%.2f", o.bestDistance), fmt.Sprintf("%.2f", o.gap()), strconv.Itoa(o.absent), fmt.Sprintf("%.2f", o.seconds),
		})
	}
	w.Flush()
	return errors.Join(w.Error(), f.Close())
}

func summary(w io.Writer, done []outcome) {
	fmt.Fprintln(w, "| family | class | instances | as few vehicles | mean gap of those % | as good or better | proved best met | not whole | mean s |")
	fmt.Fprintln(w, "| - | - | - | - | - | - | - | - | - |")
	var groups []string
	by := map[string][]outcome{}
	for _, o := range done {
		k := o.family + " | " + o.class
		if by[k] == nil {
			groups = append(groups, k)
		}
		by[k] = append(by[k], o)
	}
	for _, k := range groups {
		few, good, met, proven, absent, gap, seconds := 0, 0, 0, 0, 0, 0.0, 0.0
		for _, o := range by[k] {
			seconds += o.seconds
			if o.proven {
				proven++
			}
			if o.absent > 0 {
				absent++
				continue
			}
			if o.bestVehicles > 0 && o.vehicles > o.bestVehicles {
				continue
			}
			few++
			gap += o.gap()
			if o.distance <= o.bestDistance*(1+1e-5)+1e-6 {
				good++
				if o.proven {
					met++
				}
			}
		}
		n := len(by[k])
		fmt.Fprintf(w, "| %s | %d | %d | %.2f | %d | %d of %d | %d | %.2f |\n", k, n, few, gap/float64(max(1, few)), good, met, proven, absent, seconds/float64(n))
	}
}
