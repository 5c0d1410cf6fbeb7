package codec

import (
	"fmt"
	"math"
	"slices"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/office"
)

// PlanProto returns the stored form of a plan, which is also what others read.
func PlanProto(p office.Plan) *eventv1.LayingPlan {
	return &eventv1.LayingPlan{
		JobId: p.Job, JobName: p.JobName, Floor: p.Floor, Revision: int32(p.Revision), Strength: eventv1.Strength(p.Strength),
		Rooms:    each(p.Rooms, func(r office.Room) *eventv1.RoomPlan { return RoomProto(r, p.Strength) }),
		Profiles: ProfilesProto(p.Catalogue.Profiles), Blocks: BlocksProto(p.Catalogue.Blocks), Basis: BasisProto(p.Catalogue.Basis),
		LengthStepMm: int32(p.Catalogue.LengthStepMM), MinBearingMm: int32(p.Catalogue.MinBearingMM), MaxBeamLengthMm: int32(p.Catalogue.MaxBeamLengthMM),
		Problems: each(p.Problems, func(x office.Problem) *eventv1.PlanProblem {
			return &eventv1.PlanProblem{Entity: x.Entity, Layer: x.Layer, Problem: x.What, LeftOutReason: x.LeftOut}
		}),
		Schematic: p.Schematic,
	}
}

// PlanOf is the inverse of PlanProto. A plan from before strength was computed
// becomes one of rectangles.
func PlanOf(m *eventv1.LayingPlan) (office.Plan, error) {
	if m.GetRevision() < 1 {
		return office.Plan{}, fmt.Errorf("a laying plan of job %q floor %q has no revision", m.GetJobId(), m.GetFloor())
	}
	p := office.Plan{
		Job: m.GetJobId(), JobName: m.GetJobName(), Floor: m.GetFloor(), Revision: int(m.GetRevision()),
		Strength: office.Strength(m.GetStrength()), Schematic: m.GetSchematic() || m.GetBasis() == nil,
		Catalogue: office.Catalogue{
			Profiles: ProfilesOf(m.GetProfiles()), Blocks: BlocksOf(m.GetBlocks()), Basis: BasisOf(m.GetBasis()),
			LengthStepMM: int(m.GetLengthStepMm()), MinBearingMM: int(m.GetMinBearingMm()), MaxBeamLengthMM: int(m.GetMaxBeamLengthMm()),
		},
		Problems: each(m.GetProblems(), func(x *eventv1.PlanProblem) office.Problem {
			return office.Problem{Entity: x.GetEntity(), Layer: x.GetLayer(), What: x.GetProblem(), LeftOut: x.GetLeftOutReason()}
		}),
	}
	p.Rooms = each(m.GetRooms(), func(r *eventv1.RoomPlan) office.Room {
		if len(r.GetOutline()) == 0 {
			return rectangle(r, p.Catalogue)
		}
		return RoomOf(r)
	})
	return p, nil
}

