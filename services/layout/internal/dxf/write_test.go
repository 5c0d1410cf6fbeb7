package dxf

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// sample has one of everything that is written.
var sample = Written{
	Layers: []Layer{{Name: "AXES", Type: "DASHED"}, {Name: "HIDDEN", Off: true}},
	Types:  []LineType{{Name: "DASHED", Shown: "__ __", PartsMM: []float64{200, 100}}},
	Strokes: []Stroke{
		{Layer: "WALLS", Points: []Point{{0, 0}, {5200, 0}, {5200, 2400}, {0, 2400}}, Closed: true, Width: 70},
		{Layer: "AXES", Points: []Point{{-100, 1200}, {5300, 1200.5}}, Type: "DASHED"},
		{Layer: "AXES", Points: []Point{{0, 0}, {10, 20}, {30, 20}}},
	},
	Rounds: []Round{
		{Layer: "ORDER", Centre: Point{2600, 1200}, Radius: 300},
		{Layer: "ORDER", Centre: Point{-50, 80}, Radius: 25, FromDegrees: 90, ToDegrees: 270},
	},
	Texts: []WrittenText{
		{Text: Text{Value: "1-03-07  4.20", Layer: "MARKS", At: Point{12, -3.25}}, Height: 250, Degrees: 90},
		{Text: Text{Value: "Küche é 100 %", Layer: "MARKS", At: Point{700, 800}}, Height: 250, Width: 1000},
	},
}

func written(t testing.TB, d Written) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestWrittenIsReadAgain(t *testing.T) {
	d, err := Read(written(t, sample))
	if err != nil {
		t.Fatal(err)
	}
	if d.Version != "AC1009" || d.Units != 4 || len(d.Bad) != 0 || len(d.Skipped) != 0 {
		t.Errorf("version %q, units %d, bad %v, skipped %v", d.Version, d.Units, d.Bad, d.Skipped)
	}
	var kinds []string
	for _, p := range d.Paths {
		kinds = append(kinds, p.Kind+" "+p.Layer)
	}
	want := []string{"POLYLINE WALLS", "LINE AXES", "POLYLINE AXES", "CIRCLE ORDER", "ARC ORDER"}
	if diff := cmp.Diff(want, kinds); diff != "" {
		t.Fatal(diff)
	}
	for i, s := range sample.Strokes {
		if diff := cmp.Diff(s.Points, d.Paths[i].Points, cmpopts.EquateApprox(0, 1e-4)); diff != "" || d.Paths[i].Closed != s.Closed {
			t.Errorf("stroke %d, closed %v: %s", i, d.Paths[i].Closed, diff)
		}
	}
	for i, r := range sample.Rounds {
		p := d.Paths[len(sample.Strokes)+i]
		for _, q := range p.Points {
			if off := math.Hypot(q.X-r.Centre.X, q.Y-r.Centre.Y) - r.Radius; math.Abs(off) > 1e-3 || i == 1 && q.X > r.Centre.X+1e-3 {
				t.Errorf("%v does not lie on round %d", q, i)
			}
		}
		if p.Closed != (i == 0) {
			t.Errorf("round %d: closed %v", i, p.Closed)
		}
	}
	for i, text := range sample.Texts {
		want := text.Text // a fitted text is placed at its middle
		want.At.X += text.Width / 2
		if d.Texts[i] != want {
			t.Errorf("text %+v, want %+v", d.Texts[i], want)
		}
	}
}

// Any polygons come back as they were, to the tenth of a micrometre that is
// written.
func TestAnyStrokesAreReadAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-1e6, 1e6)
		var d Written
		for range rapid.IntRange(1, 5).Draw(t, "strokes") {
			s := Stroke{Layer: rapid.StringMatching(`[A-Z][A-Z0-9_-]{0,8}`).Draw(t, "layer"), Closed: rapid.Bool().Draw(t, "closed"), Width: rapid.SampledFrom([]float64{0, 35}).Draw(t, "width")}
			for range rapid.IntRange(2, 6).Draw(t, "points") {
				s.Points = append(s.Points, Point{number.Draw(t, "x"), number.Draw(t, "y")})
			}
			d.Strokes = append(d.Strokes, s)
		}
		var b bytes.Buffer
		if err := Write(&b, d); err != nil {
			t.Fatal(err)
		}
		again, err := Read(b.Bytes())
		if err != nil || len(again.Paths) != len(d.Strokes) {
			t.Fatalf("%v, %v", again, err)
		}
		for i, s := range d.Strokes {
			p := again.Paths[i]
			if p.Layer != s.Layer || p.Closed != s.Closed || !cmp.Equal(p.Points, s.Points, cmpopts.EquateApprox(0, 1e-4)) {
				t.Fatalf("%+v became %+v", s, p)
			}
		}
	})
}

