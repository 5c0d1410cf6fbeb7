package handling_test

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/handling"
	"spanyard.example/services/stock/internal/stacking"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

var budget = stacking.Budget{Nodes: 20_000, Width: 40}

// small draws a yard of few beams: released batches of two lengths, mixed in
// their stacks, and some empty places.
func small(t *rapid.T, perTier int) yard.State {
	rules := yardtest.CommonRules("Etc/UTC")
	rules.BeamsPerStackTier = perTier
	rules.Stacks = yard.StackRules{MaxTiers: 4, MaxOverhangMM: 300, BearerInsetMM: 250}
	for i := range 5 {
		rules.Stacks.Places = append(rules.Stacks.Places, yard.StackPlace{ID: fmt.Sprintf("S%d", i)})
	}
	s := yard.Evolve(yard.New("alder"), yard.RulesSet{Rules: rules})
	place := 0
	for b := range rapid.IntRange(1, 2).Draw(t, "batches") {
		c := yard.ReceiveBatch{BatchID: fmt.Sprintf("B%d", b), Kind: yard.Beams, MadeOn: s.Day(yardtest.Start) - 20 - 1, Profile: "T15", WirePattern: "W3", At: yardtest.Start,
			Concrete: yard.Concrete{FckCylinder: 40_000, FckCube: 50_000}}
		for range rapid.IntRange(1, 2).Draw(t, "stacks") {
			for range rapid.IntRange(1, 3).Draw(t, "lines") {
				c.Lines = append(c.Lines, yard.BeamLine{LengthMM: rapid.SampledFrom([]int{3000, 3200, 3400}).Draw(t, "length mm"), Count: 1, MassGEach: 90_000, StackID: fmt.Sprintf("S%d", place)})
			}
			place++
		}
		s = must(t, s, c)
		s = must(t, s, yard.RecordTest{BatchID: c.BatchID, TestID: "T1", Laboratory: "Fennmoor Lab", TestedOn: c.MadeOn + 14, Specimen: yard.Cylinder, Strengths: []conformity.MilliMPa{60_000, 60_000, 60_000}, By: "Ida Lorn", At: yardtest.Start})
		s = must(t, s, yard.ReleaseBatch{BatchID: c.BatchID, By: "Oda Brink", At: yardtest.Start})
	}
	return s
}

type fatal interface{ Fatal(args ...any) }

func must(t fatal, s yard.State, c yard.Command) yard.State {
	events, err := yard.Decide(s, c)
	if err != nil {
		t.Fatal(err)
	}
	return yard.EvolveAll(s, events)
}

// wishes asks for some of the beams that there are.
func wishes(t *rapid.T, s yard.State) []handling.Wish {
	var ids []string
	s.Pieces(func(p yard.Piece) { ids = append(ids, p.ID) })
	slices.Sort(ids)
	ids = rapid.Permutation(ids).Draw(t, "asked for")
	var out []handling.Wish
	for _, id := range ids[:rapid.IntRange(1, min(4, len(ids))).Draw(t, "wishes")] {
		p, _ := s.Piece(id)
		w := handling.Wish{Product: handling.Product{Profile: "T15", WirePattern: "W3", LengthMM: p.LengthMM}, JobID: "J1"}
		if rapid.IntRange(0, 3).Draw(t, "only this one") == 0 {
			w.PieceID = id
		}
		out = append(out, w)
	}
	if len(out) > 1 && rapid.Bool().Draw(t, "two together") {
		out[0].Group, out[1].Group = 1, 1
	}
	return out
}

