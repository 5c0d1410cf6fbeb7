package routing_test

import (
	"fmt"
	"strings"
	"testing"

	"spanyard.example/services/dispatch/internal/check"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/routing"
)

var beam42 = morning.Product{Profile: "P150", WirePattern: "W5", LengthMM: 4200}

// easy is a morning that is easy to plan: one truck with a crane, and near
// sites, each of which wants as many beams of 150 kg as the counts say.
func easy(counts ...int) morning.Problem {
	p := morning.Problem{
		Rules: morning.Rules{
			RoadFactorPercent: 130, SpeedKmPerH: 50, LoadingMinutes: 30, MaxTiers: 6, MaxPileHeightMM: 1400,
			BearerHeightMM: 75, BearerInsetMM: 300, MaxOverhangMM: 300, PileGapMM: 100, MaxLanes: 2,
		},
		Trucks: []morning.Truck{{
			ID: "truck", DeckLengthMM: 6800, DeckWidthMM: 2450, PayloadKg: 9000, TareFrontKg: 4200, TareRearKg: 2800,
			MaxFrontKg: 7100, MaxRearKg: 11500, WheelbaseMM: 5200, DeckStartMM: 600, OverallLengthMM: 8600,
			MaxGrossKg: 18000, HasCrane: true, Hours: morning.Window{OpensMinute: 300, ClosesMinute: 1080},
		}},
		Profiles: []morning.Profile{{Name: "P150", HeightMM: 150, WidthMM: 140}},
	}
	for i, n := range counts {
		p.Sites = append(p.Sites, morning.Site{
			ID: fmt.Sprint("site-", i+1), Name: "Quarry Lane " + fmt.Sprint(i+1), Opens: morning.Window{OpensMinute: 360, ClosesMinute: 1000},
			Place: morning.Place{LatitudeDeg: 0.05, LongitudeDeg: 0.01 * float64(i)}, UnloadFixedMinutes: 15, UnloadMinutesPerPile: 5,
		})
		r := morning.Room{Name: "01"}
		for b := range n {
			r.Beams = append(r.Beams, morning.Beam{Mark: fmt.Sprintf("1-01-%02d", b+1), Product: beam42, MassG: 150_000})
			p.Stock.Beams = append(p.Stock.Beams, morning.FreeBeam{
				PieceID: fmt.Sprintf("b%d-%d", i, b), BatchID: "b", Product: beam42, MassG: 150_000,
				StackID: fmt.Sprint("S", i), Tier: b + 1, Above: n - b - 1,
			})
		}
		p.Orders = append(p.Orders, morning.Order{
			CallOffID: fmt.Sprint("call-", i+1), SiteID: p.Sites[i].ID, JobID: "job", Floor: "1",
			Window: morning.Window{OpensMinute: 420, ClosesMinute: 540}, Rooms: []morning.Room{r, {Name: "02"}},
		})
	}
	return p
}

func planOf(t *testing.T, p morning.Problem) morning.Plan {
	t.Helper()
	plan := routing.Plan(p, after(100))
	for _, v := range check.Plan(p, plan) {
		t.Error(v)
	}
	return plan
}

// TestNothingIsLoadedInThePast: a morning that is planned when it has begun is
// served with what is left of it.
func TestNothingIsLoadedInThePast(t *testing.T) {
	p := easy(10)
	p.EarliestLoadingMinute = 490
	plan := planOf(t, p)
	if len(plan.Runs) != 1 || plan.Runs[0].LoadingMinute != 490 {
		t.Errorf("loading at %+v, want at 8:10", plan.Runs)
	}
}

func TestSmallLoadsShareARun(t *testing.T) {
	plan := planOf(t, easy(10, 10))
	if len(plan.Runs) != 1 || len(plan.Runs[0].Drops) != 2 || len(plan.Unserved) != 0 {
		t.Errorf("2 loads of 1.5 t make %s", summary(plan))
	}
}

func TestLargeCallOffIsSplitInLayingOrder(t *testing.T) {
	// 100 beams of 150 kg are 15 t; the truck takes 9 t.
	plan := planOf(t, easy(100))
	if len(plan.Runs) != 2 || plan.LowerBound != 2 || plan.Runs[1].Trip != 2 {
		t.Errorf("15 t make %s", summary(plan))
	}
}

func TestNoLaterThanAllowedNoEarlierThanOpen(t *testing.T) {
	p := easy(10)
	p.Orders[0].Window = morning.Window{OpensMinute: 300, ClosesMinute: 370}
	plan := planOf(t, p)
	if len(plan.Runs) != 1 || plan.Runs[0].Drops[0].UnloadMinute != 360 {
		t.Errorf("unloading at %+v, want at 6:00, when the site opens", plan.Runs)
	}
}

