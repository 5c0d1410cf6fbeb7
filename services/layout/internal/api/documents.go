package api

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/drawing"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/papers"
	"spanyard.example/services/layout/internal/strength"
)

// sources of documents; what is nil cannot be drawn on.
type sources struct {
	plan         *design.Plan
	catalogue    *design.Catalogue
	calculations []strength.Report
	title, sheet string
	// revision, date and approvedBy for the drawing's title block.
	revision, date, approvedBy string
	// note for the drawing's foot.
	note string
	// drawn and spans are made once for all documents.
	drawn *drawing.Sheet
	spans *papers.Spans
}

// sourcesOf a stored revision: its rooms as they were laid, and the calculations
// of its beams made anew from what was stored of them.
func sourcesOf(r office.Record) (sources, error) {
	if r.Plan.Strength == office.NotChecked {
		return sources{}, fault.New(fault.Stale, office.ReasonNotChecked,
			"Revision %d of job %s floor %s is from before strength was computed; there is nothing to draw. Bring its rooms again.", r.Plan.Revision, r.Plan.Job, r.Plan.Floor)
	}
	catalogue := r.Plan.Catalogue.Engine()
	designer, err := design.New(catalogue)
	if err != nil {
		return sources{}, err
	}
	laid := r.Plan.Design()
	plan := designer.Assemble(laid.Floor, laid.Rooms)
	from := sources{
		plan: &plan, catalogue: &catalogue, calculations: plan.Calculations, revision: strconv.Itoa(r.Plan.Revision),
		title: fmt.Sprintf("%s-floor-%s-rev-%d", r.Plan.Job, r.Plan.Floor, r.Plan.Revision),
	}
	// Nobody is to take a draft, or what was replaced, for what is to be built.
	if standing := standings[r.Status]; standing != "" {
		from.title += "-" + standing
		from.revision += ", " + standing
	}
	if !r.ApprovedAt.IsZero() {
		from.date, from.approvedBy = r.ApprovedAt.UTC().Format(time.DateOnly), r.Engineer
	}
	if r.Plan.Schematic {
		from.note = "Drawn from a room schedule: the rooms' sizes are true, their places on the sheet are not."
	}
	return from, nil
}

// standings of what must not be built.
var standings = map[office.Status]string{office.Draft: "draft", office.Superseded: "replaced"}

func sortLayers(layers []*layoutv1.DrawingLayer) {
	slices.SortFunc(layers, func(a, b *layoutv1.DrawingLayer) int { return strings.Compare(a.GetName(), b.GetName()) })
}

// endings of the documents' file names, behind their titles.
var endings = map[layoutv1.DocumentKind]string{
	layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_PDF:      "-laying-plan.pdf",
	layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_SVG:      "-laying-plan.svg",
	layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_PNG:      "-laying-plan.png",
	layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_DXF:      "-laying-plan.dxf",
	layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_XLSX:  "-quantities.xlsx",
	layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_CSV:   "-beams.csv",
	layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_PDF:   "-quantities.pdf",
	layoutv1.DocumentKind_DOCUMENT_KIND_CALCULATIONS_PDF: "-calculations.pdf",
	layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_PDF:        "-spans.pdf",
	layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_XLSX:       "-spans.xlsx",
	layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_CSV:        "-spans.csv",
}

// documents makes what was asked for.
func documents(kinds []layoutv1.DocumentKind, from sources) ([]*layoutv1.Document, error) {
	var made []*layoutv1.Document
	for _, k := range kinds {
		write, err := from.writer(k)
		if err != nil {
			return nil, err
		}
		if write == nil {
			return nil, fault.New(fault.Invalid, "DOCUMENT_UNKNOWN", "A document of that kind cannot be made from this.").
				At("documents", k.String(), "is not made from this", "")
		}
		var b bytes.Buffer
		if err := write(&b); err != nil {
			return nil, err
		}
		made = append(made, &layoutv1.Document{Kind: k, Name: fileName(from.title) + endings[k], Content: b.Bytes()})
	}
	return made, nil
}

// fileName keeps what every file system takes.
func fileName(title string) string {
	name := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		default:
			return '-'
		}
	}, title)
	return cmp.Or(strings.Trim(name, "-."), "floor")
}

// writer returns what writes a document; nil when it cannot be made from the
// sources.
func (s *sources) writer(kind layoutv1.DocumentKind) (func(io.Writer) error, error) {
	switch kind {
	case layoutv1.DocumentKind_DOCUMENT_KIND_CALCULATIONS_PDF:
		if len(s.calculations) > 0 {
			return func(w io.Writer) error { return papers.Calculations(w, s.title, s.calculations) }, nil
		}
	case layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_PDF, layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_XLSX, layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_CSV:
		if s.catalogue == nil {
			return nil, nil
		}
		if s.spans == nil {
			spans, err := papers.Tabulate(*s.catalogue)
			if err != nil {
				return nil, err
			}
			s.spans = &spans
		}
		return map[layoutv1.DocumentKind]func(io.Writer) error{
			layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_PDF: s.spans.PDF, layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_XLSX: s.spans.XLSX, layoutv1.DocumentKind_DOCUMENT_KIND_SPANS_CSV: s.spans.CSV,
		}[kind], nil
	case layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_CSV, layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_XLSX, layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_PDF:
		if s.plan == nil || s.catalogue == nil {
			return nil, nil
		}
		q := papers.Count(s.title, *s.plan, *s.catalogue)
		return map[layoutv1.DocumentKind]func(io.Writer) error{
			layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_CSV: q.CSV, layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_XLSX: q.XLSX, layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_PDF: q.PDF,
		}[kind], nil
	default:
		return s.drawing(kind)
	}
	return nil, nil
}

func (s *sources) drawing(kind layoutv1.DocumentKind) (func(io.Writer) error, error) {
	if s.plan == nil {
		return nil, nil
	}
	if s.drawn == nil {
		sheet, err := drawing.New(*s.plan, drawing.Options{Sheet: s.sheet, Revision: s.revision, Date: s.date, ApprovedBy: s.approvedBy, Note: s.note})
		if err != nil {
			return nil, fault.New(fault.Invalid, "DRAWING_IMPOSSIBLE", "The laying plan cannot be drawn: %v.", err)
		}
		s.drawn = sheet
	}
	sheet := s.drawn
	return map[layoutv1.DocumentKind]func(io.Writer) error{
		layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_PDF: sheet.PDF, layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_SVG: sheet.SVG,
		layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_PNG: sheet.PNG, layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_DXF: sheet.DXF,
	}[kind], nil
}
