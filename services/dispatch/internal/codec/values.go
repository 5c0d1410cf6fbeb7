package codec

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/lashing"
)

// each turns every element of a list; an empty list stays nil.
func each[A, B any](list []A, turn func(A) B) []B {
	if len(list) == 0 {
		return nil
	}
	out := make([]B, len(list))
	for i, v := range list {
		out[i] = turn(v)
	}
	return out
}

// Int32s turns drop numbers and the like for a message.
func Int32s(list []int) []int32 { return each(list, func(n int) int32 { return int32(n) }) }

func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func moment(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}

func placeTo(p daybook.Place) *commonv1.Place {
	return &commonv1.Place{LatitudeDeg: p.LatitudeDeg, LongitudeDeg: p.LongitudeDeg}
}

func placeFrom(p *commonv1.Place) daybook.Place {
	return daybook.Place{LatitudeDeg: p.GetLatitudeDeg(), LongitudeDeg: p.GetLongitudeDeg()}
}

func windowTo(w daybook.Window) *commonv1.DayWindow {
	return &commonv1.DayWindow{OpensMinute: int32(w.OpensMinute), ClosesMinute: int32(w.ClosesMinute)}
}

func windowFrom(w *commonv1.DayWindow) daybook.Window {
	return daybook.Window{OpensMinute: int(w.GetOpensMinute()), ClosesMinute: int(w.GetClosesMinute())}
}

// ProductTo leaves the product of a pallet out.
func ProductTo(p daybook.Product) *commonv1.BeamProduct {
	if p == (daybook.Product{}) {
		return nil
	}
	return &commonv1.BeamProduct{Profile: p.Profile, WirePattern: p.WirePattern, LengthMm: int32(p.LengthMM)}
}

// Product returns a beam product as the domain has it.
func Product(p *commonv1.BeamProduct) daybook.Product {
	return daybook.Product{Profile: p.GetProfile(), WirePattern: p.GetWirePattern(), LengthMM: int(p.GetLengthMm())}
}

// RulesTo returns the rules as a message.
func RulesTo(r daybook.Rules) *eventv1.YardRules {
	m := &eventv1.YardRules{
		TimeZone:          r.TimeZone,
		Place:             placeTo(r.Place),
		RoadFactorPercent: int32(r.RoadFactorPercent),
		SpeedKmPerH:       int32(r.SpeedKMPerH),
		LoadingMinutes:    int32(r.LoadingMinutes),
		MaxTiers:          int32(r.MaxTiers),
		MaxPileHeightMm:   int32(r.MaxPileHeightMM),
		BearerHeightMm:    int32(r.BearerHeightMM),
		BearerInsetMm:     int32(r.BearerInsetMM),
		MaxOverhangMm:     int32(r.MaxOverhangMM),
		PileGapMm:         int32(r.PileGapMM),
		MaxLanes:          int32(r.MaxLanes),
		MaxTailOverhangMm: int32(r.MaxTailOverhangMM),
		LeadMinutes:       int32(r.LeadMinutes),

		LoadingBays:           int32(r.LoadingBays),
		Forklifts:             int32(r.Forklifts),
		LoadingMinutesPerPile: int32(r.LoadingMinutesPerPile),
	}
	if d := r.Driver; d != (daybook.DriverRules{}) {
		m.Driver = &eventv1.DriverRules{
			MaxDrivingMinutes: int32(d.MaxDrivingMinutes), DrivingBeforeBreakMinutes: int32(d.DrivingBeforeBreakMinutes), BreakMinutes: int32(d.BreakMinutes),
		}
	}
	if l := r.Lashing; l != (lashing.Rules{}) {
		m.Lashing = &eventv1.LashingRules{
			Friction: l.Friction, TensionDan: l.TensionDaN, AngleDeg: l.AngleDeg, Forward: l.Forward, Sideways: l.Sideways, Rearward: l.Rearward,
			Tilting: l.Tilting, SafetyForward: l.SafetyForward, Safety: l.Safety, Least: int32(l.Least),
		}
	}
	return m
}

