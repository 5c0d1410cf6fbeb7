package cli

import (
	"io"
	"regexp"
	"strconv"

	"github.com/spf13/cobra"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) palletCommand() *cobra.Command {
	return group(groupYard, "pallet", "Blocks on pallets: counted, packed, split, merged", "",
		"  spanyard pallet list\n  spanyard pallet pack K0120 72xP-0001 72xP-0002",
		p.palletListCommand(), p.palletPackCommand(), p.palletSplitCommand(), p.palletMergeCommand(), p.palletUnpackCommand())
}

func (p *program) palletListCommand() *cobra.Command {
	req := &stockv1.ListPalletsRequest{}
	c := &cobra.Command{
		Use:     "list",
		Short:   "Count blocks by kind, batch and pallet",
		Example: "  spanyard pallet list --block K520",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			req.Yard = p.yard
			answer, err := c.ListPallets(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Pallets(w, answer.GetBatches()) })
		},
	}
	c.Flags().StringVar(&req.BlockKind, "block", "", "only this kind of blocks")
	c.Flags().StringVar(&req.BatchId, "batch", "", "only this batch")
	return c
}

var blocksOnPallet = regexp.MustCompile(`^([0-9]{1,5})x(\S+)$`)

func (p *program) palletPackCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "pack BATCH BLOCKSxPALLET...",
		Short:   "Put loose blocks of a batch on new pallets",
		Example: "  spanyard pallet pack K0120 72xP-0001 72xP-0002",
		Args:    cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			req := &stockv1.PackPalletsRequest{Yard: p.yard, RequestId: p.request(), BatchId: args[0]}
			for _, text := range args[1:] {
				m := blocksOnPallet.FindStringSubmatch(text)
				if m == nil {
					return fault.New(fault.Invalid, "PALLET_INVALID", "A pallet is not right.").At("PALLET", text, "cannot be read", "BLOCKSxPALLET, for instance 72xP-0001")
				}
				blocks, _ := strconv.ParseInt(m[1], 10, 32)
				req.Pallets = append(req.Pallets, &stockv1.PalletToPack{PieceId: m[2], BlockCount: int32(blocks)})
			}
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.PackPallets(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			return p.answer(answer, said("Packed: pallets %d.", len(req.GetPallets())))
		},
	}
}

func (p *program) palletSplitCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "split PALLET BLOCKSxPALLET",
		Short:   "Put some blocks of a pallet on a new one",
		Example: "  spanyard pallet split P-0001 30xP-0009",
		Args:    cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			m := blocksOnPallet.FindStringSubmatch(args[1])
			if m == nil {
				return fault.New(fault.Invalid, "PALLET_INVALID", "The new pallet is not right.").At("PALLET", args[1], "cannot be read", "BLOCKSxPALLET, for instance 30xP-0009")
			}
			blocks, _ := strconv.ParseInt(m[1], 10, 32)
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.SplitPallet(p.as(cmd.Context()), &stockv1.SplitPalletRequest{
				Yard: p.yard, RequestId: p.request(), PieceId: args[0], NewPieceId: m[2], BlockCount: int32(blocks),
			})
			if err != nil {
				return err
			}
			return p.answer(answer, said("%d blocks of pallet %s are on pallet %s.", blocks, args[0], m[2]))
		},
	}
}

func (p *program) palletMergeCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "merge PALLET FROM...",
		Short:   "Put the blocks of other pallets of its batch on a pallet",
		Example: "  spanyard pallet merge P-0001 P-0009",
		Args:    cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.MergePallets(p.as(cmd.Context()), &stockv1.MergePalletsRequest{Yard: p.yard, RequestId: p.request(), PieceId: args[0], FromPieceIds: args[1:]})
			if err != nil {
				return err
			}
			return p.answer(answer, said("The blocks of %d more pallets are on pallet %s.", len(args)-1, args[0]))
		},
	}
}

func (p *program) palletUnpackCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "unpack PALLET...",
		Short:   "Make the blocks of pallets loose again",
		Example: "  spanyard pallet unpack P-0001",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.UnpackPallets(p.as(cmd.Context()), &stockv1.UnpackPalletsRequest{Yard: p.yard, RequestId: p.request(), PieceIds: args})
			if err != nil {
				return err
			}
			return p.answer(answer, said("Unpacked: pallets %d.", len(args)))
		},
	}
}
