package arrange

import (
	"math"
	"testing"

	"spanyard.example/services/layout/internal/geometry"
)

// lines is what partitions put on a single row whose middle is at y = 1000 and
// that spans from 0 to 4000 mm; the pitch is 510 mm.
func lines(p Partition, perRow int) []Line {
	s := &sweep{kit: kit, frame: geometry.NewFrame(0)}
	half := float64(perRow) * kit.WidthMM / 2
	return s.linesOn(p, row{low: 1000 - half, high: 1000 + half, perRow: perRow}, geometry.Interval{From: 0, To: 4000})
}

func at(x, y float64) geometry.Point { return geometry.Point{X: x, Y: y} }

// TestPartitionsByHand: blocks hand a load on by the lever.
func TestPartitionsByHand(t *testing.T) {
	for name, c := range map[string]struct {
		partition Partition
		perRow    int
		want      []Line
	}{
		"over the row":                   {Partition{at(500, 1000), at(3000, 1000), 4}, 1, []Line{{500, 3000, 4}}},
		"a third of the pitch beside it": {Partition{at(500, 1170), at(3000, 1170), 4}, 1, []Line{{500, 3000, 4 * 2.0 / 3}}},
		"a whole pitch beside it":        {Partition{at(500, 1510), at(3000, 1510), 4}, 1, nil},
		"past the end of the clear span": {Partition{at(3000, 1000), at(5000, 1000), 4}, 1, []Line{{3000, 4000, 4}}},
		"over the second beam of two":    {Partition{at(0, 1060), at(4000, 1060), 4}, 2, []Line{{0, 4000, 4}}},
		"across: 4 N/mm on 510 mm":       {Partition{at(2000, 0), at(2000, 3000), 4}, 1, []Line{{1975, 2025, 4 * 510.0 / 50}}},
		"across two: 510 + 120 mm":       {Partition{at(2000, 0), at(2000, 3000), 4}, 2, []Line{{1975, 2025, 4 * 630.0 / 50}}},
		"across, ending over the row":    {Partition{at(2000, 0), at(2000, 1000), 4}, 1, []Line{{1975, 2025, 4 * 255.0 / 50}}},
	} {
		got := lines(c.partition, c.perRow)
		if len(got) != len(c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
			continue
		}
		for i, w := range c.want {
			if g := got[i]; math.Abs(g.FromMM-w.FromMM) > 1e-6 || math.Abs(g.ToMM-w.ToMM) > 1e-6 || math.Abs(g.NPerMM-w.NPerMM) > 1e-9 {
				t.Errorf("%s: %v, want %v", name, g, w)
			}
		}
	}
}

// TestTrimmerByHand: in a room of 4 m by 5 m two rows cross the opening of 1 m
// by 1 m. The stand-in for the code weighs 1 N on each mm of a member, half of
// it at either end: beams of 1500 - 120 mm put 690 N on the trimmer, 450 and
// 940 mm from its lower end. Their moments about its ends give the rows
// (550 + 60)/1000 and (450 + 940)/1000 of 690 N.
func TestTrimmerByHand(t *testing.T) {
	zero := 0.0
	room := Room{BearingMM: bearing, DirectionDegrees: &zero, Shape: geometry.Polygon{
		Outline: []geometry.Point{at(0, 0), at(4000, 0), at(4000, 5000), at(0, 5000)},
		Holes:   [][]geometry.Point{{at(1500, 2000), at(1500, 3000), at(2500, 3000), at(2500, 2000)}}}}
	l, err := Search(room, []Kit{kit}, rules, checks, nil)
	if err != nil || len(l.Headers) != 2 {
		t.Fatalf("%v, %d trimmers", err, len(l.Headers))
	}
	for _, h := range l.Headers {
		low, high := h.reactions()
		if h.ClearMM != 1000 || len(h.Forces) != 2 || math.Abs(low.PermanentN-690*0.61) > 1e-6 || math.Abs(high.PermanentN-690*1.39) > 1e-6 {
			t.Errorf("trimmer of %.0f mm: %v, ends %.1f and %.1f N", h.ClearMM, h.Forces, low.PermanentN, high.PermanentN)
		}
	}
	for _, b := range l.Beams {
		for _, p := range b.Member.Points {
			if want := map[bool]float64{true: 690 * 0.61, false: 690 * 1.39}[b.Quad[0].Y < 2500]; math.Abs(p.PermanentN-want) > 1e-6 || p.AtMM != 1440 && p.AtMM != 2560 {
				t.Errorf("the row at %.0f mm carries %.1f N at %.0f mm, want %.1f N", b.Quad[0].Y, p.PermanentN, p.AtMM, want)
			}
		}
	}
	none := rules
	none.Trimmers = nil
	if _, err := Search(room, []Kit{kit}, none, checks, nil); err == nil || err.(*Refusal).Code() != "trimmer" {
		t.Errorf("without a trimmer: %v", err)
	}
}
