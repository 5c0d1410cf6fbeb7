package papers

import (
	"bytes"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"os"

	"spanyard.example/services/dispatch/internal/daybook"
)

func sample() Run {
	beam := func(id, mark string, number int) daybook.Item {
		return daybook.Item{PieceID: id, Mark: mark, Beam: daybook.Product{Profile: "T150", WirePattern: "p6", LengthMM: 4600}, MassG: 147_200,
			FloorKey: daybook.FloorKey{JobID: "J104", Floor: "1"}, Room: "02", CallOffID: "C-06", LayingNumber: number, BatchID: "B0217"}
	}
	pallet := daybook.Item{PieceID: "2027-03-17-P1-R02-K01", BlockKind: "K520", BlockCount: 72, MassG: 994_000,
		FloorKey: daybook.FloorKey{JobID: "J109", Floor: "G"}, Room: "01", CallOffID: "C-11", LayingNumber: 1, BatchID: "K0203"}
	return Run{
		Yard: "demo", Day: "2027-03-17", PlanID: "2027-03-17-P1", Standing: "confirmed", At: time.Date(2027, 3, 16, 15, 30, 0, 0, time.UTC),
		Truck: daybook.Truck{ID: "T2", Name: "Barnacle", DeckLengthMM: 7600, DeckWidthMM: 2450, PayloadKG: 14000, WheelbaseMM: 5500, DeckStartMM: 1400, OverallLengthMM: 10400, MaxFrontKG: 8000, MaxRearKG: 19000},
		Rules: daybook.Rules{BearerHeightMM: 75, BearerInsetMM: 300, MaxOverhangMM: 300},
		Sites: map[string]daybook.Site{"OR": {ID: "OR", Name: "Owlpenny Rise", Contact: "Matron Sorrel Inkhorn", MaxGrossKG: 18000}, "GH": {ID: "GH", Name: "Gorseknot Hall", HasLifting: true}},
		Links: map[int]string{1: "https://desk.yard.example/drop/2027-03-17-P1-R02/1"},
		Run: daybook.Run{ID: "2027-03-17-P1-R02", TruckID: "T2", Trip: 1, LoadingMinute: 331, LeaveMinute: 361, BackMinute: 582, DistanceM: 36_800, MassG: 1_288_400,
			Drops: []daybook.Drop{{Number: 1, SiteID: "OR", ArriveMinute: 376, UnloadMinute: 376, LeaveMinute: 407, CallOffIDs: []string{"C-06"}},
				{Number: 2, SiteID: "GH", ArriveMinute: 427, UnloadMinute: 540, LeaveMinute: 561, CallOffIDs: []string{"C-11"}}},
			Piles: []daybook.Pile{
				{Number: 1, DropNumber: 2, Lane: 1, LengthMM: 1000, WidthMM: 1080, HeightMM: 1120, MassG: 994_000, Tiers: [][]daybook.Item{{pallet}}},
				{Number: 2, DropNumber: 1, Lane: 1, FromMM: 1100, LengthMM: 4600, WidthMM: 1175, HeightMM: 225, MassG: 294_400,
					Tiers: [][]daybook.Item{{beam("B0217-017", "1-02-02", 27), beam("B0217-018", "1-02-01", 26)}}}},
			AxleLoads: []daybook.AxleLoads{{FrontKG: 6506, RearKG: 7414}, {AfterDrop: 1, FrontKG: 6101, RearKG: 5687}, {AfterDrop: 2, FrontKG: 5300, RearKG: 5000}},
			Picks: []daybook.Pick{{Number: 1, PieceID: "2027-03-17-P1-R02-K01", BatchID: "K0203", StackID: "P-02", BlockKind: "K520", BlockCount: 72, MassG: 994_000, PileNumber: 1, PileTier: 1},
				{Number: 2, PieceID: "B0217-017", BatchID: "B0217", StackID: "B-05", StackTier: 3, Mark: "1-02-02", Beam: daybook.Product{LengthMM: 4600}, MassG: 147_200, PileNumber: 2, PileTier: 1},
				{Number: 3, PieceID: "B0217-018", BatchID: "B0217", StackID: "B-05", StackTier: 3, Mark: "1-02-01", Beam: daybook.Product{LengthMM: 4600}, MassG: 147_200, PileNumber: 2, PileTier: 1}}},
	}
}

