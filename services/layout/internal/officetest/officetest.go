// Package officetest holds an invented catalogue and rooms for the tests of
// several packages.
package officetest

import (
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/strength"
)

// Catalogue of two inverted T profiles, 150 and 190 mm high, of 30 and 43.75
// kg/m: (120 x 50 + 60 x 100) and (140 x 60 + 70 x 130) mm2 at 2500 kg/m3.
func Catalogue() office.Catalogue {
	pallet := func(b office.Block) office.Block {
		b.BlocksPerPallet, b.PalletLengthMM, b.PalletWidthMM, b.PalletHeightMM, b.PalletTareG = 60, 1200, 1000, 900, 22_000
		return b
	}
	return office.Catalogue{
		Profiles: []office.Profile{
			{Name: "T150", Outline: tee(120, 150, 50, 60), Patterns: []design.Pattern{
				{Name: "5W", Rows: wires(25, 4, 130, 1), CentsPerM: 640}, {Name: "6W", Rows: wires(25, 4, 45, 1, 130, 1), CentsPerM: 690}}},
			{Name: "T190", Outline: tee(140, 190, 60, 70), Patterns: []design.Pattern{
				{Name: "6W", Rows: wires(25, 4, 50, 1, 165, 1), CentsPerM: 900}, {Name: "7W", Rows: wires(25, 4, 50, 2, 165, 1), CentsPerM: 980}}},
		},
		Blocks: []office.Block{
			pallet(office.Block{Name: "K510", Profiles: []string{"T150"}, LengthMM: 215, PitchMM: 510, MassG: 13_800, Cents: 95}),
			pallet(office.Block{Name: "K530", Profiles: []string{"T190"}, LengthMM: 215, PitchMM: 530, MassG: 16_200, Cents: 110}),
		},
		LengthStepMM: 50, MinBearingMM: 90, MaxBeamLengthMM: 8_000,
		Basis: &office.Basis{
			Wire: strength.Wire{Name: "Y1770C5.0", DiameterMM: 5, AreaMM2: 19.63, FpkMPa: 1770, Fp01kMPa: 1520, ModulusMPa: 205_000,
				RelaxClass: 2, Rho1000: 2.5, StrainLimit: 0.0222},
			Concrete: design.Concrete{FckMPa: 50, Cement: strength.Rapid, Aggregate: 1, KgPerM3: 2500},
			Casting:  strength.Casting{BedStressMPa: 1300, TransferAgeDays: 3, HoursStressed: 72, IndentedWire: true, LifterInsetMM: 300, LiftFactor: 1.5},
			National: strength.Recommended,
			Trimmers: []design.Trimmer{{Name: "H140", Source: "an invented report", WidthMM: 140, SeatMM: 90, HangMM: 60, KgPerM: 24, CentsPerM: 6900,
				Loads: []design.TrimmerLoad{{ClearMM: 1500, DesignKNPerM: 52, ServiceKNPerM: 36}, {ClearMM: 3000, DesignKNPerM: 21, ServiceKNPerM: 14}}}},
			Rules: design.Rules{ShortestMM: 400, MostPerRow: 3, BearingMM: 90,
				LineLoadKNPerM: 3, HumidityPercent: 60, DesignHours: 500_000, FinishAgeDays: 60, ScreedMM: 65, ScreedKNPerM3: 22},
		},
	}
}

func tee(width, height, foot, web float64) strength.Outline {
	at := func(x, y float64) strength.Point { return strength.Point{XMM: x, YMM: y} }
	return strength.Outline{at(-width/2, 0), at(width/2, 0), at(width/2, foot), at(web/2, foot),
		at(web/2, height), at(-web/2, height), at(-web/2, foot), at(-width/2, foot)}
}

func wires(heightCount ...int) []strength.Row {
	var rows []strength.Row
	for i := 0; i < len(heightCount); i += 2 {
		rows = append(rows, strength.Row{HeightMM: float64(heightCount[i]), Count: heightCount[i+1]})
	}
	return rows
}

// Box is a room of w by h mm whose lower left corner is at (x, y), for living
// in.
func Box(id string, order int, x, y, w, h float64) design.Room {
	return design.Room{ID: id, Name: "Room " + id, Order: order, Loads: design.Loads{Category: "A", ImposedKNPerM2: 2, FinishesKNPerM2: 0.5},
		Shape: geometry.Polygon{Outline: []geometry.Point{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + h}, {X: x, Y: y + h}}}}
}

// Load is an imposed load of a room schedule, in N/m2.
func Load(nPerM2 int) *int { return &nPerM2 }
