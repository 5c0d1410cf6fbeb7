package codec

import (
	"slices"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/strength"
)

// CatalogueProto returns the stored form of a catalogue.
func CatalogueProto(c office.Catalogue) *eventv1.CatalogueSet {
	return &eventv1.CatalogueSet{
		Profiles: ProfilesProto(c.Profiles), Blocks: BlocksProto(c.Blocks),
		LengthStepMm: int32(c.LengthStepMM), MinBearingMm: int32(c.MinBearingMM), MaxBeamLengthMm: int32(c.MaxBeamLengthMM),
		Basis: BasisProto(c.Basis),
	}
}

// CatalogueOf is the inverse of CatalogueProto.
func CatalogueOf(m *eventv1.CatalogueSet) office.Catalogue {
	return office.Catalogue{
		Profiles: ProfilesOf(m.GetProfiles()), Blocks: BlocksOf(m.GetBlocks()),
		LengthStepMM: int(m.GetLengthStepMm()), MinBearingMM: int(m.GetMinBearingMm()), MaxBeamLengthMM: int(m.GetMaxBeamLengthMm()),
		Basis: BasisOf(m.GetBasis()),
	}
}

// ProfilesProto returns the stored form of cross-sections.
func ProfilesProto(profiles []office.Profile) []*commonv1.BeamProfile {
	return each(profiles, func(p office.Profile) *commonv1.BeamProfile {
		return &commonv1.BeamProfile{
			Name: p.Name, HeightMm: int32(p.HeightMM), WidthMm: int32(p.WidthMM),
			MassGPerM: p.MassGPerM, WirePatterns: slices.Clone(p.WirePatterns),
			Outline: each(p.Outline, func(c strength.Point) *commonv1.SectionCorner {
				return &commonv1.SectionCorner{XMm: c.XMM, YMm: c.YMM}
			}),
			Patterns: each(p.Patterns, func(w design.Pattern) *commonv1.WirePattern {
				return &commonv1.WirePattern{Name: w.Name, CentsPerM: w.CentsPerM, Rows: each(w.Rows, func(r strength.Row) *commonv1.WireRow {
					return &commonv1.WireRow{HeightMm: r.HeightMM, Count: int32(r.Count)}
				})}
			}),
		}
	})
}

// ProfilesOf is the inverse of ProfilesProto.
func ProfilesOf(messages []*commonv1.BeamProfile) []office.Profile {
	return each(messages, func(m *commonv1.BeamProfile) office.Profile {
		return office.Profile{
			Name: m.GetName(), HeightMM: int(m.GetHeightMm()), WidthMM: int(m.GetWidthMm()),
			MassGPerM: m.GetMassGPerM(), WirePatterns: slices.Clone(m.GetWirePatterns()),
			Outline: each(m.GetOutline(), func(c *commonv1.SectionCorner) strength.Point {
				return strength.Point{XMM: c.GetXMm(), YMM: c.GetYMm()}
			}),
			Patterns: each(m.GetPatterns(), func(w *commonv1.WirePattern) design.Pattern {
				return design.Pattern{Name: w.GetName(), CentsPerM: w.GetCentsPerM(), Rows: each(w.GetRows(), func(r *commonv1.WireRow) strength.Row {
					return strength.Row{HeightMM: r.GetHeightMm(), Count: int(r.GetCount())}
				})}
			}),
		}
	})
}

// BlocksProto returns the stored form of block kinds.
func BlocksProto(blocks []office.Block) []*commonv1.BlockKind {
	return each(blocks, func(b office.Block) *commonv1.BlockKind {
		return &commonv1.BlockKind{
			Name: b.Name, LengthMm: int32(b.LengthMM), PitchMm: int32(b.PitchMM), MassG: b.MassG,
			BlocksPerPallet: int32(b.BlocksPerPallet), PalletLengthMm: int32(b.PalletLengthMM),
			PalletWidthMm: int32(b.PalletWidthMM), PalletHeightMm: int32(b.PalletHeightMM), PalletTareG: b.PalletTareG,
			Profiles: slices.Clone(b.Profiles), Cents: b.Cents,
		}
	})
}

// BlocksOf is the inverse of BlocksProto.
func BlocksOf(messages []*commonv1.BlockKind) []office.Block {
	return each(messages, func(m *commonv1.BlockKind) office.Block {
		return office.Block{
			Name: m.GetName(), LengthMM: int(m.GetLengthMm()), PitchMM: int(m.GetPitchMm()), MassG: m.GetMassG(),
			BlocksPerPallet: int(m.GetBlocksPerPallet()), PalletLengthMM: int(m.GetPalletLengthMm()),
			PalletWidthMM: int(m.GetPalletWidthMm()), PalletHeightMM: int(m.GetPalletHeightMm()), PalletTareG: m.GetPalletTareG(),
			Profiles: slices.Clone(m.GetProfiles()), Cents: m.GetCents(),
		}
	})
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
