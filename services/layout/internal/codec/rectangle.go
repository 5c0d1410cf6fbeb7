package codec

import (
	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/office"
)

// rectangle returns a room from before strength was computed.
func rectangle(m *eventv1.RoomPlan, c office.Catalogue) office.Room {
	along, across := float64(m.GetClearSpanMm()), float64(m.GetWidthMm())
	r := office.Room{RoomPlan: design.RoomPlan{Room: AskedOf(m)}}
	r.Kit = arrange.Kit{Block: m.GetBlockKind()}
	if len(m.GetBeams()) > 0 {
		r.Kit.Profile = m.GetBeams()[0].GetProduct().GetProfile()
	}
	for _, p := range c.Profiles {
		if p.Name == r.Kit.Profile {
			r.Kit.WidthMM = float64(p.WidthMM)
			r.Kit.Patterns = each(p.WirePatterns, func(name string) arrange.Pattern { return arrange.Pattern{Name: name} })
		}
	}
	perRow := 1
	for _, b := range m.GetBeams() {
		perRow = max(perRow, int(b.GetPlaceInRow()))
	}
	r.Kit.PitchMM = float64(m.GetPitchMm()) - float64(perRow-1)*r.Kit.WidthMM
	r.Room.BearingMM = float64(m.GetBearingMm())
	if m.GetSpanDirection() == "y" {
		r.Layout.DirectionDegrees = 90
	}
	frame := geometry.NewFrame(r.Layout.DirectionDegrees)
	corner := func(x, y float64) geometry.Point { return frame.Out(geometry.Point{X: x, Y: y}) }
	r.Room.Shape.Outline = []geometry.Point{corner(0, 0), corner(along, 0), corner(along, across), corner(0, across)}
	filler := float64(m.GetFillerWidthMm())
	r.Layout.Bays = []arrange.Bay{{High: filler, Filler: filler > 0, Whole: int(m.GetBlockCount() - m.GetCutBlockCount()), Cut: int(m.GetCutBlockCount())}}
	for _, b := range m.GetBeams() {
		over := (float64(b.GetProduct().GetLengthMm()) - along) / 2
		low, high := float64(b.GetOffsetMm())-r.Kit.WidthMM/2, float64(b.GetOffsetMm())+r.Kit.WidthMM/2
		quad := geometry.Quad{corner(-over, low), corner(along+over, low), corner(along+over, high), corner(-over, high)}
		placed := &eventv1.BeamPlan{
			Mark: b.GetMark(), Row: b.GetRow(), PlaceInRow: b.GetPlaceInRow(), Product: b.GetProduct(), MassG: b.GetMassG(),
			Corners: each(quad[:], pointProto), ClearSpanMm: along, BeamsInRow: int32(perRow),
		}
		addBeam(&r, placed)
	}
	return r
}