// RoomProto returns the stored form of a room in a plan of some strength.
func RoomProto(r office.Room, s office.Strength) *eventv1.RoomPlan {
	all, cut := r.Blocks()
	frame := geometry.NewFrame(r.Layout.DirectionDegrees)
	low, high := frame.PolygonIn(r.Room.Shape).Bounds()
	m := &eventv1.RoomPlan{
		Room: r.Room.ID, RoomName: r.Room.Name, LayingOrder: int32(r.Room.Order),
		WidthMm: round32(high.Y - low.Y), SpanDirection: directionName(r.Layout.DirectionDegrees), BearingMm: round32(bearing(r)),
		BlockKind: r.Kit.Block, Kit: kitProto(r.Kit), BlockCount: int32(all), CutBlockCount: int32(cut),
		ImposedLoadNPerM2: newtons(r.Room.Loads.ImposedKNPerM2), FinishesLoadNPerM2: newtons(r.Room.Loads.FinishesKNPerM2),
		Category: string(r.Room.Loads.Category), LeftOutReason: r.LeftOut, State: stateOf(r, s),
		DirectionDegrees: r.Layout.DirectionDegrees, FillMm2: r.Layout.FillMM2, BeamMm2: r.Layout.BeamMM2, Cents: r.Layout.Cents,
	}
	askedProto(m, r.Room)
	m.Drawn = drawnProto(r.Drawn)
	if r.Refused != nil {
		m.Refusal, m.RefusalHelp, m.RefusalCode = r.Refused.Reason, r.Refused.Help, r.Refused.Code()
	}
	for i, b := range r.Beams {
		m.ClearSpanMm = max(m.GetClearSpanMm(), round32(b.ClearMM))
		m.Beams = append(m.Beams, beamProto(b, r.Layout.Beams[i], frame, low.Y))
	}
	if len(r.Beams) > 0 {
		m.PitchMm = round32(r.Kit.PitchMM + float64(r.Beams[0].PerRow-1)*r.Kit.WidthMM)
	}
	for _, b := range r.Layout.Bays {
		if b.Filler && m.GetFillerWidthMm() == 0 {
			m.FillerWidthMm = round32(b.High - b.Low)
		}
		m.Bays = append(m.Bays, &eventv1.PlanBay{
			LowMm: b.Low, HighMm: b.High, AreaMm2: b.AreaMM2, WholeBlocks: int32(b.Whole), CutBlocks: int32(b.Cut), Filler: b.Filler,
		})
	}
	for i, h := range r.Layout.Headers {
		t := &eventv1.PlanTrimmer{From: pointProto(h.From), To: pointProto(h.To), LengthMm: h.LengthMM, ClearMm: h.ClearMM, Trimmer: int32(h.Trimmer),
			Fullness: h.Outcome.Fullness, Governing: h.Outcome.Governing, Forces: each(h.Forces, forceProto)}
		if i < len(r.Trimmers) { // older plans have none that are checked
			t.Corners = each(h.Quad[:], pointProto)
			p := r.Trimmers[i]
			t.Mark, t.Name, t.MassG = p.Mark, p.Name, p.MassG
		}
		m.Trimmers = append(m.Trimmers, t)
	}
	for _, q := range r.Layout.Fills {
		m.FillCorners = append(m.FillCorners, each(q[:], pointProto)...)
	}
	return m
}

// bearing of a room's beams on its walls: what is asked for, else what they
// were laid with. Beams on the edge of an opening have less.
func bearing(r office.Room) float64 {
	mm := r.Room.BearingMM
	for _, b := range r.Layout.Beams {
		if b.Member != nil {
			mm = max(mm, b.Member.BearingMM)
		}
	}
	return mm
}

func stateOf(r office.Room, s office.Strength) eventv1.RoomState {
	switch {
	case r.LeftOut != "":
		return eventv1.RoomState_ROOM_STATE_LEFT_OUT
	case r.Refused != nil:
		return eventv1.RoomState_ROOM_STATE_REFUSED
	case s == office.NotChecked:
		return eventv1.RoomState_ROOM_STATE_UNSPECIFIED
	default:
		return eventv1.RoomState_ROOM_STATE_LAID
	}
}

// directionName is x or y for beams that run along one of them.
func directionName(degrees float64) string {
	turned := math.Mod(math.Mod(degrees, 180)+180, 180)
	switch {
	case turned < 0.01 || turned > 179.99:
		return "x"
	case math.Abs(turned-90) < 0.01:
		return "y"
	default:
		return ""
	}
}

func pointProto(p geometry.Point) *eventv1.PlanPoint { return &eventv1.PlanPoint{XMm: p.X, YMm: p.Y} }

func beamProto(b design.Beam, placed arrange.Beam, frame geometry.Frame, lowMM float64) *eventv1.BeamPlan {
	middle := frame.In(geometry.Point{X: (b.Quad[0].X + b.Quad[2].X) / 2, Y: (b.Quad[0].Y + b.Quad[2].Y) / 2})
	return &eventv1.BeamPlan{
		Mark: b.Mark, Row: int32(b.Row), PlaceInRow: int32(placed.Place), MassG: b.MassG, OffsetMm: round32(middle.Y - lowMM),
		Product: ProductProto(b),
		Corners: each(b.Quad[:], pointProto), ClearSpanMm: b.ClearMM, BeamsInRow: int32(b.PerRow), Fullness: b.Fullness, Governing: b.Governing,
		Member: memberProto(placed.Member),
	}
}

// ProductProto says which beams can stand for one another.
func ProductProto(b design.Beam) *commonv1.BeamProduct {
	return &commonv1.BeamProduct{Profile: b.Profile, WirePattern: b.Pattern, LengthMm: int32(b.LengthMM)}
}

