package cli

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/spanyard/internal/show"
)

// happeningFlags are what can happen to a day.
type happeningFlags struct {
	truckOut, siteClosed, late, truckBack, siteOpen []string
}

func (p *program) morningReplanCommand() *cobra.Command {
	var h happeningFlags
	req := &dispatchv1.ReplanMorningRequest{}
	c := &cobra.Command{
		Use:   "replan DAY",
		Short: "Plan a day anew after something happened, and change only what it hits",
		Long: `Records what happened - a truck out, a site closed, a run that is late - takes the
runs that it hits off the day, and plans again what they were to bring. What is being
loaded, is on the road or is not hit stays as it is. The plan is a draft: the site and
the yard hear of it when it is confirmed. What changes is listed run by run.`,
		Example: `  spanyard morning replan 2027-03-17 --truck-out T2@9:30 --reason "gearbox" --try
  spanyard morning replan 2027-03-17 --late 2027-03-17-P1-R04=40 --reason "road works"
  spanyard morning replan 2027-03-17 --stopped --reason "batch B0211 is quarantined"`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			var err error
			if req.Happenings, err = h.happenings(req.GetReason()); err != nil {
				return err
			}
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			ctx, cancel := p.planning(cmd.Context(), req.GetBudgetMs())
			defer cancel()
			req.Yard, req.RequestId, req.Day = p.yard, p.request(), args[0]
			answer, err := c.ReplanMorning(ctx, req)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Replanned(w, args[0], req.GetTryOnly(), answer) })
		},
	}
	f := c.Flags()
	f.StringSliceVar(&h.truckOut, "truck-out", nil, "TRUCK or TRUCK@H:MM: stands still, from then on")
	f.StringSliceVar(&h.siteClosed, "site-closed", nil, "SITE, SITE@H:MM, or SITE@-H:MM: is closed, from or until then")
	f.StringSliceVar(&h.late, "late", nil, "RUN=MINUTES: what is left of the run is so much later")
	f.StringSliceVar(&h.truckBack, "truck-back", nil, "trucks that drive again")
	f.StringSliceVar(&h.siteOpen, "site-open", nil, "sites that are open again")
	f.BoolVar(&req.StoppedRuns, "stopped", false, "plan the stopped runs again as well")
	f.StringVar(&req.Reason, "reason", "", "why (required)")
	f.BoolVar(&req.TryOnly, "try", false, "record nothing, only say what would come of it")
	f.Int32Var(&req.BudgetMs, "budget-ms", 0, "longest time for improving the plan, ms; 0 is the default of 500")
	required(c, "reason")
	return c
}

func (h *happeningFlags) happenings(reason string) ([]*dispatchv1.Happening, error) {
	var out []*dispatchv1.Happening
	hinder := func(x *eventv1.Hindrance) {
		x.Reason = reason
		out = append(out, &dispatchv1.Happening{What: &dispatchv1.Happening_Hindrance{Hindrance: x}})
	}
	for _, text := range h.truckOut {
		id, from, _, err := fromUntil("truck-out", text)
		if err != nil {
			return nil, err
		}
		hinder(&eventv1.Hindrance{TruckId: id, FromMinute: from})
	}
	for _, text := range h.siteClosed {
		id, from, until, err := fromUntil("site-closed", text)
		if err != nil {
			return nil, err
		}
		hinder(&eventv1.Hindrance{SiteId: id, FromMinute: from, UntilMinute: until})
	}
	for _, text := range h.late {
		run, minutes, ok := strings.Cut(text, "=")
		n, err := strconv.ParseInt(minutes, 10, 32)
		if !ok || err != nil {
			return nil, badFlag("late", text, "RUN=MINUTES, such as 2027-03-17-P1-R04=40")
		}
		out = append(out, &dispatchv1.Happening{What: &dispatchv1.Happening_Delay{Delay: &eventv1.RunDelayed{RunId: run, Minutes: int32(n), Reason: reason}}})
	}
	for _, id := range h.truckBack {
		out = append(out, &dispatchv1.Happening{What: &dispatchv1.Happening_Ended{Ended: &eventv1.HindranceEnded{TruckId: id}}})
	}
	for _, id := range h.siteOpen {
		out = append(out, &dispatchv1.Happening{What: &dispatchv1.Happening_Ended{Ended: &eventv1.HindranceEnded{SiteId: id}}})
	}
	return out, nil
}

// fromUntil reads ID, ID@H:MM and ID@-H:MM.
func fromUntil(flag, text string) (id string, from, until int32, err error) {
	id, at, timed := strings.Cut(text, "@")
	if !timed {
		return id, 0, 0, nil
	}
	end, ends := strings.CutPrefix(at, "-")
	minute, err := minuteOf(end)
	if err != nil || id == "" {
		return "", 0, 0, badFlag(flag, text, "an id, or an id and a time: T2@9:30")
	}
	if ends {
		return id, 0, minute, nil
	}
	return id, minute, 0, nil
}

func (p *program) siteTravelCommand() *cobra.Command {
	set := &cobra.Command{
		Use:   "set FILE",
		Short: "Replace the table of known ways, from a CSV file",
		Long: `Replaces the table of ways of which distance and time are known. The file has the
columns from, to, minutes, km; "yard" is the yard. A way that is not in it is worked
out from places, road factor and speed, each direction by itself.`,
		Example: "  spanyard site travel set travel.csv",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, content, err := readFile(args[0])
			if err != nil {
				return err
			}
			legs, err := readTravel(name, content)
			if err != nil {
				return err
			}
			return p.setTravel(cmd.Context(), legs)
		},
	}
	list := &cobra.Command{
		Use:     "list",
		Short:   "List the known ways",
		Example: "  spanyard site travel list",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.ListTravel(p.as(cmd.Context()), &dispatchv1.ListTravelRequest{Yard: p.yard})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Travel(w, answer.GetLegs()) })
		},
	}
	c := &cobra.Command{Use: "travel", Short: "Known ways between the yard and the sites", Example: "  spanyard site travel set travel.csv", Args: cobra.NoArgs, RunE: help}
	c.AddCommand(set, p.siteTravelFetchCommand(), list)
	return c
}

func (p *program) setTravel(ctx context.Context, legs []*eventv1.TravelLeg) error {
	c, err := p.dispatch()
	if err != nil {
		return err
	}
	answer, err := c.SetTravel(p.as(ctx), &dispatchv1.SetTravelRequest{Yard: p.yard, RequestId: p.request(), Legs: legs})
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		fmt.Fprintf(w, "Known ways: %d. Plans that are not confirmed are to be made again.\n", len(legs))
	})
}
