package pages

import (
	"net/url"
	"strings"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
)

// putAwayView is where the beams of a batch are best laid, step by step.
type putAwayView struct {
	BatchID, Path, Sentence string
	Steps                   []*putStep
	Rows                    [][]int
	Stock                   uint64
}

// putStep is beams that go from one tier to one tier, one after the other.
type putStep struct {
	Number           int
	Key              string
	From, To         string
	FromTier, ToTier int32
	PieceIDs, Shorts []string
	Picture, Then    *stackPicture
}

func putAway(r *shell.Request) error {
	s, at, batch := r.Shell(), stockPosition(r), r.R.PathValue("batch")
	answer, err := s.Stock.AdvisePutAway(r.Ctx(), &stockv1.AdvisePutAwayRequest{Yard: s.Yard, BatchId: batch, AtLeast: at})
	if err != nil {
		return err
	}
	rules, err := s.Stock.GetYardRules(r.Ctx(), &stockv1.GetYardRulesRequest{Yard: s.Yard})
	if err != nil {
		return err
	}
	g := &ground{perTier: max(1, int(rules.GetRules().GetBeamsPerStackTier())), stacks: map[string][]string{}, batches: map[string]string{}}
	for _, m := range answer.GetMoves() {
		for _, stack := range []string{m.GetFromStackId(), m.GetToStackId()} {
			if err := g.read(r, stack, answer.GetPosition()); err != nil {
				return err
			}
		}
	}
	return r.Show("putaway", putAwayView{
		BatchID: batch, Path: "/yard/put-away/" + url.PathEscape(batch), Sentence: answer.GetSentence(), Steps: putSteps(answer.GetMoves(), g), Rows: g.rowsOf(), Stock: answer.GetPosition(),
	})
}

// putSteps puts neighbouring moves together, each step with the stacks as they
// stand before and after it.
func putSteps(moves []*stockv1.StackMove, g *ground) []*putStep {
	var steps []*putStep
	for from := 0; from < len(moves); {
		m := moves[from]
		s := &putStep{Number: len(steps) + 1, From: m.GetFromStackId(), To: m.GetToStackId(), FromTier: m.GetFromTier(), ToTier: m.GetToTier()}
		s.Key = stepKey("put", m.GetPieceId(), m.GetToStackId())
		for from < len(moves) && moves[from].GetFromStackId() == s.From && moves[from].GetToStackId() == s.To &&
			moves[from].GetFromTier() == s.FromTier && moves[from].GetToTier() == s.ToTier {
			s.PieceIDs, s.Shorts = append(s.PieceIDs, moves[from].GetPieceId()), append(s.Shorts, g.short(moves[from].GetPieceId()))
			from++
		}
		s.Picture = g.picture(s.From, s.PieceIDs...)
		for _, id := range s.PieceIDs {
			g.take(s.From, id)
			g.put(s.To, id)
		}
		s.Then = g.picture(s.To, s.PieceIDs...)
		s.Then.Down = true
		steps = append(steps, s)
	}
	return steps
}

// onPutAway records beams that lie where the advice says.
func onPutAway(r *shell.Request) error {
	s, to := r.Shell(), r.Form("to")
	d, err := ownTap(r, func() (done, error) {
		ids := r.R.PostForm["piece_id"]
		moves := make([]*stockv1.StackMove, 0, len(ids))
		for _, id := range ids {
			moves = append(moves, &stockv1.StackMove{PieceId: id, ToStackId: to})
		}
		answer, err := s.Stock.RelocatePieces(r.Ctx(), &stockv1.RelocatePiecesRequest{Yard: s.Yard, RequestId: requestID(r), Moves: moves})
		if err != nil {
			return done{}, err
		}
		return done{said: s.Words.Say("yard.said.moved", strings.Join(ids, ", "), to), position: answer.GetPosition()}, nil
	})
	return answerTap(r, "/yard/put-away/"+r.R.PathValue("batch"), d, err, putAway)
}
