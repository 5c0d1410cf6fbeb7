package design

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/sharedtest"
	"spanyard.example/services/layout/internal/strength"
)

func tee(width, height, foot, web float64) strength.Outline {
	corner := func(x, y float64) strength.Point { return strength.Point{XMM: x, YMM: y} }
	return strength.Outline{corner(-width/2, 0), corner(width/2, 0), corner(width/2, foot), corner(web/2, foot), corner(web/2, height), corner(-web/2, height), corner(-web/2, foot), corner(-width/2, foot)}
}

func wires(heightCount ...int) []strength.Row {
	var rows []strength.Row
	for i := 0; i < len(heightCount); i += 2 {
		rows = append(rows, strength.Row{HeightMM: float64(heightCount[i]), Count: heightCount[i+1]})
	}
	return rows
}

// invented is a catalogue of invented profiles.
func invented() Catalogue {
	return Catalogue{
		Profiles: []Profile{
			{Name: "T150", Outline: tee(120, 150, 50, 60), Patterns: []Pattern{{"5W", wires(25, 4, 130, 1), 640}, {"6W", wires(25, 4, 45, 1, 130, 1), 690}}},
			{Name: "T190", Outline: tee(140, 190, 60, 70), Patterns: []Pattern{{"6W", wires(25, 4, 50, 1, 165, 1), 900}, {"7W", wires(25, 4, 50, 2, 165, 1), 980}}},
		},
		Blocks: []Block{{"K510", "T150", 215, 510, 13800, 95}, {"K530", "T190", 215, 530, 16200, 110}},
		Wire: strength.Wire{Name: "Y1770C5.0", DiameterMM: 5, AreaMM2: 19.63, FpkMPa: 1770, Fp01kMPa: 1520, ModulusMPa: 205000,
			RelaxClass: 2, Rho1000: 2.5, StrainLimit: 0.0222},
		Concrete: Concrete{FckMPa: 50, Cement: strength.Rapid, Aggregate: 1, KgPerM3: 2500},
		Casting:  strength.Casting{BedStressMPa: 1300, TransferAgeDays: 3, HoursStressed: 72, IndentedWire: true, LifterInsetMM: 300, LiftFactor: 1.5},
		National: strength.Recommended,
		Trimmers: []Trimmer{
			{Name: "H100", Source: "an invented report", WidthMM: 140, SeatMM: 90, HangMM: 60, KgPerM: 14.5, CentsPerM: 4200, Loads: []TrimmerLoad{{ClearMM: 1000, DesignKNPerM: 38, ServiceKNPerM: 26}, {ClearMM: 2000, DesignKNPerM: 17, ServiceKNPerM: 11}}},
			{Name: "H140", Source: "an invented report", WidthMM: 140, SeatMM: 90, HangMM: 60, KgPerM: 24, CentsPerM: 6900, Loads: []TrimmerLoad{{ClearMM: 1500, DesignKNPerM: 52, ServiceKNPerM: 36}, {ClearMM: 3000, DesignKNPerM: 21, ServiceKNPerM: 14}}},
		},
		Rules: Rules{LengthStepMM: 50, MaxLengthMM: 8000, ShortestMM: 400, MostPerRow: 3, BearingMM: 90,
			LineLoadKNPerM: 3, HumidityPercent: 60, DesignHours: 500000, FinishAgeDays: 60, ScreedMM: 65, ScreedKNPerM3: 22},
	}
}

