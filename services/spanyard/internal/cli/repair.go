package cli

import (
	"io"

	"github.com/spf13/cobra"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) runRepairCommand() *cobra.Command {
	var by, reason string
	c := &cobra.Command{
		Use:   "repair DAY",
		Short: "Exchange the beams that stop runs of a day for equal ones",
		Long: `Exchanges the beams that stop a day's runs, quarantined or broken ones, for equal
beams that lie free; they are marked anew. Loads, trucks and times stay, and no run
that is not stopped is touched. What cannot be exchanged is listed with the reason.`,
		Example: `  spanyard run repair 2027-03-17 --reason "batch B0211 is quarantined"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.RepairRuns(p.as(cmd.Context()), &dispatchv1.RepairRunsRequest{
				Yard: p.yard, RequestId: p.request(), Day: args[0], RepairedBy: p.by(by), Reason: reason,
			})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Repairs(w, args[0], answer.GetRepairs()) })
		},
	}
	c.Flags().StringVar(&by, "by", "", "who answers for it; you, if not given")
	c.Flags().StringVar(&reason, "reason", "", "why (required)")
	required(c, "reason")
	return c
}
