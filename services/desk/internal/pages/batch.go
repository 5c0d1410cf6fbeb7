package pages

import (
	"strconv"
	"strings"
	"time"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/fault"
)

func batchPages() []shell.Page {
	return []shell.Page{
		{Pattern: "GET /stock/{batch}", Handle: batch},
		{Pattern: "POST /stock/{batch}/results", Handle: onBatch(recordResults)},
		{Pattern: "POST /stock/{batch}/release", Handle: onBatch(release)},
		{Pattern: "POST /stock/{batch}/quarantine", Handle: onBatch(quarantine)},
		{Pattern: "POST /stock/{batch}/lift", Handle: onBatch(lift)},
	}
}

// batchView is a batch with the evidence on it.
type batchView struct {
	batchRow
	Pieces []*stockv1.Piece
	Stacks []string
	Zone   *time.Location
	// Entered is what a refused form had in it.
	Entered  map[string]string
	Position uint64
}

func batch(r *shell.Request) error {
	answer, err := r.Shell().Stock.GetBatch(r.Ctx(), &stockv1.GetBatchRequest{Yard: r.Shell().Yard, BatchId: r.R.PathValue("batch"), AtLeast: r.AtLeast()})
	if err != nil {
		return err
	}
	v := batchView{batchRow: rowOf(answer.GetBatch(), r.Today()), Pieces: answer.GetPieces(), Zone: r.Zone(), Position: answer.GetPosition(), Entered: map[string]string{}}
	for _, field := range []string{"test_id", "laboratory", "tested_on", "strengths", "reason"} {
		v.Entered[field] = r.R.PostFormValue(field)
	}
	seen := map[string]bool{"": true}
	for _, p := range v.Pieces {
		if id := p.GetStackId(); !seen[id] {
			seen[id] = true
			v.Stacks = append(v.Stacks, id)
		}
	}
	return r.Show("batch", v)
}

// onBatch does what a form asks and shows the batch: with what was done, or
// with what was refused and the form as it was.
func onBatch(do func(*shell.Request, string) error) func(*shell.Request) error {
	return func(r *shell.Request) error {
		id := r.R.PathValue("batch")
		err := do(r, id)
		if err != nil {
			r.Problem = err
			return batch(r)
		}
		return nil
	}
}

func recordResults(r *shell.Request, id string) error {
	strengths, err := strengthsOf(r.Form("strengths"))
	if err != nil {
		return err
	}
	specimen := stockeventv1.SpecimenKind(stockeventv1.SpecimenKind_value[r.Form("specimen")])
	answer, err := r.Shell().Stock.RecordTest(r.Ctx(), &stockv1.RecordTestRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), BatchId: id, TestId: r.Form("test_id"), Laboratory: r.Form("laboratory"),
		TestedOn: r.Form("tested_on"), Specimen: specimen, StrengthsMpa: strengths,
	})
	if err != nil {
		return err
	}
	if q := answer.GetQuarantine(); q != nil {
		return r.GoSeeing("/stock/"+id, answer.GetPosition(), "batch.said.results_stop", answer.GetVerdict().GetSentence(), id, len(q.GetHits()))
	}
	return r.GoSeeing("/stock/"+id, answer.GetPosition(), "batch.said.results", answer.GetVerdict().GetSentence())
}

// strengthsOf reads numbers as a laboratory's sheet has them: apart by spaces,
// semicolons or lines, with a point or a comma before the decimals.
func strengthsOf(text string) ([]float64, error) {
	var all []float64
	for _, word := range strings.FieldsFunc(text, func(c rune) bool { return c == ' ' || c == ';' || c == '\n' || c == '\r' || c == '\t' }) {
		v, err := strconv.ParseFloat(strings.ReplaceAll(word, ",", "."), 64)
		if err != nil {
			return nil, fault.New(fault.Invalid, "STRENGTH_INVALID", "A strength is no number.").At("strengths", word, "is no number", "numbers in MPa, as in 52.5, with spaces between them")
		}
		all = append(all, v)
	}
	return all, nil
}

func release(r *shell.Request, id string) error {
	answer, err := r.Shell().Stock.ReleaseBatch(r.Ctx(), &stockv1.ReleaseBatchRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), BatchId: id, ReleasedBy: r.Person().Name,
	})
	if err != nil {
		return err
	}
	return r.GoSeeing("/stock/"+id, answer.GetPosition(), "batch.said.released", id, answer.GetRelease().GetReleasedBy(), answer.GetRelease().GetAgeDays())
}

func quarantine(r *shell.Request, id string) error {
	answer, err := r.Shell().Stock.QuarantineBatch(r.Ctx(), &stockv1.QuarantineBatchRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), BatchId: id, Reason: r.Form("reason"), QuarantinedBy: r.Person().Name,
	})
	if err != nil {
		return err
	}
	return r.GoSeeing("/stock/"+id, answer.GetPosition(), "batch.said.stopped", id, len(answer.GetQuarantine().GetHits()))
}

func lift(r *shell.Request, id string) error {
	answer, err := r.Shell().Stock.LiftQuarantine(r.Ctx(), &stockv1.LiftQuarantineRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), BatchId: id, LiftedBy: r.Person().Name, Reason: r.Form("reason"),
	})
	if err != nil {
		return err
	}
	return r.GoSeeing("/stock/"+id, answer.GetPosition(), "batch.said.lifted", id)
}
