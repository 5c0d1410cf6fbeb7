package check_test

import (
	"encoding/json"
	"slices"
	"testing"

	"spanyard.example/services/dispatch/internal/check"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/morning/morningtest"
	"spanyard.example/services/dispatch/internal/routing"
)

// subject is a morning and its plan, made anew for every test to break.
type subject struct {
	problem morning.Problem
	plan    morning.Plan
}

// planned is a plan with runs of one and of several drops, piles of several
// tiers, pallets, a truck with two trips and something unserved.
func planned(t *testing.T) func() *subject {
	t.Helper()
	p := morningtest.Make(morningtest.Options{Seed: 3, Trucks: 5, CallOffs: 8, Rooms: 2, BeamsPerRoom: 12})
	// One beam short in the last call-off leaves something behind.
	last := p.Orders[len(p.Orders)-1]
	product := last.Rooms[0].Beams[len(last.Rooms[0].Beams)-1].Product
	p.Stock.Beams = slices.DeleteFunc(p.Stock.Beams, func(b morning.FreeBeam) bool { return b.Product == product })
	tries := 0
	plan := routing.Plan(p, func() bool { tries++; return tries > 50 })
	raw, err := json.Marshal(subjectJSON{p, plan})
	if err != nil {
		t.Fatal(err)
	}
	return func() *subject {
		var s subjectJSON
		if err := json.Unmarshal(raw, &s); err != nil {
			t.Fatal(err)
		}
		return &subject{s.Problem, s.Plan}
	}
}

type subjectJSON struct {
	Problem morning.Problem
	Plan    morning.Plan
}

func TestRightPlanHasNoViolations(t *testing.T) {
	s := planned(t)()
	for _, v := range check.Plan(s.problem, s.plan) {
		t.Error(v)
	}
	if len(s.plan.Unserved) == 0 || !slices.ContainsFunc(s.plan.Runs, func(r morning.Run) bool { return r.Trip > 1 }) {
		t.Error("the plan is too plain to break in every way")
	}
	s.find(t, func(r *morning.Run) bool { return len(r.Drops) > 1 })
}

// find returns the first run that is as asked for.
func (s *subject) find(t *testing.T, as func(*morning.Run) bool) *morning.Run {
	t.Helper()
	for i := range s.plan.Runs {
		if as(&s.plan.Runs[i]) {
			return &s.plan.Runs[i]
		}
	}
	t.Fatal("no run of the plan is as the test needs it")
	return nil
}

func (s *subject) truck(r *morning.Run) *morning.Truck {
	for i := range s.problem.Trucks {
		if s.problem.Trucks[i].ID == r.TruckID {
			return &s.problem.Trucks[i]
		}
	}
	return nil
}

func (s *subject) site(id string) *morning.Site {
	for i := range s.problem.Sites {
		if s.problem.Sites[i].ID == id {
			return &s.problem.Sites[i]
		}
	}
	return nil
}

// pile returns the first pile that is as asked for, and its run.
func (s *subject) pile(t *testing.T, as func(*morning.Pile) bool) (*morning.Run, *morning.Pile) {
	t.Helper()
	var found *morning.Pile
	r := s.find(t, func(r *morning.Run) bool {
		for i := range r.Piles {
			if as(&r.Piles[i]) {
				found = &r.Piles[i]
				return true
			}
		}
		return false
	})
	return r, found
}

func tall(p *morning.Pile) bool   { return len(p.Tiers) > 1 }
func pallet(p *morning.Pile) bool { return p.Tiers[0].Items[0].Pallet() }

// first is the first run.
func (s *subject) first() *morning.Run { return &s.plan.Runs[0] }

