package codec

import (
	"fmt"
	"slices"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/layout/internal/laying"
	"spanyard.example/services/layout/internal/office"
)

// CatalogueProto returns the stored form of a catalogue.
func CatalogueProto(c office.Catalogue) *eventv1.CatalogueSet {
	return &eventv1.CatalogueSet{
		Profiles: ProfilesProto(c.Profiles), Blocks: BlocksProto(c.Blocks),
		LengthStepMm: int32(c.LengthStepMM), MinBearingMm: int32(c.MinBearingMM), MaxBeamLengthMm: int32(c.MaxBeamLengthMM),
	}
}

// CatalogueOf is the inverse of CatalogueProto.
func CatalogueOf(m *eventv1.CatalogueSet) office.Catalogue {
	return office.Catalogue{
		Profiles: ProfilesOf(m.GetProfiles()), Blocks: BlocksOf(m.GetBlocks()),
		LengthStepMM: int(m.GetLengthStepMm()), MinBearingMM: int(m.GetMinBearingMm()), MaxBeamLengthMM: int(m.GetMaxBeamLengthMm()),
	}
}

// ProfilesProto returns the stored form of cross-sections.
func ProfilesProto(profiles []laying.Profile) []*commonv1.BeamProfile {
	return each(profiles, func(p laying.Profile) *commonv1.BeamProfile {
		return &commonv1.BeamProfile{
			Name: p.Name, HeightMm: int32(p.HeightMM), WidthMm: int32(p.WidthMM),
			MassGPerM: p.MassGPerM, WirePatterns: slices.Clone(p.WirePatterns),
		}
	})
}

// ProfilesOf is the inverse of ProfilesProto.
func ProfilesOf(messages []*commonv1.BeamProfile) []laying.Profile {
	return each(messages, func(m *commonv1.BeamProfile) laying.Profile {
		return laying.Profile{
			Name: m.GetName(), HeightMM: int(m.GetHeightMm()), WidthMM: int(m.GetWidthMm()),
			MassGPerM: m.GetMassGPerM(), WirePatterns: slices.Clone(m.GetWirePatterns()),
		}
	})
}

// BlocksProto returns the stored form of block kinds.
func BlocksProto(blocks []laying.Block) []*commonv1.BlockKind {
	return each(blocks, func(b laying.Block) *commonv1.BlockKind {
		return &commonv1.BlockKind{
			Name: b.Name, LengthMm: int32(b.LengthMM), PitchMm: int32(b.PitchMM), MassG: b.MassG,
			BlocksPerPallet: int32(b.BlocksPerPallet), PalletLengthMm: int32(b.PalletLengthMM),
			PalletWidthMm: int32(b.PalletWidthMM), PalletHeightMm: int32(b.PalletHeightMM), PalletTareG: b.PalletTareG,
		}
	})
}

// BlocksOf is the inverse of BlocksProto.
func BlocksOf(messages []*commonv1.BlockKind) []laying.Block {
	return each(messages, func(m *commonv1.BlockKind) laying.Block {
		return laying.Block{
			Name: m.GetName(), LengthMM: int(m.GetLengthMm()), PitchMM: int(m.GetPitchMm()), MassG: m.GetMassG(),
			BlocksPerPallet: int(m.GetBlocksPerPallet()), PalletLengthMM: int(m.GetPalletLengthMm()),
			PalletWidthMM: int(m.GetPalletWidthMm()), PalletHeightMM: int(m.GetPalletHeightMm()), PalletTareG: m.GetPalletTareG(),
		}
	})
}

// PlanProto returns the stored form of a plan, which is also what others read.
func PlanProto(p office.Plan) *eventv1.LayingPlan {
	return &eventv1.LayingPlan{
		JobId: p.Job, JobName: p.JobName, Floor: p.Floor, Revision: int32(p.Revision),
		Strength: eventv1.Strength(p.Strength), Rooms: each(p.Rooms, roomProto),
		Profiles: ProfilesProto(p.Profiles), Blocks: BlocksProto(p.Blocks),
	}
}

// PlanOf is the inverse of PlanProto.
func PlanOf(m *eventv1.LayingPlan) (office.Plan, error) {
	if m.GetRevision() < 1 {
		return office.Plan{}, fmt.Errorf("a laying plan of job %q floor %q has no revision", m.GetJobId(), m.GetFloor())
	}
	return office.Plan{
		Job: m.GetJobId(), JobName: m.GetJobName(), Floor: m.GetFloor(), Revision: int(m.GetRevision()),
		Strength: office.Strength(m.GetStrength()), Rooms: each(m.GetRooms(), roomOf),
		Profiles: ProfilesOf(m.GetProfiles()), Blocks: BlocksOf(m.GetBlocks()),
	}, nil
}

func roomProto(r laying.RoomPlan) *eventv1.RoomPlan {
	return &eventv1.RoomPlan{
		Room: r.Room, RoomName: r.Name, LayingOrder: int32(r.LayingOrder), ClearSpanMm: int32(r.ClearSpanMM),
		WidthMm: int32(r.WidthMM), SpanDirection: r.SpanDirection, BearingMm: int32(r.BearingMM), PitchMm: int32(r.PitchMM),
		FillerWidthMm: int32(r.FillerWidthMM), BlockKind: r.Block, BlockCount: int32(r.BlockCount), CutBlockCount: int32(r.CutBlockCount),
		ImposedLoadNPerM2: int32(r.ImposedLoadNPerM2), FinishesLoadNPerM2: int32(r.FinishesLoadNPerM2),
		Beams: each(r.Beams, beamProto),
	}
}

func roomOf(m *eventv1.RoomPlan) laying.RoomPlan {
	return laying.RoomPlan{
		Room: m.GetRoom(), Name: m.GetRoomName(), LayingOrder: int(m.GetLayingOrder()), ClearSpanMM: int(m.GetClearSpanMm()),
		WidthMM: int(m.GetWidthMm()), SpanDirection: m.GetSpanDirection(), BearingMM: int(m.GetBearingMm()), PitchMM: int(m.GetPitchMm()),
		FillerWidthMM: int(m.GetFillerWidthMm()), Block: m.GetBlockKind(), BlockCount: int(m.GetBlockCount()), CutBlockCount: int(m.GetCutBlockCount()),
		ImposedLoadNPerM2: int(m.GetImposedLoadNPerM2()), FinishesLoadNPerM2: int(m.GetFinishesLoadNPerM2()),
		Beams: each(m.GetBeams(), beamOf),
	}
}

func beamProto(b laying.Beam) *eventv1.BeamPlan {
	return &eventv1.BeamPlan{
		Mark: b.Mark, Row: int32(b.Row), PlaceInRow: int32(b.PlaceInRow), MassG: b.MassG, OffsetMm: int32(b.OffsetMM),
		Product: &commonv1.BeamProduct{Profile: b.Profile, WirePattern: b.WirePattern, LengthMm: int32(b.LengthMM)},
	}
}

func beamOf(m *eventv1.BeamPlan) laying.Beam {
	product := m.GetProduct()
	return laying.Beam{
		Mark: m.GetMark(), Row: int(m.GetRow()), PlaceInRow: int(m.GetPlaceInRow()), MassG: m.GetMassG(), OffsetMM: int(m.GetOffsetMm()),
		Profile: product.GetProfile(), WirePattern: product.GetWirePattern(), LengthMM: int(product.GetLengthMm()),
	}
}

func each[A, B any](in []A, f func(A) B) []B {
	if len(in) == 0 {
		return nil
	}
	out := make([]B, len(in))
	for i, v := range in {
		out[i] = f(v)
	}
	return out
}
