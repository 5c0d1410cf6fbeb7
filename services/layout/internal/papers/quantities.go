package papers

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"

	"github.com/xuri/excelize/v2"

	"spanyard.example/services/layout/internal/design"
)

// Quantities of a laid floor.
type Quantities struct {
	Title string
	Beams []design.Beam
	// Room of each beam, in the same order.
	Rooms    []string
	Kinds    []BeamKind
	Blocks   []BlockCount
	Trimmers []design.TrimmerPiece
	Refused  []string
	Screed   Screed
	WireM    float64
	WireKg   float64
}

// BeamKind is all beams of one profile, pattern and length.
type BeamKind struct {
	Profile, Pattern string
	LengthMM, Count  int
	MassG            int64
}

// BlockCount is the blocks of a room.
type BlockCount struct {
	Room, Kind string
	Whole, Cut int
	FillM2     float64
}

// Screed is cement and sand for a finish of 1:3 by volume. Common practice:
// loose volume 1.30 of the finished one, cement 1440 kg/m3 in bags of 25 kg,
// sand 1600 kg/m3.
type Screed struct {
	AreaM2, VolumeM3 float64
	CementKg, SandKg float64
	CementBags       int
}

// ScreedOf works a screed of 1:3 out.
func ScreedOf(areaM2, thicknessMM float64) Screed {
	s := Screed{AreaM2: areaM2, VolumeM3: areaM2 * thicknessMM / 1000}
	dry := s.VolumeM3 * 1.30
	s.CementKg, s.SandKg = dry/4*1440, dry*3/4*1600
	s.CementBags = int(math.Ceil(s.CementKg / 25))
	return s
}

// steelKgPerDM3 is the density of prestressing steel (EN 10138).
const steelKgPerDM3 = 7.81

// Count works the quantities of a plan out.
func Count(title string, plan design.Plan, c design.Catalogue) Quantities {
	q := Quantities{Title: title}
	kinds := map[BeamKind]*BeamKind{}
	area := 0.0
	for _, r := range plan.Rooms {
		if r.Refused != nil {
			q.Refused = append(q.Refused, fmt.Sprintf("%s %s: %s %s", r.Room.ID, r.Room.Name, r.Refused.Reason, r.Refused.Help))
			continue
		}
		area += r.Room.Shape.Area() / 1e6
		for _, b := range r.Beams {
			q.Beams, q.Rooms = append(q.Beams, b), append(q.Rooms, r.Room.ID)
			key := BeamKind{Profile: b.Profile, Pattern: b.Pattern, LengthMM: b.LengthMM}
			if kinds[key] == nil {
				k := key
				kinds[key] = &k
			}
			kinds[key].Count++
			kinds[key].MassG += b.MassG
			q.WireM += float64(b.LengthMM) / 1000 * float64(wires(c, b))
		}
		n := BlockCount{Room: r.Room.ID, Kind: r.Kit.Block, FillM2: r.Layout.FillMM2 / 1e6}
		for _, bay := range r.Layout.Bays {
			n.Whole, n.Cut = n.Whole+bay.Whole, n.Cut+bay.Cut
		}
		q.Trimmers = append(q.Trimmers, r.Trimmers...)
		q.Blocks = append(q.Blocks, n)
	}
	for _, k := range kinds {
		q.Kinds = append(q.Kinds, *k)
	}
	slices.SortFunc(q.Kinds, func(a, b BeamKind) int {
		return cmp.Or(cmp.Compare(a.Profile, b.Profile), cmp.Compare(a.Pattern, b.Pattern), cmp.Compare(a.LengthMM, b.LengthMM))
	})
	q.WireKg = q.WireM * c.Wire.AreaMM2 * steelKgPerDM3 / 1000
	q.Screed = ScreedOf(area, c.Rules.ScreedMM)
	return q
}

func wires(c design.Catalogue, b design.Beam) int {
	n := 0
	for _, p := range c.Profiles {
		for _, w := range p.Patterns {
			if p.Name == b.Profile && w.Name == b.Pattern {
				for _, r := range w.Rows {
					n += r.Count
				}
			}
		}
	}
	return n
}

// schedule is the beam schedule as a table.
func (q Quantities) schedule() (heads []string, rows [][]any) {
	heads = []string{"mark", "room", "profile", "wire_pattern", "length_mm", "clear_span_mm", "beams_per_row", "mass_kg", "fullness_percent", "governing_check"}
	for i, b := range q.Beams {
		rows = append(rows, []any{b.Mark, q.Rooms[i], b.Profile, b.Pattern, b.LengthMM, int(math.Round(b.ClearMM)), b.PerRow,
			float64(b.MassG) / 1000, math.Round(1000*b.Fullness) / 10, b.Governing})
	}
	return heads, rows
}

