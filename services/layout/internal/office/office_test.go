package office_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
	"spanyard.example/services/layout/internal/strength"
)

var noon = time.Date(2031, 3, 4, 12, 0, 0, 0, time.UTC)

func row(n int, job, floor, room string, order int) office.Row {
	return office.Row{
		Where: fmt.Sprintf("rooms.csv, row %d", n), Job: job, JobName: "House at the mill",
		Room: office.ScheduledRoom{
			Floor: floor, Room: room, Name: "Room " + room, LayingOrder: order,
			ClearSpanMM: 3000, WidthMM: 3060, SpanDirection: "x", BearingMM: 100,
			Category: "A", ImposedLoadNPerM2: officetest.Load(1500), FinishesLoadNPerM2: 500,
			Profile: "T150", WirePattern: "5W", Block: "K510", BeamsPerRow: 1,
		},
	}
}

// must carries out commands that have to succeed.
func must(t *testing.T, s office.State, commands ...office.Command) office.State {
	t.Helper()
	for _, c := range commands {
		events, err := office.Decide(s, c)
		if err != nil {
			t.Fatalf("%T: %v", c, err)
		}
		if len(events) == 0 {
			t.Fatalf("%T led to nothing", c)
		}
		for _, e := range events {
			s = office.Evolve(s, e)
		}
	}
	return s
}

func withCatalogue(t *testing.T) office.State {
	t.Helper()
	return must(t, office.New(), office.SetCatalogue{Catalogue: officetest.Catalogue()})
}

func draft(rows ...office.Row) office.DraftPlans {
	return office.DraftPlans{SourceFile: "rooms.csv", Rows: rows}
}

func approve(job, floor string, revision int) office.Approve {
	return office.Approve{Job: job, Floor: floor, Revision: revision, Engineer: " Odalys Brenk ", Reason: "load test of 3 March", At: noon}
}

func TestDraftGroupsByJobAndFloor(t *testing.T) {
	s := must(t, withCatalogue(t), draft(
		row(2, "J1", "1", "02", 2), row(3, "J1", "0", "01", 1), row(4, "J1", "1", "01", 1), row(5, "J2", "1", "01", 1)))
	var got []string
	s.Floors(office.FloorKey{}, func(key office.FloorKey, records []office.Record) bool {
		for _, r := range records {
			got = append(got, fmt.Sprintf("%s/%s r%d %d rooms, first %s", key.Job, key.Floor, r.Plan.Revision, len(r.Plan.Rooms), r.Plan.Rooms[0].Room.ID))
		}
		return true
	})
	want := []string{"J1/0 r1 1 rooms, first 01", "J1/1 r1 2 rooms, first 01", "J2/1 r1 1 rooms, first 01"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("plans (-want +got):\n%s", d)
	}
	// One room: 5 beams of 3,000 + 2 x 100 mm and 96 kg; 6 bays of 14 blocks of
	// 13.8 kg.
	r := s.Revisions(office.FloorKey{Job: "J1", Floor: "1"})[0]
	total := office.Totals{Rooms: 2, Beams: 10, BeamLengthMM: 32_000, BeamMassG: 960_000, Blocks: 168, BlockMassG: 168 * 13_800}
	if d := cmp.Diff(total, r.Totals); d != "" {
		t.Errorf("totals (-want +got):\n%s", d)
	}
	if r.Plan.Strength != office.Checked || !r.Plan.Schematic || len(r.Plan.Catalogue.Profiles) != 2 || r.Plan.Catalogue.Basis == nil {
		t.Errorf("plan says strength %v, %d profiles, basis %v", r.Plan.Strength, len(r.Plan.Catalogue.Profiles), r.Plan.Catalogue.Basis)
	}
}

func TestApproveAndSupersede(t *testing.T) {
	one := draft(row(2, "J1", "1", "01", 1))
	s := must(t, withCatalogue(t), one, approve("J1", "1", 1), one, one)
	key := office.FloorKey{Job: "J1", Floor: "1"}
	if r := s.Revisions(key)[0]; r.Status != office.Approved || r.Engineer != "Odalys Brenk" || !r.ApprovedAt.Equal(noon) {
		t.Errorf("revision 1: status %v, engineer %q, at %v", r.Status, r.Engineer, r.ApprovedAt)
	}
	before := s
	events, err := office.Decide(s, approve("J1", "1", 3))
	if err != nil {
		t.Fatal(err)
	}
	if len(events) != 2 {
		t.Fatalf("%d events, want approved and superseded", len(events))
	}
	if e, ok := events[1].(office.LayingPlanSuperseded); !ok || e.Revision != 1 || e.ByRevision != 3 {
		t.Errorf("second event is %+v", events[1])
	}
	for _, e := range events {
		s = office.Evolve(s, e)
	}
	var got []office.Status
	for _, r := range s.Revisions(key) {
		got = append(got, r.Status)
	}
	if d := cmp.Diff([]office.Status{office.Superseded, office.Draft, office.Approved}, got); d != "" {
		t.Errorf("states (-want +got):\n%s", d)
	}
	if before.Revisions(key)[2].Status != office.Draft {
		t.Error("Evolve changed the state before the event")
	}
}