func lashingFrom(m *eventv1.LashingRules) lashing.Rules {
	return lashing.Rules{
		Friction: m.GetFriction(), TensionDaN: m.GetTensionDan(), AngleDeg: m.GetAngleDeg(), Forward: m.GetForward(), Sideways: m.GetSideways(),
		Rearward: m.GetRearward(), Tilting: m.GetTilting(), SafetyForward: m.GetSafetyForward(), Safety: m.GetSafety(), Least: int(m.GetLeast()),
	}
}

// RulesFrom is the inverse of RulesTo.
func RulesFrom(r *eventv1.YardRules) daybook.Rules {
	return daybook.Rules{
		TimeZone:          r.GetTimeZone(),
		Place:             placeFrom(r.GetPlace()),
		RoadFactorPercent: int(r.GetRoadFactorPercent()),
		SpeedKMPerH:       int(r.GetSpeedKmPerH()),
		LoadingMinutes:    int(r.GetLoadingMinutes()),
		MaxTiers:          int(r.GetMaxTiers()),
		MaxPileHeightMM:   int(r.GetMaxPileHeightMm()),
		BearerHeightMM:    int(r.GetBearerHeightMm()),
		BearerInsetMM:     int(r.GetBearerInsetMm()),
		MaxOverhangMM:     int(r.GetMaxOverhangMm()),
		PileGapMM:         int(r.GetPileGapMm()),
		MaxLanes:          int(r.GetMaxLanes()),
		MaxTailOverhangMM: int(r.GetMaxTailOverhangMm()),
		LeadMinutes:       int(r.GetLeadMinutes()),
		Lashing:           lashingFrom(r.GetLashing()),

		LoadingBays:           int(r.GetLoadingBays()),
		Forklifts:             int(r.GetForklifts()),
		LoadingMinutesPerPile: int(r.GetLoadingMinutesPerPile()),
		Driver: daybook.DriverRules{
			MaxDrivingMinutes: int(r.GetDriver().GetMaxDrivingMinutes()), DrivingBeforeBreakMinutes: int(r.GetDriver().GetDrivingBeforeBreakMinutes()),
			BreakMinutes: int(r.GetDriver().GetBreakMinutes()),
		},
	}
}

func truckTo(t daybook.Truck) *eventv1.Truck {
	return &eventv1.Truck{
		TruckId:         t.ID,
		Name:            t.Name,
		DeckLengthMm:    int32(t.DeckLengthMM),
		DeckWidthMm:     int32(t.DeckWidthMM),
		PayloadKg:       int32(t.PayloadKG),
		TareFrontKg:     int32(t.TareFrontKG),
		TareRearKg:      int32(t.TareRearKG),
		MaxFrontKg:      int32(t.MaxFrontKG),
		MaxRearKg:       int32(t.MaxRearKG),
		WheelbaseMm:     int32(t.WheelbaseMM),
		DeckStartMm:     int32(t.DeckStartMM),
		OverallLengthMm: int32(t.OverallLengthMM),
		MaxGrossKg:      int32(t.MaxGrossKG),
		Hours:           windowTo(t.Hours),
		HasCrane:        t.HasCrane,
		MaxDrops:        int32(t.MaxDrops),
	}
}

func truckFrom(t *eventv1.Truck) daybook.Truck {
	return daybook.Truck{
		ID:              t.GetTruckId(),
		Name:            t.GetName(),
		DeckLengthMM:    int(t.GetDeckLengthMm()),
		DeckWidthMM:     int(t.GetDeckWidthMm()),
		PayloadKG:       int(t.GetPayloadKg()),
		TareFrontKG:     int(t.GetTareFrontKg()),
		TareRearKG:      int(t.GetTareRearKg()),
		MaxFrontKG:      int(t.GetMaxFrontKg()),
		MaxRearKG:       int(t.GetMaxRearKg()),
		WheelbaseMM:     int(t.GetWheelbaseMm()),
		DeckStartMM:     int(t.GetDeckStartMm()),
		OverallLengthMM: int(t.GetOverallLengthMm()),
		MaxGrossKG:      int(t.GetMaxGrossKg()),
		Hours:           windowFrom(t.GetHours()),
		HasCrane:        t.GetHasCrane(),
		MaxDrops:        int(t.GetMaxDrops()),
	}
}

