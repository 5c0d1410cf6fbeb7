package codec

import (
	"slices"

	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/strength"
)

// askedProto writes what is asked of a room.
func askedProto(m *eventv1.RoomPlan, r design.Room) {
	m.Outline = each(r.Shape.Outline, pointProto)
	for i, h := range r.Shape.Holes {
		m.Holes = append(m.Holes, &eventv1.PlanHole{Corners: each(h, pointProto), Supports: i < len(r.HoleSupports) && r.HoleSupports[i]})
	}
	for side, open := range r.OpenSides {
		if open {
			m.OpenSides = append(m.OpenSides, int32(side))
		}
	}
	slices.Sort(m.OpenSides)
	m.Partitions = each(r.Partitions, func(p arrange.Partition) *eventv1.PlanPartition {
		return &eventv1.PlanPartition{From: pointProto(p.From), To: pointProto(p.To), KnPerM: p.NPerMM}
	})
	m.Wishes = &eventv1.RoomWishes{
		DirectionDegrees: r.DirectionDegrees, Profile: r.Profile, WirePattern: r.Pattern, BlockKind: r.Block,
		BeamsPerRow: int32(r.PerRow), BearingMm: r.BearingMM,
	}
}

// AskedOf returns what is asked of a stored room.
func AskedOf(m *eventv1.RoomPlan) design.Room {
	w := m.GetWishes()
	r := design.Room{
		ID: m.GetRoom(), Name: m.GetRoomName(), Order: int(m.GetLayingOrder()),
		Shape: geometry.Polygon{Outline: each(m.GetOutline(), pointOf)},
		Loads: design.Loads{
			Category: strength.Category(m.GetCategory()), ImposedKNPerM2: float64(m.GetImposedLoadNPerM2()) / 1000, FinishesKNPerM2: float64(m.GetFinishesLoadNPerM2()) / 1000,
		},
		Partitions:       PartitionsOf(m.GetPartitions()),
		OpenSides:        OpenSidesOf(m.GetOpenSides()),
		DirectionDegrees: nil, Profile: w.GetProfile(), Pattern: w.GetWirePattern(), Block: w.GetBlockKind(), PerRow: int(w.GetBeamsPerRow()), BearingMM: w.GetBearingMm(),
	}
	if w != nil {
		r.DirectionDegrees = w.DirectionDegrees
	}
	r.Shape.Holes, r.HoleSupports = HolesOf(m.GetHoles())
	return r
}

// drawnProto writes what a drawing says of a room; nil for nil.
func drawnProto(r *design.Room) *eventv1.DrawnRoom {
	if r == nil {
		return nil
	}
	var m eventv1.RoomPlan
	askedProto(&m, *r)
	return &eventv1.DrawnRoom{
		RoomName: r.Name, Category: string(r.Loads.Category), ImposedLoadNPerM2: newtons(r.Loads.ImposedKNPerM2), FinishesLoadNPerM2: newtons(r.Loads.FinishesKNPerM2),
		Holes: m.GetHoles(), OpenSides: m.GetOpenSides(), Partitions: m.GetPartitions(), Wishes: m.GetWishes(),
	}
}

// drawnOf is the inverse of drawnProto.
func drawnOf(m *eventv1.DrawnRoom) *design.Room {
	if m == nil {
		return nil
	}
	r := AskedOf(&eventv1.RoomPlan{
		RoomName: m.GetRoomName(), Category: m.GetCategory(),
		ImposedLoadNPerM2: m.GetImposedLoadNPerM2(), FinishesLoadNPerM2: m.GetFinishesLoadNPerM2(),
		Holes: m.GetHoles(), OpenSides: m.GetOpenSides(), Partitions: m.GetPartitions(), Wishes: m.GetWishes(),
	})
	return &r
}

// newtons returns a load in whole N/m2, in which it is stored.
func newtons(kNPerM2 float64) int32 { return round32(1000 * kNPerM2) }

// PartitionsOf returns the partitions of a stored room.
func PartitionsOf(messages []*eventv1.PlanPartition) []arrange.Partition {
	return each(messages, func(p *eventv1.PlanPartition) arrange.Partition {
		return arrange.Partition{From: pointOf(p.GetFrom()), To: pointOf(p.GetTo()), NPerMM: p.GetKnPerM()}
	})
}

// OpenSidesOf returns the sides of a stored room that carry nothing.
func OpenSidesOf(sides []int32) map[int]bool {
	if len(sides) == 0 {
		return nil
	}
	open := map[int]bool{}
	for _, s := range sides {
		open[int(s)] = true
	}
	return open
}

// HolesOf returns the holes of a stored room and which of them support beams;
// that is nil when none does.
func HolesOf(messages []*eventv1.PlanHole) (holes [][]geometry.Point, supports []bool) {
	some := false
	for _, h := range messages {
		holes = append(holes, each(h.GetCorners(), pointOf))
		supports = append(supports, h.GetSupports())
		some = some || h.GetSupports()
	}
	if !some {
		supports = nil
	}
	return holes, supports
}

// OutlineOf returns a stored outline.
func OutlineOf(points []*eventv1.PlanPoint) []geometry.Point { return each(points, pointOf) }

func pointOf(p *eventv1.PlanPoint) geometry.Point {
	return geometry.Point{X: p.GetXMm(), Y: p.GetYMm()}
}