// TestReasons checks why something stays, and the sentence for it.
func TestReasons(t *testing.T) {
	for _, c := range []struct {
		name     string
		spoil    func(*morning.Problem)
		reason   morning.Reason
		beams    int
		sentence string
	}{
		{"no trucks", func(p *morning.Problem) { p.Trucks = nil }, morning.NoAccess, 50,
			"no truck of the yard drives this morning"},
		{"unknown site", func(p *morning.Problem) { p.Sites = nil }, morning.NoAccess, 50,
			"the yard does not know the site site-1"},
		{"light bridge", func(p *morning.Problem) { p.Sites[0].MaxGrossKg = 6500 }, morning.NoAccess, 50,
			"no truck can get to Quarry Lane 1 (at most 6.5 t)"},
		{"narrow lane", func(p *morning.Problem) { p.Sites[0].MaxVehicleLengthMM = 8000 }, morning.NoAccess, 50,
			"no truck can get to Quarry Lane 1 (at most 8.00 m)"},
		{"no crane", func(p *morning.Problem) { p.Trucks[0].HasCrane = false }, morning.NoAccess, 50,
			"Quarry Lane 1 cannot lift from a truck, and no truck has a crane of its own"},
		{"short deck", func(p *morning.Problem) { p.Trucks[0].DeckLengthMM = 4000 }, morning.DoesNotFit, 50,
			"a beam P150/W5 4.20 m is too long for the trucks that can get to Quarry Lane 1: they take up to 4.00 m"},
		{"small payload", func(p *morning.Problem) { p.Trucks[0].PayloadKg = 100 }, morning.DoesNotFit, 50,
			"a beam P150/W5 4.20 m weighs 150 kg, too much for the trucks that can get to Quarry Lane 1: they carry up to 100 kg"},
		{"weak rear axle", func(p *morning.Problem) { p.Trucks[0].MaxRearKg = 2810 }, morning.DoesNotFit, 50,
			"a beam P150/W5 4.20 m cannot stand anywhere on the decks of the trucks that can get to Quarry Lane 1 within their axle limits"},
		{"late truck", func(p *morning.Problem) { p.Trucks[0].Hours.OpensMinute = 530 }, morning.NoTime, 50,
			"loading and the drive to Quarry Lane 1 take 39 minutes; no truck starts early enough to be there between 7:00 and 9:00"},
		{"late in the morning", func(p *morning.Problem) { p.EarliestLoadingMinute = 502 }, morning.NoTime, 50,
			"loading and the drive to Quarry Lane 1 take 39 minutes and can start at 8:22 at the earliest: too late to be there between 7:00 and 9:00"},
		{"busy truck", func(p *morning.Problem) {
			p.Busy = []morning.BusyRun{{TruckID: "truck", Trip: 1, LoadingMinute: 320, BackMinute: 600}}
		}, morning.NoTime, 50, "no truck that can get to Quarry Lane 1 is free to be unloaded there between 7:00 and 9:00"},
		{"closed site", func(p *morning.Problem) { p.Sites[0].Opens.OpensMinute = 600 }, morning.NoTime, 50,
			"Quarry Lane 1 is open between 10:00 and 16:40, never in the call-off's window between 7:00 and 9:00"},
		{"beams short", func(p *morning.Problem) { p.Stock.Beams = p.Stock.Beams[:43] }, morning.NoStock, 7,
			"7 beams P150/W5 4.20 m are short for room 1-01 of job; 43 of the 50 it needs are free"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := easy(50)
			c.spoil(&p)
			plan := planOf(t, p)
			if len(plan.Unserved) != 1 {
				t.Fatalf("unserved: %+v", plan.Unserved)
			}
			u := plan.Unserved[0]
			if u.Reason != c.reason || u.BeamCount != c.beams || u.Sentence != c.sentence {
				t.Errorf("%d beams stay for reason %d: %s", u.BeamCount, u.Reason, u.Sentence)
			}
		})
	}
}

func TestRoomsBehindAShortOneWait(t *testing.T) {
	p := easy(10)
	missing := morning.Product{Profile: "P150", WirePattern: "W5", LengthMM: 3300}
	p.Orders[0].Rooms[1].Beams = []morning.Beam{{Mark: "1-02-01", Product: missing, MassG: 120_000}}
	p.Orders[0].Rooms = append(p.Orders[0].Rooms, morning.Room{Name: "03", Beams: []morning.Beam{{Mark: "1-03-01", Product: beam42, MassG: 150_000}}})
	plan := planOf(t, p)
	if len(plan.Unserved) != 2 || plan.Unserved[0].Reason != morning.NoStock || plan.Unserved[1].Reason != morning.AfterUnserved ||
		!strings.HasPrefix(plan.Unserved[1].Sentence, "laid after room 02, which cannot be brought whole: 1 beam") {
		t.Errorf("unserved: %+v", plan.Unserved)
	}
}

func TestWhatComesTooLateKeepsNoPieces(t *testing.T) {
	p := easy(10, 10)
	p.Stock.Beams = p.Stock.Beams[:10]
	// The first chooses first and cannot be reached in time.
	p.Orders[0].Window = morning.Window{OpensMinute: 300, ClosesMinute: 310}
	p.Sites[0].Opens = p.Orders[0].Window
	plan := planOf(t, p)
	if len(plan.Runs) != 1 || plan.Runs[0].Drops[0].SiteID != "site-2" {
		t.Errorf("the beams stay: %s", summary(plan))
	}
}

func TestConfirmedRunsKeepTheirPlaces(t *testing.T) {
	p := easy(10)
	p.Busy = []morning.BusyRun{{TruckID: "other", Stops: []morning.BusyStop{{SiteID: "site-1", UnloadMinute: 400, LeaveMinute: 450}}}}
	plan := planOf(t, p)
	if len(plan.Runs) != 1 || plan.Runs[0].Drops[0].UnloadMinute != 450 {
		t.Errorf("unloading at %+v, want at 7:30, when the place is free", plan.Runs)
	}
}
