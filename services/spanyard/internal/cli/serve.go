package cli

import (
	"context"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/demo"
	"spanyard.example/services/spanyard/internal/allinone"
	"spanyard.example/services/spanyard/internal/datafolder"
	"spanyard.example/services/spanyard/internal/scenario"
	"spanyard.example/services/spanyard/internal/show"
)

// readyWithin is how long a house may take to read its ledgers.
const readyWithin = 10 * time.Minute

func (p *program) serveCommand() *cobra.Command {
	var data, listen, desk, logLevel, starts string
	c := &cobra.Command{
		Use:     "serve",
		GroupID: groupProgram,
		Short:   "Run all services in this process, until Ctrl-C",
		Long: `Runs layout, stock and dispatch in one process, with their ledgers on disk in
the data folder. Nothing else has to be installed. Other commands reach it at
the address it listens on.`,
		Example: `  spanyard serve
  spanyard serve --data /srv/spanyard --listen 127.0.0.1:7350`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			clk, err := clockFrom(starts)
			if err != nil {
				return err
			}
			log, err := p.log(logLevel)
			if err != nil {
				return err
			}
			dir, err := dataFolder(data, "")
			if err != nil {
				return err
			}
			return p.serve(cmd.Context(), allinone.Options{Data: dir, Listen: listen, Desk: &allinone.Desk{Listen: deskAddress(desk, listen), Yard: p.yard}, Clock: clk, Log: log}, p.untilStopped)
		},
	}
	f := c.Flags()
	f.StringVar(&data, "data", "", "folder for the data; default spanyard under $XDG_DATA_HOME or ~/.local/share")
	f.StringVar(&listen, "listen", defaultServer, "address to listen on, host:port")
	f.StringVar(&desk, "desk", "", deskUsage)
	f.StringVar(&logLevel, "log", "warn", "what to log on standard error: debug, info, warn or error")
	f.StringVar(&starts, "clock-starts-at", "", "for demonstrations: time at which the program's clock starts, RFC 3339")
	return c
}

