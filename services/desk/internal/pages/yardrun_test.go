package pages

import (
	"slices"
	"testing"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// A run of four beams and a pallet: the first beam is picked, the third must
// not leave, and one beam of another stack lies on the fourth.
func aRun() (*runView, map[string]*stockv1.Piece, *ground) {
	beam := &commonv1.BeamProduct{Profile: "T150", WirePattern: "p4", LengthMm: 3600}
	run := &dispatcheventv1.Run{RunId: "R1", TruckId: "T1", Picks: []*dispatcheventv1.Pick{
		{Number: 1, PieceId: "B1-6", BatchId: "B1", StackId: "A-01", Mark: "1-01", Beam: beam, PileNumber: 1, PileTier: 1},
		{Number: 2, PieceId: "B1-5", BatchId: "B1", StackId: "A-01", Mark: "1-02", Beam: beam, PileNumber: 1, PileTier: 1},
		{Number: 3, PieceId: "B1-4", BatchId: "B1", StackId: "A-01", Mark: "1-03", Beam: beam, PileNumber: 1, PileTier: 1},
		{Number: 4, PieceId: "B2-1", BatchId: "B2", StackId: "A-02", Mark: "1-04", Beam: beam, PileNumber: 1, PileTier: 2},
		{Number: 5, PieceId: "R1-K01", BatchId: "K1", StackId: "P-01", BlockKind: "K520", BlockCount: 12, PileNumber: 2, PileTier: 1},
	}, Moves: []*dispatcheventv1.AsideMove{
		{PieceId: "B1-5", FromStackId: "A-01", ToStackId: "A-01", BeforePick: 3}, // up and down again: no step
		{PieceId: "B2-7", FromStackId: "A-02", ToStackId: "A-03", BeforePick: 4},
	}}
	pieces := map[string]*stockv1.Piece{}
	for id, stack := range map[string]string{"B1-6": "", "B1-5": "A-01", "B1-4": "A-01", "B2-1": "A-02", "B2-7": "A-02", "R1-K01": ""} {
		pieces[id] = &stockv1.Piece{PieceId: id, StackId: stack, State: stockeventv1.PieceState_PIECE_STATE_RESERVED}
	}
	pieces["B1-6"].State = stockeventv1.PieceState_PIECE_STATE_PICKED
	g := &ground{perTier: 2, stacks: map[string][]string{
		"A-01": {"B1-1", "B1-2", "B1-3", "B1-4", "B1-5"}, "A-02": {"B2-1", "B2-7"}, "A-03": {"B2-9"},
	}, batches: map[string]string{"B1-1": "B1", "B1-2": "B1", "B1-3": "B1", "B1-4": "B1", "B1-5": "B1", "B2-1": "B2", "B2-7": "B2", "B2-9": "B2"}}
	return &runView{Run: &dispatchv1.RunStatus{Run: run, Day: "2027-03-17", Hits: []*dispatcheventv1.RunHit{{PieceId: "B1-4", Reason: "the batch is stopped"}}}}, pieces, g
}

func TestStepsOfARun(t *testing.T) {
	v, pieces, g := aRun()
	v.build(pieces, g)
	var steps []string
	for _, s := range v.Steps {
		steps = append(steps, s.Kind+" "+s.Short+" "+s.From+s.Stopped)
	}
	want := []string{"beam 5 A-01", "beam 4 A-01the batch is stopped", "aside 7 A-02", "beam 1 A-02", "pallet K01 P-01"}
	if !slices.Equal(steps, want) {
		t.Errorf("the steps are %q, want %q", steps, want)
	}
	if v.Now != 1 || v.Done != 1 || v.All != 5 || v.Stopped != 1 {
		t.Errorf("now %d, done %d of %d, stopped %d", v.Now, v.Done, v.All, v.Stopped)
	}
	var ticks []string
	for _, tick := range v.Ticks {
		ticks = append(ticks, tick.State)
	}
	if want := []string{"done", "open", "stopped", "open", "open"}; !slices.Equal(ticks, want) {
		t.Errorf("the ticks are %q, want %q", ticks, want)
	}
}

// A picture shows the stack as it stands when its step comes.
func TestPicturesFollowTheSteps(t *testing.T) {
	v, pieces, g := aRun()
	v.build(pieces, g)
	first, stopped, aside, after := v.Steps[0], v.Steps[1], v.Steps[2], v.Steps[3]
	if p := first.Picture; p.Tier != 3 || p.Of != 3 || p.Above != 0 || p.Tiers[0].Beams[0].Kind != "take" || p.Tiers[1].Beams[0].Kind != "below" {
		t.Errorf("the first stack is %+v", p)
	}
	if p := stopped.Picture; p.Tier != 2 || p.Of != 2 {
		t.Errorf("the stopped beam lies in %+v", p)
	}
	if aside.Picture.Of != 1 || !aside.Then.Down || aside.Then.Tiers[0].Beams[1].Short != "7" {
		t.Errorf("what is moved away lies in %+v, then in %+v", aside.Picture, aside.Then)
	}
	if p := after.Picture; len(p.Tiers[0].Beams) != 1 || p.Above != 0 {
		t.Errorf("what lay under it lies in %+v", p)
	}
	g.stacks["A-09"] = []string{"x1", "x2", "x3"}
	if p := g.picture("A-09", "x1"); p.Tier != 1 || p.Above != 1 || p.Tiers[0].Beams[0].Kind != "above" || p.Tiers[1].Beams[1].Kind != "beside" {
		t.Errorf("a beam with another above lies in %+v", p)
	}
	if p := g.picture("A-10", "x1"); p.Of != 0 || p.ArrowX != -1 {
		t.Errorf("an empty stack is %+v", p)
	}
}

// What was moved already is no step, and a run that left has none.
func TestStepsThatAreDone(t *testing.T) {
	v, pieces, g := aRun()
	pieces["B2-7"].StackId = "A-03"
	v.build(pieces, g)
	if slices.ContainsFunc(v.Steps, func(s *yardStep) bool { return s.Kind == "aside" }) {
		t.Error("it is to be moved twice")
	}
	v, pieces, g = aRun()
	v.Left = true
	if v.build(pieces, g); v.Now != 0 || len(v.Steps) != 0 {
		t.Errorf("a run that has left has the steps %+v", v.Steps)
	}
}

// Neighbours of one tier are ticked off together, and only those.
func TestTiersTogether(t *testing.T) {
	v, pieces, g := aRun()
	v.Run.Hits = nil
	v.Run.Run.Picks[2].PileTier = 1
	g.stacks["A-01"] = []string{"B1-1", "B1-2", "B1-4", "B1-5"}
	v.build(pieces, g)
	if got := v.Steps[0].Tier; !slices.Equal(got, []string{"B1-5", "B1-4"}) || len(v.Steps[0].TierKeys) != 2 {
		t.Errorf("together are %q", got)
	}
	if got := v.Steps[1].Tier; len(got) != 1 {
		t.Errorf("the last of a tier has %q", got)
	}
}

func TestPutAwaySteps(t *testing.T) {
	g := &ground{perTier: 2, stacks: map[string][]string{"BED": {"a", "b", "c", "d"}}, batches: map[string]string{}}
	steps := putSteps([]*stockv1.StackMove{
		{PieceId: "d", FromStackId: "BED", ToStackId: "A-01", FromTier: 2, ToTier: 1}, {PieceId: "c", FromStackId: "BED", ToStackId: "A-01", FromTier: 2, ToTier: 1},
		{PieceId: "b", FromStackId: "BED", ToStackId: "A-02", FromTier: 1, ToTier: 1},
	}, g)
	if len(steps) != 2 || !slices.Equal(steps[0].PieceIDs, []string{"d", "c"}) || steps[0].Picture.Of != 2 || steps[0].Then.Of != 1 || steps[1].Picture.Of != 1 {
		t.Errorf("the steps are %+v", steps)
	}
	if len(putSteps(nil, g)) != 0 {
		t.Error("no moves, and yet a step")
	}
}