func TestApproveRefusals(t *testing.T) {
	one := draft(row(2, "J1", "1", "01", 1))
	s := must(t, withCatalogue(t), one, approve("J1", "1", 1), one, one, approve("J1", "1", 3))
	s = must(t, s, one, one)
	cases := []struct {
		name   string
		change func(*office.Approve)
		kind   fault.Kind
		reason string
	}{
		{"approved already", func(c *office.Approve) { c.Revision = 3 }, fault.Stale, office.ReasonAlreadyApproved},
		{"superseded", func(c *office.Approve) { c.Revision = 1 }, fault.Stale, office.ReasonSuperseded},
		{"older draft", func(c *office.Approve) { c.Revision = 2 }, fault.Stale, office.ReasonNotNewest},
		{"older draft after the approved", func(c *office.Approve) { c.Revision = 4 }, fault.Stale, office.ReasonNotNewest},
		{"no such revision", func(c *office.Approve) { c.Revision = 6 }, fault.NotFound, office.ReasonPlanUnknown},
		{"revision 0", func(c *office.Approve) { c.Revision = 0 }, fault.NotFound, office.ReasonPlanUnknown},
		{"no such floor", func(c *office.Approve) { c.Floor = "2" }, fault.NotFound, office.ReasonPlanUnknown},
		{"blank engineer", func(c *office.Approve) { c.Engineer = " \t" }, fault.Invalid, office.ReasonNoEngineer},
		{"engineer on two lines", func(c *office.Approve) { c.Engineer = "A\nB" }, fault.Invalid, office.ReasonNoEngineer},
		{"endless reason", func(c *office.Approve) { c.Reason = strings.Repeat("ä", 1001) }, fault.Invalid, office.ReasonNoEngineer},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			command := approve("J1", "1", 5)
			c.change(&command)
			events, err := office.Decide(s, command)
			if !errors.Is(err, c.kind) || fault.ReasonOf(err) != c.reason || events != nil {
				t.Errorf("got %v and %d events, want %v %s", err, len(events), c.kind, c.reason)
			}
		})
	}
}

func TestDraftNamesEveryWrongCell(t *testing.T) {
	change := func(n int, f func(*office.Row)) office.Row {
		r := row(n, "J1", "1", fmt.Sprintf("%02d", n), n)
		f(&r)
		return r
	}
	cases := []struct {
		name string
		rows []office.Row
		want []string // where, by row and column
	}{
		{"room twice, in other capitals", []office.Row{
			change(2, func(r *office.Row) { r.Room.Room = "a" }), change(3, func(r *office.Row) { r.Room.Room = "A" })},
			[]string{"3 room"}},
		{"laying order twice", []office.Row{
			change(2, func(*office.Row) {}), change(3, func(r *office.Row) { r.Room.LayingOrder = 2 })},
			[]string{"3 laying_order"}},
		{"two names of one job", []office.Row{
			change(2, func(*office.Row) {}), change(3, func(r *office.Row) { r.JobName = "Other" })},
			[]string{"3 job_name"}},
		{"tokens", []office.Row{
			change(2, func(r *office.Row) { r.Room.Floor = "1-2" }), change(3, func(r *office.Row) { r.Room.Room = "123456789" }),
			change(4, func(r *office.Row) { r.Room.Room = "1é" })},
			[]string{"2 floor", "3 room", "4 room"}},
		{"catalogue", []office.Row{
			change(2, func(r *office.Row) { r.Room.Profile = "T999" }), change(3, func(r *office.Row) { r.Room.Block = "K999" }),
			change(4, func(r *office.Row) { r.Room.WirePattern = "7W" })},
			[]string{"2 profile", "3 block_kind", "4 wire_pattern"}},
		{"limits", []office.Row{
			change(2, func(r *office.Row) { r.Room.BearingMM = 89 }), change(3, func(r *office.Row) { r.Room.ClearSpanMM = 30_001 }),
			change(4, func(r *office.Row) { r.Room.ClearSpanMM = 199 }), change(5, func(r *office.Row) { r.Room.WidthMM = 100_001 }),
			change(6, func(r *office.Row) { r.Room.BeamsPerRow = 4 }), change(7, func(r *office.Row) { r.Room.SpanDirection = "z" }),
			change(8, func(r *office.Row) { r.Room.ImposedLoadNPerM2 = officetest.Load(50_001) }),
			change(9, func(r *office.Row) { r.Room.FinishesLoadNPerM2 = -1 }), change(10, func(r *office.Row) { r.Room.Category = "F" }),
			change(11, func(r *office.Row) { r.Room.Category, r.Room.ImposedLoadNPerM2 = "", nil }),
		},
			[]string{"2 bearing_mm", "3 clear_span_mm", "4 clear_span_mm", "5 width_mm", "6 beams_per_row", "7 span_direction",
				"8 imposed_load_kn_m2", "9 finishes_load_kn_m2", "10 category", "11 imposed_load_kn_m2"}},
		{"everything missing", []office.Row{{Where: "rooms.csv, row 2"}},
			[]string{"2 job", "2 job_name", "2 floor", "2 room", "2 laying_order", "2 clear_span_mm", "2 width_mm", "2 span_direction",
				"2 imposed_load_kn_m2"}},
		{"several in one row", []office.Row{change(2, func(r *office.Row) { r.Room.Profile, r.Room.BearingMM = "T999", 50 })},
			[]string{"2 profile", "2 bearing_mm"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			events, err := office.Decide(withCatalogue(t), draft(append(c.rows, row(99, "J9", "1", "01", 1))...))
			if events != nil {
				t.Fatalf("half imported: %d events", len(events))
			}
			var got []string
			for _, p := range faultOf(t, err).Places {
				got = append(got, strings.Replace(strings.TrimPrefix(p.Where, "rooms.csv, row "), ", column", "", 1))
			}
			if d := cmp.Diff(c.want, got); d != "" {
				t.Errorf("places (-want +got):\n%s\n%v", d, err)
			}
		})
	}
}

