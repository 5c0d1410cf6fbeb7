package cli

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) runCommand() *cobra.Command {
	list := &cobra.Command{
		Use:     "list DAY",
		Short:   "List the confirmed runs of a day as they stand now",
		Example: "  spanyard run list 2027-03-17",
		Args:    cobra.ExactArgs(1),
		RunE:    p.listRuns,
	}
	one := &cobra.Command{
		Use:     "show DAY RUN",
		Short:   "Print the sheet of a confirmed run: times, axle loads, piles, picks",
		Example: "  spanyard run show 2027-03-17 RUN",
		Args:    cobra.ExactArgs(2),
		RunE:    p.showRun,
	}
	pick := &cobra.Command{
		Use:     "pick DAY RUN",
		Short:   "Say that all pieces of a run are off their stacks",
		Example: "  spanyard run pick 2027-03-17 RUN",
		Args:    cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			run, err := p.findRun(p.as(cmd.Context()), args[0], args[1])
			if err != nil {
				return err
			}
			return p.pickRun(cmd, run.GetRun())
		},
	}
	load := &cobra.Command{
		Use:     "load DAY RUN",
		Short:   "Say that all pieces of a run are on its truck",
		Example: "  spanyard run load 2027-03-17 RUN",
		Args:    cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			run, err := p.findRun(p.as(cmd.Context()), args[0], args[1])
			if err != nil {
				return err
			}
			return p.load(cmd, args[1], run.GetRun().GetTruckId(), piecesOf(run.GetRun().GetPicks()))
		},
	}
	return group(groupDispatch, "run", "Follow confirmed runs: picked, loaded, gone, delivered", "",
		"  spanyard run list 2027-03-17\n  spanyard run depart RUN",
		list, one, p.runPapersCommand(), pick, load, p.runDepartCommand(), p.runDeliverCommand(), p.runRepairCommand(), p.runCancelCommand())
}

func piecesOf(picks []*dispatcheventv1.Pick) []string {
	var ids []string
	for _, pick := range picks {
		ids = append(ids, pick.GetPieceId())
	}
	return ids
}

func (p *program) listRuns(cmd *cobra.Command, args []string) error {
	c, err := p.dispatch()
	if err != nil {
		return err
	}
	ctx := p.as(cmd.Context())
	answer, err := c.ListRuns(ctx, &dispatchv1.ListRunsRequest{Yard: p.yard, Day: args[0]})
	if err != nil {
		return err
	}
	y, err := paper(ctx, c, p.yard)
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) { show.Runs(w, answer.GetRuns(), y) })
}

// findRun returns a confirmed run of a day.
func (p *program) findRun(ctx context.Context, day, id string) (*dispatchv1.RunStatus, error) {
	c, err := p.dispatch()
	if err != nil {
		return nil, err
	}
	answer, err := c.ListRuns(ctx, &dispatchv1.ListRunsRequest{Yard: p.yard, Day: day})
	if err != nil {
		return nil, err
	}
	for _, run := range answer.GetRuns() {
		if run.GetRun().GetRunId() == id {
			return run, nil
		}
	}
	return nil, fault.New(fault.NotFound, "RUN_UNKNOWN", "There is no confirmed run %s on %s.", id, day)
}

func (p *program) showRun(cmd *cobra.Command, args []string) error {
	ctx := p.as(cmd.Context())
	run, err := p.findRun(ctx, args[0], args[1])
	if err != nil {
		return err
	}
	c, err := p.dispatch()
	if err != nil {
		return err
	}
	y, err := paper(ctx, c, p.yard)
	if err != nil {
		return err
	}
	return p.answer(run, func(w io.Writer) {
		show.Runs(w, []*dispatchv1.RunStatus{run}, y)
		show.LoadingCautions(w)
		show.Run(w, run.GetRun(), y)
	})
}

