package strength

// fireColumn is a column of EN 1992-1-2 Table 5.5: a width of the beam and the
// axis distance of its reinforcement that go together.
type fireColumn struct{ widthMM, axisMM float64 }

// fireBeams is EN 1992-1-2 Table 5.5, simply supported beams, by minutes of
// standard fire.
var fireBeams = map[int][4]fireColumn{
	30:  {{80, 25}, {120, 20}, {160, 15}, {200, 15}},
	60:  {{120, 40}, {160, 35}, {200, 30}, {300, 25}},
	90:  {{150, 55}, {200, 45}, {300, 40}, {400, 35}},
	120: {{200, 65}, {240, 60}, {300, 55}, {500, 50}},
	180: {{240, 80}, {300, 70}, {400, 65}, {600, 60}},
	240: {{280, 90}, {350, 80}, {500, 75}, {700, 70}},
}

// criticalWireCelsius is the critical temperature of prestressing wire and
// strand (EN 1992-1-2 5.2(5), from memory).
const criticalWireCelsius = 350

// AxisIncreaseMM is what the tabulated axis distances grow by for steel that
// fails at another temperature than 500 degrees (EN 1992-1-2 5.3).
func AxisIncreaseMM(criticalCelsius float64) float64 { return 0.1 * (500 - criticalCelsius) }

// FireBeam returns the least width of a simply supported beam for minutes of
// standard fire, and the least axis distance of prestressing wires at a width
// (EN 1992-1-2 Table 5.5, straight between its columns).
func FireBeam(minutes int, widthMM float64) (leastWidthMM, axisMM float64) {
	row := fireBeams[minutes]
	axisMM = row[0].axisMM
	for i := 1; i < len(row); i++ {
		a, b := row[i-1], row[i]
		switch {
		case widthMM >= b.widthMM:
			axisMM = b.axisMM
		case widthMM > a.widthMM:
			axisMM = a.axisMM + (b.axisMM-a.axisMM)*(widthMM-a.widthMM)/(b.widthMM-a.widthMM)
		}
	}
	return row[0].widthMM, axisMM + AxisIncreaseMM(criticalWireCelsius)
}
