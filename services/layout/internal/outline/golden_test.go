package outline_test

import (
	"bufio"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/layout/internal/dxf"
	"spanyard.example/services/layout/internal/outline"
	"spanyard.example/services/layout/internal/sharedtest"
)

func read(t *testing.T, path string) *dxf.Drawing {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	d, err := dxf.Read(content)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// golden pairs: a drawing and the rooms that are known to be in it.
var golden = []struct {
	file, layer, plan string
	perUnitMM         float64
}{
	{"plan-swiss-cm-ngf-large-reduced.dxf", "Z23_NGF-POLYGONE", "dxf-dxf-sample-compliant-z23-ngf-polygone", 10},
	{"plan-swiss-1og-raumpolygone.dxf", "Raumpolygone", "dxf-al-sample-building-1og-dxf-raumpolygone", 1000},
}

// TestKnownRooms reads real drawings whose rooms are known and finds the very
// same polygons, corner by corner.
func TestKnownRooms(t *testing.T) {
	for _, g := range golden {
		t.Run(g.file, func(t *testing.T) {
			folder := sharedtest.Dir(t, "floors")
			path := filepath.Join(folder, "dxf", g.file)
			if _, err := os.Stat(path); err != nil {
				t.Skip("this drawing is not among the public ones here")
			}
			d := read(t, path)
			perUnit := g.perUnitMM
			if mm, ok := dxf.MillimetresPerUnit(d.Units); ok {
				perUnit = mm
			}
			rings, problems := outline.Rings(d, []string{g.layer}, perUnit)
			if len(problems) > 0 {
				t.Errorf("problems: %v", problems)
			}
			want := rooms(t, filepath.Join(folder, "plans.jsonl"), g.plan)
			var got [][]outline.Point
			for _, r := range rings {
				if area(r.Points) >= 1_000_000 { // smaller ones are left out of the known plan
					got = append(got, r.Points)
				}
			}
			if d := cmp.Diff(canonical(want), canonical(got)); d != "" {
				t.Errorf("rooms differ (- known, + read):\n%s", d)
			}
		})
	}
}

func area(p []outline.Point) float64 {
	var a int64
	for i, q := range p {
		r := p[(i+1)%len(p)]
		a += q.XMM*r.YMM - r.XMM*q.YMM
	}
	return max(float64(a), -float64(a)) / 2
}

// canonical moves a floor to the origin and sorts rooms and corners, so that
// neither direction nor first corner matters.
func canonical(rooms [][]outline.Point) [][]outline.Point {
	low := outline.Point{XMM: 1 << 60, YMM: 1 << 60}
	for _, r := range rooms {
		for _, p := range r {
			low = outline.Point{XMM: min(low.XMM, p.XMM), YMM: min(low.YMM, p.YMM)}
		}
	}
	compare := func(a, b outline.Point) int {
		if a.XMM != b.XMM {
			return int(a.XMM - b.XMM)
		}
		return int(a.YMM - b.YMM)
	}
	out := make([][]outline.Point, len(rooms))
	for i, r := range rooms {
		for _, p := range r {
			out[i] = append(out[i], outline.Point{XMM: p.XMM - low.XMM, YMM: p.YMM - low.YMM})
		}
		slices.SortFunc(out[i], compare)
	}
	slices.SortFunc(out, func(a, b []outline.Point) int { return slices.CompareFunc(a, b, compare) })
	return out
}

func rooms(t *testing.T, file, id string) [][]outline.Point {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 64<<20)
	for lines.Scan() {
		var plan struct {
			ID    string `json:"id"`
			Rooms []struct {
				Outline [][2]int64 `json:"outline"`
			} `json:"rooms"`
		}
		if err := json.Unmarshal(lines.Bytes(), &plan); err != nil {
			t.Fatal(err)
		}
		if plan.ID != id {
			continue
		}
		var out [][]outline.Point
		for _, r := range plan.Rooms {
			var ring []outline.Point
			for _, p := range r.Outline {
				ring = append(ring, outline.Point{XMM: p[0], YMM: p[1]})
			}
			out = append(out, ring)
		}
		return out
	}
	t.Fatalf("%s is not in %s", id, file)
	return nil
}
