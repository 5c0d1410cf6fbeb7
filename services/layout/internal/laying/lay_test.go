package laying_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"spanyard.example/services/layout/internal/laying"
)

// A catalogue made for these sums: odd sizes where halves matter.
var (
	slim  = laying.Profile{Name: "P150", HeightMM: 150, WidthMM: 120, MassGPerM: 32_500, WirePatterns: []string{"4W", "6W"}}
	odd   = laying.Profile{Name: "P155", HeightMM: 155, WidthMM: 115, MassGPerM: 33_333, WirePatterns: []string{"5W"}}
	block = laying.Block{Name: "B200", LengthMM: 215, PitchMM: 510, MassG: 16_400, BlocksPerPallet: 60,
		PalletLengthMM: 1200, PalletWidthMM: 1000, PalletHeightMM: 900, PalletTareG: 22_000}
	rules = laying.Rules{LengthStepMM: 50, MinBearingMM: 90, MaxBeamLengthMM: 7_500}
)

func room(span, width, bearing, k int) laying.Room {
	return laying.Room{
		Floor: "1", Room: "03", Name: "Bedroom", LayingOrder: 1,
		ClearSpanMM: span, WidthMM: width, SpanDirection: "x", BearingMM: bearing,
		ImposedLoadNPerM2: 1500, FinishesLoadNPerM2: 1800,
		Profile: "P150", WirePattern: "4W", Block: "B200", BeamsPerRow: k,
	}
}

// Every expectation below is worked by hand in the comment above it.
func TestLayByHand(t *testing.T) {
	cases := []struct {
		name    string
		room    laying.Room
		profile laying.Profile
		offsets []int
		length  int
		mass    int64
		blocks  int
		cut     int
		filler  int
		pitch   int
	}{
		// Length: 4,000 + 2 x 100 = 4,200 = 84 x 50. Mass: 4.2 x 32.5 = 136.5 kg.
		// Rows at 510, 1,020, ... : 3,060 / 510 = 6 bays exactly, so 5 rows and no
		// filler. Blocks: 4,000 / 215 = 18.6, so 19 a bay, one of them cut:
		// 6 x 19 = 114, 6 cut.
		{"whole bays only", room(4000, 3060, 100, 1), slim,
			[]int{510, 1020, 1530, 2040, 2550}, 4200, 136_500, 114, 6, 0, 510},
		// Length: 3,870 + 2 x 95 = 4,060, up to 4,100. Mass: 4.1 x 32.5 = 133.25 kg.
		// (3,400 - 510) / 510 = 5.67, so 6 rows, the last at 3,060; closing bay
		// 3,400 - 3,060 = 340. Blocks: 3,870 / 215 = 18 exactly: 7 x 18 = 126; only
		// the 18 of the closing bay are cut.
		{"filler at the far wall", room(3870, 3400, 95, 1), slim,
			[]int{510, 1020, 1530, 2040, 2550, 3060}, 4100, 133_250, 126, 18, 340, 510},
		// (2,080 - 510) / 510 = 3.08, so 4 rows; the fourth at 2,040 would leave 40,
		// less than the half beam of 60: it moves back to 2,080 - 60 = 2,020 and
		// touches. The bay before it is 2,020 - 1,530 = 490 wide and cut, none
		// behind it. Blocks: 4 x 19 = 76; cut 3 x 1 + 19 = 22.
		{"last row touches the wall", room(4000, 2080, 100, 1), slim,
			[]int{510, 1020, 1530, 2020}, 4200, 136_500, 76, 22, 490, 510},
		// A double row is 120 wider: row pitch 630. First beams at 510, 1,140, ...
		// (3,000 - 510) / 630 = 3.95, so 4 rows, the last beam at 4 x 630 = 2,520;
		// closing bay 480. Blocks: 5 bays x 19 = 95; cut 4 x 1 + 19 = 23.
		{"double rows", room(4000, 3000, 100, 2), slim,
			[]int{510, 630, 1140, 1260, 1770, 1890, 2400, 2520}, 4200, 136_500, 95, 23, 480, 630},
		// Row pitch 510 + 2 x 120 = 750. (2,200 - 510) / 750 = 2.25, so 3 rows; the
		// third would end at 2,250, beyond the wall. Its last beam moves to
		// 2,200 - 60 = 2,140, its first to 1,900. The second row ends at 1,500: the
		// bay between is 400, cut. Blocks: 3 x 19 = 57; cut 2 x 1 + 19 = 21.
		{"triple rows, the last moved back", room(4000, 2200, 100, 3), slim,
			[]int{510, 630, 750, 1260, 1380, 1500, 1900, 2020, 2140}, 4200, 136_500, 57, 21, 400, 750},
		// No wider than a pitch: one row in the middle, 450 / 2 = 225; both bays are
		// cut. Length: 900 + 180 = 1,080, up to 1,100; 1.1 x 32.5 = 35.75 kg.
		// Blocks: 900 / 215 = 4.2, so 5 a bay: 10, all cut.
		{"narrow room", room(900, 450, 90, 1), slim,
			[]int{225}, 1100, 35_750, 10, 10, 225, 510},
		// Beams of 115: half is 57.5. One row at 510 would leave 565 - 510 = 55: it
		// moves to 565 - 58 = 507. First bay 507, cut; behind it half a millimetre,
		// a joint. Mass: 1.1 x 33.333 = 36.6663 kg, 36,666 g.
		{"odd beam width touches", room(900, 565, 90, 1), odd,
			[]int{507}, 1100, 36_666, 5, 5, 507, 510},
		// A block longer than the span is cut. 200 + 2 x 90 = 380, up to 400;
		// 0.4 x 32.5 = 13 kg; 1,020 / 510 = 2 bays, 1 row.
		{"span shorter than a block", room(200, 1020, 90, 1), slim,
			[]int{510}, 400, 13_000, 2, 2, 0, 510},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := c.room
			r.WirePattern = c.profile.WirePatterns[0]
			if p := laying.Check(r, &c.profile, &block, rules); p != nil {
				t.Fatalf("Check: %v", p)
			}
			plan := laying.Lay(r, c.profile, block, rules)
			var offsets []int
			for _, b := range plan.Beams {
				offsets = append(offsets, b.OffsetMM)
				if b.LengthMM != c.length || b.MassG != c.mass {
					t.Errorf("beam %s: %d mm, %d g; want %d mm, %d g", b.Mark, b.LengthMM, b.MassG, c.length, c.mass)
				}
			}
			if d := cmp.Diff(c.offsets, offsets); d != "" {
				t.Errorf("offsets (-want +got):\n%s", d)
			}
			got := []int{plan.BlockCount, plan.CutBlockCount, plan.FillerWidthMM, plan.PitchMM}
			if d := cmp.Diff([]int{c.blocks, c.cut, c.filler, c.pitch}, got); d != "" {
				t.Errorf("blocks, cut, filler, pitch (-want +got):\n%s", d)
			}
		})
	}
}

