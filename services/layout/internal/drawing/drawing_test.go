package drawing

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/dxf"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/strength"
)

func tee(width, height, foot, web float64) strength.Outline {
	corner := func(x, y float64) strength.Point { return strength.Point{XMM: x, YMM: y} }
	return strength.Outline{corner(-width/2, 0), corner(width/2, 0), corner(width/2, foot), corner(web/2, foot), corner(web/2, height), corner(-web/2, height), corner(-web/2, foot), corner(-width/2, foot)}
}

func designer(t testing.TB) *design.Designer {
	t.Helper()
	d, err := design.New(design.Catalogue{
		Profiles: []design.Profile{{Name: "T150", Outline: tee(120, 150, 50, 60), Patterns: []design.Pattern{
			{Name: "5W", Rows: []strength.Row{{HeightMM: 25, Count: 4}, {HeightMM: 130, Count: 1}}, CentsPerM: 640}}}},
		Blocks: []design.Block{{Name: "K510", Profile: "T150", LengthMM: 215, PitchMM: 510, MassG: 13800, Cents: 95}},
		Wire: strength.Wire{Name: "Y1770C5.0", DiameterMM: 5, AreaMM2: 19.63, FpkMPa: 1770, Fp01kMPa: 1520, ModulusMPa: 205000,
			RelaxClass: 2, Rho1000: 2.5, StrainLimit: 0.0222},
		Concrete: design.Concrete{FckMPa: 50, Cement: strength.Rapid, Aggregate: 1, KgPerM3: 2500},
		Casting:  strength.Casting{BedStressMPa: 1300, TransferAgeDays: 3, HoursStressed: 72, IndentedWire: true, LifterInsetMM: 300, LiftFactor: 1.5},
		National: strength.Recommended,
		Trimmers: []design.Trimmer{
			{Name: "H100", Source: "an invented report", WidthMM: 140, SeatMM: 90, HangMM: 60, KgPerM: 14.5, CentsPerM: 4200, Loads: []design.TrimmerLoad{{ClearMM: 1000, DesignKNPerM: 38, ServiceKNPerM: 26}, {ClearMM: 2000, DesignKNPerM: 17, ServiceKNPerM: 11}}},
			{Name: "H140", Source: "an invented report", WidthMM: 140, SeatMM: 90, HangMM: 60, KgPerM: 24, CentsPerM: 6900, Loads: []design.TrimmerLoad{{ClearMM: 1500, DesignKNPerM: 52, ServiceKNPerM: 36}, {ClearMM: 3000, DesignKNPerM: 21, ServiceKNPerM: 14}}},
		},
		Rules: design.Rules{LengthStepMM: 50, MaxLengthMM: 8000, ShortestMM: 400, MostPerRow: 3, BearingMM: 90,
			LineLoadKNPerM: 3, HumidityPercent: 60, DesignHours: 500000, FinishAgeDays: 60, ScreedMM: 65, ScreedKNPerM3: 22},
	})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// laid is an invented floor: an L-shape, an opening, a slanted wall with a
// partition, and a room that cannot be laid.
func laid(t testing.TB) design.Plan {
	t.Helper()
	d := designer(t)
	points := func(v ...float64) []geometry.Point {
		var out []geometry.Point
		for i := 0; i < len(v); i += 2 {
			out = append(out, geometry.Point{X: v[i], Y: v[i+1]})
		}
		return out
	}
	loads := design.Loads{Category: "A", ImposedKNPerM2: 2, FinishesKNPerM2: 0.15}
	return d.Lay(design.Floor{Job: "J101", JobName: "Quillfeather Lane 3", Floor: "1", Rooms: []design.Room{
		{ID: "01", Name: "Parlour", Order: 1, Loads: loads, Shape: geometry.Polygon{Outline: points(0, 0, 5200, 0, 5200, 2400, 3100, 2400, 3100, 4300, 0, 4300)}},
		{ID: "02", Name: "Workshop", Order: 2, Loads: loads, Shape: geometry.Polygon{Outline: points(5500, 0, 9200, 0, 9200, 5000, 5500, 5000), Holes: [][]geometry.Point{points(6900, 1800, 7900, 1800, 7900, 2800, 6900, 2800)}}},
		{ID: "03", Name: "Store", Order: 3, Loads: loads, Shape: geometry.Polygon{Outline: points(0, 4600, 5200, 5300, 5200, 8200, 0, 8200)},
			Partitions: []arrange.Partition{{From: geometry.Point{X: 200, Y: 6500}, To: geometry.Point{X: 4800, Y: 6500}, NPerMM: 2}}},
		{ID: "04", Name: "Great hall", Order: 4, Loads: loads, Shape: geometry.Polygon{Outline: points(10200, 0, 19000, 0, 19000, 9500, 10200, 9500)}},
	}})
}

func words(s *Sheet) string {
	var all strings.Builder
	for _, p := range s.Pages {
		for _, item := range p.Items {
			if item.Text != nil {
				all.WriteString(item.Text.Value + "\n")
			}
		}
	}
	return all.String()
}

func TestSheet(t *testing.T) {
	north := 90.0
	plan := laid(t)
	s, err := New(plan, Options{Sheet: "A3", Revision: "2", Date: "2027-03-16", NorthDegrees: &north, Owner: "Thistlewick Yard", ApprovedBy: "Rosamund Tickpenny"})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Pages) != 1 || s.Pages[0].Scale != 100 || s.whole != s.Pages[0] {
		t.Errorf("%d pages, scale 1:%d", len(s.Pages), s.Pages[0].Scale)
	}
	for _, f := range faults(plan, s) {
		t.Error(f)
	}
	all := words(s)
	for _, text := range []string{"Beams and blocks, floor 1", "Quillfeather Lane 3", "NOT LAID", "licensed engineer", "1:100", "1-01 Parlour",
		"02  3.90", "2x 05+06  4.50", "Trimmer T1 ", ", laid double", "filler", "Set out", "N", "2027-03-16", "Thistlewick Yard", "Rosamund Tickpenny", "1/1", "0 to 5 m at 1:100"} {
		if !strings.Contains(all, text) {
			t.Errorf("the sheet does not say %q", text)
		}
	}
}

