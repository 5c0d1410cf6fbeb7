package cli

import (
	"context"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
	"spanyard.example/services/spanyard/internal/yardfile"
)

// receiving is a batch as the flags describe it.
type receiving struct {
	file, madeOn, source     string
	profile, wires           string
	lines                    []string
	job                      string
	block, stack             string
	count                    int32
	cylinder, cube, declared float64
}

func (p *program) batchReceiveCommand() *cobra.Command {
	var r receiving
	c := &cobra.Command{
		Use:   "receive BATCH",
		Short: "Take a batch of beams or blocks into the yard, to cure",
		Long: `Takes a batch into the yard. Beams are given as lines LENGTHxCOUNT@STACK, the
bottom of each stack first; masses come from the catalogue. A YAML file with the
fields of the contract does the same, with masses of its own. Profile, wires,
block and lengths have to be of the catalogue, also those of a file.`,
		Example: `  spanyard batch receive B0412 --made-on 2027-04-12 --profile T150 --wires p4 \
      --fck-cylinder 40 --fck-cube 50 --line 3600x20@A-01 --line 3000x12@A-02
  spanyard batch receive K0412 --made-on 2027-04-12 --block K520 --count 1200 \
      --stack P-01 --declared 7.3
  spanyard batch receive B0412 --file batch.yaml`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return p.receive(cmd, args[0], r) },
	}
	f := c.Flags()
	f.StringVar(&r.file, "file", "", "YAML file that describes the batch, instead of the flags below")
	f.StringVar(&r.madeOn, "made-on", "", "day of casting or making, YYYY-MM-DD")
	f.StringVar(&r.source, "source", "", "where the batch came from, for the record")
	f.StringVar(&r.profile, "profile", "", "profile of the beams")
	f.StringVar(&r.wires, "wires", "", "wire pattern of the beams")
	f.StringArrayVar(&r.lines, "line", nil, "beams as LENGTHxCOUNT@STACK, length in mm; give it once for each line")
	f.StringVar(&r.job, "for-job", "", "job that all the beams are made for, and kept for")
	f.Float64Var(&r.cylinder, "fck-cylinder", 0, "characteristic cylinder strength of the beams, MPa")
	f.Float64Var(&r.cube, "fck-cube", 0, "characteristic cube strength of the beams, MPa")
	f.StringVar(&r.block, "block", "", "kind of the blocks")
	f.Int32Var(&r.count, "count", 0, "number of blocks")
	f.StringVar(&r.stack, "stack", "", "stack of the blocks")
	f.Float64Var(&r.declared, "declared", 0, "declared mean compressive strength of the blocks, MPa")
	c.MarkFlagsMutuallyExclusive("file", "made-on")
	c.MarkFlagsMutuallyExclusive("block", "line")
	c.MarkFlagsOneRequired("file", "block", "line")
	return c
}

func (p *program) receive(cmd *cobra.Command, batch string, r receiving) error {
	ctx := p.as(cmd.Context())
	req, err := p.receiveRequest(ctx, batch, r)
	if err != nil {
		return err
	}
	c, err := p.stock()
	if err != nil {
		return err
	}
	req.Yard, req.RequestId = p.yard, p.request()
	answer, err := c.ReceiveBatch(ctx, req)
	if err != nil {
		return err
	}
	return p.answer(answer, func(w io.Writer) { show.Batches(w, []*stockv1.Batch{answer.GetBatch()}) })
}

func (p *program) receiveRequest(ctx context.Context, batch string, r receiving) (*stockv1.ReceiveBatchRequest, error) {
	req := &stockv1.ReceiveBatchRequest{BatchId: batch, MadeOn: r.madeOn, Source: r.source}
	catalogue, err := p.catalogue(ctx)
	if err != nil {
		return nil, err
	}
	switch {
	case r.file != "":
		name, content, err := readFile(r.file)
		if err != nil {
			return nil, err
		}
		if err := yardfile.Read(name, content, req, append([]string{"batch_id"}, ownFields...)...); err != nil {
			return nil, err
		}
	case r.block != "":
		if err := r.blocks(req, catalogue); err != nil {
			return nil, err
		}
	default:
		if err := r.beams(req, catalogue); err != nil {
			return nil, err
		}
	}
	return req, againstCatalogue(req, catalogue)
}

// againstCatalogue refuses what the yard does not make: unknown products,
// wires that a profile is not cast with, lengths that the bed does not cast.
func againstCatalogue(req *stockv1.ReceiveBatchRequest, catalogue *layoutv1.GetCatalogueResponse) error {
	refusal := fault.New(fault.Invalid, "NOT_IN_CATALOGUE", "The catalogue does not have all that this batch is made of.")
	if blocks := req.GetBlocks(); blocks != nil {
		var names []string
		for _, b := range catalogue.GetBlocks() {
			names = append(names, b.GetName())
		}
		if !slices.Contains(names, blocks.GetBlockKind()) {
			refusal.At("blocks.block_kind", blocks.GetBlockKind(), "is no block of the catalogue", strings.Join(names, ", "))
		}
	}
	if beams := req.GetBeams(); beams != nil {
		beamsAgainst(refusal, beams, req.GetConcrete(), catalogue)
	}
	if len(refusal.Places) == 0 {
		return nil
	}
	return refusal
}

