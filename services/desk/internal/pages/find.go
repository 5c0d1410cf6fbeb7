package pages

import (
	"slices"
	"strings"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
)

func findPages() []shell.Page {
	return []shell.Page{
		{Pattern: "GET /find", Handle: find},
	}
}

// findView is what was found, best first.
type findView struct {
	Asked   string
	Batches []batchRow
	Piece   *stockv1.Piece
	Marks   []foundMark
	Floors  []*layoutv1.PlanSummary
	Trucks  []foundTruck
	Nothing bool
}

type foundMark struct {
	JobID, Mark string
	Piece       *stockv1.Piece
}

type foundTruck struct{ ID, Name string }

// find looks for what somebody reads off a beam, a paper or a door: a batch, a
// piece, a mark, a job, a truck. "J101 1-01-01" is a mark of a job.
func find(r *shell.Request) error {
	v := findView{Asked: r.Form("q")}
	if v.Asked == "" {
		v.Nothing = true
		return r.Show("find", v)
	}
	for _, look := range []func(*shell.Request) error{v.batches, v.pieces, v.floors, v.trucks} {
		if err := look(r); err != nil && !missing(err) {
			return err
		}
	}
	v.Nothing = len(v.Batches)+len(v.Marks)+len(v.Floors)+len(v.Trucks) == 0 && v.Piece == nil
	if len(v.Batches) == 1 && len(v.Marks)+len(v.Floors)+len(v.Trucks) == 0 && v.Piece == nil {
		return r.Go("/stock/"+v.Batches[0].GetBatchId(), "")
	}
	return r.Show("find", v)
}

func holds(text, asked string) bool {
	return strings.Contains(strings.ToLower(text), strings.ToLower(asked))
}

// mostFound of one kind; who needs more says more.
const mostFound = 50

func (v *findView) batches(r *shell.Request) error {
	all, _, err := allBatches(r)
	today := r.Today()
	for _, b := range all {
		if holds(b.GetBatchId(), v.Asked) && len(v.Batches) < mostFound {
			v.Batches = append(v.Batches, rowOf(b, today))
		}
	}
	return err
}

func (v *findView) pieces(r *shell.Request) error {
	s := r.Shell()
	answer, err := s.Stock.GetPieces(r.Ctx(), &stockv1.GetPiecesRequest{Yard: s.Yard, PieceIds: []string{v.Asked}})
	if err != nil {
		return err
	}
	if len(answer.GetPieces()) > 0 {
		v.Piece = answer.GetPieces()[0]
	}
	job, mark, two := strings.Cut(v.Asked, " ")
	jobs := []string{job}
	if !two {
		if mark = v.Asked; !strings.Contains(mark, "-") {
			return nil
		}
		if jobs, err = v.jobs(r); err != nil {
			return err
		}
	}
	for _, job := range jobs {
		found, err := s.Stock.FindMarks(r.Ctx(), &stockv1.FindMarksRequest{Yard: s.Yard, JobId: job, Marks: []string{strings.TrimSpace(mark)}})
		if err != nil {
			return err
		}
		for _, m := range found.GetMarks() {
			for _, p := range m.GetPieces() {
				v.Marks = append(v.Marks, foundMark{JobID: job, Mark: m.GetMark(), Piece: p})
			}
		}
	}
	return nil
}

// jobs of the yard, for a mark that comes without one.
func (v *findView) jobs(r *shell.Request) ([]string, error) {
	s := r.Shell()
	answer, err := s.Dispatch.ListFloors(r.Ctx(), &dispatchv1.ListFloorsRequest{Yard: s.Yard})
	if err != nil {
		return nil, err
	}
	var jobs []string
	for _, f := range answer.GetFloors() {
		jobs = append(jobs, f.GetJobId())
	}
	slices.Sort(jobs)
	jobs = slices.Compact(jobs)
	return jobs[:min(len(jobs), mostFound)], nil
}

func (v *findView) floors(r *shell.Request) error {
	s := r.Shell()
	answer, err := s.Layout.ListLayingPlans(r.Ctx(), &layoutv1.ListLayingPlansRequest{Yard: s.Yard, PageSize: pageOfBatches})
	if err != nil {
		return err
	}
	for _, p := range answer.GetPlans() {
		if (holds(p.GetJobId(), v.Asked) || holds(p.GetJobName(), v.Asked)) && len(v.Floors) < mostFound {
			v.Floors = append(v.Floors, p)
		}
	}
	return nil
}

func (v *findView) trucks(r *shell.Request) error {
	s := r.Shell()
	answer, err := s.Dispatch.ListTrucks(r.Ctx(), &dispatchv1.ListTrucksRequest{Yard: s.Yard})
	if err != nil {
		return err
	}
	for _, t := range answer.GetTrucks() {
		if strings.EqualFold(t.GetTruckId(), v.Asked) || len(v.Asked) > 2 && holds(t.GetName(), v.Asked) {
			v.Trucks = append(v.Trucks, foundTruck{t.GetTruckId(), t.GetName()})
		}
	}
	return nil
}