func forceProto(p arrange.PointForce) *eventv1.PlanPointForce {
	return &eventv1.PlanPointForce{AtMm: p.AtMM, PermanentN: p.PermanentN, VariableN: p.VariableN}
}

func forceOf(p *eventv1.PlanPointForce) arrange.PointForce {
	return arrange.PointForce{AtMM: p.GetAtMm(), Force: arrange.Force{PermanentN: p.GetPermanentN(), VariableN: p.GetVariableN()}}
}

func headerOf(t *eventv1.PlanTrimmer) arrange.Header {
	return arrange.Header{From: pointOf(t.GetFrom()), To: pointOf(t.GetTo()), LengthMM: t.GetLengthMm(), ClearMM: t.GetClearMm(), Trimmer: int(t.GetTrimmer()),
		Quad: quadOf(t.GetCorners()), Forces: each(t.GetForces(), forceOf),
		Outcome: arrange.Outcome{Passes: t.GetMark() != "", Fullness: t.GetFullness(), Governing: t.GetGoverning()}}
}

// quadOf takes the first four points; all at the origin where there are fewer.
func quadOf(points []*eventv1.PlanPoint) (q geometry.Quad) {
	if len(points) < len(q) {
		return q
	}
	for i := range q {
		q[i] = pointOf(points[i])
	}
	return q
}

func memberProto(m *arrange.Member) *eventv1.PlanMember {
	if m == nil {
		return nil
	}
	return &eventv1.PlanMember{
		ClearMm: m.ClearMM, BearingMm: m.BearingMM, TributaryMm: m.TributaryMM,
		Lines: each(m.Lines, func(l arrange.Line) *eventv1.PlanLineLoad {
			return &eventv1.PlanLineLoad{FromMm: l.FromMM, ToMm: l.ToMM, NPerMm: l.NPerMM}
		}),
		Floors: each(m.Floors, func(a arrange.AreaLoad) *eventv1.PlanAreaLoad {
			return &eventv1.PlanAreaLoad{AtMm: a.AtMM, AreaMm2: a.AreaMM2}
		}),
		Points: each(m.Points, forceProto),
	}
}

// RoomOf is the inverse of RoomProto, for rooms that have been checked.
func RoomOf(m *eventv1.RoomPlan) office.Room {
	r := office.Room{LeftOut: m.GetLeftOutReason(), Drawn: drawnOf(m.GetDrawn()), RoomPlan: design.RoomPlan{Room: AskedOf(m)}}
	if m.GetRefusal() != "" {
		r.Refused = arrange.Refuse(m.GetRefusalCode(), m.GetRefusal(), m.GetRefusalHelp())
	}
	r.Kit = kitOf(m.GetKit())
	r.Layout = arrange.Layout{
		DirectionDegrees: m.GetDirectionDegrees(), FillMM2: m.GetFillMm2(), BeamMM2: m.GetBeamMm2(), Cents: m.GetCents(),
		Bays: each(m.GetBays(), func(b *eventv1.PlanBay) arrange.Bay {
			return arrange.Bay{Low: b.GetLowMm(), High: b.GetHighMm(), AreaMM2: b.GetAreaMm2(), Whole: int(b.GetWholeBlocks()), Cut: int(b.GetCutBlocks()), Filler: b.GetFiller()}
		}),
		Headers: each(m.GetTrimmers(), headerOf),
	}
	for c := m.GetFillCorners(); len(c) >= 4; c = c[4:] {
		r.Layout.Fills = append(r.Layout.Fills, quadOf(c))
	}
	for _, t := range m.GetTrimmers() {
		if h := headerOf(t); t.GetMark() != "" {
			r.Trimmers = append(r.Trimmers, design.TrimmerPiece{Mark: t.GetMark(), Name: t.GetName(), LengthMM: int(h.LengthMM),
				ClearMM: h.ClearMM, MassG: t.GetMassG(), Quad: h.Quad, Fullness: h.Outcome.Fullness, Governing: h.Outcome.Governing})
		}
	}
	for _, b := range m.GetBeams() {
		addBeam(&r, b)
	}
	return r
}