func TestNothingIsWritten(t *testing.T) {
	d, err := Read(written(t, Written{}))
	if err != nil || len(d.Paths)+len(d.Texts) != 0 {
		t.Errorf("%v, %v", d, err)
	}
}

// audit asks a general library for drawings what it reads.
const audit = `
import sys, ezdxf
from ezdxf.lldxf.encoding import decode_dxf_unicode
d = ezdxf.readfile(sys.argv[1])
print(len(d.audit().errors), d.dxfversion, d.header["$INSUNITS"])
for n in ("WALLS", "AXES", "HIDDEN"):
    l = d.layers.get(n)
    print("layer", n, l.dxf.linetype, "off" if l.is_off() else "on")
for e in d.modelspace():
    k, l = e.dxftype(), e.dxf.layer
    if k == "POLYLINE":
        print(k, l, e.is_closed, e.dxf.default_start_width, [(round(v.dxf.location.x, 3), round(v.dxf.location.y, 3)) for v in e.vertices])
    elif k == "LINE":
        print(k, l, e.dxf.linetype, tuple(round(x, 3) for x in e.dxf.start)[:2], tuple(round(x, 3) for x in e.dxf.end)[:2])
    elif k in ("CIRCLE", "ARC"):
        print(k, l, tuple(round(x, 3) for x in e.dxf.center)[:2], e.dxf.radius, *([e.dxf.start_angle, e.dxf.end_angle] if k == "ARC" else []))
    elif k == "TEXT":
        print(k, l, ascii(decode_dxf_unicode(e.dxf.text)), e.dxf.height, e.dxf.rotation, e.dxf.halign)
`

// oracle is a Python that has the library; without one the test fails, for
// then nobody else has read what is written.
func oracle(t *testing.T) string {
	t.Helper()
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import ezdxf").Run() == nil {
			return p
		}
	}
	t.Fatal("no program but our own can read the drawing here: install the Debian package python3-ezdxf (scripts/test does)")
	return ""
}

// TestOtherPrograms lets an independent library read what is written.
func TestOtherPrograms(t *testing.T) {
	file := filepath.Join(t.TempDir(), "sample.dxf")
	if err := os.WriteFile(file, written(t, sample), 0o600); err != nil {
		t.Fatal(err)
	}
	got, err := exec.Command(oracle(t), "-c", audit, file).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, got)
	}
	want := []string{
		"0 AC1009 4",
		"layer WALLS CONTINUOUS on",
		"layer AXES DASHED on",
		"layer HIDDEN CONTINUOUS off",
		"POLYLINE WALLS True 70.0 [(0.0, 0.0), (5200.0, 0.0), (5200.0, 2400.0), (0.0, 2400.0)]",
		"LINE AXES DASHED (-100.0, 1200.0) (5300.0, 1200.5)",
		"POLYLINE AXES False 0 [(0.0, 0.0), (10.0, 20.0), (30.0, 20.0)]",
		"CIRCLE ORDER (2600.0, 1200.0) 300.0",
		"ARC ORDER (-50.0, 80.0) 25.0 90.0 270.0",
		"TEXT MARKS '1-03-07  4.20' 250.0 90.0 0",
		`TEXT MARKS 'K\xfcche \xe9 100 %' 250.0 0.0 5`,
	}
	if diff := cmp.Diff(want, strings.Split(strings.TrimSpace(string(got)), "\n")); diff != "" {
		t.Error(diff)
	}
}
