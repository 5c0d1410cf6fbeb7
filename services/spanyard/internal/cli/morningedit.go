package cli

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

// wishFlags are what can be wished of a plan.
type wishFlags struct {
	lock, unlock, move, forbid, allow, without, with, leaveOut, takeIn []string
}

func (p *program) morningEditCommand() *cobra.Command {
	var w wishFlags
	req := &dispatchv1.EditMorningRequest{}
	c := &cobra.Command{
		Use:   "edit PLAN",
		Short: "Make a plan out of one that is not confirmed, with what you wish",
		Long: `Makes a new plan out of one that is not confirmed. What is not wished otherwise
stays where it can: a run stays as it is, or goes later, or on another truck, or its
load is planned anew, in that order. What that changes and costs is printed. A wish
that cannot be had is refused with every limit that stands against it. The plan
before stays as well. Runs may be named without their plan: R03.`,
		Example: `  spanyard morning edit 2027-03-17-P1 --move R05=T2 --try
  spanyard morning edit 2027-03-17-P1 --move R05=T2@8:30 --lock R01,R04
  spanyard morning edit 2027-03-17-P1 --forbid C-09=T5 --leave-out C-12 --others`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			edits, err := w.edits(args[0])
			if err != nil {
				return err
			}
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			req.Yard, req.RequestId, req.PlanId, req.Edits = p.yard, p.request(), args[0], edits
			ctx, cancel := p.planning(cmd.Context(), req.GetBudgetMs())
			defer cancel()
			answer, err := c.EditMorning(ctx, req)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Edited(w, args[0], answer) })
		},
	}
	f := c.Flags()
	f.StringSliceVar(&w.lock, "lock", nil, "runs that stay as they are")
	f.StringSliceVar(&w.unlock, "unlock", nil, "runs that need not stay any more")
	f.StringSliceVar(&w.move, "move", nil, "RUN=TRUCK or RUN=TRUCK@H:MM: the load goes on the truck, from then on")
	f.StringSliceVar(&w.forbid, "forbid", nil, "CALL-OFF=TRUCK: the truck brings nothing of it")
	f.StringSliceVar(&w.allow, "allow", nil, "CALL-OFF=TRUCK: the truck may bring it again")
	f.StringSliceVar(&w.without, "without", nil, "trucks that stay in the yard")
	f.StringSliceVar(&w.with, "with", nil, "trucks that drive again")
	f.StringSliceVar(&w.leaveOut, "leave-out", nil, "call-offs that are left out")
	f.StringSliceVar(&w.takeIn, "take-in", nil, "call-offs that are taken in again")
	f.BoolVar(&req.PlanOthers, "others", false, "plan the runs anew that are neither locked nor moved")
	f.BoolVar(&req.KeepOthers, "keep", false, "keep the other runs even if that leaves more behind")
	f.BoolVar(&req.TryOnly, "try", false, "record nothing, only say what would come of it")
	f.Int32Var(&req.BudgetMs, "budget-ms", 0, "longest time for improving the plan, ms; 0 is the default of 500")
	c.MarkFlagsMutuallyExclusive("others", "keep")
	return c
}

// edits are the wishes of the flags.
func (w *wishFlags) edits(plan string) ([]*dispatchv1.PlanEdit, error) {
	var out []*dispatchv1.PlanEdit
	for _, id := range w.lock {
		out = append(out, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_LockRunId{LockRunId: runOf(plan, id)}})
	}
	for _, id := range w.unlock {
		out = append(out, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_UnlockRunId{UnlockRunId: runOf(plan, id)}})
	}
	for _, text := range w.move {
		move, err := moveOf(plan, text)
		if err != nil {
			return nil, err
		}
		out = append(out, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_MoveRun{MoveRun: move}})
	}
	for _, text := range w.forbid {
		f, err := forbiddenOf("forbid", text)
		if err != nil {
			return nil, err
		}
		out = append(out, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_ForbidTruck{ForbidTruck: f}})
	}
	for _, text := range w.allow {
		f, err := forbiddenOf("allow", text)
		if err != nil {
			return nil, err
		}
		out = append(out, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_AllowTruck{AllowTruck: f}})
	}
	for _, id := range w.without {
		out = append(out, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_WithoutTruckId{WithoutTruckId: id}})
	}
	for _, id := range w.with {
		out = append(out, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_WithTruckId{WithTruckId: id}})
	}
	for _, id := range w.leaveOut {
		out = append(out, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_LeaveOutCallOffId{LeaveOutCallOffId: id}})
	}
	for _, id := range w.takeIn {
		out = append(out, &dispatchv1.PlanEdit{Wish: &dispatchv1.PlanEdit_TakeInCallOffId{TakeInCallOffId: id}})
	}
	return out, nil
}

