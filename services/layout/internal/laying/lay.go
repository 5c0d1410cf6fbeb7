package laying

import (
	"fmt"
	"strconv"
	"strings"
)

// Check returns why room cannot be laid with the profile and the block under
// the yard's rules; nil when it can. A zero in the room or a nil profile or
// block stands for a value that is not known; what depends on it is not
// checked.
func Check(room Room, profile *Profile, block *Block, rules Rules) []Problem {
	var problems []Problem
	if room.BearingMM > 0 && room.BearingMM < rules.MinBearingMM {
		problems = append(problems, Problem{
			Field: "bearing_mm", Value: strconv.Itoa(room.BearingMM),
			Problem: "is shorter than the yard's shortest bearing",
			Allowed: fmt.Sprintf("%d mm or more", rules.MinBearingMM),
		})
	}
	problems = append(problems, checkLength(room, rules)...)
	if profile == nil {
		return problems
	}
	if room.WirePattern != "" && !profile.HasPattern(room.WirePattern) {
		problems = append(problems, Problem{
			Field: "wire_pattern", Value: room.WirePattern,
			Problem: fmt.Sprintf("is no wire pattern of profile %s", profile.Name),
			Allowed: strings.Join(profile.WirePatterns, ", "),
		})
	}
	return append(problems, checkAcross(room, *profile, block)...)
}

func checkLength(room Room, rules Rules) []Problem {
	if room.ClearSpanMM <= 0 || room.BearingMM <= 0 {
		return nil
	}
	length := BeamLengthMM(room.ClearSpanMM, room.BearingMM, rules.LengthStepMM)
	if length <= rules.MaxBeamLengthMM {
		return nil
	}
	return []Problem{{
		Field: "clear_span_mm", Value: strconv.Itoa(room.ClearSpanMM),
		Problem: fmt.Sprintf("needs beams of %d mm, longer than the bed casts", length),
		Allowed: fmt.Sprintf("beams of %d mm or less, both bearings included", rules.MaxBeamLengthMM),
	}}
}

// checkAcross makes sure that a row moved back to the far wall keeps clear of
// the row before it, and that a narrow room is wider than its row.
func checkAcross(room Room, profile Profile, block *Block) []Problem {
	k := room.BeamsPerRow
	if k <= 0 {
		return nil
	}
	var problems []Problem
	if block != nil && 2*block.PitchMM < (2*k+1)*profile.WidthMM {
		problems = append(problems, Problem{
			Field: "block_kind", Value: block.Name,
			Problem: fmt.Sprintf("has a pitch of %d mm, too small for %d beams of %d mm in a row",
				block.PitchMM, k, profile.WidthMM),
			Allowed: fmt.Sprintf("a pitch of %d mm or more", ceilDiv((2*k+1)*profile.WidthMM, 2)),
		})
	}
	if room.WidthMM > 0 && room.WidthMM <= k*profile.WidthMM {
		problems = append(problems, Problem{
			Field: "width_mm", Value: strconv.Itoa(room.WidthMM),
			Problem: fmt.Sprintf("is no wider than one row of %d beams of %d mm", k, profile.WidthMM),
			Allowed: fmt.Sprintf("more than %d mm", k*profile.WidthMM),
		})
	}
	return problems
}

// BeamLengthMM returns the overall length of the beams of a room.
func BeamLengthMM(clearSpanMM, bearingMM, stepMM int) int {
	return ceilDiv(clearSpanMM+2*bearingMM, stepMM) * stepMM
}

// BeamCount returns how many beams a room takes, without laying them.
func BeamCount(room Room, profile Profile, block Block) int {
	return room.BeamsPerRow * rowCount(room.WidthMM, block.PitchMM, profile.WidthMM, room.BeamsPerRow)
}