// TrucksTo returns trucks as messages.
func TrucksTo(t []daybook.Truck) []*eventv1.Truck { return each(t, truckTo) }

// TrucksFrom is the inverse of TrucksTo.
func TrucksFrom(t []*eventv1.Truck) []daybook.Truck { return each(t, truckFrom) }

func siteTo(s daybook.Site) *eventv1.Site {
	return &eventv1.Site{
		SiteId:               s.ID,
		Name:                 s.Name,
		Place:                placeTo(s.Place),
		MaxGrossKg:           int32(s.MaxGrossKG),
		MaxVehicleLengthMm:   int32(s.MaxVehicleLengthMM),
		Opens:                windowTo(s.Opens),
		UnloadFixedMinutes:   int32(s.UnloadFixedMinutes),
		UnloadMinutesPerPile: int32(s.UnloadMinutesPerPile),
		HasLifting:           s.HasLifting,
		Contact:              s.Contact,
		Places:               int32(s.Places),
		LaidPerHour:          int32(s.LaidPerHour),
		HoldsBeams:           int32(s.HoldsBeams),
	}
}

func siteFrom(s *eventv1.Site) daybook.Site {
	return daybook.Site{
		ID:                   s.GetSiteId(),
		Name:                 s.GetName(),
		Place:                placeFrom(s.GetPlace()),
		MaxGrossKG:           int(s.GetMaxGrossKg()),
		MaxVehicleLengthMM:   int(s.GetMaxVehicleLengthMm()),
		Opens:                windowFrom(s.GetOpens()),
		UnloadFixedMinutes:   int(s.GetUnloadFixedMinutes()),
		UnloadMinutesPerPile: int(s.GetUnloadMinutesPerPile()),
		HasLifting:           s.GetHasLifting(),
		Contact:              s.GetContact(),
		Places:               int(s.GetPlaces()),
		LaidPerHour:          int(s.GetLaidPerHour()),
		HoldsBeams:           int(s.GetHoldsBeams()),
	}
}

// SitesTo returns sites as messages.
func SitesTo(s []daybook.Site) []*eventv1.Site { return each(s, siteTo) }

// SitesFrom is the inverse of SitesTo.
func SitesFrom(s []*eventv1.Site) []daybook.Site { return each(s, siteFrom) }

func callOffTo(c daybook.CallOff) *eventv1.CallOff {
	return &eventv1.CallOff{
		CallOffId: c.ID, SiteId: c.SiteID, JobId: c.JobID, Floor: c.Floor,
		Rooms: c.Rooms, Day: c.Day, Window: windowTo(c.Window),
	}
}

func callOffFrom(c *eventv1.CallOff) daybook.CallOff {
	return daybook.CallOff{
		ID: c.GetCallOffId(), SiteID: c.GetSiteId(),
		FloorKey: daybook.FloorKey{JobID: c.GetJobId(), Floor: c.GetFloor()},
		Rooms:    c.GetRooms(), Day: c.GetDay(), Window: windowFrom(c.GetWindow()),
	}
}

// CallOffsTo returns call-offs as messages.
func CallOffsTo(c []daybook.CallOff) []*eventv1.CallOff { return each(c, callOffTo) }

// CallOffsFrom is the inverse of CallOffsTo.
func CallOffsFrom(c []*eventv1.CallOff) []daybook.CallOff { return each(c, callOffFrom) }

func beamProfileTo(p daybook.Profile) *commonv1.BeamProfile {
	return &commonv1.BeamProfile{
		Name: p.Name, HeightMm: int32(p.HeightMM), WidthMm: int32(p.WidthMM),
		MassGPerM: p.MassGPerM, WirePatterns: p.WirePatterns,
	}
}

// BeamProfile returns a cross-section as the domain has it.
func BeamProfile(p *commonv1.BeamProfile) daybook.Profile {
	return daybook.Profile{
		Name: p.GetName(), HeightMM: int(p.GetHeightMm()), WidthMM: int(p.GetWidthMm()),
		MassGPerM: p.GetMassGPerM(), WirePatterns: p.GetWirePatterns(),
	}
}

