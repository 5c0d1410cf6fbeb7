package routing

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/runbound"
)

// TestBoundWhereTheDeckBinds: with light pieces and short decks the deck binds
// and not the payload. The bound never exceeds the true least number of runs.
func TestBoundWhereTheDeckBinds(t *testing.T) {
	cases, equal, byDeck := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := tiny(t)
		p.Rules.MaxTiers = rapid.IntRange(1, 2).Draw(t, "tiers")
		p.Rules.MaxLanes = rapid.IntRange(1, 2).Draw(t, "lanes")
		p.Rules.PileGapMM = 10 * rapid.IntRange(0, 30).Draw(t, "gap")
		for i := range p.Trucks {
			p.Trucks[i].PayloadKg = 9000
			p.Trucks[i].DeckWidthMM = rapid.IntRange(300, 1500).Draw(t, "deck width")
		}
		w := worldOfFew(t, &p)
		least := w.fewest(make([]int, len(w.chains)), map[[4]int]int{})
		count := 0
		plan := Plan(p, func() bool { count++; return count > 50 })
		if plan.LowerBound > least {
			t.Fatalf("bound %d (%s), least %d", plan.LowerBound, plan.BoundReason, least)
		}
		cases++
		if plan.LowerBound == least {
			equal++
		}
		if least > 1 {
			byDeck++
		}
	})
	t.Logf("the bound is the least number of runs in %d of %d mornings; %d need more than one run", equal, cases, byDeck)
	if testing.Short() {
		return // too few mornings to judge by
	}
	if cases < 20 || byDeck < cases/6 {
		t.Errorf("of %d mornings %d need more than one run: the deck does not bind", cases, byDeck)
	}
}

// TestProofAgainstEveryWay: what is proved by weights never exceeds the true least
// number of runs, whether masses or decks bind.
func TestProofAgainstEveryWay(t *testing.T) {
	cases, equal, several := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := tiny(t)
		p.Rules.MaxLanes = rapid.IntRange(1, 3).Draw(t, "lanes")
		p.Rules.PileGapMM = 10 * rapid.IntRange(0, 30).Draw(t, "gap")
		deckBinds := rapid.Bool().Draw(t, "deck binds")
		for i := range p.Trucks {
			if deckBinds {
				p.Trucks[i].PayloadKg = 9000
				p.Trucks[i].DeckWidthMM = rapid.IntRange(300, 2500).Draw(t, "deck width")
				p.Trucks[i].DeckLengthMM = rapid.IntRange(2500, 6000).Draw(t, "deck length")
			}
		}
		w := worldOfFew(t, &p)
		plan := newSearch(w).Best()
		if plan.latePieces > 0 {
			t.Skip("not everything is brought")
		}
		least := w.fewest(make([]int, len(w.chains)), map[[4]int]int{})
		x := newProof(w, plan)
		proof := runbound.New(x.problem, x.runs(plan))
		proof.Improve(200, len(plan.runs)+1, nil)
		if b := proof.Bound(); b.Runs > least {
			t.Fatalf("%s: %d are proved, %d are enough", x.reason(b), b.Runs, least)
		} else if b.Runs == least {
			equal++
		}
		cases++
		if least > 1 {
			several++
		}
	})
	t.Logf("the proof meets the least number of runs in %d of %d mornings; %d need more than one run", equal, cases, several)
	if !testing.Short() && (equal*2 < cases || several*3 < cases) {
		t.Errorf("of %d mornings %d are proved and %d need more than one run", cases, equal, several)
	}
}

// TestWholePilesAreCounted: 13 beams of which a pile holds 12 need two piles,
// and so two runs where the deck takes one pile at a time.
func TestWholePilesAreCounted(t *testing.T) {
	p := morning.Problem{
		Rules: morning.Rules{
			RoadFactorPercent: 130, SpeedKmPerH: 50, LoadingMinutes: 30, MaxTiers: 6, MaxPileHeightMM: 1400,
			BearerHeightMM: 75, BearerInsetMM: 300, MaxOverhangMM: 300, PileGapMM: 100, MaxLanes: 1,
		},
		Trucks: []morning.Truck{{
			ID: "truck", DeckLengthMM: 4400, DeckWidthMM: 300, PayloadKg: 9000, TareFrontKg: 4200, TareRearKg: 2800, MaxFrontKg: 7100,
			MaxRearKg: 11500, WheelbaseMM: 5200, DeckStartMM: 600, OverallLengthMM: 8600, MaxGrossKg: 18000, HasCrane: true,
			Hours: morning.Window{OpensMinute: 300, ClosesMinute: 1080},
		}},
		Profiles: []morning.Profile{{Name: "P150", HeightMM: 150, WidthMM: 140}},
		Sites:    []morning.Site{{ID: "site", Opens: morning.Window{OpensMinute: 360, ClosesMinute: 1000}}},
	}
	room := morning.Room{Name: "01"}
	for i := range 13 {
		product := morning.Product{Profile: "P150", WirePattern: "W5", LengthMM: 4200}
		room.Beams = append(room.Beams, morning.Beam{Mark: "1-01-" + string(rune('a'+i)), Product: product, MassG: 150_000})
		p.Stock.Beams = append(p.Stock.Beams, morning.FreeBeam{
			PieceID: "b-" + string(rune('a'+i)), BatchID: "b", Product: product, MassG: 150_000, StackID: "S", Tier: i + 1, Above: 12 - i,
		})
	}
	p.Orders = []morning.Order{{CallOffID: "call", SiteID: "site", JobID: "job", Floor: "1", Window: morning.Window{OpensMinute: 360, ClosesMinute: 1000}, Rooms: []morning.Room{room}}}
	plan := Plan(p, nil)
	if want := "length of lane of 8.6 m in all, at most 4.5 m a run"; plan.LowerBound != 2 || len(plan.Runs) != 2 || plan.BoundReason != want {
		t.Errorf("%d runs, bound %d: %s", len(plan.Runs), plan.LowerBound, plan.BoundReason)
	}
	if !slices.IsSortedFunc(plan.Runs, func(a, b morning.Run) int { return a.LoadingMinute - b.LoadingMinute }) {
		t.Error("the runs are not in order")
	}
}
