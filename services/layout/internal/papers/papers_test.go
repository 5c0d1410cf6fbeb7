package papers

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/xuri/excelize/v2"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s is %g, want %g", what, got, want)
	}
}

// Plain arithmetic with constants of common practice: 20 m2 of 65 mm.
func TestScreed(t *testing.T) {
	s := ScreedOf(20, 65)
	near(t, "volume", s.VolumeM3, 1.30, 1e-9)
	near(t, "cement", s.CementKg, 608.4, 0.6)
	near(t, "sand", s.SandKg, 2028, 2)
	if s.CementBags != 25 {
		t.Errorf("%d bags", s.CementBags)
	}
}

func catalogue(t testing.TB) design.Catalogue {
	t.Helper()
	text, err := os.ReadFile("../../cmd/floorbench/testdata/catalogue.json")
	if err != nil {
		t.Fatal(err)
	}
	var c design.Catalogue
	if err := json.Unmarshal(text, &c); err != nil {
		t.Fatal(err)
	}
	return c
}

func plan(t testing.TB, c design.Catalogue) design.Plan {
	t.Helper()
	d, err := design.New(c)
	if err != nil {
		t.Fatal(err)
	}
	room := func(id string, x, w, h float64) design.Room {
		return design.Room{ID: id, Shape: geometry.Polygon{Outline: []geometry.Point{{X: x, Y: 0}, {X: x + w, Y: 0}, {X: x + w, Y: h}, {X: x, Y: h}}},
			Loads: design.Loads{Category: "A", ImposedKNPerM2: 2, FinishesKNPerM2: 0.15}}
	}
	return d.Lay(design.Floor{Job: "J1", Floor: "1", Rooms: []design.Room{room("01", 0, 3600, 4000), room("02", 4000, 5000, 6200), room("03", 10000, 11000, 12000)}})
}

func TestQuantitiesAddUp(t *testing.T) {
	c := catalogue(t)
	p := plan(t, c)
	q := Count("demo", p, c)
	beams, metres, mass, blocks := 0, 0.0, int64(0), 0
	for _, r := range p.Rooms {
		for _, b := range r.Beams {
			beams, metres, mass = beams+1, metres+float64(b.LengthMM)/1000, mass+b.MassG
		}
		for _, b := range r.Layout.Bays {
			blocks += b.Whole + b.Cut
		}
	}
	count, kindMass := 0, int64(0)
	for _, k := range q.Kinds {
		count, kindMass = count+k.Count, kindMass+k.MassG
	}
	for _, b := range q.Blocks {
		blocks -= b.Whole + b.Cut
	}
	if count != beams || kindMass != mass || blocks != 0 || len(q.Beams) != beams || len(q.Refused) != 1 {
		t.Errorf("%d of %d beams, %d of %d g, %d blocks missing, refused %v", count, beams, kindMass, mass, blocks, q.Refused)
	}
	// 19.63 mm2 of 7.81 kg/dm3 (EN 10138) are 153.3 g/m.
	near(t, "wire", q.WireKg, q.WireM*0.1533, q.WireM*0.0001)

	var sheet, book bytes.Buffer
	if err := q.CSV(&sheet); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&sheet).ReadAll()
	if err != nil || len(rows) != beams+1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	sum := 0.0
	for _, r := range rows[1:] {
		mm, err := strconv.ParseFloat(r[4], 64)
		if err != nil {
			t.Fatal(err)
		}
		sum += mm / 1000
	}
	near(t, "metres in the CSV", sum, metres, 1e-6)
	if err := q.XLSX(&book); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&book)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	again, err := f.GetRows("Beams")
	if err != nil || len(again) != beams+1 || again[1][0] != "1-01-01" {
		t.Errorf("workbook: %d rows, %v", len(again), err)
	}
}

func TestPDFs(t *testing.T) {
	c := catalogue(t)
	p := plan(t, c)
	spans, err := Tabulate(c)
	if err != nil {
		t.Fatal(err)
	}
	q := Count("demo", p, c)
	for name, write := range map[string]func(*bytes.Buffer) error{
		"calculations": func(b *bytes.Buffer) error { return Calculations(b, "demo", p.Calculations) },
		"quantities":   func(b *bytes.Buffer) error { return q.PDF(b) },
		"spans":        func(b *bytes.Buffer) error { return spans.PDF(b) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil || !bytes.HasPrefix(b.Bytes(), []byte("%PDF")) || b.Len() < 5000 {
			t.Errorf("%s: %d bytes, %v", name, b.Len(), err)
		}
	}
}

// A longer span needs a lighter load, and more beams carry farther; each span
// of the table passes, 20 mm more does not.
func TestSpans(t *testing.T) {
	c := catalogue(t)
	spans, err := Tabulate(c)
	if err != nil {
		t.Fatal(err)
	}
	d, err := design.New(c)
	if err != nil {
		t.Fatal(err)
	}
	last := map[string][]float64{}
	for _, r := range spans.Rows {
		for i, mm := range r.ClearMM {
			if i > 0 && mm > r.ClearMM[i-1] {
				t.Errorf("%s %s x%d carries %g mm at the heavier load, %g at the lighter", r.Profile, r.Pattern, r.PerRow, mm, r.ClearMM[i-1])
			}
			if before := last[r.Profile+r.Pattern]; before != nil && r.PerRow > 1 && mm < before[i] {
				t.Errorf("%s %s x%d carries less far than one beam fewer", r.Profile, r.Pattern, r.PerRow)
			}
			if mm == 0 {
				t.Errorf("%s %s x%d carries nothing", r.Profile, r.Pattern, r.PerRow)
			}
			laid := func(clear float64) bool {
				along := 0.0
				room := design.Room{ID: "1", Profile: r.Profile, Pattern: r.Pattern, PerRow: r.PerRow, DirectionDegrees: &along,
					Loads: design.Loads{Category: "A", ImposedKNPerM2: spans.LoadsKNPerM2[i]},
					Shape: geometry.Polygon{Outline: []geometry.Point{{}, {X: clear}, {X: clear, Y: 900}, {Y: 900}}}}
				return d.Lay(design.Floor{Rooms: []design.Room{room}}).Rooms[0].Refused == nil
			}
			if !laid(mm) || mm < 7000 && laid(mm+20) {
				t.Errorf("%s %s x%d: %g mm is not the longest span", r.Profile, r.Pattern, r.PerRow, mm)
			}
		}
		last[r.Profile+r.Pattern] = r.ClearMM
	}
}
