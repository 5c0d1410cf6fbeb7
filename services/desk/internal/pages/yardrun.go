package pages

import (
	"net/url"
	"slices"
	"strings"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/fault"
)

// runView is a run as it is picked: one step after the other.
type runView struct {
	Run         *dispatchv1.RunStatus
	Path, Truck string
	// Steps that are still to be done, in order.
	Steps []*yardStep
	// Now is the number of the step to show first; 0 shows the end.
	Now int
	// Ticks are all pieces of the run, in loading order.
	Ticks []pickTick
	// Done of all pieces are off their stacks; Inside are on the truck.
	Done, All, Inside int
	// Stopped pieces must not leave, for these Reasons; the dispatcher decides.
	Stopped int
	Reasons []stopReason
	Left    bool
	// Rows of beams that pictures are made of.
	Rows [][]int
	// Position and Stock are of the ledgers of dispatch and of stock.
	Position, Stock uint64
}

// stopReason is why pieces of a run must not leave.
type stopReason struct {
	Reason string
	Pieces []string
}

// stopReasons of hits, each with its pieces: a whole batch is stopped at a time.
func stopReasons(hits []*dispatcheventv1.RunHit) []stopReason {
	var all []stopReason
	for _, h := range hits {
		i := slices.IndexFunc(all, func(s stopReason) bool { return s.Reason == h.GetReason() })
		if i < 0 {
			i, all = len(all), append(all, stopReason{Reason: h.GetReason()})
		}
		all[i].Pieces = append(all[i].Pieces, strings.TrimSpace(h.GetPieceId()+" "+h.GetMark()))
	}
	return all
}

// yardStep is one lift: a beam or a pallet for the truck, or a beam that is
// moved aside before.
type yardStep struct {
	Number int
	// Kind is beam, pallet or aside.
	Kind string
	// Key names the step on the phone, where taps are kept.
	Key           string
	PieceID       string
	Short         string
	Pick          *dispatcheventv1.Pick
	LengthMM      int32
	From, To      string
	Picture, Then *stackPicture
	// Tier are the pieces, this one among them, that come from one tier and go
	// to one tier, one after the other; TierKeys are the keys of their steps.
	Tier, TierKeys []string
	// Stopped says why the piece must not leave.
	Stopped string
}

// pickTick is a piece of the run in the list. State is open, done, stopped.
type pickTick struct {
	*dispatcheventv1.Pick
	Key, State, Short string
	Step              int
}

func yardRun(r *shell.Request) error {
	v, err := readRun(r)
	if err != nil {
		return err
	}
	// A phone in the yard fetches it again and again. A refusal repeats what a form
	// asked.
	r.Packed = r.Problem == nil
	return r.Show("yardrun", v)
}

func readRun(r *shell.Request) (*runView, error) {
	s, at := r.Shell(), stockPosition(r)
	run, position, err := runOf(r, at)
	if err != nil {
		return nil, err
	}
	names, err := namesOf(r)
	if err != nil {
		return nil, err
	}
	v := &runView{
		Run: run, Path: pathOf(run), Truck: names.truck(run.GetRun().GetTruckId()), Position: position, Left: hasLeft(run),
	}
	ids := piecesOf(run.GetRun())
	for _, m := range run.GetRun().GetMoves() {
		ids = append(ids, m.GetPieceId())
	}
	pieces, stock, err := piecesByID(r, ids, at)
	if err != nil {
		return nil, err
	}
	v.Stock = stock
	rules, err := s.Stock.GetYardRules(r.Ctx(), &stockv1.GetYardRulesRequest{Yard: s.Yard})
	if err != nil {
		return nil, err
	}
	g := &ground{perTier: max(1, int(rules.GetRules().GetBeamsPerStackTier())), stacks: map[string][]string{}, batches: map[string]string{}}
	for _, p := range pieces {
		if p.GetTier() > 0 {
			if err := g.read(r, p.GetStackId(), at); err != nil {
				return nil, err
			}
		}
	}
	for _, m := range run.GetRun().GetMoves() {
		if err := g.read(r, m.GetToStackId(), at); err != nil {
			return nil, err
		}
	}
	v.Rows, v.Reasons = g.rowsOf(), stopReasons(run.GetHits())
	v.build(pieces, g)
	return v, nil
}

// runOf the address, as dispatch has it after a position of the stock ledger.
func runOf(r *shell.Request, stockAt uint64) (*dispatchv1.RunStatus, uint64, error) {
	day, id := r.R.PathValue("day"), r.R.PathValue("run")
	answer, err := r.Shell().Dispatch.ListRuns(r.Ctx(), &dispatchv1.ListRunsRequest{Yard: r.Shell().Yard, Day: day, StockAtLeast: stockAt})
	if err != nil {
		return nil, 0, err
	}
	for _, run := range answer.GetRuns() {
		if run.GetRun().GetRunId() == id {
			return run, answer.GetPosition(), nil
		}
	}
	return nil, 0, fault.New(fault.NotFound, "RUN_UNKNOWN", "%s", r.Shell().Words.Say("yard.no_run", id, day))
}

func pathOf(run *dispatchv1.RunStatus) string {
	return "/yard/run/" + url.PathEscape(run.GetDay()) + "/" + url.PathEscape(run.GetRun().GetRunId())
}

