package pages

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
)

// floorsPages are the drawing office's: from a drawing or a room schedule to an
// approved laying plan and its documents.
func floorsPages() []shell.Page {
	return []shell.Page{
		{Pattern: "GET /floors", Handle: floors},
		{Pattern: "GET /floors/new", Handle: newFloor},
		{Pattern: "POST /floors/drawing", Upload: true, Handle: bringDrawing},
		{Pattern: "POST /floors/schedule", Upload: true, Handle: bringSchedule},
		{Pattern: "GET /floors/{job}/{floor}", Handle: floor},
		{Pattern: "POST /floors/{job}/{floor}/leave-out", Handle: onFloor(leaveOut)},
		{Pattern: "POST /floors/{job}/{floor}/order", Handle: onFloor(reorder)},
		{Pattern: "POST /floors/{job}/{floor}/approve", Handle: onFloor(approve)},
		{Pattern: "GET /floors/{job}/{floor}/room/{room}", Handle: room},
		{Pattern: "POST /floors/{job}/{floor}/room/{room}", Handle: changeRoom},
		{Pattern: "GET /floors/{job}/{floor}/compare", Handle: compareFloor},
		{Pattern: "GET /floors/{job}/{floor}/sheet.svg", Handle: floorSheet},
		{Pattern: "GET /floors/{job}/{floor}/papers/{file}", Handle: floorPaper},
	}
}

// floorRow is a revision in a list.
type floorRow struct {
	*layoutv1.PlanSummary
	// State in a word: draft, approved, replaced.
	State string
	Path  string
	// Approved is the revision that stands approved while a newer one is a
	// draft; 0 when there is none.
	Approved int32
	BeamsM   string
}

var planStates = map[layoutv1.PlanState]string{
	layoutv1.PlanState_PLAN_STATE_DRAFT: "draft", layoutv1.PlanState_PLAN_STATE_APPROVED: "approved", layoutv1.PlanState_PLAN_STATE_SUPERSEDED: "replaced",
}

func floorRowOf(p *layoutv1.PlanSummary) floorRow {
	return floorRow{PlanSummary: p, State: planStates[p.GetState()], Path: floorPath(p.GetJobId(), p.GetFloor()), BeamsM: inMetres(float64(p.GetBeamLengthMm()))}
}

func floorPath(job, floor string) string {
	return "/floors/" + url.PathEscape(job) + "/" + url.PathEscape(floor)
}

// inMetres writes a length with two decimals.
func inMetres(mm float64) string { return strconv.FormatFloat(mm/1000, 'f', 2, 64) }

// allPlans of the yard or of one job, each floor's newest revision first.
func allPlans(r *shell.Request, job string) (all []*layoutv1.PlanSummary, err error) {
	for token := ""; ; {
		answer, err := r.Shell().Layout.ListLayingPlans(r.Ctx(), &layoutv1.ListLayingPlansRequest{Yard: r.Shell().Yard, JobId: job, PageSize: pageOfPlans, PageToken: token})
		if err != nil {
			return nil, err
		}
		all = append(all, answer.GetPlans()...)
		if token = answer.GetNextPageToken(); token == "" {
			return all, nil
		}
	}
}

// pageOfPlans is how many are asked for at a time, mostFloors how many are
// shown.
const (
	pageOfPlans = 1000
	mostFloors  = 300
)

// floorsView is the list of floors: what needs somebody first.
type floorsView struct {
	Asked string
	Show  string
	Rows  []floorRow
	// Found floors, of which Rows are the first, and all there are.
	Found, Total int
	// NoCatalogue: nothing can be laid yet.
	NoCatalogue bool
	CanEdit     bool
}

func floors(r *shell.Request) error {
	plans, err := allPlans(r, "")
	if err != nil && !missing(err) {
		return err
	}
	v := floorsView{Asked: r.Form("text"), Show: r.Form("state"), CanEdit: r.Person().Has(auth.DrawingOffice)}
	newest := newestOf(plans)
	for _, row := range newest {
		if (v.Show == "" || v.Show == row.State) && (v.Asked == "" || holds(row.GetJobId(), v.Asked) || holds(row.GetJobName(), v.Asked)) {
			v.Rows = append(v.Rows, row)
		}
	}
	slices.SortStableFunc(v.Rows, func(a, b floorRow) int { return cmp.Compare(urgency(a), urgency(b)) })
	v.Total, v.Found = len(newest), len(v.Rows)
	v.Rows = v.Rows[:min(len(v.Rows), mostFloors)]
	if v.Total == 0 {
		_, err := r.Shell().Layout.GetCatalogue(r.Ctx(), &layoutv1.GetCatalogueRequest{Yard: r.Shell().Yard})
		if err != nil && !missing(err) {
			return err
		}
		v.NoCatalogue = err != nil
	}
	return r.Show("floors", v)
}

// newestOf each floor, with the revision that stands approved beside it.
func newestOf(plans []*layoutv1.PlanSummary) []floorRow {
	var rows []floorRow
	for _, p := range plans {
		last := len(rows) - 1
		if last < 0 || rows[last].GetJobId() != p.GetJobId() || rows[last].GetFloor() != p.GetFloor() {
			rows = append(rows, floorRowOf(p))
			continue
		}
		if p.GetState() == layoutv1.PlanState_PLAN_STATE_APPROVED {
			rows[last].Approved = p.GetRevision()
		}
	}
	return rows
}

// urgency of a floor: drafts with open points, drafts to be approved, the rest.
func urgency(f floorRow) int {
	switch {
	case f.State != "draft":
		return 2
	case f.GetOpenPointCount() > 0:
		return 0
	default:
		return 1
	}
}