func designer(t testing.TB) *Designer {
	t.Helper()
	d, err := New(invented())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// realFloors reads the public floors.
func realFloors(t testing.TB) []Floor {
	t.Helper()
	f, err := os.Open(filepath.Join(sharedtest.Dir(t, "floors"), "plans.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	floors, err := ReadFloors(bufio.NewReader(f), Loads{Category: "A", ImposedKNPerM2: 2, FinishesKNPerM2: 0.15})
	if err != nil {
		t.Fatal(err)
	}
	return floors
}

// TestRealFloors lays every public floor: each room is laid within the rules,
// or refused with words that help.
func TestRealFloors(t *testing.T) {
	d := designer(t)
	laid, refused := 0, map[string]int{}
	for _, f := range realFloors(t) {
		plan := d.Lay(f)
		var quads []geometry.Quad
		for _, r := range plan.Rooms {
			if r.Refused != nil {
				refused[r.Refused.Code()]++
				if r.Refused.Reason == "" || r.Refused.Help == "" {
					t.Errorf("%s %s is refused without words: %+v", f.Job, r.Room.ID, r.Refused)
				}
				continue
			}
			laid++
			for _, v := range append(Violations(invented(), r), Uncovered(invented(), r)...) {
				t.Errorf("%s room %s: %s", f.Job, r.Room.ID, v)
			}
			for _, b := range r.Beams {
				quads = append(quads, b.Quad)
			}
		}
		for i, a := range quads {
			for _, b := range quads[i+1:] {
				if math.Hypot(a[0].X-b[0].X, a[0].Y-b[0].Y) < 20000 && geometry.Overlap(a, b) > 1 {
					t.Fatalf("%s: two beams lie %.0f mm in each other", f.Job, geometry.Overlap(a, b))
				}
			}
		}
	}
	t.Logf("%d rooms laid, refused: %v", laid, refused)
	if laid < 3000 {
		t.Errorf("only %d rooms were laid", laid)
	}
}

func TestMarksAndCalculations(t *testing.T) {
	room := func(id string, x, w, h float64) Room {
		return Room{ID: id, Shape: geometry.Polygon{Outline: []geometry.Point{{X: x, Y: 0}, {X: x + w, Y: 0}, {X: x + w, Y: h}, {X: x, Y: h}}}, Loads: Loads{"A", 2, 0.15}}
	}
	f := Floor{Job: "J1", Floor: "1", Rooms: []Room{room("01", 0, 3000, 3600), room("02", 3300, 4000, 3000), room("03", 8000, 11000, 12000)}}
	plan := designer(t).Lay(f)
	if plan.Rooms[2].Refused == nil || !strings.Contains(plan.Rooms[2].Refused.Error(), "longer than") {
		t.Errorf("a room of 11 m by 12 m: %v", plan.Rooms[2].Refused)
	}
	if first := plan.Rooms[0].Beams[0]; first.Mark != "1-01-01" || first.LengthMM != 3800 || first.MassG != 114000 {
		t.Errorf("first beam: %+v", first)
	}
	for _, r := range plan.Rooms[:2] {
		for _, b := range r.Beams {
			c := plan.Calculations[b.Type]
			if !c.Passes || c.Governing.Fullness < b.Fullness-1e-9 {
				t.Errorf("%s is %.3f full, its calculation %.3f", b.Mark, b.Fullness, c.Governing.Fullness)
			}
		}
	}
	// Editing one room leaves the marks of the others as they are.
	f.Rooms[0] = room("01", 0, 3000, 4600)
	again := designer(t).Lay(f)
	for i, b := range plan.Rooms[1].Beams {
		if again.Rooms[1].Beams[i].Mark != b.Mark || again.Rooms[1].Beams[i].LengthMM != b.LengthMM {
			t.Errorf("%s became %+v", b.Mark, again.Rooms[1].Beams[i])
		}
	}
}

func TestCatalogueIsChecked(t *testing.T) {
	for name, spoil := range map[string]func(*Catalogue){
		"profiles[0].outline": func(c *Catalogue) { c.Profiles[0].Outline = c.Profiles[0].Outline[:2] },
		"profiles[1].name":    func(c *Catalogue) { c.Profiles[1].Name = "T150" },
		"blocks[0].profile":   func(c *Catalogue) { c.Blocks[0].Profile = "none" },
		"rules.bearing_mm":    func(c *Catalogue) { c.Rules.BearingMM = math.NaN() },
	} {
		c := invented()
		spoil(&c)
		if _, err := New(c); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// BenchmarkThousandRooms lays and checks 1,000 rooms of the public floors from
// nothing.
func BenchmarkThousandRooms(b *testing.B) {
	var floors []Floor
	rooms := 0
	for _, f := range realFloors(b) {
		if rooms+len(f.Rooms) <= 1000 {
			rooms += len(f.Rooms)
			floors = append(floors, f)
		}
	}
	for b.Loop() {
		d := designer(b)
		for _, f := range floors {
			d.Lay(f)
		}
	}
	b.ReportMetric(float64(rooms)/1000, "kilorooms/op")
}