// carryOut does what a plan says with the yard's own commands: nothing may be
// refused, and nothing may be lifted that the plan does not say.
func carryOut(t *rapid.T, s yard.State, asked []handling.Wish, plan handling.Plan) {
	picked := map[int]bool{}
	moves := plan.Moves
	for i, p := range plan.Picks {
		aside := map[string]bool{}
		for len(moves) > 0 && moves[0].BeforePick == i+1 {
			if m := moves[0]; m.FromID == m.ToID {
				aside[m.PieceID] = true
			} else {
				s = must(t, s, yard.Relocate{Moves: []yard.Relocation{{PieceID: m.PieceID, StackID: m.ToID}}})
			}
			moves = moves[1:]
		}
		w := asked[p.Wish]
		piece, _ := s.Piece(p.PieceID)
		if picked[p.Wish] || piece.StackID != p.StackID || piece.LengthMM != w.LengthMM || w.PieceID != "" && w.PieceID != p.PieceID {
			t.Fatalf("pick %d, %+v, does not fill wish %+v", i+1, p, w)
		}
		picked[p.Wish] = true
		for _, earlier := range asked[:p.Wish] {
			if at := slices.Index(asked, earlier); !picked[at] && (w.Group == 0 || earlier.Group != w.Group) {
				t.Fatalf("wish %d is filled before wish %d", p.Wish, at)
			}
		}
		s = must(t, s, yard.ReservePieces{ReservationID: fmt.Sprint("V", i), Lines: []yard.ReserveLine{{PieceID: p.PieceID, Allocation: yard.Allocation{RunID: "R1", JobID: "J1"}}}})
		events, err := yard.Decide(s, yard.PickPieces{RunID: "R1", PieceIDs: []string{p.PieceID}})
		if err != nil {
			t.Fatal(err)
		}
		if lifted := events[0].(yard.PiecePicked).Aside; len(lifted) > 0 && len(aside) == 0 && !slices.ContainsFunc(plan.Moves, func(m handling.Move) bool { return m.FromID == m.ToID }) {
			t.Fatalf("pick %d lifts %v aside, of which the plan says nothing", i+1, lifted)
		}
		s = yard.EvolveAll(s, events)
	}
	if len(moves) > 0 || len(plan.Picks) != len(asked) {
		t.Fatalf("%d picks for %d wishes, moves left over: %v", len(plan.Picks), len(asked), moves)
	}
}

// fewest tries everything: with how many moves from stack to stack the wishes
// can be filled; -1 when they cannot.
func fewest(t *rapid.T, s yard.State, asked []handling.Wish, most int) int {
	type node struct {
		s    yard.State
		done int // bits of the wishes
	}
	key := func(n node) string {
		out := fmt.Sprint(n.done)
		for i := range 5 {
			st, _ := n.s.Stack(fmt.Sprintf("S%d", i))
			out += fmt.Sprint(st.Pieces)
		}
		return out
	}
	level := []node{{s: s}}
	seen := map[string]bool{key(level[0]): true}
	all := 1<<len(asked) - 1
	for moves := 0; moves <= most; moves++ {
		// Picks cost nothing: all that can be picked from a state belong to its level.
		for i := 0; i < len(level); i++ {
			if level[i].done == all {
				return moves
			}
			for w := range asked {
				if level[i].done>>w&1 == 1 || !turn(asked, level[i].done, w) {
					continue
				}
				for _, id := range tops(level[i].s) {
					p, _ := level[i].s.Piece(id)
					if p.LengthMM != asked[w].LengthMM || asked[w].PieceID != "" && asked[w].PieceID != id {
						continue
					}
					after := must(t, level[i].s, yard.ScrapPieces{PieceIDs: []string{id}, Reason: "picked"})
					if n := (node{after, level[i].done | 1<<w}); !seen[key(n)] {
						seen[key(n)] = true
						level = append(level, n)
					}
				}
			}
		}
		var next []node
		for _, n := range level {
			for _, id := range tops(n.s) {
				for i := range 5 {
					events, err := yard.Decide(n.s, yard.Relocate{Moves: []yard.Relocation{{PieceID: id, StackID: fmt.Sprintf("S%d", i)}}})
					if err != nil {
						continue
					}
					if m := (node{yard.EvolveAll(n.s, events), n.done}); !seen[key(m)] {
						seen[key(m)] = true
						next = append(next, m)
					}
				}
			}
		}
		level = next
	}
	return -1
}

// turn says whether a wish may be filled now: all before its group are.
func turn(asked []handling.Wish, done, w int) bool {
	for i := range w {
		if done>>i&1 == 0 && (asked[w].Group == 0 || asked[i].Group != asked[w].Group) {
			return false
		}
	}
	return true
}

// tops returns the beams in the top tiers.
func tops(s yard.State) []string {
	var out []string
	per := s.Rules().BeamsPerStackTier
	for i := range 5 {
		st, _ := s.Stack(fmt.Sprintf("S%d", i))
		if n := len(st.Pieces); n > 0 {
			out = append(out, st.Pieces[(n-1)/per*per:]...)
		}
	}
	return out
}

