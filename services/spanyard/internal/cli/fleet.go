package cli

import (
	"io"

	"github.com/spf13/cobra"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/spanyard/internal/show"
	"spanyard.example/services/spanyard/internal/yardfile"
)

func (p *program) yardCommand() *cobra.Command {
	rules := &cobra.Command{
		Use:     "show",
		Short:   "Show the rules of loading and driving",
		Example: "  spanyard yard show",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.GetYardRules(p.as(cmd.Context()), &dispatchv1.GetYardRulesRequest{Yard: p.yard})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.DispatchRules(w, answer.GetRules()) })
		},
	}
	set := &cobra.Command{
		Use:   "set FILE",
		Short: "Open a yard, or change its rules, from a YAML file",
		Long: `Sets the rules of a yard; the first time opens it. The file has two sections:
"stock" (time zone, least ages, stacks) and "dispatch" (place, roads, piles).
Each section is set in its own service: repeat the command if the second fails.`,
		Example: "  spanyard yard set yard.yaml --yard thistledown",
		Args:    cobra.ExactArgs(1),
		RunE:    p.setYard,
	}
	return group(groupProgram, "yard", "The rules of a yard; opens a yard", "", "  spanyard yard set yard.yaml\n  spanyard yard show", set, rules)
}

func (p *program) setYard(cmd *cobra.Command, args []string) error {
	name, content, err := readFile(args[0])
	if err != nil {
		return err
	}
	stockRules, rules, err := yardfile.ReadYard(name, content)
	if err != nil {
		return err
	}
	stock, err := p.stock()
	if err != nil {
		return err
	}
	dispatch, err := p.dispatch()
	if err != nil {
		return err
	}
	ctx := p.as(cmd.Context())
	stockRules.Yard, stockRules.RequestId = p.yard, p.request()
	if _, err := stock.SetYardRules(ctx, stockRules); err != nil {
		return err
	}
	// Each service keeps its own ledger, so one id serves for both.
	answer, err := dispatch.SetYardRules(ctx, &dispatchv1.SetYardRulesRequest{Yard: p.yard, RequestId: stockRules.GetRequestId(), Rules: rules})
	if err != nil {
		return err
	}
	return p.answer(answer, said("The rules of yard %s are set.", p.yard))
}

func (p *program) truckCommand() *cobra.Command {
	list := &cobra.Command{
		Use:     "list",
		Short:   "List the yard's trucks",
		Example: "  spanyard truck list",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.ListTrucks(p.as(cmd.Context()), &dispatchv1.ListTrucksRequest{Yard: p.yard})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Trucks(w, answer.GetTrucks()) })
		},
	}
	set := &cobra.Command{
		Use:     "set FILE",
		Short:   "Replace the yard's trucks by a YAML file",
		Example: "  spanyard truck set trucks.yaml",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			req := &dispatchv1.SetTrucksRequest{}
			c, err := p.fromFile(args[0], func(name string, content []byte) error { return yardfile.Read(name, content, req, ownFields...) })
			if err != nil {
				return err
			}
			req.Yard, req.RequestId = p.yard, p.request()
			answer, err := c.SetTrucks(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			return p.answer(answer, said("The yard has these trucks now: %d.", len(req.GetTrucks())))
		},
	}
	return group(groupDispatch, "truck", "The yard's trucks", "", "  spanyard truck list\n  spanyard truck set trucks.yaml", list, set)
}

// fromFile reads a file and returns the service that its content goes to.
func (p *program) fromFile(path string, read func(name string, content []byte) error) (dispatchv1.DispatchServiceClient, error) {
	name, content, err := readFile(path)
	if err != nil {
		return nil, err
	}
	if err := read(name, content); err != nil {
		return nil, err
	}
	return p.dispatch()
}

func (p *program) siteCommand() *cobra.Command {
	list := &cobra.Command{
		Use:     "list",
		Short:   "List the building sites",
		Example: "  spanyard site list",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.ListSites(p.as(cmd.Context()), &dispatchv1.ListSitesRequest{Yard: p.yard})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Sites(w, answer.GetSites()) })
		},
	}
	set := &cobra.Command{
		Use:     "set FILE",
		Short:   "Replace the building sites by a YAML file",
		Example: "  spanyard site set sites.yaml",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			req := &dispatchv1.SetSitesRequest{}
			c, err := p.fromFile(args[0], func(name string, content []byte) error { return yardfile.Read(name, content, req, ownFields...) })
			if err != nil {
				return err
			}
			req.Yard, req.RequestId = p.yard, p.request()
			answer, err := c.SetSites(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			return p.answer(answer, said("The yard delivers to these sites now: %d.", len(req.GetSites())))
		},
	}
	return group(groupDispatch, "site", "Building sites", "", "  spanyard site list\n  spanyard site set sites.yaml", list, set, p.siteTravelCommand())
}

func (p *program) callOffCommand() *cobra.Command {
	list := &cobra.Command{
		Use:     "list DAY",
		Short:   "List the call-offs of a day",
		Example: "  spanyard call-off list 2027-03-17",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.ListCallOffs(p.as(cmd.Context()), &dispatchv1.ListCallOffsRequest{Yard: p.yard, Day: args[0]})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.CallOffs(w, answer.GetCallOffs(), answer.GetConfirmedIds()) })
		},
	}
	add := &cobra.Command{
		Use:     "add FILE",
		Short:   "Take call-offs from a YAML file, all or none",
		Example: "  spanyard call-off add call-offs.yaml",
		Args:    cobra.ExactArgs(1),
		RunE:    p.addCallOffs,
	}
	floors := &cobra.Command{
		Use:     "floors",
		Short:   "List the approved floors that can be called off",
		Example: "  spanyard call-off floors",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.ListFloors(p.as(cmd.Context()), &dispatchv1.ListFloorsRequest{Yard: p.yard})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Floors(w, answer.GetFloors()) })
		},
	}
	return group(groupDispatch, "call-off", "What sites ask for on a morning", "",
		"  spanyard call-off list 2027-03-17\n  spanyard call-off add call-offs.yaml", list, add, floors, p.callOffCancelCommand())
}

func (p *program) addCallOffs(cmd *cobra.Command, args []string) error {
	req := &dispatchv1.CallOffRoomsRequest{}
	c, err := p.fromFile(args[0], func(name string, content []byte) error { return yardfile.Read(name, content, req, ownFields...) })
	if err != nil {
		return err
	}
	req.Yard, req.RequestId = p.yard, p.request()
	answer, err := c.CallOffRooms(p.as(cmd.Context()), req)
	if err != nil {
		return err
	}
	return p.answer(answer, said("Taken: call-offs %d.", len(req.GetCallOffs())))
}

func (p *program) callOffCancelCommand() *cobra.Command {
	var reason string
	c := &cobra.Command{
		Use:     "cancel CALL-OFF",
		Short:   "Withdraw a call-off that is not on a confirmed run",
		Example: `  spanyard call-off cancel C-07 --reason "the site is not ready"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.CancelCallOff(p.as(cmd.Context()), &dispatchv1.CancelCallOffRequest{
				Yard: p.yard, RequestId: p.request(), CallOffId: args[0], Reason: reason,
			})
			if err != nil {
				return err
			}
			return p.answer(answer, said("Call-off %s is withdrawn.", args[0]))
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "why (required)")
	required(c, "reason")
	return c
}
