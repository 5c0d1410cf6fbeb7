package strength

import "math"

// Warmth is a part of heat curing at one temperature.
type Warmth struct {
	Celsius float64 `json:"celsius"`
	Hours   float64 `json:"hours"`
}

// thermalExpansion of concrete and wires per kelvin.
const thermalExpansion = 10e-6

// MaturityDays is the age at 20 degrees that hardens as far as the
// temperatures do (B.10).
func MaturityDays(curing []Warmth) float64 {
	var days float64
	for _, w := range curing {
		days += math.Exp(13.65-4000/(273+w.Celsius)) * w.Hours / 24
	}
	return days
}

// EquivalentHours is the time that heat curing adds to the relaxation before
// transfer (10.2); 0 when nothing was warmer than 20 degrees.
func EquivalentHours(curing []Warmth) float64 {
	hottest, sum := 20.0, 0.0
	for _, w := range curing {
		hottest = math.Max(hottest, w.Celsius)
		sum += math.Max(0, w.Celsius-20) * w.Hours
	}
	if hottest <= 20 {
		return 0
	}
	return math.Pow(1.14, hottest-20) / (hottest - 20) * sum
}

// ThermalLossMPa is what the wires lose when they grow warm between fixed
// abutments before the concrete holds them (10.3).
func ThermalLossMPa(wireModulusMPa, hottestCelsius, bedCelsius float64) float64 {
	return 0.5 * wireModulusMPa * thermalExpansion * math.Max(0, hottestCelsius-bedCelsius)
}

// hottest temperature of heat curing, and its hours.
func (c Casting) hottest() (celsius, hours float64) {
	celsius = c.BedCelsius
	for _, w := range c.Curing {
		celsius = math.Max(celsius, w.Celsius)
		hours += w.Hours
	}
	return celsius, hours
}

// hardenedDays is the age at transfer that strength, creep and shrinkage count
// by: the hours of heat curing by their temperature, the rest as it is.
func (c Casting) hardenedDays() float64 {
	_, hours := c.hottest()
	return c.TransferAgeDays - hours/24 + MaturityDays(c.Curing)
}