// read a stack as it stands, once.
func (g *ground) read(r *shell.Request, stackID string, atLeast uint64) error {
	if _, known := g.stacks[stackID]; known || stackID == "" {
		return nil
	}
	g.stacks[stackID] = nil
	answer, err := r.Shell().Stock.GetStack(r.Ctx(), &stockv1.GetStackRequest{Yard: r.Shell().Yard, StackId: stackID, AtLeast: atLeast})
	if missing(err) {
		return nil // nothing lies there yet
	}
	if err != nil {
		return err
	}
	for _, p := range slices.Backward(answer.GetPieces()) { // the top comes first
		if p.GetTier() > 0 {
			g.stacks[stackID] = append(g.stacks[stackID], p.GetPieceId())
			g.batches[p.GetPieceId()] = p.GetBatchId()
		}
	}
	return nil
}

// build makes the steps, each with its stack as it stands when the steps
// before it are done.
func (v *runView) build(pieces map[string]*stockv1.Piece, g *ground) {
	run := v.Run.GetRun()
	moves := run.GetMoves()
	for _, pick := range run.GetPicks() {
		tick, why := v.tick(pick, pieces[pick.GetPieceId()])
		for len(moves) > 0 && moves[0].GetBeforePick() <= pick.GetNumber() {
			if tick.State == "open" && !v.Left {
				v.aside(moves[0], pieces[moves[0].GetPieceId()], g)
			}
			moves = moves[1:]
		}
		if tick.State != "done" && !v.Left {
			v.lift(&tick, why, pieces[pick.GetPieceId()], g)
		}
		v.Ticks = append(v.Ticks, tick)
	}
	v.tiers()
	for _, s := range v.Steps {
		if s.Stopped == "" {
			v.Now = s.Number
			return
		}
	}
}

func stepKey(kind string, parts ...string) string {
	for _, p := range parts {
		kind += ":" + url.QueryEscape(p)
	}
	return kind
}

// tick says how far a piece of the run is, and why it must not leave.
func (v *runView) tick(pick *dispatcheventv1.Pick, p *stockv1.Piece) (pickTick, string) {
	t := pickTick{Pick: pick, Key: stepKey("pick", v.Run.GetRun().GetRunId(), pick.GetPieceId()), State: "open", Short: strings.TrimPrefix(pick.GetPieceId(), v.Run.GetRun().GetRunId()+"-")}
	if pick.GetBeam() != nil {
		t.Short = strings.TrimPrefix(pick.GetPieceId(), pick.GetBatchId()+"-")
	}
	v.All++
	switch p.GetState() {
	case stockeventv1.PieceState_PIECE_STATE_LOADED, stockeventv1.PieceState_PIECE_STATE_DELIVERED:
		v.Inside++
		fallthrough
	case stockeventv1.PieceState_PIECE_STATE_PICKED:
		v.Done++
		t.State = "done"
	}
	for _, h := range v.Run.GetHits() {
		if h.GetPieceId() == pick.GetPieceId() {
			v.Stopped++
			t.State = "stopped"
			return t, h.GetReason()
		}
	}
	return t, ""
}

// aside makes a step of a beam that is moved away first, unless it was.
func (v *runView) aside(m *dispatcheventv1.AsideMove, p *stockv1.Piece, g *ground) {
	if m.GetFromStackId() == m.GetToStackId() || p.GetStackId() != m.GetFromStackId() {
		return
	}
	s := &yardStep{
		Number: len(v.Steps) + 1, Kind: "aside", PieceID: m.GetPieceId(), From: m.GetFromStackId(), To: m.GetToStackId(),
		Key:   stepKey("aside", v.Run.GetRun().GetRunId(), m.GetPieceId(), m.GetToStackId()),
		Short: g.short(m.GetPieceId()), LengthMM: p.GetLengthMm(), Picture: g.picture(m.GetFromStackId(), m.GetPieceId()),
	}
	g.take(m.GetFromStackId(), m.GetPieceId())
	g.put(m.GetToStackId(), m.GetPieceId())
	s.Then = g.picture(m.GetToStackId(), m.GetPieceId())
	s.Then.Down = true
	v.Steps = append(v.Steps, s)
}

// lift makes the step that takes a piece off its stack.
func (v *runView) lift(t *pickTick, why string, p *stockv1.Piece, g *ground) {
	pick := t.Pick
	s := &yardStep{
		Number: len(v.Steps) + 1, Kind: "pallet", Key: t.Key, PieceID: pick.GetPieceId(), Short: t.Short, Pick: pick,
		From: pick.GetStackId(), Stopped: why,
	}
	if pick.GetBeam() != nil {
		s.Kind, s.LengthMM = "beam", pick.GetBeam().GetLengthMm()
		if at := p.GetStackId(); at != "" {
			s.From = at
		}
		if slices.Contains(g.stacks[s.From], s.PieceID) {
			s.Picture = g.picture(s.From, s.PieceID)
			if why == "" {
				g.take(s.From, s.PieceID)
			} else {
				s.Picture.hold()
			}
		}
	}
	t.Step = s.Number
	v.Steps = append(v.Steps, s)
}

// tiers finds neighbours that come from one tier and go to one tier, so that
// they may be ticked off together.
func (v *runView) tiers() {
	for i, s := range v.Steps {
		if s.Kind != "beam" || s.Stopped != "" || s.Picture == nil {
			continue
		}
		s.Tier, s.TierKeys = []string{s.PieceID}, []string{s.Key}
		for _, next := range v.Steps[i+1:] {
			if next.Kind != "beam" || next.Stopped != "" || next.Picture == nil || next.From != s.From || next.Picture.Tier != s.Picture.Tier ||
				next.Pick.GetPileNumber() != s.Pick.GetPileNumber() || next.Pick.GetPileTier() != s.Pick.GetPileTier() {
				break
			}
			s.Tier, s.TierKeys = append(s.Tier, next.PieceID), append(s.TierKeys, next.Key)
		}
	}
}