// totals is everything but the single beams.
func (q Quantities) totals() (heads []string, rows [][]any) {
	heads = []string{"what", "of", "count", "metres", "kg", "note"}
	metres, mass := 0.0, 0.0
	for _, k := range q.Kinds {
		m, kg := float64(k.Count*k.LengthMM)/1000, float64(k.MassG)/1000
		metres, mass = metres+m, mass+kg
		rows = append(rows, []any{"beams " + k.Profile + " " + k.Pattern, fmt.Sprintf("%d mm", k.LengthMM), k.Count, m, kg, ""})
	}
	rows = append(rows, []any{"beams in all", "", len(q.Beams), metres, mass, ""})
	for _, b := range q.Blocks {
		note := fmt.Sprintf("%d of them cut", b.Cut)
		if b.FillM2 > 0.005 {
			note += fmt.Sprintf("; %.2f m2 to be made good on site", b.FillM2)
		}
		rows = append(rows, []any{"blocks " + b.Kind, "room " + b.Room, b.Whole + b.Cut, "", "", note})
	}
	for _, t := range q.Trimmers {
		rows = append(rows, []any{"trimmer " + t.Name, t.Mark, 1, float64(t.LengthMM) / 1000, float64(t.MassG) / 1000,
			fmt.Sprintf("%.0f %% full: %s", 100*t.Fullness, t.Governing)})
	}
	s := q.Screed
	return heads, append(rows,
		[]any{"screed 1:3", fmt.Sprintf("%.1f m2", s.AreaM2), "", "", "", fmt.Sprintf("%.2f m3 finished", s.VolumeM3)},
		[]any{"cement for it", "25 kg bags", s.CementBags, "", math.Round(s.CementKg), ""},
		[]any{"sand for it", "", "", "", math.Round(s.SandKg), ""},
		[]any{"wire in the beams", "", "", math.Round(q.WireM), math.Round(q.WireKg*10) / 10, "without what is cut off on the bed"})
}

// CSV writes the beam schedule.
func (q Quantities) CSV(w io.Writer) error {
	heads, rows := q.schedule()
	out := csv.NewWriter(w)
	if err := out.Write(heads); err != nil {
		return err
	}
	for _, r := range rows {
		if err := out.Write(texts(r)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func texts(cells []any) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		if f, ok := c.(float64); ok {
			out[i] = fmt.Sprintf("%.1f", f)
			continue
		}
		out[i] = fmt.Sprint(c)
	}
	return out
}

// XLSX writes beam schedule, quantities and refused rooms as a workbook.
func (q Quantities) XLSX(w io.Writer) error {
	book := excelize.NewFile()
	defer func() { _ = book.Close() }()
	heads, rows := q.schedule()
	if err := book.SetSheetName("Sheet1", "Beams"); err != nil {
		return err
	}
	if err := fill(book, "Beams", heads, rows); err != nil {
		return err
	}
	heads, rows = q.totals()
	if err := addSheet(book, "Quantities", heads, rows); err != nil {
		return err
	}
	var refused [][]any
	for _, r := range q.Refused {
		refused = append(refused, []any{r})
	}
	if err := addSheet(book, "Not laid", []string{"room, why, and what would make it possible"}, refused); err != nil {
		return err
	}
	return book.Write(w)
}

func addSheet(book *excelize.File, name string, heads []string, rows [][]any) error {
	if _, err := book.NewSheet(name); err != nil {
		return err
	}
	return fill(book, name, heads, rows)
}

func fill(book *excelize.File, sheet string, heads []string, rows [][]any) error {
	first := make([]any, len(heads))
	for i, h := range heads {
		first[i] = h
	}
	for i, r := range append([][]any{first}, rows...) {
		cell, err := excelize.CoordinatesToCellName(1, i+1)
		if err != nil {
			return err
		}
		if err := book.SetSheetRow(sheet, cell, &r); err != nil {
			return err
		}
	}
	return nil
}

// PDF writes quantities and beam schedule on paper.
func (q Quantities) PDF(w io.Writer) error {
	p, err := newPaper("Quantities: "+q.Title, "Lengths and masses are computed. Beams are lifted near both ends, right way up; nobody stands under a lift. The laying plan has to be checked and signed by a licensed engineer.")
	if err != nil {
		return err
	}
	_, rows := q.totals()
	p.heading("Quantities")
	p.table([]column{{"what", 42, false}, {"of", 24, false}, {"count", 18, true}, {"metres", 20, true}, {"kg", 22, true}, {"note", 52, false}}, all(rows))
	if len(q.Refused) > 0 {
		p.heading("Rooms that are not laid")
		for _, r := range q.Refused {
			p.paragraph("- " + r)
		}
	}
	_, rows = q.schedule()
	p.heading("Beam schedule")
	p.table([]column{{"mark", 24, false}, {"room", 16, false}, {"profile", 16, false}, {"wires", 14, false}, {"length mm", 18, true}, {"clear mm", 18, true}, {"a row", 12, true}, {"kg", 16, true}, {"full %", 14, true}, {"governed by", 30, false}}, all(rows))
	return p.write(w)
}

func all(rows [][]any) [][]string {
	out := make([][]string, len(rows))
	for i, r := range rows {
		out[i] = texts(r)
	}
	return out
}