// runOf is the id of a run that may be named without its plan.
func runOf(plan, id string) string {
	if strings.Contains(id, "-") {
		return id
	}
	return plan + "-" + id
}

func moveOf(plan, text string) (*dispatchv1.MoveRun, error) {
	run, truck, ok := strings.Cut(text, "=")
	truck, at, timed := strings.Cut(truck, "@")
	if !ok || run == "" || truck == "" {
		return nil, badFlag("move", text, "RUN=TRUCK or RUN=TRUCK@H:MM, such as R05=T2@8:30")
	}
	move := &dispatchv1.MoveRun{RunId: runOf(plan, run), TruckId: truck}
	if timed {
		minute, err := minuteOf(at)
		if err != nil {
			return nil, badFlag("move", text, "RUN=TRUCK@H:MM, such as R05=T2@8:30")
		}
		move.NotBeforeMinute = minute
	}
	return move, nil
}

func forbiddenOf(flag, text string) (*eventv1.ForbiddenTruck, error) {
	callOff, truck, ok := strings.Cut(text, "=")
	if !ok || callOff == "" || truck == "" {
		return nil, badFlag(flag, text, "CALL-OFF=TRUCK, such as C-09=T5")
	}
	return &eventv1.ForbiddenTruck{CallOffId: callOff, TruckId: truck}, nil
}

// minuteOf reads a time of the day as h:mm.
func minuteOf(text string) (int32, error) {
	h, m, ok := strings.Cut(text, ":")
	hour, errH := strconv.Atoi(h)
	minute, errM := strconv.Atoi(m)
	if !ok || errH != nil || errM != nil || hour < 0 || hour > 23 || minute < 0 || minute > 59 {
		return 0, fmt.Errorf("%q is no time of the day", text)
	}
	return int32(60*hour + minute), nil
}

func badFlag(flag, text, allowed string) error {
	return fault.New(fault.Invalid, "BAD_FLAG", "The option --%s cannot be understood.", flag).At("--"+flag, text, "is not as it should be", allowed)
}

func (p *program) morningCompareCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "compare BEFORE AFTER",
		Short:   "Say how two plans of a day differ, run by run and call-off by call-off",
		Example: "  spanyard morning compare 2027-03-17-P1 2027-03-17-P2",
		Args:    cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.ComparePlans(p.as(cmd.Context()), &dispatchv1.ComparePlansRequest{Yard: p.yard, BeforePlanId: args[0], AfterPlanId: args[1]})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) {
				show.Compared(w, args[0], args[1])
				show.Changes(w, answer.GetChanges())
			})
		},
	}
}

func (p *program) morningExplainCommand() *cobra.Command {
	var run, callOff string
	c := &cobra.Command{
		Use:   "explain PLAN [PIECE | JOB MARK]",
		Short: "Say why a piece is on its run, or why a call-off is not served",
		Long: `Answers from what the plan rests on: where a piece stands in the laying order, how
full its run is, why a room is left; and what every other truck could do instead,
with each limit that stands against it.`,
		Example: `  spanyard morning explain 2027-03-17-P1 J101 1-01-01
  spanyard morning explain 2027-03-17-P1 --run R05
  spanyard morning explain 2027-03-17-P1 --call-off C-09`,
		Args: cobra.RangeArgs(1, 3),
		RunE: func(cmd *cobra.Command, args []string) error {
			req := &dispatchv1.ExplainMorningRequest{Yard: p.yard, PlanId: args[0]}
			switch {
			case len(args) > 1:
				req.What = &dispatchv1.ExplainMorningRequest_Piece{Piece: strings.Join(args[1:], " ")}
			case run != "":
				req.What = &dispatchv1.ExplainMorningRequest_RunId{RunId: runOf(args[0], run)}
			case callOff != "":
				req.What = &dispatchv1.ExplainMorningRequest_CallOffId{CallOffId: callOff}
			default:
				return fault.New(fault.Invalid, "NOTHING_ASKED", "Say what to explain: a piece, a job and a mark, --run or --call-off.")
			}
			c, err := p.dispatch()
			if err != nil {
				return err
			}
			answer, err := c.ExplainMorning(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Explained(w, answer) })
		},
	}
	c.Flags().StringVar(&run, "run", "", "a run of the plan")
	c.Flags().StringVar(&callOff, "call-off", "", "a call-off of the day")
	c.MarkFlagsMutuallyExclusive("run", "call-off")
	return c
}