// breaks are ways to spoil a right plan, or the morning it was made for, and
// the rule that has to notice.
var breaks = []struct {
	rule, name string
	spoil      func(*testing.T, *subject)
}{
	{"truck", "a truck that is not there", func(_ *testing.T, s *subject) { s.first().TruckID = "ghost" }},
	{"drops", "a site that is not there", func(_ *testing.T, s *subject) { s.first().Drops[0].SiteID = "ghost" }},
	{"payload", "less payload", func(_ *testing.T, s *subject) { s.truck(s.first()).PayloadKg = int(s.first().MassG/1000) - 1 }},
	{"gross", "less gross mass", func(_ *testing.T, s *subject) {
		k := s.truck(s.first())
		k.MaxGrossKg = k.TareFrontKg + k.TareRearKg + int(s.first().MassG/1000) - 1
	}},
	{"front_axle", "weaker front axle", func(_ *testing.T, s *subject) {
		s.truck(s.first()).MaxFrontKg = s.first().AxleLoads[0].FrontKg - 1
	}},
	{"rear_axle", "weaker rear axle", func(_ *testing.T, s *subject) {
		s.truck(s.first()).MaxRearKg = s.first().AxleLoads[0].RearKg - 1
	}},
	{"front_axle", "front axle overloaded after the first drop only", func(t *testing.T, s *subject) {
		r := s.find(t, func(r *morning.Run) bool { return len(r.Drops) > 1 })
		*r = frontHeavyAfterDrop(s, r)
	}},
	{"max_drops", "a truck for fewer sites", func(t *testing.T, s *subject) {
		s.truck(s.find(t, func(r *morning.Run) bool { return len(r.Drops) > 1 })).MaxDrops = 1
	}},
	{"loading_bays", "two trucks at the only bay", func(_ *testing.T, s *subject) {
		s.problem.Rules.LoadingBays = 1
		r := s.first()
		s.problem.Busy = append(s.problem.Busy, morning.BusyRun{TruckID: "other", Trip: 1, LoadingMinute: r.LeaveMinute - 1, LeaveMinute: r.LeaveMinute + 5, BackMinute: r.LeaveMinute + 50})
	}},
	{"forklifts", "two trucks and one forklift", func(_ *testing.T, s *subject) {
		s.problem.Rules.LoadingBays, s.problem.Rules.Forklifts = 0, 1
		r := s.first()
		s.problem.Busy = append(s.problem.Busy, morning.BusyRun{TruckID: "other", Trip: 1, LoadingMinute: r.LeaveMinute - 1, LeaveMinute: r.LeaveMinute + 5, BackMinute: r.LeaveMinute + 50})
	}},
	{"loading_time", "slower forklift", func(_ *testing.T, s *subject) { s.problem.Rules.LoadingMinutesPerPile = 50 }},
	{"driver_day", "a shorter day", func(_ *testing.T, s *subject) { s.problem.Rules.Driver.MaxDrivingMinutes = 1 }},
	{"driver_break", "a driver without a break", func(_ *testing.T, s *subject) {
		s.problem.Rules.Driver = morning.DriverRules{DrivingBeforeBreakMinutes: 1, BreakMinutes: 10}
	}},
	{"site_holds", "a site that holds one beam", func(_ *testing.T, s *subject) {
		for i := range s.problem.Sites {
			s.problem.Sites[i].LaidPerHour, s.problem.Sites[i].HoldsBeams = 1, 1
		}
	}},
	{"crew_waiting", "a crew said to wait", func(_ *testing.T, s *subject) { s.plan.CrewWaitingMinutes++ }},
	{"travel_time", "a longer way", func(_ *testing.T, s *subject) {
		s.problem.Travel = append(s.problem.Travel, morning.Leg{ToID: s.first().Drops[0].SiteID, Metres: 1000, Minutes: 500})
	}},
	{"axle_loads", "wrong axle loads", func(_ *testing.T, s *subject) { s.first().AxleLoads[1].RearKg++ }},
	{"axle_loads", "missing axle loads", func(_ *testing.T, s *subject) { s.first().AxleLoads = s.first().AxleLoads[:1] }},
	{"run_mass", "wrong mass of a run", func(_ *testing.T, s *subject) { s.first().MassG++ }},
	{"pile_mass", "wrong mass of a pile", func(_ *testing.T, s *subject) { s.first().Piles[0].MassG++ }},
	{"deck_length", "shorter deck", func(_ *testing.T, s *subject) { s.truck(s.first()).DeckLengthMM = 1000 }},
	{"deck_length", "pile before the deck", func(_ *testing.T, s *subject) { s.first().Piles[0].FromMM = -1 }},
	{"deck_width", "narrower deck", func(_ *testing.T, s *subject) { s.truck(s.first()).DeckWidthMM = 500 }},
	{"overlap", "piles in one place", func(t *testing.T, s *subject) {
		r := s.find(t, func(r *morning.Run) bool { return len(r.Piles) > 1 })
		r.Piles[1].FromMM, r.Piles[1].LeftMM = r.Piles[0].FromMM, r.Piles[0].LeftMM
	}},
	{"overlap", "gap too small", func(_ *testing.T, s *subject) { s.problem.Rules.PileGapMM = 2000 }},
	{"lanes", "fewer lanes", func(_ *testing.T, s *subject) { s.problem.Rules.MaxLanes = 1 }},
	{"lanes", "lane unlike the place", func(t *testing.T, s *subject) {
		_, p := s.pile(t, func(p *morning.Pile) bool { return p.Lane == 2 })
		p.Lane = 1
	}},
	{"pile_number", "pile numbers", func(_ *testing.T, s *subject) { s.first().Piles[0].Number = 9 }},
	{"pile_drop", "pile for no drop", func(_ *testing.T, s *subject) { s.first().Piles[0].DropNumber = 9 }},
	{"pile_size", "wrong length of a pile", func(_ *testing.T, s *subject) { s.first().Piles[0].LengthMM-- }},
	{"pile_size", "wrong height of a pallet", func(t *testing.T, s *subject) { _, p := s.pile(t, pallet); p.HeightMM++ }},
	{"pile_height", "lower piles", func(_ *testing.T, s *subject) { s.problem.Rules.MaxPileHeightMM = 100 }},
	{"max_tiers", "fewer tiers", func(_ *testing.T, s *subject) { s.problem.Rules.MaxTiers = 1 }},
	{"pile_order", "tiers exchanged", func(t *testing.T, s *subject) {
		_, p := s.pile(t, tall)
		p.Tiers[0], p.Tiers[1] = p.Tiers[1], p.Tiers[0]
	}},
	{"tier_width", "wide above narrow", func(t *testing.T, s *subject) {
		_, p := s.pile(t, func(p *morning.Pile) bool { return tall(p) && len(p.Tiers[0].Items) > 1 })
		last := len(p.Tiers) - 1
		for len(p.Tiers[last].Items) <= len(p.Tiers[last-1].Items) {
			p.Tiers[last].Items = append(p.Tiers[last].Items, p.Tiers[last].Items[0])
		}
	}},
	{"bearers", "a much shorter beam in a pile", func(t *testing.T, s *subject) {
		_, p := s.pile(t, tall)
		p.Tiers[0].Items[0].Beam.LengthMM = p.LengthMM - 601
	}},
	{"tier_lengths", "a long beam on a short one", func(t *testing.T, s *subject) {
		_, p := s.pile(t, tall)
		p.Tiers[1].Items[0].Beam.LengthMM = p.LengthMM - 601
	}},
	{"pile_profile", "two profiles in a pile", func(t *testing.T, s *subject) {
		_, p := s.pile(t, tall)
		p.Tiers[1].Items[0].Beam.Profile = "other"
	}},
	{"tiers", "an empty tier", func(_ *testing.T, s *subject) {
		p := &s.first().Piles[0]
		p.Tiers = append(p.Tiers, morning.Tier{})
	}},
	{"pallet_alone", "a beam on a pallet", func(t *testing.T, s *subject) {
		_, p := s.pile(t, pallet)
		_, q := s.pile(t, tall)
		p.Tiers = append(p.Tiers, morning.Tier{Items: q.Tiers[0].Items[:1]})
	}},
	{"blocks_per_pallet", "smaller pallets", func(_ *testing.T, s *subject) { s.problem.BlockKinds[0].BlocksPerPallet = 2 }},
	{"block_kind", "unknown blocks", func(t *testing.T, s *subject) {
		_, p := s.pile(t, pallet)
		p.Tiers[0].Items[0].BlockKind = "ghost"
	}},
	{"site_gross", "site for lighter vehicles", func(_ *testing.T, s *subject) {
		k := s.truck(s.first())
		s.site(s.first().Drops[0].SiteID).MaxGrossKg = k.TareFrontKg + k.TareRearKg + 1
	}},
	{"site_length", "site for shorter vehicles", func(_ *testing.T, s *subject) {
		s.site(s.first().Drops[0].SiteID).MaxVehicleLengthMM = s.truck(s.first()).OverallLengthMM - 1
	}},
	{"site_length", "what hangs over the tail is too long", func(_ *testing.T, s *subject) {
		r := s.first()
		s.site(r.Drops[0].SiteID).MaxVehicleLengthMM = s.truck(r).OverallLengthMM
		s.truck(r).DeckLengthMM = r.Piles[len(r.Piles)-1].FromMM + r.Piles[len(r.Piles)-1].LengthMM - 1
	}},
	{"lifting", "no crane and no lifting", func(_ *testing.T, s *subject) {
		s.truck(s.first()).HasCrane = false
		s.site(s.first().Drops[0].SiteID).HasLifting = false
	}},
	{"too_soon", "planned when the morning had begun", func(_ *testing.T, s *subject) {
		s.problem.EarliestLoadingMinute = s.plan.Runs[0].LoadingMinute + 1
	}},
	{"truck_hours", "truck starts later", func(_ *testing.T, s *subject) {
		s.truck(s.first()).Hours.OpensMinute = s.first().LoadingMinute + 1
	}},
	{"truck_hours", "truck ends sooner", func(_ *testing.T, s *subject) {
		s.truck(s.first()).Hours.ClosesMinute = s.first().BackMinute - 1
	}},
	{"loading_time", "slower loading", func(_ *testing.T, s *subject) { s.problem.Rules.LoadingMinutes++ }},
	{"travel_time", "slower driving", func(_ *testing.T, s *subject) { s.problem.Rules.SpeedKmPerH-- }},
	{"travel_time", "back too soon", func(_ *testing.T, s *subject) { s.first().BackMinute-- }},
	{"travel_time", "unloads before it arrives", func(_ *testing.T, s *subject) { s.first().Drops[0].ArriveMinute = s.first().Drops[0].UnloadMinute + 1 }},
	{"distance", "wrong distance", func(_ *testing.T, s *subject) { s.first().DistanceM++ }},
	{"unloading_time", "slower unloading", func(_ *testing.T, s *subject) { s.site(s.first().Drops[0].SiteID).UnloadMinutesPerPile++ }},
	{"site_hours", "site opens later", func(_ *testing.T, s *subject) {
		s.site(s.first().Drops[0].SiteID).Opens.OpensMinute = s.first().Drops[0].UnloadMinute + 1
	}},
	{"window", "call-off wants it sooner", func(_ *testing.T, s *subject) {
		for i := range s.problem.Orders {
			if o := &s.problem.Orders[i]; o.CallOffID == s.first().Drops[0].CallOffIDs[0] {
				o.Window.ClosesMinute = s.first().Drops[0].UnloadMinute - 1
			}
		}
	}},
	{"truck_busy", "confirmed run at the same time", func(_ *testing.T, s *subject) {
		s.problem.Busy = append(s.problem.Busy, morning.BusyRun{TruckID: s.first().TruckID, Trip: 77, LoadingMinute: s.first().BackMinute - 1, BackMinute: s.first().BackMinute})
	}},
	{"trip_number", "trip number taken", func(_ *testing.T, s *subject) {
		s.problem.Busy = append(s.problem.Busy, morning.BusyRun{TruckID: s.first().TruckID, Trip: s.first().Trip})
	}},
	{"site_places", "no place free", func(_ *testing.T, s *subject) {
		d := s.first().Drops[0]
		s.site(d.SiteID).Places = 1
		s.problem.Busy = append(s.problem.Busy, morning.BusyRun{Stops: []morning.BusyStop{{SiteID: d.SiteID, UnloadMinute: d.LeaveMinute - 1, LeaveMinute: d.LeaveMinute}}})
	}},
	{"piece_twice", "one beam for two marks", func(t *testing.T, s *subject) {
		_, p := s.pile(t, tall)
		p.Tiers[1].Items[0].PieceID = p.Tiers[0].Items[0].PieceID
	}},
	{"piece_free", "a beam that is gone", func(t *testing.T, s *subject) {
		_, p := s.pile(t, tall)
		id := p.Tiers[0].Items[0].PieceID
		s.problem.Stock.Beams = slices.DeleteFunc(s.problem.Stock.Beams, func(b morning.FreeBeam) bool { return b.PieceID == id })
	}},
	{"piece_kept", "a beam that was made for another job", func(t *testing.T, s *subject) {
		_, p := s.pile(t, tall)
		for i := range s.problem.Stock.Beams {
			if b := &s.problem.Stock.Beams[i]; b.PieceID == p.Tiers[0].Items[0].PieceID {
				b.KeptFor = "another"
			}
		}
	}},
	{"piece_data", "a beam of another batch", func(t *testing.T, s *subject) { _, p := s.pile(t, tall); p.Tiers[0].Items[0].BatchID = "other" }},
	{"piece_data", "a pallet of another mass", func(t *testing.T, s *subject) { _, p := s.pile(t, pallet); p.Tiers[0].Items[0].MassG++ }},
	{"blocks_free", "too few blocks", func(_ *testing.T, s *subject) {
		for i := range s.problem.Stock.Blocks {
			s.problem.Stock.Blocks[i].Count = 0
		}
	}},
	{"picks", "a pick missing", func(_ *testing.T, s *subject) { s.first().Picks = s.first().Picks[1:] }},
	{"picks", "a pick of another piece", func(_ *testing.T, s *subject) { s.first().Picks[0].PieceID = "ghost" }},
	{"pick_stack", "a pick from another stack", func(_ *testing.T, s *subject) { s.first().Picks[0].StackID = "ghost" }},
	{"pick_order", "top before bottom", func(t *testing.T, s *subject) {
		r, p := s.pile(t, tall)
		slices.Reverse(r.Picks)
		_ = p
	}},
	{"moved_aside", "wrong count of pieces moved aside", func(_ *testing.T, s *subject) { s.plan.MovedAside++ }},
	{"mark_twice", "one mark twice", func(t *testing.T, s *subject) {
		_, p := s.pile(t, tall)
		p.Tiers[1].Items[0].Mark, p.Tiers[1].Items[0].Room = p.Tiers[0].Items[0].Mark, p.Tiers[0].Items[0].Room
	}},
	{"product", "another product than drawn", func(_ *testing.T, s *subject) {
		for i := range s.problem.Orders[0].Rooms[0].Beams {
			s.problem.Orders[0].Rooms[0].Beams[i].Product.WirePattern = "other"
		}
	}},
	{"product", "other blocks than drawn", func(_ *testing.T, s *subject) {
		for _, r := range s.problem.Orders {
			r.Rooms[0].BlockKind = "other"
		}
	}},
	{"not_asked", "a room nobody asked for", func(_ *testing.T, s *subject) { s.problem.Orders[0].Rooms = s.problem.Orders[0].Rooms[1:] }},
	{"demand", "a run missing", func(_ *testing.T, s *subject) { s.plan.Runs = s.plan.Runs[1:] }},
	{"demand", "less listed as left", func(_ *testing.T, s *subject) { s.plan.Unserved[0].BlockCount++ }},
	{"unserved", "left without a reason", func(_ *testing.T, s *subject) { s.plan.Unserved[0].Reason = 0 }},
	{"unserved", "left twice", func(_ *testing.T, s *subject) { s.plan.Unserved = append(s.plan.Unserved, s.plan.Unserved[0]) }},
	{"laying_number", "wrong laying number", func(t *testing.T, s *subject) { _, p := s.pile(t, tall); p.Tiers[0].Items[0].LayingNumber++ }},
	{"after_unserved", "an earlier piece stays", func(_ *testing.T, s *subject) {
		// A beam is added in front of what was planned.
		r := &s.problem.Orders[0].Rooms[0]
		r.Beams = append([]morning.Beam{{Mark: "new", Product: r.Beams[0].Product}}, r.Beams...)
	}},
	{"arrival_order", "two runs to a site exchanged", swapRuns},
	{"stretch", "two runs to a site exchanged", swapRuns},
	{"blocks_late", "blocks come after their beams", blocksLate},
	{"wrong_site", "unloaded at another site", func(_ *testing.T, s *subject) {
		for i := range s.problem.Orders {
			s.problem.Orders[i].SiteID = s.problem.Sites[(i+1)%len(s.problem.Sites)].ID
		}
	}},
	{"drop_call_offs", "drop names another call-off", func(_ *testing.T, s *subject) { s.first().Drops[0].CallOffIDs[0] = "ghost" }},
	{"lower_bound", "bound above the runs", func(_ *testing.T, s *subject) { s.plan.LowerBound = len(s.plan.Runs) + 1 }},
}

