// Package maturity forecasts the strength of a concrete from its age and the
// temperatures of its cure (EN 1992-1-1 3.1.2(6) and Annex B.1(3)). It is pure,
// and a forecast is all that it gives: what a batch may be used for hangs on
// specimens that were crushed.
package maturity

import (
	"errors"
	"math"
)

// Cement is the strength class of a cement, which says how fast it hardens.
type Cement int

// The classes of EN 1992-1-1 3.1.2(6).
const (
	// Rapid is class R: CEM 42.5 R, 52.5 N, 52.5 R.
	Rapid Cement = iota + 1
	// Normal is class N: CEM 32.5 R, 42.5 N.
	Normal
	// Slow is class S: CEM 32.5 N.
	Slow
)

// s is the coefficient of the class.
func (c Cement) s() float64 { return [...]float64{0, 0.20, 0.25, 0.38}[c] }

// Spell is a time at one temperature.
type Spell struct {
	Celsius, Days float64
}

// Errors of a forecast.
var (
	ErrCement      = errors.New("the class of the cement is not known")
	ErrTemperature = errors.New("the formula holds from 0 to 80 degrees Celsius")
	ErrAge         = errors.New("the age is not above zero")
	ErrStrength    = errors.New("the strength is not above zero")
)

// BetaCC returns strength at an age as a part of that at 28 days (3.2).
func BetaCC(c Cement, ageDays float64) (float64, error) {
	if c < Rapid || c > Slow {
		return 0, ErrCement
	}
	if !(ageDays > 0) {
		return 0, ErrAge
	}
	return math.Exp(c.s() * (1 - math.Sqrt(28/ageDays))), nil
}

// Age returns the age at 20 degrees that a cure is worth (B.10).
func Age(cure []Spell) (float64, error) {
	var days float64
	for _, x := range cure {
		if !(x.Celsius >= 0 && x.Celsius <= 80) {
			return 0, ErrTemperature
		}
		if !(x.Days >= 0) {
			return 0, ErrAge
		}
		days += x.Days * math.Exp(-(4000/(273+x.Celsius) - 13.65))
	}
	return days, nil
}

// Forecast returns the mean strength to be expected at an age, from the mean
// strength at 28 days.
func Forecast(c Cement, mean28MPa, ageDays float64) (float64, error) {
	if !(mean28MPa > 0) {
		return 0, ErrStrength
	}
	b, err := BetaCC(c, ageDays)
	return mean28MPa * b, err
}

// From28 returns the mean strength at 28 days that a mean measured at an age
// points to.
func From28(c Cement, meanMPa, ageDays float64) (float64, error) {
	if !(meanMPa > 0) {
		return 0, ErrStrength
	}
	b, err := BetaCC(c, ageDays)
	if err != nil {
		return 0, err
	}
	return meanMPa / b, nil
}
