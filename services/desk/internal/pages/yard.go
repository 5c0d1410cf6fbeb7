package pages

import (
	"bytes"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
)

func yardPages() []shell.Page {
	return []shell.Page{
		{Pattern: "GET /yard", Handle: yard},
		{Pattern: "GET /yard/worker.js", Open: true, Handle: yardWorker},
		{Pattern: "GET /yard/run/{day}/{run}", Handle: yardRun},
		{Pattern: "POST /yard/run/{day}/{run}/picked", Handle: onRun(picked)},
		{Pattern: "POST /yard/run/{day}/{run}/aside", Handle: onRun(movedAside)},
		{Pattern: "POST /yard/run/{day}/{run}/gone", Handle: onRun(gone)},
		{Pattern: "POST /yard/run/{day}/{run}/loaded", Handle: onRun(loaded)},
		{Pattern: "POST /yard/run/{day}/{run}/left", Handle: onRun(left)},
		{Pattern: "GET /yard/put-away/{batch}", Handle: putAway},
		{Pattern: "POST /yard/put-away/{batch}", Handle: onPutAway},
	}
}

// yardWorker keeps the yard's pages on the phone. It is served from where the
// pages are, since a browser lets it keep nothing above.
func yardWorker(r *shell.Request) error {
	h := r.W.Header()
	h.Set("Service-Worker-Allowed", "/yard")
	h.Set("Cache-Control", "no-cache")
	content, err := shell.Static("yardworker.js")
	if err != nil {
		return err
	}
	http.ServeContent(r.W, r.R, "yardworker.js", time.Time{}, bytes.NewReader(content))
	return nil
}

// yardView is what the yard has to do: the runs of a day in the order in which
// they are loaded, and batches that came lately.
type yardView struct {
	Today, Day, Before, After string
	Runs                      []yardRow
	// Next is the run to be picked now; nil when all are.
	Next *yardRow
	// Gone counts runs that have left or are delivered.
	Gone     int
	Fresh    []*stockv1.Batch
	Position uint64
}

// yardRow is a run in the list.
type yardRow struct {
	*dispatchv1.RunStatus
	Truck, Sites string
	// State in a word: pick, load, leave, stopped, left.
	State string
	// Picked of all pieces are off their stacks.
	Picked, All int
}

// mostRuns that are listed with how far they are.
const mostRuns = 60

func yard(r *shell.Request) error {
	today := r.Today()
	v := yardView{Today: today, Day: r.Form("day")}
	asked := v.Day != ""
	if _, err := time.Parse(time.DateOnly, v.Day); err != nil {
		v.Day, asked = today, false
	}
	if err := v.runs(r); err != nil && !missing(err) {
		return err
	}
	// In the evening the yard begins with the morning.
	if next := (yardView{Today: today, Day: dayAfter(today, 1)}); !asked && len(v.Runs) == 0 {
		if err := next.runs(r); err != nil && !missing(err) {
			return err
		}
		if len(next.Runs) > 0 {
			v = next
		}
	}
	v.Before, v.After = dayAfter(v.Day, -1), dayAfter(v.Day, 1)
	batches, _, err := allBatches(r)
	if err != nil && !missing(err) {
		return err
	}
	v.Fresh = freshOf(batches)
	return r.Show("yard", v)
}

// dayAfter a day, YYYY-MM-DD, by some days.
func dayAfter(day string, days int) string {
	d, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return d.AddDate(0, 0, days).Format(time.DateOnly)
}

// mostFresh is how many batches are shown for putting away.
const mostFresh = 6

// freshOf are the youngest batches of beams that lie in the yard.
func freshOf(batches []*stockv1.Batch) []*stockv1.Batch {
	var fresh []*stockv1.Batch
	for _, b := range batches {
		if b.GetKind() == stockeventv1.BatchKind_BATCH_KIND_BEAMS && b.GetCounts().GetInYard()+b.GetCounts().GetReserved() > 0 {
			fresh = append(fresh, b)
		}
	}
	slices.SortStableFunc(fresh, func(a, b *stockv1.Batch) int {
		if a.GetMadeOn() != b.GetMadeOn() {
			return -strings.Compare(a.GetMadeOn(), b.GetMadeOn())
		}
		return -strings.Compare(a.GetBatchId(), b.GetBatchId())
	})
	return fresh[:min(len(fresh), mostFresh)]
}

