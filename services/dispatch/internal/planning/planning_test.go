package planning

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
)

const day = "2031-05-06"

// eve is the afternoon before the day.
var eve = time.Date(2031, 5, 5, 14, 0, 0, 0, time.UTC)

var (
	product = daybook.Product{Profile: "T150", WirePattern: "4x5", LengthMM: 4200}
	key     = daybook.FloorKey{JobID: "J-07", Floor: "1"}
)

func floor(k daybook.FloorKey) daybook.Floor {
	return daybook.Floor{
		FloorKey: k, Revision: 1,
		Rooms: []daybook.RoomDemand{
			{Room: "01", BlockKind: "B20", BlockCount: 20, Beams: []daybook.BeamDemand{{Mark: "1-01-01", Product: product, MassG: 84_000}, {Mark: "1-01-02", Product: product, MassG: 84_000}}},
			{Room: "02", Beams: []daybook.BeamDemand{{Mark: "1-02-01", Product: product, MassG: 84_000}}},
		},
		Profiles: []daybook.Profile{{Name: "T150", HeightMM: 150, WidthMM: 120}},
		Blocks:   []daybook.BlockKind{{Name: "B20", MassG: 15_000, BlocksPerPallet: 60, PalletLengthMM: 1200, PalletWidthMM: 800, PalletHeightMM: 1000, PalletTareG: 20_000}},
	}
}

// filled sets every number and text of a struct to a value of its own.
func filled[T any]() T {
	var v T
	n := int64(0)
	var fill func(reflect.Value)
	fill = func(f reflect.Value) {
		n++
		switch f.Kind() {
		case reflect.Struct:
			for i := range f.NumField() {
				fill(f.Field(i))
			}
		case reflect.Int, reflect.Int64:
			f.SetInt(n)
		case reflect.Float64:
			f.SetFloat(float64(n))
		case reflect.String:
			f.SetString(strings.Repeat("x", int(n)))
		case reflect.Bool:
			f.SetBool(true)
		}
	}
	fill(reflect.ValueOf(&v).Elem())
	return v
}

// fields lists a value's fields by their names in small letters.
func fields(t *testing.T, v any, without ...string) map[string]any {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal([]byte(strings.ToLower(string(data))), &m); err != nil {
		t.Fatal(err)
	}
	for _, name := range without {
		delete(m, name)
	}
	return m
}

