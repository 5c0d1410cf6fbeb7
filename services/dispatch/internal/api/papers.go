package api

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/deckdraw"
	"spanyard.example/services/dispatch/internal/papers"
	"spanyard.example/services/kit/fault"
)

// Media types of papers.
const (
	mediaPDF = "application/pdf"
	mediaSVG = "image/svg+xml"
)

// screenMM is how wide a deck is drawn for a screen, which scales it.
const screenMM = 180

// RenderRunPapers prints what a run is worked from.
func (s *Server) RenderRunPapers(ctx context.Context, req *dispatchv1.RenderRunPapersRequest) (*dispatchv1.RenderRunPapersResponse, error) {
	state, position, err := s.office.State(ctx, req.GetYard(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	run, err := s.printed(state, req)
	if err != nil {
		return nil, err
	}
	answer := &dispatchv1.RenderRunPapersResponse{Position: position}
	for _, kind := range req.GetPapers() {
		made, err := render(run, kind)
		if err != nil {
			return nil, err
		}
		answer.Papers = append(answer.Papers, made...)
	}
	return answer, nil
}

// printed gathers a run and all that is printed beside it.
func (s *Server) printed(state daybook.State, req *dispatchv1.RenderRunPapersRequest) (papers.Run, error) {
	out, err := runOf(state, req.GetRunId())
	if err != nil {
		return out, err
	}
	rules, _ := state.Rules()
	zone, err := time.LoadLocation(rules.TimeZone)
	if err != nil {
		return out, fault.New(fault.Internal, "BAD_RULES", "The yard's time zone is not known.").Because(err)
	}
	out.Yard, out.Rules, out.At = req.GetYard(), rules, s.office.Clock.Now().In(zone)
	trucks := state.Trucks()
	if at := slices.IndexFunc(trucks, func(t daybook.Truck) bool { return t.ID == out.TruckID }); at >= 0 {
		out.Truck = trucks[at]
	} else {
		return out, fault.New(fault.NotFound, "TRUCK_UNKNOWN", "Truck %s of run %s is no longer one of the yard's: without it the papers cannot be drawn.", out.TruckID, out.ID)
	}
	out.Sites = map[string]daybook.Site{}
	for _, site := range state.Sites() {
		out.Sites[site.ID] = site
	}
	out.Links = map[int]string{}
	if desk := req.GetDeskAddress(); desk != "" {
		for _, d := range out.Drops {
			out.Links[d.Number] = fmt.Sprintf("%s/drop/%s/%d", strings.TrimSuffix(desk, "/"), url.PathEscape(out.ID), d.Number)
		}
	}
	for _, link := range req.GetLinks() {
		if !slices.ContainsFunc(out.Drops, func(d daybook.Drop) bool { return d.Number == int(link.GetDropNumber()) }) {
			return out, fault.New(fault.Invalid, "DROP_UNKNOWN", "A link is not right.").
				At("links.drop_number", fmt.Sprint(link.GetDropNumber()), fmt.Sprintf("is no drop of run %s", out.ID), fmt.Sprintf("1 to %d", len(out.Drops)))
		}
		out.Links[int(link.GetDropNumber())] = link.GetAddress()
	}
	return out, nil
}

// runOf finds a run as it stands: confirmed, or of a plan that may still be.
func runOf(state daybook.State, id string) (papers.Run, error) {
	if r, ok := state.Run(id); ok {
		return papers.Run{Run: r.Run, Day: r.Day, PlanID: r.PlanID, Standing: r.State.String(), Hits: r.Hits}, nil
	}
	if day := state.DayOfRun(id); day != "" {
		if err := state.CheckRunsKept(day); err != nil {
			return papers.Run{}, err
		}
	}
	planID := id[:max(0, strings.LastIndex(id, "-R"))]
	if p, ok := state.Plan(planID); ok {
		for _, r := range p.Plan.Runs {
			if r.ID == id {
				return papers.Run{Run: r, Day: p.Plan.Day, PlanID: planID, Standing: "planned, not confirmed"}, nil
			}
		}
	}
	return papers.Run{}, fault.New(fault.NotFound, "RUN_UNKNOWN", "There is no run %s, planned or confirmed.", id)
}

// render makes the papers of one kind.
func render(run papers.Run, kind dispatchv1.RunPaperKind) ([]*dispatchv1.RunPaper, error) {
	paper := func(name, media string, content []byte) *dispatchv1.RunPaper {
		return &dispatchv1.RunPaper{Kind: kind, Name: run.ID + "-" + name, MediaType: media, Content: content}
	}
	one := func(name string, print func() ([]byte, error)) ([]*dispatchv1.RunPaper, error) {
		content, err := print()
		if err != nil {
			return nil, err
		}
		return []*dispatchv1.RunPaper{paper(name, mediaPDF, content)}, nil
	}
	switch kind {
	case dispatchv1.RunPaperKind_RUN_PAPER_KIND_LOAD_SHEET:
		return one("load-sheet.pdf", run.LoadSheet)
	case dispatchv1.RunPaperKind_RUN_PAPER_KIND_PICK_LIST:
		return one("pick-list.pdf", run.PickList)
	case dispatchv1.RunPaperKind_RUN_PAPER_KIND_RUN_SHEET:
		return one("run-sheet.pdf", run.RunSheet)
	case dispatchv1.RunPaperKind_RUN_PAPER_KIND_DELIVERY_NOTE:
		var notes []*dispatchv1.RunPaper
		for _, d := range run.Drops {
			content, err := run.DeliveryNote(d.Number)
			if err != nil {
				return nil, err
			}
			notes = append(notes, paper(fmt.Sprintf("delivery-note-%d.pdf", d.Number), mediaPDF, content))
		}
		return notes, nil
	default:
		drawn := deckdraw.Draw(deckdraw.Input{Run: run.Run, Truck: run.Truck, Rules: run.Rules, WidthMM: screenMM})
		return []*dispatchv1.RunPaper{paper("deck.svg", mediaSVG, drawn.SVG())}, nil
	}
}