func faultOf(t *testing.T, err error) *fault.Error {
	t.Helper()
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Invalid || f.Reason != office.ReasonBadRows {
		t.Fatalf("got %v, want invalid BAD_ROWS", err)
	}
	return f
}

func TestDraftJoinsUnreadCells(t *testing.T) {
	partial := row(2, "J1", "1", "01", 1)
	partial.Room.WidthMM, partial.Room.Profile = 0, "T999"
	c := draft(partial)
	c.Unread = []fault.Place{{Where: "rooms.csv, row 2, column width_mm", Value: "wide", Problem: "is no whole number"}}
	_, err := office.Decide(withCatalogue(t), c)
	f := faultOf(t, err)
	if len(f.Places) != 2 || !strings.Contains(f.Places[1].Where, "column profile") {
		t.Errorf("got %v", f)
	}
}

func TestDraftLimits(t *testing.T) {
	wide := func(n int, job, floor string) office.Row { // triple rows at 750 mm: (99,000 - 510) / 750 = 131.3 -> 132 x 3 = 396 beams
		r := row(n, job, floor, fmt.Sprintf("R%d", n), n)
		r.Room.WidthMM, r.Room.BeamsPerRow = 99_000, 3
		return r
	}
	var floor, file, rooms, floors []office.Row
	for i := range 13 { // 13 x 396 = 5,148
		floor = append(floor, wide(i+1, "J1", "1"))
	}
	for i := range 127 { // 127 x 396 = 50,292 on eleven floors
		file = append(file, wide(i+1, "J1", fmt.Sprint(i/12)))
	}
	for i := range 501 {
		r := row(i+1, "J1", "1", fmt.Sprintf("R%d", i), i+1)
		r.Room.WidthMM = 400
		rooms = append(rooms, r)
	}
	for i := range 102 {
		floors = append(floors, row(i+1, "J1", fmt.Sprint(i), "1", 1))
	}
	for name, c := range map[string]struct {
		rows []office.Row
		want string
	}{
		"beams on a floor": {floor, "job J1, floor 1"},
		"beams in a file":  {file, "job J1, floor 10"},
		"rooms on a floor": {rooms, "rooms.csv, row 501, column room"},
		"floors in a file": {floors, "rooms.csv, row 101, column floor"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := office.Decide(withCatalogue(t), draft(c.rows...))
			f := faultOf(t, err)
			if len(f.Places) != 1 || f.Places[0].Where != c.want {
				t.Errorf("got %v, want %s alone", f, c.want)
			}
			if name == "floors in a file" {
				return
			}
			if _, err := office.Decide(withCatalogue(t), draft(c.rows[:len(c.rows)-1]...)); err != nil {
				t.Errorf("one row less: %v", err)
			}
		})
	}
}