func blockKindTo(b daybook.BlockKind) *commonv1.BlockKind {
	return &commonv1.BlockKind{
		Name: b.Name, LengthMm: int32(b.LengthMM), PitchMm: int32(b.PitchMM), MassG: b.MassG,
		BlocksPerPallet: int32(b.BlocksPerPallet), PalletLengthMm: int32(b.PalletLengthMM),
		PalletWidthMm: int32(b.PalletWidthMM), PalletHeightMm: int32(b.PalletHeightMM), PalletTareG: b.PalletTareG,
	}
}

// BlockKind returns a kind of block as the domain has it.
func BlockKind(b *commonv1.BlockKind) daybook.BlockKind {
	return daybook.BlockKind{
		Name: b.GetName(), LengthMM: int(b.GetLengthMm()), PitchMM: int(b.GetPitchMm()), MassG: b.GetMassG(),
		BlocksPerPallet: int(b.GetBlocksPerPallet()), PalletLengthMM: int(b.GetPalletLengthMm()),
		PalletWidthMM: int(b.GetPalletWidthMm()), PalletHeightMM: int(b.GetPalletHeightMm()), PalletTareG: b.GetPalletTareG(),
	}
}

func beamDemandTo(b daybook.BeamDemand) *eventv1.BeamDemand {
	return &eventv1.BeamDemand{Mark: b.Mark, Product: ProductTo(b.Product), MassG: b.MassG}
}

func beamDemandFrom(b *eventv1.BeamDemand) daybook.BeamDemand {
	return daybook.BeamDemand{Mark: b.GetMark(), Product: Product(b.GetProduct()), MassG: b.GetMassG()}
}

func roomTo(r daybook.RoomDemand) *eventv1.RoomDemand {
	return &eventv1.RoomDemand{
		Room: r.Room, BlockKind: r.BlockKind, BlockCount: int32(r.BlockCount), Beams: each(r.Beams, beamDemandTo),
	}
}

func roomFrom(r *eventv1.RoomDemand) daybook.RoomDemand {
	return daybook.RoomDemand{
		Room: r.GetRoom(), BlockKind: r.GetBlockKind(), BlockCount: int(r.GetBlockCount()), Beams: each(r.GetBeams(), beamDemandFrom),
	}
}

func floorTo(f daybook.Floor) *eventv1.FloorPlanned {
	return &eventv1.FloorPlanned{
		JobId: f.JobID, Floor: f.FloorKey.Floor, Revision: int32(f.Revision), Rooms: each(f.Rooms, roomTo),
		Profiles: each(f.Profiles, beamProfileTo), Blocks: each(f.Blocks, blockKindTo),
	}
}

func floorFrom(f *eventv1.FloorPlanned) daybook.Floor {
	return daybook.Floor{
		FloorKey: daybook.FloorKey{JobID: f.GetJobId(), Floor: f.GetFloor()},
		Revision: int(f.GetRevision()), Rooms: each(f.GetRooms(), roomFrom),
		Profiles: each(f.GetProfiles(), BeamProfile), Blocks: each(f.GetBlocks(), BlockKind),
	}
}

// ReportTo translates what a site told of a piece.
func ReportTo(runID string, r daybook.SiteReport) *eventv1.PieceReported {
	return &eventv1.PieceReported{
		RunId: runID, DropNumber: int32(r.DropNumber), PieceId: r.PieceID, Mark: r.Mark,
		Kind: eventv1.PieceReportKind(r.Kind), Remark: r.Remark, ReportedAt: stamp(r.At),
	}
}

func reportFrom(r *eventv1.PieceReported) daybook.SiteReport {
	return daybook.SiteReport{
		DropNumber: int(r.GetDropNumber()), PieceID: r.GetPieceId(), Mark: r.GetMark(),
		Kind: daybook.ReportKind(r.GetKind()), Remark: r.GetRemark(), At: moment(r.GetReportedAt()),
	}
}
