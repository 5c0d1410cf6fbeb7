package count_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/sheet"
	"spanyard.example/services/stock/internal/count"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

const header = "batch,kind,made_on,profile,wire_pattern,length_mm,block_kind,count,mass_kg_each,stack," +
	"fck_cylinder_mpa,fck_cube_mpa,declared_block_mpa,laboratory,test_id,tested_on,specimen,strengths_mpa,released_by\n"

// dated adds the column of the day of release, which a count may leave out.
func dated(header string) string { return strings.TrimSuffix(header, "\n") + ",released_on\n" }

// today of the import.
var today = time.Date(2027, 3, 15, 10, 0, 0, 0, time.UTC)

func opened() yard.State {
	return yard.Evolve(yard.New("alder"), yard.RulesSet{Rules: yardtest.CommonRules("Etc/UTC")})
}

func take(t *testing.T, s yard.State, content string) ([]yard.Event, error) {
	t.Helper()
	c, err := count.Read("count.csv", sheet.CSV, []byte(content))
	if err != nil {
		return nil, err
	}
	return c.Decide(s, "Ida Lorn", today)
}

// good is a count of one released batch of beams on two stacks, one batch that
// cures, one that failed its test, and one of blocks.
const good = header +
	"B1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-03-10,cylinder,44; 43.5,Oda Brink\n" +
	"B1,beams,2027-03-01,T15,W3,3600,,2,72,S2,,,,,,,,,\n" +
	"B2,beams,2027-03-10,T15,W3,4200,,1,84.5,S3,40,50,,,,,,,\n" +
	"B3,beams,2027-03-01,T15,W3,4200,,1,84.5,S4,40,50,,Fennmoor Lab,T1,2027-03-10,cube,45.9,\n" +
	"K1,blocks,2027-02-01,,,,K20,500,17.25,S5,,,7,Fennmoor Lab,T1,2027-03-01,block,7.2; 6.9,Oda Brink\n"

func TestGoodCount(t *testing.T) {
	events, err := take(t, opened(), good)
	if err != nil {
		t.Fatal(err)
	}
	s := yard.EvolveAll(opened(), events)
	for id, want := range map[string]yard.BatchState{"B1": yard.Released, "B2": yard.Curing, "B3": yard.Quarantined, "K1": yard.Released} {
		if b, ok := s.Batch(id); !ok || b.State != want {
			t.Errorf("batch %s is %+v, want state %d", id, b, want)
		}
	}
	if p, _ := s.Piece("B1-004"); p.LengthMM != 3600 || p.MassG != 72_000 || p.StackID != "S2" {
		t.Errorf("the fourth beam of B1 is %+v", p)
	}
	if b, _ := s.Batch("K1"); b.Lot.MassGEach != 17_250 || b.Counts.InYard != 500 || b.Tests[0].Verdict.Mean != 7_050 {
		t.Errorf("the blocks are %+v", b)
	}
	totals := count.TotalsOf(events)
	if len(totals.BatchIDs) != 4 || totals.Beams != 7 || totals.Blocks != 500 {
		t.Errorf("totals are %+v", totals)
	}
	// The same count again finds everything there already.
	if _, err := take(t, s, good); fault.ReasonOf(err) != "BAD_ROWS" {
		t.Errorf("a second count of the same batches gives %v", err)
	}
}

// A count may say when its batches were released; they leave in that order.
func TestCountWithDaysOfRelease(t *testing.T) {
	events, err := take(t, opened(), dated(header)+
		"B1,beams,2027-02-01,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-02-10,cylinder,44,Oda Brink,2027-02-20\n"+
		"B2,beams,2027-02-02,T15,W3,4200,,3,84.5,S2,40,50,,Fennmoor Lab,T1,2027-02-10,cylinder,44,Oda Brink,\n")
	if err != nil {
		t.Fatal(err)
	}
	s := yard.EvolveAll(opened(), events)
	for id, want := range map[string]string{"B1": "2027-02-20, 19 days old", "B2": "2027-03-15, 41 days old"} {
		b, _ := s.Batch(id)
		if got := fmt.Sprintf("%v, %d days old", b.Release.On, b.Release.AgeDays); got != want || !b.Release.At.Equal(today) {
			t.Errorf("%s was released on %s at %v, want %s", id, got, b.Release.At, want)
		}
	}
}

func TestSameCountInEveryFormat(t *testing.T) {
	lines := strings.Split(strings.TrimSpace(good), "\n")
	columns := strings.Split(lines[0], ",")
	book := excelize.NewFile()
	var objects []string
	for i, line := range lines {
		cells := strings.Split(line, ",")
		var fields []string
		for j, cell := range cells {
			name, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err != nil {
				t.Fatal(err)
			}
			if err := book.SetCellStr("Sheet1", name, cell); err != nil {
				t.Fatal(err)
			}
			if i > 0 && cell != "" {
				fields = append(fields, fmt.Sprintf("%q: %q", columns[j], cell))
			}
		}
		if i > 0 {
			objects = append(objects, "{"+strings.Join(fields, ", ")+"}")
		}
	}
	xlsx, err := book.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	want, err := take(t, opened(), good)
	if err != nil {
		t.Fatal(err)
	}
	for format, content := range map[sheet.Format][]byte{
		sheet.XLSX: xlsx.Bytes(), sheet.JSON: []byte("[" + strings.Join(objects, ",\n") + "]"),
	} {
		c, err := count.Read("count", format, content)
		if err != nil {
			t.Fatalf("%v: %v", format, err)
		}
		events, err := c.Decide(opened(), "Ida Lorn", today)
		if err != nil {
			t.Fatalf("%v: %v", format, err)
		}
		if len(events) != len(want) {
			t.Errorf("%v leads to %d events, CSV to %d", format, len(events), len(want))
		}
	}
}