func TestNothingOfTheYardIsLost(t *testing.T) {
	rules := filled[daybook.Rules]()
	if diff := cmp.Diff(fields(t, rules, "timezone", "leadminutes", "lashing"), fields(t, rulesOf(rules))); diff != "" {
		t.Errorf("rules:\n%s", diff)
	}
	truck := filled[daybook.Truck]()
	list, err := trucks([]daybook.Truck{truck}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(fields(t, truck), fields(t, list[0])); diff != "" {
		t.Errorf("truck:\n%s", diff)
	}
	s := filled[daybook.Site]()
	if diff := cmp.Diff(fields(t, s, "contact"), fields(t, site(s))); diff != "" {
		t.Errorf("site:\n%s", diff)
	}
}

func state(t *testing.T, events ...daybook.Event) daybook.State {
	t.Helper()
	s := daybook.New("testyard")
	for _, e := range append([]daybook.Event{
		daybook.RulesSet{Rules: daybook.Rules{TimeZone: "Etc/UTC", SpeedKMPerH: 40}},
		daybook.TrucksSet{Trucks: []daybook.Truck{{ID: "T1"}, {ID: "T2"}}},
		daybook.SitesSet{Sites: []daybook.Site{{ID: "north", Places: 1}, {ID: "south", Places: 1}}},
		daybook.FloorPlanned{Floor: floor(key)},
	}, events...) {
		s = daybook.Evolve(s, e)
	}
	return s
}

func called(id, site, floor string, rooms ...string) daybook.CalledOff {
	return daybook.CalledOff{CallOff: daybook.CallOff{
		ID: id, SiteID: site, FloorKey: daybook.FloorKey{JobID: "J-07", Floor: floor}, Rooms: rooms, Day: day,
		Window: daybook.Window{OpensMinute: 420, ClosesMinute: 600},
	}}
}

func TestProblem(t *testing.T) {
	stock := morning.Stock{Beams: []morning.FreeBeam{{PieceID: "L1-001"}}}
	p, aside, err := Problem(state(t, called("C1", "north", "1", "02", "01")), day, eve, daybook.Wishes{WithoutTrucks: []string{"T2"}}, stock)
	if err != nil || len(aside) != 0 {
		t.Fatalf("aside %v, error %v", aside, err)
	}
	date, _ := civil.ParseDay(day)
	want := morning.Problem{
		Rules:  morning.Rules{SpeedKmPerH: 40},
		Trucks: []morning.Truck{{ID: "T1"}},
		Sites:  []morning.Site{{ID: "north", Places: 1}},
		Orders: []morning.Order{{
			CallOffID: "C1", SiteID: "north", JobID: "J-07", Floor: "1", Window: morning.Window{OpensMinute: 420, ClosesMinute: 600},
			Rooms: []morning.Room{ // in the order of the plan, not of the call-off
				{Name: "01", BlockKind: "B20", BlockCount: 20, Beams: []morning.Beam{
					{Mark: "1-01-01", Product: morning.Product(product), MassG: 84_000}, {Mark: "1-01-02", Product: morning.Product(product), MassG: 84_000},
				}},
				{Name: "02", Beams: []morning.Beam{{Mark: "1-02-01", Product: morning.Product(product), MassG: 84_000}}},
			},
		}},
		Profiles:     []morning.Profile{{Name: "T150", HeightMM: 150, WidthMM: 120}},
		BlockKinds:   []morning.BlockKind{{Name: "B20", MassG: 15_000, BlocksPerPallet: 60, PalletLengthMM: 1200, PalletWidthMM: 800, PalletHeightMM: 1000, PalletTareG: 20_000}},
		Stock:        stock,
		PalletPrefix: "pallet:",
		Seed:         uint64(date),
	}
	if diff := cmp.Diff(want, p); diff != "" {
		t.Error(diff)
	}
	_, _, err = Problem(state(t, called("C1", "north", "1")), day, eve, daybook.Wishes{WithoutTrucks: []string{"T2", "T9"}}, stock)
	if fault.ReasonOf(err) != "TRUCK_UNKNOWN" {
		t.Errorf("a truck that is not there: %v", err)
	}
}

func TestConfirmedRunsHoldTrucksAndPlaces(t *testing.T) {
	run := daybook.Run{
		ID: "R1", TruckID: "T1", Trip: 1, LoadingMinute: 300, LeaveMinute: 330, BackMinute: 500,
		Drops: []daybook.Drop{{Number: 1, SiteID: "north", ArriveMinute: 370, UnloadMinute: 380, LeaveMinute: 420}},
		Piles: []daybook.Pile{{Number: 1, DropNumber: 1, Tiers: [][]daybook.Item{{{PieceID: "L1-001", Mark: "1-01-01", Beam: product, FloorKey: key, Room: "01", CallOffID: "C1"}}}}},
	}
	gone := run
	gone.ID = "R2"
	gone.Piles = nil
	s := state(t, called("C1", "north", "1"),
		daybook.RunConfirmed{Day: day, Run: run}, daybook.RunConfirmed{Day: day, Run: gone}, daybook.RunCancelled{RunID: "R2"})
	p, _, err := Problem(s, day, eve, daybook.Wishes{}, morning.Stock{})
	if err != nil {
		t.Fatal(err)
	}
	want := []morning.BusyRun{{TruckID: "T1", Trip: 1, LoadingMinute: 300, LeaveMinute: 330, BackMinute: 500, DrivingMinutes: 120, Stops: []morning.BusyStop{{SiteID: "north", UnloadMinute: 380, LeaveMinute: 420, Beams: 1}}}}
	if diff := cmp.Diff(want, p.Busy); diff != "" {
		t.Error(diff)
	}
	if beams := p.Orders[0].Rooms[0].Beams; len(beams) != 1 || beams[0].Mark != "1-01-02" {
		t.Errorf("the beam on the run is asked for again: %v", beams)
	}
}

func TestWhatCannotBePlannedIsSaid(t *testing.T) {
	strange := floor(daybook.FloorKey{JobID: "J-07", Floor: "3"})
	strange.Rooms[1].Beams[0].Product.Profile = "T999"
	lost := floor(daybook.FloorKey{JobID: "J-07", Floor: "4"})
	s := state(t,
		daybook.FloorPlanned{Floor: strange}, daybook.FloorPlanned{Floor: lost},
		called("C1", "north", "1", "01", "77"), called("C2", "north", "2"), called("C3", "south", "3"), called("C4", "moon", "4", "01"),
		called("C5", "north", "5", "08", "09"))
	p, aside, err := Problem(s, day, eve, daybook.Wishes{}, morning.Stock{})
	if err != nil {
		t.Fatal(err)
	}
	type line struct {
		callOff, room string
		reason        daybook.UnservedReason
		beams, blocks int
		massG         int64
	}
	var got []line
	for _, u := range aside {
		if u.Sentence == "" || u.SiteID == "" {
			t.Errorf("says too little: %+v", u)
		}
		got = append(got, line{u.CallOffID, u.Room, u.Reason, u.BeamCount, u.BlockCount, u.MassG})
	}
	want := []line{
		{"C1", "77", daybook.NoPlan, 0, 0, 0},
		{"C2", "", daybook.NoPlan, 0, 0, 0},
		{"C3", "02", daybook.NoPlan, 1, 0, 84_000},
		{"C4", "01", daybook.NoAccess, 2, 20, 468_000}, // 2 x 84 kg and 20 x 15 kg
		{"C5", "08", daybook.NoPlan, 0, 0, 0},
		{"C5", "09", daybook.NoPlan, 0, 0, 0},
	}
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(line{})); diff != "" {
		t.Error(diff)
	}
	var orders []string
	for _, o := range p.Orders {
		orders = append(orders, o.CallOffID)
	}
	if !slices.Equal(orders, []string{"C1", "C3"}) {
		t.Errorf("orders %v", orders)
	}
}

