package pages

import (
	"fmt"
	"strings"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/fault"
)

// done is what became of a form of the yard.
type done struct {
	said     string
	position uint64
	// changed says that the steps are others now.
	changed bool
}

// onRun does what a form of a run asks. A script, which sends what was tapped
// while there was no line, gets an answer; a browser the run as it is then.
func onRun(do func(*shell.Request, string) (done, error)) func(*shell.Request) error {
	return func(r *shell.Request) error {
		d, err := ownTap(r, func() (done, error) { return do(r, r.R.PathValue("run")) })
		path := "/yard/run/" + r.R.PathValue("day") + "/" + r.R.PathValue("run")
		return answerTap(r, path, d, err, yardRun)
	}
}

// reasonOtherPerson is a tap of somebody else than sits at the phone now.
const reasonOtherPerson = "OTHER_PERSON"

// ownTap refuses what another person tapped on this phone: the ledger would
// keep the wrong name.
func ownTap(r *shell.Request, do func() (done, error)) (done, error) {
	if by := r.Form("person"); by != "" && by != r.Person().Name {
		return done{}, fault.New(fault.Refused, reasonOtherPerson, "%s", r.Shell().Words.Say("yard.other_person", by))
	}
	return do()
}

func answerTap(r *shell.Request, path string, d done, err error, show func(*shell.Request) error) error {
	switch {
	case fault.ReasonOf(err) == reasonOtherPerson && r.ByScript():
		return r.Answer(shell.Answer{Keep: true, Sign: true})
	case err != nil && r.ByScript():
		return err
	case err != nil:
		r.Problem = err
		return show(r)
	case r.ByScript():
		return r.Answer(shell.Answer{Said: d.said, Position: d.position, Changed: d.changed})
	}
	return r.Go(fmt.Sprintf("%s?stock=%d", path, d.position), "yard.said", d.said)
}

// picked records pieces that are off their stacks.
func picked(r *shell.Request, run string) (done, error) {
	ids := r.R.PostForm["piece_id"]
	answer, err := r.Shell().Stock.PickPieces(r.Ctx(), &stockv1.PickPiecesRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), RunId: run, PieceIds: ids,
	})
	if err != nil {
		return done{}, err
	}
	said := r.Shell().Words.Say("yard.said.picked", strings.Join(ids, ", "))
	if n := len(answer.GetAsidePieceIds()); n > 0 {
		said += " " + r.Shell().Words.Say("yard.said.aside", n)
	}
	return done{said: said, position: answer.GetPosition(), changed: len(answer.GetAsidePieceIds()) > 0}, nil
}

// movedAside records a beam that was moved to another stack before a pick.
func movedAside(r *shell.Request, _ string) (done, error) {
	answer, err := r.Shell().Stock.RelocatePieces(r.Ctx(), &stockv1.RelocatePiecesRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), Moves: []*stockv1.StackMove{{PieceId: r.Form("piece_id"), ToStackId: r.Form("to")}},
	})
	if err != nil {
		return done{}, err
	}
	return done{said: r.Shell().Words.Say("yard.said.moved", r.Form("piece_id"), r.Form("to")), position: answer.GetPosition()}, nil
}

// gone writes a piece off that is broken or not where it should be. An equal
// beam takes its place if one lies free; if none does, the run is stopped and
// the dispatcher sees it.
func gone(r *shell.Request, run string) (done, error) {
	s, id, why := r.Shell(), r.Form("piece_id"), "yard.reason.missing"
	if r.Form("why") == "broken" {
		why = "yard.reason.broken"
	}
	reason := s.Words.Say(why)
	exchanged, err := s.Stock.ExchangePieces(r.Ctx(), &stockv1.ExchangePiecesRequest{
		Yard: s.Yard, RequestId: requestID(r), Exchanges: []*stockv1.PieceExchange{{OldPieceId: id}}, ExchangedBy: r.Person().Name, Reason: reason,
	})
	if err != nil {
		if fault.ReasonOf(err) != "CANNOT_EXCHANGE" || !stillFor(r, id, run) {
			return done{}, err
		}
	}
	answer, err := s.Stock.ScrapPieces(r.Ctx(), &stockv1.ScrapPiecesRequest{
		Yard: s.Yard, RequestId: requestID(r) + "-gone", PieceIds: []string{id}, Reason: reason,
	})
	if err != nil {
		return done{}, err
	}
	d := done{said: s.Words.Say("yard.said.stopped", id), position: answer.GetPosition(), changed: true}
	for _, x := range exchanged.GetExchanged() {
		d.said = s.Words.Say("yard.said.instead", x.GetNewPieceId(), x.GetNewStackId(), x.GetNewTier(), id)
	}
	return d, nil
}

// stillFor reports whether a piece that has no equal is promised to the run, or
// was written off for it by this very form.
func stillFor(r *shell.Request, id, run string) bool {
	pieces, _, err := piecesByID(r, []string{id}, 0)
	p := pieces[id]
	ours := p.GetState() == stockeventv1.PieceState_PIECE_STATE_RESERVED || p.GetState() == stockeventv1.PieceState_PIECE_STATE_SCRAPPED
	return err == nil && ours && p.GetAllocation().GetRunId() == run
}

// loaded records that all pieces of the run are on its truck.
func loaded(r *shell.Request, id string) (done, error) {
	s := r.Shell()
	run, _, err := runOf(r, 0)
	if err != nil {
		return done{}, err
	}
	pieces, position, err := piecesByID(r, piecesOf(run.GetRun()), 0)
	if err != nil {
		return done{}, err
	}
	var ids []string
	for _, piece := range piecesOf(run.GetRun()) {
		switch pieces[piece].GetState() {
		case stockeventv1.PieceState_PIECE_STATE_LOADED, stockeventv1.PieceState_PIECE_STATE_DELIVERED:
		default:
			ids = append(ids, piece)
		}
	}
	d := done{said: s.Words.Say("yard.said.loaded", run.GetRun().GetTruckId()), position: position, changed: true}
	if len(ids) == 0 {
		return d, nil
	}
	answer, err := s.Stock.LoadPieces(r.Ctx(), &stockv1.LoadPiecesRequest{
		Yard: s.Yard, RequestId: requestID(r), RunId: id, TruckId: run.GetRun().GetTruckId(), PieceIds: ids,
	})
	if err != nil {
		return done{}, err
	}
	d.position = answer.GetPosition()
	return d, nil
}

// left lets the truck go. Dispatch has to have heard of what was loaded.
func left(r *shell.Request, run string) (done, error) {
	s := r.Shell()
	if _, _, err := runOf(r, stockPosition(r)); err != nil {
		return done{}, err
	}
	_, err := s.Dispatch.DepartRun(r.Ctx(), &dispatchv1.DepartRunRequest{Yard: s.Yard, RequestId: requestID(r), RunId: run, DepartedBy: r.Person().Name})
	if err != nil {
		return done{}, err
	}
	return done{said: s.Words.Say("yard.said.left", run), position: stockPosition(r), changed: true}, nil
}