// Lay lays a room in which Check finds no problem.
func Lay(room Room, profile Profile, block Block, rules Rules) RoomPlan {
	length := BeamLengthMM(room.ClearSpanMM, room.BearingMM, rules.LengthStepMM)
	firsts := rowsAcross(room.WidthMM, block.PitchMM, profile.WidthMM, room.BeamsPerRow)
	plan := RoomPlan{
		Room: room.Room, Name: room.Name, LayingOrder: room.LayingOrder,
		ClearSpanMM: room.ClearSpanMM, WidthMM: room.WidthMM,
		SpanDirection: room.SpanDirection, BearingMM: room.BearingMM,
		PitchMM: block.PitchMM + (room.BeamsPerRow-1)*profile.WidthMM, Block: block.Name,
		ImposedLoadNPerM2: room.ImposedLoadNPerM2, FinishesLoadNPerM2: room.FinishesLoadNPerM2,
		Beams: make([]Beam, 0, len(firsts)*room.BeamsPerRow),
	}
	mass := profile.BeamMassG(length)
	for r, first := range firsts {
		for i := range room.BeamsPerRow {
			plan.Beams = append(plan.Beams, Beam{
				Mark: Mark(room.Floor, room.Room, len(plan.Beams)+1),
				Row:  r + 1, PlaceInRow: i + 1,
				Profile: profile.Name, WirePattern: room.WirePattern,
				LengthMM: length, MassG: mass,
				OffsetMM: first + i*profile.WidthMM,
			})
		}
	}
	fillBays(&plan, profile, block)
	return plan
}

// rowCount returns the number of rows of k beams of width beam across a room.
func rowCount(width, pitch, beam, k int) int {
	if width <= pitch {
		return 1
	}
	return ceilDiv(width-pitch, pitch+(k-1)*beam)
}

// rowsAcross returns the centre line of the first beam of every row. Centre
// lines are whole millimetres; where half a millimetre has to go somewhere,
// it goes so that no beam stands in a wall.
func rowsAcross(width, pitch, beam, k int) []int {
	if width <= pitch {
		return []int{(width-k*beam)/2 + (beam+1)/2}
	}
	n := rowCount(width, pitch, beam, k)
	step := pitch + (k-1)*beam
	firsts := make([]int, n)
	for j := range firsts {
		firsts[j] = pitch + j*step
	}
	if closing := width - n*step; 2*closing < beam {
		firsts[n-1] -= (beam+1)/2 - closing
	}
	return firsts
}

// fillBays counts the blocks of every bay of a room whose beams lie. The
// widths are those from centre line to centre line (or wall face), which is
// how a pitch is measured.
func fillBays(plan *RoomPlan, profile Profile, block Block) {
	perBay := ceilDiv(plan.ClearSpanMM, block.LengthMM)
	cutInLength := 0
	if plan.ClearSpanMM%block.LengthMM != 0 {
		cutInLength = 1
	}
	for _, bay := range Bays(*plan, profile.WidthMM) {
		switch {
		case bay.ClearHalfMM < 2: // touching, or a joint
		case bay.WidthMM == block.PitchMM:
			plan.BlockCount += perBay
			plan.CutBlockCount += cutInLength
		default:
			plan.BlockCount += perBay
			plan.CutBlockCount += perBay
			if plan.FillerWidthMM == 0 {
				plan.FillerWidthMM = bay.WidthMM
			}
		}
	}
}

// Bay is the space between two neighbouring rows, or a row and a wall.
type Bay struct {
	// WidthMM from centre line to centre line, or to the wall's face.
	WidthMM int
	// ClearHalfMM is the width between the flanges, or flange and wall face,
	// in half millimetres: a beam of odd width ends at a half.
	ClearHalfMM int
}

// Bays returns the bays of a plan from the first wall to the far one.
func Bays(plan RoomPlan, beamWidthMM int) []Bay {
	var bays []Bay
	from, half := 0, 0 // the wall's face; the half beam width left of the bay
	for _, b := range plan.Beams {
		if b.PlaceInRow == 1 {
			width := b.OffsetMM - from
			bays = append(bays, Bay{WidthMM: width, ClearHalfMM: 2*width - half - beamWidthMM})
		}
		from, half = b.OffsetMM, beamWidthMM
	}
	width := plan.WidthMM - from
	return append(bays, Bay{WidthMM: width, ClearHalfMM: 2*width - half})
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }
