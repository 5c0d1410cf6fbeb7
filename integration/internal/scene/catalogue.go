package scene

import (
	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
)

// catalogue is an invented yard's: one beam and one block.
func catalogue(yard, request string) *layoutv1.SetCatalogueRequest {
	corner := func(x, y float64) *commonv1.SectionCorner { return &commonv1.SectionCorner{XMm: x, YMm: y} }
	return &layoutv1.SetCatalogueRequest{
		Yard: yard, RequestId: request,
		Profiles: []*commonv1.BeamProfile{{
			Name: "T150",
			Outline: []*commonv1.SectionCorner{
				corner(-60, 0), corner(60, 0), corner(60, 50), corner(34, 50), corner(34, 150), corner(-34, 150), corner(-34, 50), corner(-60, 50),
			},
			Patterns: []*commonv1.WirePattern{{Name: "p4", CentsPerM: 590, Rows: []*commonv1.WireRow{{HeightMm: 25, Count: 3}, {HeightMm: 130, Count: 1}}}},
		}},
		Blocks: []*commonv1.BlockKind{{
			Name: "K520", Profiles: []string{"T150"}, LengthMm: 250, PitchMm: 600, MassG: 13500, Cents: 95, BlocksPerPallet: 56,
			PalletLengthMm: 1000, PalletWidthMm: 1080, PalletHeightMm: 900, PalletTareG: 22000,
		}},
		LengthStepMm: 50, MinBearingMm: 90, MaxBeamLengthMm: 8000,
		Basis: &layouteventv1.DesignBasis{
			Wire: &layouteventv1.PrestressingWire{
				Name: "Y1770C5.0", DiameterMm: 5, AreaMm2: 19.63, FpkMpa: 1770, Fp01KMpa: 1520, ModulusMpa: 205000, RelaxationClass: 2, Rho1000Percent: 2.5, EpsUk: 0.0222,
			},
			Concrete: &layouteventv1.BeamConcrete{FckMpa: 40, CementClass: "R", AggregateFactor: 1, KgPerM3: 2500},
			Casting: &layouteventv1.BedCasting{
				BedStressMpa: 1200, TransferAgeDays: 5, HoursStressed: 120, IndentedWire: true, LifterInsetMm: 300, LiftFactor: 1.5,
			},
			Rules: &layouteventv1.LayingRules{
				ShortestClearMm: 400, MostBeamsPerRow: 3, BearingMm: 90, LineLoadKnPerM: 3, HumidityPercent: 60, DesignHours: 500000, FinishAgeDays: 60, ScreedKnPerM3: 22,
			},
		},
	}
}
