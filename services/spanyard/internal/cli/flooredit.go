package cli

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

// drawOptions of the floor draw command.
type drawOptions struct {
	job, jobName, floor       string
	roomLayers, openingLayers []string
	unitMM, smallest          float64
	category                  string
	imposed, finishes         float64
}

func (p *program) floorDrawCommand() *cobra.Command {
	var o drawOptions
	c := &cobra.Command{
		Use:   "draw FILE",
		Short: "Draw up a floor's laying plan from a drawing (.dxf) or outlines (.json)",
		Long: `Takes the rooms of a drawing, lays beams and blocks in each and checks every
beam by EN 1992-1-1. What of the drawing is no room, and a room that cannot be
laid, is named as an open point of the draft, to be mended or left out by hand.
A drawing that is brought again keeps the rooms' marks and what was asked of
them.`,
		Example: "  spanyard floor draw plan.dxf --job J201 --job-name \"Thimble Row 4\" --floor 1\n" +
			"  spanyard floor draw plan.dxf --job J201 --job-name \"Thimble Row 4\" --floor 1 \\\n      --rooms \"Z*\" --unit-mm 10 --category B",
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return p.drawFloor(cmd, args[0], o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.job, "job", "", "id of the job (required)")
	f.StringVar(&o.jobName, "job-name", "", "name of the job (required)")
	f.StringVar(&o.floor, "floor", "", "name of the floor, part of every mark (required)")
	f.StringSliceVar(&o.roomLayers, "rooms", []string{"*"}, "layers with the rooms' outlines; * and ? stand for any characters")
	f.StringSliceVar(&o.openingLayers, "openings", nil, "layers with openings in the floor")
	f.Float64Var(&o.unitMM, "unit-mm", 0, "size of a drawing unit in mm; 0 believes the file")
	f.Float64Var(&o.smallest, "smallest-m2", 1, "smaller rooms are open points, to be left out")
	f.StringVar(&o.category, "category", "A", "category of use A to E (EN 1991-1-1, table 6.1)")
	f.Float64Var(&o.imposed, "imposed", 0, "imposed load in kN/m2; the category's where it is left out")
	f.Float64Var(&o.finishes, "finishes", 1.2, "finishes and screed in kN/m2")
	required(c, "job", "job-name", "floor")
	return c
}

func (p *program) drawFloor(cmd *cobra.Command, file string, o drawOptions) error {
	name, content, err := readFile(file)
	if err != nil {
		return err
	}
	req := &layoutv1.ImportDrawingRequest{
		Yard: p.yard, RequestId: p.request(), FileName: name, Content: content, Format: layoutv1.FloorFormat_FLOOR_FORMAT_DXF,
		JobId: o.job, JobName: o.jobName, Floor: o.floor, RoomLayers: o.roomLayers, OpeningLayers: o.openingLayers,
		UnitMm: o.unitMM, SmallestM2: o.smallest, Category: strings.ToUpper(o.category), FinishesKnPerM2: o.finishes,
	}
	if strings.EqualFold(filepath.Ext(name), ".json") {
		req.Format = layoutv1.FloorFormat_FLOOR_FORMAT_OUTLINES
	}
	if cmd.Flags().Changed("imposed") {
		req.ImposedKnPerM2 = &o.imposed
	}
	c, err := p.layout()
	if err != nil {
		return err
	}
	answer, err := c.ImportDrawing(p.as(cmd.Context()), req)
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		show.Drawn(w, answer)
		show.DesignCautions(w)
	})
}

// newest returns the newest revision of a floor.
func (p *program) newest(ctx context.Context, c layoutv1.LayoutServiceClient, job, floor string) (*layoutv1.GetLayingPlanResponse, error) {
	return c.GetLayingPlan(p.as(ctx), &layoutv1.GetLayingPlanRequest{Yard: p.yard, JobId: job, Floor: floor})
}

