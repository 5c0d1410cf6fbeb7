package maturity_test

import (
	"errors"
	"math"
	"testing"

	"spanyard.example/services/stock/internal/maturity"
)

func near(t *testing.T, what string, got, want, tolerance float64, err error) {
	t.Helper()
	if err != nil || math.Abs(got-want) > tolerance {
		t.Errorf("%s is %.9g, want %.9g; %v", what, got, want, err)
	}
}

// EN 1992-1-1:2004 (3.2), values of the open library structuralcodes of fib,
// tests of the development of concrete properties, class N.
func TestBetaCC(t *testing.T) {
	for age, want := range map[float64]float64{9: 0.8261668, 10: 0.8450749, 27: 0.9954230, 28: 1, 56: 1.0759708, 365: 1.1981246} {
		got, err := maturity.BetaCC(maturity.Normal, age)
		near(t, "class N", got, want, 1e-6, err)
	}
	// The same formula, worked by hand for classes R and S.
	for age, want := range map[float64][2]float64{1: {0.4239, 0.1958}, 3: {0.6630, 0.4580}, 7: {0.8187, 0.6839}, 14: {0.9205, 0.8544}, 90: {1.0925, 1.1830}} {
		r, err := maturity.BetaCC(maturity.Rapid, age)
		near(t, "class R", r, want[0], 1e-4, err)
		s, err := maturity.BetaCC(maturity.Slow, age)
		near(t, "class S", s, want[1], 1e-4, err)
	}
}

// EN 1992-1-1:2004 (B.10), value of the open library structuralcodes of fib,
// tests of shrinkage and creep: 19, 20, 20, 21, 22, 23 degrees for 1, 2, 1, 1,
// 1, 2 days.
func TestAge(t *testing.T) {
	cure := []maturity.Spell{{19, 1}, {20, 2}, {20, 1}, {21, 1}, {22, 1}, {23, 2}}
	got, err := maturity.Age(cure)
	near(t, "the age", got, 8.37986781, 1e-5, err)
	if _, err := maturity.Age([]maturity.Spell{{90, 1}}); !errors.Is(err, maturity.ErrTemperature) {
		t.Errorf("90 degrees give %v", err)
	}
}

// A forecast from a result that was measured leads back to it.
func TestForecastAgreesWithItself(t *testing.T) {
	mean28, err := maturity.From28(maturity.Rapid, 44, 7)
	near(t, "the mean at 28 days", mean28, 44/0.8187308, 1e-4, err)
	again, err := maturity.Forecast(maturity.Rapid, mean28, 7)
	near(t, "the mean at 7 days", again, 44, 1e-9, err)
	for _, wrong := range []error{
		func() error { _, err := maturity.Forecast(maturity.Rapid, 0, 7); return err }(),
		func() error { _, err := maturity.Forecast(0, 40, 7); return err }(),
		func() error { _, err := maturity.From28(maturity.Slow, 40, math.NaN()); return err }(),
	} {
		if wrong == nil {
			t.Error("a forecast from nothing is given")
		}
	}
}