func (p *program) demoCommand() *cobra.Command {
	var o demoOptions
	c := &cobra.Command{
		Use:     "demo",
		GroupID: groupProgram,
		Short:   "Load an invented yard, plan its morning, print it, and serve",
		Long: `Loads the demo yard into a data folder, plans the morning of the demo day, prints
it, and goes on serving until Ctrl-C, so that all other commands can be tried on
it. A second start finds its data and shows the same plan. The program's clock
starts at the same moment every time.`,
		Example: `  spanyard demo
  spanyard demo --once --json > morning.json
  spanyard demo --fresh --scenario my-yard/`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			o.listenSet = cmd.Flags().Changed("listen")
			return p.demo(cmd.Context(), o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.data, "data", "", "folder for the data; default spanyard-demo under $XDG_DATA_HOME or ~/.local/share")
	f.StringVar(&o.scenario, "scenario", "", "folder with a scenario of your own; default is the one built in")
	f.StringVar(&o.listen, "listen", defaultServer, "address to listen on, host:port")
	f.StringVar(&o.desk, "desk", "", deskUsage)
	f.StringVar(&o.log, "log", "error", "what to log on standard error: debug, info, warn or error")
	f.BoolVar(&o.once, "once", false, "stop after printing the morning")
	f.BoolVar(&o.fresh, "fresh", false, "start over: delete the data in the data folder first")
	return c
}

// demoOptions of the demo command.
type demoOptions struct {
	data, scenario, listen, desk, log string
	once, fresh, listenSet            bool
}

func (p *program) demo(ctx context.Context, o demoOptions) error {
	s, err := readScenario(o.scenario)
	if err != nil {
		return err
	}
	log, err := p.log(o.log)
	if err != nil {
		return err
	}
	dir, err := dataFolder(o.data, "-demo")
	if err != nil {
		return err
	}
	if o.fresh {
		if err := datafolder.Clear(dir); err != nil {
			return err
		}
	}
	if o.once && !o.listenSet {
		// Nobody has to find it, and a running demo elsewhere has to be no hindrance.
		o.listen = "127.0.0.1:0"
	}
	p.yard = s.Main.Yard
	desk := &allinone.Desk{Listen: deskAddress(o.desk, o.listen), Yard: p.yard, Demo: demoPeople(s)}
	if o.once {
		desk = nil // nobody would see it
	}
	return p.serve(ctx, allinone.Options{Data: dir, Listen: o.listen, Desk: desk, Clock: clock.StartingAt(s.Start), Log: log}, func(ctx context.Context, h *allinone.House) error {
		if err := p.loadAndPlan(ctx, s); err != nil || o.once {
			return err
		}
		p.tell("\nThis is %s on a clock of its own. In another terminal, for instance:", s.Main.Name)
		p.tell("  spanyard stock summary%s", p.elsewhere(h))
		p.tell("  spanyard morning list %s%s", s.Main.Day, p.elsewhere(h))
		return p.untilStopped(ctx, h)
	})
}

// elsewhere is the flag that finds a house that is not at the usual address.
func (p *program) elsewhere(h *allinone.House) string {
	if h.Address() == envOr("SPANYARD_SERVER", defaultServer) {
		return ""
	}
	return " --server " + h.Address()
}

func (p *program) loadAndPlan(ctx context.Context, s *scenario.Scenario) error {
	conn, err := p.dial(dispatchService)
	if err != nil {
		return err
	}
	stop := func() {}
	loader := scenario.NewLoader(s, conn, func(doing string) {
		stop()
		p.tell("%s ...", doing)
		stop = p.progress(doing)
	})
	defer func() { stop() }()
	if err := loader.Load(ctx); err != nil {
		return loadFault(err)
	}
	m, err := loader.Plan(ctx)
	if err != nil {
		return err
	}
	if !p.json {
		if err := p.printFloors(ctx, conn, s.Main.Yard); err != nil {
			return err
		}
	}
	c, err := p.dispatch()
	if err != nil {
		return err
	}
	return p.printMorning(ctx, c, m)
}

// printFloors prints the laying plans behind a morning.
func (p *program) printFloors(ctx context.Context, conn *grpc.ClientConn, yard string) error {
	answer, err := layoutv1.NewLayoutServiceClient(conn).ListLayingPlans(p.as(ctx), &layoutv1.ListLayingPlansRequest{Yard: yard, PageSize: pageSize})
	if err != nil {
		return err
	}
	fmt.Fprintln(p.out, "LAYING PLANS, every beam checked by EN 1992-1-1; an open point keeps a plan from being approved")
	show.Plans(p.out, answer.GetPlans())
	fmt.Fprintln(p.out)
	return nil
}

// loadFault adds what to do when data of an older scenario is in the way.
func loadFault(err error) error {
	if fault.KindOf(err) == fault.Invalid || fault.KindOf(err) == fault.Stale || fault.KindOf(err) == fault.Conflict {
		return &oldScenario{err}
	}
	return err
}

// oldScenario is a refusal that data of an older scenario may be the cause of.
type oldScenario struct{ error }

func (o *oldScenario) Unwrap() error { return o.error }

// serve runs a house around what is to be done in it, and stops it cleanly
// whatever comes of that.
func (p *program) serve(ctx context.Context, o allinone.Options, inside func(context.Context, *allinone.House) error) error {
	p.tell("Data in %s", o.Data)
	stop := p.progress("Starting")
	h, err := allinone.Start(ctx, o)
	if err != nil {
		stop()
		return err
	}
	defer h.Stop()
	ready, cancel := context.WithTimeout(ctx, readyWithin)
	err = h.Ready(ready)
	cancel()
	stop()
	if err != nil {
		return err
	}
	// Whatever the environment says: what is done inside is done in this house.
	p.server, p.separate = h.Address(), nil
	if err := inside(ctx, h); err != nil {
		return err
	}
	// Before the house, which would wait for the connections.
	p.hangUp()
	return nil
}

// untilStopped waits for the user's Ctrl-C, the usual end, or for a failure.
func (p *program) untilStopped(ctx context.Context, h *allinone.House) error {
	if desk := h.DeskAddress(); desk != "" {
		p.tell("Open in a browser: %s", desk)
	}
	p.tell("Serving at %s. Ctrl-C stops.", h.Address())
	select {
	case <-ctx.Done():
		p.tell("Stopping ...")
		return nil
	case err := <-h.Failed():
		return err
	}
}

// tell prints a message that is no result.
func (p *program) tell(format string, args ...any) { fmt.Fprintf(p.errw, format+"\n", args...) }

func readScenario(folder string) (*scenario.Scenario, error) {
	var files fs.FS = demo.Files
	if folder != "" {
		info, err := os.Stat(folder)
		if err != nil || !info.IsDir() {
			return nil, fault.New(fault.NotFound, "FOLDER_NOT_FOUND", "There is no folder %s.", folder)
		}
		files = os.DirFS(folder)
	}
	return scenario.Read(files)
}

func dataFolder(given, suffix string) (string, error) {
	if given != "" {
		return given, nil
	}
	dir, err := datafolder.Default()
	return dir + suffix, err
}

func clockFrom(starts string) (clock.Clock, error) {
	if starts == "" {
		return clock.System(), nil
	}
	t, err := time.Parse(time.RFC3339, starts)
	if err != nil {
		return nil, fault.New(fault.Invalid, "CLOCK_INVALID", "The start of the clock is not right.").
			At("--clock-starts-at", starts, "is no time", "a time like 2027-03-16T15:30:00Z")
	}
	return clock.StartingAt(t), nil
}

func (p *program) log(level string) (*slog.Logger, error) {
	var l slog.Level
	if err := l.UnmarshalText([]byte(level)); err != nil {
		return nil, fault.New(fault.Invalid, "LOG_LEVEL_UNKNOWN", "The log level is not right.").At("--log", level, "is no level", "debug, info, warn, error")
	}
	return slog.New(slog.NewTextHandler(p.errw, &slog.HandlerOptions{Level: l})), nil
}

const deskUsage = "address of the pages for browsers, host:port; default one port above --listen"

// deskAddress is where browsers find the desk: one port above the services,
// unless it is named.
func deskAddress(named, listen string) string {
	if named != "" {
		return named
	}
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return listen // refused when it is listened at
	}
	n, err := strconv.Atoi(port)
	if err != nil || n <= 0 {
		return net.JoinHostPort(host, "0")
	}
	return net.JoinHostPort(host, strconv.Itoa(n+1))
}

// demoPeople of a scenario, the dispatcher first, one for each role.
func demoPeople(s *scenario.Scenario) []auth.Person {
	p := s.Main.People
	return []auth.Person{
		{Name: p.Dispatcher, Roles: []auth.Role{auth.Dispatcher}},
		{Name: p.Yard, Roles: []auth.Role{auth.Yard}},
		{Name: p.LaboratoryContact, Roles: []auth.Role{auth.Laboratory}},
		{Name: p.DrawingOffice, Roles: []auth.Role{auth.DrawingOffice}},
		{Name: "Barnaby Wrenchfield", Roles: []auth.Role{auth.Operations}},
	}
}