func (p *program) floorRoomCommand() *cobra.Command {
	brief := &layoutv1.RoomBrief{Wishes: &layouteventv1.RoomWishes{}}
	var direction string
	var partitions []string
	c := &cobra.Command{
		Use:   "room JOB FLOOR ROOM",
		Short: "Change what is asked of a room and lay it anew",
		Long: `Changes loads, partitions, or what the room is to be laid with, and lays it
anew; all other rooms and their marks stay as they are. Without a flag the room
is only laid anew, also when it was left out. An approved plan gets a new
revision.`,
		Example: "  spanyard floor room J101 1 03 --direction 90 --profile T190\n" +
			"  spanyard floor room J101 1 03 --category C --imposed 4 --partition 1200,0,1200,3400,4.5\n" +
			"  spanyard floor room J101 1 03 --direction choose",
		Args: cobra.ExactArgs(3),
		RunE: func(cmd *cobra.Command, args []string) error {
			mask, err := roomMask(cmd, brief, direction, partitions)
			if err != nil {
				return err
			}
			return p.editRoom(cmd, args, brief, mask)
		},
	}
	f := c.Flags()
	f.StringVar(&brief.RoomName, "name", "", "name of the room")
	f.StringVar(&brief.Category, "category", "", "category of use A to E (EN 1991-1-1, table 6.1)")
	f.Float64Var(&brief.ImposedKnPerM2, "imposed", 0, "imposed load in kN/m2")
	f.Float64Var(&brief.FinishesKnPerM2, "finishes", 0, "finishes in kN/m2")
	f.StringArrayVar(&partitions, "partition", nil, "a partition on the floor, x1,y1,x2,y2 in mm and kN/m; several times for more; none takes them away")
	f.Int32SliceVar(&brief.OpenSides, "open-side", nil, "a side that carries no beams, by the number of its first corner, from 0")
	f.StringVar(&direction, "direction", "", "direction of the beams in degrees on the drawing, or choose")
	f.StringVar(&brief.Wishes.Profile, "profile", "", "profile of the beams; empty chooses")
	f.StringVar(&brief.Wishes.WirePattern, "wires", "", "wire pattern; empty chooses")
	f.StringVar(&brief.Wishes.BlockKind, "block", "", "block kind; empty chooses")
	f.Int32Var(&brief.Wishes.BeamsPerRow, "beams-per-row", 0, "beams side by side in every row; 0 chooses")
	f.Float64Var(&brief.Wishes.BearingMm, "bearing", 0, "bearing at both ends in mm; 0 takes the yard's")
	return c
}

// roomFlags are the fields of a room's brief that flags set.
var roomFlags = map[string]string{
	"name": "room_name", "category": "category", "imposed": "imposed_kn_per_m2", "finishes": "finishes_kn_per_m2", "partition": "partitions", "open-side": "open_sides",
	"direction": "wishes.direction_degrees", "profile": "wishes.profile", "wires": "wishes.wire_pattern", "block": "wishes.block_kind",
	"beams-per-row": "wishes.beams_per_row", "bearing": "wishes.bearing_mm",
}

func roomMask(cmd *cobra.Command, brief *layoutv1.RoomBrief, direction string, partitions []string) (*fieldmaskpb.FieldMask, error) {
	mask := &fieldmaskpb.FieldMask{}
	for flag, path := range roomFlags {
		if cmd.Flags().Changed(flag) {
			mask.Paths = append(mask.Paths, path)
		}
	}
	brief.Category = strings.ToUpper(brief.GetCategory())
	if direction != "" && direction != "choose" {
		degrees, err := strconv.ParseFloat(direction, 64)
		if err != nil || !(degrees >= -360 && degrees <= 360) {
			return nil, fault.New(fault.Invalid, "DIRECTION_INVALID", "The direction is not right.").At("--direction", direction, "is no direction", "-360 to 360 degrees, or choose")
		}
		brief.Wishes.DirectionDegrees = proto.Float64(degrees)
	}
	for _, text := range partitions {
		if text == "none" {
			continue
		}
		var n [5]float64
		parts := strings.Split(text, ",")
		bad := len(parts) != len(n)
		for i := range n {
			if bad {
				break
			}
			var err error
			n[i], err = strconv.ParseFloat(strings.TrimSpace(parts[i]), 64)
			bad = err != nil
		}
		if bad {
			return nil, fault.New(fault.Invalid, "PARTITION_INVALID", "The partition is not right.").At("--partition", text, "is no partition", "x1,y1,x2,y2,load: mm and kN/m, as in 1200,0,1200,3400,4.5")
		}
		brief.Partitions = append(brief.Partitions, &layouteventv1.PlanPartition{
			From: &layouteventv1.PlanPoint{XMm: n[0], YMm: n[1]}, To: &layouteventv1.PlanPoint{XMm: n[2], YMm: n[3]}, KnPerM: n[4],
		})
	}
	return mask, nil
}