func TestDraftNeedsCatalogueAndRooms(t *testing.T) {
	_, err := office.Decide(office.New(), draft(row(2, "J1", "1", "01", 1)))
	if fault.KindOf(err) != fault.Stale || fault.ReasonOf(err) != office.ReasonCatalogueMissing {
		t.Errorf("without a catalogue: %v", err)
	}
	_, err = office.Decide(withCatalogue(t), draft())
	if fault.KindOf(err) != fault.Invalid || fault.ReasonOf(err) != office.ReasonNoRooms {
		t.Errorf("without rooms: %v", err)
	}
}

func TestCatalogueNamesEveryMistake(t *testing.T) {
	c := officetest.Catalogue()
	c.Profiles[0].MassGPerM = 40_000
	c.Profiles[0].HeightMM = 160
	c.Profiles[0].WirePatterns = []string{"5W"}
	c.Profiles[0].Patterns[1].Name = "5w"
	c.Profiles[1].Name = "t150"
	c.Profiles[1].Patterns = nil
	c.Blocks[0].PitchMM = 99
	c.Blocks[1].Name = " B"
	c.Blocks[1].PalletTareG = -1
	c.MinBearingMM = 19
	_, err := office.Decide(office.New(), office.SetCatalogue{Catalogue: c})
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Invalid || f.Reason != office.ReasonBadCatalogue {
		t.Fatalf("got %v", err)
	}
	var got []string
	for _, p := range f.Places {
		got = append(got, p.Where)
	}
	want := []string{"profiles[0].height_mm", "profiles[0].mass_g_per_m", "profiles[0].wire_patterns", "min_bearing_mm",
		"profiles[0].wire_patterns[1]", "profiles[1].name", "profiles[1].wire_patterns",
		"blocks[0].pitch_mm", "blocks[1].name", "blocks[1].pallet_tare_g"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("places (-want +got):\n%s", d)
	}
}

// TestBasisNamesEveryMistake: a number that is left out, or that no beam can be
// made with, is named; with national factors of nothing every beam would pass.
func TestBasisNamesEveryMistake(t *testing.T) {
	c := officetest.Catalogue()
	c.Basis.National = strength.National{GammaC: 1.5}
	c.Basis.Wire.Fp01kMPa = 1800
	c.Basis.Concrete.KgPerM3, c.Basis.Concrete.Cement = math.NaN(), "X"
	c.Basis.Rules.ScreedMM = -1
	c.Basis.Wire.Name = ""
	c.Profiles[0].Patterns[0].Rows[0].HeightMM = 150
	c.Profiles[0].Patterns[1].Rows[1].Count = 0
	_, err := office.Decide(office.New(), office.SetCatalogue{Catalogue: c})
	want := []string{"basis.wire.fp01k_mpa", "basis.concrete.kg_per_m3", "basis.national.alpha_cc", "basis.national.alpha_ct", "basis.national.gamma_s",
		"basis.national.gamma_g", "basis.national.gamma_q", "basis.national.xi", "basis.rules.screed_mm", "basis.concrete.cement_class", "basis.wire.name",
		"profiles[0].patterns[0].rows[0].height_mm", "profiles[0].patterns[1].rows[1].count"}
	if d := cmp.Diff(want, placesOf(err)); d != "" {
		t.Errorf("places (-want +got):\n%s\n%v", d, err)
	}
	// What only a beam shows is found by one: more wires than the foot holds.
	c = officetest.Catalogue()
	c.Profiles[1].Patterns[1].Rows[0].Count = 40
	if _, err := office.Decide(office.New(), office.SetCatalogue{Catalogue: c}); err == nil || !strings.Contains(err.Error(), "no beam of profile T190 with wire pattern 7W can be computed") {
		t.Errorf("40 wires in a row: %v", err)
	}
	// Without a basis, nothing can be checked.
	c = officetest.Catalogue()
	c.Basis = nil
	if _, err := office.Decide(office.New(), office.SetCatalogue{Catalogue: c}); !slices.Equal(placesOf(err), []string{"basis"}) {
		t.Errorf("no basis: %v", err)
	}
}

func TestLongRefusalsAreCut(t *testing.T) {
	c := officetest.Catalogue()
	c.Blocks = nil
	for range 40 {
		c.Blocks = append(c.Blocks, office.Block{})
	}
	var f *fault.Error
	if _, err := office.Decide(office.New(), office.SetCatalogue{Catalogue: c}); !errors.As(err, &f) || len(f.Places) != 101 {
		t.Errorf("catalogue: %d places", len(f.Places))
	}
	var rows []office.Row
	for i := range 120 {
		r := row(i+2, "J1", "1", "01", i+1) // all the same room
		rows = append(rows, r)
	}
	_, err := office.Decide(withCatalogue(t), draft(rows...))
	if f := faultOf(t, err); len(f.Places) != 101 || f.Places[100].Problem != "and at least 19 more" {
		t.Errorf("rows: %d places, %s", len(f.Places), f.Sentence)
	}
}
