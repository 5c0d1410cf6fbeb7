package runbound

import "math"

// master is the linear program over the runs that are known: fewest runs, each
// counted by a part, that cover every group of pieces within the minutes of the
// trucks. It is solved by the revised simplex method with an explicit inverse
// of the basis. Rows that cover come first, then those of minutes.
type master struct {
	rows, covers int
	inverse      []float64
	value        []float64
	cost         []float64
	dual         []float64
	step         []float64
	// filled are the columns of a row that are not nought.
	filled []int
	// pivots since the duals were worked out from the inverse.
	pivots int
}

// entry is one coefficient of a column.
type entry struct {
	row int
	by  float64
}

const (
	// uncovered is what a group costs that no run brings: more than it could
	// ever weigh.
	uncovered = 4
	// tiny is what counts as nothing in the master.
	tiny = 1e-9
)

func newMaster(covering, minutes []float64) *master {
	covers := len(covering)
	n := covers + len(minutes)
	m := &master{
		rows: n, covers: covers, inverse: make([]float64, n*n), value: make([]float64, n),
		cost: make([]float64, n), dual: make([]float64, n), step: make([]float64, n),
	}
	for i := range n {
		m.inverse[i*n+i] = 1
		if i < covers {
			m.cost[i] = uncovered
			// Slightly different sides keep the method from turning in circles;
			// the bound is worked out with the true ones.
			m.value[i] = covering[i] + 1e-6*float64((i*7919)%997)/997
		} else {
			m.value[i] = minutes[i-covers]
		}
	}
	m.refresh()
	return m
}

// price makes sure of the duals, bringing slack columns in until none of them has
// the wrong sign.
func (m *master) price() {
	if m.pivots >= freshAfter {
		m.refresh()
	}
	for {
		worst, at := tiny, -1
		for r, v := range m.dual {
			// A cover's surplus has the coefficient -1, a minute's slack 1.
			if r < m.covers {
				v = -v
			}
			if v > worst {
				worst, at = v, r
			}
		}
		if at < 0 {
			return
		}
		by := 1.0
		if at < m.covers {
			by = -1
		}
		if !m.enter([]entry{{at, by}}, 0) {
			return
		}
	}
}

// freshAfter is after how many pivots the duals are worked out anew.
const freshAfter = 200

// refresh works the duals out from the inverse.
func (m *master) refresh() {
	m.pivots = 0
	clear(m.dual)
	for i, c := range m.cost {
		if c != 0 {
			row := m.inverse[i*m.rows : (i+1)*m.rows]
			for j, v := range row {
				m.dual[j] += c * v
			}
		}
	}
}

// worth is what a column is worth under the duals.
func (m *master) worth(column []entry) float64 {
	worth := 0.0
	for _, e := range column {
		worth += m.dual[e.row] * e.by
	}
	return worth
}

// sum is what the runs come to.
func (m *master) sum() float64 {
	sum := 0.0
	for i, v := range m.value {
		sum += v * m.cost[i]
	}
	return sum
}

// enter brings a column into the basis.
func (m *master) enter(column []entry, cost float64) bool {
	out, least := -1, math.Inf(1)
	for i := range m.rows {
		row := m.inverse[i*m.rows : (i+1)*m.rows]
		sum := 0.0
		for _, e := range column {
			sum += row[e.row] * e.by
		}
		m.step[i] = sum
		if sum <= tiny {
			continue
		}
		ratio := m.value[i] / sum
		if ratio < least-tiny || ratio < least+tiny && sum > m.step[out] {
			least, out = ratio, i
		}
	}
	if out < 0 {
		return false
	}
	m.pivot(out, cost, cost-m.worth(column))
	return true
}

// pivot puts the column of step in the place of another. What it costs less than
// it is worth is reduced, which tells how the duals change.
func (m *master) pivot(out int, cost, reduced float64) {
	by := m.step[out]
	leaving := m.inverse[out*m.rows : (out+1)*m.rows]
	m.filled = m.filled[:0]
	for j, v := range leaving {
		if v != 0 {
			leaving[j] = v / by
			m.dual[j] += reduced * leaving[j]
			m.filled = append(m.filled, j)
		}
	}
	m.value[out] = max(0, m.value[out]/by)
	m.cost[out] = cost
	for i := range m.rows {
		f := m.step[i]
		if i == out || f == 0 {
			continue
		}
		row := m.inverse[i*m.rows : (i+1)*m.rows]
		for _, j := range m.filled {
			row[j] -= f * leaving[j]
		}
		m.value[i] = max(0, m.value[i]-f*m.value[out])
	}
	m.pivots++
}