func TestTheLargerSizeCounts(t *testing.T) {
	other := floor(daybook.FloorKey{JobID: "J-07", Floor: "2"})
	other.Profiles[0].HeightMM, other.Profiles[0].WidthMM = 160, 110
	other.Blocks[0] = daybook.BlockKind{Name: "B20", MassG: 14_000, BlocksPerPallet: 50, PalletLengthMM: 1100, PalletWidthMM: 900, PalletHeightMM: 900, PalletTareG: 25_000}
	s := state(t, daybook.FloorPlanned{Floor: other}, called("C1", "north", "1"), called("C2", "north", "2"))
	p, _, err := Problem(s, day, eve, daybook.Wishes{}, morning.Stock{})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]morning.Profile{{Name: "T150", HeightMM: 160, WidthMM: 120}}, p.Profiles); diff != "" {
		t.Error(diff)
	}
	want := []morning.BlockKind{{Name: "B20", MassG: 15_000, BlocksPerPallet: 50, PalletLengthMM: 1200, PalletWidthMM: 900, PalletHeightMM: 1000, PalletTareG: 25_000}}
	if diff := cmp.Diff(want, p.BlockKinds); diff != "" {
		t.Error(diff)
	}
	if len(p.Sites) != 1 {
		t.Errorf("a site twice: %v", p.Sites)
	}
}

