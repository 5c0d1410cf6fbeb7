package codec

import (
	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/strength"
)

// BasisProto returns the stored form of what the strength of beams rests on;
// nil for nil.
func BasisProto(b *office.Basis) *eventv1.DesignBasis {
	if b == nil {
		return nil
	}
	w, c, k, n, r := b.Wire, b.Concrete, b.Casting, b.National, b.Rules
	return &eventv1.DesignBasis{
		Wire: &eventv1.PrestressingWire{
			Name: w.Name, DiameterMm: w.DiameterMM, AreaMm2: w.AreaMM2, FpkMpa: w.FpkMPa, Fp01KMpa: w.Fp01kMPa, ModulusMpa: w.ModulusMPa,
			RelaxationClass: int32(w.RelaxClass), Rho1000Percent: w.Rho1000, EpsUk: w.StrainLimit,
		},
		Concrete: &eventv1.BeamConcrete{FckMpa: c.FckMPa, CementClass: string(c.Cement), AggregateFactor: c.Aggregate, KgPerM3: c.KgPerM3},
		Casting: &eventv1.BedCasting{
			BedStressMpa: k.BedStressMPa, TransferAgeDays: k.TransferAgeDays, HoursStressed: k.HoursStressed,
			SuddenRelease: k.SuddenRelease, IndentedWire: k.IndentedWire, LifterInsetMm: k.LifterInsetMM, LiftFactor: k.LiftFactor,
			BedLengthMm: k.BedLengthMM, DrawInMm: k.DrawInMM, JackMeasuredTo_5Percent: k.JackMeasured, HeatCuring: curingProto(k.Curing),
			BedCelsius: k.BedCelsius, CompressionProven: k.CompressionProven,
		},
		National: &eventv1.NationalChoices{
			AlphaCc: n.AlphaCC, AlphaCt: n.AlphaCT, GammaC: n.GammaC, GammaS: n.GammaS, GammaG: n.GammaG, GammaQ: n.GammaQ,
			Xi: n.Xi, K1Shear: n.K1Shear, Use_6_10Ab: n.UseAB,
			K7Transfer: n.K7, K8Transfer: n.K8, RSup: n.RSup, RInf: n.RInf, InclinedWireBranch: n.InclinedBranch,
			UseAreaReduction: n.UseAreaReduction, InterfaceOf_2004: n.Interface2004,
		},
		Rules: &eventv1.LayingRules{
			ShortestClearMm: r.ShortestMM, MostBeamsPerRow: int32(r.MostPerRow), BearingMm: r.BearingMM,
			HeaderWidthMm: r.HeaderWidthMM, HeaderBearingMm: r.HeaderBearingMM, HeaderMaxMm: r.HeaderMaxMM, LineLoadKnPerM: r.LineLoadKNPerM,
			HumidityPercent: r.HumidityPercent, DesignHours: r.DesignHours, FinishAgeDays: r.FinishAgeDays, ScreedMm: r.ScreedMM, ScreedKnPerM3: r.ScreedKNPerM3,
			FillCentsPerM2: r.FillCentsPerM2,
		},
		Trimmers: each(b.Trimmers, trimmerProto),
	}
}

