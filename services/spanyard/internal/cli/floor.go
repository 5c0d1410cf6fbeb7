package cli

import (
	"fmt"
	"io"
	"strconv"

	"github.com/spf13/cobra"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
	"spanyard.example/services/spanyard/internal/yardfile"
)

// Fields of requests that the program fills in itself.
var ownFields = []string{"yard", "request_id"}

func (p *program) catalogueCommand() *cobra.Command {
	show := &cobra.Command{
		Use:     "show",
		Short:   "Show the profiles and blocks that the yard makes",
		Example: "  spanyard catalogue show",
		Args:    cobra.NoArgs,
		RunE:    p.showCatalogue,
	}
	set := &cobra.Command{
		Use:     "set FILE",
		Short:   "Replace the catalogue by a YAML file",
		Long:    "Replaces the yard's catalogue: beam profiles, blocks, length step, bearings.\nPlans drawn up before keep what they were drawn up with.",
		Example: "  spanyard catalogue set catalogue.yaml",
		Args:    cobra.ExactArgs(1),
		RunE:    p.setCatalogue,
	}
	return group(groupDrawing, "catalogue", "Beam profiles and blocks that the yard makes", "",
		"  spanyard catalogue show\n  spanyard catalogue set catalogue.yaml", show, set)
}

func (p *program) showCatalogue(cmd *cobra.Command, _ []string) error {
	c, err := p.layout()
	if err != nil {
		return err
	}
	answer, err := c.GetCatalogue(p.as(cmd.Context()), &layoutv1.GetCatalogueRequest{Yard: p.yard})
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) { show.Catalogue(w, answer) })
}

func (p *program) setCatalogue(cmd *cobra.Command, args []string) error {
	name, content, err := readFile(args[0])
	if err != nil {
		return err
	}
	req := &layoutv1.SetCatalogueRequest{}
	if err := yardfile.Read(name, content, req, ownFields...); err != nil {
		return err
	}
	c, err := p.layout()
	if err != nil {
		return err
	}
	req.Yard, req.RequestId = p.yard, p.request()
	answer, err := c.SetCatalogue(p.as(cmd.Context()), req)
	if err != nil {
		return err
	}
	return p.answer(answer, said("The catalogue is set: profiles %d, blocks %d.", len(req.GetProfiles()), len(req.GetBlocks())))
}

func (p *program) floorCommand() *cobra.Command {
	list := &cobra.Command{
		Use:     "list [JOB]",
		Short:   "List laying plans, newest revision first",
		Example: "  spanyard floor list\n  spanyard floor list J101",
		Args:    cobra.MaximumNArgs(1),
		RunE:    p.listFloors,
	}
	imp := &cobra.Command{
		Use:   "import FILE",
		Short: "Draw up laying plans from a room schedule (.xlsx, .csv or .json)",
		Long: `Draws up one laying plan for each job and floor of a room schedule: beam rows,
lengths, marks, laying order, blocks, every beam checked by EN 1992-1-1. One bad
cell, and nothing changes; every bad cell is named. A room that cannot be laid
is an open point of the draft.

Columns: job, job_name, floor, room, room_name, laying_order, clear_span_mm,
width_mm, span_direction (x or y), bearing_mm, category (A to E),
imposed_load_kn_m2, finishes_load_kn_m2, profile, wire_pattern, block_kind,
beams_per_row (1 to 3). Empty cells of the last four and of bearing_mm are
chosen; a category without a load takes the category's load.`,
		Example: "  spanyard floor import rooms.xlsx",
		Args:    cobra.ExactArgs(1),
		RunE:    p.importRooms,
	}
	return group(groupDrawing, "floor", "Laying plans: rooms, beams and their marks", "",
		"  spanyard floor import rooms.xlsx\n  spanyard floor show J101 1", imp, p.floorDrawCommand(), list, p.floorShowCommand(), p.floorRoomCommand(), p.floorOrderCommand(), p.floorLeaveOutCommand(),
		p.floorApproveCommand(), p.floorCompareCommand(), p.floorPapersCommand())
}

func (p *program) floorShowCommand() *cobra.Command {
	var revision int32
	c := &cobra.Command{
		Use:     "show JOB FLOOR",
		Short:   "Show a laying plan room by room with every mark",
		Example: "  spanyard floor show J101 1\n  spanyard floor show J101 1 --revision 2",
		Args:    cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return p.showFloor(cmd, args[0], args[1], revision)
		},
	}
	c.Flags().Int32Var(&revision, "revision", 0, "revision of the plan; 0 is the newest")
	return c
}