func (p *program) editRoom(cmd *cobra.Command, args []string, brief *layoutv1.RoomBrief, mask *fieldmaskpb.FieldMask) error {
	c, err := p.layout()
	if err != nil {
		return err
	}
	now, err := p.newest(cmd.Context(), c, args[0], args[1])
	if err != nil {
		return err
	}
	answer, err := c.EditRoom(p.as(cmd.Context()), &layoutv1.EditRoomRequest{
		Yard: p.yard, RequestId: p.request(), JobId: args[0], Floor: args[1], Revision: now.GetSummary().GetRevision(), Room: args[2], Brief: brief, UpdateMask: mask,
	})
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		show.Plans(w, []*layoutv1.PlanSummary{answer.GetPlan()})
		fmt.Fprintln(w)
		show.Room(w, answer.GetRoom())
		show.OpenPoints(w, answer.GetOpenPoints())
		show.DesignCautions(w)
	})
}

func (p *program) floorOrderCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "order JOB FLOOR ROOM...",
		Short:   "Put the rooms into another laying order",
		Long:    "Sets the crew's way through the floor: all rooms, in the order in which they are\nlaid. Marks stay as they are. An approved plan gets a new revision.",
		Example: "  spanyard floor order J101 1 02 01 03",
		Args:    cobra.MinimumNArgs(3),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.layout()
			if err != nil {
				return err
			}
			now, err := p.newest(cmd.Context(), c, args[0], args[1])
			if err != nil {
				return err
			}
			answer, err := c.ReorderRooms(p.as(cmd.Context()), &layoutv1.ReorderRoomsRequest{
				Yard: p.yard, RequestId: p.request(), JobId: args[0], Floor: args[1], Revision: now.GetSummary().GetRevision(), Rooms: args[2:],
			})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Plans(w, []*layoutv1.PlanSummary{answer.GetPlan()}) })
		},
	}
}

func (p *program) floorLeaveOutCommand() *cobra.Command {
	req := &layoutv1.LeaveOutRequest{}
	c := &cobra.Command{
		Use:   "leave-out JOB FLOOR [ROOM...]",
		Short: "Leave rooms or problems of the drawing out, for a reason",
		Long: `Takes rooms out of a plan, or says that nothing is to be done about a problem of
the drawing. Who did it and why is recorded. A room comes in again with
"spanyard floor room".`,
		Example: "  spanyard floor leave-out J201 1 07 --reason \"stairs, cast on site\"\n  spanyard floor leave-out J201 1 --problem 2 --problem 3 --reason \"furniture\"\n" +
			"  spanyard floor leave-out J201 1 --all-open --reason \"drawn by mistake\"",
		Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.layout()
			if err != nil {
				return err
			}
			now, err := p.newest(cmd.Context(), c, args[0], args[1])
			if err != nil {
				return err
			}
			req.Yard, req.RequestId, req.JobId, req.Floor, req.Revision, req.Rooms = p.yard, p.request(), args[0], args[1], now.GetSummary().GetRevision(), args[2:]
			answer, err := c.LeaveOut(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) {
				show.Plans(w, []*layoutv1.PlanSummary{answer.GetPlan()})
				show.OpenPoints(w, answer.GetOpenPoints())
			})
		},
	}
	c.Flags().Int32SliceVar(&req.Problems, "problem", nil, "number of a problem in the plan's list; several times for more")
	c.Flags().BoolVar(&req.AllOpen, "all-open", false, "leave out everything that is open")
	c.Flags().StringVar(&req.Reason, "reason", "", "why it is left out (required)")
	required(c, "reason")
	return c
}
