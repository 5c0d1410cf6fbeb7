package cli

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/layout"
	"spanyard.example/services/spanyard/internal/show"
)

// designs gives a command a client of the design service. It keeps nothing, so
// no program needs to run for it: it is started here, behind real gRPC, for as
// long as the command takes.
func designs(ctx context.Context, use func(context.Context, layoutv1.DesignServiceClient) error) error {
	ctx, end := context.WithCancel(ctx)
	defer end()
	quiet := slog.New(slog.NewTextHandler(io.Discard, nil))
	server, err := rpc.NewServer(rpc.ServerOptions{Name: "design", Log: quiet}, layout.RegisterDesigns)
	if err != nil {
		return err
	}
	listener := bufconn.Listen(1 << 20)
	served := make(chan error, 1)
	go func() { served <- server.Serve(ctx, listener) }()
	conn, err := rpc.Dial("passthrough:///design", grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return listener.DialContext(ctx)
	}))
	if err != nil {
		return err
	}
	err = use(ctx, layoutv1.NewDesignServiceClient(conn))
	_ = conn.Close()
	end()
	<-served
	return err
}

func (p *program) beamCommand() *cobra.Command {
	var sheets, tables string
	check := &cobra.Command{
		Use:   "check FILE",
		Short: "Check one beam by EN 1992-1-1 and print every step",
		Long: `Checks a beam that a JSON file describes: outline, wires, materials, casting,
span and loads, each with its unit in its name. A topping that carries with
the beam is a part of the floor ("topping"). Prints every step with its clause,
the stresses at each stage, and how full each check is. Needs no running
program.`,
		Example: "  spanyard beam check golden-beam.json\n  spanyard beam check topped-beam.json\n  spanyard beam check golden-beam.json --json\n  spanyard beam check golden-beam.json --out sheets",
		Args:    cobra.ExactArgs(1),
		RunE:    func(cmd *cobra.Command, args []string) error { return p.checkBeam(cmd.Context(), args[0], sheets) },
	}
	check.Flags().StringVar(&sheets, "out", "", "folder to put the calculation sheet (PDF) in")
	spans := &cobra.Command{
		Use:     "spans CATALOGUE",
		Short:   "Tabulate the longest spans of a catalogue's beams by load",
		Long:    "Makes the table of longest clear spans against imposed load, for one, two and\nthree beams a row, as PDF, XLSX and CSV. Needs no running program.",
		Example: "  spanyard beam spans design-catalogue.json --out tables",
		Args:    cobra.ExactArgs(1),
		RunE:    func(cmd *cobra.Command, args []string) error { return p.tabulateSpans(cmd.Context(), args[0], tables) },
	}
	spans.Flags().StringVar(&tables, "out", ".", "folder to put the tables in")
	return group(groupDrawing, "beam", "Check beams by the code, tabulate their spans", "",
		"  spanyard beam check golden-beam.json\n  spanyard beam spans design-catalogue.json --out tables", check, spans)
}

func (p *program) checkBeam(ctx context.Context, file, out string) error {
	_, content, err := readFile(file)
	if err != nil {
		return err
	}
	req := &layoutv1.CheckBeamRequest{BeamJson: content}
	if out != "" {
		req.Documents = []layoutv1.DocumentKind{layoutv1.DocumentKind_DOCUMENT_KIND_CALCULATIONS_PDF}
	}
	return designs(ctx, func(ctx context.Context, c layoutv1.DesignServiceClient) error {
		answer, err := c.CheckBeam(ctx, req)
		if err != nil {
			return err
		}
		if err := p.keepDocuments(out, answer.GetDocuments()); err != nil {
			return err
		}
		answer.Documents = nil
		return p.answer(answer, func(w io.Writer) { show.Beam(w, answer.GetReport()) })
	})
}

func (p *program) tabulateSpans(ctx context.Context, file, out string) error {
	_, content, err := readFile(file)
	if err != nil {
		return err
	}
	return designs(ctx, func(ctx context.Context, c layoutv1.DesignServiceClient) error {
		stop := p.progress("Working out spans")
		defer stop()
		answer, err := c.TabulateSpans(ctx, &layoutv1.TabulateSpansRequest{CatalogueJson: content, Documents: []layoutv1.DocumentKind{
			layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_PDF, layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_XLSX, layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_CSV,
		}})
		if err != nil {
			return err
		}
		return p.keepDocuments(out, answer.GetDocuments())
	})
}

