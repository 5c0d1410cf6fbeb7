// Package cli is the command line: a gRPC client of the yard's services with
// tables for people and JSON for programs. Results go to standard output,
// everything else to standard error.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/user"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"spanyard.example/services/kit/fault"
)

// Exit statuses.
const (
	exitOK     = 0
	exitFailed = 1
	// exitUsage: the command line itself was wrong; nothing was asked.
	exitUsage = 2
	// exitStopped: stopped from outside before it was done, as a shell has it.
	exitStopped = 130
)

// defaultServer is where the program listens and asks unless told otherwise.
const defaultServer = "127.0.0.1:7350"

// program is one run of the command line.
type program struct {
	out, errw io.Writer

	server    string
	yard      string
	actor     string
	requestID string
	// accessKey is the file of the key that signs calls; empty when they are not signed.
	accessKey string
	json      bool
	verbose   bool

	// separate are the addresses of services that run separately; empty where
	// the service is the program's.
	separate map[service]*string
	// conns by address.
	conns map[string]*grpc.ClientConn
	// asked is the service of the last call.
	asked service
	// started is set when the command line was understood.
	started bool
}

// Main runs the command line and returns the exit status.
func Main(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	p := &program{out: stdout, errw: stderr}
	root := p.root()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	cmd, err := root.ExecuteContextC(ctx)
	p.hangUp()
	if err == nil {
		return exitOK
	}
	if !p.started {
		p.complain(err)
		fmt.Fprintf(stderr, "Try '%s --help'.\n", cmd.CommandPath())
		return exitUsage
	}
	if ctx.Err() != nil {
		fmt.Fprintln(stderr, "Stopped.")
		return exitStopped
	}
	p.complain(err)
	return exitFailed
}

// complain prints a fault as its sentence and one line for each wrong place.
// The cause is for logs and stays out, unless asked for.
func (p *program) complain(err error) {
	var old *oldScenario
	if errors.As(err, &old) {
		defer fmt.Fprintln(p.errw, "If the scenario's files have changed since this data folder was made, start over with --fresh.")
	}
	var f *fault.Error
	if !errors.As(err, &f) {
		fmt.Fprintln(p.errw, err)
		return
	}
	fmt.Fprintln(p.errw, f.Sentence)
	for _, place := range f.Places {
		fmt.Fprintln(p.errw, "  "+place.String())
	}
	if f.Kind == fault.Unavailable && p.asked != "" {
		address, _ := p.address(p.asked)
		fmt.Fprintf(p.errw, "Asked at %s. Is it running? 'spanyard serve' starts it; %s asks somewhere else.\n", address, p.otherPlace())
	}
	if p.verbose {
		fmt.Fprintf(p.errw, "reason %s, kind %s", f.Reason, f.Kind)
		if f.Cause != nil {
			fmt.Fprintf(p.errw, ", cause: %v", f.Cause)
		}
		fmt.Fprintln(p.errw)
	}
}

// Groups of commands, by who uses them.
const (
	groupProgram  = "program"
	groupDrawing  = "drawing"
	groupYard     = "yard"
	groupLab      = "lab"
	groupDispatch = "dispatch"
	groupSite     = "site"
)