func kitProto(k arrange.Kit) *eventv1.PlanKit {
	if k.Profile == "" {
		return nil
	}
	m := &eventv1.PlanKit{
		Profile: k.Profile, BlockKind: k.Block, WidthMm: k.WidthMM, PitchMm: k.PitchMM, BlockLengthMm: k.BlockMM, BlockCents: k.BlockCents,
	}
	for _, p := range k.Patterns {
		m.WirePatterns, m.CentsPerM = append(m.WirePatterns, p.Name), append(m.CentsPerM, p.CentsPerM)
	}
	return m
}

func kitOf(m *eventv1.PlanKit) arrange.Kit {
	k := arrange.Kit{
		Profile: m.GetProfile(), Block: m.GetBlockKind(), WidthMM: m.GetWidthMm(), PitchMM: m.GetPitchMm(), BlockMM: m.GetBlockLengthMm(), BlockCents: m.GetBlockCents(),
	}
	for i, name := range m.GetWirePatterns() {
		p := arrange.Pattern{Name: name}
		if i < len(m.GetCentsPerM()) {
			p.CentsPerM = m.GetCentsPerM()[i]
		}
		k.Patterns = append(k.Patterns, p)
	}
	return k
}

// addBeam adds a stored beam to a room. Beams side by side over one clear span
// share a member; they are stored one after the other.
func addBeam(r *office.Room, m *eventv1.BeamPlan) {
	product := m.GetProduct()
	b := design.Beam{
		Mark: m.GetMark(), Profile: product.GetProfile(), Pattern: product.GetWirePattern(), LengthMM: int(product.GetLengthMm()), ClearMM: m.GetClearSpanMm(),
		PerRow: int(m.GetBeamsInRow()), Row: int(m.GetRow()), MassG: m.GetMassG(), Fullness: m.GetFullness(), Governing: m.GetGoverning(),
	}
	for i, c := range m.GetCorners() {
		if i < len(b.Quad) {
			b.Quad[i] = pointOf(c)
		}
	}
	placed := arrange.Beam{
		Row: b.Row, Place: int(m.GetPlaceInRow()), PerRow: b.PerRow, ClearMM: b.ClearMM, LengthMM: float64(b.LengthMM), Quad: b.Quad,
		Outcome: arrange.Outcome{Passes: true, Fullness: b.Fullness, Governing: b.Governing},
		Pattern: slices.IndexFunc(r.Kit.Patterns, func(p arrange.Pattern) bool { return p.Name == b.Pattern }),
	}
	placed.Member = memberOf(m.GetMember(), placed.Pattern, placed.PerRow)
	if n := len(r.Layout.Beams); n > 0 && placed.Place > 1 && sameMember(r.Layout.Beams[n-1].Member, placed.Member) {
		placed.Member = r.Layout.Beams[n-1].Member
	}
	r.Beams = append(r.Beams, b)
	r.Layout.Beams = append(r.Layout.Beams, placed)
}

func memberOf(m *eventv1.PlanMember, pattern, perRow int) *arrange.Member {
	if m == nil {
		return nil
	}
	return &arrange.Member{
		Pattern: pattern, PerRow: perRow, ClearMM: m.GetClearMm(), BearingMM: m.GetBearingMm(), TributaryMM: m.GetTributaryMm(),
		Lines: each(m.GetLines(), func(l *eventv1.PlanLineLoad) arrange.Line {
			return arrange.Line{FromMM: l.GetFromMm(), ToMM: l.GetToMm(), NPerMM: l.GetNPerMm()}
		}),
		Floors: each(m.GetFloors(), func(a *eventv1.PlanAreaLoad) arrange.AreaLoad {
			return arrange.AreaLoad{AtMM: a.GetAtMm(), AreaMM2: a.GetAreaMm2()}
		}),
		Points: each(m.GetPoints(), forceOf),
	}
}

func sameMember(a, b *arrange.Member) bool {
	return a != nil && b != nil && a.Pattern == b.Pattern && a.PerRow == b.PerRow && a.ClearMM == b.ClearMM && a.BearingMM == b.BearingMM &&
		a.TributaryMM == b.TributaryMM && slices.Equal(a.Lines, b.Lines) && slices.Equal(a.Floors, b.Floors) && slices.Equal(a.Points, b.Points)
}

func round32(v float64) int32 { return int32(math.Round(v)) }