// text reads a PDF back with another program's eyes.
func text(t *testing.T, pdf []byte) string {
	t.Helper()
	reader, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext (Debian: poppler-utils) is not here to read the papers back")
	}
	file := filepath.Join(t.TempDir(), "paper.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(reader, "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

func TestPapersSayWhatTheyAreFor(t *testing.T) {
	r := sample()
	r.Hits = []daybook.Hit{{PieceID: "B0217-017", Mark: "1-02-02", Reason: "batch B0217 is quarantined: cracked at the heads"}}
	note := func(drop int) func() ([]byte, error) { return func() ([]byte, error) { return r.DeliveryNote(drop) } }
	stopped := "batch B0217 is quarantined"
	for name, c := range map[string]struct {
		print   func() ([]byte, error)
		want    []string
		without []string
	}{
		"load sheet":  {r.LoadSheet, []string{"Load from 5:31, leave 6:01", "1-02-02", "then pile 1, then pile 2", "by EN 12195-1", "CAUTION", stopped, "after drop 1 5687 kg"}, nil},
		"pick list":   {r.PickList, []string{"By stack", "B-05", "P-02", "72 blocks K520", "B0217-018", "CAUTION", stopped}, nil},
		"run sheet":   {r.RunSheet, []string{"Owlpenny Rise (OR), arrive 6:16", "at most 18000 kg gross", "Ask for Matron Sorrel Inkhorn", "6101", "CAUTION", stopped}, nil},
		"first note":  {note(1), []string{"1-02-01", "4600", "B0217-017", "2 beams, 0 blocks, 294 kg", "opens this delivery", "CAUTION", stopped}, []string{"K520"}},
		"second note": {note(2), []string{"72 blocks", "0 beams, 72 blocks, 994 kg"}, []string{"1-02-01", "opens this delivery"}},
	} {
		t.Run(name, func(t *testing.T) {
			pdf, err := c.print()
			if err != nil {
				t.Fatal(err)
			}
			got := text(t, pdf)
			for _, want := range c.want {
				if !strings.Contains(got, want) {
					t.Errorf("%q is not on it:\n%s", want, got)
				}
			}
			for _, bad := range c.without {
				if strings.Contains(got, bad) {
					t.Errorf("%q is on it:\n%s", bad, got)
				}
			}
		})
	}
}

// TestLayingOrderOfANote: what is laid first comes first, whatever the pile.
func TestLayingOrderOfANote(t *testing.T) {
	pdf, err := sample().DeliveryNote(1)
	if err != nil {
		t.Fatal(err)
	}
	got := text(t, pdf)
	if first, second := strings.Index(got, "1-02-01"), strings.Index(got, "1-02-02"); first < 0 || second < first {
		t.Errorf("marks are not in laying order:\n%s", got)
	}
}

func TestTheSameRunPrintsTheSameBytes(t *testing.T) {
	for _, print := range []func(Run) ([]byte, error){Run.LoadSheet, Run.PickList, Run.RunSheet, func(r Run) ([]byte, error) { return r.DeliveryNote(1) }} {
		a, errA := print(sample())
		b, errB := print(sample())
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("two prints differ (%v, %v)", errA, errB)
		}
	}
}

func TestNoNoteForADropThatIsNot(t *testing.T) {
	if _, err := sample().DeliveryNote(3); err == nil {
		t.Error("a note for a third drop of two")
	}
}

// TestAside: two piles of 1 t and 3 t whose middles stand 600 mm left and 625 mm
// right of a deck 2450 mm wide: (3*625-600)/4 = 319 mm.
func TestAside(t *testing.T) {
	run := Run{Truck: daybook.Truck{DeckWidthMM: 2450}}
	left := daybook.Pile{LeftMM: 125, WidthMM: 1000, MassG: 1_000_000}
	right := daybook.Pile{LeftMM: 1450, WidthMM: 800, MassG: 3_000_000}
	for want, piles := range map[string][]daybook.Pile{
		"lies 31 cm right of the middle": {left, right},
		"lies 60 cm left of the middle":  {left},
		"lies in the middle":             nil,
	} {
		run.Piles = piles
		if got := run.aside(); !strings.Contains(got, want) {
			t.Errorf("%q does not say %q", got, want)
		}
	}
}