func (p *program) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "spanyard",
		Short: "Plans and follows a precast yard: floors, batches, stacks, trucks",
		Long: `Spanyard runs a yard that makes prestressed T-beams and infill blocks and
delivers them as floors: laying plans, batches that cure and are tested,
stacks, and the morning's truck runs.

'spanyard demo' shows all of it with an invented yard. 'spanyard serve' runs
your own. All other commands ask a running program; they print tables, or
with --json the bare answer for other programs.`,
		Example: `  spanyard demo
  spanyard floor import rooms.xlsx
  spanyard batch release B0412 --by "Pim Quillbottle"
  spanyard morning plan 2027-03-17
  spanyard trace B0412-017`,
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.NoArgs,
		RunE:          help,
	}
	flags := root.PersistentFlags()
	flags.StringVar(&p.server, "server", envOr("SPANYARD_SERVER", defaultServer), "where the program listens (SPANYARD_SERVER)")
	p.separate = map[service]*string{}
	for _, s := range services {
		p.separate[s] = flags.String(s.flag(), envOr(s.variable(), ""), fmt.Sprintf("where %s listens when it runs separately (%s)", s, s.variable()))
	}
	flags.StringVar(&p.yard, "yard", envOr("SPANYARD_YARD", "demo"), "id of the yard (SPANYARD_YARD)")
	flags.StringVar(&p.actor, "as", envOr("SPANYARD_AS", osUser()), "who you are; recorded with every change (SPANYARD_AS)")
	flags.StringVar(&p.accessKey, "access-key", envOr("SPANYARD_ACCESS_KEY", ""),
		"private key that signs your calls, where services admit nobody without one (SPANYARD_ACCESS_KEY)")
	flags.StringVar(&p.requestID, "request-id", "", "repeat a change under its own id: it is made once at most")
	flags.BoolVar(&p.json, "json", false, "print the answer as JSON, nothing else, on standard output")
	flags.BoolVarP(&p.verbose, "verbose", "v", false, "say more on standard error: request ids, reason codes")
	root.AddGroup(
		&cobra.Group{ID: groupProgram, Title: "Program and yard:"},
		&cobra.Group{ID: groupDrawing, Title: "Drawing office:"},
		&cobra.Group{ID: groupYard, Title: "Yard staff:"},
		&cobra.Group{ID: groupLab, Title: "Batches and laboratory:"},
		&cobra.Group{ID: groupDispatch, Title: "Dispatcher:"},
		&cobra.Group{ID: groupSite, Title: "Building site:"},
	)
	root.SetHelpCommandGroupID(groupProgram)
	root.SetCompletionCommandGroupID(groupProgram)
	root.AddCommand(p.serveCommand(), p.demoCommand(), p.accountCommand(), p.yardCommand())
	root.AddCommand(p.catalogueCommand(), p.floorCommand(), p.beamCommand(), p.designCommand())
	root.AddCommand(p.stockCommand(), p.stackCommand(), p.traceCommand(), p.pieceCommand(), p.palletCommand(), p.picksCommand())
	root.AddCommand(p.batchCommand())
	root.AddCommand(p.truckCommand(), p.siteCommand(), p.callOffCommand(), p.morningCommand(), p.runCommand())
	root.AddCommand(p.dropCommand())
	p.inPlainWords(root)
	p.markStart(root)
	return root
}

// markStart notes when a command begins its work: until then, flags and
// arguments are being checked, and what is wrong is the command line.
func (p *program) markStart(c *cobra.Command) {
	if run := c.RunE; run != nil {
		c.RunE = func(cmd *cobra.Command, args []string) error {
			p.started = true
			return run(cmd, args)
		}
	}
	for _, child := range c.Commands() {
		p.markStart(child)
	}
}

// group returns a command that only holds others.
func group(id, use, short, long, example string, children ...*cobra.Command) *cobra.Command {
	c := &cobra.Command{Use: use, GroupID: id, Short: short, Long: long, Example: example, Args: cobra.NoArgs, RunE: help}
	c.AddCommand(children...)
	return c
}

func help(cmd *cobra.Command, _ []string) error { return cmd.Help() }

func envOr(name, otherwise string) string {
	if v := strings.TrimSpace(os.Getenv(name)); v != "" {
		return v
	}
	return otherwise
}

// osUser is the name that the operating system knows the user by.
func osUser() string {
	u, err := user.Current()
	if err != nil {
		return ""
	}
	if u.Name != "" {
		return u.Name
	}
	return u.Username
}

// otherPlace is the flag that says where else the last call could have gone.
func (p *program) otherPlace() string {
	_, flag := p.address(p.asked)
	apart := slices.ContainsFunc(services, func(s service) bool {
		_, of := p.address(s)
		return of != "--server"
	})
	if flag == "--server" && apart {
		return flag + " or --" + p.asked.flag()
	}
	return flag
}
