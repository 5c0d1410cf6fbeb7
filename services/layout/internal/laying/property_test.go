package laying_test

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
	"spanyard.example/services/layout/internal/laying"
)

type sample struct {
	room    laying.Room
	profile laying.Profile
	block   laying.Block
	rules   laying.Rules
}

func drawSample(t *rapid.T) sample {
	s := sample{
		profile: laying.Profile{
			Name: "P", HeightMM: 150, WidthMM: rapid.IntRange(40, 400).Draw(t, "beam width"),
			MassGPerM: rapid.Int64Range(1_000, 200_000).Draw(t, "mass per m"), WirePatterns: []string{"4W"},
		},
		block: laying.Block{
			Name: "B", LengthMM: rapid.IntRange(50, 1200).Draw(t, "block length"),
			PitchMM: rapid.IntRange(100, 1500).Draw(t, "pitch"), MassG: 10_000,
		},
		rules: laying.Rules{
			LengthStepMM: rapid.IntRange(1, 1000).Draw(t, "step"), MinBearingMM: 20, MaxBeamLengthMM: 40_000,
		},
	}
	s.room = room(rapid.IntRange(200, 30_000).Draw(t, "span"), rapid.IntRange(200, 100_000).Draw(t, "width"),
		rapid.IntRange(20, 1000).Draw(t, "bearing"), rapid.IntRange(1, 3).Draw(t, "beams per row"))
	s.room.Profile, s.room.Block = "P", "B"
	return s
}

// TestLayProperties holds for every room that Check lets pass. Positions are
// compared in half millimetres, so that beams of odd width lose nothing.
func TestLayProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSample(t)
		if laying.Check(s.room, &s.profile, &s.block, s.rules) != nil {
			t.Skip("cannot be laid")
		}
		plan := laying.Lay(s.room, s.profile, s.block, s.rules)
		if len(plan.Beams) == 0 {
			t.Fatal("no beam")
		}
		if got := laying.BeamCount(s.room, s.profile, s.block); got != len(plan.Beams) {
			t.Fatalf("BeamCount says %d, %d laid", got, len(plan.Beams))
		}
		checkBeams(t, s, plan)
		checkBays(t, s, plan)
	})
}

func checkBeams(t *rapid.T, s sample, plan laying.RoomPlan) {
	step, width := s.rules.LengthStepMM, s.profile.WidthMM
	end := 0 // right edge of the beam before, in half millimetres
	for i, b := range plan.Beams {
		left, right := 2*b.OffsetMM-width, 2*b.OffsetMM+width
		if left < end {
			t.Fatalf("beam %s starts at %d, inside the wall or the beam before, which ends at %d", b.Mark, left, end)
		}
		if b.PlaceInRow > 1 && left != end {
			t.Fatalf("beam %s does not touch the beam before in its row", b.Mark)
		}
		if right > 2*s.room.WidthMM {
			t.Fatalf("beam %s stands in the far wall", b.Mark)
		}
		end = right
		need := s.room.ClearSpanMM + 2*s.room.BearingMM
		if b.LengthMM%step != 0 || b.LengthMM < need || b.LengthMM >= need+step {
			t.Fatalf("beam of %d mm over %d mm with step %d", b.LengthMM, need, step)
		}
		exact := int64(b.LengthMM) * s.profile.MassGPerM // thousandths of a gram
		if diff := b.MassG*1000 - exact; diff <= -500 || diff > 500 {
			t.Fatalf("mass %d g is %d mg off", b.MassG, diff)
		}
		if want := i/s.room.BeamsPerRow + 1; b.Row != want || b.PlaceInRow != i%s.room.BeamsPerRow+1 {
			t.Fatalf("beam %d says row %d place %d", i, b.Row, b.PlaceInRow)
		}
		floor, rest, _ := strings.Cut(b.Mark, "-")
		name, number, _ := strings.Cut(rest, "-")
		if floor != s.room.Floor || name != s.room.Room || number != fmt.Sprintf("%02d", i+1) {
			t.Fatalf("mark %s of beam %d does not read back", b.Mark, i+1)
		}
	}
}

func checkBays(t *rapid.T, s sample, plan laying.RoomPlan) {
	bays := laying.Bays(plan, s.profile.WidthMM)
	sum, withBlocks, cutBays := 0, 0, 0
	for i, bay := range bays {
		if bay.WidthMM > s.block.PitchMM {
			t.Fatalf("bay %d is %d mm wide, wider than the block's pitch", i, bay.WidthMM)
		}
		if bay.ClearHalfMM < 0 {
			t.Fatalf("bay %d is narrower than nothing", i)
		}
		sum += bay.ClearHalfMM
		if bay.ClearHalfMM >= 2 {
			withBlocks++
			if bay.WidthMM < s.block.PitchMM {
				cutBays++
			}
		}
	}
	if want := 2*s.room.WidthMM - 2*len(plan.Beams)*s.profile.WidthMM; sum != want {
		t.Fatalf("bays and beams fill %d half mm, the room has %d", sum, want)
	}
	if cutBays > 2 || cutBays == 2 && s.room.WidthMM > s.block.PitchMM {
		t.Fatalf("%d bays with filler", cutBays)
	}
	if (cutBays == 0) != (plan.FillerWidthMM == 0) {
		t.Fatalf("%d bays with filler, filler width %d", cutBays, plan.FillerWidthMM)
	}
	if withBlocks == 0 {
		if plan.BlockCount != 0 {
			t.Fatalf("%d blocks and no bay", plan.BlockCount)
		}
		return
	}
	if plan.BlockCount%withBlocks != 0 {
		t.Fatalf("%d blocks in %d bays", plan.BlockCount, withBlocks)
	}
	perBay := plan.BlockCount / withBlocks
	if perBay*s.block.LengthMM < s.room.ClearSpanMM || (perBay-1)*s.block.LengthMM >= s.room.ClearSpanMM {
		t.Fatalf("%d blocks of %d mm for a span of %d mm", perBay, s.block.LengthMM, s.room.ClearSpanMM)
	}
	cut := cutBays * perBay
	if perBay*s.block.LengthMM > s.room.ClearSpanMM {
		cut += withBlocks - cutBays
	}
	if plan.CutBlockCount != cut {
		t.Fatalf("%d blocks cut, counted %d", plan.CutBlockCount, cut)
	}
}