// Every bad row is named by row and column, and nothing is taken.
func TestBadRows(t *testing.T) {
	const beams = "B1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-03-10,cylinder,44,Oda Brink\n"
	for name, c := range map[string]struct {
		rows string
		want []string
	}{
		"cells that cannot be read": {
			"B1,beams,yesterday,T15,W3,4200,,3,84.5,S1,40,50,,,,,,,\n" +
				"B2,girders,2027-03-01,T15,W3,4200,,3,84.5,S2,40,50,,,,,,,\n" +
				"B3,beams,2027-03-01,T15,W3,4200,,many,84.5,S3,40,50,,,,,,,\n",
			[]string{"row 2, column made_on", "row 3, column kind", "row 4, column count"},
		},
		"what a kind needs": {
			"B1,beams,2027-03-01,,W3,,,3,84.5,S1,40,,,,,,,,\n" +
				"K1,blocks,2027-02-01,,,,,500,17,S5,,,,,,,,,\n",
			[]string{"row 2, column profile", "row 2, column length_mm", "row 2, column fck_cube_mpa", "row 3, column block_kind", "row 3, column declared_block_mpa"},
		},
		"rows of one batch that differ": {
			beams + "B1,beams,2027-03-02,T18,W3,3600,,2,72,S2,,,,,,,,,Per Holt\n",
			[]string{"row 3, column made_on", "row 3, column profile", "row 3, column released_by"},
		},
		"half a test": {
			"B1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,,2027-03-10,cylinder,44,\n",
			[]string{"row 2, column test_id"},
		},
		"released too young": {
			"B1,beams,2027-03-02,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-03-10,cylinder,44,Oda Brink\n",
			[]string{"row 2, column released_by"},
		},
		"released untested": {
			"B1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,,,,,,Oda Brink\n",
			[]string{"row 2, column released_by"},
		},
		"released though it failed": {
			"B1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-03-10,cylinder,30,Oda Brink\n",
			// Quarantined, and a failed test.
			[]string{"row 2, column released_by", "row 2, column released_by"},
		},
		"tested before it was made": {
			"B1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-02-28,cylinder,44,\n",
			[]string{"row 2, column tested_on"},
		},
		"made tomorrow": {
			"B1,beams,2027-03-16,T15,W3,4200,,3,84.5,S1,40,50,,,,,,,\n",
			[]string{"row 2, column made_on"},
		},
		"two batches on one stack": {
			beams + "B2,beams,2027-03-01,T15,W3,4200,,3,84.5,S2,40,50,,,,,,,\nB2,beams,2027-03-01,T15,W3,3600,,3,72,S1,,,,,,,,,\n",
			[]string{"row 4, column stack"},
		},
		"what cannot be read and what the yard is against, at once": {
			"B1,beams,yesterday,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-03-16,cylinder,44,Oda Brink\n" +
				"B2,beams,2027-03-16,T15,W3,,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-02-10,cylinder,44,Oda Brink\n" +
				"B3,beams,2027-03-02,T15,W3,4200,,many,84.5,S3,40,50,,Fennmoor Lab,T1,2027-03-10,cylinder,44,Oda Brink\n" +
				"B4,beams,2027-03-01,T15,W3,4200,,3,84.5,S4,40,50,,Fennmoor Lab,T1,2027-03-10,,44,Oda Brink\n",
			[]string{
				"row 2, column made_on", "row 2, column tested_on", "row 3, column length_mm", "row 3, column made_on", "row 3, column tested_on",
				"row 3, column stack", "row 4, column count", "row 4, column released_by", "row 5, column specimen",
			},
		},
		"cells of the other kind": {
			"K1,blocks,2027-02-01,T15,W3,4200,K20,500,17,S5,40,50,7,,,,,,\n" +
				"B1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,,,,,,\nB1,beams,2027-03-01,T15,W3,3600,K20,3,84.5,S1,40,50,7,,,,,,\n",
			[]string{
				"row 2, column profile", "row 2, column wire_pattern", "row 2, column length_mm", "row 2, column fck_cylinder_mpa", "row 2, column fck_cube_mpa",
				"row 4, column block_kind", "row 4, column declared_block_mpa",
			},
		},
		"days of release that cannot be": {
			"B1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-03-10,cylinder,44,Oda Brink,2027-03-16\n" +
				"B2,beams,2027-02-01,T15,W3,4200,,3,84.5,S2,40,50,,Fennmoor Lab,T1,2027-03-10,cylinder,44,Oda Brink,2027-03-09\n" +
				"B3,beams,2027-02-01,T15,W3,4200,,3,84.5,S3,40,50,,Fennmoor Lab,T1,2027-02-10,cylinder,44,Oda Brink,2027-02-14\n" +
				"B4,beams,2027-02-01,T15,W3,4200,,3,84.5,S4,40,50,,Fennmoor Lab,T1,2027-02-10,cylinder,44,,2027-02-20\n",
			[]string{"row 2, column released_on", "row 3, column released_on", "row 4, column released_by", "row 5, column released_by"},
		},
		"blocks counted twice": {
			"K1,blocks,2027-02-01,,,,K20,500,17,S5,,,7,,,,,,\nK1,blocks,2027-02-01,,,,K20,500,17,S5,,,7,,,,,,\n",
			[]string{"row 3, column batch"},
		},
		"a batch number with a slash": {
			"B/1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,,,,,,\n",
			[]string{"row 2, column batch"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			events, err := take(t, opened(), dated(header)+c.rows)
			var f *fault.Error
			if !errors.As(err, &f) || f.Kind != fault.Invalid || len(events) != 0 {
				t.Fatalf("gives %d events and %v", len(events), err)
			}
			var got []string
			for _, p := range f.Places {
				got = append(got, strings.TrimPrefix(p.Where, "count.csv, "))
			}
			for _, want := range c.want {
				if !slices.Contains(got, want) {
					t.Errorf("names %v, not %s", got, want)
				}
			}
			if len(got) != len(c.want) {
				t.Errorf("names %v, want %v", got, c.want)
			}
		})
	}
}