func beamsAgainst(refusal *fault.Error, beams *stockv1.BeamLines, concrete *stockeventv1.Concrete, catalogue *layoutv1.GetCatalogueResponse) {
	var names []string
	for _, profile := range catalogue.GetProfiles() {
		names = append(names, profile.GetName())
		if profile.GetName() == beams.GetProfile() && !slices.Contains(profile.GetWirePatterns(), beams.GetWirePattern()) {
			refusal.At("beams.wire_pattern", beams.GetWirePattern(), "is no wire pattern of profile "+profile.GetName(), strings.Join(profile.GetWirePatterns(), ", "))
		}
	}
	if !slices.Contains(names, beams.GetProfile()) {
		refusal.At("beams.profile", beams.GetProfile(), "is no profile of the catalogue", strings.Join(names, ", "))
	}
	if least := catalogue.GetBasis().GetConcrete().GetFckMpa(); concrete.GetFckCylinderMpa() < least {
		refusal.At("concrete.fck_cylinder_mpa", strconv.FormatFloat(concrete.GetFckCylinderMpa(), 'g', -1, 64), "is weaker than the concrete that beams are checked with",
			fmt.Sprintf("at least %g", least))
	}
	longest, step := catalogue.GetMaxBeamLengthMm(), catalogue.GetLengthStepMm()
	for i, line := range beams.GetLines() {
		where, length := fmt.Sprintf("beams.lines[%d].length_mm", i), strconv.Itoa(int(line.GetLengthMm()))
		switch {
		case longest > 0 && line.GetLengthMm() > longest:
			refusal.At(where, length, "is longer than the longest beam", fmt.Sprintf("at most %d", longest))
		case step > 0 && line.GetLengthMm()%step != 0:
			refusal.At(where, length, "is not a length that is cast", fmt.Sprintf("multiples of %d", step))
		}
	}
}

func (p *program) catalogue(ctx context.Context) (*layoutv1.GetCatalogueResponse, error) {
	c, err := p.layout()
	if err != nil {
		return nil, err
	}
	return c.GetCatalogue(ctx, &layoutv1.GetCatalogueRequest{Yard: p.yard})
}

func (r receiving) blocks(req *stockv1.ReceiveBatchRequest, catalogue *layoutv1.GetCatalogueResponse) error {
	if r.job != "" {
		return fault.New(fault.Invalid, "NOT_KEPT", "Blocks are for anybody: they are not kept for a job. Leave --for-job out.")
	}
	for _, b := range catalogue.GetBlocks() {
		if b.GetName() != r.block {
			continue
		}
		req.Concrete = &stockeventv1.Concrete{DeclaredBlockMpa: r.declared}
		req.Pieces = &stockv1.ReceiveBatchRequest_Blocks{Blocks: &stockv1.BlockLine{
			BlockKind: r.block, Count: r.count, MassGEach: b.GetMassG(), StackId: r.stack,
		}}
		return nil
	}
	return fault.New(fault.NotFound, "BLOCK_UNKNOWN", "The catalogue has no block %q.", r.block)
}

var beamLine = regexp.MustCompile(`^([0-9]{1,6})x([0-9]{1,6})@(\S+)$`)

func (r receiving) beams(req *stockv1.ReceiveBatchRequest, catalogue *layoutv1.GetCatalogueResponse) error {
	var perMetre int64
	for _, profile := range catalogue.GetProfiles() {
		if profile.GetName() == r.profile {
			perMetre = profile.GetMassGPerM()
		}
	}
	if perMetre == 0 {
		return fault.New(fault.NotFound, "PROFILE_UNKNOWN", "The catalogue has no profile %q.", r.profile)
	}
	beams := &stockv1.BeamLines{Profile: r.profile, WirePattern: r.wires}
	for _, line := range r.lines {
		m := beamLine.FindStringSubmatch(line)
		if m == nil {
			return fault.New(fault.Invalid, "LINE_INVALID", "A line of beams is not right.").At("--line", line, "cannot be read", "LENGTHxCOUNT@STACK, for instance 3600x20@A-01")
		}
		length, _ := strconv.ParseInt(m[1], 10, 32)
		number, _ := strconv.ParseInt(m[2], 10, 32)
		beams.Lines = append(beams.Lines, &stockv1.BeamLine{
			LengthMm: int32(length), Count: int32(number), MassGEach: perMetre * length / 1000, StackId: m[3],
			KeptForJobId: r.job,
		})
	}
	req.Concrete = &stockeventv1.Concrete{FckCylinderMpa: r.cylinder, FckCubeMpa: r.cube}
	req.Pieces = &stockv1.ReceiveBatchRequest_Beams{Beams: beams}
	return nil
}