// keepDocuments writes documents into a folder and names them on standard
// error.
func (p *program) keepDocuments(folder string, documents []*layoutv1.Document) error {
	if len(documents) == 0 {
		return nil
	}
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return fault.New(fault.Refused, "FOLDER_REFUSED", "The folder %s cannot be made.", folder).Because(err)
	}
	for _, d := range documents {
		path := filepath.Join(folder, filepath.Base(d.GetName()))
		if err := os.WriteFile(path, d.GetContent(), 0o666); err != nil {
			return fault.New(fault.Refused, "FILE_REFUSED", "%s cannot be written.", path).Because(err)
		}
		fmt.Fprintln(p.errw, "Wrote "+path)
	}
	return nil
}

// designOptions of the design command.
type designOptions struct {
	catalogue, out    string
	roomLayers        []string
	openingLayers     []string
	unitMM            float64
	job, jobName      string
	floor, category   string
	imposed, finishes float64
	smallest          float64
	sheet             string
}

func (p *program) designCommand() *cobra.Command {
	var o designOptions
	c := &cobra.Command{
		Use:     "design FILE",
		GroupID: groupDrawing,
		Short:   "Lay and check the rooms of a drawing, and draw the laying plan",
		Long: `Takes the rooms of a drawing (DXF, or JSON outlines in mm), lays beams and
blocks in each, checks every beam by EN 1992-1-1, and writes the laying plan
(PDF, SVG, PNG, DXF), quantities (XLSX, CSV, PDF) and calculation sheets (PDF).
A room that cannot be laid is refused with what would make it possible; what
of the drawing is no room is named. Needs no running program; nothing is kept.`,
		Example: "  spanyard design plan.dxf --catalogue design-catalogue.json --rooms ROOMS --out sheets\n" +
			"  spanyard design plan.dxf --catalogue design-catalogue.json --rooms 'Z*' --unit-mm 10 --imposed 2.5",
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return p.design(cmd.Context(), args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.catalogue, "catalogue", "", "JSON file with profiles, wires, blocks and rules (required)")
	f.StringVar(&o.out, "out", "", "folder to put the documents in; none are made without it")
	f.StringSliceVar(&o.roomLayers, "rooms", []string{"*"}, "layers with the rooms' outlines; * and ? stand for any characters")
	f.StringSliceVar(&o.openingLayers, "openings", nil, "layers with openings in the floor")
	f.Float64Var(&o.unitMM, "unit-mm", 0, "size of a drawing unit in mm; 0 believes the file")
	f.StringVar(&o.job, "job", "", "id of the job, for the title block")
	f.StringVar(&o.jobName, "job-name", "", "name of the job")
	f.StringVar(&o.floor, "floor", "1", "name of the floor; part of every mark")
	f.StringVar(&o.category, "category", "A", "category of use A to E (EN 1991-1-1 Table 6.1)")
	f.Float64Var(&o.imposed, "imposed", 2, "imposed load in kN/m2")
	f.Float64Var(&o.finishes, "finishes", 0.15, "finishes on the screed in kN/m2")
	f.Float64Var(&o.smallest, "smallest-m2", 1, "leave rooms out that are smaller than this many m2")
	f.StringVar(&o.sheet, "sheet", "A3", "sheet of the drawing: A3 or A1")
	_ = c.MarkFlagRequired("catalogue") // fails for unknown flags only
	return c
}

func (p *program) design(ctx context.Context, file string, o designOptions) error {
	name, content, err := readFile(file)
	if err != nil {
		return err
	}
	_, catalogue, err := readFile(o.catalogue)
	if err != nil {
		return err
	}
	req := &layoutv1.DesignFloorRequest{
		CatalogueJson: catalogue, FileName: name, Content: content, Format: layoutv1.FloorFormat_FLOOR_FORMAT_DXF,
		RoomLayers: o.roomLayers, OpeningLayers: o.openingLayers, UnitMm: o.unitMM, JobId: o.job, JobName: o.jobName, Floor: o.floor,
		Category: strings.ToUpper(o.category), ImposedKnPerM2: o.imposed, FinishesKnPerM2: o.finishes, SmallestM2: o.smallest, Sheet: o.sheet,
	}
	if strings.EqualFold(filepath.Ext(name), ".json") {
		req.Format = layoutv1.FloorFormat_FLOOR_FORMAT_OUTLINES
	}
	if o.out != "" {
		for k := layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_PDF; k <= layoutv1.DocumentKind_DOCUMENT_KIND_CALCULATIONS_PDF; k++ {
			req.Documents = append(req.Documents, k)
		}
	}
	return designs(ctx, func(ctx context.Context, c layoutv1.DesignServiceClient) error {
		stop := p.progress("Laying and checking " + name)
		answer, err := c.DesignFloor(ctx, req)
		stop()
		if err != nil {
			return err
		}
		if err := p.keepDocuments(o.out, answer.GetDocuments()); err != nil {
			return err
		}
		answer.Documents = nil
		return p.answer(answer, func(w io.Writer) { show.Design(w, answer) })
	})
}