func TestCountHasLimits(t *testing.T) {
	var b strings.Builder
	b.WriteString(header)
	for i := range 1001 {
		fmt.Fprintf(&b, "B%d,beams,2027-03-01,T15,W3,4200,,1,84.5,S%d,40,50,,,,,,,\n", i, i)
	}
	if _, err := take(t, opened(), b.String()); fault.ReasonOf(err) != "TOO_MUCH_AT_ONCE" {
		t.Errorf("1,001 batches give %v", err)
	}
	many := header + strings.Repeat("B1,beams,2027-03-01,T15,W3,4200,,5000,84.5,S1,40,50,,,,,,,\n", 21)
	if _, err := take(t, opened(), many); fault.ReasonOf(err) != "TOO_MUCH_AT_ONCE" {
		t.Errorf("105,000 beams give %v", err)
	}
	bad := strings.ReplaceAll(b.String(), ",T15,", ",T15 ,")
	bad = strings.ReplaceAll(bad, "2027-03-01", "2027-03-16")
	_, err := take(t, opened(), bad)
	var f *fault.Error
	if !errors.As(err, &f) || len(f.Places) != 101 || !strings.Contains(f.Places[100].Problem, "901 more") {
		t.Errorf("1,001 bad rows give %v", err)
	}
	if _, err := take(t, yard.New("alder"), good); fault.ReasonOf(err) != "YARD_NOT_OPEN" {
		t.Errorf("a yard without rules gives %v", err)
	}
	long := strings.Repeat("ä", 195) + ".csv"
	c, err := count.Read(long, sheet.CSV, []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.Decide(opened(), "Ida Lorn", today); err != nil {
		t.Errorf("a long file name gives %v", err)
	}
}

// FuzzCount: whatever is uploaded, the answer is a fault or a yard in which
// everything adds up, and nothing is released that may not be.
func FuzzCount(f *testing.F) {
	f.Add(good)
	f.Add(header + "B1,beams,2027-03-01,T15,W3,4200,,3,84.5,S1,40,50,,Fennmoor Lab,T1,2027-03-10,cylinder,44,Oda Brink\n")
	f.Add(header + "K1,blocks,2027-02-01,,,,K20,500,17,S5,,,7,L,T1,2027-03-01,block,\"7.2;\",Oda\n")
	f.Add("batch\nB1\n")
	f.Fuzz(func(t *testing.T, content string) {
		events, err := take(t, opened(), content)
		if err != nil {
			var fa *fault.Error
			if !errors.As(err, &fa) || fa.Kind == fault.Internal {
				t.Fatalf("not a fault that somebody can act on: %v", err)
			}
			if len(events) > 0 {
				t.Fatal("half a count was taken")
			}
			return
		}
		s := yard.EvolveAll(opened(), events)
		s.Batches(func(b yard.Batch) {
			if b.Counts.Made != b.Counts.InYard || b.Counts.Made == 0 {
				t.Fatalf("batch %s was counted as %+v", b.ID, b.Counts)
			}
			if b.State != yard.Released {
				return
			}
			if len(b.FailedJudgements()) > 0 || len(b.Tests) == 0 || b.Release.AgeDays < s.Rules().MinAgeDays(b.Kind) {
				t.Fatalf("batch %s was released: %+v", b.ID, b)
			}
		})
	})
}
