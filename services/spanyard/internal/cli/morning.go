package cli

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) morningCommand() *cobra.Command {
	list := &cobra.Command{
		Use:     "list DAY",
		Short:   "List the plans of a day",
		Example: "  spanyard morning list 2027-03-17",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			ctx := p.as(cmd.Context())
			answer, err := c.ListMornings(ctx, &dispatchv1.ListMorningsRequest{Yard: p.yard, Day: args[0]})
			if err != nil {
				return err
			}
			zone, err := zoneOf(ctx, c, p.yard)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Mornings(w, answer.GetMornings(), zone) })
		},
	}
	one := &cobra.Command{
		Use:     "show PLAN",
		Short:   "Print a plan: runs, piles, picks, what is left and why",
		Example: "  spanyard morning show 2027-03-17-P1",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			ctx := p.as(cmd.Context())
			answer, err := c.GetMorning(ctx, &dispatchv1.GetMorningRequest{Yard: p.yard, PlanId: args[0]})
			if err != nil {
				return err
			}
			return p.printMorning(ctx, c, answer.GetMorning())
		},
	}
	return group(groupDispatch, "morning", "Plan a morning's runs and confirm them",
		"A plan binds nobody until it is confirmed: then its pieces are reserved in one step\nand the yard gets its picks.",
		"  spanyard morning plan 2027-03-17\n  spanyard morning confirm PLAN",
		p.morningPlanCommand(), list, one, p.morningEditCommand(), p.morningCompareCommand(), p.morningExplainCommand(),
		p.morningConfirmCommand(), p.morningReplanCommand())
}

// printMorning prints a plan with names and limits. As JSON it is the morning
// alone, the same from every command that shows one.
func (p *program) printMorning(ctx context.Context, c dispatchv1.DispatchServiceClient, m *dispatchv1.Morning) error {
	if p.json {
		return writeJSON(p.out, m, true)
	}
	y, err := paper(ctx, c, p.yard)
	if err != nil {
		return err
	}
	var now []*dispatchv1.RunStatus
	if m.GetState() == dispatchv1.MorningState_MORNING_STATE_CONFIRMED {
		// What has become of the runs since stands before all else: nobody may
		// work from a confirmed plan and miss a quarantine.
		runs, err := c.ListRuns(ctx, &dispatchv1.ListRunsRequest{Yard: p.yard, Day: m.GetPlan().GetDay()})
		if err != nil {
			return err
		}
		for _, r := range runs.GetRuns() {
			if r.GetPlanId() == m.GetPlan().GetPlanId() {
				now = append(now, r)
			}
		}
	}
	show.Morning(p.out, m, now, y)
	return nil
}

func (p *program) morningPlanCommand() *cobra.Command {
	req := &dispatchv1.PlanMorningRequest{}
	c := &cobra.Command{
		Use:   "plan DAY",
		Short: "Plan a morning from what is free and called off",
		Long: `Plans a morning: which truck carries what, on which run, in which order, and
what cannot be brought and why. Every limit holds. Nothing is reserved until the
plan is confirmed.`,
		Example: "  spanyard morning plan 2027-03-17\n  spanyard morning plan 2027-03-17 --without T2 --budget-ms 5000",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			ctx, cancel := p.planning(cmd.Context(), req.GetBudgetMs())
			defer cancel()
			req.Yard, req.RequestId, req.Day = p.yard, p.request(), args[0]
			answer, err := c.PlanMorning(ctx, req)
			if err != nil {
				return err
			}
			return p.printMorning(ctx, c, answer.GetMorning())
		},
	}
	c.Flags().StringSliceVar(&req.WithoutTruckIds, "without", nil, "trucks that stay in the yard, with commas between")
	c.Flags().Int32Var(&req.BudgetMs, "budget-ms", 0, "longest time for improving the plan, ms; 0 is the default of 500")
	return c
}

func (p *program) morningConfirmCommand() *cobra.Command {
	var by string
	c := &cobra.Command{
		Use:     "confirm PLAN",
		Short:   "Reserve a plan's pieces in one step and issue its picks",
		Example: `  spanyard morning confirm 2027-03-17-P1 --by "Rosamund Tickpenny"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.ConfirmMorning(p.as(cmd.Context()), &dispatchv1.ConfirmMorningRequest{
				Yard: p.yard, RequestId: p.request(), PlanId: args[0], ConfirmedBy: p.by(by),
			})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) {
				fmt.Fprintf(w, "Plan %s is confirmed: runs %d, pieces reserved %d. The picks are out: 'spanyard picks'.\n",
					answer.GetPlanId(), answer.GetRunCount(), answer.GetPieceCount())
				show.LoadingCautions(w)
			})
		},
	}
	c.Flags().StringVar(&by, "by", "", "who confirms it; you, if not given")
	return c
}