func (v *yardView) runs(r *shell.Request) error {
	s := r.Shell()
	answer, err := s.Dispatch.ListRuns(r.Ctx(), &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: v.Day})
	if err != nil {
		return err
	}
	v.Position = answer.GetPosition()
	list := slices.DeleteFunc(answer.GetRuns(), func(run *dispatchv1.RunStatus) bool {
		return run.GetState() == dispatchv1.RunState_RUN_STATE_CANCELLED
	})
	slices.SortStableFunc(list, func(a, b *dispatchv1.RunStatus) int {
		return int(a.GetRun().GetLoadingMinute() - b.GetRun().GetLoadingMinute())
	})
	names, err := namesOf(r)
	if err != nil {
		return err
	}
	var ids []string
	for _, run := range list {
		if hasLeft(run) {
			v.Gone++
		} else if len(v.Runs) < mostRuns {
			v.Runs = append(v.Runs, yardRow{RunStatus: run, Truck: names.truck(run.GetRun().GetTruckId()), Sites: names.sites(run.GetRun())})
			ids = append(ids, piecesOf(run.GetRun())...)
		}
	}
	pieces, _, err := piecesByID(r, ids, 0)
	if err != nil {
		return err
	}
	for i := range v.Runs {
		row := &v.Runs[i]
		row.howFar(pieces)
		if v.Next == nil && (row.State == "pick" || row.State == "load") {
			v.Next = row
		}
	}
	return nil
}

func (row *yardRow) howFar(pieces map[string]*stockv1.Piece) {
	inside := 0
	for _, id := range piecesOf(row.GetRun()) {
		row.All++
		switch pieces[id].GetState() {
		case stockeventv1.PieceState_PIECE_STATE_PICKED:
			row.Picked++
		case stockeventv1.PieceState_PIECE_STATE_LOADED, stockeventv1.PieceState_PIECE_STATE_DELIVERED:
			row.Picked++
			inside++
		}
	}
	switch {
	case row.RunStatus.GetState() == dispatchv1.RunState_RUN_STATE_HIT:
		row.State = "stopped"
	case inside == row.All:
		row.State = "leave"
	case row.Picked == row.All:
		row.State = "load"
	default:
		row.State = "pick"
	}
}

func hasLeft(run *dispatchv1.RunStatus) bool {
	return run.GetState() == dispatchv1.RunState_RUN_STATE_DEPARTED || run.GetState() == dispatchv1.RunState_RUN_STATE_DELIVERED
}

func piecesOf(run *dispatcheventv1.Run) []string {
	ids := make([]string, 0, len(run.GetPicks()))
	for _, p := range run.GetPicks() {
		ids = append(ids, p.GetPieceId())
	}
	return ids
}

// mostPieces that are asked for at a time.
const mostPieces = 5000

// piecesByID as they are at a position of the stock ledger or later.
func piecesByID(r *shell.Request, ids []string, atLeast uint64) (all map[string]*stockv1.Piece, position uint64, err error) {
	all = map[string]*stockv1.Piece{}
	for some := range slices.Chunk(unique(ids), mostPieces) {
		answer, err := r.Shell().Stock.GetPieces(r.Ctx(), &stockv1.GetPiecesRequest{Yard: r.Shell().Yard, PieceIds: some, AtLeast: atLeast})
		if err != nil {
			return nil, 0, err
		}
		for _, p := range answer.GetPieces() {
			all[p.GetPieceId()] = p
		}
		position = answer.GetPosition()
	}
	return all, position, nil
}

func unique(ids []string) []string {
	ids = slices.Clone(ids)
	slices.Sort(ids)
	return slices.Compact(ids)
}

// names of trucks and sites.
type names struct{ trucks, places map[string]string }

func namesOf(r *shell.Request) (names, error) {
	s, n := r.Shell(), names{map[string]string{}, map[string]string{}}
	trucks, err := s.Dispatch.ListTrucks(r.Ctx(), &dispatchv1.ListTrucksRequest{Yard: s.Yard})
	if err != nil {
		return n, err
	}
	for _, t := range trucks.GetTrucks() {
		n.trucks[t.GetTruckId()] = t.GetName()
	}
	sites, err := s.Dispatch.ListSites(r.Ctx(), &dispatchv1.ListSitesRequest{Yard: s.Yard})
	if err != nil {
		return n, err
	}
	for _, p := range sites.GetSites() {
		n.places[p.GetSiteId()] = p.GetName()
	}
	return n, nil
}

func (n names) truck(id string) string {
	if name := n.trucks[id]; name != "" {
		return id + " " + name
	}
	return id
}

func (n names) sites(run *dispatcheventv1.Run) string {
	text := ""
	for i, d := range run.GetDrops() {
		if i > 0 {
			text += ", "
		}
		if name := n.places[d.GetSiteId()]; name != "" {
			text += name
		} else {
			text += d.GetSiteId()
		}
	}
	return text
}

// stockPosition that the page must not be older than: what the last form wrote.
func stockPosition(r *shell.Request) uint64 {
	position, err := strconv.ParseUint(r.Form("stock"), 10, 64)
	if err != nil {
		return 0
	}
	return position
}
