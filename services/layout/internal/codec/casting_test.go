package codec

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/strength"
)

// How beams are cast, and each national choice, are kept as they were given.
func TestCastingAndChoicesAreKept(t *testing.T) {
	b := &office.Basis{
		Casting: strength.Casting{
			BedStressMPa: 1300, BedLengthMM: 100000, DrawInMM: 4, JackMeasured: true, TransferAgeDays: 1, HoursStressed: 24,
			Curing: []strength.Warmth{{Celsius: 40, Hours: 4}, {Celsius: 60, Hours: 8}}, BedCelsius: 18, CompressionProven: true,
			SuddenRelease: true, IndentedWire: true, LifterInsetMM: 300, LiftFactor: 1.5,
		},
		National: strength.National{AlphaCC: 0.85, AlphaCT: 0.9, GammaC: 1.4, GammaS: 1.1, GammaG: 1.3, GammaQ: 1.45, Xi: 0.925, K1Shear: 0.1, UseAB: true,
			K7: 0.77, K8: 0.87, RSup: 1.1, RInf: 0.9, InclinedBranch: true, UseAreaReduction: true, Interface2004: true},
	}
	if diff := cmp.Diff(b, BasisOf(BasisProto(b))); diff != "" {
		t.Error(diff)
	}
}