// BasisOf is the inverse of BasisProto. National choices that are left out are
// the recommended ones.
func BasisOf(m *eventv1.DesignBasis) *office.Basis {
	if m == nil {
		return nil
	}
	w, c, k, n, r := m.GetWire(), m.GetConcrete(), m.GetCasting(), m.GetNational(), m.GetRules()
	b := &office.Basis{
		Wire: strength.Wire{
			Name: w.GetName(), DiameterMM: w.GetDiameterMm(), AreaMM2: w.GetAreaMm2(), FpkMPa: w.GetFpkMpa(), Fp01kMPa: w.GetFp01KMpa(), ModulusMPa: w.GetModulusMpa(),
			RelaxClass: int(w.GetRelaxationClass()), Rho1000: w.GetRho1000Percent(), StrainLimit: w.GetEpsUk(),
		},
		Concrete: design.Concrete{FckMPa: c.GetFckMpa(), Cement: strength.CementClass(c.GetCementClass()), Aggregate: c.GetAggregateFactor(), KgPerM3: c.GetKgPerM3()},
		Casting: strength.Casting{
			BedStressMPa: k.GetBedStressMpa(), TransferAgeDays: k.GetTransferAgeDays(), HoursStressed: k.GetHoursStressed(),
			SuddenRelease: k.GetSuddenRelease(), IndentedWire: k.GetIndentedWire(), LifterInsetMM: k.GetLifterInsetMm(), LiftFactor: k.GetLiftFactor(),
			BedLengthMM: k.GetBedLengthMm(), DrawInMM: k.GetDrawInMm(), JackMeasured: k.GetJackMeasuredTo_5Percent(), Curing: curingOf(k.GetHeatCuring()),
			BedCelsius: k.GetBedCelsius(), CompressionProven: k.GetCompressionProven(),
		},
		National: strength.Recommended,
		Rules: design.Rules{
			ShortestMM: r.GetShortestClearMm(), MostPerRow: int(r.GetMostBeamsPerRow()), BearingMM: r.GetBearingMm(),
			HeaderWidthMM: r.GetHeaderWidthMm(), HeaderBearingMM: r.GetHeaderBearingMm(), HeaderMaxMM: r.GetHeaderMaxMm(), LineLoadKNPerM: r.GetLineLoadKnPerM(),
			HumidityPercent: r.GetHumidityPercent(), DesignHours: r.GetDesignHours(), FinishAgeDays: r.GetFinishAgeDays(), ScreedMM: r.GetScreedMm(), ScreedKNPerM3: r.GetScreedKnPerM3(),
			FillCentsPerM2: r.GetFillCentsPerM2(),
		},
		Trimmers: each(m.GetTrimmers(), trimmerOf),
	}
	if n != nil {
		b.National = strength.National{
			AlphaCC: n.GetAlphaCc(), AlphaCT: n.GetAlphaCt(), GammaC: n.GetGammaC(), GammaS: n.GetGammaS(), GammaG: n.GetGammaG(), GammaQ: n.GetGammaQ(),
			Xi: n.GetXi(), K1Shear: n.GetK1Shear(), UseAB: n.GetUse_6_10Ab(),
			K7: n.GetK7Transfer(), K8: n.GetK8Transfer(), RSup: n.GetRSup(), RInf: n.GetRInf(), InclinedBranch: n.GetInclinedWireBranch(),
			UseAreaReduction: n.GetUseAreaReduction(), Interface2004: n.GetInterfaceOf_2004(),
		}
	}
	return b
}

func trimmerProto(t design.Trimmer) *eventv1.YardTrimmer {
	return &eventv1.YardTrimmer{
		Name: t.Name, Source: t.Source, WidthMm: t.WidthMM, SeatMm: t.SeatMM, HangMm: t.HangMM, KgPerM: t.KgPerM, CentsPerM: t.CentsPerM,
		Loads: each(t.Loads, func(l design.TrimmerLoad) *eventv1.YardTrimmerLoad {
			return &eventv1.YardTrimmerLoad{ClearMm: l.ClearMM, DesignKnPerM: l.DesignKNPerM, ServiceKnPerM: l.ServiceKNPerM}
		}),
	}
}

func trimmerOf(t *eventv1.YardTrimmer) design.Trimmer {
	return design.Trimmer{
		Name: t.GetName(), Source: t.GetSource(), WidthMM: t.GetWidthMm(), SeatMM: t.GetSeatMm(), HangMM: t.GetHangMm(), KgPerM: t.GetKgPerM(), CentsPerM: t.GetCentsPerM(),
		Loads: each(t.GetLoads(), func(l *eventv1.YardTrimmerLoad) design.TrimmerLoad {
			return design.TrimmerLoad{ClearMM: l.GetClearMm(), DesignKNPerM: l.GetDesignKnPerM(), ServiceKNPerM: l.GetServiceKnPerM()}
		}),
	}
}

func curingProto(parts []strength.Warmth) (list []*eventv1.CuringPart) {
	for _, p := range parts {
		list = append(list, &eventv1.CuringPart{Celsius: p.Celsius, Hours: p.Hours})
	}
	return list
}

func curingOf(list []*eventv1.CuringPart) (parts []strength.Warmth) {
	for _, p := range list {
		parts = append(parts, strength.Warmth{Celsius: p.GetCelsius(), Hours: p.GetHours()})
	}
	return parts
}
