package pages

import (
	"slices"
	"time"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
)

func stockPages() []shell.Page {
	return []shell.Page{
		{Pattern: "GET /stock", Handle: stock},
		{Pattern: "GET /stack/{stack}", Handle: stack},
	}
}

// pageOfBatches is how many are asked for at a time.
const pageOfBatches = 1000

// allBatches of the yard, and the position they are as of.
func allBatches(r *shell.Request) (all []*stockv1.Batch, position uint64, err error) {
	for token := ""; ; {
		answer, err := r.Shell().Stock.ListBatches(r.Ctx(), &stockv1.ListBatchesRequest{Yard: r.Shell().Yard, PageSize: pageOfBatches, PageToken: token})
		if err != nil {
			return nil, 0, err
		}
		all, position = append(all, answer.GetBatches()...), answer.GetPosition()
		if token = answer.GetNextPageToken(); token == "" {
			return all, position, nil
		}
	}
}

// batchRow is a batch in the list.
type batchRow struct {
	*stockv1.Batch
	State, Product string
	AgeDays        int
	InYard, Left   int32
	// Verdict in a word: conforms, fails, none.
	Verdict string
}

func rowOf(b *stockv1.Batch, today string) batchRow {
	c := b.GetCounts()
	return batchRow{
		Batch: b, State: stateOf(b.GetState()), Product: productOf(b), AgeDays: daysBetween(b.GetMadeOn(), today),
		InYard: c.GetInYard() + c.GetReserved(), Left: c.GetPicked() + c.GetLoaded() + c.GetDelivered(), Verdict: verdictOf(b),
	}
}

// verdictOf all results of a batch that count.
func verdictOf(b *stockv1.Batch) string {
	verdict := "none"
	for _, j := range b.GetJudgements() {
		switch {
		case j.GetSuperseded():
		case !j.GetVerdict().GetConforms():
			return "fails"
		default:
			verdict = "conforms"
		}
	}
	return verdict
}

func daysBetween(from, to string) int {
	a, err := time.Parse(time.DateOnly, from)
	if err != nil {
		return 0
	}
	b, err := time.Parse(time.DateOnly, to)
	if err != nil {
		return 0
	}
	return int(b.Sub(a).Hours() / 24)
}

// stockView is the list of batches: what needs somebody first.
type stockView struct {
	Today    string
	Show     string
	Rows     []batchRow
	Total    int
	Position uint64
}

func stock(r *shell.Request) error {
	batches, position, err := allBatches(r)
	if err != nil && !missing(err) {
		return err
	}
	v := stockView{Today: r.Today(), Show: r.Form("state"), Total: len(batches), Position: position}
	for _, b := range batches {
		if row := rowOf(b, v.Today); v.Show == "" || row.State == v.Show {
			v.Rows = append(v.Rows, row)
		}
	}
	order := map[string]int{"quarantined": 0, "curing": 1, "released": 2}
	slices.SortStableFunc(v.Rows, func(a, b batchRow) int { return order[a.State] - order[b.State] })
	return r.Show("stock", v)
}

// stackView is a stack as it stands.
type stackView struct {
	*stockv1.GetStackResponse
	Tiers []tier
}

// tier is what lies side by side.
type tier struct {
	Number int32
	Pieces []*stockv1.Piece
}

func stack(r *shell.Request) error {
	answer, err := r.Shell().Stock.GetStack(r.Ctx(), &stockv1.GetStackRequest{Yard: r.Shell().Yard, StackId: r.R.PathValue("stack")})
	if err != nil {
		return err
	}
	v := stackView{GetStackResponse: answer}
	for _, p := range answer.GetPieces() {
		if last := len(v.Tiers) - 1; last < 0 || v.Tiers[last].Number != p.GetTier() {
			v.Tiers = append(v.Tiers, tier{Number: p.GetTier()})
		}
		last := &v.Tiers[len(v.Tiers)-1]
		last.Pieces = append(last.Pieces, p)
	}
	return r.Show("stack", v)
}
