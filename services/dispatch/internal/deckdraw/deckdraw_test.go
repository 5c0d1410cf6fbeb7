package deckdraw

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/daybook"
)

var (
	truck = daybook.Truck{ID: "T1", Name: "Barnacle", DeckLengthMM: 7600, DeckWidthMM: 2450, PayloadKG: 14000, WheelbaseMM: 5500, DeckStartMM: 1400,
		OverallLengthMM: 10400, MaxFrontKG: 8000, MaxRearKG: 19000}
	rules = daybook.Rules{BearerHeightMM: 75, BearerInsetMM: 300, MaxOverhangMM: 300}
)

// beams is a pile of tiers, each of beams of one length.
func beams(number, drop, lane, fromMM int, lengthsMM ...int) daybook.Pile {
	p := daybook.Pile{Number: number, DropNumber: drop, Lane: lane, FromMM: fromMM, LeftMM: (lane - 1) * 1275, WidthMM: 1175, HeightMM: 225 * len(lengthsMM), MassG: 2_797_000}
	for _, l := range lengthsMM {
		p.LengthMM = max(p.LengthMM, l)
		p.Tiers = append(p.Tiers, []daybook.Item{{PieceID: "B1-001", Mark: "1-01-01", Beam: daybook.Product{Profile: "T150", WirePattern: "p6", LengthMM: l}}})
	}
	return p
}

func run(piles ...daybook.Pile) daybook.Run {
	return daybook.Run{ID: "2027-03-17-P1-R01", TruckID: "T1", Piles: piles, Drops: []daybook.Drop{{Number: 1, SiteID: "OR"}, {Number: 2, SiteID: "GH"}},
		MassG: 5_594_000, AxleLoads: []daybook.AxleLoads{{FrontKG: 6506, RearKG: 14414}, {AfterDrop: 1, FrontKG: 6601, RearKG: 5687}, {AfterDrop: 2, FrontKG: 5300, RearKG: 5000}}}
}

func texts(d Drawing) string {
	var all []string
	for _, s := range d.Shapes {
		if s.Kind == Text {
			all = append(all, s.Value)
		}
	}
	return strings.Join(all, "\n")
}

func TestEveryPileAndEveryAxleLoadIsOnTheDrawing(t *testing.T) {
	d := Draw(Input{Run: run(beams(1, 2, 1, 0, 4600, 4600), beams(2, 1, 2, 1100, 2600)), Truck: truck, Rules: rules, WidthMM: 180})
	got := texts(d)
	for _, want := range []string{"1 (drop 2)", "2 (drop 1)", "2797 kg", "front, at most 8000 kg", "rear, at most 19000 kg",
		"leaving 6506 kg", "after drop 1 5687 kg", "after drop 2 5300 kg", "lane 1 of 2", "lane 2 of 2"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not on the drawing:\n%s", want, got)
		}
	}
}

// TestBearersKeepTheRule: bearers lie under every beam of a pile, and none
// hangs over by more than it may.
func TestBearersKeepTheRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		longest := rapid.IntRange(1000, 12000).Draw(t, "longest mm")
		over := min(rules.MaxOverhangMM, longest/5)
		shortest := rapid.IntRange(longest-2*over, longest).Draw(t, "shortest mm")
		apart := bearersApartMM(beams(1, 1, 1, 0, longest, shortest), rules)
		if apart > shortest || longest-apart > 2*over {
			t.Fatalf("bearers %d mm apart under beams of %d and %d mm", apart, longest, shortest)
		}
	})
}

// TestHatchingStaysInside: no line leaves the rectangle that it fills.
func TestHatchingStaysInside(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.Float64Range(1, 150).Draw(t, "width mm"), rapid.Float64Range(1, 40).Draw(t, "height mm")
		style := hatchingOf(rapid.IntRange(1, 12).Draw(t, "drop"))
		for _, s := range hatch(10, 20, w, h, style, hatchMM) {
			for _, p := range [][2]float64{{s.XMM, s.YMM}, {s.X2MM, s.Y2MM}} {
				if p[0] < 10-1e-9 || p[0] > 10+w+1e-9 || p[1] < 20-1e-9 || p[1] > 20+h+1e-9 {
					t.Fatalf("a line of %v ends at %v, outside %g by %g at 10, 20", style, p, w, h)
				}
			}
		}
	})
}

// TestSVGIsWellFormed: names of trucks and runs are people's own words.
func TestSVGIsWellFormed(t *testing.T) {
	odd := run(beams(1, 1, 1, 0, 3000))
	odd.ID = `<R&"1">`
	d := Draw(Input{Run: odd, Truck: truck, Rules: rules, WidthMM: 180})
	dec := xml.NewDecoder(bytes.NewReader(d.SVG()))
	shapes := 0
	for {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if _, ok := token.(xml.StartElement); ok {
			shapes++
		}
	}
	if shapes != len(d.Shapes)+2 {
		t.Errorf("%d elements for %d shapes", shapes, len(d.Shapes))
	}
}

// TestNothingIsOffThePaper for loads of any size on the deck.
func TestNothingIsOffThePaper(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var piles []daybook.Pile
		for lane := 1; lane <= 2; lane++ {
			at := 0
			for n := 0; at < 7000; n++ {
				length := rapid.IntRange(800, 7000).Draw(t, fmt.Sprintf("length %d.%d mm", lane, n))
				piles = append(piles, beams(len(piles)+1, 1+n%2, lane, at, length))
				at += length + 100
			}
		}
		d := Draw(Input{Run: run(piles...), Truck: truck, Rules: rules, WidthMM: 180})
		for _, s := range d.Shapes {
			left, right := s.XMM, s.XMM
			switch s.Kind {
			case Line:
				left, right = math.Min(s.XMM, s.X2MM), math.Max(s.XMM, s.X2MM)
			case Rectangle:
				right = s.XMM + s.X2MM
			case Circle:
				left, right = s.XMM-s.RadiusMM, s.XMM+s.RadiusMM
			}
			if left < -0.01 || right > d.WidthMM+0.01 || s.YMM < 0 || s.YMM > d.HeightMM {
				t.Fatalf("%+v leaves the paper of %g by %g mm", s, d.WidthMM, d.HeightMM)
			}
		}
	})
}