// TestPicksAgainstBruteForce: every plan can be carried out, its bound holds,
// and what it calls proved is.
func TestPicksAgainstBruteForce(t *testing.T) {
	optimal, plans := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s := small(t, rapid.IntRange(1, 2).Draw(t, "beams a tier"))
		asked := wishes(t, s)
		plan, err := handling.PlanPicks(s, asked, budget)
		if fault.KindOf(err) == fault.Stale {
			return // one beam was asked for by its id and by its length
		}
		if err != nil {
			t.Fatal(err)
		}
		carryOut(t, s, asked, plan)
		const most = 4
		best := fewest(t, s, asked, most)
		aside := slices.ContainsFunc(plan.Moves, func(m handling.Move) bool { return m.FromID == m.ToID })
		if best >= 0 && plan.Bound > best || plan.Proved && (len(plan.Moves) != best || aside) || best >= 0 && !aside && len(plan.Moves) < best {
			t.Fatalf("%d moves, bound %d, proved %v; the fewest are %d", len(plan.Moves), plan.Bound, plan.Proved, best)
		}
		plans++
		if len(plan.Moves) == best && !aside {
			optimal++
		}
	})
	if plans >= 60 && optimal*10 < plans*8 { // a few say nothing
		t.Errorf("only %d of %d small plans are as good as can be", optimal, plans)
	}
	t.Logf("%d of %d plans are as good as can be", optimal, plans)
}

// TestSortAgainstPicks: after a sorting the picks need fewer moves, and it is
// never planned in vain.
func TestSortAgainstPicks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := small(t, rapid.IntRange(1, 2).Draw(t, "beams a tier"))
		asked := wishes(t, s)
		sorting, err := handling.PlanSort(s, asked, budget)
		if fault.KindOf(err) == fault.Stale {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range sorting.Moves {
			s = must(t, s, yard.Relocate{Moves: []yard.Relocation{{PieceID: m.PieceID, StackID: m.ToID}}})
		}
		plan, err := handling.PlanPicks(s, asked, budget)
		if err != nil {
			t.Fatal(err)
		}
		if len(plan.Moves) != sorting.AsideAfter || len(sorting.Moves) > 0 && sorting.AsideAfter >= sorting.AsideBefore || sorting.Bound > len(sorting.Moves) {
			t.Fatalf("%+v, then %d moves aside", sorting, len(plan.Moves))
		}
	})
}

// TestPutAway: beams of several lengths that came mixed come to lie apart, by
// the rules, and a beam that lies under others is refused.
func TestPutAway(t *testing.T) {
	rules := yardtest.CommonRules("Etc/UTC")
	rules.Stacks = yard.StackRules{MaxTiers: 3, MaxOverhangMM: 300, BearerInsetMM: 250}
	for i := range 6 {
		rules.Stacks.Places = append(rules.Stacks.Places, yard.StackPlace{ID: fmt.Sprintf("S%d", i), LongestMM: 3000 + 400*i})
	}
	s := yard.Evolve(yard.New("alder"), yard.RulesSet{Rules: rules})
	s = must(t, s, yard.ReceiveBatch{BatchID: "B1", Kind: yard.Beams, MadeOn: s.Day(yardtest.Start) - 1, Profile: "T15", WirePattern: "W3", At: yardtest.Start, Counted: true,
		Concrete: yard.Concrete{FckCylinder: 40_000, FckCube: 50_000},
		Lines:    []yard.BeamLine{{LengthMM: 3400, Count: 6, MassGEach: 90_000, StackID: "BED"}, {LengthMM: 3200, Count: 6, MassGEach: 85_000, StackID: "BED"}}})
	b, _ := s.Batch("B1")
	advice, err := handling.AdvisePutAway(s, b.PieceIDs(), nil, budget)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range advice.Moves {
		s = must(t, s, yard.Relocate{Moves: []yard.Relocation{{PieceID: m.PieceID, StackID: m.ToID}}})
	}
	if st, left := s.Stack("BED"); left {
		t.Errorf("left on the bed: %v", st.Pieces)
	}
	s.Stacks(func(st yard.Stack) {
		first, _ := s.Piece(st.Pieces[0])
		for _, id := range st.Pieces {
			if p, _ := s.Piece(id); p.LengthMM != first.LengthMM {
				t.Errorf("stack %s mixes lengths: %v", st.ID, st.Pieces)
			}
		}
	})
	stacks := 0
	s.Stacks(func(yard.Stack) { stacks++ })
	if stacks != 2 {
		t.Errorf("two lengths lie on %d stacks", stacks)
	}
	under := ""
	s.Stacks(func(st yard.Stack) { under = st.Pieces[0] })
	if _, err := handling.AdvisePutAway(s, []string{under}, []handling.Wish{{PieceID: under}}, budget); fault.ReasonOf(err) != "LIES_UNDER" {
		t.Errorf("a beam of the bottom tier: %v", err)
	}
	bare := yardtest.CommonRules("Etc/UTC")
	if _, err := handling.AdvisePutAway(yard.Evolve(s, yard.RulesSet{Rules: bare}), []string{under}, nil, budget); fault.ReasonOf(err) != "PLACES_UNKNOWN" {
		t.Errorf("a yard without places: %v", err)
	}
}
