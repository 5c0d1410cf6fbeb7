package dxf

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"spanyard.example/services/layout/internal/sharedtest"
)

// file joins lines to a drawing of an entities section.
func file(lines ...string) []byte {
	head := []string{"0", "SECTION", "2", "ENTITIES"}
	tail := []string{"0", "ENDSEC", "0", "EOF"}
	return []byte(strings.Join(append(append(head, lines...), tail...), "\n"))
}

func only(t *testing.T, content []byte) Path {
	t.Helper()
	d, err := Read(content)
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Paths) != 1 || len(d.Bad) != 0 {
		t.Fatalf("paths %v, bad %v", d.Paths, d.Bad)
	}
	return d.Paths[0]
}

func near(t *testing.T, got, want Point) {
	t.Helper()
	if math.Hypot(got.X-want.X, got.Y-want.Y) > 1e-9 {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestBulge(t *testing.T) {
	// A bulge of 1 is a half circle to the left of the way from a to b.
	p := only(t, file("0", "LWPOLYLINE", "8", "R", "70", "1", "10", "0", "20", "0", "42", "1", "10", "2", "20", "0"))
	if !p.Closed || len(p.Points) < 20 {
		t.Fatalf("%+v", p)
	}
	for _, q := range p.Points {
		if math.Abs(math.Hypot(q.X-1, q.Y)-1) > 1e-9 || q.Y > 1e-9 {
			t.Errorf("%v does not lie on the lower half circle", q)
		}
	}
}

func TestInsert(t *testing.T) {
	d, err := Read([]byte(strings.Join([]string{
		"0", "SECTION", "2", "BLOCKS", "0", "BLOCK", "2", "B", "10", "1", "20", "1", "0", "LINE", "8", "0", "10", "1", "20", "1", "11", "3", "21", "1", "0", "ENDBLK", "0", "ENDSEC",
		"0", "SECTION", "2", "ENTITIES", "0", "INSERT", "8", "ROOMS", "2", "b", "10", "10", "20", "20", "41", "2", "42", "2", "50", "90", "70", "2", "44", "5", "0", "ENDSEC", "0", "EOF"}, "\n")))
	if err != nil || len(d.Paths) != 2 {
		t.Fatalf("%v, %v", d, err)
	}
	near(t, d.Paths[0].Points[0], Point{10, 20})
	near(t, d.Paths[0].Points[1], Point{10, 24})
	near(t, d.Paths[1].Points[0], Point{10, 25}) // the second column, along the turned row
	if d.Paths[0].Layer != "ROOMS" {
		t.Errorf("layer 0 of a block is %q, not the insert's", d.Paths[0].Layer)
	}
}

func TestSpline(t *testing.T) {
	// Degree 2 with doubled inner knots: straight from corner to corner.
	lines := []string{"0", "SPLINE", "8", "R", "70", "0", "71", "2"}
	for _, k := range []string{"0", "0", "0", "1", "1", "2", "2", "2"} {
		lines = append(lines, "40", k)
	}
	for _, c := range [][2]string{{"0", "0"}, {"1", "0"}, {"2", "0"}, {"2", "1"}, {"2", "2"}} {
		lines = append(lines, "10", c[0], "20", c[1])
	}
	for _, q := range only(t, file(lines...)).Points {
		if math.Min(math.Abs(q.Y), math.Abs(q.X-2)) > 1e-9 {
			t.Errorf("%v does not lie on the two straight pieces", q)
		}
	}
}

func TestWhatIsNoDrawing(t *testing.T) {
	for name, c := range map[string]struct {
		content []byte
		want    error
	}{
		"binary":  {append([]byte("AutoCAD Binary DXF\r\n\x1a\x00"), 1, 2, 3), ErrBinary},
		"prose":   {[]byte("Dear yard,\nplease find"), ErrNotDXF},
		"empty":   {nil, ErrNotDXF},
		"header":  {[]byte("0\nSECTION\n2\nHEADER\n0\nENDSEC\n0\nEOF\n"), ErrNothing},
		"garbage": {[]byte("0\nSECTION\n2\nENTITIES\nx\ny"), nil},
	} {
		_, err := Read(c.content)
		var syntax *SyntaxError
		if err == nil || c.want != nil && !errors.Is(err, c.want) || c.want == nil && !errors.As(err, &syntax) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestInsertsAreBounded(t *testing.T) {
	var b strings.Builder
	b.WriteString("0\nSECTION\n2\nBLOCKS\n")
	for i := range 12 {
		name := string(rune('A' + i))
		b.WriteString("0\nBLOCK\n2\n" + name + "\n")
		for range 10 {
			b.WriteString("0\nINSERT\n2\n" + string(rune('A'+i+1)) + "\n")
		}
		b.WriteString("0\nENDBLK\n")
	}
	b.WriteString("0\nBLOCK\n2\nM\n0\nLINE\n10\n0\n20\n0\n11\n1\n21\n1\n0\nENDBLK\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n0\nINSERT\n2\nA\n0\nENDSEC\n0\nEOF\n")
	began := time.Now()
	if _, err := Read([]byte(b.String())); !errors.Is(err, ErrTooLarge) {
		t.Errorf("a drawing of 10^12 lines: %v", err)
	}
	if took := time.Since(began); took > 20*time.Second {
		t.Errorf("refused after %v", took)
	}
}

// TestRealDrawings reads every public drawing: it gives paths, or is refused
// with words; none takes long or much memory.
func TestRealDrawings(t *testing.T) {
	folder := sharedtest.Dir(t, "floors", "dxf")
	index, err := os.Open(filepath.Join(folder, "INDEX.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = index.Close() }()
	rows, err := csv.NewReader(index).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	refused := map[string]error{"ez-bin-r2000.dxf": ErrBinary, "ver-sample-ac1009-binary.dxf": ErrBinary, "ver-r1.4-entities.dxf": ErrNotDXF}
	read := 0
	for _, row := range rows[1:] {
		content, err := os.ReadFile(filepath.Join(folder, row[0]))
		if err != nil {
			continue // a drawing that is kept back
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		began := time.Now()
		d, err := Read(content)
		if took := time.Since(began); took > 10*time.Second {
			t.Errorf("%s took %v", row[0], took)
		}
		if runtime.ReadMemStats(&after); after.TotalAlloc-before.TotalAlloc > 256<<20 {
			t.Errorf("%s: %d MB were asked for", row[0], (after.TotalAlloc-before.TotalAlloc)>>20)
		}
		var syntax *SyntaxError
		switch want := refused[row[0]]; {
		case want != nil && !errors.Is(err, want):
			t.Errorf("%s: %v, want %v", row[0], err, want)
		case want == nil && err != nil && !errors.As(err, &syntax):
			t.Errorf("%s: %v", row[0], err)
		case err == nil:
			read++
			if len(d.Paths)+len(d.Texts)+len(d.Skipped)+len(d.Bad) == 0 && !strings.Contains(row[0], "empty") && row[6] != "" {
				t.Logf("%s: nothing in it", row[0])
			}
		}
	}
	if read < 30 {
		t.Errorf("only %d drawings were read", read)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(file("0", "LWPOLYLINE", "8", "R", "70", "1", "10", "0", "20", "0", "42", "1", "10", "2", "20", "0"))
	f.Add(file("0", "SPLINE", "71", "2", "40", "0", "10", "0", "20", "0"))
	f.Add(file("0", "INSERT", "2", "A", "70", "9", "71", "9"))
	f.Add([]byte("0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n2\nA\n0\nINSERT\n2\nA\n0\nENDBLK\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n0\nINSERT\n2\nA\n0\nENDSEC\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		d, err := Read(content)
		if err != nil {
			return
		}
		for _, p := range d.Paths {
			for _, q := range p.Points {
				if math.IsNaN(q.X+q.Y) || math.IsInf(q.X+q.Y, 0) {
					t.Fatalf("%v is no point", q)
				}
			}
		}
	})
}