// frontHeavyAfterDrop lowers the truck's front limit to what it carries after
// the first drop less one kilogram, after making that the most of all stages
// by moving what stays on to the front.
func frontHeavyAfterDrop(s *subject, r *morning.Run) morning.Run {
	k := s.truck(r)
	out := *r
	for i := range out.Piles {
		out.Piles[i].FromMM = 0
		if out.Piles[i].DropNumber == 1 {
			out.Piles[i].FromMM = k.WheelbaseMM * 3
		}
	}
	k.MaxFrontKg = k.TareFrontKg
	return out
}

// swapRuns exchanges the unloading times of two runs to one site.
func swapRuns(t *testing.T, s *subject) {
	t.Helper()
	for i := range s.plan.Runs {
		for j := range i {
			for a := range s.plan.Runs[i].Drops {
				for b := range s.plan.Runs[j].Drops {
					x, y := &s.plan.Runs[i].Drops[a], &s.plan.Runs[j].Drops[b]
					if x.SiteID == y.SiteID {
						x.UnloadMinute, y.UnloadMinute = y.UnloadMinute, x.UnloadMinute
						return
					}
				}
			}
		}
	}
	t.Fatal("no site gets two runs")
}

// blocksLate moves the unloading of a run that brings the blocks of a room
// behind a later one that brings its beams.
func blocksLate(t *testing.T, s *subject) {
	t.Helper()
	type room struct{ callOff, name string }
	blocks := map[room]*morning.Drop{}
	for pass := range 2 {
		for i := range s.plan.Runs {
			r := &s.plan.Runs[i]
			for _, p := range r.Piles {
				drop := &r.Drops[p.DropNumber-1]
				item := p.Tiers[0].Items[0]
				key := room{item.CallOffID, item.Room}
				with := blocks[key]
				switch {
				case pass == 0 && item.Pallet():
					blocks[key] = drop
				case pass == 1 && !item.Pallet() && with != nil && with.UnloadMinute < drop.UnloadMinute:
					with.UnloadMinute = drop.UnloadMinute + 1
					return
				}
			}
		}
	}
	t.Fatal("no room gets its blocks on an earlier run than its beams")
}

func TestCheckerNoticesEveryBreak(t *testing.T) {
	fresh := planned(t)
	for _, b := range breaks {
		t.Run(b.rule+"/"+b.name, func(t *testing.T) {
			s := fresh()
			b.spoil(t, s)
			found := check.Plan(s.problem, s.plan)
			if !slices.ContainsFunc(found, func(v check.Violation) bool { return v.Rule == b.rule && v.Sentence != "" }) {
				t.Errorf("%s goes unnoticed; found: %v", b.rule, found)
			}
		})
	}
}