// Quantities of a floor without edges, by plain arithmetic: a block fills
// 0.51 m x 0.215 m, so 1 / 0.10965 = 9.12 blocks and 1 / 0.51 = 1.961 m of
// beam to the square metre. A floor of 100 m x 27.95 m (130 whole blocks)
// comes within the half per cent that its edges cost.
func TestQuantitiesPerSquareMetre(t *testing.T) {
	const span, width = 27_950, 99_960 // 196 whole bays
	long := rules
	long.MaxBeamLengthMM, long.LengthStepMM = 30_000, 1
	plan := laying.Lay(room(span, width, 100, 1), slim, block, long)
	area := float64(span) / 1000 * width / 1000
	blocks := float64(plan.BlockCount) / area
	metres := float64(len(plan.Beams)) * span / 1000 / area
	if want := 1 / (0.51 * 0.215); blocks < want*0.995 || blocks > want*1.005 {
		t.Errorf("%.3f blocks per square metre, want %.3f", blocks, want)
	}
	if want := 1 / 0.51; metres < want*0.99 || metres > want*1.005 {
		t.Errorf("%.3f m of beam per square metre, want %.3f", metres, want)
	}
	if plan.CutBlockCount != 0 {
		t.Errorf("%d blocks cut on a floor of whole blocks and bays", plan.CutBlockCount)
	}
}

func TestMassRoundsHalfUp(t *testing.T) {
	// 1.5 m x 0.333 kg/m = 499.5 g; 1.5 m x 0.3329 would be 499.35 g.
	p := laying.Profile{MassGPerM: 333}
	if got := p.BeamMassG(1500); got != 500 {
		t.Errorf("mass of 1.5 m at 333 g/m is %d g, want 500", got)
	}
	if got := p.BeamMassG(1499); got != 499 { // 499.167 g
		t.Errorf("mass of 1.499 m at 333 g/m is %d g, want 499", got)
	}
}

func TestMarks(t *testing.T) {
	for number, want := range map[int]string{1: "1-03-01", 7: "1-03-07", 99: "1-03-99", 100: "1-03-100"} {
		if got := laying.Mark("1", "03", number); got != want {
			t.Errorf("mark %d is %s, want %s", number, got, want)
		}
	}
}

func TestCheckNamesTheColumn(t *testing.T) {
	wide := slim
	wide.WidthMM = 210
	cases := []struct {
		name    string
		room    laying.Room
		profile *laying.Profile
		block   *laying.Block
		fields  []string
	}{
		{"good", room(4000, 3060, 100, 1), &slim, &block, nil},
		{"bearing too short", room(4000, 3060, 89, 1), &slim, &block, []string{"bearing_mm"}},
		{"beam too long", room(7301, 3060, 100, 1), &slim, &block, []string{"clear_span_mm"}}, // 7,501 -> 7,550
		{"longest beam", room(7300, 3060, 100, 1), &slim, &block, nil},                        // 7,500
		{"foreign pattern", room(4000, 3060, 100, 1), &odd, &block, []string{"wire_pattern"}},
		{"no wider than a row", room(4000, 360, 100, 3), &slim, &block, []string{"width_mm"}},
		{"just wider than a row", room(4000, 361, 100, 3), &slim, &block, nil},
		{"pitch too small", room(4000, 3060, 100, 2), &wide, &block, []string{"block_kind"}}, // 2 x 510 < 5 x 210
		{"profile unknown", room(4000, 3060, 50, 1), nil, nil, []string{"bearing_mm"}},
		{"nothing known", laying.Room{}, nil, nil, nil},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var fields []string
			for _, p := range laying.Check(c.room, c.profile, c.block, rules) {
				fields = append(fields, p.Field)
				if p.Value == "" || p.Problem == "" || p.Allowed == "" {
					t.Errorf("problem says too little: %+v", p)
				}
			}
			if d := cmp.Diff(c.fields, fields); d != "" {
				t.Errorf("fields (-want +got):\n%s", d)
			}
		})
	}
}

func BenchmarkLay1000Rooms(b *testing.B) {
	rooms := make([]laying.Room, 1000)
	for i := range rooms {
		rooms[i] = room(2400+i%40*100, 1800+i%53*100, 100, 1+i%3)
	}
	b.ReportAllocs()
	for b.Loop() {
		beams := 0
		for _, r := range rooms {
			beams += len(laying.Lay(r, slim, block, rules).Beams)
		}
		b.ReportMetric(float64(beams), "beams")
	}
}