func (p *program) floorApproveCommand() *cobra.Command {
	var engineer, remark string
	c := &cobra.Command{
		Use:   "approve JOB FLOOR REVISION",
		Short: "Approve a plan for making and laying, in an engineer's name",
		Long: `Approves a drafted plan of which every beam is checked and nothing is open. The
engineer who answers for the plan under the local code is named and recorded.`,
		Example: `  spanyard floor approve J101 1 1 --engineer "Isolde Thornwhistle"
  spanyard floor approve J101 1 1 --engineer "Isolde Thornwhistle" \
      --remark "calculation sheets looked through"`,
		Args: cobra.ExactArgs(3),
		RunE: func(cmd *cobra.Command, args []string) error {
			return p.approveFloor(cmd, args, engineer, remark)
		},
	}
	c.Flags().StringVar(&engineer, "engineer", "", "licensed engineer who answers for the plan (required)")
	c.Flags().StringVar(&remark, "remark", "", "a remark, kept with the approval")
	required(c, "engineer")
	return c
}

// required marks flags that a command does not run without.
func required(c *cobra.Command, names ...string) {
	for _, name := range names {
		if err := c.MarkFlagRequired(name); err != nil {
			panic(err) //nolint:forbidigo // a flag misspelt in this package; every test of the help finds it
		}
	}
}

func (p *program) listFloors(cmd *cobra.Command, args []string) error {
	c, err := p.layout()
	if err != nil {
		return err
	}
	req := &layoutv1.ListLayingPlansRequest{Yard: p.yard, PageSize: pageSize}
	if len(args) > 0 {
		req.JobId = args[0]
	}
	all := &layoutv1.ListLayingPlansResponse{}
	for {
		page, err := c.ListLayingPlans(p.as(cmd.Context()), req)
		if err != nil {
			return err
		}
		all.Plans = append(all.Plans, page.GetPlans()...)
		if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
			break
		}
	}
	return p.answer(all, func(w io.Writer) { show.Plans(w, all.GetPlans()) })
}

func (p *program) importRooms(cmd *cobra.Command, args []string) error {
	format, err := yardfile.TableFormat(args[0])
	if err != nil {
		return err
	}
	name, content, err := readFile(args[0])
	if err != nil {
		return err
	}
	c, err := p.layout()
	if err != nil {
		return err
	}
	answer, err := c.ImportRoomSchedule(p.as(cmd.Context()), &layoutv1.ImportRoomScheduleRequest{
		Yard: p.yard, RequestId: p.request(), FileName: name, Format: layoutv1.FileFormat(format), Content: content,
	})
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		show.Plans(w, answer.GetPlans())
		show.DesignCautions(w)
	})
}

func (p *program) showFloor(cmd *cobra.Command, job, floor string, revision int32) error {
	c, err := p.layout()
	if err != nil {
		return err
	}
	answer, err := c.GetLayingPlan(p.as(cmd.Context()), &layoutv1.GetLayingPlanRequest{Yard: p.yard, JobId: job, Floor: floor, Revision: revision})
	if err != nil {
		return err
	}
	zone, err := p.zone(p.as(cmd.Context()))
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) { show.Floor(w, answer, zone) })
}

func (p *program) approveFloor(cmd *cobra.Command, args []string, engineer, remark string) error {
	revision, err := strconv.ParseInt(args[2], 10, 32)
	if err != nil || revision < 1 {
		return fault.New(fault.Invalid, "REVISION_INVALID", "The revision is not right.").At("REVISION", args[2], "is no revision", "a whole number from 1")
	}
	c, err := p.layout()
	if err != nil {
		return err
	}
	answer, err := c.ApproveLayingPlan(p.as(cmd.Context()), &layoutv1.ApproveLayingPlanRequest{
		Yard: p.yard, RequestId: p.request(), JobId: args[0], Floor: args[1], Revision: int32(revision), Engineer: engineer, Reason: remark,
	})
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		s := answer.GetPlan()
		fmt.Fprintf(w, "Approved: job %s, floor %s, revision %d; %s answers for it.\n", s.GetJobId(), s.GetFloor(), s.GetRevision(), s.GetEngineer())
		show.DesignCautions(w)
	})
}