func (p *program) runDepartCommand() *cobra.Command {
	var by string
	c := &cobra.Command{
		Use:     "depart RUN",
		Short:   "Let a loaded truck leave: every piece loaded, none quarantined",
		Example: `  spanyard run depart RUN --by "Rosamund Tickpenny"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.DepartRun(p.as(cmd.Context()), &dispatchv1.DepartRunRequest{
				Yard: p.yard, RequestId: p.request(), RunId: args[0], DepartedBy: p.by(by),
			})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) {
				fmt.Fprintf(w, "Run %s may leave.\n", args[0])
				show.LoadingCautions(w)
			})
		},
	}
	c.Flags().StringVar(&by, "by", "", "who lets it go; you, if not given")
	return c
}

func (p *program) runDeliverCommand() *cobra.Command {
	var by, reason string
	var refused []string
	var all bool
	c := &cobra.Command{
		Use:   "deliver RUN DROP",
		Short: "Record that a drop of a run was set down at its site",
		Long: `Records that a drop was set down. What the site does not take, because it is
broken, wrong or not wanted, is named with --refused, or all of it with
--refuse-all: the truck brings it back, and its places are to be filled again.
When it is in the yard, 'spanyard piece return' puts it back onto a stack and
'spanyard piece scrap' writes off what is broken, also later and at the site.`,
		Example: `  spanyard run deliver RUN 1 --received-by "Foreman Bram Oddsock"
  spanyard run deliver RUN 1 --received-by "Bram Oddsock" --refused B0412-017 --reason "cracked"`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			drop, err := dropNumber(args[1])
			if err != nil {
				return err
			}
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.DeliverDrop(p.as(cmd.Context()), &dispatchv1.DeliverDropRequest{
				Yard: p.yard, RequestId: p.request(), RunId: args[0], DropNumber: drop, ReceivedBy: by,
				RefusedPieceIds: refused, RefuseAll: all, RefusalReason: reason,
			})
			if err != nil {
				return err
			}
			if n := answer.GetRefusedCount(); n > 0 {
				return p.answer(answer, said("Drop %d of run %s is delivered: pieces %d; refused %d, which the truck brings back.", drop, args[0], answer.GetPieceCount(), n))
			}
			return p.answer(answer, said("Drop %d of run %s is delivered: pieces %d.", drop, args[0], answer.GetPieceCount()))
		},
	}
	c.Flags().StringVar(&by, "received-by", "", "who received it, or refused it, at the site (required)")
	c.Flags().StringSliceVar(&refused, "refused", nil, "pieces that the site does not take")
	c.Flags().BoolVar(&all, "refuse-all", false, "the site takes nothing of the drop")
	c.Flags().StringVar(&reason, "reason", "", "why the site refuses what it does not take")
	required(c, "received-by")
	return c
}

func (p *program) runCancelCommand() *cobra.Command {
	var reason string
	c := &cobra.Command{
		Use:     "cancel RUN",
		Short:   "Take a run that has not left off the day and free its pieces",
		Example: `  spanyard run cancel RUN --reason "the site is closed"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.CancelRun(p.as(cmd.Context()), &dispatchv1.CancelRunRequest{
				Yard: p.yard, RequestId: p.request(), RunId: args[0], Reason: reason,
			})
			if err != nil {
				return err
			}
			return p.answer(answer, said("Run %s is cancelled. What was not picked is free again; take back what was: 'spanyard piece return'.", args[0]))
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "why (required)")
	required(c, "reason")
	return c
}

func (p *program) picksCommand() *cobra.Command {
	var wait bool
	var after uint64
	var day string
	c := &cobra.Command{
		Use:     "picks",
		GroupID: groupYard,
		Short:   "Show what has to be picked, in loading order, and what changed",
		Long: `Shows the picks of confirmed runs and what happened to the runs since. Every
entry begins with its position: give it with --after to go on from there, also
after a lost connection. With --json, one JSON object on each line.`,
		Example: `  spanyard picks --day 2027-03-17
  spanyard picks --follow --after 41`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return p.showPicks(cmd, &dispatchv1.WatchPicksRequest{Yard: p.yard, AfterPosition: after, Day: day}, wait)
		},
	}
	c.Flags().BoolVarP(&wait, "follow", "f", false, "wait for more, until Ctrl-C; without it, end after a second of silence")
	c.Flags().Uint64Var(&after, "after", 0, "entries after this position; 0 is from the beginning")
	c.Flags().StringVar(&day, "day", "", "only this day, YYYY-MM-DD")
	return c
}

// quiet is how long a feed has to be silent to count as read to its end.
const quiet = time.Second

// showPicks reads the feed: for good, or until it falls silent.
func (p *program) showPicks(cmd *cobra.Command, req *dispatchv1.WatchPicksRequest, wait bool) error {
	c, err := p.dispatch()
	if err != nil {
		return err
	}
	ctx := p.as(cmd.Context())
	y, err := paper(ctx, c, p.yard)
	if err != nil {
		return err
	}
	if !p.json {
		show.LoadingCautions(p.out)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	stream, err := c.WatchPicks(ctx, req)
	if err != nil {
		return err
	}
	if !wait {
		silence := time.AfterFunc(quiet, stop)
		defer silence.Stop()
		recv := stream.Recv
		return follow(ctx, func() (*dispatchv1.WatchPicksResponse, error) {
			defer silence.Reset(quiet)
			return recv()
		}, p.printChange(y))
	}
	return follow(ctx, stream.Recv, p.printChange(y))
}

func (p *program) printChange(y show.Yard) func(*dispatchv1.WatchPicksResponse) error {
	return func(e *dispatchv1.WatchPicksResponse) error {
		if p.json {
			return writeJSON(p.out, e, false)
		}
		fmt.Fprintln(p.out)
		show.Change(p.out, e, y)
		return nil
	}
}
