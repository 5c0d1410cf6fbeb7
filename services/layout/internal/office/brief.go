package office

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/strength"
)

// Limits of what may be asked of a room. They are far beyond anything that is
// built; they keep slips of the keyboard out, and numbers with which nothing
// can be computed.
const (
	farthestMM          = 100_000_000
	mostCorners         = 10_000
	mostHoles           = 200
	mostPartitions      = 200
	mostPartitionKNPerM = 100
	mostLoadKNPerM2     = 50
	mostBearingWishMM   = 500
	// atWallMM is how far a partition may be drawn into a wall.
	atWallMM = 500
)

// checkBrief notes in f what no room can be; what the yard cannot lay is for
// the engine to say. Places begin with where. An outline that is none is noted
// where drawn says that a person has just drawn it; one from a file is named
// in the plan, beside the good rooms.
func checkBrief(f *fault.Error, where string, r design.Room, drawn bool) {
	before := len(f.Places)
	checkShape(f, where, r)
	if err := r.Shape.Validate(); err != nil && drawn && len(f.Places) == before {
		f.At(where+"outline", "", err.Error(), "corners in turn round the room, holes inside it")
	}
	if name := strings.TrimSpace(r.Name); name != "" {
		if problem := textProblem(name, MaxRoomNameChars); problem != "" {
			f.At(where+"room_name", clip(r.Name), problem, textAllowed(MaxRoomNameChars))
		}
	}
	if _, ok := strength.RecommendedPsi[r.Loads.Category]; !ok {
		f.At(where+"category", clip(string(r.Loads.Category)), "is no category of use", "A, B, C, D or E (EN 1991-1-1, table 6.1)")
	}
	for _, l := range []struct {
		field string
		value float64
	}{{"imposed_kn_per_m2", r.Loads.ImposedKNPerM2}, {"finishes_kn_per_m2", r.Loads.FinishesKNPerM2}} {
		if !(l.value >= 0 && l.value <= mostLoadKNPerM2) {
			f.At(where+l.field, fmt.Sprint(l.value), "is out of range", fmt.Sprintf("0 to %d kN/m2", mostLoadKNPerM2))
		}
	}
	checkWishes(f, where+"wishes.", r)
	if len(f.Places) > before {
		return // nothing can be said of partitions in an outline that is none
	}
	if n := len(r.Partitions); n > mostPartitions {
		f.At(where+"partitions", strconv.Itoa(n), "are too many", strconv.Itoa(mostPartitions))
		return
	}
	for i, p := range r.Partitions {
		checkPartition(f, fmt.Sprintf("%spartitions[%d]", where, i), p.NPerMM, p.From, p.To, r.Shape)
	}
}

func checkShape(f *fault.Error, where string, r design.Room) {
	corners := len(r.Shape.Outline)
	ok := allNear(r.Shape.Outline)
	for _, h := range r.Shape.Holes {
		corners += len(h)
		ok = ok && allNear(h)
	}
	if !ok {
		f.At(where+"outline", "", "has a corner that is nowhere", fmt.Sprintf("corners no farther than %d km from the origin", farthestMM/1_000_000))
	}
	if corners > mostCorners || len(r.Shape.Holes) > mostHoles {
		f.At(where+"outline", "", fmt.Sprintf("has %d corners and %d holes", corners, len(r.Shape.Holes)), fmt.Sprintf("at most %d and %d", mostCorners, mostHoles))
	}
	if len(r.HoleSupports) > 0 && len(r.HoleSupports) != len(r.Shape.Holes) {
		f.At(where+"holes", strconv.Itoa(len(r.HoleSupports)), "does not say of every hole whether it supports", strconv.Itoa(len(r.Shape.Holes)))
	}
	for side := range r.OpenSides {
		if side < 0 || side >= len(r.Shape.Outline) {
			f.At(where+"open_sides", strconv.Itoa(side), "is no side of the outline", fmt.Sprintf("0 to %d", len(r.Shape.Outline)-1))
		}
	}
}

// near reports whether a point is a place on a drawing. What is no number is
// nowhere.
func near(p geometry.Point) bool { return math.Abs(p.X) <= farthestMM && math.Abs(p.Y) <= farthestMM }

func allNear(ring []geometry.Point) bool {
	for _, p := range ring {
		if !near(p) {
			return false
		}
	}
	return true
}

func checkWishes(f *fault.Error, where string, r design.Room) {
	for _, w := range []struct{ field, value string }{{"profile", r.Profile}, {"wire_pattern", r.Pattern}, {"block_kind", r.Block}} {
		if w.value == "" {
			continue
		}
		if problem := textProblem(w.value, MaxNameChars); problem != "" {
			f.At(where+w.field, clip(w.value), problem, textAllowed(MaxNameChars))
		}
	}
	if r.PerRow < 0 || r.PerRow > int(BeamsPerRowRange.Max) {
		f.At(where+"beams_per_row", strconv.Itoa(r.PerRow), "is out of range", fmt.Sprintf("1 to %d, or 0 to leave it open", BeamsPerRowRange.Max))
	}
	if !(r.BearingMM >= 0 && r.BearingMM <= mostBearingWishMM) {
		f.At(where+"bearing_mm", fmt.Sprint(r.BearingMM), "is out of range", fmt.Sprintf("up to %d, or 0 to leave it open", mostBearingWishMM))
	}
	if d := r.DirectionDegrees; d != nil && !(*d >= -360 && *d <= 360) {
		f.At(where+"direction_degrees", fmt.Sprint(*d), "is no direction", "-360 to 360, or nothing to leave it open")
	}
}

func checkPartition(f *fault.Error, where string, load float64, from, to geometry.Point, room geometry.Polygon) {
	if !(load >= 0 && load <= mostPartitionKNPerM) {
		f.At(where+".kn_per_m", fmt.Sprint(load), "is out of range", fmt.Sprintf("0 to %d kN/m", mostPartitionKNPerM))
	}
	for _, p := range []geometry.Point{from, to} {
		if !near(p) || !room.Contains(p) && room.Distance(p) > atWallMM {
			f.At(where, "", "does not stand in the room", "a line from point to point inside the outline")
			return
		}
	}
}
