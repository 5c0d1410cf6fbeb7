package cli

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) stockAvailableCommand() *cobra.Command {
	var day string
	c := &cobra.Command{
		Use:   "available",
		Short: "Say what can be promised for a day, and what is short of the call-offs",
		Long: `Says what can be promised for a day, by product: free now; kept for the job it was
made for; provisional, which may be released by then and is never confirmed
before; what the call-offs from today to that day need and what of it is short;
and what a quarantine takes away and whom it hits.`,
		Example: "  spanyard stock available --day 2027-03-17",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return p.available(cmd, day) },
	}
	c.Flags().StringVar(&day, "day", "", "day asked about, YYYY-MM-DD; today, if not given")
	return c
}

func (p *program) available(cmd *cobra.Command, day string) error {
	c, err := p.stock()
	if err != nil {
		return err
	}
	ctx := p.as(cmd.Context())
	// Stock knows which day it is in the yard, and refuses one that is over.
	today, err := c.GetAvailability(ctx, &stockv1.GetAvailabilityRequest{Yard: p.yard})
	if err != nil {
		return err
	}
	asked, err := c.GetAvailability(ctx, &stockv1.GetAvailabilityRequest{Yard: p.yard, Day: day})
	if err != nil {
		return err
	}
	needs, err := p.needs(ctx, today.GetDay(), asked.GetDay())
	if err != nil {
		return err
	}
	answer, err := c.GetAvailability(ctx, &stockv1.GetAvailabilityRequest{Yard: p.yard, Day: asked.GetDay(), Needs: needs, AtLeast: asked.GetPosition()})
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) { show.Available(w, answer) })
}

// needs of the call-offs of some days. What can be promised is shown also when
// dispatch cannot be asked: then it says so.
func (p *program) needs(ctx context.Context, from, to string) ([]*stockv1.Need, error) {
	c, err := p.dispatch()
	if err != nil {
		return nil, err
	}
	answer, err := c.ListNeeds(ctx, &dispatchv1.ListNeedsRequest{Yard: p.yard, From: from, To: to})
	if err != nil {
		fmt.Fprintln(p.errw, "Dispatch cannot be asked for what is called off: "+err.Error())
		return nil, nil
	}
	for _, id := range answer.GetUnknownCallOffIds() {
		fmt.Fprintf(p.errw, "What call-off %s needs is not known: its floor has no approved laying plan.\n", id)
	}
	var out []*stockv1.Need
	for _, n := range answer.GetNeeds() {
		out = append(out, &stockv1.Need{
			Profile: n.GetBeam().GetProfile(), WirePattern: n.GetBeam().GetWirePattern(), LengthMm: n.GetBeam().GetLengthMm(),
			BlockKind: n.GetBlockKind(), Count: n.GetCount(), JobId: n.GetJobId(),
		})
	}
	return out, nil
}

func (p *program) pieceFreeCommand() *cobra.Command {
	var by, reason string
	c := &cobra.Command{
		Use:     "free PIECE...",
		Short:   "Let beams that are kept for their job go to anybody",
		Example: `  spanyard piece free B0412-017 B0412-018 --reason "the floor was drawn anew"`,
		Args:    cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.EndKeeping(p.as(cmd.Context()), &stockv1.EndKeepingRequest{
				Yard: p.yard, RequestId: p.request(), PieceIds: args, EndedBy: p.by(by), Reason: reason,
			})
			if err != nil {
				return err
			}
			return p.answer(answer, said("Free for anybody: beams %d.", len(args)))
		},
	}
	c.Flags().StringVar(&by, "by", "", "who answers for it; you, if not given")
	c.Flags().StringVar(&reason, "reason", "", "why (required)")
	required(c, "reason")
	return c
}
