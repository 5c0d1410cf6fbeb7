// Command stockbench measures stock under load, each figure beside the least
// that NATS and Redis could do for the same thing: both sides in one run, in
// one process layout, one after the other in short turns, so that the machine
// treats them alike.
//
// It prints a Markdown table and writes the same figures as JSON. Absolute
// times belong to the machine; ratios are what to compare.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"regexp"
	"runtime/pprof"
	"time"
)

// sizes of what is measured.
type sizes struct {
	// Calls whose latency is measured, and commands of a measurement of speed.
	Calls, Commands int
	// Callers at the same time.
	Callers int
	// Events of the ledger whose view is rebuilt.
	Events int
	// Live pieces in memory.
	Live int
	// Conflicting commands of two and three replicas.
	Shared int
}

var (
	quick = sizes{Calls: 1500, Commands: 6400, Callers: 64, Events: 200_000, Live: 200_000, Shared: 3000}
	full  = sizes{Calls: 10_000, Commands: 50_000, Callers: 64, Events: 1_000_000, Live: 1_000_000, Shared: 20_000}
)

// bench is one run.
type bench struct {
	size sizes
	dir  string
	rows []row
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "stockbench:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context) (err error) {
	whole := flag.Bool("full", false, "measure at the full sizes: one million events and pieces; takes a quarter of an hour")
	only := flag.String("only", "", "a regular expression of the measurements to take: "+names())
	file := flag.String("json", "", "where the figures go as JSON")
	dir := flag.String("dir", "", "folder for the stores, on the disk to be measured; a temporary one when left out")
	profile := flag.String("cpuprofile", "", "where a profile of the processor's time goes")
	b := &bench{size: quick}
	over := sizes{}
	flag.IntVar(&over.Calls, "calls", 0, "calls whose latency is measured")
	flag.IntVar(&over.Commands, "commands", 0, "commands of each measurement of speed")
	flag.IntVar(&over.Callers, "callers", 0, "callers at the same time")
	flag.IntVar(&over.Events, "events", 0, "events of the view that is rebuilt")
	flag.IntVar(&over.Live, "live", 0, "live pieces in memory")
	flag.IntVar(&over.Shared, "shared", 0, "commands of several replicas on one yard")
	flag.Parse()
	if *whole {
		b.size = full
	}
	b.size = b.size.with(over)
	wanted, err := regexp.Compile(*only)
	if err != nil {
		return fmt.Errorf("-only: %w", err)
	}
	if b.dir, err = os.MkdirTemp(*dir, "stockbench-"); err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(b.dir) }()
	if *profile != "" {
		stopProfile, err := startProfile(*profile)
		if err != nil {
			return err
		}
		defer stopProfile()
	}
	for _, m := range measurements {
		if !wanted.MatchString(m.name) {
			continue
		}
		began := time.Now()
		if err := m.take(ctx, b); err != nil {
			return fmt.Errorf("%s: %w", m.name, err)
		}
		fmt.Fprintf(os.Stderr, "%s took %v\n", m.name, time.Since(began).Round(time.Second))
	}
	printTable(os.Stdout, b.rows)
	if *file == "" {
		return nil
	}
	data, err := json.MarshalIndent(b.rows, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(*file, append(data, '\n'), 0o644)
}

// measurements in the order of the table.
var measurements = []struct {
	name string
	take func(context.Context, *bench) error
}{
	{"latency", latency},
	{"together", together},
	{"feed", feed},
	{"rebuild", rebuild},
	{"memory", memory},
	{"replicas", replicas},
}

func names() string {
	all := ""
	for _, m := range measurements {
		all += " " + m.name
	}
	return all[1:]
}

// with returns the sizes with those of over that are set.
func (s sizes) with(over sizes) sizes {
	for _, pair := range []struct{ to, from *int }{
		{&s.Calls, &over.Calls}, {&s.Commands, &over.Commands}, {&s.Callers, &over.Callers},
		{&s.Events, &over.Events}, {&s.Live, &over.Live}, {&s.Shared, &over.Shared},
	} {
		if *pair.from > 0 {
			*pair.to = *pair.from
		}
	}
	return s
}

func startProfile(name string) (stop func(), err error) {
	f, err := os.Create(filepath.Clean(name))
	if err != nil {
		return nil, err
	}
	if err := pprof.StartCPUProfile(f); err != nil {
		return nil, err
	}
	return func() {
		pprof.StopCPUProfile()
		if err := f.Close(); err != nil {
			fmt.Fprintln(os.Stderr, "stockbench: write the profile:", err)
		}
	}, nil
}
