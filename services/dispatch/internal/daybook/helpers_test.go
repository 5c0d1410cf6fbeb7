package daybook

import (
	"errors"
	"fmt"

	"spanyard.example/services/kit/fault"
)

const testDay = "2031-05-06"

func testRules() Rules {
	return Rules{
		TimeZone: "Etc/UTC", Place: Place{LatitudeDeg: 50, LongitudeDeg: 10}, RoadFactorPercent: 130, SpeedKMPerH: 50,
		LoadingMinutes: 30, MaxTiers: 6, MaxPileHeightMM: 1500, BearerHeightMM: 80, BearerInsetMM: 300, MaxOverhangMM: 300,
		PileGapMM: 100, MaxLanes: 2,
	}
}

func testTruck(id string) Truck {
	return Truck{
		ID: id, Name: "Truck " + id, DeckLengthMM: 7000, DeckWidthMM: 2450, PayloadKG: 9000, TareFrontKG: 4000, TareRearKG: 4000,
		MaxFrontKG: 7500, MaxRearKG: 11500, WheelbaseMM: 5000, DeckStartMM: 1000, OverallLengthMM: 9500, MaxGrossKG: 18000,
		Hours: Window{OpensMinute: 300, ClosesMinute: 1080}, HasCrane: true,
	}
}

func testSite(id string) Site {
	return Site{ID: id, Name: "Site " + id, Place: Place{LatitudeDeg: 50.1, LongitudeDeg: 10.1}, Opens: Window{360, 1080}, Places: 1}
}

// testFloor has rooms of three beams and twenty blocks each.
func testFloor(job, floor string, rooms int) Floor {
	f := Floor{
		FloorKey: FloorKey{JobID: job, Floor: floor}, Revision: 1,
		Profiles: []Profile{{Name: "T150", HeightMM: 150, WidthMM: 120, MassGPerM: 20000, WirePatterns: []string{"4w"}}},
		Blocks:   []BlockKind{{Name: "B20", LengthMM: 200, PitchMM: 600, MassG: 15000, BlocksPerPallet: 60, PalletLengthMM: 1200, PalletWidthMM: 800, PalletHeightMM: 1000, PalletTareG: 20000}},
	}
	for r := 1; r <= rooms; r++ {
		room := RoomDemand{Room: fmt.Sprintf("%02d", r), BlockKind: "B20", BlockCount: 20}
		for b := 1; b <= 3; b++ {
			room.Beams = append(room.Beams, BeamDemand{
				Mark: fmt.Sprintf("%s-%02d-%02d", floor, r, b), Product: Product{Profile: "T150", WirePattern: "4w", LengthMM: 4200}, MassG: 84000,
			})
		}
		f.Rooms = append(f.Rooms, room)
	}
	return f
}

func testCallOff(id, floor string, rooms ...string) CallOff {
	return CallOff{
		ID: id, SiteID: "north", FloorKey: FloorKey{JobID: "J1", Floor: floor}, Rooms: rooms, Day: testDay,
		Window: Window{OpensMinute: 420, ClosesMinute: 720},
	}
}

// openYard has rules, two trucks, two sites and floor 1 of job J1.
func openYard(t fatal) State {
	t.Helper()
	s := New("testyard")
	for _, c := range []Command{
		SetRules{Rules: testRules()},
		SetTrucks{Trucks: []Truck{testTruck("T1"), testTruck("T2")}},
		SetSites{Sites: []Site{testSite("north"), testSite("south")}},
		LearnFloor{Floor: testFloor("J1", "1", 4)},
	} {
		s = must(t, s, c)
	}
	return s
}

type fatal interface {
	Helper()
	Fatalf(format string, args ...any)
}

func must(t fatal, s State, c Command) State {
	t.Helper()
	events, err := Decide(s, c)
	if err != nil {
		t.Fatalf("%T is refused: %v", c, err)
	}
	for _, e := range events {
		s = Evolve(s, e)
	}
	return s
}

func refusedWith(t fatal, s State, c Command, reason string) *fault.Error {
	t.Helper()
	events, err := Decide(s, c)
	if fault.ReasonOf(err) != reason {
		t.Fatalf("%T: got %v and error %v, want refusal %s", c, events, err, reason)
	}
	var f *fault.Error
	errors.As(err, &f)
	return f
}

// planner makes plain plans: everything outstanding, one run for each call-off.
type planner struct{ pieces int }

func (p *planner) plan(s State, day string, trucks ...string) Plan {
	plan := Plan{Day: day, PlannedBy: "Ada Example"}
	for i, w := range s.Outstanding(day) {
		if w.Floor == nil {
			continue
		}
		run := Run{
			TruckID: trucks[i%len(trucks)], Trip: i + 1, LoadingMinute: 300 + 60*i, LeaveMinute: 320 + 60*i, BackMinute: 360 + 60*i,
			Drops: []Drop{{Number: 1, SiteID: w.CallOff.SiteID, CallOffIDs: []string{w.CallOff.ID}}},
		}
		for _, room := range w.Rooms {
			p.room(&run, w, room)
		}
		if len(run.Piles) > 0 {
			plan.Runs = append(plan.Runs, run)
		}
	}
	return plan
}

func (p *planner) room(run *Run, w Wanted, room RoomDemand) {
	add := func(item Item) {
		p.pieces++
		item.PieceID = fmt.Sprintf("%s%d", map[bool]string{true: "pallet:", false: "B1-"}[item.IsPallet()], p.pieces)
		item.BatchID, item.FloorKey, item.Room, item.CallOffID = "B1", w.CallOff.FloorKey, room.Room, w.CallOff.ID
		n := len(run.Piles) + 1
		run.Piles = append(run.Piles, Pile{Number: n, DropNumber: 1, Tiers: [][]Item{{item}}})
		run.Picks = append(run.Picks, Pick{Number: n, PieceID: item.PieceID, Mark: item.Mark, BlockCount: item.BlockCount})
		run.MassG += item.MassG
	}
	if room.BlockCount > 0 {
		add(Item{BlockKind: room.BlockKind, BlockCount: room.BlockCount, MassG: int64(room.BlockCount) * 15000})
	}
	for _, b := range room.Beams {
		add(Item{Mark: b.Mark, Beam: b.Product, MassG: b.MassG})
	}
}

// draft records a plan of the day and returns its id.
func (p *planner) draft(t fatal, s State, day string) (State, string) {
	t.Helper()
	s = must(t, s, RecordPlan{Plan: p.plan(s, day, "T1", "T2"), Basis: s.Basis(day)})
	plans := s.Plans(day)
	return s, plans[len(plans)-1].Plan.ID
}
