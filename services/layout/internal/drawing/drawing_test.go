package drawing

import (
	"bytes"
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

// laid is an invented floor: an L-shape, an opening, a slanted wall with a
// partition, and a room that cannot be laid.
func laid(t testing.TB) design.Plan {
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
		Rules: design.Rules{LengthStepMM: 50, MaxLengthMM: 8000, ShortestMM: 400, MostPerRow: 3, BearingMM: 90, HeaderWidthMM: 140, HeaderBearingMM: 90, HeaderMaxMM: 3000,
			LineLoadKNPerM: 3, HumidityPercent: 60, DesignHours: 500000, FinishAgeDays: 60, ScreedMM: 65, ScreedKNPerM3: 22},
	})
	if err != nil {
		t.Fatal(err)
	}
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

func TestSheet(t *testing.T) {
	plan := laid(t)
	s, err := New(plan, Options{Sheet: "A3", Revision: "2", Date: "2027-03-16"})
	if err != nil {
		t.Fatal(err)
	}
	if s.Scale != 100 || s.Grouped {
		t.Errorf("scale 1:%d, grouped %v", s.Scale, s.Grouped)
	}
	marks, beams := 0, 0
	var all strings.Builder
	for _, item := range s.Items {
		if item.Text != nil {
			if item.Text.HeightMM < smallest {
				t.Errorf("%q is %.1f mm high", item.Text.Value, item.Text.HeightMM)
			}
			if item.Text.Layer == layerMarks {
				marks++
			}
			all.WriteString(item.Text.Value + "\n")
			continue
		}
		if item.Line.Layer == layerBeams {
			beams++
		}
		for _, p := range item.Line.Points {
			if p.X < 0 || p.Y < 0 || p.X > s.WidthMM || p.Y > s.HeightMM {
				t.Errorf("a line of %s leaves the sheet at (%.1f, %.1f)", item.Line.Layer, p.X, p.Y)
			}
		}
	}
	want := 0
	for _, r := range plan.Rooms {
		want += len(r.Beams)
	}
	if beams != want || marks < want/2 {
		t.Errorf("%d beams are drawn of %d, %d marks", beams, want, marks)
	}
	for _, text := range []string{"Laying plan, floor 1", "Quillfeather Lane 3", "NOT LAID", "licensed engineer", "1:100", "01 Parlour"} {
		if !strings.Contains(all.String(), text) {
			t.Errorf("the sheet does not say %q", text)
		}
	}
}

func TestFormats(t *testing.T) {
	s, err := New(laid(t), Options{})
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
	if d.Units != 4 || len(d.Bad) > 0 {
		t.Errorf("units %d, bad %v", d.Units, d.Bad)
	}
	room := false
	for _, p := range d.Paths {
		if p.Layer == layerWalls && p.Closed && len(p.Points) == 6 {
			room = room || near(geometry.Point(p.Points[0]), geometry.Point{X: 0, Y: 0}) && near(geometry.Point(p.Points[1]), geometry.Point{X: 5200, Y: 0})
		}
	}
	if !room {
		t.Error("the L-shaped room is not in the DXF at its place and size")
	}
}

func TestWrongSheet(t *testing.T) {
	if _, err := New(laid(t), Options{Sheet: "A5"}); err == nil || !strings.Contains(err.Error(), "A3, A1") {
		t.Errorf("got %v", err)
	}
	if _, err := New(design.Plan{}, Options{}); err == nil {
		t.Error("a floor without rooms is drawn")
	}
}