// A floor that cannot be read on one sheet goes on on others, with a key, and
// stays whole in the DXF file.
func TestLargeFloor(t *testing.T) {
	room := func(i, k int) design.Room {
		x, y := float64(i)*5000, float64(k)*4000
		return design.Room{ID: fmt.Sprintf("%02d", 10*k+i+1), Order: 10*k + i + 1, Loads: design.Loads{Category: "A", ImposedKNPerM2: 2, FinishesKNPerM2: 0.15},
			Shape: geometry.Polygon{Outline: []geometry.Point{{X: x, Y: y}, {X: x + 4700, Y: y}, {X: x + 4700, Y: y + 3700}, {X: x, Y: y + 3700}}}}
	}
	var rooms []design.Room
	for k := range 6 {
		for i := range 9 {
			rooms = append(rooms, room(i, k))
		}
	}
	plan := designer(t).Lay(design.Floor{Job: "J9", Floor: "2", Rooms: rooms})
	s, err := New(plan, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Pages[0].Kind != KeyPage || len(s.Pages) < 3 {
		t.Fatalf("%d pages, the first of kind %d", len(s.Pages), s.Pages[0].Kind)
	}
	drawn := map[string]int{}
	for _, p := range s.Pages {
		for _, id := range p.Rooms {
			drawn[id]++
		}
		if p.Kind == PlanPage && p.Scale > 100 {
			t.Errorf("a page is drawn 1:%d", p.Scale)
		}
	}
	for _, r := range rooms {
		if drawn[r.ID] != 1 {
			t.Errorf("room %s is drawn %d times", r.ID, drawn[r.ID])
		}
	}
	for _, f := range faults(plan, s) {
		t.Error(f)
	}
	if all := words(s); !strings.Contains(all, "Sheet 2") || !strings.Contains(all, "Sheet 3") {
		t.Error("the sheets are not named in the key")
	}
	if len(s.whole.Rooms) != len(rooms) || s.whole.Scale != 100 {
		t.Errorf("%d rooms in the DXF, 1:%d", len(s.whole.Rooms), s.whole.Scale)
	}
	a1, err := New(plan, Options{Sheet: "A1"})
	if err != nil || len(a1.Pages) >= len(s.Pages) {
		t.Errorf("%d pages of A1, %v", len(a1.Pages), err)
	}
}

func TestFormats(t *testing.T) {
	plan := laid(t)
	s, err := New(plan, Options{})
	if err != nil {
		t.Fatal(err)
	}
	var pdf, svg, picture, drawing bytes.Buffer
	for _, err := range []error{s.PDF(&pdf), s.SVG(&svg), s.PNG(&picture), s.DXF(&drawing)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.HasPrefix(pdf.Bytes(), []byte("%PDF")) || !bytes.Contains(svg.Bytes(), []byte("<svg")) || !bytes.HasPrefix(picture.Bytes(), []byte("\x89PNG")) {
		t.Error("a document is not what it should be")
	}
	// What is written in DXF is read again with the floor's own sizes.
	d, err := dxf.Read(drawing.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if d.Units != 4 || len(d.Bad) > 0 || len(d.Skipped) > 0 {
		t.Errorf("units %d, bad %v, skipped %v", d.Units, d.Bad, d.Skipped)
	}
	beams, room := 0, false
	for _, p := range d.Paths {
		switch p.Layer {
		case layerBeamOutlines:
			beams++
		case layerRoomOutlines:
			room = room || p.Closed && len(p.Points) == 6 && near(p.Points[0], dxf.Point{}) && near(p.Points[1], dxf.Point{X: 5200})
		case layerWalls:
			for _, q := range p.Points {
				if !onWall(plan, geometry.Point(q)) {
					t.Errorf("a wall is drawn at %v, where none is", q)
				}
			}
		}
	}
	want := 0
	for _, r := range plan.Rooms {
		want += len(r.Beams)
	}
	if !room || beams != want {
		t.Errorf("the L-shaped room is at its place and size: %v; %d of %d beams", room, beams, want)
	}
}

func near(a, b dxf.Point) bool { return math.Hypot(a.X-b.X, a.Y-b.Y) < 0.01 }

func onWall(plan design.Plan, p geometry.Point) bool {
	for _, r := range plan.Rooms {
		if geometry.DistanceToRing(r.Room.Shape.Outline, p) < 0.01 {
			return true
		}
	}
	return false
}

func TestWrongSheet(t *testing.T) {
	if _, err := New(laid(t), Options{Sheet: "A5"}); err == nil || !strings.Contains(err.Error(), "A3, A1") {
		t.Errorf("got %v", err)
	}
	if _, err := New(design.Plan{}, Options{}); err == nil {
		t.Error("a floor without rooms is drawn")
	}
}
