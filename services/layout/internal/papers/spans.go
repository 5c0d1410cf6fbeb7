package papers

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"

	"github.com/tdewolff/canvas"
	"github.com/xuri/excelize/v2"

	"spanyard.example/services/layout/internal/design"
)

// Spans are the longest clear spans of a catalogue's beams by imposed load.
type Spans struct {
	LoadsKNPerM2 []float64
	Rows         []SpanRow
}

// SpanRow is one arrangement: a profile, wires, and beams side by side.
type SpanRow struct {
	Profile, Pattern string
	PerRow           int
	PitchMM          float64
	// ClearMM for each load; 0 where not even the shortest span carries it.
	ClearMM []float64
	// Governing check at each of those spans.
	Governing []string
}

// spanLoads are the imposed loads of the table, with partitions in them.
var spanLoads = []float64{1.5, 2, 2.5, 3, 4, 5}

// Tabulate works the table out, with the finishes that the catalogue's rules
// name and category A.
func Tabulate(c design.Catalogue) (Spans, error) {
	d, err := design.New(c)
	if err != nil {
		return Spans{}, err
	}
	s := Spans{LoadsKNPerM2: spanLoads}
	for _, b := range c.Blocks {
		for _, p := range c.Profiles {
			if p.Name != b.Profile {
				continue
			}
			for i, w := range p.Patterns {
				for perRow := 1; perRow <= c.Rules.MostPerRow; perRow++ {
					row := SpanRow{Profile: p.Name, Pattern: w.Name, PerRow: perRow, PitchMM: b.PitchMM}
					for _, q := range spanLoads {
						clear, governing := d.LongestSpan(b.Name, i, perRow, design.Loads{Category: "A", ImposedKNPerM2: q})
						row.ClearMM, row.Governing = append(row.ClearMM, clear), append(row.Governing, governing)
					}
					s.Rows = append(s.Rows, row)
				}
			}
		}
	}
	return s, nil
}

func (s Spans) heads() []string {
	h := []string{"profile", "wire_pattern", "beams_per_row", "pitch_mm"}
	for _, q := range s.LoadsKNPerM2 {
		h = append(h, fmt.Sprintf("clear_mm_at_%g_kn_m2", q))
	}
	return h
}

func (s Spans) cells() [][]any {
	var rows [][]any
	for _, r := range s.Rows {
		row := []any{r.Profile, r.Pattern, r.PerRow, int(r.PitchMM)}
		for _, m := range r.ClearMM {
			if m == 0 {
				row = append(row, "-")
				continue
			}
			row = append(row, int(m))
		}
		rows = append(rows, row)
	}
	return rows
}

// CSV writes the table.
func (s Spans) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write(s.heads()); err != nil {
		return err
	}
	for _, r := range s.cells() {
		if err := out.Write(texts(r)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// XLSX writes the table as a workbook.
func (s Spans) XLSX(w io.Writer) error {
	book := excelize.NewFile()
	defer func() { _ = book.Close() }()
	if err := book.SetSheetName("Sheet1", "Spans"); err != nil {
		return err
	}
	if err := fill(book, "Spans", s.heads(), s.cells()); err != nil {
		return err
	}
	return book.Write(w)
}

// PDF writes table and chart.
func (s Spans) PDF(w io.Writer) error {
	p, err := newPaper("Longest clear spans", "For choosing beams only: every beam is checked in its place, and a licensed engineer checks and signs under the local code.")
	if err != nil {
		return err
	}
	p.paragraph("Longest clear span in mm by imposed load (with allowance for partitions), finishes as in the catalogue's rules, every check of EN 1992-1-1 passed.")
	columns := []column{{"profile", 22, false}, {"wires", 18, false}, {"a row", 14, true}, {"pitch mm", 20, true}}
	for _, q := range s.LoadsKNPerM2 {
		columns = append(columns, column{fmt.Sprintf("%g kN/m2", q), 16.5, true})
	}
	p.table(columns, all(s.cells()))
	p.chart(s)
	return p.write(w)
}

// dashes tell the lines of the chart apart without colour.
var dashes = [][]float64{nil, {4, 2}, {1, 1.5}, {6, 2, 1, 2}, {3, 1}, {8, 3}}

// chart draws span over load, a line for each single-beam arrangement, named
// at its end.
func (p *paper) chart(s Spans) {
	const width, height = 120.0, 80.0
	p.room((height + 18) / row)
	p.heading("Single beams: clear span in m over imposed load in kN/m2")
	x0, y0 := left+12.0, p.y-height
	longest := 1.0
	for _, r := range s.Rows {
		for _, m := range r.ClearMM {
			longest = math.Max(longest, math.Ceil(m/1000))
		}
	}
	lowLoad, highLoad := s.LoadsKNPerM2[0], s.LoadsKNPerM2[len(s.LoadsKNPerM2)-1]
	at := func(load, mm float64) (float64, float64) {
		return x0 + (load-lowLoad)/(highLoad-lowLoad)*width, y0 + mm/1000/longest*height
	}
	for m := 0.0; m <= longest; m++ {
		_, y := at(lowLoad, m*1000)
		p.rule(x0, y, x0+width, y, 0.1)
		p.put(x0-8, y-1, body, false, fmt.Sprintf("%g m", m))
	}
	for _, q := range s.LoadsKNPerM2 {
		x, _ := at(q, 0)
		p.rule(x, y0, x, y0+height, 0.1)
		p.put(x-2, y0-4, body, false, fmt.Sprintf("%g", q))
	}
	line, lastY := 0, math.Inf(1)
	for _, r := range s.Rows {
		if r.PerRow != 1 {
			continue
		}
		path := &canvas.Path{}
		var y float64
		for i, q := range s.LoadsKNPerM2 {
			var x float64
			x, y = at(q, r.ClearMM[i])
			if i == 0 {
				path.MoveTo(x, y)
			} else {
				path.LineTo(x, y)
			}
		}
		p.ctx.SetDashes(0, dashes[line%len(dashes)]...)
		p.stroke(path, 0.5)
		p.ctx.SetDashes(0)
		if math.Abs(y-lastY) < 3.2 {
			y = lastY + 3.4
		}
		lastY = y
		p.put(x0+width+3, y-1, body, false, r.Profile+" "+r.Pattern)
		line++
	}
	p.y = y0 - 10
}