func TestPlanKeepsEverything(t *testing.T) {
	at := time.Date(2031, 5, 5, 15, 0, 0, 0, time.UTC)
	pick := filled[morning.Pick]()
	item := filled[morning.Item]()
	p := morning.Plan{
		LowerBound: 1, BoundReason: "by mass", MovedAside: 3,
		Unserved: []morning.Unserved{filled[morning.Unserved]()},
		Runs: []morning.Run{{
			TruckID: "T1", Trip: 2, LoadingMinute: 300, LeaveMinute: 330, BackMinute: 500, DistanceM: 41_000, MassG: 84_000,
			Drops:     []morning.Drop{{Number: 1, SiteID: "north", ArriveMinute: 370, UnloadMinute: 380, LeaveMinute: 420, CallOffIDs: []string{"C1"}}},
			AxleLoads: []morning.AxleLoads{{AfterDrop: 0, FrontKg: 4100, RearKg: 4200}, {AfterDrop: 1, FrontKg: 4000, RearKg: 4001}},
			Piles: []morning.Pile{{
				Number: 1, DropNumber: 1, Lane: 2, FromMM: 3, LengthMM: 4, LeftMM: 5, WidthMM: 6, HeightMM: 7, MassG: 8,
				Tiers: []morning.Tier{{Items: []morning.Item{item}}},
			}},
			Picks: []morning.Pick{pick},
		}},
	}
	aside := []daybook.Unserved{{CallOffID: "C9", Reason: daybook.NoPlan}}
	got := Plan(p, aside, Made{Day: day, By: "Ada Example", At: at, TookMS: 12, StockPosition: 34})
	u := p.Unserved[0]
	want := daybook.Plan{
		Day: day, PlannedBy: "Ada Example", PlannedAt: at, TookMS: 12, StockPosition: 34,
		RunLowerBound: 1, BoundReason: "by mass", MovedAsideCount: 3,
		Unserved: []daybook.Unserved{aside[0], {
			CallOffID: u.CallOffID, SiteID: u.SiteID, Room: u.Room, BeamCount: u.BeamCount, BlockCount: u.BlockCount,
			MassG: u.MassG, Reason: daybook.UnservedReason(u.Reason), Sentence: u.Sentence,
		}},
		Runs: []daybook.Run{{
			TruckID: "T1", Trip: 2, LoadingMinute: 300, LeaveMinute: 330, BackMinute: 500, DistanceM: 41_000, MassG: 84_000,
			Drops:     []daybook.Drop{{Number: 1, SiteID: "north", ArriveMinute: 370, UnloadMinute: 380, LeaveMinute: 420, CallOffIDs: []string{"C1"}}},
			AxleLoads: []daybook.AxleLoads{{AfterDrop: 0, FrontKG: 4100, RearKG: 4200}, {AfterDrop: 1, FrontKG: 4000, RearKG: 4001}},
			Piles: []daybook.Pile{{
				Number: 1, DropNumber: 1, Lane: 2, FromMM: 3, LengthMM: 4, LeftMM: 5, WidthMM: 6, HeightMM: 7, MassG: 8,
				Tiers: [][]daybook.Item{{{
					PieceID: item.PieceID, Mark: item.Mark, Beam: daybook.Product(item.Beam), BlockKind: item.BlockKind,
					BlockCount: item.BlockCount, MassG: item.MassG, FloorKey: daybook.FloorKey{JobID: item.JobID, Floor: item.Floor},
					Room: item.Room, CallOffID: item.CallOffID, LayingNumber: item.LayingNumber, BatchID: item.BatchID,
				}}},
			}},
			Picks: []daybook.Pick{{
				Number: pick.Number, PieceID: pick.PieceID, StackID: pick.StackID, StackTier: pick.StackTier, Mark: pick.Mark,
				Beam: daybook.Product(pick.Beam), BlockKind: pick.BlockKind, BlockCount: pick.BlockCount, MassG: pick.MassG,
				PileNumber: pick.PileNumber, PileTier: pick.PileTier, BatchID: pick.BatchID,
			}},
		}},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// TestReasonsAreTheSame: the numbers of the reasons cross two borders.
func TestReasonsAreTheSame(t *testing.T) {
	for planner, book := range map[morning.Reason]daybook.UnservedReason{
		morning.NoPlan: daybook.NoPlan, morning.NoStock: daybook.NoStock, morning.NoAccess: daybook.NoAccess,
		morning.DoesNotFit: daybook.DoesNotFit, morning.NoTime: daybook.NoTime, morning.AfterUnserved: daybook.AfterUnserved,
	} {
		if int(planner) != int(book) {
			t.Errorf("reason %d of the planner is %d in the book", planner, book)
		}
	}
}

// TestLoadingStartsAfterNow: a morning that is planned when it has begun starts
// loading after the moment of planning, and after the yard's lead time.
func TestLoadingStartsAfterNow(t *testing.T) {
	s := state(t, called("C1", "north", "1"))
	for _, c := range []struct {
		lead, want int
		now        time.Time
	}{
		{0, 0, eve},
		{0, 8*60 + 13, time.Date(2031, 5, 6, 8, 12, 59, 0, time.UTC)},
		{45, 8*60 + 57, time.Date(2031, 5, 6, 8, 12, 59, 0, time.UTC)},
		{11 * 60, 60, eve},
	} {
		after := daybook.Evolve(s, daybook.RulesSet{Rules: daybook.Rules{TimeZone: "Etc/UTC", SpeedKMPerH: 40, LeadMinutes: c.lead}})
		p, _, err := Problem(after, day, c.now, daybook.Wishes{}, morning.Stock{})
		if err != nil || p.EarliestLoadingMinute != c.want {
			t.Errorf("planned at %v with %d minutes of lead: earliest %d, %v; want %d", c.now, c.lead, p.EarliestLoadingMinute, err, c.want)
		}
	}
}
