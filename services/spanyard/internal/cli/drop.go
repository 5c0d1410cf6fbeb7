package cli

import (
	"context"
	"io"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) dropCommand() *cobra.Command {
	return group(groupSite, "drop", "Say what a site does with its drop: laid, broken, missing",
		`Shows what a drop brings and records what its site tells: beams that are laid,
pieces that are broken or did not come. That the drop was set down, and what of it
the site refuses, is recorded by 'spanyard run deliver'.`,
		`  spanyard drop show RUN 1
  spanyard drop lay RUN 1 1-03-07 1-03-08`,
		p.dropShowCommand(), p.dropLayCommand(), p.dropReportCommand())
}

// theDrop is a drop as a command names it, with what it brings.
type theDrop struct {
	run    string
	number int32
	brings *dispatchv1.GetDropResponse
}

// drop reads RUN DROP and asks what it brings.
func (p *program) drop(ctx context.Context, args []string) (theDrop, dispatchv1.DispatchServiceClient, error) {
	number, err := dropNumber(args[1])
	if err != nil {
		return theDrop{}, nil, err
	}
	c, err := p.dispatch()
	if err != nil {
		return theDrop{}, nil, err
	}
	brings, err := c.GetDrop(ctx, &dispatchv1.GetDropRequest{Yard: p.yard, RunId: args[0], DropNumber: number})
	return theDrop{run: args[0], number: number, brings: brings}, c, err
}

func dropNumber(text string) (int32, error) {
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil || n < 1 {
		return 0, fault.New(fault.Invalid, "DROP_INVALID", "The drop is not right.").At("DROP", text, "is no drop", "a whole number from 1")
	}
	return int32(n), nil
}

// pieces of the drop by what is painted on them: their numbers, or marks. The
// services say what is wrong with a number; a mark that two jobs have on the drop
// is none.
func (d theDrop) pieces(names []string) ([]string, error) {
	var all []*dispatchv1.DropPiece
	for _, room := range d.brings.GetRooms() {
		all = append(all, room.GetPieces()...)
	}
	wrong := fault.New(fault.Invalid, "MARK_AMBIGUOUS", "Not every mark names one beam of drop %d of run %s.", d.number, d.run)
	var ids []string
	for _, name := range names {
		if slices.ContainsFunc(all, func(p *dispatchv1.DropPiece) bool { return p.GetPieceId() == name }) {
			ids = append(ids, name)
			continue
		}
		var marked []string
		for _, p := range all {
			if p.GetMark() == name {
				marked = append(marked, p.GetPieceId())
			}
		}
		switch len(marked) {
		case 0:
			ids = append(ids, name)
		case 1:
			ids = append(ids, marked[0])
		default:
			wrong.At("BEAM", name, "is the mark of several beams", "the number of one: "+marked[0]+" or "+marked[1])
		}
	}
	if len(wrong.Places) > 0 {
		return nil, wrong
	}
	return ids, nil
}

func (p *program) dropShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show RUN DROP",
		Short:   "Show what a drop brings, room by room in laying order, and what is laid",
		Example: "  spanyard drop show 2027-03-17-P1-R03 1",
		Args:    cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			d, _, err := p.drop(p.as(cmd.Context()), args)
			if err != nil {
				return err
			}
			return p.answer(d.brings, func(w io.Writer) { show.Drop(w, d.run, d.number, d.brings) })
		},
	}
}

func (p *program) dropLayCommand() *cobra.Command {
	var undo bool
	c := &cobra.Command{
		Use:   "lay RUN DROP BEAM...",
		Short: "Tick beams of a drop off as laid, or take ticks back",
		Long: `Ticks beams of a drop off as laid, all or none. A beam is named by its mark or by
its number. With --undo, beams that were ticked off by mistake are to be laid again.`,
		Example: `  spanyard drop lay RUN 1 1-03-07 1-03-08
  spanyard drop lay RUN 1 B0412-017 --undo`,
		Args: cobra.MinimumNArgs(3),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := p.as(cmd.Context())
			d, c, err := p.drop(ctx, args)
			if err != nil {
				return err
			}
			ids, err := d.pieces(args[2:])
			if err != nil {
				return err
			}
			req := &dispatchv1.RecordLayingRequest{Yard: p.yard, RequestId: p.request(), RunId: d.run, DropNumber: d.number, LaidPieceIds: ids}
			if undo {
				req.LaidPieceIds, req.NotLaidPieceIds = nil, ids
			}
			answer, err := c.RecordLaying(ctx, req)
			if err != nil {
				return err
			}
			return p.answer(answer, said("Kept. Beams of drop %d of run %s that are laid: %d.", d.number, d.run, answer.GetLaidCount()))
		},
	}
	c.Flags().BoolVar(&undo, "undo", false, "they were ticked off by mistake")
	return c
}

func (p *program) dropReportCommand() *cobra.Command {
	var broken, missing, whole bool
	var remark string
	c := &cobra.Command{
		Use:   "report RUN DROP PIECE",
		Short: "Tell the yard that a piece is broken or did not come, or is there after all",
		Long: `Tells the dispatcher what a site sees of a piece of its drop, named by its mark or
its number. What is broken is put aside and not laid. The report alone brings no
other: 'spanyard piece scrap' writes the piece off, and its place is open again.`,
		Example: `  spanyard drop report RUN 1 1-03-07 --broken --remark "cracked across at one end"
  spanyard drop report RUN 1 B0412-017 --whole`,
		Args: cobra.ExactArgs(3),
		RunE: func(cmd *cobra.Command, args []string) error {
			kind, what := dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_WITHDRAWN, "is there and whole"
			switch {
			case broken:
				kind, what = dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_BROKEN, "is broken"
			case missing:
				kind, what = dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_MISSING, "did not come"
			}
			return p.report(cmd, args, kind, what, remark)
		},
	}
	c.Flags().BoolVar(&broken, "broken", false, "it is broken")
	c.Flags().BoolVar(&missing, "missing", false, "it did not come")
	c.Flags().BoolVar(&whole, "whole", false, "it is there and whole after all")
	c.Flags().StringVar(&remark, "remark", "", "what was seen")
	c.MarkFlagsOneRequired("broken", "missing", "whole")
	c.MarkFlagsMutuallyExclusive("broken", "missing", "whole")
	return c
}

func (p *program) report(cmd *cobra.Command, args []string, kind dispatcheventv1.PieceReportKind, what, remark string) error {
	ctx := p.as(cmd.Context())
	d, c, err := p.drop(ctx, args)
	if err != nil {
		return err
	}
	ids, err := d.pieces(args[2:])
	if err != nil {
		return err
	}
	answer, err := c.ReportPiece(ctx, &dispatchv1.ReportPieceRequest{
		Yard: p.yard, RequestId: p.request(), RunId: d.run, DropNumber: d.number, PieceId: ids[0], Kind: kind, Remark: remark,
	})
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) {
		said("The yard is told that %s %s.", ids[0], what)(w)
		if kind != dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_WITHDRAWN {
			said("For another in its place: spanyard piece scrap %s --reason REASON", ids[0])(w)
		}
	})
}
