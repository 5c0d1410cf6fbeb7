package pages

import (
	"fmt"
	"net/url"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/fault"
)

// paper is a document of a floor, and where it lies.
type paper struct {
	// Key of its words: what it is for.
	Key   string
	Files []paperFile
}

type paperFile struct{ Name, Path string }

// floorPaperKinds are the documents by the end of their addresses.
var floorPaperKinds = map[string]struct {
	kind      layoutv1.DocumentKind
	mediaType string
}{
	"drawing.pdf":      {layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_PDF, "application/pdf"},
	"drawing.svg":      {layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_SVG, svgType},
	"drawing.png":      {layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_PNG, "image/png"},
	"drawing.dxf":      {layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_DXF, "image/vnd.dxf"},
	"quantities.pdf":   {layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_PDF, "application/pdf"},
	"quantities.xlsx":  {layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_XLSX, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"},
	"quantities.csv":   {layoutv1.DocumentKind_DOCUMENT_KIND_QUANTITIES_CSV, "text/csv; charset=utf-8"},
	"calculations.pdf": {layoutv1.DocumentKind_DOCUMENT_KIND_CALCULATIONS_PDF, "application/pdf"},
}

const svgType = "image/svg+xml"

// floorPapersOf a revision, in the order in which they are needed.
func floorPapersOf(path string, revision int32) []paper {
	file := func(name, address, sheet string) paperFile {
		q := url.Values{"revision": {fmt.Sprint(revision)}}
		if sheet != "" {
			q.Set("sheet", sheet)
		}
		return paperFile{name, path + "/papers/" + address + "?" + q.Encode()}
	}
	return []paper{
		{"floors.paper.drawing", []paperFile{
			file("PDF, A3", "drawing.pdf", "A3"), file("PDF, A1", "drawing.pdf", "A1"), file("SVG", "drawing.svg", ""), file("PNG", "drawing.png", ""), file("DXF", "drawing.dxf", ""),
		}},
		{"floors.paper.quantities", []paperFile{file("PDF", "quantities.pdf", ""), file("XLSX", "quantities.xlsx", ""), file("CSV", "quantities.csv", "")}},
		{"floors.paper.calculations", []paperFile{file("PDF", "calculations.pdf", "")}},
	}
}

// documentOf asks the drawing office for one document of the page's floor.
func documentOf(r *shell.Request, kind layoutv1.DocumentKind) (*layoutv1.Document, error) {
	revision, err := revisionOf(r)
	if err != nil {
		return nil, err
	}
	answer, err := r.Shell().Layout.RenderDocuments(r.Ctx(), &layoutv1.RenderDocumentsRequest{
		Yard: r.Shell().Yard, JobId: r.R.PathValue("job"), Floor: r.R.PathValue("floor"), Revision: revision,
		Documents: []layoutv1.DocumentKind{kind}, Sheet: r.Form("sheet"),
	})
	if err != nil {
		return nil, err
	}
	for _, d := range answer.GetDocuments() {
		return d, nil
	}
	return nil, fault.New(fault.NotFound, "FILE_UNKNOWN", "%s", r.Shell().Words.Say("problem.page"))
}

func floorPaper(r *shell.Request) error {
	asked, ok := floorPaperKinds[r.R.PathValue("file")]
	if !ok {
		return fault.New(fault.NotFound, "FILE_UNKNOWN", "%s", r.Shell().Words.Say("problem.page"))
	}
	d, err := documentOf(r, asked.kind)
	if err != nil {
		return err
	}
	return r.Send(d.GetName(), asked.mediaType, d.GetContent())
}

// floorSheet shows the laying plan as it is printed.
func floorSheet(r *shell.Request) error {
	d, err := documentOf(r, layoutv1.DocumentKind_DOCUMENT_KIND_DRAWING_SVG)
	if err != nil {
		return err
	}
	return r.Picture(svgType, d.GetContent())
}
